// SPDX-License-Identifier: Apache-2.0
// `plumbfoot report` as a user runs it: a visit is recorded, and its owner gets
// a page.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "cli/yard.h"
#include "plumbfoot/draw/annotate.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/drawn_photo.h"
#include "support/command.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

class ReportCommandTest : public testing::Test {
 protected:
  ReportCommandTest()
      : folder_(FreshFolder(
            std::string("report-") +
            testing::UnitTest::GetInstance()->current_test_info()->name())),
        book_(folder_ / "book") {
    const Yard& yard = Yard::Get();
    for (const char* stage : {"before", "after"}) {
      const CommandResult visited = Plumb(
          {"visit",
           book_,
           Copy(yard.solar(), std::string("LF-solar-") + stage),
           Copy(yard.lateral(), std::string("LF-lateral-") + stage),
           "--points",
           std::string("LF-") + stage + "=" + fs::path(yard.points()).string(),
           "--horse",
           "Juno & <Co>",
           "--date",
           "2026-03-14",
           "--trimmed",
           "--vet",
           "Keep the \"heels\"."});
      EXPECT_TRUE(visited.status == 0 || visited.status == 3) << visited.err;
    }
  }
  ~ReportCommandTest() override { fs::remove_all(folder_); }

  std::string Copy(const std::string& photo, const std::string& name) {
    const fs::path path = folder_ / (name + ".jpg");
    fs::copy_file(photo, path);
    return path;
  }
  CommandResult Plumb(Words words) {
    words.insert(words.begin(), PLUMBFOOT_COMMAND);
    return RunCommand(
        words, {{"PLUMBFOOT_SETTINGS", (folder_ / "settings.json").string()}});
  }
  CommandResult Report(const Words& more, const std::string& date) {
    Words words = {"report",
                   book_,
                   "--horse",
                   "juno & <co>",
                   "--date",
                   date,
                   "--out",
                   folder_ / "out"};
    words.insert(words.end(), more.begin(), more.end());
    return Plumb(words);
  }

  fs::path folder_;
  fs::path book_;
};

TEST_F(ReportCommandTest, WritesThePageAndKeepsThePractice) {
  const CommandResult result = Report(
      {"--practice", "Hollin & Daughter", "--telephone", "01632 960 123"},
      "2026-03-14");
  ASSERT_EQ(result.status, 0) << result.err;
  const std::string html = ReadFile(folder_ / "out" / "owner.html");
  EXPECT_THAT(html, HasSubstr("Juno &amp; &lt;Co&gt;: feet on 14 March 2026"));
  EXPECT_THAT(html, HasSubstr("Hollin &amp; Daughter"));
  EXPECT_THAT(html, HasSubstr("Keep the &quot;heels&quot;."));
  // Twice the same photos: nothing can have changed.
  EXPECT_THAT(html, HasSubstr("no foot changed"));
  EXPECT_THAT(html, HasSubstr("25 April 2026"));  // Six weeks later.
  const auto info =
      RunCommand({"pdfinfo", (folder_ / "out" / "owner.pdf").string()});
  EXPECT_THAT(info.out, HasSubstr("(A4)"));
  // The next page has them without being told, in another language too.
  ASSERT_EQ(Report({"--language", "de"}, "2026-03-14").status, 0);
  const std::string german = ReadFile(folder_ / "out" / "owner.html");
  EXPECT_THAT(german, HasSubstr("lang=\"de\""));
  EXPECT_THAT(german, HasSubstr("die Hufe am 14. März 2026"));
  EXPECT_THAT(german, HasSubstr("01632 960 123"));
}

// Python's zipfile, a reader that knows nothing of libzip.
/// RFC 4648, without what is left over at the end.
std::string Base64(const std::string& bytes) {
  constexpr std::string_view kLetters =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  for (std::size_t i = 0; i + 2 < bytes.size(); i += 3) {
    unsigned three = 0;
    for (std::size_t k = 0; k < 3; ++k) {
      three = three << 8U | static_cast<unsigned char>(bytes[i + k]);
    }
    for (int shift = 18; shift >= 0; shift -= 6) {
      text += kLetters[three >> static_cast<unsigned>(shift) & 63U];
    }
  }
  return text;
}

/// Where two pictures of one size differ clearly, as a share of all pixels.
double Differing(const cv::Mat& a, const cv::Mat& b) {
  cv::Mat off;
  cv::absdiff(a, b, off);
  std::vector<cv::Mat> planes;
  cv::split(off, planes);
  const cv::Mat most = cv::max(cv::max(planes[0], planes[1]), planes[2]);
  // As much as no JPEG of good quality is off by.
  return static_cast<double>(cv::countNonZero(most > 60)) /
         static_cast<double>(most.total());
}

// The recorded photo is drawn on again from its report alone. In English the
// picture is the recorded one; in German the words are others, on the same
// lines; the page has them.
TEST_F(ReportCommandTest, DrawsOnThePhotosInThePagesLanguage) {
  const auto english = report::OwnerWordsOf("en").value();
  const auto german = report::OwnerWordsOf("de").value();
  const fs::path record =
      book_ / "horses" / "juno-co" / "visits" / "2026-03-14" / "LF-after_trim";
  const json told = ReadJson(record / "report.json");
  std::vector<std::string> pictures;
  for (const View view : {View::kSolar, View::kLateral}) {
    const std::string name(geometry::ViewName(view));
    SCOPED_TRACE(name);
    const auto photo = photo::LoadPhoto(record / (name + ".jpg")).value();
    const auto recorded =
        photo::LoadPhoto(record / (name + "-annotated.jpg")).value();
    const auto again =
        report::DrawnAgain(told, view, photo, english).value().value();
    // Without the words below: the page writes its date otherwise.
    ASSERT_EQ(again.cols, recorded.rgb.cols);
    const int rows = again.cols * photo.rgb.rows / photo.rgb.cols;
    const auto part = [rows](const cv::Mat& whole) {
      return whole.rowRange(0, rows);
    };
    EXPECT_LT(Differing(part(again), part(recorded.rgb)), 0.001);
    const auto other =
        report::DrawnAgain(told, view, photo, german).value().value();
    EXPECT_GT(Differing(part(other), part(again)), 0.005);
    const auto jpeg = photo::EncodeJpeg(other);
    pictures.push_back(jpeg);
  }
  ASSERT_EQ(Report({"--language", "de"}, "2026-03-14").status, 0);
  const std::string page = ReadFile(folder_ / "out" / "owner.html");
  for (const std::string& jpeg : pictures) {
    EXPECT_THAT(page, HasSubstr(Base64(jpeg).substr(0, 4000)));
  }
  // Of a report of before the lines were kept, the recorded picture serves.
  json old = told;
  old.erase("lines");
  const auto photo = photo::LoadPhoto(record / "solar.jpg").value();
  EXPECT_FALSE(
      report::DrawnAgain(old, View::kSolar, photo, german).value().has_value());
}

// The words that are drawn in English are those of the message file.
TEST(DrawnWords, AreThoseOfTheMessageFile) {
  const auto english = report::OwnerWordsOf("en").value();
  const draw::AnnotateWords drawn;
  EXPECT_EQ(english.Say("drawn.outline"), drawn.outline);
  EXPECT_EQ(english.Say("drawn.dorsal_wall"), drawn.dorsal_wall);
  EXPECT_EQ(english.Say("drawn.found"), drawn.found);
  EXPECT_EQ(english.Say("drawn.placed"), drawn.placed);
  EXPECT_EQ(english.Say("drawn.interval"), drawn.interval);
  EXPECT_EQ(english.Say("drawn.no_scale"), drawn.no_scale);
  EXPECT_EQ(english.texts().at("drawn.missing"), drawn.missing);
  EXPECT_EQ(english.texts().at("drawn.unsure"), drawn.unsure);
  EXPECT_EQ(english.texts().at("drawn.hidden"), drawn.hidden);
  int names = 0;
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const std::string key = "drawn.measure." + std::string(info.key);
    if (!english.Has(key)) continue;
    EXPECT_EQ(english.Say(key), info.name);
    ++names;
  }
  EXPECT_EQ(names, 17);  // As many as are drawn.
}

TEST_F(ReportCommandTest, PacksTheVisitForAVet) {
  ASSERT_EQ(Report({"--zip"}, "2026-03-14").status, 0);
  const std::string zip = folder_ / "out" / "visit.zip";
  EXPECT_EQ(RunCommand({"/usr/bin/python3", "-m", "zipfile", "-t", zip}).status,
            0);
  const auto list =
      RunCommand({"/usr/bin/python3", "-m", "zipfile", "-l", zip});
  for (const char* name : {"owner.html",
                           "owner.pdf",
                           "visit.json",
                           "LF-before_trim/solar.jpg",
                           "LF-after_trim/report.json",
                           "LF-after_trim/lateral-annotated.jpg"}) {
    EXPECT_THAT(list.out, HasSubstr(name));
  }
  const fs::path unpacked = folder_ / "unpacked";
  ASSERT_EQ(
      RunCommand(
          {"/usr/bin/python3", "-m", "zipfile", "-e", zip, unpacked.string()})
          .status,
      0);
  EXPECT_EQ(ReadFile(unpacked / "LF-before_trim" / "solar.jpg"),
            ReadFile(Yard::Get().solar()));
}

TEST_F(ReportCommandTest, SaysWhatIsThereWhenAskedForWhatIsNot) {
  CommandResult result = Report({}, "2026-03-15");
  EXPECT_EQ(result.status, 1);
  EXPECT_THAT(result.err, HasSubstr("Choose one of: 2026-03-14"));
  result = Report({"--language", "xx"}, "2026-03-14");
  EXPECT_EQ(result.status, 1);
  EXPECT_THAT(result.err, HasSubstr("en, de"));
  result =
      Report({"--words", (folder_ / "settings.json").string()}, "2026-03-14");
  EXPECT_EQ(result.status, 2);
  result = Plumb({"report",
                  book_,
                  "--horse",
                  "Nobody",
                  "--date",
                  "2026-03-14",
                  "--out",
                  folder_ / "out"});
  EXPECT_EQ(result.status, 2);
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

TEST_F(ReportCommandTest, WhatIsDamagedIsNamedAndLeftOut) {
  std::vector<fs::path> pictures;
  for (const auto& entry : fs::recursive_directory_iterator(book_)) {
    if (entry.path().filename() == "solar-annotated.jpg") {
      pictures.push_back(entry.path());
    }
  }
  ASSERT_EQ(pictures.size(), 2U);
  WriteFile(pictures[0], "no picture");
  CommandResult result = Report({}, "2026-03-14");
  EXPECT_EQ(result.status, 3);
  EXPECT_THAT(result.err, HasSubstr(pictures[0].filename().string()));
  EXPECT_TRUE(fs::exists(folder_ / "out" / "owner.html"));
  fs::remove_all(folder_ / "out");
  WriteFile(pictures[1], "no picture");
  result = Report({}, "2026-03-14");
  EXPECT_EQ(result.status, 2);
  EXPECT_THAT(result.err, HasSubstr("Nothing of the visit of 2026-03-14"));
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

}  // namespace
}  // namespace plumbfoot::tests
