// SPDX-License-Identifier: Apache-2.0
#include "find/roughness.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace plumbfoot::find {
namespace {

using geometry::CardPolyline;

/// Three quarters of a foot's outline, an ellipse of 130 by 140 mm, with waves
/// of a height [mm] and a length [mm].
CardPolyline Outline(double height,
                     double wave,
                     double spacing = 0.7,
                     double size = 1.0) {
  CardPolyline line;
  const double around = 1.5 * std::numbers::pi;
  for (double at = 0.0; at < around; at += spacing / (67.5 * size)) {
    const double out =
        height * std::sin(2 * std::numbers::pi * at * 67.5 * size / wave);
    line.push_back(
        {(65 * size + out) * std::cos(at), (70 * size + out) * std::sin(at)});
  }
  return line;
}

TEST(Roughness, IsSmallOnWhatIsRound) {
  EXPECT_LT(Roughness(Outline(0, 20)), 0.02);
  // A pony's.
  EXPECT_LT(Roughness(Outline(0, 20, 0.7, 0.6)), 0.05);
}

// What a cubic over 42 mm can't follow shows in full: a sine's root mean square
// is its height over the square root of two.
TEST(Roughness, IsThatOfWavesAsWideAsFingers) {
  for (const double height : {0.5, 1.5}) {
    const double rough = Roughness(Outline(height, 18));
    EXPECT_NEAR(rough, height / std::numbers::sqrt2, 0.2 * height);
  }
  // Flares are longer.
  EXPECT_LT(Roughness(Outline(1.5, 120)), 0.1);
}

TEST(Roughness, DoesNotDependOnHowALineIsDivided) {
  const double fine = Roughness(Outline(1, 20, 0.1));
  EXPECT_NEAR(Roughness(Outline(1, 20, 1.0)), fine, 0.05 * fine);
}

TEST(Roughness, IsNoneOfWhatIsTooShort) {
  EXPECT_EQ(Roughness({}), 0.0);
  EXPECT_EQ(Roughness({{0, 0}, {0, 0}}), 0.0);
  EXPECT_EQ(Roughness({{0, 0}, {10, 3}, {20, -3}, {30, 3}}), 0.0);
}

}  // namespace
}  // namespace plumbfoot::find
