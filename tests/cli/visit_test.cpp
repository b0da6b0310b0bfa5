// SPDX-License-Identifier: Apache-2.0
// `plumbfoot visit` and `plumbfoot history` as a user runs them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <opencv2/imgcodecs.hpp>

#include "casebook/power_cut.h"
#include "cli/yard.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

/// A day's photos in a folder and a casebook beside it.
class VisitTest : public testing::Test {
 protected:
  VisitTest()
      : folder_(FreshFolder(
            std::string("visit-") +
            testing::UnitTest::GetInstance()->current_test_info()->name())),
        book_(folder_ / "book") {}
  ~VisitTest() override { fs::remove_all(folder_); }

  /// The yard's photo under another name, with its points beside it.
  std::string Photo(const std::string& name,
                    const char* view,
                    bool points = true) {
    const Yard& yard = Yard::Get();
    const fs::path path = folder_ / name;
    fs::copy_file(yard.folder() / (std::string(view) + ".jpg"), path);
    if (points) {
      json file = ReadJson(yard.points());
      file.erase(view == std::string("solar") ? "lateral" : "solar");
      fs::path beside = path;
      WriteFile(beside.replace_extension(".points.json"), file.dump());
    }
    return path;
  }

  CommandResult Visit(const Words& more) {
    Words words = {"visit", book_, "--horse", "Juno", "--date", "2026-03-14"};
    words.insert(words.end(), more.begin(), more.end());
    return Plumbfoot(words);
  }
  json VisitJson(Words more) {
    more.emplace_back("--json");
    const CommandResult result = Visit(more);
    EXPECT_TRUE(result.status == 0 || result.status == 3) << result.err;
    return json::parse(result.out);
  }

  fs::path Record(const std::string& name) {
    return book_ / "horses" / "juno" / "visits" / "2026-03-14" / name;
  }

  /// Every file of the casebook but the index, with what stands in it.
  std::map<std::string, std::string> AllFiles() {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::recursive_directory_iterator(book_)) {
      const std::string path = entry.path().string();
      if (entry.is_regular_file() &&
          path.find(".plumbfoot") == std::string::npos) {
        files[path] = ReadFile(path);
      }
    }
    return files;
  }

  fs::path folder_;
  fs::path book_;
};

// As in tests/casebook/power_cut_test.cpp, of the command itself: a first visit
// with a photo, then more of the same day and the notes.
TEST_F(VisitTest, LosesNothingInAPowerCut) {
  const std::string solar = Photo("LF-solar-before.jpg", "solar");
  const std::string lateral = Photo("LF-lateral-after.jpg", "lateral");
  const fs::path before = folder_ / "before";
  for (const Words& more :
       {Words{solar}, Words{lateral, "--trimmed", "--by", "A. Hollin"}}) {
    SCOPED_TRACE(more.front());
    const fs::path scratch =
        folder_ / ("cuts-" + fs::path(more[0]).stem().string());
    fs::create_directories(scratch);
    Words words = {PLUMBFOOT_COMMAND,
                   "visit",
                   book_,
                   "--horse",
                   "Juno",
                   "--date",
                   "2026-03-14"};
    words.insert(words.end(), more.begin(), more.end());
    const auto calls = casebook::Trace(
        words,
        scratch,
        {{"PLUMBFOOT_SETTINGS", (folder_ / "settings.json").string()}});
    if (!calls) {
      GTEST_SKIP() << "strace isn't installed, or may not trace here (ptrace)";
    }
    const casebook::PowerCuts cuts = casebook::CutPower(
        before, book_, *calls, scratch, {.seed = 5, .random_states = 2});
    EXPECT_THAT(cuts.faults, IsEmpty());
    EXPECT_GE(cuts.acknowledged, 1);
    EXPECT_GE(cuts.states, 100);
    // The command that verifies says the same of one that was left unfinished.
    ASSERT_FALSE(cuts.unfinished.empty());
    const auto verified =
        Plumbfoot({"history", cuts.unfinished.front(), "--verify"});
    EXPECT_EQ(verified.status, 0) << verified.out;
    EXPECT_THAT(verified.out, HasSubstr(" 0 damaged"));
    EXPECT_EQ(Plumbfoot({"history", book_, "--verify"}).status, 0);
    fs::remove_all(before);
    fs::copy(book_, before, fs::copy_options::recursive);
  }
}

TEST_F(VisitTest, SortsMeasuresAndRecords) {
  const Words photos = {Photo("LF-lateral-before.jpg", "lateral"),
                        Photo("after_Near_Fore_SOLE.jpg", "solar"),
                        Photo("LF-solar-before.jpg", "solar")};
  const json told = VisitJson(photos);
  EXPECT_EQ(told["casebook_made"], true);
  EXPECT_EQ(told["horse"]["new"], true);
  EXPECT_THAT(told["recorded"], ElementsAre("LF-before_trim", "LF-after_trim"));
  EXPECT_THAT(told["retake"], IsEmpty());
  EXPECT_EQ(told["next_visit"], "2026-04-25");  // Six weeks.

  EXPECT_EQ(ReadFile(Record("LF-before_trim") / "solar.jpg"),
            ReadFile(Yard::Get().solar()));
  EXPECT_EQ(ReadFile(Record("LF-before_trim") / "lateral.jpg"),
            ReadFile(Yard::Get().lateral()));
  const json report = ReadJson(Record("LF-before_trim") / "report.json");
  EXPECT_EQ(report["foot"], "LF");
  EXPECT_EQ(report["horse"], "Juno");
  EXPECT_EQ(report["visit"],
            json({{"date", "2026-03-14"}, {"stage", "before_trim"}}));
  EXPECT_EQ(report["photos"]["solar"]["file"], "LF-solar-before.jpg");
  // The same numbers as `measure` gives.
  const json measured = MeasuredReport(folder_ / "measured",
                                       {"--solar",
                                        Yard::Get().solar(),
                                        "--lateral",
                                        Yard::Get().lateral(),
                                        "--points",
                                        Yard::Get().points()});
  EXPECT_EQ(report["measures"], measured["measures"]);
  EXPECT_THAT(ReadJson(Record("LF-after_trim") / "record.json")["photos"],
              SizeIs(1));
}

TEST_F(VisitTest, RecordsNothingTwice) {
  const Words photos = {Photo("LF-lateral-before.jpg", "lateral"),
                        Photo("LF-solar-before.jpg", "solar"),
                        "--remarks",
                        "stood well"};
  VisitJson(photos);
  const auto before = AllFiles();
  const json again = VisitJson(photos);
  EXPECT_EQ(AllFiles(), before);
  EXPECT_THAT(again["recorded"], IsEmpty());
  EXPECT_THAT(again["recorded_already"], ElementsAre("LF-before_trim"));
  EXPECT_EQ(again["notes_changed"], false);
  EXPECT_EQ(again["horse"]["new"], false);
}

TEST_F(VisitTest, SaysWhatMustBeRetakenAndRecordsTheRest) {
  const Words photos = {Photo("LF-solar-before.jpg", "solar"),
                        (folder_ / "LF-lateral-before.jpg").string(),
                        (folder_ / "RF-solar-before.jpg").string()};
  cv::imwrite(photos[1], cv::Mat(600, 800, CV_8UC3, cv::Scalar(90, 90, 90)));
  WriteFile(photos[2], ReadFile(Yard::Get().solar()).substr(0, 20'000));
  const CommandResult result = Visit(photos);
  EXPECT_EQ(result.status, 3);
  EXPECT_THAT(result.out, HasSubstr("LF-lateral-before.jpg"));
  EXPECT_THAT(result.out, HasSubstr("RF-solar-before.jpg"));
  EXPECT_TRUE(fs::exists(Record("LF-before_trim") / "solar.jpg"));
  EXPECT_FALSE(fs::exists(Record("LF-before_trim") / "lateral.jpg"));
  EXPECT_FALSE(fs::exists(Record("RF-before_trim")));

  // Retaken, it joins the photo that was recorded.
  fs::remove(photos[1]);
  const json told = VisitJson({Photo("LF-lateral-before.jpg", "lateral")});
  EXPECT_THAT(told["recorded"], ElementsAre("LF-before_trim-2"));
  const json report = ReadJson(Record("LF-before_trim-2") / "report.json");
  EXPECT_TRUE(report["measures"]["bearing_width"].contains("value"));
  EXPECT_TRUE(report["measures"]["toe_angle"].contains("value"));
  EXPECT_EQ(report["photos"]["solar"]["file"], "LF-solar-before.jpg");
  // And then it is recorded, in whatever company it is given.
  EXPECT_THAT(VisitJson({photos[0]})["recorded"], IsEmpty());
  EXPECT_THAT(VisitJson({photos[0], photos[1]})["recorded"], IsEmpty());
}

TEST_F(VisitTest, TakesPointsLaterForPhotosThatItHas) {
  const std::string solar = Photo("LF-solar-before.jpg", "solar");
  VisitJson({solar});
  json points = ReadJson(folder_ / "LF-solar-before.points.json");
  const double moved = points["solar"]["toe"][0].get<double>() + 4.0;
  points["solar"]["toe"][0] = moved;
  const fs::path better = folder_ / "better.json";
  WriteFile(better, points.dump());
  const json told = VisitJson({"--points", "LF-before=" + better.string()});
  EXPECT_THAT(told["recorded"], ElementsAre("LF-before_trim-2"));
  const json report = ReadJson(Record("LF-before_trim-2") / "report.json");
  EXPECT_NEAR(
      report["points"]["solar"]["toe"]["px"][0].get<double>(), moved, 0.01);
  EXPECT_TRUE(fs::exists(Record("LF-before_trim") / "report.json"));
  // A person's points stay where the photos alone come again.
  fs::remove(folder_ / "LF-solar-before.points.json");
  EXPECT_THAT(VisitJson({solar})["recorded"], IsEmpty());
}

TEST_F(VisitTest, NamesThePhotosThatCannotBeSorted) {
  const CommandResult result = Visit({Photo("IMG_0001.jpg", "solar"),
                                      Photo("LF-solar.jpg", "solar"),
                                      Photo("LF-solar-before.jpg", "solar")});
  EXPECT_EQ(result.status, 2);
  EXPECT_THAT(result.err,
              HasSubstr("IMG_0001.jpg (not told: foot, view, stage)"));
  EXPECT_THAT(result.err, HasSubstr("LF-solar.jpg (not told: stage)"));
  EXPECT_THAT(result.err, testing::Not(HasSubstr("LF-solar-before.jpg (")));
  EXPECT_FALSE(fs::exists(book_));
}

TEST_F(VisitTest, RefusesTwoPhotosOfOneView) {
  const CommandResult result =
      Visit({Photo("LF-solar-before.jpg", "solar"),
             Photo("LF-sole-before-trim.jpg", "solar")});
  EXPECT_EQ(result.status, 2);
  EXPECT_THAT(result.err, HasSubstr("both LF before the trim solar"));
}

TEST_F(VisitTest, ReadsATable) {
  Photo("IMG_1.jpg", "solar");
  Photo("IMG_2.jpg", "lateral", false);
  json points = ReadJson(Yard::Get().points());
  points.erase("solar");
  WriteFile(folder_ / "side.json", points.dump());
  WriteFile(folder_ / "day.csv",
            "photo;foot;view;stage;points\n"
            "IMG_1.jpg;near fore;sole;before;\n"
            "\"IMG_2.jpg\";LF;lateral;before;side.json\n");
  const json told = VisitJson({"--table", folder_ / "day.csv"});
  EXPECT_THAT(told["recorded"], ElementsAre("LF-before_trim"));
  const json report = ReadJson(Record("LF-before_trim") / "report.json");
  EXPECT_EQ(report["measures"]["toe_angle"]["placed_by"], "person");
}

TEST_F(VisitTest, TellsBeforeFromAfterByTheTimes) {
  // ExifTool (Debian: libimage-exiftool-perl) writes the times.
  const Words photos = {Photo("LF-solar-a.jpg", "solar"),
                        Photo("LF-solar-b.jpg", "solar")};
  const char* const times[] = {"2026:03:14 10:05:00", "2026:03:14 09:30:00"};
  for (int i = 0; i < 2; ++i) {
    const auto written =
        RunCommand({"/usr/bin/exiftool",
                    "-q",
                    "-overwrite_original",
                    std::string("-DateTimeOriginal=") + times[i],
                    photos[static_cast<std::size_t>(i)]});
    ASSERT_EQ(written.status, 0) << written.err;
  }
  EXPECT_THAT(VisitJson(photos)["recorded"],
              ElementsAre("LF-before_trim", "LF-after_trim"));
  EXPECT_EQ(ReadJson(Record("LF-before_trim") /
                     "record.json")["photos"]["solar"]["original_name"],
            "LF-solar-b.jpg");
}

TEST_F(VisitTest, AsksAtATerminal) {
  Photo("IMG_1.jpg", "solar");
  // script(1) (Debian: bsdutils) gives the command a terminal.
  const std::string command =
      "(printf 'what\\nLF\\nsole\\nafter\\n'; sleep 1) | script -qec '" +
      std::string(PLUMBFOOT_COMMAND) + " visit " + book_.string() + " " +
      (folder_ / "IMG_1.jpg").string() +
      " --horse Juno --date 2026-03-14' /dev/null";
  const auto result =
      RunCommand({"/bin/sh", "-c", command},
                 {{"PLUMBFOOT_SETTINGS", (folder_ / "none.json").string()}});
  EXPECT_THAT(result.out, HasSubstr("which foot"));
  EXPECT_TRUE(fs::exists(Record("LF-after_trim") / "solar.jpg")) << result.out;
}

TEST_F(VisitTest, KeepsWhatWasDoneAndTellsWhoIsDue) {
  VisitJson({"--trimmed", "--by", "A. Smith", "--vet", "heels up"});
  VisitJson({"--shoe",
             "steel",
             "--size",
             "3",
             "--nails",
             "6",
             "--feet",
             "LF,RF",
             "--next",
             "2026-04-11"});
  const json visit =
      ReadJson(book_ / "horses/juno/visits/2026-03-14/visit.json");
  const json& notes = visit["notes"];
  ASSERT_THAT(notes["work"], SizeIs(2));
  EXPECT_EQ(notes["work"][0]["trimmed"], true);
  EXPECT_EQ(notes["work"][1]["shoe"], "steel");
  EXPECT_EQ(notes["work"][1]["feet"], json({"LF", "RF"}));
  EXPECT_EQ(notes["by"], "A. Smith");
  EXPECT_EQ(notes["vet"], "heels up");
  const auto due = [&](const char* until) {
    return json::parse(
        Plumbfoot({"history", book_, "--due", "--until", until, "--json"})
            .out)["due"];
  };
  EXPECT_THAT(due("2026-04-10"), IsEmpty());
  ASSERT_THAT(due("2026-04-11"), SizeIs(1));
  EXPECT_EQ(due("2026-04-11")[0]["horse"], "Juno");
  VisitJson({"--next", "none"});
  EXPECT_THAT(due("2030-01-01"), IsEmpty());
}

TEST_F(VisitTest, VerifyNamesWhatIsDamaged) {
  VisitJson({Photo("LF-solar-before.jpg", "solar"),
             Photo("RF-solar-before.jpg", "solar")});
  EXPECT_EQ(Plumbfoot({"history", book_, "--verify"}).status, 0);
  const fs::path photo = Record("LF-before_trim") / "solar.jpg";
  std::string bytes = ReadFile(photo);
  bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
  WriteFile(photo, bytes);
  const auto result = Plumbfoot({"history", book_, "--verify"});
  EXPECT_EQ(result.status, 3);
  EXPECT_THAT(result.out,
              HasSubstr("horses/juno/visits/2026-03-14/LF-before_trim/"
                        "solar.jpg"));
  EXPECT_THAT(result.out, HasSubstr("1 records whole"));
}

TEST_F(VisitTest, RefusesWhatItCannotDo) {
  const std::string photo = Photo("LF-solar-before.jpg", "solar");
  EXPECT_EQ(Visit({}).status, 1);  // Nothing to record.
  EXPECT_EQ(Visit({"no-such-LF-solar-before.jpg"}).status, 2);
  EXPECT_EQ(Visit({photo, "--next", "soon"}).status, 1);
  EXPECT_EQ(Visit({photo, "--feet", "LF"}).status, 1);
  EXPECT_EQ(Visit({photo, "--points", "RF=x.json"}).status, 1);
  EXPECT_EQ(Plumbfoot({"history", book_, "--due"}).status, 2);
  fs::create_directories(book_);
  WriteFile(book_ / "letter.txt", "x");
  EXPECT_EQ(Visit({photo}).status, 2);  // No casebook, and not empty.
  EXPECT_EQ(CountFiles(book_), 1);
}

}  // namespace
}  // namespace plumbfoot::tests
