// SPDX-License-Identifier: Apache-2.0
/// @file
/// The words and marks of a history, the same in its tables and its charts.
#pragma once

#include <optional>
#include <string>

#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/report/horse_history.h"

namespace plumbfoot::report {

/// A month, to tell a slope in [days].
inline constexpr double kMonthDays = 365.25 / 12;

/// "+0.35° a month (0.10 to 0.60)"; with one word where there is none.
std::string SlopeWords(const std::optional<trend::RobustSlope>& slope,
                       measure::Unit unit,
                       bool mixed);
/// "0.30 mm a day (0.28 to 0.32)", "-0.4° a week (...)".
std::string RateWords(const trend::Rate& rate, measure::Unit unit);
/// "2.1° to go to 52°; reached about 2026-11-02 (2026-10-01 to 2027-01-15)".
std::string TargetWords(const TargetState& target, measure::Unit unit);

/// Does it grow from visit to visit, so that a rate in mm/day says something?
bool Grows(measure::MeasureId id);
/// Does its drift in degrees a week say something?
bool Drifts(measure::MeasureId id);

/// How a reading of that phase is drawn.
draw::TimeMark MarkOf(Phase phase);

}  // namespace plumbfoot::report
