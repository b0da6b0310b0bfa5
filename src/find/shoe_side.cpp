// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/shoe_side.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <stdexcept>
#include <utility>

#include "find/edges.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

/// CHOSEN: how far below and above a level shoe's ground edge is looked [mm]:
/// a heel may stand off the ground, and above it comes the shoe.
constexpr double kBelow = 4.0;
constexpr double kHighest = 10.0;
constexpr double kAbove = 28.0;
constexpr double kStep = 0.2;
/// CHOSEN: shoes from a racing plate to a draught horse's [mm].
constexpr double kThinnest = 5.0;
constexpr double kThickest = 16.0;
constexpr double kThicknessStep = 0.2;
/// CHOSEN: from one place to the next, a millimetre on, an edge climbs by no
/// more than this many steps.
constexpr int kJump = 2;
/// CHOSEN: a band as good as nine tenths of the best that lies elsewhere makes
/// the best one doubtful.
constexpr double kRival = 0.90;
constexpr double kRivalAway = 1.6;  // [mm]
/// CHOSEN: less of an edge than this is none.
constexpr double kLeastSeen = 0.75;

int Steps(double mm) {
  return static_cast<int>(std::lround(mm / kStep));
}

/// Light across the level line: a row for each corner, upwards in columns.
struct Strip {
  cv::Mat gain;  ///< CV_32F: is there an edge [0..1]?
  int zero = 0;  ///< The column of the level line itself.
};

Strip StripOf(const ShoeSideRequest& request) {
  const auto n = static_cast<int>(request.level.size());
  const int below = Steps(kBelow);
  const int m = below + Steps(kAbove) + 1;
  cv::Mat map_x(n, m, CV_32F);
  cv::Mat map_y(n, m, CV_32F);
  for (int i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    for (int j = 0; j < m; ++j) {
      const PhotoPoint p =
          request.level[k] + ((j - below) * kStep) * request.up[k];
      // OpenCV counts from the pixel's centre.
      map_x.at<float>(i, j) = static_cast<float>(p.x - 0.5);
      map_y.at<float>(i, j) = static_cast<float>(p.y - 0.5);
    }
  }
  cv::Mat strip;
  cv::remap(
      request.rgb, strip, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  cv::Mat light;
  strip.convertTo(light, CV_32FC3, 1.0 / 255);
  const double px_per_mm = geometry::Norm(request.up[request.up.size() / 2]);
  // CHOSEN: a photo's blur is about a pixel; along the edge two millimetres
  // are taken together.
  const double across = std::max(0.3, 1.2 / px_per_mm) / kStep;
  cv::Mat soft;
  cv::GaussianBlur(light, soft, {0, 0}, across, 2.0, cv::BORDER_REPLICATE);
  Strip out;
  out.zero = below;
  cv::Mat strength(n, m, CV_32F, cv::Scalar(0));
  std::vector<float> all;
  for (int i = 0; i < n; ++i) {
    const auto* s = soft.ptr<cv::Vec3f>(i);
    auto* e = strength.ptr<float>(i);
    for (int j = 1; j + 1 < m; ++j) {
      e[j] = static_cast<float>(cv::norm(s[j + 1] - s[j - 1]));
      if (j % 3 == 0) all.push_back(e[j]);
    }
  }
  const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
  std::nth_element(all.begin(), middle, all.end());
  const float noise = std::max(*middle, 1e-4F);
  out.gain = cv::Mat(n, m, CV_32F, cv::Scalar(0));
  for (int i = 0; i < n; ++i) {
    const auto* e = strength.ptr<float>(i);
    auto* g = out.gain.ptr<float>(i);
    // The strongest must not drown the others: the gain saturates.
    const float peak = *std::max_element(e, e + m);
    const float knee = std::max(peak / 3, 2 * noise);
    for (int j = 0; j < m; ++j) g[j] = e[j] / (e[j] + knee);
  }
  return out;
}

/// One way along the strip for the lower edge, and what it gains.
struct Way {
  std::vector<int> column;
  double gain = -std::numeric_limits<double>::infinity();
  int thick = 0;
};

/// How unlikely a ground edge is there before anything is seen.
double Unlikely(int n, int i, double height) {
  // CHOSEN: the points on the ground are good to two millimetres; behind the
  // middle a branch may rise.
  constexpr double kSigma = 2.0;
  constexpr double kRises = 6.0;
  const double part = static_cast<double>(i) / n;
  const double up = part > 0.5 ? kSigma + kRises * (part - 0.5) / 0.5 : kSigma;
  const double u = height / (height > 0 ? up : kSigma);
  return 0.05 * u * u;
}

Way BestWay(const Strip& strip, int thick, const Way* forbidden) {
  const int n = strip.gain.rows;
  const int m = strip.zero + Steps(kHighest) + 1;
  const int away = Steps(kRivalAway);
  cv::Mat from(n, m, CV_8S, cv::Scalar(0));
  std::vector<double> score(static_cast<std::size_t>(m), 0.0);
  std::vector<double> next(score.size());
  for (int i = 0; i < n; ++i) {
    const auto* g = strip.gain.ptr<float>(i);
    for (int j = 0; j < m; ++j) {
      double best = -std::numeric_limits<double>::infinity();
      int step = 0;
      for (int d = -kJump; d <= kJump; ++d) {
        const int q = j + d;
        if (q < 0 || q >= m) continue;
        const double s = score[static_cast<std::size_t>(q)] - 0.15 * d * d;
        if (s > best) {
          best = s;
          step = d;
        }
      }
      const auto low = static_cast<double>(g[j]);
      const double high = static_cast<double>(g[j + thick]);
      // Both, or it is no band.
      double gain = std::min(low, high) + 0.25 * std::max(low, high);
      gain -= Unlikely(n, i, (j - strip.zero) * kStep);
      if (forbidden != nullptr &&
          std::abs(j - forbidden->column[static_cast<std::size_t>(i)]) < away) {
        gain -= 0.5;
      }
      next[static_cast<std::size_t>(j)] = best + gain;
      from.at<signed char>(i, j) = static_cast<signed char>(step);
    }
    std::swap(score, next);
  }
  Way way;
  way.thick = thick;
  way.column.resize(static_cast<std::size_t>(n));
  auto j = static_cast<int>(std::max_element(score.begin(), score.end()) -
                            score.begin());
  way.gain = score[static_cast<std::size_t>(j)] / n;
  for (int i = n - 1; i >= 0; --i) {
    way.column[static_cast<std::size_t>(i)] = j;
    j += from.at<signed char>(i, j);
  }
  return way;
}

Way BestOfAll(const Strip& strip, const Way* forbidden) {
  Way best;
  for (double t = kThinnest; t <= kThickest; t += kThicknessStep) {
    Way way = BestWay(strip, Steps(t), forbidden);
    if (way.gain > best.gain) best = std::move(way);
  }
  return best;
}

PhotoPolyline InPhoto(const ShoeSideRequest& request,
                      const Strip& strip,
                      const Way& way,
                      int more) {
  PhotoPolyline line;
  for (std::size_t i = 0; i < way.column.size(); ++i) {
    const double mm = (way.column[i] + more - strip.zero) * kStep;
    line.push_back(request.level[i] + mm * request.up[i]);
  }
  return line;
}

std::optional<geometry::PlacedCurve> Followed(const ShoeSideRequest& request,
                                              const PhotoPolyline& coarse) {
  const double px_per_mm = geometry::Norm(request.up[request.up.size() / 2]);
  EdgeOptions options;
  // CHOSEN: the way is good to half a millimetre.
  options.reach_px = std::max(3.0, 1.0 * px_per_mm);
  options.coarse_sigma_px = std::max(1.5, 0.5 * px_per_mm);
  options.smooth_px = 4.0 * px_per_mm;
  const auto edge = FollowEdge(request.rgb, coarse, options);
  if (!edge || edge->seen < kLeastSeen) return std::nullopt;
  geometry::PlacedCurve curve;
  curve.px = edge->px;
  curve.sigma_px = edge->sigma_px;
  curve.correlation_px = edge->correlation_px;
  curve.placed_by = geometry::PlacedBy::kFinder;
  curve.confidence = edge->seen;
  return curve;
}

Refusal NotSeen(const char* why) {
  return {RefusalCode::kNoFoot,
          why,
          "Photograph the clean shoe on clean, hard ground that is lighter or "
          "darker than it, from as low as the shoe; or place its ground edge "
          "by hand (shoe_ground in the points file)."};
}

}  // namespace

Result<ShoeSide> FindShoeSide(const ShoeSideRequest& request) {
  if (request.rgb.type() != CV_8UC3 || request.rgb.empty()) {
    throw std::invalid_argument("FindShoeSide: rgb is not CV_8UC3");
  }
  if (request.level.size() < 20 || request.up.size() != request.level.size()) {
    throw std::invalid_argument("FindShoeSide: too few corners");
  }
  const Strip strip = StripOf(request);
  const Way best = BestOfAll(strip, nullptr);
  const Way rival = BestOfAll(strip, &best);
  if (rival.gain > kRival * best.gain) {
    return NotSeen(
        "Another pair of lines in the photo looks as much like the shoe's "
        "side.");
  }
  auto ground = Followed(request, InPhoto(request, strip, best, 0));
  auto foot = Followed(request, InPhoto(request, strip, best, best.thick));
  if (!ground) {
    return NotSeen("The shoe's ground edge can't be made out.");
  }
  return ShoeSide{std::move(*ground), std::move(foot)};
}

}  // namespace plumbfoot::find
