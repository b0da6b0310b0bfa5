// SPDX-License-Identifier: Apache-2.0
/// @file
/// How well measuring agrees with itself and with another: repeatability,
/// smallest detectable change, limits of agreement, intraclass correlation.
/// Pure.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>

#include "plumbfoot/measure/propagate.h"

namespace plumbfoot::trend {

/// From subjects that were each measured several times.
struct Repeatability {
  int subjects = 0;
  /// Standard deviation within a subject, root of the one-way analysis of
  /// variance's mean square: the standard error of measurement (SEM).
  double within_sd = 0.0;
  /// 1.96 sqrt(2) within_sd: two readings of one subject differ by less in 95
  /// of 100 pairs.
  double smallest_detectable_change = 0.0;
};

/// The difference that two readings must exceed to be called a change, one
/// question alone: 1.96 sqrt(2) SEM. J. P. Weir, J. Strength Cond. Res. 19(1),
/// 2005, 231-240 (from memory); the same as the repeatability of J. M. Bland
/// and D. G. Altman (1986) but for their factor 2.
double SmallestDetectableChange(double sem);

/// J. M. Bland and D. G. Altman, "Statistical methods for assessing agreement
/// between two methods of clinical measurement", Lancet 327, 1986, 307-310.
/// @param readings  A row for each subject, a column for each repeat.
/// @return Nothing for no subject or fewer than two repeats.
std::optional<Repeatability> RepeatabilityOf(const Eigen::MatrixXd& readings);

/// Bland and Altman's limits of agreement of two ways to measure.
struct Agreement {
  int pairs = 0;
  double bias = 0.0;  ///< Mean of first less second.
  double sd = 0.0;    ///< Of the differences.
  measure::Interval limits;
  measure::Interval bias95;   ///< Confidence interval of the bias.
  measure::Interval lower95;  ///< Of the lower limit.
  measure::Interval upper95;  ///< Of the upper limit.
};

/// As in Bland and Altman (1986): the limits are bias -+ factor sd, their
/// standard error is sqrt(3 / n) sd, the intervals are Student's.
/// @param factor  1.96; the paper itself rounds to 2.
/// @return Nothing for fewer than two pairs.
/// @throws std::invalid_argument if the two differ in length.
std::optional<Agreement> LimitsOfAgreement(std::span<const double> first,
                                           std::span<const double> second,
                                           double factor = 1.96);

/// The six intraclass correlations of P. E. Shrout and J. L. Fleiss,
/// "Intraclass correlations: uses in assessing rater reliability", Psychol.
/// Bull. 86(2), 1979, 420-428.
struct IntraclassCorrelations {
  double between_ms = 0.0;   ///< BMS: targets.
  double within_ms = 0.0;    ///< WMS: within targets.
  double judges_ms = 0.0;    ///< JMS.
  double residual_ms = 0.0;  ///< EMS.
  double icc11 = 0.0;        ///< Each target by judges of its own.
  double icc21 = 0.0;        ///< The same judges, drawn from many.
  double icc31 = 0.0;        ///< The same judges, the only ones.
  double icc1k = 0.0;        ///< Of the mean of k judges.
  double icc2k = 0.0;
  double icc3k = 0.0;
};

/// @param ratings  A row for each target, a column for each judge.
/// @return Nothing for fewer than two of either, or targets that are all alike.
std::optional<IntraclassCorrelations> IntraclassCorrelationsOf(
    const Eigen::MatrixXd& ratings);

}  // namespace plumbfoot::trend
