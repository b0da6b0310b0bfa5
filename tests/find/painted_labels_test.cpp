// SPDX-License-Identifier: Apache-2.0
// The scenes that the network learns from, compiled as plain C++: do the labels
// lie where what they name is painted?
#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <functional>

#include "find/training/draw_lots.h"
#include "find/training/paint.h"

namespace scene {
namespace {

constexpr int kSize = 512;
constexpr int kScenes = 400;
constexpr int kToeGround = 6;
constexpr int kToeHairline = 7;
constexpr int kHeelGround = 8;
constexpr int kHeelHairline = 9;

struct Drawn {
  Scene scene;
  Labels labels;
};

/// Every foot among the scenes of these seeds, close, with nothing before it.
void ForEachFoot(int view, const std::function<void(const Drawn&)>& look) {
  for (std::uint64_t seed = 1; seed <= kScenes; ++seed) {
    SCOPED_TRACE(seed);
    Drawn drawn;
    DrawScene(seed * 7919,
              view + kClose + kNoThings + kNoCard,
              kSize,
              &drawn.scene,
              &drawn.labels);
    if (drawn.labels.foot > 0) look(drawn);
  }
}

bool IsThere(const Drawn& drawn, int point) {
  return drawn.labels.point[point][2] > 0.5F;
}

/// Where a label lies in the plane of the window.
V3 PlaceOf(const Drawn& drawn, int point) {
  const float mm = drawn.scene.mm_per_px;
  return PlanePoint(drawn.scene,
                    (drawn.labels.point[point][0] - 0.5F * kSize) * mm,
                    (drawn.labels.point[point][1] - 0.5F * kSize) * mm);
}

/// What is painted so far from a label [mm]: towards the toe, and up.
int PartBeside(const Drawn& drawn, int point, float forward, float up) {
  const Scene& s = drawn.scene;
  const V3 toe{1, 0, 0};
  const V3 high{0, 0, 1};
  const float u = Dot(toe, s.right) * forward + Dot(high, s.right) * up;
  const float v = Dot(toe, s.down) * forward + Dot(high, s.down) * up;
  const float* at = drawn.labels.point[point];
  return PaintPixel(s,
                    at[0] - 0.5F * kSize + u / s.mm_per_px,
                    at[1] - 0.5F * kSize + v / s.mm_per_px)
      .part;
}

bool IsHoof(int part) {
  return part == kHorn || part == kShoe || part == kSole || part == kFrog;
}

/// A share of many.
struct Share {
  int right = 0;
  int all = 0;
  void Count(bool is_right) {
    right += is_right ? 1 : 0;
    ++all;
  }
  double Value() const { return static_cast<double>(right) / all; }
};

// geometry::PointId: "the rearmost bearing point of the heel".
TEST(PaintedLabels, HeelsAreTheRearmostBearingPoints) {
  ForEachFoot(0, [](const Drawn& drawn) {
    const Scene& s = drawn.scene;
    if (s.shod) return;
    for (const int heel : {1, 2}) {
      const V3 p = PlaceOf(drawn, heel);
      EXPECT_NEAR(OutlineOf(s, p.x, p.y), 0.0F, 0.3F);
      const float out = heel == 1 ? 1.0F : -1.0F;
      // Nothing further out lies further back, but for the foot's own skew.
      for (float d = 0; d < 12; d += 0.5F) {
        const float y = p.y + out * d;
        const float level = p.x - HeelShift(s, p.x, p.y) + HeelShift(s, p.x, y);
        EXPECT_GT(OutlineOf(s, level - 0.5F, y), 0.0F) << d << " mm out";
      }
    }
  });
}

// Where the horn goes on behind its bearing edge it has left the ground.
TEST(PaintedLabels, WhatRollsUpBehindTheHeelsDoesNotBear) {
  int rolled = 0;
  ForEachFoot(0, [&](const Drawn& drawn) {
    const Scene& s = drawn.scene;
    if (s.shod || s.roll_back < 4 || s.roll_high < 3) return;
    ++rolled;
    for (const int heel : {1, 2}) {
      const V3 p = PlaceOf(drawn, heel);
      EXPECT_LT(RollZ(s, p.x, p.y), 0.8F);
      const float inwards = heel == 1 ? -1.0F : 1.0F;
      const float y = p.y + inwards * (s.roll_soft + 3);
      const float edge = HeelShift(s, 0, y) + RearEdge(s, y, 0, true);
      EXPECT_GT(RollZ(s, edge + 1, y), 0.5F * s.roll_high);
      EXPECT_FALSE(InsideBearing(s, p.x - 3, y));
    }
  });
  EXPECT_GT(rolled, 50);
}

// Heels that lean back stand far behind their bearing edge.
TEST(PaintedLabels, HornStandsOverTheHeelsUpToTheHairline) {
  Share solid;
  ForEachFoot(0, [&](const Drawn& drawn) {
    const Scene& s = drawn.scene;
    if (s.shod) return;
    for (const int heel : {1, 2}) {
      const V3 p = PlaceOf(drawn, heel);
      const float side = heel == 1 ? s.side_left : s.side_right;
      for (const float part : {0.15F, 0.5F, 0.85F}) {
        const float z = part * s.heel_height;
        // 5 mm before the heel's rear wall, where the horn is thick.
        const V3 at{
            p.x + HeelX(s, z) + 5, 0.95F * p.y / (1 + z * side + s.flare), z};
        int seen = kNothing;
        int which = 0;
        solid.Count(SolidOf(s, at, &seen, &which) < 0);
      }
    }
  });
  EXPECT_GT(solid.all, 500);
  // The grooves beside the frog are hollow.
  EXPECT_GT(solid.Value(), 0.9);
}

TEST(PaintedLabels, TheHeelOnTheGroundIsTheHornsRearEnd) {
  Share ground, behind;
  ForEachFoot(1, [&](const Drawn& drawn) {
    if (!IsThere(drawn, kHeelGround)) return;
    ground.Count(IsHoof(PartBeside(drawn, kHeelGround, 4, 3)));
    behind.Count(!IsHoof(PartBeside(drawn, kHeelGround, -6, 1)));
  });
  EXPECT_GT(ground.all, 200);
  EXPECT_GT(ground.Value(), 0.97);
  EXPECT_GT(behind.Value(), 0.9);
}

// Where the label says that it is seen. It is the upper end of the rearmost
// tubules, which the camera may see a little round the corner.
TEST(PaintedLabels, HornIsSeenBelowTheHeelsHairline) {
  Share seen;
  ForEachFoot(1, [&](const Drawn& drawn) {
    if (!IsThere(drawn, kHeelHairline)) return;
    seen.Count(IsHoof(PartBeside(drawn, kHeelHairline, 14, -10)));
  });
  EXPECT_GT(seen.all, 100);
  EXPECT_GT(seen.Value(), 0.8);
}

TEST(PaintedLabels, TheDorsalWallRunsFromItsHairlineToTheGround) {
  Share inside, outside;
  ForEachFoot(1, [&](const Drawn& drawn) {
    if (!IsThere(drawn, kToeHairline) || !IsThere(drawn, kToeGround)) return;
    const V3 wall = PlaceOf(drawn, kToeGround) - PlaceOf(drawn, kToeHairline);
    for (const float part : {0.2F, 0.5F, 0.8F}) {
      const V3 on = wall * part;
      inside.Count(IsHoof(PartBeside(drawn, kToeHairline, on.x - 10, on.z)));
      outside.Count(!IsHoof(PartBeside(drawn, kToeHairline, on.x + 10, on.z)));
    }
  });
  EXPECT_GT(inside.all, 300);
  EXPECT_GT(inside.Value(), 0.97);
  EXPECT_GT(outside.Value(), 0.93);
}

TEST(PaintedLabels, AFrogUnderAShoeIsNotThere) {
  int hidden = 0;
  ForEachFoot(0, [&](const Drawn& drawn) {
    for (const int side : {4, 5}) {
      const float* at = drawn.labels.point[side];
      const int part =
          PaintPixel(drawn.scene, at[0] - 0.5F * kSize, at[1] - 0.5F * kSize)
              .part;
      if (part == kShoe && !drawn.scene.pad) {
        ++hidden;
        EXPECT_FALSE(IsThere(drawn, side));
      }
    }
  });
  EXPECT_GT(hidden, 20);
}

}  // namespace
}  // namespace scene
