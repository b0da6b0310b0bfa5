// SPDX-License-Identifier: Apache-2.0
/// @file
/// One quantity over time: a robust slope, a line of least squares, and when
/// the line meets a target. Pure.
#pragma once

#include <optional>
#include <span>

#include "plumbfoot/measure/propagate.h"

namespace plumbfoot::trend {

using measure::Interval;

/// A reading at a time, in any unit of time and value.
struct Reading {
  double time = 0.0;
  double value = 0.0;
};

/// The slope after Theil and Sen.
struct RobustSlope {
  int readings = 0;
  double slope = 0.0;      ///< Median of all pairs' slopes.
  double intercept = 0.0;  ///< Median value less slope times median time.
  /// Where the slope lies at the level asked for; nothing where the readings
  /// are too few for any interval to promise that: below five without ties at
  /// 95 %.
  std::optional<Interval> interval;

  /// Nothing if there are too few readings to tell.
  std::optional<bool> differs_from_zero() const;
};

/// Median slope of all pairs of readings at different times, with the interval
/// that inverts Kendall's test: P. K. Sen, "Estimates of the regression
/// coefficient based on Kendall's tau", JASA 63(324), 1968, 1379-1389; H.
/// Theil, Proc. Kon. Ned. Akad. Wetensch. 53, 1950. Distribution-free: for
/// errors that are independent and alike.
///
/// Without ties and with up to 60 readings by Kendall's exact distribution,
/// else by the normal approximation with its variance for ties (Sen, 1968, eq.
/// 2.6), rounded as in SciPy's theilslopes.
/// @param level  Of the interval, in (0, 1).
/// @return Nothing if no two readings are at different times.
/// @throws std::invalid_argument for a level outside (0, 1).
std::optional<RobustSlope> TheilSen(std::span<const Reading> readings,
                                    double level = 0.95);

/// A line of least squares.
struct FittedLine {
  int readings = 0;
  double slope = 0.0;
  double intercept = 0.0;  ///< Value at time 0.
  double slope_sigma = 0.0;
  double intercept_sigma = 0.0;
  double residual_sd = 0.0;  ///< On n - 2 degrees of freedom.
  double r_squared = 0.0;
  double mean_time = 0.0;
  double mean_value = 0.0;
  double spread = 0.0;  ///< Sum of squared times about their mean.
};

/// Ordinary least squares: N. R. Draper and H. Smith, Applied Regression
/// Analysis, chapter 1 (from memory); checked against NIST StRD.
/// @return Nothing for fewer than three readings or all at one time.
std::optional<FittedLine> FitLine(std::span<const Reading> readings);

/// When a line meets a target, as an interval.
struct Reach {
  double expected = 0.0;
  Interval interval;
};

/// Every time at which the target lies within the confidence band of the line:
/// E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B
/// 16(2), 1954, 175-185 (from memory).
/// @return Nothing unless the slope differs from zero at the level: the times
///   then have no end.
std::optional<Reach> WhenReached(const FittedLine& line,
                                 double target,
                                 double level = 0.95);

}  // namespace plumbfoot::trend
