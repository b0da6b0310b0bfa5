// SPDX-License-Identifier: Apache-2.0
//
// The finder on rendered photos from a renderer that it was never trained on:
// mud, hands, tools and all. The truth is the renderer's; the bounds are those
// of "How good is good" in the design. Larger figures: tests/studies.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "find/pictures.h"
#include "plumbfoot/card/find_card.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/geometry/polygon.h"
#include "scenes/renderer.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoPolyline;
using geometry::PlaneMap;

struct Seen {
  scenes::Truth truth;
  PlaneMap map;
  std::optional<Finding> finding;
};

Seen LookAtScene(View view,
                 std::uint64_t seed,
                 const Finder& finder,
                 bool with_card = true) {
  geometry::Random random(seed);
  const scenes::SceneOptions options =
      scenes::RandomScene(view, static_cast<geometry::Foot>(seed % 4), random);
  const scenes::RenderedPhoto scene = scenes::Render(options, 1200, 900);
  geometry::PlaneEstimate plane;
  plane.camera = scene.truth.camera;
  plane.camera_from_card = scene.truth.camera_from_card;
  plane.scale = geometry::ScaleSource::kCard;
  photo::Photo photo;
  photo.rgb = scene.photo;
  const card::Layout layout = LCard();
  FindRequest request{view, photo, plane};
  if (with_card) {
    request.layout = &layout;
  } else {
    request.plane = card::PlaneWithoutScale(scene.photo.size(), {});
  }
  request.given.view = view;
  const auto found = FindPoints(request, finder);
  return {scene.truth,
          geometry::NominalMap(plane),
          found ? std::optional(*found) : std::nullopt};
}

double MissMm(const Seen& seen, PointId id) {
  return Distance(*seen.map.Apply(seen.finding->points.at(id)->px),
                  *seen.map.Apply(seen.truth.at(id)->px));
}

/// Counts what is called sure and lies more than 5 mm off.
void CountSure(const Seen& seen, int& sure, int& wrong) {
  for (const PointId id : geometry::PointsOf(seen.truth.view)) {
    const auto& point = seen.finding->points.at(id);
    const auto& truth = seen.truth.at(id);
    // Of the pastern only the line is used: tests/studies says how.
    if (id == PointId::kPasternUpper || id == PointId::kPasternLower) continue;
    if (!point || !truth || !truth->visible || !IsSure(*point)) continue;
    ++sure;
    if (MissMm(seen, id) > 5.0) ++wrong;
  }
}

double Overlap(const PhotoPolyline& a, const PhotoPolyline& b) {
  const double only_a = geometry::DifferenceArea(a, b);
  const double area_a = std::abs(geometry::SignedArea(a));
  const double area_b = std::abs(geometry::SignedArea(b));
  return (area_a - only_a) / (area_b + only_a);
}

/// The direction of the straight part of a wall in the plane [deg].
double WallAngle(const PlaneMap& map, const PhotoPolyline& wall) {
  std::vector<cv::Point2f> places;
  for (std::size_t i = wall.size() / 8; i < wall.size() * 5 / 8; ++i) {
    const CardPoint p = *map.Apply(wall[i]);
    places.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  }
  cv::Vec4f line;
  cv::fitLine(places, line, cv::DIST_HUBER, 0, 0.01, 0.01);
  return std::atan2(static_cast<double>(line[1]),
                    static_cast<double>(line[0])) *
         180 / std::numbers::pi;
}

double Mean(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double v : values) sum += v;
  return sum / static_cast<double>(values.size());
}

TEST(Scenes, SolesAreFoundOrTheFinderSaysThatItIsUnsure) {
  const Finder finder = NetworkFinder();
  std::vector<double> overlaps;
  std::vector<double> apexes;
  int sure = 0;
  int wrong = 0;
  for (std::uint64_t seed = 811; seed < 817; ++seed) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(View::kSolar, seed, finder);
    ASSERT_TRUE(seen.finding);
    const ViewPoints& points = seen.finding->points;
    if (points.outline) {
      overlaps.push_back(Overlap(points.outline->px, seen.truth.outline_px));
    }
    if (points.at(PointId::kFrogApex)) {
      apexes.push_back(MissMm(seen, PointId::kFrogApex));
    }
    CountSure(seen, sure, wrong);
  }
  ASSERT_GE(overlaps.size(), 5U);
  ASSERT_GE(apexes.size(), 5U);
  EXPECT_GE(Mean(overlaps), 0.97);
  EXPECT_LE(*std::max_element(apexes.begin(), apexes.end()), 3.0);
  EXPECT_GE(sure, 9);
  EXPECT_EQ(wrong, 0);
}

TEST(Scenes, SidesAreFoundOrTheFinderSaysThatItIsUnsure) {
  const Finder finder = NetworkFinder();
  std::vector<double> turned;
  int sure = 0;
  int wrong = 0;
  for (std::uint64_t seed = 911; seed < 917; ++seed) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(View::kLateral, seed, finder);
    if (!seen.finding) continue;
    CountSure(seen, sure, wrong);
    const auto& wall = seen.finding->points.dorsal_wall;
    if (!wall || !IsSure(*wall)) continue;
    turned.push_back(
        std::abs(std::remainder(WallAngle(seen.map, wall->px) -
                                    WallAngle(seen.map, seen.truth.dorsal_px),
                                180.0)));
  }
  ASSERT_GE(turned.size(), 3U);
  EXPECT_LE(Mean(turned), 0.5);
  EXPECT_GE(sure, 6);
  EXPECT_EQ(wrong, 0);
}

// The bar for pictures without a card: within 3 % of the hoof's width, or left
// open. The heels of the side view are those that face the camera there.
TEST(Scenes, WithoutACardMostPointsAreNearOrLeftOpen) {
  const Finder finder = NetworkFinder();
  int kept = 0;
  int near = 0;
  const auto count = [&](View view, std::uint64_t seed) {
    SCOPED_TRACE(seed);
    const Seen seen = LookAtScene(view, seed, finder, false);
    if (!seen.finding) return;
    const auto place = [&](PointId id) {
      const auto& truth = *seen.truth.at(id);
      return *seen.map.Apply(truth.px_near.value_or(truth.px));
    };
    double width = 0.0;
    if (view == View::kSolar) {
      const auto& outline = seen.truth.outline_px;
      const CardPoint a = place(PointId::kHeelLeft);
      const CardPoint b = place(PointId::kHeelRight);
      const geometry::CardVector across = (b - a) / Distance(a, b);
      double low = 0.0;
      double high = 0.0;
      for (const geometry::PhotoPoint p : outline) {
        const double at = Dot(*seen.map.Apply(p) - a, across);
        low = std::min(low, at);
        high = std::max(high, at);
      }
      width = high - low;
    } else {
      width = Distance(place(PointId::kToeGround), place(PointId::kHeelGround));
    }
    for (const PointId id : geometry::PointsOf(view)) {
      // Of the pastern only the line is used.
      if (id == PointId::kPasternUpper || id == PointId::kPasternLower) {
        continue;
      }
      const auto& point = seen.finding->points.at(id);
      const auto& truth = seen.truth.at(id);
      if (!point || !truth || !truth->visible) continue;
      EXPECT_FALSE(IsSure(*point));
      ++kept;
      const double off = Distance(*seen.map.Apply(point->px), place(id));
      if (off < 0.03 * width) ++near;
    }
  };
  for (std::uint64_t seed = 811; seed < 813; ++seed) count(View::kSolar, seed);
  for (std::uint64_t seed = 911; seed < 913; ++seed) {
    count(View::kLateral, seed);
  }
  RecordProperty("kept", kept);
  RecordProperty("near", near);
  // CHOSEN: a quarter may be further off: heels of bare soles come out too far
  // back (src/find/network/README.md), however often they are looked at.
  EXPECT_GE(kept, 8);
  EXPECT_GE(near, 0.75 * kept);
}

}  // namespace
}  // namespace plumbfoot::find
