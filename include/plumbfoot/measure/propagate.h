// SPDX-License-Identifier: Apache-2.0
/// @file
/// Propagation of distributions by Monte Carlo: JCGM 101:2008, Supplement 1 to
/// the GUM, clauses 5 to 7.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <limits>
#include <span>
#include <stdexcept>
#include <utility>
#include <vector>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::measure {

/// One row for each trial, one column for each quantity. NaN: the trial has no
/// value of that quantity.
using Trials = Eigen::MatrixXd;

/// Which 95 % interval the trials give.
enum class IntervalKind {
  /// Probabilistically symmetric: 2.5 % of the trials lie on either side
  /// (JCGM 101:2008, 7.7).
  kSymmetric,
  /// The value, and on either side half the width of the symmetric interval:
  /// midway between that interval and its reflection in the value,
  /// [2 v - q97.5, 2 v - q2.5] (the "basic" interval of A. C. Davison and
  /// D. V. Hinkley, Bootstrap Methods and their Application, 1997, 5.2). For a
  /// largest gap, which noise pushes outwards: the trials are pushed from where
  /// they start as the value is from the truth. The reflection takes that back,
  /// but where chance has brought the value near its least, only the symmetric
  /// interval reaches back up.
  kCentred,
  /// For an area that doesn't match, which noise only ever makes larger: below
  /// the value as far as the trials reach above it (the reflection), above it
  /// as far as they reach less their mean push.
  kPushedUp,
};

struct Interval {
  double low = 0.0;
  double high = 0.0;
};

/// What the trials say of one quantity.
struct Estimate {
  double value = 0.0;                 ///< The model at the nominal inputs.
  double mean = 0.0;                  ///< Of the trials (JCGM 101:2008, 7.6).
  double standard_uncertainty = 0.0;  ///< Of the trials (7.6).
  Interval interval95;
};

/// @param samples  At least 20, all finite, in any order.
/// @throws std::invalid_argument for fewer.
Estimate Summarise(double value,
                   std::vector<double> samples,
                   IntervalKind kind = IntervalKind::kSymmetric);

/// The shortest interval that holds the given part of the samples
/// (JCGM 101:2008, 5.3.4 and 7.7.4).
/// @throws std::invalid_argument for fewer than 20 samples, or a part outside
///   (0, 1).
Interval ShortestInterval(std::vector<double> samples, double part = 0.95);

/// The correlation of two columns, over the trials that have both.
double Correlation(const Trials& trials, int a, int b);

/// The finite values of a column.
std::vector<double> FiniteColumn(const Trials& trials, int column);

/// Draws inputs and takes the model of them, again and again.
///
/// @param model  model(inputs, std::span<double> quantities) writes one number
///   for each quantity; what it can't tell it sets to NaN.
/// @param draw   draw(geometry::Random&) gives inputs from their joint
///   distribution.
template <typename Model, typename Draw>
Trials RunTrials(Model&& model,
                 Draw&& draw,
                 int quantities,
                 int trials,
                 std::uint64_t seed) {
  if (quantities < 1 || trials < 1) {
    throw std::invalid_argument("RunTrials: nothing to run");
  }
  geometry::Random random(seed);
  // Column by column in memory; a row is gathered first.
  Trials result(trials, quantities);
  std::vector<double> row(static_cast<std::size_t>(quantities));
  for (int trial = 0; trial < trials; ++trial) {
    model(draw(random), std::span<double>(row));
    for (int q = 0; q < quantities; ++q) {
      result(trial, q) = row[static_cast<std::size_t>(q)];
    }
  }
  return result;
}

/// Trials and what they say, for every quantity.
struct Propagated {
  std::vector<Estimate> estimates;
  Trials trials;
};

/// RunTrials, and Summarise for each quantity with the probabilistically
/// symmetric interval; `value` is the model at `nominal`.
/// @throws std::invalid_argument if fewer than 20 trials have a value.
template <typename Inputs, typename Model, typename Draw>
Propagated Propagate(Model&& model,
                     const Inputs& nominal,
                     Draw&& draw,
                     int quantities,
                     int trials,
                     std::uint64_t seed) {
  Propagated result;
  result.trials = RunTrials(model, draw, quantities, trials, seed);
  std::vector<double> values(static_cast<std::size_t>(quantities));
  model(nominal, std::span<double>(values));
  for (int q = 0; q < quantities; ++q) {
    result.estimates.push_back(Summarise(values[static_cast<std::size_t>(q)],
                                         FiniteColumn(result.trials, q)));
  }
  return result;
}

}  // namespace plumbfoot::measure
