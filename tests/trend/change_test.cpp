// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/change.h"

#include <gtest/gtest.h>

#include <cmath>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::trend {
namespace {

using measure::Measured;
using measure::MeasureId;
using measure::NotMeasured;

Measured Of(double value, double u, double shared = 0.0) {
  return {value,
          u,
          value - 1.96 * u,
          value + 1.96 * u,
          PlacedBy::kFinder,
          1.0,
          shared};
}

// One question: the factor of the smallest detectable change. Thirty: Sidak's,
// 1 - 0.95^(1/30) = 0.0017083 each, two-sided.
TEST(FactorFor, IsTheNormalQuantileOfSidaksShare) {
  EXPECT_NEAR(FactorFor(1), 1.959964, 1e-6);
  for (const int m : {2, 5, 14, 16, 30}) {
    const double z = FactorFor(m);
    // P(all |Z_i| <= z) = 0.95, by the error function.
    EXPECT_NEAR(std::pow(std::erf(z / std::sqrt(2.0)), m), 0.95, 1e-9) << m;
  }
  EXPECT_THROW((void)FactorFor(0), std::invalid_argument);
  EXPECT_THROW((void)FactorFor(3, 1.0), std::invalid_argument);
}

TEST(ChangeOf, WhatThePhotosShareCancels) {
  // An angle shares nothing.
  EXPECT_NEAR(ChangeOf(Of(50, 0.3), Of(51, 0.4), true, 2).standard_uncertainty,
              0.5,
              1e-12);
  // Two lengths of the same size, known but for the print: exact.
  EXPECT_NEAR(ChangeOf(Of(100, 0.5, 0.5), Of(100, 0.5, 0.5), true, 2)
                  .standard_uncertainty,
              0.0,
              1e-12);
  // What is left of the print is its share of the difference.
  EXPECT_NEAR(ChangeOf(Of(100, 0.5, 0.5), Of(110, 0.55, 0.55), true, 2)
                  .standard_uncertainty,
              0.05,
              1e-12);
  // Another card: nothing cancels.
  EXPECT_NEAR(ChangeOf(Of(100, 0.5, 0.5), Of(110, 0.5, 0.5), false, 2)
                  .standard_uncertainty,
              std::hypot(0.5, 0.5),
              1e-12);
  // A signed measure that changes sides: the print counts twice.
  EXPECT_NEAR(ChangeOf(Of(-10, 0.05, 0.05), Of(10, 0.05, 0.05), true, 2)
                  .standard_uncertainty,
              0.1,
              1e-12);
}

// The formula against chance: 20 000 prints and readings.
TEST(ChangeOf, UncertaintyIsTheScatterOfDifferences) {
  geometry::Random random(11);
  constexpr int kRuns = 20000;
  double squares = 0.0;
  for (int i = 0; i < kRuns; ++i) {
    const double print = random.Normal(0, 0.005);
    const double before = 88 * (1 + print) + random.Normal(0, 0.3);
    const double after = 97 * (1 + print) + random.Normal(0, 0.4);
    squares += std::pow(after - before - 9, 2);
  }
  const Change change = ChangeOf(Of(88, std::hypot(0.3, 0.44), 0.44),
                                 Of(97, std::hypot(0.4, 0.485), 0.485),
                                 true,
                                 2);
  EXPECT_NEAR(change.standard_uncertainty / std::sqrt(squares / kRuns),
              1.0,
              0.015);  // Three standard errors.
}

TEST(ChangeOf, CallsAChangeWhatExceedsTheSmallestVisible) {
  const Change small = ChangeOf(Of(50, 0.3), Of(51.4, 0.4), false, 3);
  EXPECT_DOUBLE_EQ(small.smallest_visible, 1.5);
  EXPECT_FALSE(small.changed);
  EXPECT_TRUE(ChangeOf(Of(50, 0.3), Of(51.6, 0.4), false, 3).changed);
  EXPECT_TRUE(ChangeOf(Of(50, 0.3), Of(48.4, 0.4), false, 3).changed);
  EXPECT_NEAR(small.low95, 1.4 - 1.959964 * 0.5, 1e-6);
  EXPECT_NEAR(small.high95, 1.4 + 1.959964 * 0.5, 1e-6);
}

TEST(CompareFeet, SaysWhyAMeasureIsNotCompared) {
  MeasuredFoot before;
  before.outcomes[MeasureId::kToeAngle] = Of(50, 0.3);
  before.outcomes[MeasureId::kHeelAngle] = NotMeasured{"no heel"};
  before.outcomes[MeasureId::kBearingWidth] = Of(120, 0.6);
  MeasuredFoot after;
  after.outcomes[MeasureId::kToeAngle] = Of(53, 0.3);
  after.outcomes[MeasureId::kHeelAngle] = Of(45, 0.5);
  after.outcomes[MeasureId::kFrogWidth] = Of(50, 0.5);
  after.shod = true;
  after.outcomes[MeasureId::kBearingWidth] = Of(126, 0.6);
  const FootChange change = CompareFeet(before, after);
  EXPECT_EQ(change.comparisons.size(), 4U);
  EXPECT_EQ(change.compared, 1);
  EXPECT_NEAR(change.factor, FactorFor(1, 0.03), 1e-12);
  EXPECT_TRUE(change.changed());
  EXPECT_TRUE(
      std::get<Change>(change.comparisons.at(MeasureId::kToeAngle)).changed);
  for (const MeasureId id : {MeasureId::kHeelAngle,
                             MeasureId::kFrogWidth,
                             MeasureId::kBearingWidth}) {
    EXPECT_FALSE(std::get<NotCompared>(change.comparisons.at(id)).why.empty());
  }
  // Both shod: the shoes are compared.
  before.shod = true;
  EXPECT_EQ(CompareFeet(before, after).compared, 2);
  EXPECT_EQ(CompareFeet({}, {}).compared, 0);
  EXPECT_FALSE(CompareFeet({}, {}).changed());
}

// However the errors of the measures go together, an unchanged foot stays
// unchanged 95 times in 100.
TEST(CompareFeet, LevelHoldsForAllMeasuresTogether) {
  geometry::Random random(21);
  for (const double together : {0.0, 0.5, 0.95}) {
    SCOPED_TRACE(together);
    constexpr int kRuns = 4000;
    int called = 0;
    for (int run = 0; run < kRuns; ++run) {
      MeasuredFoot before;
      MeasuredFoot after;
      const double common_before = random.Normal();
      const double common_after = random.Normal();
      for (const auto& info : measure::AllMeasures()) {
        const double apart = std::sqrt(1 - together * together);
        before.outcomes[info.id] =
            Of(100 + together * common_before + apart * random.Normal(), 1);
        after.outcomes[info.id] =
            Of(100 + together * common_after + apart * random.Normal(), 1);
      }
      if (CompareFeet(before, after).changed()) ++called;
    }
    EXPECT_LE(called, kRuns * 0.0354);  // 0.03 and two standard errors.
  }
}

TEST(MirrorImage, TurnsLeftIntoRightAndBack) {
  measure::Outcomes foot;
  foot[MeasureId::kLeftHalfWidth] = Of(61, 0.5);
  foot[MeasureId::kRightHalfWidth] = NotMeasured{"why"};
  foot[MeasureId::kHalfWidthDifference] = Measured{3, 0.5, 1.9, 4.2};
  foot[MeasureId::kToeAngle] = Of(50, 0.3);
  const measure::Outcomes mirrored = MirrorImage(foot);
  EXPECT_DOUBLE_EQ(
      std::get<Measured>(mirrored.at(MeasureId::kRightHalfWidth)).value, 61);
  EXPECT_TRUE(std::holds_alternative<NotMeasured>(
      mirrored.at(MeasureId::kLeftHalfWidth)));
  const auto& difference =
      std::get<Measured>(mirrored.at(MeasureId::kHalfWidthDifference));
  EXPECT_DOUBLE_EQ(difference.value, -3);
  EXPECT_DOUBLE_EQ(difference.low95, -4.2);
  EXPECT_DOUBLE_EQ(difference.high95, -1.9);
  const measure::Outcomes back = MirrorImage(mirrored);
  EXPECT_DOUBLE_EQ(
      std::get<Measured>(back.at(MeasureId::kHalfWidthDifference)).low95, 1.9);
  EXPECT_DOUBLE_EQ(std::get<Measured>(back.at(MeasureId::kToeAngle)).value, 50);
}

}  // namespace
}  // namespace plumbfoot::trend
