// SPDX-License-Identifier: Apache-2.0
/// @file
/// Straight lines: through two points, through many, and where they meet.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <stdexcept>
#include <vector>

#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/geometry/units.h"

namespace plumbfoot::geometry {

/// A line with a direction, in one frame.
template <typename Frame>
struct Line {
  Point<Frame> at;          ///< Lies on the line.
  Vector<Frame> direction;  ///< Of length one.
};

/// The line from `from` towards `to`.
/// @return nothing if the two coincide.
template <typename Frame>
std::optional<Line<Frame>> LineThrough(Point<Frame> from, Point<Frame> to) {
  const Vector<Frame> way = to - from;
  const double length = Norm(way);
  if (!(length > 0)) return std::nullopt;
  return Line<Frame>{from, way / length};
}

/// How far along the line the foot of `point` lies from `line.at`.
template <typename Frame>
double Along(const Line<Frame>& line, Point<Frame> point) {
  return Dot(line.direction, point - line.at);
}

/// Distance of `point` from the line: above zero on the side of
/// Perpendicular(direction), which is the left where y runs up.
template <typename Frame>
double SignedDistance(const Line<Frame>& line, Point<Frame> point) {
  return Cross(line.direction, point - line.at);
}

/// The point of the line nearest to `point`.
template <typename Frame>
Point<Frame> FootOn(const Line<Frame>& line, Point<Frame> point) {
  return line.at + Along(line, point) * line.direction;
}

/// Where two lines meet.
/// @return nothing if they are parallel within rounding.
template <typename Frame>
std::optional<Point<Frame>> Intersect(const Line<Frame>& a,
                                      const Line<Frame>& b) {
  const double sine = Cross(a.direction, b.direction);
  // CHOSEN: below this sine the crossing lies further than 10^12 times the
  // distance of the lines and is only rounding.
  if (!(std::abs(sine) > 1e-12)) return std::nullopt;
  return a.at + (Cross(b.at - a.at, b.direction) / sine) * a.direction;
}

/// The angle by which `from` is turned onto the direction of `to`, from the
/// frame's x axis towards its y axis, in (-180, 180].
template <typename Frame>
Degrees AngleFromTo(Vector<Frame> from, Vector<Frame> to) {
  return Degrees::FromRadians(std::atan2(Cross(from, to), Dot(from, to)));
}

/// A line through many points.
template <typename Frame>
struct FittedLine {
  Line<Frame> line;  ///< At the centroid; runs from the first point to the
                     ///< last.
  /// Weighted sum of squares along the line about the centroid. The standard
  /// uncertainty of the direction is sigma / sqrt(spread) [rad] for points
  /// whose coordinates have the independent standard uncertainty sigma
  /// (JCGM 100:2008, 5.1.2, to first order), and weights of one.
  double spread = 0.0;
  double rms = 0.0;  ///< Weighted RMS distance of the points from the line.
};

/// The line with the least weighted sum of squared perpendicular distances.
///
/// Formula: K. Pearson, "On lines and planes of closest fit to systems of
/// points in space", Phil. Mag. 2(11), 1901, pp. 559-572: the major axis of
/// the scatter about the centroid.
///
/// @param weights  One for each point, none below zero; empty: all alike.
/// @return kTooFewPoints; or kNoDirection if the points coincide or are spread
///   alike in every direction.
/// @throws std::invalid_argument for weights of another number or below zero.
template <typename Frame>
Result<FittedLine<Frame>> FitLine(std::span<const Point<Frame>> points,
                                  std::span<const double> weights = {}) {
  if (!weights.empty() && weights.size() != points.size()) {
    throw std::invalid_argument("FitLine: one weight for each point");
  }
  const auto weight = [&](std::size_t i) {
    return weights.empty() ? 1.0 : weights[i];
  };
  double sum = 0.0;
  double x = 0.0;
  double y = 0.0;
  std::size_t used = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double w = weight(i);
    if (!(w >= 0)) throw std::invalid_argument("FitLine: weight below zero");
    used += w > 0 ? 1 : 0;
    sum += w;
    x += w * points[i].x;
    y += w * points[i].y;
  }
  if (used < 2) {
    return Refusal{RefusalCode::kTooFewPoints,
                   "A line needs two points or more.",
                   "Place at least two points along it."};
  }
  const Point<Frame> centroid{x / sum, y / sum};
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Vector<Frame> d = points[i] - centroid;
    xx += weight(i) * d.x * d.x;
    xy += weight(i) * d.x * d.y;
    yy += weight(i) * d.y * d.y;
  }
  const double difference = std::hypot(xx - yy, 2 * xy);  // major - minor
  // CHOSEN: below 1e-12 of the total, rounding decides the direction.
  if (!(difference > 1e-12 * (xx + yy))) {
    return Refusal{RefusalCode::kNoDirection,
                   "The points lie in one place or are spread all round.",
                   "Place the points further apart along the line."};
  }
  const double theta = std::atan2(2 * xy, xx - yy) / 2;
  FittedLine<Frame> fit{
      {centroid, {std::cos(theta), std::sin(theta)}},
      (xx + yy + difference) / 2,
      std::sqrt(std::max(0.0, xx + yy - difference) / 2 / sum)};
  if (Dot(fit.line.direction, points.back() - points.front()) < 0) {
    fit.line.direction = -fit.line.direction;
  }
  return fit;
}

/// The same for points of which some don't belong to the line: begun at the
/// line of least median distance (P. J. Rousseeuw, J. Am. Stat. Assoc. 79(388),
/// 1984, pp. 871-880) among those through up to 24 of the points, and then
/// iteratively reweighted with the biweight of A. E. Beaton and J. W. Tukey,
/// Technometrics 16(2), 1974, pp. 147-185, with its usual constant 4.685. Fewer
/// than half of the points may be astray.
///
/// @param sigma  Distance that a good point may have from the line, k = 1,
///   above zero; points further than 4.685 sigma end up without a say.
/// @return as FitLine; kNoDirection too if the points agree on no line.
/// @throws std::invalid_argument if sigma is not above zero.
template <typename Frame>
Result<FittedLine<Frame>> FitLineRobustly(
    std::span<const Point<Frame>> points,
    double sigma,
    std::span<const double> weights = {}) {
  if (!(sigma > 0)) throw std::invalid_argument("FitLineRobustly: sigma <= 0");
  auto fit = FitLine(points, weights);
  if (!fit) return fit;
  const std::size_t n = points.size();
  std::vector<double> distances(n);
  const auto median_distance = [&](const Line<Frame>& line) {
    for (std::size_t i = 0; i < n; ++i) {
      distances[i] = std::abs(SignedDistance(line, points[i]));
    }
    const auto middle = distances.begin() + static_cast<std::ptrdiff_t>(n / 2);
    std::nth_element(distances.begin(), middle, distances.end());
    return *middle;
  };

  Line<Frame> line = fit->line;
  double median = median_distance(line);
  const std::size_t stride = std::max<std::size_t>(1, n / 24);
  for (std::size_t i = 0; i < n; i += stride) {
    for (std::size_t j = i + stride; j < n; j += stride) {
      const auto through = LineThrough(points[i], points[j]);
      if (!through) continue;
      const double its_median = median_distance(*through);
      if (its_median < median) {
        median = its_median;
        line = *through;
      }
    }
  }

  std::vector<double> reweighted(n);
  constexpr int kRounds = 30;  // CHOSEN: settles in fewer than 15 on edges.
  for (int round = 0; round < kRounds; ++round) {
    // While the line is still rough, the points' own spread is the measure:
    // 1.4826 times the median distance is sigma for normal errors.
    const double reach = 4.685 * std::max(sigma, 1.4826 * median);
    for (std::size_t i = 0; i < n; ++i) {
      const double part = std::abs(SignedDistance(line, points[i])) / reach;
      const double keep = part < 1 ? 1 - part * part : 0.0;
      reweighted[i] = (weights.empty() ? 1.0 : weights[i]) * keep * keep;
    }
    fit = FitLine(points, std::span<const double>(reweighted));
    if (!fit) {
      return Refusal{RefusalCode::kNoDirection,
                     "The points do not agree on a line.",
                     "Place the points again along the line."};
    }
    const bool settled = Norm(fit->line.direction - line.direction) < 1e-12;
    line = fit->line;
    if (settled) break;
    median = median_distance(line);
  }
  return fit;
}

}  // namespace plumbfoot::geometry
