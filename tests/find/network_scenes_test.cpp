// SPDX-License-Identifier: Apache-2.0
//
// The trained finder on rendered photos from a renderer that it was never
// trained on: mud, hands, tools and all. The truth is the renderer's.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "find/pictures.h"
#include "plumbfoot/find/finder.h"
#include "scenes/renderer.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PlaneMap;

constexpr int kWidth = 800;
constexpr int kHeight = 600;

struct Seen {
  scenes::RenderedPhoto scene;
  PlaneMap map;
  std::optional<Finding> finding;
};

Seen LookAtScene(View view, std::uint64_t seed, const Finder& finder) {
  geometry::Random random(seed);
  const scenes::SceneOptions options =
      scenes::RandomScene(view, static_cast<geometry::Foot>(seed % 4), random);
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
  const auto found = FindPoints(request, finder);
  return {std::move(scene),
          geometry::NominalMap(plane),
          found ? std::optional(*found) : std::nullopt};
}

double MissMm(const Seen& seen, PointId id) {
  return Distance(*seen.map.Apply(seen.finding->points.at(id)->px),
                  *seen.map.Apply(seen.scene.truth.at(id)->px));
}

double Median(std::vector<double> values) {
  std::nth_element(
      values.begin(),
      values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2),
      values.end());
  return values[values.size() / 2];
}

double Overlap(const geometry::PhotoPolyline& a,
               const geometry::PhotoPolyline& b) {
  const auto fill = [](const geometry::PhotoPolyline& line) {
    cv::Mat mask(kHeight, kWidth, CV_8U, cv::Scalar(0));
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
  return static_cast<double>(cv::countNonZero(ma & mb)) /
         cv::countNonZero(ma | mb);
}

TEST(NetworkScenes, FindsSolesAmongHandsAndMud) {
  const Finder finder = NetworkFinder();
  std::vector<double> overlaps;
  std::vector<double> apexes;
  std::vector<double> toes;
  for (std::uint64_t seed = 811; seed < 817; ++seed) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(View::kSolar, seed, finder);
    ASSERT_TRUE(seen.finding);
    const ViewPoints& points = seen.finding->points;
    if (points.outline) {
      overlaps.push_back(
          Overlap(points.outline->px, seen.scene.truth.outline_px));
    }
    if (points.at(PointId::kFrogApex)) {
      apexes.push_back(MissMm(seen, PointId::kFrogApex));
    }
    if (points.at(PointId::kToe)) toes.push_back(MissMm(seen, PointId::kToe));
  }
  ASSERT_GE(overlaps.size(), 5U);
  ASSERT_GE(apexes.size(), 5U);
  ASSERT_GE(toes.size(), 4U);
  EXPECT_GT(Median(overlaps), 0.96);
  EXPECT_LT(Median(apexes), 2.5);
  EXPECT_LT(Median(toes), 4.0);
}

TEST(NetworkScenes, FindsToesFromTheSide) {
  const Finder finder = NetworkFinder();
  std::vector<double> toes;
  for (std::uint64_t seed = 911; seed < 917; ++seed) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(View::kLateral, seed, finder);
    if (!seen.finding) continue;
    if (!seen.finding->points.at(PointId::kToeGround)) continue;
    toes.push_back(MissMm(seen, PointId::kToeGround));
  }
  ASSERT_GE(toes.size(), 4U);
  EXPECT_LT(Median(toes), 4.0);
}

}  // namespace
}  // namespace plumbfoot::find
