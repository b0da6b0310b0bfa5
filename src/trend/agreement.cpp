// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/agreement.h"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <stdexcept>

#include "plumbfoot/trend/change.h"
#include "trend/distributions.h"

namespace plumbfoot::trend {
namespace {

measure::Interval About(double middle, double half) {
  return {middle - half, middle + half};
}

}  // namespace

double SmallestDetectableChange(double sem) {
  return FactorFor(1) * std::numbers::sqrt2 * sem;
}

std::optional<Repeatability> RepeatabilityOf(const Eigen::MatrixXd& readings) {
  if (readings.rows() < 1 || readings.cols() < 2) return std::nullopt;
  const Eigen::MatrixXd off = readings.colwise() - readings.rowwise().mean();
  const auto degrees =
      static_cast<double>(readings.rows() * (readings.cols() - 1));
  Repeatability result;
  result.subjects = static_cast<int>(readings.rows());
  result.within_sd = std::sqrt(off.squaredNorm() / degrees);
  result.smallest_detectable_change =
      SmallestDetectableChange(result.within_sd);
  return result;
}

std::optional<Agreement> LimitsOfAgreement(std::span<const double> first,
                                           std::span<const double> second,
                                           double factor) {
  if (first.size() != second.size()) {
    throw std::invalid_argument("LimitsOfAgreement: these are no pairs");
  }
  if (first.size() < 2) return std::nullopt;
  const auto n = static_cast<double>(first.size());
  Agreement result;
  result.pairs = static_cast<int>(first.size());
  for (std::size_t i = 0; i < first.size(); ++i) {
    result.bias += (first[i] - second[i]) / n;
  }
  double squares = 0.0;
  for (std::size_t i = 0; i < first.size(); ++i) {
    const double off = first[i] - second[i] - result.bias;
    squares += off * off;
  }
  result.sd = std::sqrt(squares / (n - 1));
  result.limits = About(result.bias, factor * result.sd);
  const double t = StudentQuantile(0.975, n - 1);
  result.bias95 = About(result.bias, t * result.sd / std::sqrt(n));
  const double of_limit = t * result.sd * std::sqrt(3 / n);
  result.lower95 = About(result.limits.low, of_limit);
  result.upper95 = About(result.limits.high, of_limit);
  return result;
}

std::optional<IntraclassCorrelations> IntraclassCorrelationsOf(
    const Eigen::MatrixXd& ratings) {
  if (ratings.rows() < 2 || ratings.cols() < 2) return std::nullopt;
  const auto n = static_cast<double>(ratings.rows());
  const auto k = static_cast<double>(ratings.cols());
  const double mean = ratings.mean();
  const Eigen::VectorXd targets = ratings.rowwise().mean();
  const Eigen::RowVectorXd judges = ratings.colwise().mean();
  const double between = k * (targets.array() - mean).square().sum();
  const double by_judges = n * (judges.array() - mean).square().sum();
  const double within = (ratings.colwise() - targets).squaredNorm();
  if (!(between > 0)) return std::nullopt;
  IntraclassCorrelations r;
  r.between_ms = between / (n - 1);
  r.within_ms = within / (n * (k - 1));
  r.judges_ms = by_judges / (k - 1);
  r.residual_ms = (within - by_judges) / ((n - 1) * (k - 1));
  const double b = r.between_ms;
  const double w = r.within_ms;
  const double j = r.judges_ms;
  const double e = r.residual_ms;
  r.icc11 = (b - w) / (b + (k - 1) * w);
  r.icc21 = (b - e) / (b + (k - 1) * e + k * (j - e) / n);
  r.icc31 = (b - e) / (b + (k - 1) * e);
  r.icc1k = (b - w) / b;
  r.icc2k = (b - e) / (b + (j - e) / n);
  r.icc3k = (b - e) / b;
  return r;
}

}  // namespace plumbfoot::trend
