// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/polygon.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <polyclipping/clipper.hpp>
#include <stdexcept>
#include <vector>

namespace plumbfoot::geometry {
namespace {

/// Clipper counts in whole numbers: how many of them a unit is, and where zero
/// lies.
template <typename Frame>
struct WholeNumbers {
  Point<Frame> origin;
  double per_unit = 1.0;

  WholeNumbers(const Polyline<Frame>& a,
               const Polyline<Frame>& b,
               double margin)
      : WholeNumbers({&a, &b}, margin) {}
  WholeNumbers(const std::vector<const Polyline<Frame>*>& lines,
               double margin) {
    double low_x = std::numeric_limits<double>::infinity();
    double low_y = low_x;
    double high_x = -low_x;
    double high_y = -low_x;
    for (const auto* line : lines) {
      for (const auto& p : *line) {
        low_x = std::min(low_x, p.x);
        low_y = std::min(low_y, p.y);
        high_x = std::max(high_x, p.x);
        high_y = std::max(high_y, p.y);
      }
    }
    origin = {(low_x + high_x) / 2, (low_y + high_y) / 2};
    const double half =
        std::max(high_x - low_x, high_y - low_y) / 2 + std::abs(margin);
    // Below 2^30 Clipper needs no 128-bit arithmetic.
    if (half > 0) per_unit = 5e8 / half;
  }
  ClipperLib::Path To(const Polyline<Frame>& line) const {
    ClipperLib::Path path;
    path.reserve(line.size());
    for (const auto& p : line) {
      path.emplace_back(std::llround((p.x - origin.x) * per_unit),
                        std::llround((p.y - origin.y) * per_unit));
    }
    return path;
  }
  Polyline<Frame> From(const ClipperLib::Path& path) const {
    Polyline<Frame> line;
    line.reserve(path.size());
    for (const auto& p : path) {
      line.push_back({origin.x + static_cast<double>(p.X) / per_unit,
                      origin.y + static_cast<double>(p.Y) / per_unit});
    }
    return line;
  }
};

}  // namespace

template <typename Frame>
double SignedArea(const Polyline<Frame>& polygon) {
  if (polygon.size() < 3) return 0.0;
  double twice = 0.0;
  for (std::size_t i = 1; i + 1 < polygon.size(); ++i) {
    // About the first corner, so that a far origin costs no digits.
    twice += Cross(polygon[i] - polygon[0], polygon[i + 1] - polygon[0]);
  }
  return twice / 2;
}

template <typename Frame>
Point<Frame> Centroid(const Polyline<Frame>& polygon) {
  Vector<Frame> sum;
  double area = 0.0;
  for (std::size_t i = 1; i + 1 < polygon.size(); ++i) {
    const Vector<Frame> a = polygon[i] - polygon[0];
    const Vector<Frame> b = polygon[i + 1] - polygon[0];
    const double twice = Cross(a, b);
    area += twice;
    sum = sum + twice * (a + b);
  }
  if (!(std::abs(area) > 0)) {
    throw std::invalid_argument("Centroid: a polygon without area");
  }
  return polygon[0] + sum / (3 * area);
}

template <typename Frame>
bool Contains(const Polyline<Frame>& polygon, Point<Frame> point) {
  bool inside = false;
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Point<Frame>& a = polygon[i];
    const Point<Frame>& b = polygon[(i + 1) % polygon.size()];
    if ((a.y > point.y) == (b.y > point.y)) continue;
    const double x = a.x + (point.y - a.y) / (b.y - a.y) * (b.x - a.x);
    if (point.x < x) inside = !inside;
  }
  return inside;
}

template <typename Frame>
Polyline<Frame> ConvexHull(Polyline<Frame> points) {
  const auto before = [](const Point<Frame>& a, const Point<Frame>& b) {
    return a.x < b.x || (a.x == b.x && a.y < b.y);
  };
  std::sort(points.begin(), points.end(), before);
  points.erase(std::unique(points.begin(), points.end()), points.end());
  if (points.size() < 3) return points;
  Polyline<Frame> hull;
  const auto add = [&hull](const Point<Frame>& p, std::size_t keep) {
    while (hull.size() >= keep + 2 &&
           Cross(hull.back() - hull[hull.size() - 2], p - hull.back()) <= 0) {
      hull.pop_back();
    }
    hull.push_back(p);
  };
  for (const auto& p : points) add(p, 0);
  const std::size_t lower = hull.size() - 1;
  for (auto p = points.rbegin() + 1; p != points.rend(); ++p) add(*p, lower);
  hull.pop_back();
  return hull;
}

template <typename Frame>
FeretWidths Feret(const Polyline<Frame>& points) {
  const Polyline<Frame> hull = ConvexHull(points);
  if (hull.size() < 3) throw std::invalid_argument("Feret: no area");
  FeretWidths widths;
  widths.least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < hull.size(); ++i) {
    // The least width stands square on an edge of the hull.
    const Point<Frame>& a = hull[i];
    const Vector<Frame> edge = hull[(i + 1) % hull.size()] - a;
    double height = 0.0;
    for (const auto& p : hull) {
      height = std::max(height, Cross(edge, p - a) / Norm(edge));
      widths.greatest = std::max(widths.greatest, Distance(a, p));
    }
    widths.least = std::min(widths.least, height);
  }
  return widths;
}

template <typename Frame>
Polyline<Frame> Mirrored(const Polyline<Frame>& polygon,
                         const Line<Frame>& mirror) {
  Polyline<Frame> image;
  image.reserve(polygon.size());
  const Vector<Frame> across = Perpendicular(mirror.direction);
  for (auto p = polygon.rbegin(); p != polygon.rend(); ++p) {
    image.push_back(*p - (2 * SignedDistance(mirror, *p)) * across);
  }
  return image;
}

template <typename Frame>
std::vector<Polyline<Frame>> Offset(const Polyline<Frame>& polygon,
                                    double distance) {
  if (polygon.size() < 3) return {};
  const WholeNumbers<Frame> whole(polygon, polygon, std::abs(distance));
  ClipperLib::Path path = whole.To(polygon);
  // Clipper grows what runs anticlockwise.
  if (!ClipperLib::Orientation(path)) ClipperLib::ReversePath(path);
  const double delta = distance * whole.per_unit;
  // CHOSEN: arcs within 1/10000 of the distance: 1 um at 10 mm.
  ClipperLib::ClipperOffset offset(2.0, std::max(0.25, 1e-4 * std::abs(delta)));
  offset.AddPath(path, ClipperLib::jtRound, ClipperLib::etClosedPolygon);
  ClipperLib::Paths grown;
  offset.Execute(grown, delta);
  std::vector<Polyline<Frame>> pieces;
  pieces.reserve(grown.size());
  for (const auto& piece : grown) pieces.push_back(whole.From(piece));
  return pieces;
}

template <typename Frame>
std::vector<Polyline<Frame>> Band(const Polyline<Frame>& line,
                                  double distance) {
  if (!(distance > 0)) throw std::invalid_argument("Band: distance <= 0");
  if (line.size() < 2) return {};
  const WholeNumbers<Frame> whole(line, line, distance);
  const double delta = distance * whole.per_unit;
  // CHOSEN: as Offset.
  ClipperLib::ClipperOffset offset(2.0, std::max(0.25, 1e-4 * delta));
  offset.AddPath(whole.To(line), ClipperLib::jtRound, ClipperLib::etOpenButt);
  ClipperLib::Paths band;
  offset.Execute(band, delta);
  std::vector<Polyline<Frame>> pieces;
  pieces.reserve(band.size());
  for (const auto& piece : band) pieces.push_back(whole.From(piece));
  return pieces;
}

template <typename Frame>
std::vector<Polyline<Frame>> Intersection(
    const std::vector<Polyline<Frame>>& a,
    const std::vector<Polyline<Frame>>& b) {
  std::vector<const Polyline<Frame>*> all;
  all.reserve(a.size() + b.size());
  for (const auto& line : a) all.push_back(&line);
  for (const auto& line : b) all.push_back(&line);
  const WholeNumbers<Frame> whole(all, 0.0);
  ClipperLib::Clipper clipper;
  for (const auto& line : a) {
    clipper.AddPath(whole.To(line), ClipperLib::ptSubject, true);
  }
  for (const auto& line : b) {
    clipper.AddPath(whole.To(line), ClipperLib::ptClip, true);
  }
  ClipperLib::Paths shared;
  clipper.Execute(ClipperLib::ctIntersection,
                  shared,
                  ClipperLib::pftNonZero,
                  ClipperLib::pftNonZero);
  std::vector<Polyline<Frame>> pieces;
  pieces.reserve(shared.size());
  for (const auto& piece : shared) pieces.push_back(whole.From(piece));
  return pieces;
}

template <typename Frame>
double DifferenceArea(const Polyline<Frame>& polygon,
                      const Polyline<Frame>& cover) {
  if (polygon.size() < 3) return 0.0;
  const WholeNumbers<Frame> whole(polygon, cover, 0.0);
  ClipperLib::Clipper clipper;
  clipper.AddPath(whole.To(polygon), ClipperLib::ptSubject, true);
  if (cover.size() >= 3) {
    clipper.AddPath(whole.To(cover), ClipperLib::ptClip, true);
  }
  ClipperLib::Paths rest;
  clipper.Execute(ClipperLib::ctDifference,
                  rest,
                  ClipperLib::pftNonZero,
                  ClipperLib::pftNonZero);
  double area = 0.0;
  for (const auto& piece : rest) area += ClipperLib::Area(piece);
  return area / (whole.per_unit * whole.per_unit);
}

// A type can't stand in parentheses.
// NOLINTBEGIN(bugprone-macro-parentheses)
#define PLUMBFOOT_POLYGON(Frame)                                              \
  template double SignedArea(const Polyline<Frame>&);                         \
  template Point<Frame> Centroid(const Polyline<Frame>&);                     \
  template bool Contains(const Polyline<Frame>&, Point<Frame>);               \
  template Polyline<Frame> ConvexHull(Polyline<Frame>);                       \
  template FeretWidths Feret(const Polyline<Frame>&);                         \
  template Polyline<Frame> Mirrored(const Polyline<Frame>&,                   \
                                    const Line<Frame>&);                      \
  template std::vector<Polyline<Frame>> Offset(const Polyline<Frame>&,        \
                                               double);                       \
  template std::vector<Polyline<Frame>> Band(const Polyline<Frame>&, double); \
  template std::vector<Polyline<Frame>> Intersection(                         \
      const std::vector<Polyline<Frame>>&,                                    \
      const std::vector<Polyline<Frame>>&);                                   \
  template double DifferenceArea(const Polyline<Frame>&,                      \
                                 const Polyline<Frame>&);
PLUMBFOOT_POLYGON(PhotoFrame)
PLUMBFOOT_POLYGON(CardFrame)
PLUMBFOOT_POLYGON(FootFrame)
#undef PLUMBFOOT_POLYGON
// NOLINTEND(bugprone-macro-parentheses)

}  // namespace plumbfoot::geometry
