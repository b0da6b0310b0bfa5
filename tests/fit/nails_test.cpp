// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/nails.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "fit/feet.h"
#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/polygon.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;

double DistanceToEdge(const Sole& sole, FootPoint p) {
  double least = 1e9;
  for (std::size_t i = 1; i < sole.wall.size(); ++i) {
    const auto a = sole.wall[i - 1];
    const auto b = sole.wall[i];
    const double t = std::clamp(
        geometry::Dot(p - a, b - a) / geometry::Dot(b - a, b - a), 0.0, 1.0);
    least = std::min(least, geometry::Distance(p, a + t * (b - a)));
  }
  return least;
}

Sole UsualFoot(geometry::Foot foot = geometry::Foot::kLeftFore) {
  return SoleOf(ViewOf(measure::Sole{}), foot);
}

// The rules of Lungwitz, Hunting, the Special Report and the American Farriers
// Journal as reference/measures.md, section 5, lists them.
TEST(Nails, KeepTheRulesOnAThousandFeetOrSayWhyNot) {
  geometry::Random random(20261126);
  int placed = 0;
  int left_out = 0;
  for (int i = 0; i < 1200; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    NailOptions options;
    if (random.Chance(0.5)) options.count = random.Below(9);
    options.wall_toe_mm = random.Uniform(7, 13);
    options.wall_quarter_mm = options.wall_toe_mm * random.Uniform(0.6, 1.0);
    options.clips = static_cast<Clips>(random.Below(3));
    const NailPlan plan = PlaceNails(sole, options);
    const double heel_x = (sole.heel_left.x + sole.heel_right.x) / 2;
    const bool fore = geometry::IsFore(sole.foot);
    for (const Side side : {Side::kLeft, Side::kRight}) {
      const Nail* before = nullptr;
      for (const Slot& slot : plan.slots) {
        if (slot.side != side) continue;
        const Nail* nail = slot.nail();
        if (nail == nullptr) {
          ++left_out;
          EXPECT_FALSE(LeftOutName(std::get<LeftOut>(slot.outcome)).empty());
          continue;
        }
        ++placed;
        // On its own side, in the fore half or the hind's front two thirds,
        // none of it behind the widest part.
        EXPECT_GT(SignOf(side) * (nail->at.y - sole.axis_y), 0);
        const double rear =
            nail->at.x - kHoleLength / 2 * std::abs(nail->along.x);
        EXPECT_GE(rear, sole.widest(side).x - 0.1);
        EXPECT_GE(rear, heel_x + sole.length * (fore ? 0.5 : 1.0 / 3) - 0.1);
        // Not at the middle of the toe.
        EXPECT_GE(nail->from_toe_mm, 20.0 - 1e-9);
        // As deep as the wall is thick.
        EXPECT_NEAR(DistanceToEdge(sole, nail->at), nail->depth_mm, 0.35);
        EXPECT_GE(nail->depth_mm, options.wall_quarter_mm - 1e-9);
        EXPECT_LE(nail->depth_mm, options.wall_toe_mm + 1e-9);
        EXPECT_EQ(std::count(nail->warnings.begin(),
                             nail->warnings.end(),
                             NailWarning::kThinWall),
                  nail->depth_mm < 7 ? 1 : 0);
        EXPECT_GE(nail->lean_deg, 0.0);
        EXPECT_LE(nail->lean_deg, 10.0);
        if (before != nullptr) {
          // The pitch is along the white line; a chord of 38 mm on a radius of
          // 40 mm is 1.4 mm shorter.
          const double chord = geometry::Distance(before->at, nail->at);
          EXPECT_GE(chord, kLeastPitch - 1.6);
          // Where one between them is left out at a clip, it is twice that.
          EXPECT_LE(
              chord,
              options.clips == Clips::kNone ? kMostPitch : 2 * kMostPitch);
          EXPECT_LE(nail->lean_deg, before->lean_deg + 1e-9);
        }
        before = nail;
      }
    }
    const int wanted = options.count.value_or(NailsFor(sole.width));
    EXPECT_LE(plan.placed(), wanted);
    EXPECT_EQ(plan.holding(),
              plan.placed() + 2 * static_cast<int>(plan.clips.size()));
  }
  // Neither is the rule rare.
  EXPECT_GT(placed, 3000);
  EXPECT_GT(left_out, 1000);
}

TEST(Nails, CountsAreHuntings) {
  // W. Hunting 1895: small 4 to 5, medium 5 to 7, heavy 8.
  EXPECT_EQ(NailsFor(100), 4);
  EXPECT_EQ(NailsFor(130), 6);
  EXPECT_EQ(NailsFor(180), 8);
}

TEST(Nails, OfAnOddNumberTheOuterBranchTakesOneMore) {
  // Lungwitz: three inside and four outside.
  for (const auto foot :
       {geometry::Foot::kLeftHind, geometry::Foot::kRightHind}) {
    measure::Sole model;
    model.width = 165;
    model.length = 175;
    model.widest_at = 70;
    const Sole sole = SoleOf(ViewOf(model), foot);
    NailOptions options;
    options.count = 7;
    const NailPlan plan = PlaceNails(sole, options);
    int left = 0;
    int right = 0;
    for (const Slot& slot : plan.slots) {
      if (slot.nail() != nullptr) (slot.side == Side::kLeft ? left : right)++;
    }
    EXPECT_EQ(geometry::IsLeft(foot) ? left : right, 4);
    EXPECT_EQ(geometry::IsLeft(foot) ? right : left, 3);
  }
}

TEST(Nails, ToeHolesLeanInAndTheLastStandsStraight) {
  const NailPlan plan = PlaceNails(UsualFoot(), {});
  ASSERT_NE(plan.slots[0].nail(), nullptr);
  ASSERT_NE(plan.slots[2].nail(), nullptr);
  EXPECT_NEAR(plan.slots[0].nail()->lean_deg, 10.0, 0.2);
  EXPECT_LT(plan.slots[2].nail()->lean_deg, 4.0);
}

TEST(Nails, AStraightQuarterIsNamed) {
  // Straight branches from the half circle back; the last nail stands on one.
  Sole sole =
      SoleOf(HalfCircleWithBranches(63.5, 63.5), geometry::Foot::kLeftHind);
  sole.widest_left.x = 45;
  sole.widest_right.x = 45;
  NailOptions options;
  options.count = 8;
  const NailPlan plan = PlaceNails(sole, options);
  int straight = 0;
  for (const Slot& slot : plan.slots) {
    const Nail* nail = slot.nail();
    if (nail == nullptr) continue;
    const bool named = std::count(nail->warnings.begin(),
                                  nail->warnings.end(),
                                  NailWarning::kStraightQuarter) > 0;
    // Where 20 mm before it are straight as well, and where all of the 40 mm
    // about it are bent; between them it depends on how much is.
    if (nail->at.x < 63.5 - 20) {
      EXPECT_TRUE(named);
    }
    if (nail->at.x > 63.5) {
      EXPECT_FALSE(named);
    }
    straight += named ? 1 : 0;
  }
  EXPECT_GT(straight, 0);
}

TEST(Nails, MirroredTwiceAreTheSame) {
  geometry::Random random(7);
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    const Sole twice = Mirrored(Mirrored(sole));
    EXPECT_EQ(twice.foot, sole.foot);
    EXPECT_EQ(twice.wall, sole.wall);
    EXPECT_EQ(twice.outline, sole.outline);
    EXPECT_EQ(twice.widest_left, sole.widest_left);
    // The other foot's nails are this foot's, mirrored.
    const NailPlan plan = PlaceNails(sole, {});
    const NailPlan other = PlaceNails(Mirrored(sole), {});
    for (std::size_t k = 0; k < 4; ++k) {
      const Nail* a = plan.slots[k].nail();
      const Nail* b = other.slots[k + 4].nail();
      ASSERT_EQ(a == nullptr, b == nullptr);
      if (a == nullptr) continue;
      // Walked in steps of half a millimetre from the same middle.
      EXPECT_NEAR(a->at.x, b->at.x, 0.02);
      EXPECT_NEAR(a->at.y, -b->at.y, 0.02);
    }
  }
}

TEST(Sole, IsRefusedWhereItIsNoFoot) {
  const auto code = [](const measure::PlainView& view) {
    const auto sole = MakeSole(geometry::Foot::kLeftFore, view);
    return sole ? std::optional<RefusalCode>() : sole.error().code;
  };
  const measure::PlainView good = ViewOf(measure::Sole{});
  ASSERT_FALSE(code(good).has_value());
  measure::PlainView view = good;
  view.outline.clear();
  EXPECT_EQ(code(view), RefusalCode::kPointMissing);
  view = good;
  view.at(PointId::kHeelLeft).reset();
  EXPECT_EQ(code(view), RefusalCode::kPointMissing);
  view = good;
  view.at(PointId::kHeelLeft)->x += 40;
  EXPECT_EQ(code(view), RefusalCode::kImplausible);
  view = good;
  std::swap(view.at(PointId::kHeelLeft), view.at(PointId::kHeelRight));
  EXPECT_EQ(code(view), RefusalCode::kImplausible);
  view = good;
  std::swap(view.outline[40], view.outline[120]);
  EXPECT_EQ(code(view), RefusalCode::kImplausible);
  view = good;
  view.outline[3].x = std::nan("");
  EXPECT_EQ(code(view), RefusalCode::kImplausible);
  view = good;
  for (FootPoint& p : view.outline) p = {p.x / 10, p.y / 10};
  for (auto& p : view.points) {
    if (p) p = FootPoint{p->x / 10, p->y / 10};
  }
  EXPECT_EQ(code(view), RefusalCode::kImplausible);
}

}  // namespace
}  // namespace plumbfoot::fit
