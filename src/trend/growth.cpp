// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/growth.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "plumbfoot/trend/change.h"

namespace plumbfoot::trend {
namespace {

Rate RateOf(double difference, double sigma, int days) {
  Rate rate;
  rate.days = days;
  rate.per_day = difference / days;
  rate.standard_uncertainty = sigma / days;
  const double half = FactorFor(1) * rate.standard_uncertainty;
  rate.low95 = rate.per_day - half;
  rate.high95 = rate.per_day + half;
  return rate;
}

}  // namespace

std::optional<Rate> RateBetween(const DatedMeasure& earlier,
                                const DatedMeasure& later,
                                bool same_print) {
  const int days = later.day - earlier.day;
  if (days < 1) return std::nullopt;
  const Change change =
      ChangeOf(earlier.measured, later.measured, same_print, FactorFor(1));
  return RateOf(change.difference, change.standard_uncertainty, days);
}

std::optional<Rate> MeanRate(std::span<const Rate> spells) {
  double gained = 0.0;
  double variance = 0.0;
  int days = 0;
  for (const Rate& spell : spells) {
    gained += spell.per_day * spell.days;
    variance += std::pow(spell.standard_uncertainty * spell.days, 2);
    days += spell.days;
  }
  if (days < 1) return std::nullopt;
  return RateOf(gained, std::sqrt(variance), days);
}

Due NextVisit(const std::optional<Rate>& drift,
              const std::optional<double>& allowed_deg,
              int usual_days) {
  if (usual_days < 1 || (allowed_deg && !(*allowed_deg > 0))) {
    throw std::invalid_argument("NextVisit: nothing is allowed");
  }
  Due due{usual_days, DueBecause::kUsual};
  if (!drift || !allowed_deg || !drift->sure()) return due;
  const double days = *allowed_deg / std::abs(drift->per_day);
  if (days >= usual_days) return due;
  due.days = std::max(std::min(kShortestSpellDays, usual_days),
                      static_cast<int>(std::floor(days)));
  due.because = DueBecause::kAngleDrifts;
  return due;
}

}  // namespace plumbfoot::trend
