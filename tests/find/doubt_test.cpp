// SPDX-License-Identifier: Apache-2.0
#include "find/doubt.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <utility>

#include "find/pictures.h"
#include "find/refine.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoCovariance;
using geometry::PlacedBy;
using geometry::PlacedPoint;

/// Along x with a sigma of 4 px, across it 1 px.
PlacedPoint Elongated(double confidence) {
  PlacedPoint p;
  p.px = {600, 450};
  p.covariance = {16.0, 0.0, 1.0};
  p.confidence = confidence;
  return p;
}

// What is wrong is off by 8 mm in the root mean square, whatever the way.
TEST(WidenUnsure, AddsThatAPointMayBeWrong) {
  const geometry::PlaneMap map = geometry::NominalMap(
      LookingAt({115, 110}, 420, {1200, 900}, 0.0, 0.0, 0.0));
  const double square =
      std::pow(8 * PxPerMm(map, Elongated(0).px), 2);  // [px^2]
  ViewPoints points;
  points.view = View::kLateral;
  points.at(PointId::kToeHairline) = Elongated(0.8);
  points.at(PointId::kHeelGround) = Elongated(0.8);
  points.at(PointId::kToeGround) = Elongated(0.98);
  points.at(PointId::kPasternUpper) = Elongated(0.5);
  points.at(PointId::kHeelHairline) = Elongated(0.5);
  points.at(PointId::kHeelHairline)->placed_by = PlacedBy::kPerson;
  WidenUnsure(map, points);
  const auto of = [&](PointId id) { return points.at(id)->covariance; };
  // Sure, a person's, on the pastern's edge: as they were.
  for (const PointId id :
       {PointId::kToeGround, PointId::kHeelHairline, PointId::kPasternUpper}) {
    EXPECT_EQ(of(id).xx, 16.0) << geometry::PointName(id);
    EXPECT_EQ(of(id).yy, 1.0) << geometry::PointName(id);
  }
  // Any way alike.
  const PhotoCovariance hairline = of(PointId::kToeHairline);
  EXPECT_NEAR(hairline.xx - 16.0, 0.2 * square / 2, 1e-9 * square);
  EXPECT_NEAR(hairline.yy - 1.0, 0.2 * square / 2, 1e-9 * square);
  // On the ground: as much in all, and nearly all of it along the ground.
  const PhotoCovariance heel = of(PointId::kHeelGround);
  EXPECT_NEAR(heel.xx + heel.yy - 17.0, 0.2 * square, 1e-9 * square);
  EXPECT_GT(heel.xx - 16.0, 0.85 * 0.2 * square);
  EXPECT_GT(heel.yy - 1.0, 0.05 * 0.2 * square);
  EXPECT_EQ(heel.xy, 0.0);
}

/// A sole of 100 px, toe up, whose outline turns at its heels: 60 px wide, 100
/// long, with the frog in the middle.
Sightings SquareSole() {
  Sightings seen;
  seen.outline = {{20, 20}, {80, 20}, {80, 120}, {20, 120}};
  const auto see = [&seen](PointId id, cv::Point2d at) {
    seen.at(id) = Sighting{at, RoundCovariance(1.0), 0.9, {}, 0.0};
  };
  see(PointId::kFrogApex, {50, 60});
  see(PointId::kFrogLeft, {40, 110});
  see(PointId::kFrogRight, {60, 110});
  see(PointId::kHeelLeft, {20, 120});
  see(PointId::kHeelRight, {65, 120});
  return seen;
}

TEST(TurnHeels, PutsAHeelWhereTheOutlineTurnsIfItMayBeThere) {
  PlaneImage image;
  image.px_per_mm = 1.0;
  // 15 mm inside of the corner, with the corner as the other place.
  Sightings seen = SquareSole();
  seen.at(PointId::kHeelRight)->elsewhere = {80, 119};
  seen.at(PointId::kHeelRight)->elsewhere_likelihood = 0.2;
  // One that is where it should be stays, whatever else may be.
  seen.at(PointId::kHeelLeft)->elsewhere = {20, 112};
  seen.at(PointId::kHeelLeft)->elsewhere_likelihood = 0.3;
  TurnHeels(image, seen);
  EXPECT_EQ(seen.at(PointId::kHeelRight)->at, cv::Point2d(80, 119));
  EXPECT_LT(seen.at(PointId::kHeelRight)->confidence, kSureConfidence);
  EXPECT_EQ(seen.at(PointId::kHeelLeft)->at, cv::Point2d(20, 120));
  EXPECT_EQ(seen.at(PointId::kHeelLeft)->confidence, 0.9);
}

TEST(TurnHeels, LeavesAHeelThatHasNoBetterPlace) {
  PlaneImage image;
  image.px_per_mm = 1.0;
  for (const auto& [elsewhere, likelihood] :
       {std::pair{cv::Point2d(80, 119), 0.01},    // Not likely.
        std::pair{cv::Point2d(55, 120), 0.3},     // No turn either.
        std::pair{cv::Point2d(90, 130), 0.3}}) {  // Off the outline.
    Sightings seen = SquareSole();
    seen.at(PointId::kHeelRight)->elsewhere = elsewhere;
    seen.at(PointId::kHeelRight)->elsewhere_likelihood = likelihood;
    TurnHeels(image, seen);
    EXPECT_EQ(seen.at(PointId::kHeelRight)->at, cv::Point2d(65, 120));
    EXPECT_EQ(seen.at(PointId::kHeelRight)->confidence, 0.9);
  }
}

TEST(DoubtHairline, IsSureOfAPersonsOnly) {
  ViewPoints points;
  points.view = View::kLateral;
  points.at(PointId::kToeHairline) = Elongated(0.99);
  points.at(PointId::kHeelHairline) = Elongated(0.99);
  points.at(PointId::kHeelHairline)->placed_by = PlacedBy::kPerson;
  points.at(PointId::kToeGround) = Elongated(0.99);
  DoubtHairline(points, 0.95);
  EXPECT_THAT(Unsure(points), testing::ElementsAre("toe_hairline"));
}

// A sole's heel may be anywhere across its buttress, a side of the frog
// anywhere along it.
TEST(WidenUnsure, KnowsWhichWayASolesPointsAreWrong) {
  const geometry::PlaneMap map = geometry::NominalMap(
      LookingAt({115, 110}, 420, {1200, 900}, 0.0, 0.0, 0.0));
  ViewPoints points;
  points.view = View::kSolar;
  const auto place = [&](PointId id, geometry::PhotoPoint at) {
    PlacedPoint p;
    p.px = at;
    p.covariance = PhotoCovariance::Round(1.0);
    p.confidence = 0.5;
    points.at(id) = p;
  };
  // The sole lies aslant: its left is up and to the right.
  place(PointId::kHeelLeft, {700, 350});
  place(PointId::kHeelRight, {500, 550});
  place(PointId::kFrogLeft, {650, 400});
  place(PointId::kFrogRight, {550, 500});
  WidenUnsure(map, points);
  const double square =
      0.5 * std::pow(8 * PxPerMm(map, {600, 450}), 2);  // [px^2]
  for (const auto& [id, across] : {std::pair{PointId::kHeelLeft, 0.8},
                                   std::pair{PointId::kHeelRight, 0.8},
                                   std::pair{PointId::kFrogLeft, 0.2},
                                   std::pair{PointId::kFrogRight, 0.2}}) {
    SCOPED_TRACE(geometry::PointName(id));
    const PhotoCovariance c = points.at(id)->covariance;
    EXPECT_NEAR((c.xx + c.yy) / 2 - c.xy, 1.0 + across * square, 1e-3 * square);
    EXPECT_NEAR(
        (c.xx + c.yy) / 2 + c.xy, 1.0 + (1 - across) * square, 1e-3 * square);
  }
}

// An edge is known to a part of a pixel; that it is the right one is not.
TEST(SnapTo, LeavesTheDoubtOfWhichEdgeItIs) {
  EdgeCurve edge;
  edge.px = {{0, 452}, {1200, 452}};
  edge.sigma_px = 0.05;
  PlacedPoint p = Elongated(0.9);
  SnapTo(edge, false, 12.0, p);
  EXPECT_EQ(p.px, (geometry::PhotoPoint{600, 452}));
  EXPECT_NEAR(p.covariance.xx, 16.0, 1e-9);
  EXPECT_NEAR(std::sqrt(p.covariance.yy), 1.2, 0.01);
  EXPECT_NEAR(p.covariance.xy, 0.0, 1e-9);
  // Out of reach: as it was.
  PlacedPoint far = Elongated(0.9);
  far.px.y = 400;
  SnapTo(edge, false, 12.0, far);
  EXPECT_EQ(far.px.y, 400);
  EXPECT_EQ(far.covariance.yy, 1.0);
}

}  // namespace
}  // namespace plumbfoot::find
