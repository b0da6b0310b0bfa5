// SPDX-License-Identifier: Apache-2.0
// `plumbfoot history --horse` and `plumbfoot compare CASEBOOK` as a user runs
// them, on an invented case.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <opencv2/imgcodecs.hpp>
#include <set>

#include "cli/yard.h"
#include "plumbfoot/casebook/record.h"
#include "plumbfoot/geometry/random.h"
#include "report/invented_case.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;

/// The visits of the invented case, by date.
std::map<std::string, casebook::VisitToRecord> Visits(int count) {
  std::map<std::string, casebook::VisitToRecord> by_date;
  for (const report::FootReport& report : report::InventedReports(count)) {
    casebook::VisitToRecord& visit = by_date[*report.date];
    visit.horse = "Juno";
    visit.day = *casebook::ParseDay(*report.date);
    visit.now = *report.date + "T18:00:00Z";
    visit.change_notes = [](casebook::Notes& notes) {
      casebook::Work work;
      work.trimmed = true;
      work.shoe = "none";
      notes.work = {work};
    };
    casebook::FootToRecord foot;
    foot.foot = report.foot;
    foot.stage = report.stage;
    // Nobody reads the photo here; it has to be another each time.
    foot.photos[View::kSolar] = {
        "sole.jpg",
        *report.date + std::string(geometry::FootName(report.foot)) +
            std::string(geometry::StageName(report.stage))};
    foot.report_json = report::ReportText(report);
    foot.points_json = "{}";
    visit.feet.push_back(std::move(foot));
  }
  return by_date;
}

void Record(const fs::path& book, const casebook::VisitToRecord& visit) {
  const auto recorded = casebook::RecordVisit({book}, visit);
  EXPECT_TRUE(recorded.has_value()) << recorded.error().message;
}

/// A casebook with the invented case; the folder.
fs::path Book(const std::string& name, int visits) {
  fs::path folder = FreshFolder(name) / "book";
  EXPECT_TRUE(casebook::MakeCasebook(folder).has_value());
  for (const auto& [date, visit] : Visits(visits)) Record(folder, visit);
  return folder;
}

TEST(History, PlotsAHorsesCase) {
  const fs::path book = Book("history", 8);
  const fs::path out = FreshFolder("history-out");
  const auto result = Plumbfoot({"history",
                                 book,
                                 "--horse",
                                 "juno",
                                 "--target",
                                 "LF:toe_angle=55",
                                 "--allowed-drift",
                                 "1",
                                 "--by",
                                 "Dr. Moor, vet",
                                 "--out",
                                 out});
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_THAT(result.out, HasSubstr("Juno: 8 visits"));
  EXPECT_THAT(result.out, HasSubstr("trimmed, no shoe"));
  EXPECT_THAT(result.out, HasSubstr("Next visit"));
  for (const char* name :
       {"LF-solar", "LF-lateral", "RF-solar", "RF-lateral"}) {
    const cv::Mat picture = cv::imread((out / name).string() + ".png");
    ASSERT_FALSE(picture.empty()) << name;
    EXPECT_NEAR(picture.cols, 180 / 25.4 * 200, 2);
    EXPECT_THAT(ReadFile((out / name).string() + ".svg"), HasSubstr("<svg"));
  }
  EXPECT_EQ(CountFiles(out), 10);
  const json history = ReadJson(out / "history.json");
  EXPECT_EQ(history["feet"]["LF"]["measures"].size(), 30U);
  EXPECT_EQ(history["next_visit"]["because"], "angle_drifts");
  const json& target = history["feet"]["LF"]["measures"]["toe_angle"]["target"];
  EXPECT_LE(target["when"]["earliest"].get<std::string>(), "2027-03-06");
  EXPECT_GE(target["when"]["latest"].get<std::string>(), "2027-03-06");
  EXPECT_EQ(target["set_by"], "Dr. Moor, vet");
}

/// What `history --due` says, and its status.
std::pair<json, int> Due(const fs::path& book) {
  const auto result =
      Plumbfoot({"history", book, "--due", "--until", "2030-01-01", "--json"});
  return {json::parse(result.out), result.status};
}

/// The same of a copy in which nothing is kept.
std::pair<json, int> DueAnew(const fs::path& book) {
  const fs::path copy = book.parent_path() / "copy";
  fs::remove_all(copy);
  fs::copy(book, copy, fs::copy_options::recursive);
  fs::remove_all(copy / ".plumbfoot");
  return Due(copy);
}

void EditInPlace(const fs::path& path) {
  std::string bytes = ReadFile(path);
  const std::size_t at = bytes.find("\"value\": ") + 9;
  bytes.at(at) = bytes.at(at) == '1' ? '2' : '1';
  WriteFile(path, bytes);
}

// Property: whatever is recorded, set, taken away or damaged, in any order, the
// day that was kept is never told where it would be another now.
TEST(History, NeverTellsAStaleDay) {
  constexpr int kMost = 8;
  const auto visits = Visits(kMost);
  for (const std::uint64_t seed : {1U, 2U, 3U}) {
    SCOPED_TRACE(seed);
    geometry::Random random(seed);
    const fs::path book = Book("stale", 3);
    const casebook::Horse juno{"juno", "Juno", ""};
    const fs::path home = book / "horses" / "juno" / "visits";
    const auto last = [&] {
      std::set<fs::path> days(fs::directory_iterator(home), {});
      return *days.rbegin();
    };
    const auto aim = [&](std::optional<double> drift) {
      casebook::Aim to{std::string(casebook::kAllowedDrift),
                       {},
                       drift,
                       "vet",
                       visits.begin()->second.day};
      EXPECT_TRUE(casebook::RecordAims({book}, juno, {to}));
    };
    aim(1.0);
    std::set<std::string> told;
    for (int step = 0; step < 12; ++step) {
      const int what = random.Below(7);
      SCOPED_TRACE(std::to_string(step) + ": " + std::to_string(what));
      const std::string date = last().filename();
      if (what == 0) {
        aim(random.Uniform(0.2, 2.0));
      } else if (what == 1) {
        aim(step % 2 == 0 ? std::optional<double>() : 0.7);
      } else if (what == 2) {
        Plumbfoot({"visit",
                   book,
                   "--horse",
                   "Juno",
                   "--date",
                   date,
                   "--next",
                   step % 2 == 0 ? "2026-12-24" : "none"});
      } else if (what == 3) {
        Plumbfoot({"visit",
                   book,
                   "--horse",
                   "Juno",
                   "--date",
                   date,
                   "--remarks",
                   std::to_string(step)});
      } else if (what == 4 && visits.upper_bound(date) != visits.end()) {
        Record(book, visits.upper_bound(date)->second);
      } else if (what == 5 && fs::exists(last() / "LF-after_trim")) {
        EditInPlace(last() / "LF-after_trim" / "report.json");
      } else if (what == 6 && visits.begin()->first < date) {
        fs::remove_all(last());
      }
      const auto kept = Due(book);
      EXPECT_EQ(kept, DueAnew(book));
      EXPECT_EQ(kept, Due(book));
      for (const json& due : kept.first["due"]) {
        told.insert(due["next_visit"].get<std::string>());
      }
    }
    // The steps have told several days apart.
    EXPECT_GE(told.size(), 3U);
  }
}

TEST(History, TellsWhoIsDueWithoutOpeningTheHorse) {
  const fs::path book = Book("kept", 4);
  ASSERT_EQ(Plumbfoot({"history",
                       book,
                       "--horse",
                       "Juno",
                       "--allowed-drift",
                       "1",
                       "--by",
                       "vet",
                       "--out",
                       FreshFolder("kept-out")})
                .status,
            0);
  const fs::path index = book / ".plumbfoot" / "index" / "juno.cbor";
  const auto opened = [&] {
    fs::remove(index);
    const json due = Due(book).first;
    EXPECT_LT(due["due"][0]["next_visit"].get<std::string>(), "2026-06-27");
    // Whoever reads a horse's history writes its index.
    return fs::exists(index);
  };
  EXPECT_FALSE(opened());
  // `visit` works the day out that its visit leads to.
  ASSERT_EQ(Plumbfoot({"visit",
                       book,
                       "--horse",
                       "Juno",
                       "--date",
                       "2026-05-16",
                       "--remarks",
                       "quiet"})
                .status,
            0);
  EXPECT_FALSE(opened());
  fs::remove_all(book / ".plumbfoot");
  EXPECT_TRUE(opened());
}

TEST(History, KeepsWhatWasAimedFor) {
  const fs::path book = Book("aims", 3);
  const fs::path out = FreshFolder("aims-out");
  const auto history = [&](Words more) {
    more.insert(more.begin(), {"history", book, "--horse", "Juno"});
    more.insert(more.end(), {"--out", out});
    return Plumbfoot(more);
  };
  const auto due = [&](const std::string& until) {
    const auto result =
        Plumbfoot({"history", book, "--due", "--until", until, "--json"});
    EXPECT_EQ(result.status, 0) << result.err;
    return json::parse(result.out)["due"];
  };
  // Nobody is named and no practice is known.
  EXPECT_EQ(history({"--target", "toe_angle=55"}).status, 1);
  EXPECT_FALSE(fs::exists(book / "horses" / "juno" / "aims.json"));
  // The last visit was on 2026-04-04: six weeks later is 2026-05-16.
  EXPECT_EQ(due("2026-05-15").size(), 0U);
  ASSERT_EQ(due("2026-05-16").size(), 1U);

  ASSERT_EQ(history({"--target",
                     "toe_angle=55",
                     "--target",
                     "LF:heel_angle=50",
                     "--allowed-drift",
                     "1",
                     "--by",
                     "Dr. Moor, vet"})
                .status,
            0);
  // Later commands know of it: history, who is due, the owner's page.
  ASSERT_EQ(history({}).status, 0);
  json told = ReadJson(out / "history.json");
  const auto target = [&told](const char* foot, const char* measure) {
    return told["feet"][foot]["measures"][measure]["target"];
  };
  EXPECT_EQ(target("LF", "toe_angle")["value"], 55);
  EXPECT_EQ(target("RF", "toe_angle")["set_by"], "Dr. Moor, vet");
  EXPECT_EQ(target("LF", "heel_angle")["value"], 50);
  EXPECT_TRUE(target("RF", "heel_angle").is_null());
  EXPECT_EQ(told["next_visit"]["because"], "angle_drifts");
  const std::string sooner = told["next_visit"]["date"];
  EXPECT_LT(sooner, "2026-05-16");
  ASSERT_EQ(due(sooner).size(), 1U);
  EXPECT_EQ(due(sooner)[0]["next_visit"], sooner);
  const auto page = Plumbfoot({"report",
                               book,
                               "--horse",
                               "Juno",
                               "--date",
                               "2026-04-04",
                               "--out",
                               out / "page"});
  // The invented photos have no drawings.
  EXPECT_EQ(page.status, 2);

  // Said again nothing is added; taken back it doesn't count any more, and
  // what was said before stays to be read.
  const auto kept = [&] {
    return ReadJson(book / "horses" / "juno" / "aims.json")["aims"].size();
  };
  EXPECT_EQ(kept(), 3U);
  ASSERT_EQ(
      history({"--target", "RF:toe_angle=55", "--by", "Dr. Moor, vet"}).status,
      0);
  EXPECT_EQ(kept(), 3U);
  ASSERT_EQ(history({"--target",
                     "RF:toe_angle=none",
                     "--allowed-drift",
                     "none",
                     "--by",
                     "A. Hollin"})
                .status,
            0);
  EXPECT_EQ(kept(), 5U);
  told = ReadJson(out / "history.json");
  EXPECT_TRUE(target("RF", "toe_angle").is_null());
  EXPECT_EQ(target("LF", "toe_angle")["value"], 55);
  EXPECT_EQ(due(sooner).size(), 0U);
  EXPECT_EQ(Plumbfoot({"history", book, "--verify"}).status, 0);
}

TEST(History, TellsOfALaterPartWhenAsked) {
  const fs::path book = Book("since", 4);
  const fs::path out = FreshFolder("since-out");
  const auto result = Plumbfoot({"history",
                                 book,
                                 "--horse",
                                 "Juno",
                                 "--since",
                                 "2026-02-21",
                                 "--foot",
                                 "RF",
                                 "--out",
                                 out,
                                 "--json"});
  ASSERT_EQ(result.status, 0) << result.err;
  const json history = json::parse(result.out);
  EXPECT_EQ(history["visits"].size(), 3U);
  EXPECT_EQ(history["visits"][0]["date"], "2026-02-21");
  EXPECT_EQ(history["feet"].size(), 1U);
  EXPECT_EQ(CountFiles(out), 6);
  EXPECT_EQ(Plumbfoot({"history",
                       book,
                       "--horse",
                       "Juno",
                       "--since",
                       "2030-01-01",
                       "--out",
                       out})
                .status,
            1);
}

TEST(History, RefusesWhatItCantTell) {
  const fs::path book = Book("refused", 1);
  const fs::path out = FreshFolder("never-out") / "none";
  const auto status = [&](Words words) {
    words.insert(words.begin(), {"history", book});
    words.insert(words.end(), {"--out", out});
    return Plumbfoot(words).status;
  };
  EXPECT_EQ(status({"--horse", "Nobody"}), 2);
  EXPECT_EQ(status({"--horse", "Juno", "--target", "toe_angle"}), 1);
  EXPECT_EQ(status({"--horse", "Juno", "--allowed-drift", "-3", "--by", "me"}),
            1);
  EXPECT_EQ(Plumbfoot({"history", book, "--horse", "Juno"}).status, 1);
  EXPECT_FALSE(fs::exists(out));
}

TEST(Compare, TakesTwoVisitsOfACasebook) {
  const fs::path book = Book("two", 2);
  const fs::path out = FreshFolder("two-out");
  const Words words = {"compare", book, "--horse", "Juno", "--out", out};
  const auto with = [&words](Words more) {
    more.insert(more.begin(), words.begin(), words.end());
    return Plumbfoot(more);
  };
  // One day: the trim.
  auto result = with({"--dates", "2026-02-21", "2026-02-21"});
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_EQ(CountFiles(out), 6);
  json comparison = ReadJson(out / "LF" / "compare.json");
  EXPECT_EQ(comparison["before"]["stage"], "before_trim");
  EXPECT_EQ(comparison["after"]["stage"], "after_trim");
  EXPECT_EQ(comparison["differences"]["dorsal_wall_length"]["verdict"],
            "changed");
  // Two days: like with like, and nothing but the angle may have changed.
  result = with({"--dates", "2026-01-10", "2026-02-21", "--foot", "RF"});
  ASSERT_EQ(result.status, 0) << result.err;
  comparison = ReadJson(out / "RF" / "compare.json");
  EXPECT_EQ(comparison["before"]["stage"], "after_trim");
  EXPECT_EQ(comparison["before"]["date"], "2026-01-10");
  EXPECT_EQ(comparison["changed"], false);
  // Six weeks of growth.
  result = with({"--dates",
                 "2026-01-10",
                 "2026-02-21",
                 "--foot",
                 "RF",
                 "--stages",
                 "after_trim",
                 "before_trim"});
  ASSERT_EQ(result.status, 0) << result.err;
  comparison = ReadJson(out / "RF" / "compare.json");
  EXPECT_NEAR(comparison["differences"]["dorsal_wall_length"]["difference"]
                  .get<double>(),
              13.0,
              2.0);
  EXPECT_EQ(with({"--dates", "2026-01-10", "2026-01-11"}).status, 1);
  EXPECT_EQ(with({"--dates", "2026-01-10"}).status, 1);
  EXPECT_EQ(
      with({"--dates", "2026-01-10", "2026-02-21", "--foot", "LH"}).status, 1);
}

}  // namespace
}  // namespace plumbfoot::tests
