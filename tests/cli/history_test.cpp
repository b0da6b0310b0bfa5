// SPDX-License-Identifier: Apache-2.0
// `plumbfoot history --horse` and `plumbfoot compare CASEBOOK` as a user runs
// them, on an invented case.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>

#include "cli/yard.h"
#include "plumbfoot/casebook/record.h"
#include "report/invented_case.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;

/// A casebook with the invented case; the folder.
fs::path Book(const std::string& name, int visits) {
  fs::path folder = FreshFolder(name) / "book";
  const auto book = casebook::MakeCasebook(folder);
  EXPECT_TRUE(book.has_value());
  std::map<std::string, casebook::VisitToRecord> by_date;
  for (const report::FootReport& report : report::InventedReports(visits)) {
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
  for (const auto& [date, visit] : by_date) {
    const auto recorded = casebook::RecordVisit(*book, visit);
    EXPECT_TRUE(recorded.has_value()) << recorded.error().message;
  }
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
