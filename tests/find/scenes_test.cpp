// SPDX-License-Identifier: Apache-2.0
//
// The finder on rendered photos, whose truth is worked out by the renderer and
// not by what is tested here. Only loosely: it is the first, plain finder; what
// must hold is that what it says it is sure of is not far off.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "find/pictures.h"
#include "plumbfoot/find/finder.h"
#include "scenes/renderer.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneMap;

constexpr int kWidth = 800;
constexpr int kHeight = 600;

struct Seen {
  scenes::RenderedPhoto scene;
  PlaneMap map;
  std::optional<Finding> finding;
};

Seen LookAtScene(View view, geometry::Foot foot, std::uint64_t seed) {
  geometry::Random random(seed);
  scenes::SceneOptions options = scenes::RandomScene(view, foot, random);
  // Good light, a clean foot on plain ground: what a careful person takes.
  options.appearance.mud = 0.05;
  options.appearance.dust = 0.15;
  options.appearance.trimmed = 0.9;
  options.hair.fringe_mm = 3.5;
  options.hair.feather_mm = 0;
  options.hold = scenes::Hold::kNone;
  options.ground = scenes::Ground::kConcrete;
  options.clutter = 0;
  scenes::RenderedPhoto scene = scenes::Render(options, kWidth, kHeight);
  geometry::PlaneEstimate plane;
  plane.camera = scene.truth.camera;
  plane.camera_from_card = scene.truth.camera_from_card;
  plane.scale = geometry::ScaleSource::kCard;
  photo::Photo photo;
  photo.rgb = scene.photo;
  const card::Layout layout = LCard();
  FindRequest request{view, photo, plane};
  request.layout = &layout;
  request.given.view = view;
  const auto found = FindPoints(request, FindByImageProcessing);
  return {std::move(scene),
          geometry::NominalMap(plane),
          found ? std::optional(*found) : std::nullopt};
}

double MissMm(const Seen& seen, PointId id) {
  return Distance(*seen.map.Apply(seen.finding->points.at(id)->px),
                  *seen.map.Apply(seen.scene.truth.at(id)->px));
}

/// Intersection over union of two outlines.
double Overlap(const geometry::PhotoPolyline& a,
               const geometry::PhotoPolyline& b,
               cv::Size size) {
  const auto fill = [&](const geometry::PhotoPolyline& line) {
    cv::Mat mask(size, CV_8U, cv::Scalar(0));
    std::vector<cv::Point> corners;
    for (const PhotoPoint p : line) {
      corners.emplace_back(static_cast<int>(std::lround(p.x - 0.5)),
                           static_cast<int>(std::lround(p.y - 0.5)));
    }
    cv::fillPoly(
        mask, std::vector<std::vector<cv::Point>>{corners}, cv::Scalar(255));
    return mask;
  };
  const cv::Mat ma = fill(a);
  const cv::Mat mb = fill(b);
  const cv::Mat both = ma & mb;
  const cv::Mat either = ma | mb;
  return static_cast<double>(cv::countNonZero(both)) / cv::countNonZero(either);
}

/// The direction of the upper part of a wall in the plane [deg].
double WallAngle(const PlaneMap& map, const geometry::PhotoPolyline& wall) {
  std::vector<cv::Point2f> places;
  for (std::size_t i = wall.size() / 12; i < wall.size() * 2 / 3; ++i) {
    const CardPoint p = *map.Apply(wall[i]);
    places.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  }
  cv::Vec4f line;
  cv::fitLine(places, line, cv::DIST_HUBER, 0, 0.01, 0.01);
  const double angle = std::atan2(line[1], line[0]) * 180 / std::numbers::pi;
  return std::fmod(angle + 360, 180);
}

TEST(SceneFinder, FindsMostCleanSolesAndIsRarelyFarOff) {
  int found = 0;
  for (const std::uint64_t seed : {601U, 602U, 603U}) {
    SCOPED_TRACE(seed);
    const Seen seen =
        LookAtScene(View::kSolar, static_cast<geometry::Foot>(seed % 4), seed);
    if (!seen.finding || !seen.finding->points.outline) continue;
    ++found;
    EXPECT_GT(Overlap(seen.finding->points.outline->px,
                      seen.scene.truth.outline_px,
                      {kWidth, kHeight}),
              0.85);
    for (const PointId id : geometry::PointsOf(View::kSolar)) {
      if (!seen.finding->points.at(id)) continue;
      EXPECT_LT(MissMm(seen, id), 16) << geometry::PointName(id);
    }
  }
  EXPECT_GE(found, 2);
}

TEST(SceneFinder, FindsMostCleanToesAndIsRarelyFarOff) {
  int found = 0;
  for (const std::uint64_t seed : {701U, 702U, 703U}) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(
        View::kLateral, static_cast<geometry::Foot>(seed % 4), seed);
    if (!seen.finding) continue;
    if (seen.finding->points.at(PointId::kToeGround)) {
      ++found;
      // A shoe's toe stands behind where the wall's line meets the ground.
      EXPECT_LT(MissMm(seen, PointId::kToeGround), 13);
    }
    if (seen.finding->points.dorsal_wall) {
      EXPECT_NEAR(WallAngle(seen.map, seen.finding->points.dorsal_wall->px),
                  WallAngle(seen.map, seen.scene.truth.dorsal_px),
                  3.0);
    }
  }
  EXPECT_GE(found, 2);
}

}  // namespace
}  // namespace plumbfoot::find
