// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/shoe.h"

#include <geos_c.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>
#include <numbers>

#include "fit/feet.h"
#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::Ends;
using geometry::FootPoint;
using geometry::FootPolyline;

double DistanceTo(const FootPolyline& line, FootPoint p) {
  double least = 1e9;
  for (std::size_t i = 1; i < line.size(); ++i) {
    const auto a = line[i - 1];
    const auto b = line[i];
    const double square = geometry::Dot(b - a, b - a);
    const double t =
        square > 0 ? std::clamp(geometry::Dot(p - a, b - a) / square, 0.0, 1.0)
                   : 0.0;
    least = std::min(least, geometry::Distance(p, a + t * (b - a)));
  }
  return least;
}

/// GEOS 3.11 (LGPL), which shares nothing with Clipper.
class Geos {
 public:
  Geos() : context_(GEOS_init_r()) {}
  ~Geos() { GEOS_finish_r(context_); }
  Geos(const Geos&) = delete;
  Geos& operator=(const Geos&) = delete;

  using Shape =
      std::unique_ptr<GEOSGeometry, std::function<void(GEOSGeometry*)>>;
  Shape Own(GEOSGeometry* g) const {
    return {g, [this](GEOSGeometry* x) { GEOSGeom_destroy_r(context_, x); }};
  }
  GEOSCoordSequence* Points(const FootPolyline& line, bool close) const {
    const auto n = static_cast<unsigned>(line.size() + (close ? 1 : 0));
    GEOSCoordSequence* points = GEOSCoordSeq_create_r(context_, n, 2);
    for (unsigned i = 0; i < n; ++i) {
      const FootPoint& p = line[i % line.size()];
      GEOSCoordSeq_setXY_r(context_, points, i, p.x, p.y);
    }
    return points;
  }
  Shape Line(const FootPolyline& line) const {
    return Own(GEOSGeom_createLineString_r(context_, Points(line, false)));
  }
  Shape Polygon(const FootPolyline& line) const {
    return Own(GEOSGeom_createPolygon_r(
        context_,
        GEOSGeom_createLinearRing_r(context_, Points(line, true)),
        nullptr,
        0));
  }
  /// Flat ends, round bends.
  Shape Band(const GEOSGeometry* g, double distance) const {
    return Own(GEOSBufferWithStyle_r(
        context_, g, distance, 64, GEOSBUF_CAP_FLAT, GEOSBUF_JOIN_ROUND, 5.0));
  }
  Shape Shared(const GEOSGeometry* a, const GEOSGeometry* b) const {
    return Own(GEOSIntersection_r(context_, a, b));
  }
  double Area(const GEOSGeometry* g) const {
    double area = 0.0;
    GEOSArea_r(context_, g, &area);
    return area;
  }
  bool IsSimple(const GEOSGeometry* g) const {
    return GEOSisValid_r(context_, g) == 1;
  }
  bool Cross(const GEOSGeometry* a, const GEOSGeometry* b) const {
    return GEOSIntersects_r(context_, a, b) == 1;
  }

 private:
  GEOSContextHandle_t context_;
};

TEST(Shoe, FollowsTheRulesOnAThousandFeet) {
  const Geos geos;
  geometry::Random random(20261127);
  for (int i = 0; i < 1000; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    const NailPlan nails = PlaceNails(sole, {});
    ShoeOptions options;
    options.web_mm = random.Uniform(12, 22);
    options.fullness_mm = random.Uniform(1.6, 3.2);  // 1/16 to 1/8 in
    const auto made = FitShoe(sole, nails, options);
    ASSERT_TRUE(made.has_value()) << made.error().message;
    const Shoe& shoe = *made;

    // The inner edge never crosses the outer, and stands a web from it.
    EXPECT_FALSE(
        geos.Cross(geos.Line(shoe.outer).get(), geos.Line(shoe.inner).get()));
    for (std::size_t k = 5; k + 5 < shoe.inner.size(); k += 20) {
      EXPECT_NEAR(DistanceTo(shoe.outer, shoe.inner[k]),
                  options.web_mm,
                  0.01 * options.web_mm + 0.1);
    }
    EXPECT_TRUE(geos.IsSimple(geos.Polygon(shoe.body).get()));

    // The outer edge is nowhere inside the foot; flush at the nails, full from
    // the last nail to the heel.
    FootPolyline foot = sole.wall;
    for (std::size_t k = 0; k < shoe.outer.size(); k += 6) {
      const FootPoint& p = shoe.outer[k];
      const double off = DistanceTo(sole.wall, p);
      // A curve's chord of a millimetre cuts it by 4 um.
      if (geometry::Contains(foot, p)) {
        EXPECT_LT(off, 0.02);
      }
      // Where the foot turns in sharply, the branch stands a little off it.
      if (p.x > std::min(sole.heel_left.x, sole.heel_right.x) + 25) {
        EXPECT_LT(off, options.fullness_mm + 0.35);
      }
    }
    for (const Slot& slot : nails.slots) {
      const Nail* nail = slot.nail();
      if (nail == nullptr) continue;
      EXPECT_NEAR(DistanceTo(shoe.outer, nail->at), nail->depth_mm, 0.35);
    }
    // Heels reach as far past the buttress as the shoe is thick.
    EXPECT_NEAR(sole.heel_left.x - shoe.outer.front().x, 10.0, 1e-6);
    EXPECT_NEAR(sole.heel_right.x - shoe.outer.back().x, 10.0, 1e-6);
    EXPECT_NEAR(shoe.length_mm, sole.length + 10.0, 0.05);
  }
}

TEST(Shoe, TheWebIsThatOfGeos) {
  const Geos geos;
  geometry::Random random(5);
  for (int i = 0; i < 100; ++i) {
    SCOPED_TRACE(i);
    const Sole sole = RandomFoot(random);
    const Shoe shoe = FitShoe(sole, PlaceNails(sole, {}), {}).value();
    FootPolyline web = shoe.outer;
    web.insert(web.end(), shoe.inner.rbegin(), shoe.inner.rend());
    // The ends go on as they do for the web, so that GEOS's flat ends lie
    // behind the cut too.
    FootPolyline beyond = shoe.outer;
    beyond.insert(beyond.begin(),
                  shoe.outer[0] + 16.0 * ((shoe.outer[0] - shoe.outer[1]) /
                                          geometry::Distance(shoe.outer[0],
                                                             shoe.outer[1])));
    const auto n = shoe.outer.size();
    beyond.push_back(
        shoe.outer[n - 1] +
        16.0 * ((shoe.outer[n - 1] - shoe.outer[n - 2]) /
                geometry::Distance(shoe.outer[n - 1], shoe.outer[n - 2])));
    const auto band = geos.Band(geos.Line(beyond).get(), 19.0);
    const auto shared = geos.Shared(band.get(), geos.Polygon(shoe.outer).get());
    const double area = geos.Area(shared.get());
    EXPECT_NEAR(std::abs(geometry::SignedArea(web)), area, 1e-3 * area);
  }
}

TEST(Shoe, ASetBackToeIsSetBackAndNothingElseMoves) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  const NailPlan nails = PlaceNails(sole, {});
  const Shoe plain = FitShoe(sole, nails, {}).value();
  ShoeOptions options;
  options.set_back_mm = 6.0;
  const Shoe back = FitShoe(sole, nails, options).value();
  EXPECT_NEAR(back.length_mm, plain.length_mm - 6.0, 0.05);
  EXPECT_NEAR(back.width_mm, plain.width_mm, 0.05);
  for (const FootPoint& p : back.outer) {
    EXPECT_LE(p.x, sole.toe_x - 6.0 + 0.01);
    if (p.x < sole.toe_x - 45) {
      EXPECT_LT(DistanceTo(plain.outer, p), 0.05);
    }
  }
}

TEST(Shoe, ARolledToeRisesFromBehindItsEdge) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  ShoeOptions options;
  options.rolled_mm = 8.0;
  const Shoe shoe = FitShoe(sole, PlaceNails(sole, {}), options).value();
  ASSERT_GT(shoe.roll.size(), 20U);
  for (const FootPoint& p : shoe.roll) {
    EXPECT_NEAR(DistanceTo(shoe.outer, p), 8.0, 0.1);
  }
  EXPECT_TRUE(FitShoe(sole, PlaceNails(sole, {}), {}).value().roll.empty());
}

TEST(Shoe, HeelLengthIsTheSpecialReports) {
  // Regular: the shoe's thickness; sloping: nearly double; upright: at most 1/8
  // in (USDA Special Report on Diseases of the Horse; Lungwitz).
  EXPECT_DOUBLE_EQ(HeelLengthFor(HeelRule::kRegular, 11.1), 11.1);
  EXPECT_GT(HeelLengthFor(HeelRule::kSloping, 10), 15.0);
  EXPECT_LT(HeelLengthFor(HeelRule::kSloping, 10), 20.0);
  EXPECT_LE(HeelLengthFor(HeelRule::kUpright, 10), 25.4 / 8);
  // Wiggers et al. 2015: flat < 50, medium, upright > 55.
  EXPECT_EQ(HeelRuleFor(49.9), HeelRule::kSloping);
  EXPECT_EQ(HeelRuleFor(50.0), HeelRule::kRegular);
  EXPECT_EQ(HeelRuleFor(55.0), HeelRule::kRegular);
  EXPECT_EQ(HeelRuleFor(55.1), HeelRule::kUpright);
}

TEST(Shoe, AWebThatIsTooWideIsRefused) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  ShoeOptions options;
  options.web_mm = 60;
  const auto shoe = FitShoe(sole, PlaceNails(sole, {}), options);
  ASSERT_FALSE(shoe.has_value());
  EXPECT_EQ(shoe.error().code, RefusalCode::kImplausible);
}

TEST(Shoe, AHoleThatBreaksOutIsLeftOut) {
  const Sole sole = SoleOf(ViewOf(measure::Sole{}));
  NailPlan nails = PlaceNails(sole, {});
  ShoeOptions options;
  options.web_mm = 12.5;  // The hole ends 12 mm in: less than 2 mm are left.
  const Shoe narrow = FitShoe(sole, nails, options).value();
  EXPECT_EQ(HolesWithin(narrow, nails).placed(), 0);
  const Shoe usual = FitShoe(sole, nails, {}).value();
  EXPECT_EQ(HolesWithin(usual, nails).placed(), nails.placed());
}

}  // namespace
}  // namespace plumbfoot::fit
