// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/polyline.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::geometry {
namespace {

CardPolyline Circle(double radius, int corners) {
  CardPolyline circle;
  for (int i = 0; i < corners; ++i) {
    const double t = 2 * std::numbers::pi * i / corners;
    circle.push_back({radius * std::cos(t), radius * std::sin(t)});
  }
  return circle;
}

TEST(Length, IsThatOfASquareOpenAndClosed) {
  const CardPolyline square = {{0, 0}, {3, 0}, {3, 3}, {0, 3}};
  EXPECT_DOUBLE_EQ(Length(square, Ends::kOpen), 9.0);
  EXPECT_DOUBLE_EQ(Length(square, Ends::kClosed), 12.0);
  EXPECT_DOUBLE_EQ(Length(CardPolyline{{1, 1}}, Ends::kOpen), 0.0);
}

TEST(Resample, SpacesCornersEvenlyAndKeepsTheEnds) {
  const CardPolyline line = {{0, 0}, {1, 0}, {1, 1}, {1, 1}, {1, 4}};
  const CardPolyline even = Resample(line, 6, Ends::kOpen);
  ASSERT_EQ(even.size(), 6U);
  EXPECT_EQ(even.front(), line.front());
  EXPECT_NEAR(Distance(even.back(), line.back()), 0.0, 1e-12);
  EXPECT_NEAR(even[1].x, 1.0, 1e-12);  // one of five steps of length one
  EXPECT_NEAR(even[3].y, 2.0, 1e-12);
  EXPECT_THROW(Resample(line, 1, Ends::kOpen), std::invalid_argument);
  EXPECT_THROW(Resample(CardPolyline{{1, 1}, {1, 1}}, 5, Ends::kOpen),
               std::invalid_argument);
}

TEST(Resample, KeepsTheAreaOfACircle) {
  const CardPolyline circle = Circle(50, 1000);
  const CardPolyline even = Resample(circle, 144, Ends::kClosed);
  ASSERT_EQ(even.size(), 144U);
  // A regular polygon has n/2 r^2 sin(2 pi / n).
  EXPECT_NEAR(
      SignedArea(even), 72 * 2500 * std::sin(2 * std::numbers::pi / 144), 0.5);
}

TEST(Rounded, GivesACircleItsBendsBack) {
  // 16 clicks on a circle: the chords alone lose 2.6 % of the area.
  const CardPolyline clicks = Circle(60, 16);
  const double area = std::numbers::pi * 3600;
  EXPECT_LT(SignedArea(clicks), 0.98 * area);
  const CardPolyline round = Rounded(clicks, 8, Ends::kClosed);
  EXPECT_EQ(round.size(), 128U);
  EXPECT_NEAR(SignedArea(round), area, 0.002 * area);
  for (const auto& p : round) EXPECT_NEAR(std::hypot(p.x, p.y), 60, 0.1);
}

TEST(Rounded, KeepsCornersAndStraightLines) {
  const CardPolyline line = {{0, 0}, {5, 2.5}, {6, 3}, {20, 10}};
  const CardPolyline curve = Rounded(line, 4, Ends::kOpen);
  ASSERT_EQ(curve.size(), 13U);
  for (std::size_t i = 0; i < line.size(); ++i)
    EXPECT_EQ(curve[4 * i], line[i]);
  for (const auto& p : curve) EXPECT_NEAR(p.y, p.x / 2, 1e-12);
}

TEST(Normals, PointInwardsOfAnAnticlockwiseLine) {
  const CardPolyline circle = Circle(20, 90);
  const auto normals = Normals(circle, Ends::kClosed);
  for (std::size_t i = 0; i < circle.size(); ++i) {
    EXPECT_NEAR(normals[i].x, -circle[i].x / 20, 1e-9);
    EXPECT_NEAR(normals[i].y, -circle[i].y / 20, 1e-9);
  }
}

// A circle smoothed by a Gaussian along it: its first harmonic is damped by
// exp(-sigma^2 / (2 R^2)), so the radius shrinks by sigma^2 / (2 R).
TEST(Smooth, ShrinksACircleAsItsFirstHarmonic) {
  const double radius = 60;
  const double sigma = 6;
  const CardPolyline smooth = Smooth(Circle(radius, 720), sigma, Ends::kClosed);
  const double expected =
      radius * std::exp(-sigma * sigma / (2 * radius * radius));
  for (const auto& p : smooth) {
    // The Gaussian is cut at three sigma, which leaves 2.7 % of its variance.
    EXPECT_NEAR(std::hypot(p.x, p.y), expected, 0.03 * (radius - expected));
  }
}

TEST(Smooth, LeavesAStraightLineStraightAndItsEnds) {
  CardPolyline line;
  for (int i = 0; i <= 50; ++i) line.push_back({i * 1.0, 3.0 + i * 0.5});
  const CardPolyline smooth = Smooth(line, 4.0, Ends::kOpen);
  EXPECT_EQ(smooth.front(), line.front());
  EXPECT_EQ(smooth.back(), line.back());
  for (const auto& p : smooth) EXPECT_NEAR(p.y, 3.0 + p.x * 0.5, 1e-9);
}

TEST(Smooth, QuietensNoiseOfAClosedLine) {
  Random random(5);
  CardPolyline rough = Circle(60, 360);
  for (auto& p : rough) {
    const double off = 1 + random.Normal(0, 0.01);
    p = {p.x * off, p.y * off};
  }
  double before = 0.0;
  double after = 0.0;
  const CardPolyline smooth = Smooth(rough, 3.0, Ends::kClosed);
  for (std::size_t i = 0; i < rough.size(); ++i) {
    before += std::pow(std::hypot(rough[i].x, rough[i].y) - 60, 2);
    after += std::pow(std::hypot(smooth[i].x, smooth[i].y) - 60, 2);
  }
  EXPECT_LT(after, before / 5);
}

}  // namespace
}  // namespace plumbfoot::geometry
