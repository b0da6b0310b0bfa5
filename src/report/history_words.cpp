// SPDX-License-Identifier: Apache-2.0
#include "report/history_words.h"

#include <fmt/core.h>

#include <cmath>

#include "plumbfoot/judge/words.h"

namespace plumbfoot::report {
namespace {

using measure::MeasureId;
using measure::Unit;

std::string_view UnitWords(Unit unit) {
  switch (unit) {
    case Unit::kMillimetre:
      return " mm";
    case Unit::kSquareMillimetre:
      return " cm²";
    case Unit::kDegree:
      return "°";
    case Unit::kPercent:
      return " %";
    case Unit::kRatio:
      return "";
  }
  return "";
}

/// A number with so many decimals that the half width shows two digits; no
/// "-0.0".
std::string Number(double value, double half, int most, bool sign) {
  // CHOSEN: nobody trims by thousandths; a ratio is near one.
  const int decimals = judge::Decimals(half, most);
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.find_first_of("123456789") == std::string::npos) {
    if (text.front() == '-') text.erase(0, 1);
    return text;
  }
  return sign && value > 0 ? "+" + text : text;
}

std::string WithInterval(
    double value, double low, double high, Unit unit, std::string_view per) {
  const double half = (high - low) / 2;
  const int most = unit == Unit::kRatio ? 4 : 2;
  return fmt::format("{}{} {} ({} to {})",
                     Number(value, half, most, true),
                     UnitWords(unit),
                     per,
                     Number(low, half, most, false),
                     Number(high, half, most, false));
}

}  // namespace

std::string SlopeWords(const std::optional<trend::RobustSlope>& slope,
                       Unit unit,
                       bool mixed) {
  if (mixed) return "some shod, some bare: no trend";
  if (!slope || !slope->interval) return "too few visits";
  const double per =
      kMonthDays * (unit == Unit::kSquareMillimetre ? 0.01 : 1.0);
  const std::string words = WithInterval(slope->slope * per,
                                         slope->interval->low * per,
                                         slope->interval->high * per,
                                         unit,
                                         "a month");
  return *slope->differs_from_zero() ? words : "none seen: " + words;
}

std::string RateWords(const trend::Rate& rate, Unit unit) {
  const bool degrees = unit == Unit::kDegree;
  const double per = degrees ? 7.0 : 1.0;
  return WithInterval(rate.per_day * per,
                      rate.low95 * per,
                      rate.high95 * per,
                      unit,
                      degrees ? "a week" : "a day");
}

std::string TargetWords(const TargetState& target, Unit unit) {
  const std::string goal = judge::ShowNumber(target.value, unit);
  if (target.reached) {
    return fmt::format("target {}: reached, as far as the photo can tell",
                       goal);
  }
  measure::Measured distance;
  distance.value = std::abs(target.distance);
  distance.low95 = distance.value - target.half95;
  distance.high95 = distance.value + target.half95;
  std::string words =
      fmt::format("target {}: {} {}",
                  goal,
                  judge::ShowInLine(distance, unit),
                  target.distance > 0 ? "below it" : "above it");
  if (target.when) {
    words += fmt::format(
        "; at this pace about {} ({} to {})",
        DateOfDay(static_cast<int>(std::lround(target.when->expected))),
        DateOfDay(static_cast<int>(std::floor(target.when->interval.low))),
        DateOfDay(static_cast<int>(std::ceil(target.when->interval.high))));
  }
  return words;
}

bool Grows(MeasureId id) {
  return id == MeasureId::kDorsalWallLength ||
         id == MeasureId::kHeelWallLength || id == MeasureId::kToeHeight ||
         id == MeasureId::kHeelHeight;
}

bool Drifts(MeasureId id) {
  return measure::InfoOf(id).unit == Unit::kDegree;
}

draw::TimeMark MarkOf(Phase phase) {
  switch (phase) {
    case Phase::kBefore:
      return draw::TimeMark::kBefore;
    case Phase::kAfter:
      return draw::TimeMark::kAfter;
    case Phase::kOther:
      return draw::TimeMark::kOther;
  }
  return draw::TimeMark::kOther;
}

}  // namespace plumbfoot::report
