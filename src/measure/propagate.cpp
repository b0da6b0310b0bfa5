// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/propagate.h"

#include <algorithm>
#include <cmath>

namespace plumbfoot::measure {
namespace {

constexpr std::size_t kLeastSamples = 20;

void RequireSamples(const std::vector<double>& samples) {
  if (samples.size() < kLeastSamples) {
    throw std::invalid_argument("Propagate: too few trials have a value");
  }
}

/// The quantile at part p. With n samples the k-th smallest has the expected
/// rank k / (n + 1), so that an interval between two of them holds the next
/// draw with just the stated probability; between ranks it is interpolated.
/// Reorders the samples.
double Quantile(std::vector<double>& samples, double p) {
  const double last = static_cast<double>(samples.size() - 1);
  const double rank = std::clamp(p * (last + 2) - 1, 0.0, last);
  const auto below = static_cast<std::ptrdiff_t>(rank);
  const auto at = samples.begin() + below;
  std::nth_element(samples.begin(), at, samples.end());
  const double part = rank - static_cast<double>(below);
  if (part == 0.0) return *at;
  return *at + part * (*std::min_element(at + 1, samples.end()) - *at);
}

}  // namespace

Estimate Summarise(double value,
                   std::vector<double> samples,
                   IntervalKind kind) {
  RequireSamples(samples);
  Estimate estimate;
  estimate.value = value;
  const auto n = static_cast<double>(samples.size());
  // About the value, so that no digits are lost.
  double sum = 0.0;
  double squares = 0.0;
  for (const double s : samples) {
    sum += s - value;
    squares += (s - value) * (s - value);
  }
  estimate.mean = value + sum / n;
  estimate.standard_uncertainty =
      std::sqrt(std::max(0.0, (squares - sum * sum / n) / (n - 1)));
  const double low = Quantile(samples, 0.025);
  const double high = Quantile(samples, 0.975);
  estimate.interval95 = {low, high};
  if (kind == IntervalKind::kCentred) {
    estimate.interval95 = {value - (high - low) / 2, value + (high - low) / 2};
  } else if (kind == IntervalKind::kPushedUp) {
    const double push = std::max(0.0, estimate.mean - value);
    estimate.interval95 = {2 * value - high, std::max(value, high - push)};
  }
  return estimate;
}

Interval ShortestInterval(std::vector<double> samples, double part) {
  RequireSamples(samples);
  if (!(part > 0 && part < 1)) {
    throw std::invalid_argument("ShortestInterval: part is not in (0, 1)");
  }
  std::sort(samples.begin(), samples.end());
  const auto span = static_cast<std::size_t>(
      std::llround(part * static_cast<double>(samples.size() - 1)));
  Interval shortest{samples.front(), samples.back()};
  for (std::size_t i = 0; i + span < samples.size(); ++i) {
    if (samples[i + span] - samples[i] < shortest.high - shortest.low) {
      shortest = {samples[i], samples[i + span]};
    }
  }
  return shortest;
}

double Correlation(const Trials& trials, int a, int b) {
  double n = 0.0;
  double sum_a = 0.0;
  double sum_b = 0.0;
  for (Eigen::Index i = 0; i < trials.rows(); ++i) {
    if (!std::isfinite(trials(i, a)) || !std::isfinite(trials(i, b))) continue;
    ++n;
    sum_a += trials(i, a);
    sum_b += trials(i, b);
  }
  double aa = 0.0;
  double ab = 0.0;
  double bb = 0.0;
  for (Eigen::Index i = 0; i < trials.rows(); ++i) {
    const double da = trials(i, a) - sum_a / n;
    const double db = trials(i, b) - sum_b / n;
    if (!std::isfinite(da) || !std::isfinite(db)) continue;
    aa += da * da;
    ab += da * db;
    bb += db * db;
  }
  return ab / std::sqrt(aa * bb);
}

std::vector<double> FiniteColumn(const Trials& trials, int column) {
  std::vector<double> values;
  values.reserve(static_cast<std::size_t>(trials.rows()));
  for (const double v : trials.col(column)) {
    if (std::isfinite(v)) values.push_back(v);
  }
  return values;
}

}  // namespace plumbfoot::measure
