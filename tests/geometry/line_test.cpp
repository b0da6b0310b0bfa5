// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/line.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <vector>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::geometry {
namespace {

// Data: K. Pearson, Phil. Mag. 2(11), 1901, as tabled in D. York, Can. J. Phys.
// 44 (1966), Table I (data from memory).
CardPolyline PearsonsPoints() {
  constexpr std::array<double, 10> kX = {
      0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
  constexpr std::array<double, 10> kY = {
      5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
  CardPolyline points;
  for (std::size_t i = 0; i < kX.size(); ++i) points.push_back({kX[i], kY[i]});
  return points;
}

CardPolyline Turned(const CardPolyline& points, Degrees turn) {
  const double c = std::cos(turn.radians());
  const double s = std::sin(turn.radians());
  CardPolyline turned;
  for (const auto& p : points) {
    turned.push_back({c * p.x - s * p.y + 20, s * p.x + c * p.y - 7});
  }
  return turned;
}

double Slope(const FittedLine<CardFrame>& fit) {
  return fit.line.direction.y / fit.line.direction.x;
}

// Source: line of closest fit to Pearson's points, y = 5.784 - 0.546 x (from
// memory; recomputing it from the data agrees).
TEST(FitLine, AgreesWithPearson1901) {
  const CardPolyline points = PearsonsPoints();
  const auto fit = FitLine<CardFrame>(points);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(Slope(*fit), -0.546, 0.0005);
  EXPECT_NEAR(fit->line.at.x, 3.82, 1e-12);
  EXPECT_NEAR(fit->line.at.y - Slope(*fit) * fit->line.at.x, 5.784, 0.0005);
}

TEST(FitLine, TurnsWithItsPoints) {
  const CardPolyline points = PearsonsPoints();
  const auto before = *FitLine<CardFrame>(points);
  for (double turn = -175; turn < 180; turn += 25) {
    SCOPED_TRACE(turn);
    const CardPolyline turned = Turned(points, Degrees(turn));
    const auto after = *FitLine<CardFrame>(turned);
    EXPECT_NEAR(
        std::remainder(
            AngleFromTo(before.line.direction, after.line.direction).value() -
                turn,
            360.0),
        0.0,
        1e-9);
    EXPECT_NEAR(after.rms, before.rms, 1e-12);
    EXPECT_NEAR(after.spread, before.spread, 1e-9);
  }
}

TEST(FitLine, TakesAWeightForRepetition) {
  CardPolyline points = PearsonsPoints();
  std::vector<double> weights(points.size(), 1.0);
  weights[3] = 3.0;
  const auto weighted = *FitLine<CardFrame>(points, weights);
  points.insert(points.begin() + 3, 2, points[3]);
  const auto repeated = *FitLine<CardFrame>(points);
  EXPECT_NEAR(Slope(weighted), Slope(repeated), 1e-12);
  EXPECT_NEAR(weighted.rms, repeated.rms, 1e-12);
}

// The stated uncertainty of the direction, checked by simulation: 4000 fits,
// whose scatter is known to 1.1 %.
TEST(FitLine, StatesTheScatterOfItsDirection) {
  Random random(11);
  constexpr double kSigma = 0.4;
  constexpr int kFits = 4000;
  double squares = 0.0;
  double spread = 0.0;
  for (int i = 0; i < kFits; ++i) {
    CardPolyline points;
    for (int k = 0; k <= 20; ++k) {
      points.push_back({4.0 * k + random.Normal(0, kSigma),
                        3.0 * k + random.Normal(0, kSigma)});
    }
    const auto fit = *FitLine<CardFrame>(points);
    const double off =
        AngleFromTo(CardVector{4, 3}, fit.line.direction).radians();
    squares += off * off;
    spread += fit.spread / kFits;
  }
  EXPECT_NEAR(std::sqrt(squares / kFits), kSigma / std::sqrt(spread), 2e-4);
}

TEST(FitLineRobustly, IgnoresPointsThatAreNotOfTheLine) {
  Random random(3);
  CardPolyline points;
  for (int k = 0; k < 40; ++k) {
    points.push_back({2.0 * k, 10 + 1.0 * k + random.Normal(0, 0.05)});
  }
  const double clean = Slope(*FitLine<CardFrame>(points));
  for (int k = 30; k < 40; ++k) points.push_back({2.0 * k, 60.0 + 2 * k});
  EXPECT_GT(std::abs(Slope(*FitLine<CardFrame>(points)) - clean), 0.1);
  EXPECT_NEAR(Slope(*FitLineRobustly<CardFrame>(points, 0.1)), clean, 1e-3);
}

TEST(FitLine, RefusesTooFewPointsAndNoDirection) {
  const CardPolyline one = {{1, 2}};
  EXPECT_EQ(FitLine<CardFrame>(one).error().code, RefusalCode::kTooFewPoints);
  const CardPolyline same = {{1, 2}, {1, 2}, {1, 2}};
  EXPECT_EQ(FitLine<CardFrame>(same).error().code, RefusalCode::kNoDirection);
  const CardPolyline square = {{0, 0}, {1, 0}, {1, 1}, {0, 1}};
  EXPECT_EQ(FitLine<CardFrame>(square).error().code, RefusalCode::kNoDirection);
  const std::vector<double> weights = {1.0};
  EXPECT_THROW((void)FitLine<CardFrame>(square, weights),
               std::invalid_argument);
}

TEST(Intersect, FindsTheCrossingAndNoneOfParallels) {
  const auto a = *LineThrough(CardPoint{0, 0}, CardPoint{10, 10});
  const auto b = *LineThrough(CardPoint{0, 8}, CardPoint{8, 0});
  const auto crossing = Intersect(a, b);
  ASSERT_TRUE(crossing.has_value());
  EXPECT_NEAR(crossing->x, 4.0, 1e-12);
  EXPECT_NEAR(crossing->y, 4.0, 1e-12);
  const auto c = *LineThrough(CardPoint{1, 0}, CardPoint{2, 1});
  EXPECT_FALSE(Intersect(a, c).has_value());
  EXPECT_FALSE(LineThrough(CardPoint{1, 1}, CardPoint{1, 1}).has_value());
}

TEST(Line, MeasuresAlongAndAcross) {
  const auto line = *LineThrough(CardPoint{1, 1}, CardPoint{1, 5});
  EXPECT_NEAR(SignedDistance(line, CardPoint{-2, 3}), 3.0, 1e-12);
  EXPECT_NEAR(Along(line, CardPoint{-2, 3}), 2.0, 1e-12);
  EXPECT_NEAR(FootOn(line, CardPoint{-2, 3}).x, 1.0, 1e-12);
  EXPECT_NEAR(
      AngleFromTo(CardVector{1, 0}, CardVector{0, -2}).value(), -90.0, 1e-12);
}

}  // namespace
}  // namespace plumbfoot::geometry
