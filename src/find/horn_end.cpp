// SPDX-License-Identifier: Apache-2.0
#include "find/horn_end.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "find/edges.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

// CHOSEN: how far the contour's foot and the hairline's point may be off [mm].
constexpr double kFootBack = 1.0;
constexpr double kFootForward = 2.0;
constexpr double kTopReach = 9.0;
constexpr double kStepMm = 0.5;
constexpr double kRowMm = 0.3;
// CHOSEN: nearer to the contour the ground shows on one side [mm].
constexpr double kClearMm = 1.6;
// Where colours are compared, beside the line [mm].
constexpr std::array<double, 3> kBesideMm = {0.35, 0.7, 1.05};
// CHOSEN: less of a line than this says nothing [mm].
constexpr double kLeastMm = 7.5;
// CHOSEN: of camera noise and compression [grey levels^2].
constexpr double kNoise = 4.0;
// CHOSEN: on 80 rendered side views lines of a higher score were off by 1 mm at
// the hairline in the median, those of a lower one anywhere.
constexpr double kLeastScore = 5.0;
// CHOSEN: another line is one that ends elsewhere by this [mm], and as good as
// this part of the best.
constexpr double kApartMm = 3.0;
constexpr double kAsGood = 0.7;

struct Tried {
  HornEnd line;
  double top_mm = 0.0;
  double score = 0.0;
};

cv::Vec3d ColourAt(const cv::Mat& rgb, PhotoPoint p) {
  const int x = std::clamp(static_cast<int>(p.x), 0, rgb.cols - 1);
  const int y = std::clamp(static_cast<int>(p.y), 0, rgb.rows - 1);
  return rgb.at<cv::Vec3b>(y, x);
}

/// How much the two sides of a line differ alike all along it.
double Score(const cv::Mat& rgb,
             const PhotoPolyline& rear,
             const HornEnd& line,
             PhotoVector forward,
             double length_mm,
             double px_per_mm) {
  PhotoVector aside = Perpendicular(line.up);
  if (Dot(aside, forward) < 0) aside = -1.0 * aside;
  cv::Vec3d sum;
  cv::Vec3d squares;
  int n = 0;
  for (double r = 0.0; r <= length_mm; r += kRowMm) {
    const PhotoPoint on = line.at + (r * px_per_mm) * line.up;
    if (NearestOn(rear, false, on).distance_px < kClearMm * px_per_mm) {
      continue;
    }
    cv::Vec3d difference;
    for (const double mm : kBesideMm) {
      difference += ColourAt(rgb, on + (mm * px_per_mm) * aside);
      difference -= ColourAt(rgb, on - (mm * px_per_mm) * aside);
    }
    difference *= 1.0 / static_cast<double>(kBesideMm.size());
    sum += difference;
    squares += difference.mul(difference);
    ++n;
  }
  if (n * kRowMm < kLeastMm) return 0.0;
  double score = 0.0;
  for (int k = 0; k < 3; ++k) {
    const double mean = sum[k] / n;
    const double variance = std::max(0.0, squares[k] / n - mean * mean);
    score += mean * mean / (variance + kNoise);
  }
  return score * std::sqrt(std::min(1.0, n * kRowMm / length_mm));
}

}  // namespace

std::optional<HornEnd> FindHornEnd(const cv::Mat& rgb,
                                   const PhotoPolyline& rear,
                                   PhotoPoint hairline,
                                   PhotoVector forward,
                                   double px_per_mm) {
  if (rear.size() < 3 || !(px_per_mm > 0)) return std::nullopt;
  const PhotoPoint foot = rear.front();
  const double length_mm = Distance(foot, rear.back()) / px_per_mm;
  if (!(length_mm > kLeastMm) || !(Distance(foot, hairline) > 0)) {
    return std::nullopt;
  }
  const PhotoVector up = (hairline - foot) / Distance(foot, hairline);
  PhotoVector across = Perpendicular(up);
  if (Dot(across, forward) < 0) across = -1.0 * across;
  std::vector<Tried> all;
  for (double low = -kFootBack; low <= kFootForward; low += kStepMm) {
    for (double top = -kTopReach; top <= kTopReach; top += kStepMm) {
      Tried tried;
      tried.top_mm = top;
      tried.line.at = foot + (low * px_per_mm) * across;
      const PhotoVector way =
          hairline + (top * px_per_mm) * across - tried.line.at;
      tried.line.up = way / Norm(way);
      tried.score = Score(rgb, rear, tried.line, forward, length_mm, px_per_mm);
      all.push_back(tried);
    }
  }
  const auto best = std::max_element(
      all.begin(), all.end(), [](const Tried& a, const Tried& b) {
        return a.score < b.score;
      });
  if (best->score < kLeastScore) return std::nullopt;
  const bool another = std::any_of(all.begin(), all.end(), [&](const Tried& t) {
    return t.score > kAsGood * best->score &&
           std::abs(t.top_mm - best->top_mm) > kApartMm;
  });
  if (another) return std::nullopt;
  return best->line;
}

}  // namespace plumbfoot::find
