// SPDX-License-Identifier: Apache-2.0
#include "find/horn_end.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <numbers>

#include "find/pictures.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

constexpr double kPxPerMm = 6.0;
constexpr double kLengthMm = 38.0;
const cv::Size kPhoto(420, 360);
const PhotoPoint kFoot{300, 300};
/// Of the horn's end: the heel faces left.
constexpr double kHeelAngle = 50 * std::numbers::pi / 180;
/// The bulb's contour leans back further.
constexpr double kContour = 38 * std::numbers::pi / 180;
const PhotoVector kForward{1, 0};

PhotoVector Up(double angle) {
  return {-std::cos(angle), -std::sin(angle)};
}
/// How far a place lies before the line from the heel's foot [mm].
double Before(PhotoPoint p, double angle) {
  return Dot(p - kFoot, PhotoVector{std::sin(angle), -std::cos(angle)}) /
         kPxPerMm;
}
double Step(double mm) {
  return 0.5 * std::erfc(-mm * kPxPerMm / (1.2 * std::numbers::sqrt2));
}

cv::Mat Heel(double horn, double bulb, std::uint64_t seed) {
  geometry::Random random(seed);
  return Draw(
      kPhoto,
      [&](double x, double y) {
        const PhotoPoint p{x, y};
        const double inside =
            bulb + (horn - bulb) * Step(Before(p, kHeelAngle));
        return 0.5 + (inside - 0.5) * Step(Before(p, kContour));
      },
      0.006,
      random);
}

PhotoPolyline Rear() {
  PhotoPolyline rear;
  for (int i = 2; i <= 20; ++i) {
    rear.push_back(kFoot +
                   (0.75 * kLengthMm * kPxPerMm * i / 20) * Up(kContour));
  }
  return rear;
}

TEST(HornEnd, IsTheLineBetweenHornAndBulbNotTheContour) {
  // The finder's hairline is 4 mm too far back.
  const PhotoPoint hairline = kFoot + (kLengthMm * kPxPerMm) * Up(kHeelAngle);
  const PhotoPoint seen =
      hairline -
      (4 * kPxPerMm) * PhotoVector{std::sin(kHeelAngle), -std::cos(kHeelAngle)};
  for (const double bulb : {0.10, 0.26}) {
    SCOPED_TRACE(bulb);
    const auto end =
        FindHornEnd(Heel(0.18, bulb, 31), Rear(), seen, kForward, kPxPerMm);
    ASSERT_TRUE(end);
    EXPECT_NEAR(
        Dot(hairline - end->at, Perpendicular(end->up)) / kPxPerMm, 0.0, 1.5);
    const double angle = std::atan2(-end->up.y, -end->up.x);
    EXPECT_NEAR(angle, kHeelAngle, 4 * std::numbers::pi / 180);
  }
}

TEST(HornEnd, IsNotMadeUp) {
  const PhotoPoint hairline = kFoot + (kLengthMm * kPxPerMm) * Up(kHeelAngle);
  EXPECT_FALSE(
      FindHornEnd(Heel(0.18, 0.18, 32), Rear(), hairline, kForward, kPxPerMm));
  EXPECT_FALSE(
      FindHornEnd(Heel(0.18, 0.1, 33), {}, hairline, kForward, kPxPerMm));
  // Too short a contour.
  PhotoPolyline rear = Rear();
  rear.resize(3);
  EXPECT_FALSE(
      FindHornEnd(Heel(0.18, 0.1, 34), rear, hairline, kForward, kPxPerMm));
}

}  // namespace
}  // namespace plumbfoot::find
