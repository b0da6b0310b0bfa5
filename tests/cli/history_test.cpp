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
                                 "--out",
                                 out,
                                 "--json"});
  ASSERT_EQ(result.status, 0) << result.err;
  const json history = json::parse(result.out);
  EXPECT_EQ(history["visits"].size(), 3U);
  EXPECT_EQ(history["visits"][0]["date"], "2026-02-21");
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
  EXPECT_EQ(status({"--horse", "Juno", "--allowed-drift", "-3"}), 1);
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
