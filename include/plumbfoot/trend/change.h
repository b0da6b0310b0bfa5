// SPDX-License-Identifier: Apache-2.0
/// @file
/// Is a foot another than it was? The difference of two visits (or of left and
/// right) with its uncertainty, and whether these photos can show a change.
/// Pure.
#pragma once

#include <map>
#include <set>
#include <string>
#include <variant>

#include "plumbfoot/measure/measures.h"

namespace plumbfoot::trend {

/// The difference of one measure.
struct Change {
  double difference = 0.0;            ///< After less before.
  double standard_uncertainty = 0.0;  ///< Of the difference.
  double low95 = 0.0;   ///< 95 % interval of this difference by itself.
  double high95 = 0.0;  ///< 95 % interval of this difference by itself.
  /// The smallest difference that is called a change.
  double smallest_visible = 0.0;
  bool changed = false;  ///< |difference| > smallest_visible.
};

/// Why a measure can't be compared, for people.
struct NotCompared {
  std::string why;
};

using Comparison = std::variant<Change, NotCompared>;
using Comparisons = std::map<measure::MeasureId, Comparison>;

/// Two-sided standard normal quantile for one of `comparisons` questions, when
/// all of them together may answer "changed" without a change with at most the
/// probability `level`: Phi^-1(1 - (1 - (1 - level)^(1/m)) / 2). Holds for
/// normal errors however they go together: Z. Sidak, "Rectangular confidence
/// regions for the means of multivariate normal distributions", JASA 62(318),
/// 1967, 626-633. One question: 1.96.
/// @throws std::invalid_argument unless comparisons >= 1 and 0 < level < 1.
double FactorFor(int comparisons, double level = 0.05);

/// The difference of two independent photos of one measure.
///
/// What both share cancels: with the same print, the error of its size is the
/// same share of both values, so that with signed shared parts s
///   u^2 = (u_a^2 - s_a^2) + (u_b^2 - s_b^2) + (s_a - s_b)^2
/// and without it u^2 = u_a^2 + u_b^2 (JCGM 100:2008, 5.2.2 with r = 1 and 0).
/// The smallest visible change is factor * u. With equal uncertainties and the
/// factor of one question it is the smallest detectable change
/// 1.96 sqrt(2) SEM (see SmallestDetectableChange).
Change ChangeOf(const measure::Measured& before,
                const measure::Measured& after,
                bool same_print,
                double factor);

/// One foot as it was measured.
struct MeasuredFoot {
  measure::Outcomes outcomes;
  bool shod = false;
};

struct CompareOptions {
  /// The views whose two photos show the same printed card.
  std::set<View> same_print;
  /// How often an unchanged foot is called changed in any measure, if all
  /// errors were normal. CHOSEN: 0.03, so that it is at most 5 in 100 with the
  /// errors that photos have, whose tails are longer (tests/studies/run
  /// change).
  double level = 0.03;
};

/// All measures of a foot, compared.
struct FootChange {
  /// Every measure that either foot has an outcome of.
  Comparisons comparisons;
  int compared = 0;  ///< How many are a Change.
  /// Times the standard uncertainty is a change: FactorFor(compared, level).
  double factor = 0.0;

  bool changed() const;  ///< Any of them.
};

/// Compares every measure of two photos of a foot.
///
/// As many questions are asked at once as there are measures; the level is that
/// of all together (FactorFor), so that a foot that did not change is reported
/// as unchanged, in every measure, in at least 95 of 100 pairs. Where one is
/// shod and the other bare, measures that run to the ground or to the edge are
/// not compared.
FootChange CompareFeet(const MeasuredFoot& before,
                       const MeasuredFoot& after,
                       const CompareOptions& options = {});

/// The foot as a mirror would show it, to lay a right foot over a left one:
/// left and right half width change places, their difference its sign.
measure::Outcomes MirrorImage(measure::Outcomes outcomes);

/// Does the measure run to the ground or to the bearing edge, which on a shod
/// foot are the shoe's?
bool RunsToTheShoe(measure::MeasureId id);

}  // namespace plumbfoot::trend
