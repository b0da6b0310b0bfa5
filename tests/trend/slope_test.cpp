// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/slope.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "plumbfoot/geometry/random.h"
#include "trend/distributions.h"

namespace plumbfoot::trend {
namespace {

using geometry::Random;

std::vector<Reading> Readings(const std::vector<double>& times,
                              const std::vector<double>& values) {
  std::vector<Reading> readings;
  for (std::size_t i = 0; i < times.size(); ++i) {
    readings.push_back({times[i], values[i]});
  }
  return readings;
}

nlohmann::json SciPy() {
  std::ifstream file(PLUMBFOOT_TESTDATA "/statistics/theil_sen.json");
  return nlohmann::json::parse(file);
}

// Sen (1968), the worked example; data and figures from memory. He gives the
// interval for 93 %; by Kendall's exact distribution the same ranks hold the
// slope with 1 - 2 * 0.0151 = 97.0 %, and are those of 95 %.
TEST(TheilSen, AgreesWithSen1968) {
  const auto slope =
      TheilSen(Readings({1, 2, 3, 4, 10, 12, 18}, {9, 15, 19, 20, 45, 55, 78}));
  ASSERT_TRUE(slope.has_value());
  EXPECT_DOUBLE_EQ(slope->slope, 4.0);
  ASSERT_TRUE(slope->interval.has_value());
  EXPECT_DOUBLE_EQ(slope->interval->low, 26.0 / 7);
  EXPECT_DOUBLE_EQ(slope->interval->high, 35.0 / 8);
  EXPECT_EQ(slope->differs_from_zero(), true);
}

// scipy.stats.theilslopes: see testdata/statistics/SOURCE.md.
TEST(TheilSen, AgreesWithSciPy) {
  const nlohmann::json scipy = SciPy();
  ASSERT_FALSE(scipy.at("theilslopes").empty());
  for (const auto& reference : scipy.at("theilslopes")) {
    SCOPED_TRACE(reference["name"].get<std::string>());
    const auto slope =
        TheilSen(Readings(reference["x"].get<std::vector<double>>(),
                          reference["y"].get<std::vector<double>>()),
                 reference["level"].get<double>());
    ASSERT_TRUE(slope && slope->interval);
    EXPECT_NEAR(slope->slope, reference["slope"].get<double>(), 1e-12);
    EXPECT_NEAR(slope->intercept, reference["intercept"].get<double>(), 1e-9);
    EXPECT_NEAR(slope->interval->low, reference["low"].get<double>(), 1e-12);
    EXPECT_NEAR(slope->interval->high, reference["high"].get<double>(), 1e-12);
  }
}

// scipy.stats.kendalltau(method="exact"): as above.
TEST(KendallTail, AgreesWithSciPy) {
  const nlohmann::json scipy = SciPy();
  ASSERT_FALSE(scipy.at("kendall_tails").empty());
  for (const auto& reference : scipy.at("kendall_tails")) {
    EXPECT_NEAR(
        KendallTail(reference["n"].get<int>(), reference["s"].get<int>()),
        reference["tail"].get<double>(),
        1e-12)
        << reference;
  }
}

TEST(TheilSen, MovesAndStretchesWithItsReadings) {
  Random random(5);
  for (int round = 0; round < 50; ++round) {
    SCOPED_TRACE(round);
    std::vector<Reading> readings;
    std::vector<Reading> other;
    for (int i = 0; i < 9; ++i) {
      const Reading r{i + random.Uniform(0, 0.5), random.Normal()};
      readings.push_back(r);
      // A line added, time in another unit.
      other.push_back({7 * r.time + 3, 2 * r.value + 5 + 0.25 * r.time});
    }
    const auto a = TheilSen(readings);
    const auto b = TheilSen(other);
    EXPECT_NEAR(b->slope, (2 * a->slope + 0.25) / 7, 1e-12);
    EXPECT_NEAR(b->interval->low, (2 * a->interval->low + 0.25) / 7, 1e-12);
    EXPECT_NEAR(b->interval->high, (2 * a->interval->high + 0.25) / 7, 1e-12);
  }
}

// Coverage: at least the level (the exact distribution has steps), with errors
// that are normal or wild.
TEST(TheilSen, IntervalHoldsTheSlopeAtLeastAsOftenAsItSays) {
  for (const int n : {5, 6, 8, 12, 20}) {
    for (const bool wild : {false, true}) {
      SCOPED_TRACE(n);
      Random random(static_cast<std::uint64_t>(n) + 100);
      int held = 0;
      constexpr int kRuns = 4000;
      for (int run = 0; run < kRuns; ++run) {
        std::vector<Reading> readings;
        for (int i = 0; i < n; ++i) {
          const double noise =
              wild ? std::tan(3.1 * (random.Uniform() - 0.5)) : random.Normal();
          readings.push_back({42.0 * i + random.Uniform(-7, 7), noise});
        }
        const auto slope = TheilSen(readings);
        if (!slope->differs_from_zero().value()) ++held;
      }
      EXPECT_GE(held, kRuns * 0.943);  // 0.95 less two standard errors.
    }
  }
}

TEST(TheilSen, SaysNothingOfTooFewReadings) {
  EXPECT_FALSE(TheilSen({}).has_value());
  EXPECT_FALSE(TheilSen(Readings({3, 3}, {1, 2})).has_value());
  // Four readings in a row happen by chance once in twelve.
  const auto four = TheilSen(Readings({1, 2, 3, 4}, {1, 2, 3, 4}));
  ASSERT_TRUE(four.has_value());
  EXPECT_FALSE(four->interval.has_value());
  EXPECT_FALSE(four->differs_from_zero().has_value());
  const auto five = TheilSen(Readings({1, 2, 3, 4, 5}, {1, 2, 3.5, 4, 5}));
  EXPECT_EQ(five->differs_from_zero(), true);
  EXPECT_THROW((void)TheilSen({}, 1.0), std::invalid_argument);
}

struct Certified {
  std::vector<Reading> readings;
  double b0 = 0.0, b0_sd = 0.0, b1 = 0.0, b1_sd = 0.0;
  double residual_sd = 0.0, r_squared = 0.0;
};

/// The file says itself in which lines its values stand.
Certified Norris() {
  std::ifstream file(PLUMBFOOT_TESTDATA "/statistics/norris.dat");
  Certified norris;
  int number = 0;
  for (std::string line; std::getline(file, line);) {
    ++number;
    std::istringstream words(line);
    std::string word;
    if (line.find(" B0 ") != std::string::npos && number > 30) {
      words >> word >> norris.b0 >> norris.b0_sd;
    } else if (line.find(" B1 ") != std::string::npos && number > 30) {
      words >> word >> norris.b1 >> norris.b1_sd;
    } else if (line.find("Standard Deviation   ") != std::string::npos &&
               number > 34) {
      words >> word >> word >> norris.residual_sd;
    } else if (line.find("R-Squared") != std::string::npos) {
      words >> word >> norris.r_squared;
    } else if (number > 60) {
      Reading r;
      if (words >> r.value >> r.time) norris.readings.push_back(r);
    }
  }
  return norris;
}

// NIST StRD, Norris: to the digits that double arithmetic holds.
TEST(FitLine, AgreesWithNistNorris) {
  const Certified norris = Norris();
  ASSERT_EQ(norris.readings.size(), 36U);
  ASSERT_NEAR(norris.b1, 1.00211681802045, 1e-15);  // The file was read right.
  ASSERT_NEAR(norris.residual_sd, 0.884796396144373, 1e-15);
  const auto line = FitLine(norris.readings);
  ASSERT_TRUE(line.has_value());
  EXPECT_NEAR(line->intercept, norris.b0, 1e-11);
  EXPECT_NEAR(line->slope, norris.b1, 1e-13);
  EXPECT_NEAR(line->intercept_sigma, norris.b0_sd, 1e-12);
  EXPECT_NEAR(line->slope_sigma, norris.b1_sd, 1e-15);
  EXPECT_NEAR(line->residual_sd, norris.residual_sd, 1e-12);
  EXPECT_NEAR(line->r_squared, norris.r_squared, 1e-14);
}

// GUM (JCGM 100:2008), H.3: calibration of a thermometer. Data from memory;
// the printed results agree.
TEST(FitLine, AgreesWithTheThermometerOfTheGum) {
  const std::vector<double> t = {21.521,
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
  const std::vector<double> b = {-0.171,
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
  std::vector<Reading> readings;
  for (std::size_t i = 0; i < t.size(); ++i) {
    readings.push_back({t[i] - 20.0, b[i]});
  }
  const auto line = FitLine(readings);
  EXPECT_NEAR(line->intercept, -0.1712, 5e-5);
  EXPECT_NEAR(line->intercept_sigma, 0.0029, 5e-5);
  EXPECT_NEAR(line->slope, 0.00218, 5e-6);
  EXPECT_NEAR(line->slope_sigma, 0.00067, 5e-6);
  EXPECT_NEAR(line->residual_sd, 0.0035, 5e-5);
}

TEST(WhenReached, IsWhereALineWithoutScatterMeetsTheTarget) {
  const auto line = FitLine(Readings({0, 42, 84, 126}, {46, 47, 48, 49}));
  const auto reach = WhenReached(*line, 52.0);
  ASSERT_TRUE(reach.has_value());
  EXPECT_NEAR(reach->expected, 252, 1e-9);
  EXPECT_NEAR(reach->interval.low, 252, 1e-6);
  EXPECT_NEAR(reach->interval.high, 252, 1e-6);
}

// Coverage: the true time of reaching lies in 95 of 100 of the intervals, over
// all trends; those without an end hold every time.
TEST(WhenReached, IntervalHoldsTheTruth) {
  Random random(77);
  int held = 0;
  int bounded = 0;
  constexpr int kRuns = 10000;
  for (int run = 0; run < kRuns; ++run) {
    std::vector<Reading> readings;
    readings.reserve(6);
    for (int i = 0; i < 6; ++i) {
      readings.push_back(
          {42.0 * i, 46 + 0.02 * 42 * i + random.Normal(0, 0.6)});
    }
    const auto reach = WhenReached(*FitLine(readings), 52.0);
    if (!reach) {
      ++held;
      continue;
    }
    ++bounded;
    if (reach->interval.low <= 300 && 300 <= reach->interval.high) ++held;
  }
  EXPECT_GT(bounded, kRuns / 2);
  EXPECT_NEAR(held, kRuns * 0.95, kRuns * 0.0066);
}

TEST(WhenReached, IsNeverSaidOfALineThatMayBeLevel) {
  const auto line = FitLine(Readings({0, 1, 2, 3}, {1, 2, 1, 2}));
  EXPECT_FALSE(WhenReached(*line, 10).has_value());
}

}  // namespace
}  // namespace plumbfoot::trend
