// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/horse_history.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "plumbfoot/report/report_json.h"
#include "report/invented_case.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::MeasureId;
using nlohmann::json;
using testing::HasSubstr;

const MeasureHistory& Of(const HorseHistory& history, Foot foot, MeasureId id) {
  for (const FootHistory& of_foot : history.feet) {
    if (of_foot.foot != foot) continue;
    for (const MeasureHistory& of : of_foot.measures) {
      if (of.id == id) return of;
    }
  }
  throw std::invalid_argument("not in the history");
}

HorseHistory Case() {
  const auto history = MakeHistory(InventedCase());
  EXPECT_TRUE(history.has_value());
  return *history;
}

// The case grows 13 mm in six weeks: R. Kolstrung et al., Med. Weter. 68(7),
// 2012, 426-429 (abstract).
TEST(HorseHistory, GrowthAndDriftLieInsideTheirIntervals) {
  const HorseHistory history = Case();
  int held = 0;
  int spells = 0;
  const auto count = [&](MeasureId id, double truth) {
    for (const Foot foot : {Foot::kLeftFore, Foot::kRightFore}) {
      const MeasureHistory& of = Of(history, foot, id);
      ASSERT_TRUE(of.mean_rate.has_value());
      EXPECT_LT(std::abs(of.mean_rate->per_day - truth),
                3 * of.mean_rate->standard_uncertainty);
      EXPECT_EQ(of.spells.size(), 7U);
      for (const Spell& spell : of.spells) {
        ++spells;
        if (spell.rate.low95 <= truth && truth <= spell.rate.high95) ++held;
      }
    }
  };
  count(MeasureId::kDorsalWallLength, kGrowthMmPerDay);
  count(MeasureId::kToeAngle, kDriftDegPerDay);
  EXPECT_EQ(spells, 28);
  EXPECT_GE(held, 24);  // 95 in 100 of them, less three standard deviations.
}

// A photo that doesn't show the toe: growth isn't reckoned across the trim.
TEST(HorseHistory, AVisitBetweenEndsASpell) {
  HistoryRequest request = InventedCase();
  const std::string fourth = DateOfDay(DayOfDate(kFirstDay) + 3 * kSpellDays);
  for (SavedReport& report : request.reports) {
    if (report.date == fourth) {
      report.outcomes[MeasureId::kDorsalWallLength] =
          measure::NotMeasured{"the toe can't be seen"};
    }
  }
  const auto history = MakeHistory(request);
  const auto& of = Of(*history, Foot::kLeftFore, MeasureId::kDorsalWallLength);
  EXPECT_EQ(of.spells.size(), 5U);
  ASSERT_TRUE(of.mean_rate.has_value());
  EXPECT_NEAR(of.mean_rate->per_day,
              kGrowthMmPerDay,
              3 * of.mean_rate->standard_uncertainty);
}

TEST(HorseHistory, FindsTheTrendThatIsThereAndNoOther) {
  const HorseHistory history = Case();
  const auto& left = Of(history, Foot::kLeftFore, MeasureId::kToeAngle);
  ASSERT_TRUE(left.after && left.after->interval);
  EXPECT_EQ(left.after->readings, 8);
  EXPECT_EQ(left.after->differs_from_zero(), true);
  const double per_day = kSteeperDegPerVisit / kSpellDays;
  EXPECT_LE(left.after->interval->low, per_day);
  EXPECT_GE(left.after->interval->high, per_day);
  const auto& right = Of(history, Foot::kRightFore, MeasureId::kToeAngle);
  EXPECT_EQ(right.after->differs_from_zero(), false);
}

TEST(HorseHistory, TellsWhenATargetIsReachedAsFarAsTheTrendAllows) {
  HistoryRequest request = InventedCase();
  // Left: 48 degrees at first, 0.7 more each visit, so 52.9 at the eighth. In
  // truth 55 is reached 42 * (55 - 48) / 0.7 = 420 days after the first.
  request.targets = {*ParseTarget("LF:toe_angle=55"),
                     *ParseTarget("RF:toe_angle=55"),
                     *ParseTarget("dorsal_wall_length=78")};
  const auto history = MakeHistory(request);
  const auto& left = Of(*history, Foot::kLeftFore, MeasureId::kToeAngle);
  ASSERT_TRUE(left.target && left.target->when);
  EXPECT_FALSE(left.target->reached);
  EXPECT_GT(left.target->distance, 0);
  const double truth = DayOfDate(kFirstDay) + 420.0;
  EXPECT_LE(left.target->when->interval.low, truth);
  EXPECT_GE(left.target->when->interval.high, truth);
  // No trend: no time.
  const auto& right = Of(*history, Foot::kRightFore, MeasureId::kToeAngle);
  ASSERT_TRUE(right.target.has_value());
  EXPECT_FALSE(right.target->when.has_value());
  EXPECT_TRUE(Of(*history, Foot::kLeftFore, MeasureId::kDorsalWallLength)
                  .target->reached);
}

TEST(HorseHistory, NextVisitIsInSixWeeksOrEarlierIfTheAngleDrifts) {
  HistoryRequest request = InventedCase();
  const int last = DayOfDate(kFirstDay) + 7 * kSpellDays;
  EXPECT_EQ(MakeHistory(request)->next_visit, DateOfDay(last + 42));
  // 1.6 degrees in 42 days drift in truth; 1 degree is allowed: 26 days.
  request.allowed_drift_deg = 1.0;
  const auto history = MakeHistory(request);
  EXPECT_EQ(history->because, trend::DueBecause::kAngleDrifts);
  EXPECT_NEAR(DayOfDate(history->next_visit) - last, 26, 8);
}

TEST(HorseHistory, LeftIsHeldAgainstRight) {
  const HorseHistory history = Case();
  ASSERT_EQ(history.pairs.size(), 1U);
  EXPECT_TRUE(history.pairs[0].comparison.mirrored);
  // 53 and 50 degrees at the last visit, after the trim.
  const auto& change = std::get<trend::Change>(
      history.pairs[0].comparison.change.comparisons.at(MeasureId::kToeAngle));
  EXPECT_NEAR(change.difference, -2.9, 3 * change.standard_uncertainty);
}

TEST(HorseHistory, AShoeBreaksATrend) {
  HistoryRequest request = InventedCase();
  for (SavedReport& report : request.reports) {
    report.shod = *report.date > "2026-06-01";
  }
  const auto history = MakeHistory(request);
  const auto& length =
      Of(*history, Foot::kLeftFore, MeasureId::kDorsalWallLength);
  EXPECT_TRUE(length.mixed);
  EXPECT_FALSE(length.after.has_value());
  // Across the change of shoeing nothing is said to have grown.
  EXPECT_EQ(length.spells.size(), 6U);
  EXPECT_FALSE(Of(*history, Foot::kLeftFore, MeasureId::kToeAngle).mixed);
}

TEST(HorseHistory, SaysNothingOfTooFewVisits) {
  HistoryRequest request = InventedCase(3);
  const auto history = MakeHistory(request);
  const auto& angle = Of(*history, Foot::kLeftFore, MeasureId::kToeAngle);
  EXPECT_FALSE(angle.after->interval.has_value());
  EXPECT_THAT(HistoryTable(*history, false), HasSubstr("Next visit"));
  request.reports[0].date.reset();
  EXPECT_EQ(MakeHistory(request).error().code, RefusalCode::kUsage);
  EXPECT_EQ(MakeHistory({}).error().code, RefusalCode::kUsage);
}

TEST(HorseHistory, TableFitsTheTerminal) {
  HistoryRequest request = InventedCase();
  request.targets = {*ParseTarget("LF:toe_angle=55")};
  request.allowed_drift_deg = 1.0;
  const std::string table = HistoryTable(*MakeHistory(request), false);
  std::istringstream lines(table);
  for (std::string line; std::getline(lines, line);) {
    EXPECT_LE(Columns(line), 80) << line;
  }
  EXPECT_THAT(table, HasSubstr("mm a day"));
  EXPECT_THAT(table, HasSubstr("a month"));
  EXPECT_THAT(table, HasSubstr("Left fore beside right fore"));
}

TEST(HorseHistory, CsvHasEveryReadingOnce) {
  HorseHistory history = Case();
  history.horse = "=Juno, \"the grey\"";
  const std::string csv = HistoryCsv(history);
  // Two feet, 8 visits, 2 stages, 30 measures, and the heading.
  EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), 2 * 8 * 2 * 30 + 1);
  EXPECT_THAT(csv, HasSubstr("\"'=Juno, \"\"the grey\"\"\",2026-01-10,LF,"));
}

// python3-jsonschema (Debian's), an implementation of its own.
TEST(HorseHistory, JsonKeepsToItsSchemaSaysASecondValidator) {
  const std::filesystem::path folder =
      std::filesystem::path(testing::TempDir()) /
      ("history_" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  HistoryRequest request = InventedCase();
  request.targets = {*ParseTarget("LF:toe_angle=55")};
  request.allowed_drift_deg = 1.0;
  std::ofstream(folder / "schema.json") << HistorySchema();
  std::ofstream(folder / "history.json") << HistoryText(*MakeHistory(request));
  const std::string command =
      std::string(PLUMBFOOT_PYTHON) +
      " -c 'import json,sys,jsonschema;"
      "jsonschema.Draft7Validator(json.load(open(sys.argv[1]))).validate("
      "json.load(open(sys.argv[2])))' '" +
      (folder / "schema.json").string() + "' '" +
      (folder / "history.json").string() + "'";
  // NOLINTNEXTLINE(cert-env33-c): a fixed command on files made here.
  EXPECT_EQ(std::system(command.c_str()), 0);
  std::filesystem::remove_all(folder);
}

TEST(HorseHistory, ChartsShowEveryMeasureAndVisit) {
  const HorseHistory history = Case();
  const draw::TimeChart sole =
      ChartOf(history, history.feet.front(), View::kSolar);
  const draw::TimeChart side =
      ChartOf(history, history.feet.front(), View::kLateral);
  EXPECT_EQ(sole.panels.size(), 16U);
  EXPECT_EQ(side.panels.size(), 14U);
  EXPECT_EQ(side.visits.size(), 8U);
  for (const draw::TimePanel& panel : side.panels) {
    EXPECT_EQ(panel.points.size(), 16U) << panel.title;
  }
  EXPECT_EQ(draw::TimeChartPng(side, 50).substr(1, 3), "PNG");
}

TEST(ParseTarget, RefusesWhatIsNone) {
  for (const char* text : {"",
                           "toe_angle",
                           "toe_angle=",
                           "toe_angle=x",
                           "toe=52",
                           "XX:toe_angle=52",
                           "toe_angle=52mm",
                           "toe_angle=nan"}) {
    const auto target = ParseTarget(text);
    ASSERT_FALSE(target.has_value()) << text;
    EXPECT_EQ(target.error().code, RefusalCode::kUsage);
  }
  const auto target = ParseTarget("NF:toe_angle=52.5");
  ASSERT_TRUE(target.has_value());
  EXPECT_EQ(target->foot, Foot::kLeftFore);
  EXPECT_EQ(target->value, 52.5);
}

TEST(DateOfDay, GoesBackAndForth) {
  EXPECT_EQ(DayOfDate("1970-01-01"), 0);
  EXPECT_EQ(DateOfDay(DayOfDate("2024-02-29") + 1), "2024-03-01");
}

}  // namespace
}  // namespace plumbfoot::report
