// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "find/refine.h"
#include "plumbfoot/geometry/camera.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::CardVector;
using geometry::PhotoPolyline;

constexpr double kDegree = std::numbers::pi / 180;
constexpr double kToeAngle = 52 * kDegree;
constexpr double kHeight = 80.0;
// The round of a toe, upright in the plane's frame (x back, y up, z to the
// camera), its front line in the plane z = 0: ellipses of one length that grow
// narrower upwards. At its end an ellipse is as round as a circle of b^2 / a.
constexpr double kLong = 70.0;
constexpr double kGroundWide = 66.0;
constexpr double kTopWide = 0.8 * kGroundWide;
constexpr double kGroundRadius = kGroundWide * kGroundWide / kLong;

/// The front line leans back with the toe's angle.
double FrontAt(double y) {
  return y / std::tan(kToeAngle);
}
double WideAt(double y) {
  return kGroundWide + (kTopWide - kGroundWide) * y / kHeight;
}

geometry::PlaneMap LookedAtFrom(double turn) {
  geometry::Camera camera;
  camera.focal_px = 3000;
  camera.principal = {2000, 1500};
  // 600 mm from the toe, turned about the upright.
  const Eigen::Vector3d eye(600 * std::sin(turn), 40, 600 * std::cos(turn));
  const Eigen::Vector3d forward =
      (Eigen::Vector3d(20, 40, 0) - eye).normalized();
  const Eigen::Vector3d right =
      forward.cross(Eigen::Vector3d(0, 1, 0)).normalized();
  geometry::Pose pose;
  pose.rotation.row(0) = right;
  pose.rotation.row(1) = forward.cross(right);
  pose.rotation.row(2) = forward;
  pose.translation = -pose.rotation * eye;
  return {camera, pose};
}

/// The foremost place that this camera sees at each of 20 heights of its own
/// picture, by trying all the toe.
PhotoPolyline RimOf(const geometry::PlaneMap& map) {
  PhotoPolyline rim;
  for (int i = 0; i <= 20; ++i) {
    const double y = kHeight * (1 - i / 20.0);
    // Along the upright of the plane at which the rim is looked for.
    double best = 1e9;
    for (double h = y - 12; h <= y + 12; h += 0.04) {
      for (double round = -60; round <= 60; round += 0.5) {
        const Eigen::Vector3d at(
            FrontAt(h) + kLong * (1 - std::cos(round * kDegree)),
            h,
            WideAt(h) * std::sin(round * kDegree));
        const auto on = map.Apply(
            geometry::Project(map.camera(),
                              map.camera_from_plane().rotation * at +
                                  map.camera_from_plane().translation));
        if (on && std::abs(on->y - y) < 0.05) best = std::min(best, on->x);
      }
    }
    rim.push_back(map.Inverse({best, y}));
  }
  return rim;
}

/// How far the places stand before the front line, square to it [mm], and how
/// much they are turned against it [degrees].
struct Off {
  double mm = 0.0;
  double degrees = 0.0;
};
Off OffTheFront(const geometry::PlaneMap& map, const PhotoPolyline& wall) {
  const auto before = [&](const geometry::PhotoPoint p) {
    const CardPoint at = *map.Apply(p);
    return (FrontAt(at.y) - at.x) * std::sin(kToeAngle);
  };
  const double length = kHeight / std::sin(kToeAngle);
  return {before(wall[wall.size() / 2]),
          std::atan((before(wall.back()) - before(wall.front())) / length) /
              kDegree};
}

TEST(WallToMiddle, TakesTheRimOfARoundToeToItsMiddle) {
  for (const double turn : {-18.0, -10.0, 0.0, 12.0}) {
    SCOPED_TRACE(turn);
    const auto map = LookedAtFrom(turn * kDegree);
    const PhotoPolyline rim = RimOf(map);
    const Off seen = OffTheFront(map, rim);
    const Off middle =
        OffTheFront(map, WallToMiddle(map, rim, kGroundRadius, {100, 0}));
    EXPECT_NEAR(middle.mm, 0.0, 0.1 + 0.1 * seen.mm);
    EXPECT_NEAR(middle.degrees, 0.0, 0.05);
    // What there was to mend.
    if (std::abs(turn) >= 10) {
      EXPECT_GT(seen.mm, 0.5);
      EXPECT_GT(seen.degrees, 0.06);
    }
  }
}

TEST(WallToMiddle, LeavesWhatTellsNothing) {
  const auto map = LookedAtFrom(0.2);
  const PhotoPolyline flat = {map.Inverse({0, 0}), map.Inverse({100, 0})};
  EXPECT_EQ(WallToMiddle(map, flat, 60, {100, 0})[0].x, flat[0].x);
  const PhotoPolyline none = {map.Inverse({0, 50}), map.Inverse({0, 50})};
  EXPECT_EQ(WallToMiddle(map, none, 60, {100, 0})[1].y, none[1].y);
}

}  // namespace
}  // namespace plumbfoot::find
