// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/bar.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "fit/feet.h"
#include "plumbfoot/fit/inches.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::Ends;
using geometry::FootPoint;
using geometry::FootPolyline;

constexpr double kInch = 25.4;

/// A shoe flush all round that ends at the buttress.
ShoeOptions Flush(double web) {
  ShoeOptions options;
  options.web_mm = web;
  options.fullness_mm = 0.0;
  options.heel_length_mm = 0.0;
  return options;
}

Bar BarOf(const Sole& sole, const ShoeOptions& options, BarOptions bar = {}) {
  const NailPlan nails = PlaceNails(sole, {});
  return BarFor(sole, FitShoe(sole, nails, options).value(), nails, bar);
}

TEST(Bar, AFiveByFiveFootNeedsWhatTheReferenceWorksOut) {
  // reference/measures.md, section 5 (derived): 5 x 5 in foot, 3/4 in web,
  // half-circle toe plus straight branches: 11.7 in along mid-web, 10 in by
  // Lungwitz's rule.
  const Sole sole = SoleOf(HalfCircleWithBranches(2.5 * kInch, 2.5 * kInch));
  const Bar bar = BarOf(sole, Flush(0.75 * kInch));
  EXPECT_NEAR(InchesOf(bar.by_neutral_line_mm), 11.7, 0.05);
  EXPECT_NEAR(
      InchesOf(bar.by_neutral_line_mm), std::numbers::pi * 2.125 + 5, 1e-3);
  EXPECT_NEAR(InchesOf(bar.by_rule_mm), 10.0, 1e-3);
  EXPECT_EQ(EighthsText(bar.by_neutral_line_mm), "11 5/8 in");
  EXPECT_EQ(EighthsText(bar.by_rule_mm), "10 in");
}

TEST(Bar, TheNeutralLineOfAHalfCircleIsPiTimesItsRadius) {
  for (const double radius : {40.0, 65.0, 100.0}) {
    for (const double web : {10.0, 19.05, 25.4}) {
      SCOPED_TRACE(testing::Message() << radius << ' ' << web);
      FootPolyline outer;
      constexpr int kSteps = 1000;
      for (int i = 0; i <= kSteps; ++i) {
        const double t = std::numbers::pi * (0.5 - 1.0 * i / kSteps);
        outer.push_back({radius * std::cos(t), radius * std::sin(t)});
      }
      const auto line = EdgeWithin(outer, web / 2);
      ASSERT_TRUE(line.has_value());
      EXPECT_NEAR(geometry::Length(*line, Ends::kOpen),
                  std::numbers::pi * (radius - web / 2),
                  2e-3 * radius);
    }
  }
}

TEST(Bar, TheNeutralLineOfAHalfEllipseIsThatOfItsParallelCurve) {
  // A curve parallel to a convex one at distance d within it is shorter by d
  // times the angle that it turns (J. Steiner): half an ellipse turns by pi.
  constexpr double kA = 75;
  constexpr double kB = 60;
  constexpr int kSteps = 3000;
  FootPolyline outer;
  for (int i = 0; i <= kSteps; ++i) {
    const double t = std::numbers::pi * (0.5 - 1.0 * i / kSteps);
    outer.push_back({kA * std::cos(t), kB * std::sin(t)});
  }
  // By the complete elliptic integral, as a sum (from the definition).
  double length = 0.0;
  for (int i = 0; i < kSteps; ++i) {
    const double t = std::numbers::pi * ((i + 0.5) / kSteps - 0.5);
    length += std::hypot(kA * std::sin(t), kB * std::cos(t)) *
              std::numbers::pi / kSteps;
  }
  for (const double d : {5.0, 9.5, 12.7}) {
    SCOPED_TRACE(d);
    const auto line = EdgeWithin(outer, d);
    ASSERT_TRUE(line.has_value());
    EXPECT_NEAR(geometry::Length(*line, Ends::kOpen),
                length - std::numbers::pi * d,
                0.02);
  }
}

TEST(Bar, LungwitzsRuleIsLengthAndWidth) {
  // reference/measures.md, section 3, test 7: 127 + 127 = 254 mm.
  const Sole sole = SoleOf(HalfCircleWithBranches(63.5, 63.5));
  EXPECT_NEAR(BarOf(sole, Flush(19)).by_rule_mm, 254.0, 0.02);
}

TEST(Bar, ClipsAndCalksAreAllowedFor) {
  const Sole sole = SoleOf(HalfCircleWithBranches(63.5, 63.5));
  NailOptions nails;
  nails.clips = Clips::kToe;
  const NailPlan plan = PlaceNails(sole, nails);
  const Shoe shoe = FitShoe(sole, plan, Flush(19)).value();
  const Bar plain = BarFor(sole, shoe, {}, {});
  const Bar bar =
      BarFor(sole, shoe, plan, {.clip_allowance_mm = 4, .calk_height_mm = 12});
  EXPECT_DOUBLE_EQ(plain.allowance_mm, 0.0);
  EXPECT_DOUBLE_EQ(bar.allowance_mm, 4 + 2 * 12.0);
  EXPECT_DOUBLE_EQ(bar.cut_by_rule_mm, bar.by_rule_mm + 28);
  EXPECT_DOUBLE_EQ(bar.cut_by_neutral_line_mm, plain.by_neutral_line_mm + 28);
}

TEST(Bar, WeighsWhatItsVolumeWeighs) {
  const Sole sole = SoleOf(HalfCircleWithBranches(63.5, 63.5));
  ShoeOptions options = Flush(20);
  options.thickness_mm = 10;
  const Bar steel = BarOf(sole, options);
  // One metre of 20 x 10 mm flat steel is 1.57 kg in every steel table (7.85
  // g/cm3; EN 10058 tables print 1.57, from memory).
  EXPECT_NEAR(steel.weight_per_metre_g, 1570, 0.5);
  EXPECT_NEAR(steel.weight_g, 1.57 * steel.cut_by_neutral_line_mm, 0.01);
  const Bar aluminium =
      BarOf(sole, options, {.material = Material::kAluminium});
  EXPECT_NEAR(aluminium.weight_g / steel.weight_g, 2.70 / 7.85, 1e-9);
}

TEST(Bar, TheDrawnShoeHasTheBarsVolume) {
  // Pappus and Guldinus: area of a web of even width = width x middle line.
  geometry::Random random(20261126);
  for (int i = 0; i < 50; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    const auto fitted = FitShoe(sole, PlaceNails(sole, {}), {});
    ASSERT_TRUE(fitted.has_value()) << sole.width << ' ' << sole.heel_left.y;
    const Shoe& shoe = fitted.value();
    FootPolyline whole = shoe.outer;
    whole.insert(whole.end(), shoe.inner.rbegin(), shoe.inner.rend());
    const double area = std::abs(geometry::SignedArea(whole));
    const double bar = geometry::Length(shoe.middle, Ends::kOpen) * 19.0;
    // The ends are cut along the heels' line and not square to the branch.
    EXPECT_NEAR(area / bar, 1.0, 0.01);
  }
}

TEST(Inches, AreExact) {
  // 25.4 mm, ISO 80000-3 / 24 F.R. 5348 (1959).
  EXPECT_DOUBLE_EQ(InchesOf(254.0), 10.0);
  EXPECT_DOUBLE_EQ(InchesOf(25.4), 1.0);
  // Hunting's pitch and Special Report's fullness, both units printed in
  // reference/measures.md: 1 to 1.5 in is 25 to 38 mm.
  EXPECT_NEAR(1.0 * kInch, kLeastPitch, 0.5);
  EXPECT_NEAR(1.5 * kInch, kMostPitch, 0.5);
}

TEST(Inches, EighthsAreTheNearest) {
  for (int tenths = 0; tenths < 8000; ++tenths) {
    const double mm = tenths / 10.0;
    const Eighths e = ToEighths(mm);
    EXPECT_GE(e.eighths, 0);
    EXPECT_LE(e.eighths, 7);
    const double back =
        (static_cast<double>(e.inches) + e.eighths / 8.0) * kInch;
    EXPECT_NEAR(back - mm, e.off, 1e-9);
    EXPECT_LE(std::abs(back - mm), kInch / 16 + 1e-9) << mm;
  }
}

TEST(Inches, AreWrittenAsARuleIsRead) {
  EXPECT_EQ(EighthsText(0.0), "0 in");
  EXPECT_EQ(EighthsText(19.05), "3/4 in");
  EXPECT_EQ(EighthsText(3.175), "1/8 in");
  EXPECT_EQ(EighthsText(25.4), "1 in");
  EXPECT_EQ(EighthsText(38.1), "1 1/2 in");
  EXPECT_EQ(EighthsText(25.4 * 11.99), "12 in");
  EXPECT_THROW(EighthsText(-1), std::invalid_argument);
  EXPECT_THROW(EighthsText(std::nan("")), std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::fit
