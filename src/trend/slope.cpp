// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/slope.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <stdexcept>
#include <vector>

#include "trend/distributions.h"

namespace plumbfoot::trend {
namespace {

// CHOSEN: beyond it the normal approximation is off by less than a rank.
constexpr std::size_t kMostExact = 60;

double Median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half]
                                : (values[half - 1] + values[half]) / 2;
}

/// The sum of k (k - 1) (2 k + 5) over the groups of k equal values; 0 without
/// ties.
double TieTerm(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  double sum = 0.0;
  for (auto from = values.begin(); from != values.end();) {
    const auto to = std::upper_bound(from, values.end(), *from);
    const auto k = static_cast<double>(to - from);
    sum += k * (k - 1) * (2 * k + 5);
    from = to;
  }
  return sum;
}

/// Ranks (from 0) of the interval's ends among `slopes` sorted slopes.
struct Ranks {
  std::ptrdiff_t low = 0;
  std::ptrdiff_t high = 0;
};

std::optional<Ranks> ExactRanks(int n, double level) {
  const int pairs = n * (n - 1) / 2;
  const std::vector<double> tails = KendallTails(n);
  // The least s that so many readings exceed seldom enough.
  for (int s = pairs % 2; s <= pairs; s += 2) {
    if (tails[static_cast<std::size_t>((pairs - s) / 2)] > (1 - level) / 2) {
      continue;
    }
    // M. Hollander and D. A. Wolfe, Nonparametric Statistical Methods, 9.3
    // (from memory): C = s - 2, ranks (N - C) / 2 and (N + C) / 2 + 1 from 1.
    const std::ptrdiff_t low = (pairs - (s - 2)) / 2 - 1;
    return Ranks{low, pairs - 1 - low};
  }
  return std::nullopt;
}

std::optional<Ranks> NormalRanks(double n,
                                 double ties,
                                 std::size_t slopes,
                                 double level) {
  const double sigma = std::sqrt((n * (n - 1) * (2 * n + 5) - ties) / 18);
  const double reach = NormalQuantile((1 + level) / 2) * sigma;
  const auto count = static_cast<double>(slopes);
  const auto last = static_cast<std::ptrdiff_t>(slopes) - 1;
  // SciPy's theilslopes rounds so: to the nearest, halves to the even.
  const auto high =
      static_cast<std::ptrdiff_t>(std::nearbyint((count + reach) / 2));
  const auto low =
      static_cast<std::ptrdiff_t>(std::nearbyint((count - reach) / 2)) - 1;
  if (low < 0 || high > last) return std::nullopt;
  return Ranks{low, high};
}

}  // namespace

std::optional<bool> RobustSlope::differs_from_zero() const {
  if (!interval) return std::nullopt;
  return interval->low > 0 || interval->high < 0;
}

std::optional<RobustSlope> TheilSen(std::span<const Reading> readings,
                                    double level) {
  if (!(level > 0 && level < 1)) {
    throw std::invalid_argument("TheilSen: level is not in (0, 1)");
  }
  std::vector<double> slopes;
  std::vector<double> times;
  std::vector<double> values;
  for (std::size_t i = 0; i < readings.size(); ++i) {
    times.push_back(readings[i].time);
    values.push_back(readings[i].value);
    for (std::size_t j = 0; j < i; ++j) {
      const double dt = readings[i].time - readings[j].time;
      if (dt != 0) slopes.push_back((readings[i].value - values[j]) / dt);
    }
  }
  if (slopes.empty()) return std::nullopt;
  std::sort(slopes.begin(), slopes.end());
  RobustSlope result;
  result.readings = static_cast<int>(readings.size());
  result.slope = Median(slopes);
  result.intercept = Median(values) - result.slope * Median(times);
  const double ties = TieTerm(times) + TieTerm(values);
  const auto ranks =
      ties == 0 && readings.size() <= kMostExact
          ? ExactRanks(result.readings, level)
          : NormalRanks(result.readings, ties, slopes.size(), level);
  if (ranks) {
    result.interval = {slopes[static_cast<std::size_t>(ranks->low)],
                       slopes[static_cast<std::size_t>(ranks->high)]};
  }
  return result;
}

std::optional<FittedLine> FitLine(std::span<const Reading> readings) {
  if (readings.size() < 3) return std::nullopt;
  FittedLine line;
  line.readings = static_cast<int>(readings.size());
  const auto n = static_cast<double>(readings.size());
  for (const Reading& r : readings) {
    line.mean_time += r.time / n;
    line.mean_value += r.value / n;
  }
  double together = 0.0;
  double values = 0.0;
  for (const Reading& r : readings) {
    const double t = r.time - line.mean_time;
    const double v = r.value - line.mean_value;
    line.spread += t * t;
    together += t * v;
    values += v * v;
  }
  if (!(line.spread > 0)) return std::nullopt;
  line.slope = together / line.spread;
  line.intercept = line.mean_value - line.slope * line.mean_time;
  // From the residuals themselves: the difference of two large sums would have
  // lost its digits.
  double rest = 0.0;
  for (const Reading& r : readings) {
    const double off =
        r.value - line.mean_value - line.slope * (r.time - line.mean_time);
    rest += off * off;
  }
  line.residual_sd = std::sqrt(rest / (n - 2));
  line.slope_sigma = line.residual_sd / std::sqrt(line.spread);
  line.intercept_sigma =
      line.residual_sd *
      std::sqrt(1 / n + line.mean_time * line.mean_time / line.spread);
  line.r_squared = values > 0 ? 1 - rest / values : 1.0;
  return line;
}

std::optional<Reach> WhenReached(const FittedLine& line,
                                 double target,
                                 double level) {
  if (line.readings < 3 || line.slope == 0) return std::nullopt;
  const double t = StudentQuantile((1 + level) / 2, line.readings - 2);
  const double band = t * line.residual_sd;
  const double to_go = target - line.mean_value;
  // (to_go - slope u)^2 <= band^2 (1 / n + u^2 / spread), u from the mean time.
  const double a = line.slope * line.slope - band * band / line.spread;
  if (!(a > 0)) return std::nullopt;
  const double b = line.slope * to_go;
  const double c = to_go * to_go - band * band / line.readings;
  const double root = std::sqrt(std::max(0.0, b * b - a * c));
  return Reach{
      line.mean_time + to_go / line.slope,
      {line.mean_time + (b - root) / a, line.mean_time + (b + root) / a}};
}

}  // namespace plumbfoot::trend
