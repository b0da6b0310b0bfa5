// SPDX-License-Identifier: Apache-2.0
/// @file
/// The case over months: every measure of every foot over the visits, growth,
/// drift, trend, targets, left against right, and the next visit.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/comparison.h"
#include "plumbfoot/report/saved_report.h"
#include "plumbfoot/trend/growth.h"
#include "plumbfoot/trend/slope.h"

namespace plumbfoot::report {

/// What a farrier or a vet wants a measure to become.
struct Target {
  measure::MeasureId measure = measure::MeasureId::kToeAngle;
  double value = 0.0;
  std::optional<Foot> foot;  ///< Nothing: of every foot.
  std::string by;            ///< Who set it. May be empty.
  std::string set_on;        ///< "2026-03-14". May be empty.
};
/// "toe_angle=52", or "LF:toe_angle=52" for one foot. @return kUsage.
Result<Target> ParseTarget(std::string_view text);

/// One day at the horse, and what was done.
struct VisitWords {
  std::string date;
  std::string words;  ///< "trimmed; steel shoe, 6 nails". May be empty.
};

struct HistoryRequest {
  std::string horse;
  std::vector<SavedReport> reports;  ///< In any order; each has a date.
  std::vector<VisitWords> visits;
  std::vector<Target> targets;
  /// How far the toe angle may drift between two visits [deg].
  std::optional<double> allowed_drift_deg;
  int usual_days = trend::kUsualSpellDays;
};

/// Which of a day's readings it is.
enum class Phase { kBefore, kAfter, kOther };

struct DatedReading {
  int day = 0;  ///< Days since 1970-01-01.
  Phase phase = Phase::kOther;
  Stage stage = Stage::kOther;
  bool shod = false;
  bool unsure = false;
  measure::Measured measured;
};

/// From after one visit to before the next.
struct Spell {
  int from_day = 0;
  int to_day = 0;
  trend::Rate rate;
};

struct TargetState {
  double value = 0.0;
  std::string by;         ///< As Target.
  std::string set_on;     ///< As Target.
  int day = 0;            ///< Of the reading that it is held against.
  double distance = 0.0;  ///< Target less reading.
  double half95 = 0.0;    ///< Half of that reading's 95 % interval.
  bool reached = false;   ///< The interval holds the target.
  /// Nothing unless the trend allows it.
  std::optional<trend::Reach> when;  ///< Days since 1970-01-01.
};

struct MeasureHistory {
  measure::MeasureId id = measure::MeasureId::kToeAngle;
  std::vector<DatedReading> readings;  ///< In order of time.
  /// Some were taken of a shod foot and some of a bare one, and the measure
  /// runs to the shoe: no trend is taken then.
  bool mixed = false;
  std::optional<trend::RobustSlope> before;  ///< Per day.
  std::optional<trend::RobustSlope> after;   ///< Per day.
  /// Between two photos like these, one question by itself.
  double smallest_visible = 0.0;
  std::vector<Spell> spells;
  std::optional<trend::Rate> mean_rate;
  std::optional<TargetState> target;
};

struct FootHistory {
  Foot foot = Foot::kLeftFore;
  std::vector<MeasureHistory> measures;  ///< Those measured at least once.
  trend::Due due;                        ///< After the last visit.
};

/// Left and right of the last visit that has both at one stage.
struct PairState {
  std::string date;
  Comparison comparison;  ///< Left is `before`.
};

struct HorseHistory {
  std::string horse;
  std::vector<VisitWords> visits;  ///< In order of time.
  std::vector<FootHistory> feet;   ///< In the order of Foot.
  std::vector<PairState> pairs;
  /// "2026-04-25": the earliest that any foot is due.
  std::string next_visit;
  trend::DueBecause because = trend::DueBecause::kUsual;
  std::optional<Foot> due_foot;  ///< Whose angle drifts.
  std::optional<double> allowed_drift_deg;
};

/// Works it all out. Trends are taken of readings before and after the trim
/// apart; growth and drift are from after one visit to before the next.
/// @return kUsage for no report, or a report without a date.
Result<HorseHistory> MakeHistory(HistoryRequest request);

/// "2026-03-14" of a day since 1970-01-01.
std::string DateOfDay(int day);
/// The other way round, of a date that ParseDate accepts.
int DayOfDate(std::string_view date);

/// "format": "plumbfoot-history", "version": 1; see
/// src/report/schema/history.schema.json.
nlohmann::json ToJson(const HorseHistory& history);
std::string_view HistorySchema();
/// @throws std::logic_error if it doesn't keep to the schema: our fault.
std::string HistoryText(const HorseHistory& history);

/// Every reading, one a line (RFC 4180, with a heading).
std::string HistoryCsv(const HorseHistory& history);

/// A table for a terminal: UTF-8, no line wider than 80 columns.
std::string HistoryTable(const HorseHistory& history, bool colour);

/// All measures of one view of a foot, over time.
draw::TimeChart ChartOf(const HorseHistory& history,
                        const FootHistory& foot,
                        View view);

}  // namespace plumbfoot::report
