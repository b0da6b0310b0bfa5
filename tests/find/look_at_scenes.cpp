// SPDX-License-Identifier: Apache-2.0
//
// How well a finder does on rendered photos: the figures of the network's page.
//
//   look_at_scenes --scenes 20 --seed 9900 [--by-image]
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <exception>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "find/pictures.h"
#include "plumbfoot/find/finder.h"
#include "scenes/renderer.h"

namespace {

using namespace plumbfoot;
using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneMap;

constexpr int kWidth = 1200;
constexpr int kHeight = 900;
constexpr double kSure = 0.9;
constexpr double kFarMm = 5.0;

struct Tally {
  std::vector<double> seen;    ///< Errors of points that can be seen [mm].
  std::vector<double> hidden;  ///< And of those that are covered.
  int left_open = 0;
  int sure = 0;
  int sure_but_far = 0;
};

double Quantile(std::vector<double> v, double share) {
  if (v.empty()) return std::nan("");
  std::sort(v.begin(), v.end());
  const auto at = std::lround(share * static_cast<double>(v.size() - 1));
  return v[static_cast<std::size_t>(at)];
}

cv::Mat Filled(const geometry::PhotoPolyline& line) {
  cv::Mat mask(kHeight, kWidth, CV_8U, cv::Scalar(0));
  std::vector<cv::Point> corners;
  for (const PhotoPoint p : line) {
    corners.emplace_back(static_cast<int>(std::lround(p.x - 0.5)),
                         static_cast<int>(std::lround(p.y - 0.5)));
  }
  cv::fillPoly(
      mask, std::vector<std::vector<cv::Point>>{corners}, cv::Scalar(255));
  return mask;
}

/// The direction of the middle part of a wall in the plane [deg].
double WallAngle(const PlaneMap& map, const geometry::PhotoPolyline& wall) {
  std::vector<cv::Point2f> places;
  for (std::size_t i = wall.size() / 12; i < wall.size() * 2 / 3; ++i) {
    const CardPoint p = *map.Apply(wall[i]);
    places.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
  }
  cv::Vec4f line;
  cv::fitLine(places, line, cv::DIST_HUBER, 0, 0.01, 0.01);
  return std::atan2(static_cast<double>(line[1]),
                    static_cast<double>(line[0])) *
         180 / std::numbers::pi;
}

int Run(int argc, char** argv) {
  CLI::App app("Errors of the finder on rendered photos.");
  std::uint64_t scenes = 20;
  std::uint64_t first = 9900;
  bool by_image = false;
  app.add_option("--scenes", scenes, "Of each view");
  app.add_option("--seed", first, "Of the first");
  app.add_flag("--by-image", by_image, "By image processing alone");
  CLI11_PARSE(app, argc, argv);

  const find::Finder finder = by_image
                                  ? find::Finder(find::FindByImageProcessing)
                                  : find::NetworkFinder();
  std::array<Tally, geometry::kPointCount> tallies;
  std::vector<double> overlaps, angles, seconds;
  int refused = 0;
  for (const View view : {View::kSolar, View::kLateral}) {
    for (std::uint64_t i = 0; i < scenes; ++i) {
      geometry::Random random(first + i + (view == View::kLateral ? 1000 : 0));
      const auto scene = scenes::Render(
          scenes::RandomScene(view, static_cast<Foot>(i % 4), random),
          kWidth,
          kHeight);
      geometry::PlaneEstimate plane;
      plane.camera = scene.truth.camera;
      plane.camera_from_card = scene.truth.camera_from_card;
      plane.scale = geometry::ScaleSource::kCard;
      photo::Photo photo;
      photo.rgb = scene.photo;
      const card::Layout layout = find::LCard();
      find::FindRequest request{view, photo, plane};
      request.layout = &layout;
      request.given.view = view;
      const auto begin = std::chrono::steady_clock::now();
      const auto finding = find::FindPoints(request, finder);
      seconds.push_back(std::chrono::duration<double>(
                            std::chrono::steady_clock::now() - begin)
                            .count());
      if (!finding) {
        ++refused;
        continue;
      }
      const ViewPoints& points = finding->points;
      const PlaneMap map = geometry::NominalMap(plane);
      for (const PointId id : geometry::PointsOf(view)) {
        Tally& tally = tallies[static_cast<std::size_t>(id)];
        const auto& truth = *scene.truth.at(id);
        const auto& found = points.at(id);
        if (!found) {
          if (truth.visible) ++tally.left_open;
          continue;
        }
        const double miss =
            Distance(*map.Apply(found->px), *map.Apply(truth.px));
        (truth.visible ? tally.seen : tally.hidden).push_back(miss);
        if (found->confidence < kSure) continue;
        ++tally.sure;
        if (miss > kFarMm) ++tally.sure_but_far;
      }
      if (points.outline) {
        const cv::Mat a = Filled(points.outline->px);
        const cv::Mat b = Filled(scene.truth.outline_px);
        overlaps.push_back(static_cast<double>(cv::countNonZero(a & b)) /
                           cv::countNonZero(a | b));
      }
      if (points.dorsal_wall) {
        const double off = WallAngle(map, points.dorsal_wall->px) -
                           WallAngle(map, scene.truth.dorsal_px);
        angles.push_back(std::abs(std::remainder(off, 180.0)));
      }
    }
  }
  fmt::print("{:14s} {:>5s} {:>5s} {:>7s} {:>7s} {:>6s} {:>12s} {:>14s}\n",
             "point",
             "seen",
             "open",
             "median",
             "p95",
             ">5 mm",
             "sure, >5 mm",
             "hidden, median");
  for (std::size_t k = 0; k < tallies.size(); ++k) {
    const Tally& t = tallies[k];
    fmt::print(
        "{:14s} {:5d} {:5d} {:7.2f} {:7.2f} {:6d} {:6d} {:5d} {:6d} {:7.2f}\n",
        geometry::PointName(static_cast<PointId>(k)),
        t.seen.size(),
        t.left_open,
        Quantile(t.seen, 0.5),
        Quantile(t.seen, 0.95),
        std::count_if(
            t.seen.begin(), t.seen.end(), [](double e) { return e > kFarMm; }),
        t.sure,
        t.sure_but_far,
        t.hidden.size(),
        Quantile(t.hidden, 0.5));
  }
  double sum = 0;
  for (const double a : angles) sum += a;
  fmt::print(
      "outline: {} found, overlap median {:.3f}, 5th percentile {:.3f}\n"
      "toe angle from the wall: {} found, mean error {:.2f} degrees, 95th "
      "percentile {:.2f}\n"
      "refused {} of {}; {:.2f} s a photo in the median\n",
      overlaps.size(),
      Quantile(overlaps, 0.5),
      Quantile(overlaps, 0.05),
      angles.size(),
      sum / static_cast<double>(std::max<std::size_t>(1, angles.size())),
      Quantile(angles, 0.95),
      refused,
      2 * scenes,
      Quantile(seconds, 0.5));
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return Run(argc, argv);
  } catch (const std::exception& e) {
    std::fputs(e.what(), stderr);
    return 70;
  }
}
