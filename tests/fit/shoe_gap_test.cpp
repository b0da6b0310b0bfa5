// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/shoe_gap.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "fit/feet.h"
#include "plumbfoot/fit/shoe.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;

FootPolyline Thrown(FootPolyline line, geometry::Random& random, bool mirror) {
  const double turn = random.Uniform(-std::numbers::pi, std::numbers::pi);
  const double x = random.Uniform(-200, 200);
  const double y = random.Uniform(-200, 200);
  for (FootPoint& p : line) {
    if (mirror) p.y = -p.y;
    p = {x + std::cos(turn) * p.x - std::sin(turn) * p.y,
         y + std::sin(turn) * p.x + std::cos(turn) * p.y};
  }
  return line;
}

// A shoe that is flush before the widest part and full behind it, thrown
// anywhere on the floor, either side up.
TEST(ShoeGap, AShoeIsLaidBackWhereItWasMade) {
  geometry::Random random(20261126);
  for (int i = 0; i < 25; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    // Flush to the widest part.
    const Shoe shoe =
        FitShoe(sole,
                {.last_left_along = 1e9, .last_right_along = -1e9},
                {.fullness_mm = 0.0})
            .value();
    const bool mirrored = random.Chance(0.5);
    const auto gap =
        CompareShoe(sole, Thrown(shoe.body, random, mirrored), mirrored);
    ASSERT_TRUE(gap.has_value()) << gap.error().message;
    EXPECT_LT(gap->rms_front_mm, 0.05);
    // From the toe to where the branch leaves the edge there is no gap.
    for (const GapPlace& place : gap->places) {
      if (place.foot.x > 25) {
        EXPECT_NEAR(place.gap_mm, 0.0, 0.15) << place.foot.x;
      }
    }
    EXPECT_NEAR(gap->heel_left_mm, shoe.heel_length_mm, 0.3);
    EXPECT_NEAR(gap->heel_right_mm, shoe.heel_length_mm, 0.3);
    EXPECT_GT(gap->places.size(), 20U);
  }
}

TEST(ShoeGap, FullnessIsReadOffBehindTheNails) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  const NailPlan nails = PlaceNails(sole, {});
  const Shoe shoe = FitShoe(sole, nails, {.fullness_mm = 3.0}).value();
  geometry::Random random(4);
  const ShoeGap gap =
      CompareShoe(sole, Thrown(shoe.body, random, false), false).value();
  double fullest = 0.0;
  for (const GapPlace& place : gap.places) {
    if (place.foot.x > 20 && place.foot.x < 40) {
      fullest = std::max(fullest, place.gap_mm);
    }
    if (place.foot.x > 95) {
      EXPECT_NEAR(place.gap_mm, 0.0, 0.2);
    }
  }
  EXPECT_NEAR(fullest, 3.0, 0.3);
  EXPECT_LT(gap.most_in_mm, 0.2);
}

TEST(ShoeGap, AnotherFootsShoeIsRefused) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  measure::Sole large;
  large.width = 190;
  large.length = 195;
  large.widest_at = 95;
  large.heel_half_width = 60;
  const Sole other = SoleOf(ViewOf(large));
  const Shoe shoe = FitShoe(other, PlaceNails(other, {}), {}).value();
  const auto gap = CompareShoe(sole, shoe.body, false);
  ASSERT_FALSE(gap.has_value());
  EXPECT_EQ(gap.error().code, RefusalCode::kImplausible);
  EXPECT_EQ(CompareShoe(sole, {{0, 0}, {1, 0}, {1, 1}}, false).error().code,
            RefusalCode::kTooFewPoints);
}

}  // namespace
}  // namespace plumbfoot::fit
