// SPDX-License-Identifier: Apache-2.0
#include "draw/label_placer.h"

#include <gtest/gtest.h>

#include <array>
#include <vector>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::draw {
namespace {

constexpr Box kPicture{0, 0, 1000, 800};

TEST(LabelPlacer, KeepsLabelsInsideAndApart) {
  geometry::Random random(7);
  for (int round = 0; round < 20; ++round) {
    LabelPlacer placer(kPicture, 8);
    std::vector<Box> placed;
    for (int i = 0; i < 15; ++i) {
      const auto box =
          placer.Place(random.Uniform(60, 240),
                       random.Uniform(20, 70),
                       // Some anchors lie outside the picture.
                       {random.Uniform(-50, 1050), random.Uniform(-50, 850)},
                       {random.Normal(), random.Normal()});
      ASSERT_TRUE(box);
      EXPECT_TRUE(Contains(kPicture, *box));
      for (const Box& other : placed) EXPECT_FALSE(Overlap(*box, other));
      placed.push_back(*box);
    }
  }
}

TEST(LabelPlacer, GoesToTheSideThatIsAskedFor) {
  LabelPlacer placer(kPicture, 8);
  const auto right = placer.Place(100, 30, {500, 400}, {1, 0});
  ASSERT_TRUE(right);
  EXPECT_GT(right->x, 500);
  const auto up = placer.Place(100, 30, {500, 400}, {0, -1});
  ASSERT_TRUE(up);
  EXPECT_LT(up->bottom(), 400);
}

TEST(LabelPlacer, StaysOffLinesWhereThereIsRoom) {
  LabelPlacer placer(kPicture, 8);
  const std::array line = {CanvasPoint{0, 380}, CanvasPoint{1000, 380}};
  placer.Avoid(line);
  const auto box = placer.Place(200, 60, {500, 385}, {0, -1});
  ASSERT_TRUE(box);
  EXPECT_FALSE(box->y < 380 && box->bottom() > 380);
}

TEST(LabelPlacer, SaysWhenThereIsNoRoom) {
  LabelPlacer placer(kPicture, 8);
  EXPECT_FALSE(placer.Place(1001, 20, {500, 400}, {1, 0}));
  placer.Block(kPicture);
  EXPECT_FALSE(placer.Place(50, 20, {500, 400}, {1, 0}));
  EXPECT_FALSE(placer.PlaceInCorner(50, 20));
}

TEST(LabelPlacer, TakesACornerThatIsFree) {
  LabelPlacer placer(kPicture, 8);
  const auto first = placer.PlaceInCorner(200, 60);
  ASSERT_TRUE(first);
  EXPECT_LT(first->x, 100);
  EXPECT_GT(first->y, 600);
  const auto second = placer.PlaceInCorner(200, 60);
  ASSERT_TRUE(second);
  EXPECT_FALSE(Overlap(*first, *second));
}

}  // namespace
}  // namespace plumbfoot::draw
