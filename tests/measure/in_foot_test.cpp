// SPDX-License-Identifier: Apache-2.0
#include "measure/in_foot.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "measure/foot_model.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::measure {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::Random;

double LineAngle(const geometry::Line<geometry::FootFrame>& line) {
  return std::atan2(line.direction.y, -line.direction.x) * 180 /
         std::numbers::pi;
}

// Reference: Clipper 6.4.2, through geometry::DifferenceArea.
TEST(AsymmetryAcross, AgreesWithClipper) {
  Random random(21);
  for (int i = 0; i < 40; ++i) {
    SCOPED_TRACE(i);
    FootPolyline outline;
    Sole sole;
    sole.lopsided = random.Uniform(-0.06, 0.06);
    outline = sole.Outline(144);
    for (FootPoint& p : outline) p.y += random.Normal(0, 1.0);
    const double axis_y = random.Uniform(-6, 6);
    const geometry::Line<geometry::FootFrame> axis{{0, axis_y}, {1, 0}};
    const double expected =
        geometry::DifferenceArea(outline, geometry::Mirrored(outline, axis)) /
        std::abs(geometry::SignedArea(outline));
    EXPECT_NEAR(AsymmetryAcross(outline, axis_y), expected, 0.002);
  }
}

TEST(AsymmetryAcross, IsNoneForAMirroredOutlineAndAllForOneSide) {
  Sole sole;
  sole.lopsided = 0;
  const FootPolyline outline = sole.Outline(300);
  // The corners of the two sides don't face each other exactly.
  EXPECT_NEAR(AsymmetryAcross(outline, 0.0), 0.0, 0.002);
  EXPECT_NEAR(AsymmetryAcross(outline, 200.0), 1.0, 1e-9);
}

TEST(WidestPoint, FindsTheTopOfAnEllipse) {
  FootPolyline ellipse;
  for (int i = 0; i < 144; ++i) {
    const double t = 2 * std::numbers::pi * (i + 0.3) / 144;
    ellipse.push_back({60 + 62 * std::cos(t), 2 + 64 * std::sin(t)});
  }
  const FootPoint left = WidestPoint(ellipse, 1.0);
  const FootPoint right = WidestPoint(ellipse, -1.0);
  EXPECT_NEAR(left.x, 60, 0.02);
  EXPECT_NEAR(left.y, 66, 0.02);
  EXPECT_NEAR(right.x, 60, 0.02);
  EXPECT_NEAR(right.y, -62, 0.02);
}

// The furthest corner alone scatters several times as much along the axis.
TEST(WidestPoint, IsSteadyUnderNoise) {
  Random random(22);
  const FootPolyline clean = Sole{}.Outline(144);
  const FootPoint truth = WidestPoint(clean, 1.0);
  double top = 0.0;
  double corner = 0.0;
  for (int i = 0; i < 300; ++i) {
    FootPolyline noisy = clean;
    for (FootPoint& p : noisy) p.y += random.Normal(0, 0.3);
    FootPoint furthest = noisy[0];
    for (const FootPoint& p : noisy) {
      if (p.y > furthest.y) furthest = p;
    }
    top += std::pow(WidestPoint(noisy, 1.0).x - truth.x, 2) / 300;
    corner += std::pow(furthest.x - truth.x, 2) / 300;
  }
  EXPECT_LT(std::sqrt(top), 2.0);
  EXPECT_LT(std::sqrt(top), 0.5 * std::sqrt(corner));
}

TEST(WidestPoint, TakesTheCornerWhereTheOutlineHasNoTop) {
  // A foot that is widest at its very end.
  const FootPolyline wedge = {{0, 50}, {0, -50}, {120, -20}, {120, 20}};
  EXPECT_EQ(WidestPoint(wedge, 1.0).y, 50);
  EXPECT_EQ(WidestPoint(wedge, -1.0).y, -50);
}

TEST(FitWall, FindsTheStraightPartWhateverTheToeDoes) {
  for (const double departure : {-6.0, -3.0, 0.0, 3.0, 6.0}) {
    for (const double from : {0.45, 0.6, 0.75}) {
      SCOPED_TRACE(testing::Message() << departure << " mm from " << from);
      Side side;
      side.departure = departure;
      side.departs_from = from;
      const auto fit = FitWall(side.Wall(64), 0.1, 1.0);
      ASSERT_TRUE(fit.has_value());
      EXPECT_NEAR(LineAngle(fit->line), side.toe_angle, 0.2);
      EXPECT_NEAR(fit->departure, departure, 0.25);
    }
  }
}

// A dish that begins at no place of the models and bends more gently.
TEST(FitWall, IsNotFarOffForADishOfAnotherShape) {
  Side side;
  side.departure = 0.0;
  FootPolyline wall = side.Wall(64);
  const double angle = side.toe_angle * std::numbers::pi / 180;
  for (std::size_t i = 0; i < wall.size(); ++i) {
    const double t = static_cast<double>(i) / 63;
    const double in = t > 0.37 ? 5 * std::pow((t - 0.37) / 0.63, 1.6) : 0.0;
    wall[i].x -= in * std::sin(angle);
    wall[i].y -= in * std::cos(angle);
  }
  const auto fit = FitWall(wall, 0.1, 1.0);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(LineAngle(fit->line), side.toe_angle, 0.6);
  EXPECT_NEAR(fit->departure, -5.0, 0.7);
  // The line from end to end would be off by atan(5 / 88).
  EXPECT_LT(std::abs(LineAngle(fit->line) - side.toe_angle), 0.2 * 3.25);
}

// What a hand's tremor adds is noise; what a flare adds is not.
TEST(FitWall, TellsNoiseFromDeparture) {
  for (const double departure : {0.0, 5.0, -4.0}) {
    SCOPED_TRACE(departure);
    Side side;
    side.departure = departure;
    side.departs_from = 0.55;
    const FootPolyline smooth = side.Wall(64);
    const auto chord = geometry::LineThrough(smooth.front(), smooth.back());
    ASSERT_TRUE(chord.has_value());
    FootPolyline wall = smooth;
    for (std::size_t i = 1; i + 1 < wall.size(); ++i) {
      const double wave = 0.2 * std::sin(1.3 * static_cast<double>(i));
      wall[i] = wall[i] + wave * geometry::Perpendicular(chord->direction);
    }
    const auto fit = FitWall(wall, 0.2, 1.0);
    ASSERT_TRUE(fit.has_value());
    const FootPolyline clean = WithoutNoise(wall, fit->noise);
    // Below the coronet, which is left as it is.
    for (std::size_t i = 10; i + 1 < clean.size(); ++i) {
      EXPECT_LT(geometry::Distance(clean[i], smooth[i]), 0.13) << i;
    }
    const auto again = FitWall(clean, 0.2, 1.0);
    ASSERT_TRUE(again.has_value());
    EXPECT_NEAR(again->departure, departure, 0.4);
  }
}

TEST(FitWall, LeavesTheCoronetOut) {
  Side side;
  FootPolyline wall = side.Wall(64);
  for (std::size_t i = 0; i < 7; ++i) {
    wall[i].x += 2.0 * (1 - static_cast<double>(i) / 7);
  }
  const auto fit = FitWall(wall, 0.1, 1.0);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(LineAngle(fit->line), side.toe_angle, 0.02);
  EXPECT_NEAR(fit->departure, 0.0, 0.05);
}

TEST(FitWall, HasNothingForTooFewPlaces) {
  EXPECT_FALSE(FitWall(Side{}.Wall(7), 0.1, 1.0).has_value());
  EXPECT_FALSE(FitWall(FootPolyline(20, {1, 1}), 0.1, 1.0).has_value());
}

}  // namespace
}  // namespace plumbfoot::measure
