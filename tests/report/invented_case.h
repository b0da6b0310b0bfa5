// SPDX-License-Identifier: Apache-2.0
/// @file
/// An invented horse over months: known growth, trims and drift, measured from
/// points with noise.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/report_json.h"
#include "report/measured_report.h"

namespace plumbfoot::report {

inline constexpr const char* kFirstDay = "2026-01-10";
inline constexpr int kSpellDays = 42;
/// 13 mm in six weeks (Kolstrung 2012).
inline constexpr double kGrowthMmPerDay = 13.0 / 42;
/// Between visits the toe angle falls.
inline constexpr double kDriftDegPerDay = -1.6 / 42;
/// The left fore is trimmed a little steeper each time; the right one is not.
inline constexpr double kSteeperDegPerVisit = 0.7;

inline std::vector<FootReport> InventedReports(int visits) {
  std::vector<FootReport> reports;
  geometry::Random random(12);
  for (int visit = 0; visit < visits; ++visit) {
    const std::string date =
        DateOfDay(DayOfDate(kFirstDay) + visit * kSpellDays);
    for (const Foot foot : {Foot::kLeftFore, Foot::kRightFore}) {
      const bool left = foot == Foot::kLeftFore;
      for (const Stage stage : {Stage::kBeforeTrim, Stage::kAfterTrim}) {
        const bool before = stage == Stage::kBeforeTrim;
        measure::Sole sole;
        measure::Side side;
        sole.length = before ? 131 : 124;
        sole.width = before ? 131 : 127;
        side.toe_length = 78 + (before ? kGrowthMmPerDay * kSpellDays : 0.0);
        side.heel_length = before ? 46 : 40;
        side.support = before ? 121 : 116;
        const double after_this = left ? 48 + kSteeperDegPerVisit * visit : 50;
        const double after_last =
            left ? 48 + kSteeperDegPerVisit * (visit - 1) : 50;
        side.toe_angle =
            before ? after_last + kDriftDegPerDay * kSpellDays : after_this;
        side.heel_angle = side.toe_angle - 5;
        FootReport report = ReportOf(sole, side, &random);
        report.foot = foot;
        report.date = date;
        report.stage = stage;
        reports.push_back(std::move(report));
      }
    }
  }
  return reports;
}

inline HistoryRequest InventedCase(int visits = 8) {
  HistoryRequest request;
  request.horse = "Juno";
  for (const FootReport& report : InventedReports(visits)) {
    request.reports.push_back(*ReadReport(ToJson(report)));
  }
  for (int visit = 0; visit < visits; ++visit) {
    request.visits.push_back(
        {DateOfDay(DayOfDate(kFirstDay) + visit * kSpellDays),
         visit % 2 == 0 ? "trimmed" : ""});
  }
  return request;
}

}  // namespace plumbfoot::report
