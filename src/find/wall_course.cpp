// SPDX-License-Identifier: Apache-2.0
#include "find/wall_course.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

// CHOSEN: how far in and out of the coarse wall's straight line edges are
// looked for; flares stand off it to the front [mm].
constexpr double kInMm = 5.0;
constexpr double kOutMm = 8.0;
constexpr double kStepMm = 0.2;
constexpr double kPerMm = 1 / kStepMm;
// What does not run along the wall for so long is washed out [mm]. CHOSEN: of
// 2, 3 and 4.5 mm this was best on 96 rendered side views, by little.
constexpr double kAlongMm = 3.0;
constexpr double kRowMm = 0.8;
constexpr int kMostRows = 1200;
// CHOSEN: fainter edges are compression and noise [grey levels / px], or what
// is usual between pebbles.
constexpr double kFaintest = 0.8;
constexpr double kOverUsual = 1.5;
// CHOSEN: a phone's sharpening leaves less than this beside an edge, so near.
constexpr float kHalo = 0.3F;
constexpr double kHaloPx = 4.0;
// CHOSEN: a wall is as smooth as its line to this [mm].
constexpr double kMissMm = 0.25;
// Below the coronet's hair, and above the ground.
constexpr double kFrom = 0.10;
constexpr double kTo = 0.97;
// Where a line's offsets are given.
constexpr double kHigh = 0.15;
constexpr double kLow = 0.65;
// CHOSEN: a finder's wall is good to half a cell, about a millimetre, and where
// it is wrong, wrong by any amount; it says a quarter of what edges do.
constexpr double kReachMm = 3.0;
constexpr double kCoarseSigmaMm = 1.0;
constexpr double kCoarseWeight = 0.25;
// CHOSEN: most walls are straight; dishes and flares of millimetres are usual.
constexpr double kMostDish = -2.5;
constexpr double kMostFlare = 7.0;
constexpr double kBendStep = 0.5;
constexpr double kBendSigmaMm = 4.0;
constexpr double kBendWeight = 0.04;
constexpr std::array<double, 2> kBendsFrom = {0.35, 0.6};
// CHOSEN: part of the best line's score that one further out must have, and by
// how much it is another [mm].
constexpr double kNearlyAs = 0.85;
constexpr double kApartMm = 0.5;
// CHOSEN: with these, of 170 rendered walls the three whose departure was sure
// and more than 2 mm off are open.
constexpr double kNearlyAsGood = 0.96;
constexpr double kElsewhereMm = 1.5;
constexpr double kOffCoarseMm = 1.2;
constexpr double kLowerFrom = 0.7;
constexpr double kLowerTo = 0.95;
constexpr double kLeastLengthPx = 10.0;

/// A straight line through most of a wall's upper part, and how far the wall
/// stands out of it [px].
struct Base {
  PhotoPoint at;             ///< Where the wall begins.
  PhotoVector along;         ///< From there to where it ends.
  PhotoVector out;           ///< Unit.
  std::vector<double> part;  ///< Of each corner of the wall [0..1].
  std::vector<double> off;   ///< Likewise [px].
};

Base BaseOf(const PhotoPolyline& wall, PhotoVector outwards, double px_per_mm) {
  Base base;
  base.at = wall.front();
  base.along = wall.back() - wall.front();
  base.out = Perpendicular(base.along) / Norm(base.along);
  if (Dot(base.out, outwards) < 0) base.out = -1.0 * base.out;
  Eigen::Vector2d line = Eigen::Vector2d::Zero();
  for (int round = 0; round < 6; ++round) {
    Eigen::Matrix2d normal = 1e-9 * Eigen::Matrix2d::Identity();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    for (const PhotoPoint p : wall) {
      const double t =
          Dot(p - base.at, base.along) / Dot(base.along, base.along);
      if (t < 0.08 || t > 0.75) continue;
      const double off = Dot(p - base.at, base.out);
      const double miss = (off - line(0) - line(1) * t) / px_per_mm;
      // Cauchy's weights; the first line is everyone's.
      const double weight = round == 0 ? 1.0 : 1.0 / (1.0 + miss * miss);
      const Eigen::Vector2d row(1.0, t);
      normal += weight * row * row.transpose();
      right += weight * off * row;
    }
    line = normal.ldlt().solve(right);
  }
  base.at = base.at + line(0) * base.out;
  base.along = base.along + line(1) * base.out;
  base.out = Perpendicular(base.along) / Norm(base.along);
  if (Dot(base.out, outwards) < 0) base.out = -1.0 * base.out;
  for (const PhotoPoint p : wall) {
    base.part.push_back(Dot(p - base.at, base.along) /
                        Dot(base.along, base.along));
    base.off.push_back(Dot(p - base.at, base.out));
  }
  return base;
}

/// How much each place says for a wall through it: rows down the wall, columns
/// outwards. The tops of edges only, and none that is a stronger one's
/// overshoot.
cv::Mat EdgesAlong(const cv::Mat& rgb, const Base& base, double px_per_mm) {
  const double length_px = Norm(base.along);
  const int rows =
      std::max(24, static_cast<int>(length_px / px_per_mm / kRowMm));
  const double fine_px = std::max(0.5, 0.5 * kStepMm * px_per_mm);
  const int fine_rows =
      std::clamp(static_cast<int>(length_px / fine_px), rows, kMostRows);
  const int fine_cols =
      static_cast<int>((kInMm + kOutMm) * px_per_mm / fine_px) + 1;
  cv::Mat map_x(fine_rows, fine_cols, CV_32F);
  cv::Mat map_y(fine_rows, fine_cols, CV_32F);
  for (int i = 0; i < fine_rows; ++i) {
    const PhotoPoint on = base.at + ((i + 0.5) / fine_rows) * base.along;
    for (int j = 0; j < fine_cols; ++j) {
      const PhotoPoint p = on + (j * fine_px - kInMm * px_per_mm) * base.out;
      // OpenCV's (0, 0) is the first pixel's centre.
      map_x.at<float>(i, j) = static_cast<float>(p.x - 0.5);
      map_y.at<float>(i, j) = static_cast<float>(p.y - 0.5);
    }
  }
  cv::Mat strip;
  cv::remap(rgb, strip, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  // In grey levels, not in linear light: noise is as strong in dark horn as in
  // a bright background.
  cv::Mat soft;
  strip.convertTo(soft, CV_32FC3);
  const double across_px = std::max(1.2, 0.25 * px_per_mm);
  cv::GaussianBlur(soft,
                   soft,
                   {0, 0},
                   across_px / fine_px,
                   kAlongMm * px_per_mm / (length_px / fine_rows),
                   cv::BORDER_REPLICATE);
  cv::Mat strength(fine_rows, fine_cols, CV_32F, cv::Scalar(0));
  std::vector<float> all;
  for (int i = 0; i < fine_rows; ++i) {
    const auto* s = soft.ptr<cv::Vec3f>(i);
    auto* e = strength.ptr<float>(i);
    for (int j = 1; j + 1 < fine_cols; ++j) {
      e[j] = static_cast<float>(cv::norm(s[j + 1] - s[j - 1]) / (2 * fine_px));
      if (j % 4 == 0) all.push_back(e[j]);
    }
  }
  const auto middle = all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2);
  std::nth_element(all.begin(), middle, all.end());
  const double knee =
      std::max(kFaintest, kOverUsual * static_cast<double>(*middle));

  const int cols = static_cast<int>((kInMm + kOutMm) / kStepMm) + 1;
  cv::Mat says(rows, cols, CV_32F, cv::Scalar(0));
  const int halo = static_cast<int>(std::lround(kHaloPx / fine_px));
  for (int i = 0; i < rows; ++i) {
    const auto* e =
        strength.ptr<float>(static_cast<int>((i + 0.5) * fine_rows / rows));
    auto* row = says.ptr<float>(i);
    for (int j = 1; j + 1 < fine_cols; ++j) {
      if (e[j] < e[j - 1] || e[j] < e[j + 1]) continue;
      const auto* strongest = std::max_element(
          e + std::max(0, j - halo), e + std::min(fine_cols, j + halo + 1));
      if (e[j] < kHalo * *strongest) continue;
      const double u = std::pow(static_cast<double>(e[j]) / knee, 2);
      const double at = j * fine_px / px_per_mm / kStepMm;
      const int from = std::max(0, static_cast<int>(at) - 2);
      const int to = std::min(cols - 1, static_cast<int>(at) + 3);
      for (int c = from; c <= to; ++c) {
        const double miss = (c - at) * kStepMm / kMissMm;
        row[c] = std::max(
            row[c],
            static_cast<float>(u / (1 + u) * std::exp(-0.5 * miss * miss)));
      }
    }
  }
  return says;
}

/// The coarse wall's offsets at so many rows [mm].
std::vector<double> OffsetsAt(int rows, const Base& base, double px_per_mm) {
  std::vector<double> offsets;
  std::size_t k = 0;
  for (int i = 0; i < rows; ++i) {
    const double t = (i + 0.5) / rows;
    while (k + 2 < base.part.size() && base.part[k + 1] < t) ++k;
    const double span = base.part[k + 1] - base.part[k];
    const double f =
        span > 0 ? std::clamp((t - base.part[k]) / span, 0.0, 1.0) : 0.0;
    offsets.push_back((base.off[k] + f * (base.off[k + 1] - base.off[k])) /
                      px_per_mm);
  }
  return offsets;
}

/// A place down the wall, as the lines see it.
struct Place {
  explicit Place(double t) : down((t - kHigh) / (kLow - kHigh)) {
    for (std::size_t k = 0; k < bent.size(); ++k) {
      const double u = std::max(0.0, (t - kBendsFrom[k]) / (1 - kBendsFrom[k]));
      bent[k] = u * u;
    }
  }
  double down;                                   ///< From kHigh to kLow.
  std::array<double, kBendsFrom.size()> bent{};  ///< For each of kBendsFrom.
};

/// A wall: offsets from the base at two places of its straight part, and how
/// far it has left that part's line at the ground [mm].
struct Line {
  double high = 0.0;
  double low = 0.0;
  double bend = 0.0;
  std::size_t from = 0;  ///< Of kBendsFrom.

  double At(const Place& place) const {
    return high + (low - high) * place.down + bend * place.bent[from];
  }
};

struct Tried {
  Line line;
  double score = 0.0;
  double seen = 0.0;  ///< Part of the way with an edge.
};

/// @param places Of all rows.
Tried Try(const Line& line,
          const cv::Mat& says,
          const std::vector<Place>& places,
          const std::vector<double>& coarse_mm) {
  Tried tried{line};
  int count = 0;
  const int last = static_cast<int>(kTo * says.rows);
  // Every other row says as much.
  for (int i = static_cast<int>(kFrom * says.rows); i < last; i += 2) {
    ++count;
    const double at = line.At(places[static_cast<std::size_t>(i)]);
    const double c = (at + kInMm) * kPerMm + 0.5;
    if (c >= 0 && c < says.cols) {
      tried.seen += static_cast<double>(says.at<float>(i, static_cast<int>(c)));
    }
    // Geman and McClure's: what is far off is wrong, however far.
    const double miss =
        (at - coarse_mm[static_cast<std::size_t>(i)]) / kCoarseSigmaMm;
    tried.score -= kCoarseWeight * miss * miss / (4 + miss * miss);
  }
  tried.seen /= count;
  const double bend = line.bend / kBendSigmaMm;
  tried.score = tried.score / count + tried.seen - kBendWeight * bend * bend;
  return tried;
}

/// How far a line runs from the coarse wall over its lower part, in the mean
/// [mm]; outwards is positive.
double OffCoarse(const Line& line, const std::vector<double>& coarse_mm) {
  const auto rows = static_cast<double>(coarse_mm.size());
  const auto last = static_cast<std::size_t>(kLowerTo * rows);
  double sum = 0.0;
  int count = 0;
  for (auto i = static_cast<std::size_t>(kLowerFrom * rows); i < last; ++i) {
    sum += line.At(Place((static_cast<double>(i) + 0.5) / rows)) - coarse_mm[i];
    ++count;
  }
  return sum / count;
}

struct Found {
  Tried line;
  bool lower_part_open = false;
};

/// Of all lines near the coarse wall the outermost of those that score nearly
/// as the best.
std::optional<Found> Search(const cv::Mat& says,
                            const std::vector<double>& coarse_mm) {
  std::vector<Place> places;
  places.reserve(coarse_mm.size());
  for (int i = 0; i < says.rows; ++i) {
    places.emplace_back((i + 0.5) / says.rows);
  }
  std::vector<Tried> good;
  Tried best;
  const int reach = static_cast<int>(std::lround(kReachMm / kStepMm));
  for (int high = -reach; high <= reach; ++high) {
    for (int low = -reach; low <= reach; ++low) {
      for (double bend = kMostDish; bend <= kMostFlare; bend += kBendStep) {
        for (std::size_t from = 0; from < kBendsFrom.size(); ++from) {
          if (bend == 0.0 && from != 0) continue;
          const Tried tried = Try({high * kStepMm, low * kStepMm, bend, from},
                                  says,
                                  places,
                                  coarse_mm);
          if (tried.score < kNearlyAs * best.score) continue;
          if (tried.score > best.score) best = tried;
          good.push_back(tried);
        }
      }
    }
  }
  if (!(best.score > 0)) return std::nullopt;
  const Place lower_end(kLowerTo);
  const bool another =
      std::any_of(good.begin(), good.end(), [&](const Tried& t) {
        return t.score > kNearlyAsGood * best.score &&
               std::abs(t.line.At(lower_end) - best.line.At(lower_end)) >
                   kElsewhereMm;
      });
  Tried chosen = best;
  for (;;) {
    const Tried* next = nullptr;
    for (const Tried& t : good) {
      const bool outside = t.line.high > chosen.line.high + kApartMm &&
                           t.line.low > chosen.line.low + kApartMm;
      if (!outside || t.score < kNearlyAs * best.score) continue;
      if (next == nullptr || t.score > next->score) next = &t;
    }
    if (next == nullptr) break;
    chosen = *next;
  }
  return Found{
      chosen,
      another || std::abs(OffCoarse(chosen.line, coarse_mm)) > kOffCoarseMm};
}

}  // namespace

std::optional<WallCourse> FindWallCourse(const cv::Mat& rgb,
                                         const PhotoPolyline& coarse,
                                         PhotoVector out,
                                         double px_per_mm) {
  if (coarse.size() < 8 || !(px_per_mm > 0) ||
      !(Distance(coarse.front(), coarse.back()) > kLeastLengthPx)) {
    return std::nullopt;
  }
  const Base base = BaseOf(coarse, out, px_per_mm);
  const cv::Mat says = EdgesAlong(rgb, base, px_per_mm);
  const auto found = Search(says, OffsetsAt(says.rows, base, px_per_mm));
  if (!found) return std::nullopt;
  WallCourse course;
  course.seen = found->line.seen;
  course.lower_part_open = found->lower_part_open;
  // From where to where the coarse wall was seen.
  constexpr int kSteps = 32;
  for (int i = 0; i <= kSteps; ++i) {
    const double t =
        base.part.front() + (base.part.back() - base.part.front()) * i / kSteps;
    course.px.push_back(base.at + t * base.along +
                        (found->line.line.At(Place(t)) * px_per_mm) * base.out);
  }
  return course;
}

}  // namespace plumbfoot::find
