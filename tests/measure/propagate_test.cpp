// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/propagate.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <array>
#include <cmath>
#include <numbers>

namespace plumbfoot::measure {
namespace {

using geometry::Random;
using Numbers = std::array<double, 3>;

constexpr int kTrials = 200000;

// JCGM 100:2008 (GUM), H.2, Table H.2: voltage, current and phase were measured
// together five times; resistance, reactance and impedance follow, with their
// correlations. Inputs and printed results from memory; recomputing agrees.
TEST(Propagate, ReproducesGumH2) {
  constexpr std::array<Numbers, 5> kReadings = {{{5.007, 19.663e-3, 1.0456},
                                                 {4.994, 19.639e-3, 1.0438},
                                                 {5.005, 19.640e-3, 1.0468},
                                                 {4.990, 19.685e-3, 1.0428},
                                                 {4.999, 19.678e-3, 1.0433}}};
  Eigen::Vector3d mean = Eigen::Vector3d::Zero();
  for (const auto& r : kReadings) mean += Eigen::Vector3d(r.data()) / 5;
  Eigen::Matrix3d of_mean = Eigen::Matrix3d::Zero();
  for (const auto& r : kReadings) {
    const Eigen::Vector3d d = Eigen::Vector3d(r.data()) - mean;
    of_mean += d * d.transpose() / (5 * 4);
  }
  const Eigen::Matrix3d factor = of_mean.llt().matrixL();
  const auto model = [](const Eigen::Vector3d& in, std::span<double> out) {
    out[0] = in(0) / in(1) * std::cos(in(2));
    out[1] = in(0) / in(1) * std::sin(in(2));
    out[2] = in(0) / in(1);
  };
  const auto draw = [&](Random& random) -> Eigen::Vector3d {
    const double a = random.Normal();
    const double b = random.Normal();
    return mean + factor * Eigen::Vector3d(a, b, random.Normal());
  };
  const auto result = Propagate(model, mean, draw, 3, kTrials, 1);
  EXPECT_NEAR(result.estimates[0].value, 127.732, 0.0005);
  EXPECT_NEAR(result.estimates[1].value, 219.847, 0.0005);
  EXPECT_NEAR(result.estimates[2].value, 254.260, 0.0005);
  EXPECT_NEAR(result.estimates[0].standard_uncertainty, 0.071, 0.001);
  EXPECT_NEAR(result.estimates[1].standard_uncertainty, 0.295, 0.002);
  EXPECT_NEAR(result.estimates[2].standard_uncertainty, 0.236, 0.002);
  EXPECT_NEAR(Correlation(result.trials, 0, 1), -0.588, 0.005);
  EXPECT_NEAR(Correlation(result.trials, 0, 2), -0.485, 0.005);
  EXPECT_NEAR(Correlation(result.trials, 1, 2), 0.993, 0.001);
}

// JCGM 100:2008 (GUM), H.3: the calibration line of a thermometer and the
// correction that it predicts at 30 degrees. Inputs and printed results from
// memory; recomputing agrees.
TEST(Propagate, ReproducesGumH3) {
  constexpr std::array<double, 11> kTemperature = {21.521,
                                                   22.012,
                                                   22.512,
                                                   23.003,
                                                   23.507,
                                                   23.999,
                                                   24.513,
                                                   25.002,
                                                   25.503,
                                                   26.010,
                                                   26.511};
  constexpr std::array<double, 11> kCorrection = {-0.171,
                                                  -0.169,
                                                  -0.166,
                                                  -0.159,
                                                  -0.164,
                                                  -0.165,
                                                  -0.156,
                                                  -0.157,
                                                  -0.159,
                                                  -0.161,
                                                  -0.160};
  const auto model = [&](const std::array<double, 11>& b,
                         std::span<double> out) {
    double mean_t = 0.0;
    double mean_b = 0.0;
    for (std::size_t i = 0; i < b.size(); ++i) {
      mean_t += (kTemperature[i] - 20) / 11;
      mean_b += b[i] / 11;
    }
    double tt = 0.0;
    double tb = 0.0;
    for (std::size_t i = 0; i < b.size(); ++i) {
      const double t = kTemperature[i] - 20 - mean_t;
      tt += t * t;
      tb += t * (b[i] - mean_b);
    }
    out[1] = tb / tt;
    out[0] = mean_b - out[1] * mean_t;
    out[2] = out[0] + 10 * out[1];
  };
  std::array<double, 3> line{};
  model(kCorrection, line);
  double squares = 0.0;
  for (std::size_t i = 0; i < kCorrection.size(); ++i) {
    squares += std::pow(
        kCorrection[i] - line[0] - line[1] * (kTemperature[i] - 20), 2);
  }
  const double s = std::sqrt(squares / (11 - 2));
  EXPECT_NEAR(s, 0.0035, 0.00005);
  const auto draw = [&](Random& random) {
    auto b = kCorrection;
    for (double& value : b) value += random.Normal(0, s);
    return b;
  };
  const auto result = Propagate(model, kCorrection, draw, 3, kTrials, 2);
  EXPECT_NEAR(result.estimates[0].value, -0.1712, 0.00005);
  EXPECT_NEAR(result.estimates[0].standard_uncertainty, 0.0029, 0.00005);
  EXPECT_NEAR(result.estimates[1].value, 0.00218, 0.000005);
  EXPECT_NEAR(result.estimates[1].standard_uncertainty, 0.00067, 0.00001);
  EXPECT_NEAR(Correlation(result.trials, 0, 1), -0.930, 0.002);
  EXPECT_NEAR(result.estimates[2].value, -0.1494, 0.00005);
  EXPECT_NEAR(result.estimates[2].standard_uncertainty, 0.0041, 0.00005);
}

/// The sum of four.
void Sum(const std::array<double, 4>& in, std::span<double> out) {
  out[0] = in[0] + in[1] + in[2] + in[3];
}

// JCGM 101:2008, 9.2 (printed results from memory; recomputing agrees).
TEST(Propagate, ReproducesJcgm101Sums) {
  const std::array<double, 4> nominal{};
  const auto normal = [](Random& r) {
    return std::array{r.Normal(), r.Normal(), r.Normal(), r.Normal()};
  };
  const auto rectangular = [](Random& r) {
    const double a = std::sqrt(3.0);
    return std::array{
        r.Uniform(-a, a), r.Uniform(-a, a), r.Uniform(-a, a), r.Uniform(-a, a)};
  };
  const auto one_wide = [&rectangular](Random& r) {
    auto in = rectangular(r);
    in[3] *= 10;
    return in;
  };
  const auto expect = [](const Propagated& result, double u, double half) {
    EXPECT_NEAR(result.estimates[0].mean, 0.0, 0.01 * u);
    EXPECT_NEAR(result.estimates[0].standard_uncertainty, u, 0.01 * u);
    EXPECT_NEAR(result.estimates[0].interval95.low, -half, 0.01 * half);
    EXPECT_NEAR(result.estimates[0].interval95.high, half, 0.01 * half);
  };
  expect(Propagate(Sum, nominal, normal, 1, kTrials, 3), 2.0, 3.92);
  expect(Propagate(Sum, nominal, rectangular, 1, kTrials, 4), 2.0, 3.88);
  expect(Propagate(Sum, nominal, one_wide, 1, kTrials, 5), 10.1, 17.0);
}

// JCGM 101:2008, 9.3: a weight of 100 g against a reference weight in air; the
// quotients make the law of propagation, to first order, give 0.054 mg (inputs
// and printed results from memory; recomputing agrees). In mg and kg/m^3.
TEST(Propagate, ReproducesJcgm101MassCalibration) {
  const auto deviation = [](const std::array<double, 5>& in,
                            std::span<double> out) {
    const auto [reference, added, air, weight, of_reference] = in;
    out[0] = (reference + added) *
                 (1 + (air - 1.2) * (1 / weight - 1 / of_reference)) -
             100'000.0;
  };
  const auto draw = [](Random& r) {
    return std::array{r.Normal(100'000.0, 0.050),
                      r.Normal(1.234, 0.020),
                      r.Uniform(1.10, 1.30),
                      r.Uniform(7'000.0, 9'000.0),
                      r.Uniform(7'950.0, 8'050.0)};
  };
  const auto trials = RunTrials(deviation, draw, 1, kTrials, 8);
  const auto samples = FiniteColumn(trials, 0);
  const Estimate estimate = Summarise(1.234, samples);
  EXPECT_NEAR(estimate.mean, 1.2341, 0.0010);
  EXPECT_NEAR(estimate.standard_uncertainty, 0.0754, 0.0005);
  const Interval shortest = ShortestInterval(samples);
  EXPECT_NEAR(shortest.low, 1.0834, 0.006);
  EXPECT_NEAR(shortest.high, 1.3825, 0.006);
}

/// Student's t: a normal over the root of a mean of squares.
double StudentT(Random& random, int degrees_of_freedom) {
  double squares = 0.0;
  for (int i = 0; i < degrees_of_freedom; ++i) {
    const double z = random.Normal();
    squares += z * z;
  }
  return random.Normal() / std::sqrt(squares / degrees_of_freedom);
}

/// A rectangle on [-half, half] whose half width itself is only known to `by`
/// (JCGM 101:2008, 6.4.3.4).
double CurvilinearTrapezoid(Random& random, double half, double by) {
  const double inexact = half + random.Uniform(-by, by);
  return random.Uniform(-inexact, inexact);
}

// JCGM 101:2008, 9.5 (the end gauge of the GUM's H.1): how far a gauge block is
// from 50 mm, by a comparator, a standard and their temperatures (inputs and
// printed results from memory; recomputing agrees). In nm and degrees Celsius.
TEST(Propagate, ReproducesJcgm101GaugeBlock) {
  const auto deviation = [](const std::array<double, 9>& in,
                            std::span<double> out) {
    const auto [standard,
                difference,
                random_effect,
                systematic_effect,
                expansion,
                mean_temperature,
                cycle,
                expansion_difference,
                temperature_difference] = in;
    out[0] = standard + difference + random_effect + systematic_effect -
             standard * (expansion_difference * (mean_temperature + cycle) +
                         expansion * temperature_difference) -
             50e6;
  };
  const auto draw = [](Random& r) {
    return std::array{
        50'000'623.0 + 25.0 * StudentT(r, 18),
        215.0 + 6.0 * StudentT(r, 24),
        4.0 * StudentT(r, 5),
        7.0 * StudentT(r, 8),
        r.Uniform(9.5e-6, 13.5e-6),
        r.Normal(-0.1, 0.2),
        0.5 * std::sin(r.Uniform(-std::numbers::pi, std::numbers::pi)),
        CurvilinearTrapezoid(r, 1e-6, 0.1e-6),
        CurvilinearTrapezoid(r, 0.050, 0.025)};
  };
  const auto trials = RunTrials(deviation, draw, 1, kTrials, 9);
  const auto samples = FiniteColumn(trials, 0);
  const Estimate estimate = Summarise(838.0, samples);
  EXPECT_NEAR(estimate.mean, 838.0, 0.6);
  EXPECT_NEAR(estimate.standard_uncertainty, 36.0, 0.6);
  const Interval shortest = ShortestInterval(samples, 0.99);
  EXPECT_NEAR(shortest.low, 745.0, 5.0);
  EXPECT_NEAR(shortest.high, 932.0, 5.0);
}

// JCGM 101:2008, 9.4: a sum of squares near zero, where the law of propagation
// of uncertainty fails (printed results, in 1e-6, from memory; recomputing
// agrees). The intervals are the shortest.
TEST(Propagate, ReproducesJcgm101ComparisonLoss) {
  struct Row {
    double x1;
    double mean;
    double u;
    double low;
    double high;
    double tolerance;  // Of mean and u; the ends are less sure.
  };
  for (const Row row : {Row{0.000, 50, 50, 0, 150, 0.6},
                        Row{0.010, 150, 112, 0, 367, 0.6},
                        Row{0.050, 2550, 502, 1590, 3543, 4}}) {
    SCOPED_TRACE(row.x1);
    const auto model = [](const std::array<double, 2>& in,
                          std::span<double> out) {
      out[0] = 1e6 * (in[0] * in[0] + in[1] * in[1]);
    };
    const auto draw = [&row](Random& r) {
      return std::array{r.Normal(row.x1, 0.005), r.Normal(0, 0.005)};
    };
    const auto result =
        Propagate(model, std::array{row.x1, 0.0}, draw, 1, kTrials, 6);
    EXPECT_NEAR(result.estimates[0].mean, row.mean, row.tolerance);
    EXPECT_NEAR(result.estimates[0].standard_uncertainty, row.u, row.tolerance);
    const Interval shortest = ShortestInterval(FiniteColumn(result.trials, 0));
    EXPECT_NEAR(shortest.low, row.low, 5 * row.tolerance);
    EXPECT_NEAR(shortest.high, row.high, 5 * row.tolerance);
  }
}

TEST(Summarise, GivesTheRanksOfASmallSample) {
  std::vector<double> samples;
  for (int i = 1; i <= 79; ++i) samples.push_back(i);
  // Ranks 0.025 and 0.975 of 80: the 2nd and the 78th.
  const Estimate estimate = Summarise(40, samples);
  EXPECT_NEAR(estimate.interval95.low, 2.0, 1e-9);
  EXPECT_NEAR(estimate.interval95.high, 78.0, 1e-9);
  EXPECT_NEAR(estimate.mean, 40.0, 1e-9);
  EXPECT_NEAR(estimate.standard_uncertainty, std::sqrt(79.0 * 80 / 12), 1e-9);
  const Estimate centred = Summarise(30, samples, IntervalKind::kCentred);
  EXPECT_NEAR(centred.interval95.low, 30.0 - 38.0, 1e-9);
  EXPECT_NEAR(centred.interval95.high, 30.0 + 38.0, 1e-9);
  // Pushed up by 10 in the mean: 30 - (78 - 30) and 78 - 10.
  const Estimate pushed = Summarise(30, samples, IntervalKind::kPushedUp);
  EXPECT_NEAR(pushed.interval95.low, -18.0, 1e-9);
  EXPECT_NEAR(pushed.interval95.high, 68.0, 1e-9);
}

TEST(Summarise, RefusesTooFewSamples) {
  EXPECT_THROW((void)Summarise(0.0, {1.0, 2.0}), std::invalid_argument);
  EXPECT_THROW((void)ShortestInterval({1.0, 2.0}), std::invalid_argument);
  EXPECT_THROW((void)ShortestInterval(std::vector<double>(30, 1.0), 1.0),
               std::invalid_argument);
}

TEST(RunTrials, RepeatsWithItsSeed) {
  const auto model = [](double in, std::span<double> out) { out[0] = in; };
  const auto draw = [](Random& r) { return r.Normal(); };
  const Trials a = RunTrials(model, draw, 1, 50, 7);
  EXPECT_EQ(a, RunTrials(model, draw, 1, 50, 7));
  EXPECT_NE(a, RunTrials(model, draw, 1, 50, 8));
}

}  // namespace
}  // namespace plumbfoot::measure
