// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/growth.h"

#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>
#include <vector>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::trend {
namespace {

DatedMeasure On(int day, double value, double u, double shared = 0.0) {
  return {day,
          {value,
           u,
           value - 1.96 * u,
           value + 1.96 * u,
           PlacedBy::kFinder,
           1.0,
           shared}};
}

// R. Kolstrung et al., Med. Weter. 68(7), 2012, 426-429 (abstract): 13 mm in
// six weeks, 2.1 mm a week; the two differ by their rounding, 0.30 to 0.31 mm a
// day.
TEST(Growth, AgreesWithThirteenMillimetresInSixWeeks) {
  const auto rate = RateBetween(On(100, 80, 0.6), On(142, 93, 0.6), false);
  ASSERT_TRUE(rate.has_value());
  EXPECT_EQ(rate->days, 42);
  EXPECT_NEAR(rate->per_day, 0.310, 0.0005);
  EXPECT_NEAR(7 * rate->per_day, 2.1, 0.07);
  EXPECT_TRUE(rate->sure());
}

// Half an inch in six to eight weeks (common practice): 12.7 mm in 42 to 56
// days. The published rate lies at its fast end, 0.30 mm a day.
TEST(Growth, OfHalfAnInchInSixToEightWeeksHoldsThePublishedRate) {
  const double half_inch = 12.7;
  const auto fast =
      RateBetween(On(0, 80, 0.3), On(42, 80 + half_inch, 0.3), true);
  const auto slow =
      RateBetween(On(0, 80, 0.3), On(56, 80 + half_inch, 0.3), true);
  EXPECT_NEAR(fast->per_day, 0.302, 0.0005);
  EXPECT_NEAR(slow->per_day, 0.227, 0.0005);
  EXPECT_LE(slow->per_day, 2.1 / 7);
  EXPECT_GE(fast->per_day, 2.1 / 7);
  // 13 mm in 42 days can't be told from half an inch in them.
  EXPECT_LT(fast->low95, 13.0 / 42);
  EXPECT_GT(fast->high95, 13.0 / 42);
}

TEST(Growth, IsSurerWithThePrintOfOneCard) {
  const auto apart =
      RateBetween(On(0, 80, 0.5, 0.4), On(42, 93, 0.5, 0.46), false);
  const auto shared =
      RateBetween(On(0, 80, 0.5, 0.4), On(42, 93, 0.5, 0.46), true);
  EXPECT_LT(shared->standard_uncertainty, 0.7 * apart->standard_uncertainty);
}

TEST(Growth, OverSeveralSpellsIsWhatWasGainedOverAllDays) {
  std::vector<Rate> spells = {
      *RateBetween(On(0, 80, 0.5), On(42, 93, 0.5), false),
      *RateBetween(On(42, 82, 0.5), On(100, 97, 0.5), false)};
  const auto mean = MeanRate(spells);
  ASSERT_TRUE(mean.has_value());
  EXPECT_EQ(mean->days, 100);
  EXPECT_NEAR(mean->per_day, 28.0 / 100, 1e-12);
  EXPECT_NEAR(mean->standard_uncertainty, 1.0 / 100, 1e-12);  // sqrt(4) 0.5
  EXPECT_FALSE(MeanRate({}).has_value());
  EXPECT_FALSE(RateBetween(On(5, 1, 1), On(5, 2, 1), false).has_value());
}

TEST(Growth, IntervalHoldsTheTruth) {
  geometry::Random random(3);
  constexpr int kRuns = 10000;
  int held = 0;
  for (int run = 0; run < kRuns; ++run) {
    std::vector<Rate> spells;
    spells.reserve(4);
    for (int i = 0; i < 4; ++i) {
      spells.push_back(*RateBetween(On(0, 80 + random.Normal(0, 0.5), 0.5),
                                    On(42, 93 + random.Normal(0, 0.5), 0.5),
                                    false));
    }
    const auto mean = MeanRate(spells);
    if (mean->low95 <= 13.0 / 42 && 13.0 / 42 <= mean->high95) ++held;
  }
  EXPECT_NEAR(held, kRuns * 0.95, kRuns * 0.0066);
}

TEST(NextVisit, IsInSixWeeksUnlessTheAngleDrifts) {
  EXPECT_EQ(NextVisit({}, {}).days, 42);
  // 3 degrees in 42 days, 2 allowed: 28 days.
  const auto drift = RateBetween(On(0, 52, 0.3), On(42, 49, 0.3), true);
  const Due due = NextVisit(drift, 2.0);
  EXPECT_EQ(due.days, 28);
  EXPECT_EQ(due.because, DueBecause::kAngleDrifts);
  EXPECT_EQ(NextVisit(drift, {}).days, 42);
  EXPECT_EQ(NextVisit(drift, 3.5).days, 42);
  EXPECT_EQ(NextVisit(drift, 0.1).days, kShortestSpellDays);
}

TEST(NextVisit, IsNotMovedByADriftThatNobodyCanBeSureOf) {
  const auto drift = RateBetween(On(0, 52, 1.2), On(42, 49, 1.2), true);
  EXPECT_FALSE(drift->sure());
  const Due due = NextVisit(drift, 2.0);
  EXPECT_EQ(due.days, 42);
  EXPECT_EQ(due.because, DueBecause::kUsual);
  EXPECT_THROW((void)NextVisit(drift, 0.0), std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::trend
