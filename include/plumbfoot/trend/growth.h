// SPDX-License-Identifier: Apache-2.0
/// @file
/// What happens between two visits: growth, drift, and when to come again.
/// Pure: days are numbers, today is nobody's business here.
#pragma once

#include <optional>
#include <span>

#include "plumbfoot/measure/measures.h"

namespace plumbfoot::trend {

/// A measure on a day.
struct DatedMeasure {
  int day = 0;  ///< Days since any one day.
  measure::Measured measured;
};

/// How fast a measure changes.
struct Rate {
  double per_day = 0.0;
  double standard_uncertainty = 0.0;  ///< Of per_day, from the photos alone.
  double low95 = 0.0;
  double high95 = 0.0;
  int days = 0;  ///< Over how many.

  /// Does the interval leave out zero?
  bool sure() const { return low95 > 0 || high95 < 0; }
};

/// From one photo to a later one: growth from after the trim to before the next
/// [mm/day], drift of an angle [deg/day]. Uncertainty as in ChangeOf.
/// @return Nothing unless `later` is at least one day later.
std::optional<Rate> RateBetween(const DatedMeasure& earlier,
                                const DatedMeasure& later,
                                bool same_print);

/// The rate over several spells: what was gained in all over all their days.
/// The spells' photos are independent. The interval is that of the photos; that
/// horn grows faster in spring is no error of theirs.
/// @return Nothing of nothing.
std::optional<Rate> MeanRate(std::span<const Rate> spells);

/// Why the next visit is due when it is.
enum class DueBecause {
  kUsual,        ///< The usual spell.
  kAngleDrifts,  ///< The angle will have moved as far as it may.
};

struct Due {
  int days = 0;  ///< After the last visit.
  DueBecause because = DueBecause::kUsual;
};

/// Six weeks: common practice; 4 to 6 weeks are studied (Lesniak et al.,
/// Animals 7(4):29, 2017), 6 to 8 common practice.
inline constexpr int kUsualSpellDays = 42;
// CHOSEN: nobody comes oftener than every two weeks for an angle's sake; what
// moves faster than that is the vet's to look at.
inline constexpr int kShortestSpellDays = 14;

/// When the next visit is due: after the usual spell, or earlier if the angle
/// surely drifts (Rate::sure) so fast that it moves by `allowed_deg` before.
/// @param drift  Of the angle, after a trim to before the next [deg/day].
/// @throws std::invalid_argument unless allowed_deg and usual_days are above 0.
Due NextVisit(const std::optional<Rate>& drift,
              const std::optional<double>& allowed_deg,
              int usual_days = kUsualSpellDays);

}  // namespace plumbfoot::trend
