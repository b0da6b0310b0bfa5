// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/polygon.h"

#include <geos_c.h>
#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <numbers>

#include "plumbfoot/geometry/polyline.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::geometry {
namespace {

// Reference: GEOS 3.11 (Debian's libgeos), an independent library of plane
// geometry, through its C interface.
class Geos {
 public:
  Geos() : handle_(GEOS_init_r()) {}
  ~Geos() { GEOS_finish_r(handle_); }
  Geos(const Geos&) = delete;
  Geos& operator=(const Geos&) = delete;

  using Shape = std::unique_ptr<GEOSGeometry, void (*)(GEOSGeometry*)>;
  Shape Hold(GEOSGeometry* shape) const { return {shape, GEOSGeom_destroy}; }
  Shape Polygon(const CardPolyline& polygon) const {
    const auto n = static_cast<unsigned>(polygon.size());
    GEOSCoordSequence* line = GEOSCoordSeq_create_r(handle_, n + 1, 2);
    for (unsigned i = 0; i <= n; ++i) {
      const CardPoint& p = polygon[i % n];
      GEOSCoordSeq_setXY_r(handle_, line, i, p.x, p.y);
    }
    return Hold(GEOSGeom_createPolygon_r(
        handle_, GEOSGeom_createLinearRing_r(handle_, line), nullptr, 0));
  }
  double Area(const Shape& shape) const {
    double area = 0.0;
    GEOSArea_r(handle_, shape.get(), &area);
    return area;
  }
  double Perimeter(const Shape& shape) const {
    double length = 0.0;
    GEOSLength_r(handle_, shape.get(), &length);
    return length;
  }
  CardPoint Centroid(const Shape& shape) const {
    const Shape centre = Hold(GEOSGetCentroid_r(handle_, shape.get()));
    CardPoint p;
    GEOSGeomGetX_r(handle_, centre.get(), &p.x);
    GEOSGeomGetY_r(handle_, centre.get(), &p.y);
    return p;
  }
  Shape Hull(const Shape& shape) const {
    return Hold(GEOSConvexHull_r(handle_, shape.get()));
  }
  Shape Buffer(const Shape& shape, double distance) const {
    // 64 segments to a quarter of a circle.
    return Hold(GEOSBuffer_r(handle_, shape.get(), distance, 64));
  }
  /// Flat ends, round bends.
  Shape Band(const CardPolyline& line, double distance) const {
    const auto n = static_cast<unsigned>(line.size());
    GEOSCoordSequence* points = GEOSCoordSeq_create_r(handle_, n, 2);
    for (unsigned i = 0; i < n; ++i) {
      GEOSCoordSeq_setXY_r(handle_, points, i, line[i].x, line[i].y);
    }
    const Shape open = Hold(GEOSGeom_createLineString_r(handle_, points));
    return Hold(GEOSBufferWithStyle_r(handle_,
                                      open.get(),
                                      distance,
                                      64,
                                      GEOSBUF_CAP_FLAT,
                                      GEOSBUF_JOIN_ROUND,
                                      5.0));
  }
  Shape Intersection(const Shape& a, const Shape& b) const {
    return Hold(GEOSIntersection_r(handle_, a.get(), b.get()));
  }
  Shape Difference(const Shape& a, const Shape& b) const {
    return Hold(GEOSDifference_r(handle_, a.get(), b.get()));
  }
  bool Inside(const Shape& shape, CardPoint p) const {
    const Shape point = Hold(GEOSGeom_createPointFromXY_r(handle_, p.x, p.y));
    return GEOSContains_r(handle_, shape.get(), point.get()) == 1;
  }
  double LeastWidth(const Shape& shape) const {
    const Shape width = Hold(GEOSMinimumWidth_r(handle_, shape.get()));
    return Perimeter(width);
  }

 private:
  GEOSContextHandle_t handle_;
};

/// A star-shaped polygon of the size of a hoof, with dents.
CardPolyline RandomPolygon(Random& random) {
  CardPolyline polygon;
  const int corners = 12 + random.Below(60);
  for (int i = 0; i < corners; ++i) {
    const double t = 2 * std::numbers::pi * i / corners;
    const double r = random.Uniform(45, 75);
    polygon.push_back({200 + r * std::cos(t), -80 + r * std::sin(t)});
  }
  return polygon;
}

constexpr int kPolygons = 60;

TEST(Polygon, AgreesWithGeosOnAreaPerimeterAndCentroid) {
  const Geos geos;
  Random random(1);
  for (int i = 0; i < kPolygons; ++i) {
    SCOPED_TRACE(i);
    const CardPolyline polygon = RandomPolygon(random);
    const auto shape = geos.Polygon(polygon);
    EXPECT_NEAR(SignedArea(polygon), geos.Area(shape), 1e-8);
    EXPECT_NEAR(Length(polygon, Ends::kClosed), geos.Perimeter(shape), 1e-9);
    EXPECT_NEAR(Distance(Centroid(polygon), geos.Centroid(shape)), 0, 1e-9);
  }
}

TEST(Polygon, AgreesWithGeosOnHullAndLeastWidth) {
  const Geos geos;
  Random random(2);
  for (int i = 0; i < kPolygons; ++i) {
    SCOPED_TRACE(i);
    const CardPolyline polygon = RandomPolygon(random);
    const auto shape = geos.Polygon(polygon);
    const CardPolyline hull = ConvexHull(polygon);
    EXPECT_NEAR(SignedArea(hull), geos.Area(geos.Hull(shape)), 1e-8);
    const FeretWidths feret = Feret(polygon);
    EXPECT_NEAR(feret.least, geos.LeastWidth(shape), 1e-8);
    double greatest = 0.0;
    for (const auto& a : polygon) {
      for (const auto& b : polygon)
        greatest = std::max(greatest, Distance(a, b));
    }
    EXPECT_DOUBLE_EQ(feret.greatest, greatest);
  }
}

TEST(Polygon, AgreesWithGeosOnPointsInside) {
  const Geos geos;
  Random random(3);
  int inside = 0;
  for (int i = 0; i < kPolygons; ++i) {
    SCOPED_TRACE(i);
    const CardPolyline polygon = RandomPolygon(random);
    const auto shape = geos.Polygon(polygon);
    for (int k = 0; k < 40; ++k) {
      const CardPoint p{random.Uniform(120, 280), random.Uniform(-160, 0)};
      EXPECT_EQ(Contains(polygon, p), geos.Inside(shape, p));
      inside += Contains(polygon, p) ? 1 : 0;
    }
  }
  EXPECT_GT(inside, kPolygons * 10);
}

TEST(Polygon, AgreesWithGeosOnOffsetAndDifference) {
  const Geos geos;
  Random random(4);
  for (int i = 0; i < kPolygons; ++i) {
    SCOPED_TRACE(i);
    const CardPolyline polygon = RandomPolygon(random);
    const auto shape = geos.Polygon(polygon);
    for (const double distance : {-4.0, 3.0, 10.0}) {
      double area = 0.0;
      for (const auto& piece : Offset(polygon, distance)) {
        area += SignedArea(piece);
      }
      // Both draw arcs by chords: GEOS's sagitta is 7.5e-5 of the distance,
      // ours 1e-4, each along less than the perimeter.
      EXPECT_NEAR(area, geos.Area(geos.Buffer(shape, distance)), 0.4);
    }
    const CardPolyline other =
        Mirrored(polygon, *LineThrough(CardPoint{203, 0}, CardPoint{196, -90}));
    EXPECT_NEAR(DifferenceArea(polygon, other),
                geos.Area(geos.Difference(shape, geos.Polygon(other))),
                1e-3);
  }
}

// J. Steiner: a convex shape grown by r has the area A + P r + pi r^2.
TEST(Polygon, AgreesWithGeosOnBandAndIntersection) {
  const Geos geos;
  Random random(6);
  const auto area_of = [](const std::vector<CardPolyline>& pieces) {
    double area = 0.0;
    // A hole runs the other way round.
    for (const auto& piece : pieces) area += SignedArea(piece);
    return area;
  };
  for (int i = 0; i < kPolygons; ++i) {
    SCOPED_TRACE(i);
    const CardPolyline polygon = RandomPolygon(random);
    CardPolyline other = RandomPolygon(random);
    const double aside = random.Uniform(-60, 60);
    for (CardPoint& p : other) p.x += aside;
    const auto a = geos.Polygon(polygon);
    const auto b = geos.Polygon(other);
    ASSERT_NE(geos.Intersection(a, b).get(), nullptr);
    EXPECT_NEAR(area_of(Intersection<CardFrame>({polygon}, {other})),
                geos.Area(geos.Intersection(a, b)),
                1e-3);
    // A gentle bow, as the edge of a shoe is: no bend is nearer than the web.
    CardPolyline bow;
    const double radius = random.Uniform(50, 90);
    for (int k = 0; k <= 200; ++k) {
      const double t = std::numbers::pi * (k / 200.0 - 0.5);
      bow.push_back({radius * std::cos(t), 1.1 * radius * std::sin(t)});
    }
    const double distance = random.Uniform(5, 25);
    const double area = geos.Area(geos.Band(bow, distance));
    EXPECT_NEAR(area_of(Band(bow, distance)), area, 1e-4 * area);
    // Flat ends: Pappus and Guldinus.
    EXPECT_NEAR(area, 2 * distance * Length(bow, Ends::kOpen), 1e-3 * area);
  }
  const CardPolyline near = {{0, 0}, {1, 0}, {0, 1}};
  const CardPolyline far = {{5, 5}, {6, 5}, {5, 6}};
  EXPECT_TRUE(Intersection<CardFrame>({near}, {far}).empty());
  EXPECT_TRUE(Band(CardPolyline(1), 1.0).empty());
  EXPECT_THROW(Band(near, 0.0), std::invalid_argument);
}

TEST(Offset, GrowsAConvexShapeAsSteinerSays) {
  Random random(6);
  const CardPolyline hull = ConvexHull(RandomPolygon(random));
  const double r = 10;
  const auto grown = Offset(hull, r);
  ASSERT_EQ(grown.size(), 1U);
  const double expected = SignedArea(hull) + Length(hull, Ends::kClosed) * r +
                          std::numbers::pi * r * r;
  EXPECT_NEAR(SignedArea(grown[0]), expected, 0.05);
  // And it takes either way round.
  const CardPolyline reversed(hull.rbegin(), hull.rend());
  EXPECT_NEAR(SignedArea(Offset(reversed, r)[0]), expected, 0.05);
}

TEST(Mirrored, TwiceIsTheSameAndKeepsTheArea) {
  Random random(7);
  const CardPolyline polygon = RandomPolygon(random);
  const auto mirror = *LineThrough(CardPoint{190, 0}, CardPoint{210, -100});
  const CardPolyline once = Mirrored(polygon, mirror);
  EXPECT_NEAR(SignedArea(once), SignedArea(polygon), 1e-8);
  const CardPolyline twice = Mirrored(once, mirror);
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    EXPECT_NEAR(Distance(polygon[i], twice[i]), 0, 1e-9);
  }
}

TEST(Polygon, RefusesShapesWithoutArea) {
  const CardPolyline line = {{0, 0}, {1, 1}, {2, 2}};
  EXPECT_THROW((void)Centroid(line), std::invalid_argument);
  EXPECT_THROW((void)Feret(line), std::invalid_argument);
  EXPECT_TRUE(Offset(CardPolyline{{0, 0}, {1, 1}}, 1.0).empty());
  EXPECT_EQ(SignedArea(CardPolyline{{0, 0}, {1, 1}}), 0.0);
}

}  // namespace
}  // namespace plumbfoot::geometry
