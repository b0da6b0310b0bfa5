// SPDX-License-Identifier: Apache-2.0
#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

#include "measure/in_foot.h"

namespace plumbfoot::measure {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;

struct Span {
  double low = std::numeric_limits<double>::infinity();
  double high = -std::numeric_limits<double>::infinity();
};

Span SpanAlong(const FootPolyline& outline) {
  Span span;
  for (const FootPoint& p : outline) {
    span.low = std::min(span.low, p.x);
    span.high = std::max(span.high, p.x);
  }
  return span;
}

/// side * y = k0 + k1 u + k2 u^2 + k3 u^3 with u = (x - centre) / reach.
struct Cubic {
  Eigen::Vector4d k;
  Span span;  ///< Of u.
};

/// Fits a side of the outline near corner `middle`, within `reach` of x =
/// `centre`; nothing with too few corners.
std::optional<Cubic> FitSide(const FootPolyline& outline,
                             std::size_t middle,
                             double centre,
                             double reach,
                             double side) {
  const std::size_t n = outline.size();
  Eigen::Matrix4d squares = Eigen::Matrix4d::Zero();
  Eigen::Vector4d heights = Eigen::Vector4d::Zero();
  Span span;
  const auto add = [&](const FootPoint& p) {
    const double u = (p.x - centre) / reach;
    if (std::abs(u) > 1) return false;
    const Eigen::Vector4d powers(1.0, u, u * u, u * u * u);
    squares += powers * powers.transpose();
    heights += side * p.y * powers;
    span.low = std::min(span.low, u);
    span.high = std::max(span.high, u);
    return true;
  };
  // Both ways along the outline, so that the other side stays out.
  add(outline[middle]);
  std::size_t steps = 1;
  for (; steps < n; ++steps) {
    if (!add(outline[(middle + steps) % n])) break;
  }
  for (std::size_t k = 1; k + steps < n; ++k) {
    if (!add(outline[(middle + n - k) % n])) break;
  }
  // Five corners for four coefficients, and well apart.
  if (squares(0, 0) < 5 || span.high - span.low < 1) return std::nullopt;
  return Cubic{squares.ldlt().solve(heights), span};
}

/// x of the top of the cubic near corner `middle`; the corner's where there is
/// no top.
double TopNear(const FootPolyline& outline,
               std::size_t middle,
               double centre,
               double reach,
               double side) {
  const double corner = outline[middle].x;
  const auto cubic = FitSide(outline, middle, centre, reach, side);
  if (!cubic) return corner;
  const Eigen::Vector4d& k = cubic->k;
  // Where the slope is 0 and falling: of the two roots of
  // k1 + 2 k2 u + 3 k3 u^2 that at which k2 + 3 k3 u = -root.
  const double discriminant = k(2) * k(2) - 3 * k(1) * k(3);
  if (!(discriminant > 0)) return corner;
  const double root = std::sqrt(discriminant);
  // In this form it also holds for a parabola (k3 = 0).
  const double down = k(2) - root;
  if (!(down < 0)) return corner;
  const double top = -k(1) / down;
  if (!(top >= cubic->span.low && top <= cubic->span.high)) return corner;
  return centre + reach * top;
}

}  // namespace

FootPoint WidestPoint(const FootPolyline& outline, double side) {
  const Span span = SpanAlong(outline);
  // CHOSEN: a wider window heeds noise less, a narrower one the fact that the
  // toe's part is round and the heels' part is nearly straight.
  const double reach = 0.16 * (span.high - span.low);
  std::size_t furthest = 0;
  for (std::size_t i = 1; i < outline.size(); ++i) {
    if (side * outline[i].y > side * outline[furthest].y) furthest = i;
  }
  if (!(reach > 0)) return outline[furthest];
  // Again about the top that was found, until it stays: a window that is
  // centred by the noisiest corner would carry that corner's chance into the
  // answer.
  double top = outline[furthest].x;
  std::size_t nearest = furthest;
  for (int round = 0; round < 5; ++round) {
    const double next = TopNear(outline, nearest, top, reach, side);
    const bool settled = std::abs(next - top) < 0.02 * reach;
    top = next;
    double least = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < outline.size(); ++i) {
      const double off = std::abs(outline[i].x - top);
      // The corner there on this side of the foot.
      if (off < least && side * (outline[i].y - outline[nearest].y) > -reach) {
        least = off;
        nearest = i;
      }
    }
    if (settled) break;
  }
  // How far out it stands there is known well from near by; the wide window
  // would cut off what small bulges there are. Not the top of the near cubic,
  // which noise only ever lifts.
  const auto near = FitSide(outline, nearest, top, reach / 2, side);
  return {top, near ? side * near->k(0) : outline[nearest].y};
}

double AsymmetryAcross(const FootPolyline& outline, double axis_y) {
  constexpr std::size_t kLines = 128;
  // A hoof's outline crosses a line twice, or four times at the heels.
  constexpr std::size_t kMost = 16;
  std::array<std::array<double, kMost>, kLines> crossings;
  std::array<std::size_t, kLines> counts{};
  const Span span = SpanAlong(outline);
  const double step = (span.high - span.low) / static_cast<double>(kLines);
  if (!(step > 0)) return std::numeric_limits<double>::quiet_NaN();
  const auto first_line_from = [&](double x) {
    const double k = (x - span.low) / step + 0.5;
    return std::min(kLines, static_cast<std::size_t>(k));
  };
  for (std::size_t i = 0; i < outline.size(); ++i) {
    FootPoint a = outline[i];
    FootPoint b = outline[i + 1 < outline.size() ? i + 1 : 0];
    if (a.x > b.x) std::swap(a, b);
    // Half open, so that a corner on a line counts once.
    const std::size_t end = first_line_from(b.x);
    const double slope = (b.y - a.y) / (b.x - a.x);
    for (std::size_t k = first_line_from(a.x); k < end; ++k) {
      if (counts[k] == kMost) continue;
      const double x = span.low + (static_cast<double>(k) + 0.5) * step;
      crossings[k][counts[k]++] = a.y + slope * (x - a.x) - axis_y;
    }
  }
  double whole = 0.0;
  double covered = 0.0;
  for (std::size_t k = 0; k < kLines; ++k) {
    auto& c = crossings[k];
    const std::size_t n = counts[k] / 2 * 2;
    std::sort(c.begin(), c.begin() + static_cast<std::ptrdiff_t>(n));
    for (std::size_t i = 0; i < n; i += 2) {
      whole += c[i + 1] - c[i];
      for (std::size_t j = 0; j < n; j += 2) {
        // The image of [c_j, c_j+1] is [-c_j+1, -c_j].
        covered += std::max(
            0.0, std::min(c[i + 1], -c[j]) - std::max(c[i], -c[j + 1]));
      }
    }
  }
  return (whole - covered) / whole;
}

void TakeSolar(InFoot& foot) {
  const auto& toe = foot.at(PointId::kToe);
  const auto& heel_left = foot.at(PointId::kHeelLeft);
  const auto& heel_right = foot.at(PointId::kHeelRight);
  const auto& apex = foot.at(PointId::kFrogApex);
  const auto& frog_left = foot.at(PointId::kFrogLeft);
  const auto& frog_right = foot.at(PointId::kFrogRight);
  const bool heels = heel_left && heel_right;
  foot.widest_left.reset();
  foot.widest_right.reset();

  // The origin lies midway between the heels, so that x is the distance from
  // the line through them, measured along the axis.
  if (heels && toe) foot.number(MeasureId::kBearingLength) = toe->x;
  if (heels) {
    foot.number(MeasureId::kHeelWidth) = std::abs(heel_left->y - heel_right->y);
  }
  if (frog_left && frog_right) {
    foot.number(MeasureId::kFrogWidth) = std::abs(frog_left->y - frog_right->y);
    if (apex) {
      foot.number(MeasureId::kFrogLength) =
          apex->x - (frog_left->x + frog_right->x) / 2;
    }
  }
  foot.number(MeasureId::kFrogWidthToLength) =
      foot.number(MeasureId::kFrogWidth) / foot.number(MeasureId::kFrogLength);
  if (toe && apex) foot.number(MeasureId::kToeToFrogApex) = toe->x - apex->x;

  if (foot.outline.size() < 3) return;
  FootPoint left = WidestPoint(foot.outline, 1.0);
  FootPoint right = WidestPoint(foot.outline, -1.0);
  const Span span = SpanAlong(foot.outline);
  left.x += foot.widest_forward[0] * (span.high - span.low);
  right.x += foot.widest_forward[1] * (span.high - span.low);
  foot.widest_left = left;
  foot.widest_right = right;
  const double widest_x = (left.x + right.x) / 2;
  foot.number(MeasureId::kBearingWidth) = left.y - right.y;
  foot.number(MeasureId::kLeftHalfWidth) = left.y - foot.axis_y;
  foot.number(MeasureId::kRightHalfWidth) = foot.axis_y - right.y;
  foot.number(MeasureId::kHalfWidthDifference) =
      left.y + right.y - 2 * foot.axis_y;
  foot.number(MeasureId::kOutlineAsymmetry) =
      100 * AsymmetryAcross(foot.outline, foot.axis_y);
  if (heels) foot.number(MeasureId::kWidestToHeel) = widest_x;
  if (toe) foot.number(MeasureId::kWidestToToe) = toe->x - widest_x;
  foot.number(MeasureId::kWidthToLength) =
      foot.number(MeasureId::kBearingWidth) /
      foot.number(MeasureId::kBearingLength);
  foot.number(MeasureId::kToeShare) = 100 *
                                      foot.number(MeasureId::kWidestToToe) /
                                      foot.number(MeasureId::kBearingLength);
}

}  // namespace plumbfoot::measure
