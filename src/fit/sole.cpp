// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/sole.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "fit/edge.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;

/// CHOSEN: a buttress that a person or the finder has set stands this near to
/// the edge; further off, one of the two is on the wrong thing.
constexpr double kHeelOnEdge = 12.0;
/// CHOSEN: from a small pony's foot to beyond the largest draught horse's.
constexpr double kLeastWidth = 50.0;
constexpr double kMostWidth = 320.0;
/// CHOSEN: corners of the wall stand at most so far apart [mm].
constexpr double kSpacing = 1.0;

std::size_t NearestCorner(const FootPolyline& line, FootPoint point) {
  std::size_t nearest = 0;
  for (std::size_t i = 1; i < line.size(); ++i) {
    if (geometry::Distance(line[i], point) <
        geometry::Distance(line[nearest], point)) {
      nearest = i;
    }
  }
  return nearest;
}

/// The closed line from corner `from` on, round to corner `to`.
FootPolyline Stretch(const FootPolyline& closed,
                     std::size_t from,
                     std::size_t to) {
  FootPolyline line{closed[from]};
  for (std::size_t i = from; i != to;) {
    i = (i + 1) % closed.size();
    line.push_back(closed[i]);
  }
  return line;
}

double Foremost(const FootPolyline& line) {
  double x = -std::numeric_limits<double>::infinity();
  for (const FootPoint& p : line) x = std::max(x, p.x);
  return x;
}

Refusal Implausible(std::string message) {
  return {RefusalCode::kImplausible,
          std::move(message),
          "Look at the annotated photo, put the points right, and measure "
          "again with --points."};
}

/// Does a closed line cross itself? By the area of what lies on both sides of
/// it: growing it by nothing gives one piece of the same area if it doesn't.
bool CrossesItself(const FootPolyline& closed) {
  const auto pieces =
      geometry::Intersection<geometry::FootFrame>({closed}, {closed});
  double area = 0.0;
  for (const auto& piece : pieces) area += geometry::SignedArea(piece);
  // CHOSEN: a knot of less than a thousandth is noise of the finder's edge.
  return std::abs(area - std::abs(geometry::SignedArea(closed))) >
         1e-3 * std::abs(area);
}

}  // namespace

Result<Sole> MakeSole(geometry::Foot foot, const measure::PlainView& view) {
  const auto& left = view.at(PointId::kHeelLeft);
  const auto& right = view.at(PointId::kHeelRight);
  // CHOSEN: fewer corners than these are no outline of a hoof.
  if (view.outline.size() < 12) {
    return Refusal{RefusalCode::kPointMissing,
                   "The report has no outline of the sole in millimetres.",
                   "Measure a photo of the sole with the card in it, and place "
                   "the outline."};
  }
  if (!left || !right) {
    return Refusal{RefusalCode::kPointMissing,
                   "The heel buttresses are not placed: the shoe's heels would "
                   "stand anywhere.",
                   "Place heel_left and heel_right in points.json, and measure "
                   "again with --points."};
  }
  for (const FootPoint& p : view.outline) {
    if (!std::isfinite(p.x) || !std::isfinite(p.y)) {
      return Implausible("The outline has a point that is not a number.");
    }
  }
  if (!(left->y > right->y)) {
    return Implausible("Left and right heel look swapped.");
  }
  if (CrossesItself(view.outline)) {
    return Implausible("The outline of the sole crosses itself.");
  }
  // A polygon's chords cut its bends short.
  FootPolyline closed = geometry::Rounded(
      view.outline,
      static_cast<int>(
          std::ceil(geometry::Length(view.outline, geometry::Ends::kClosed) /
                    static_cast<double>(view.outline.size()) / (kSpacing / 2))),
      geometry::Ends::kClosed);
  // Clockwise: from the left heel round the toe to the right one.
  if (geometry::SignedArea(closed) > 0) {
    std::reverse(closed.begin(), closed.end());
  }
  const std::size_t at_left = NearestCorner(closed, *left);
  const std::size_t at_right = NearestCorner(closed, *right);
  if (geometry::Distance(closed[at_left], *left) > kHeelOnEdge ||
      geometry::Distance(closed[at_right], *right) > kHeelOnEdge ||
      at_left == at_right) {
    return Implausible("A heel buttress does not lie on the outline.");
  }
  const FootPolyline round = Stretch(closed, at_left, at_right);
  const measure::PlainMeasures measures = measure::MeasurePlain(view);
  if (!measures.widest_left || !measures.widest_right ||
      geometry::Distance(closed[at_left], closed[at_right]) < 10 ||
      Foremost(round) < Foremost(closed) - 1e-6) {
    return Implausible("The outline does not run round the toe.");
  }
  const auto count = static_cast<std::size_t>(
      std::ceil(geometry::Length(round, geometry::Ends::kOpen) / kSpacing));
  Sole sole;
  sole.foot = foot;
  sole.wall = geometry::Resample(
      round, std::max<std::size_t>(count, 40) + 1, geometry::Ends::kOpen);
  sole.outline = view.outline;
  sole.heel_left = sole.wall.front();
  sole.heel_right = sole.wall.back();
  sole.axis_y = measures.axis_y;
  sole.toe_x = Foremost(sole.wall);
  sole.width = measures.value(measure::MeasureId::kBearingWidth);
  sole.length = sole.toe_x - (sole.heel_left.x + sole.heel_right.x) / 2;
  if (!(sole.width > kLeastWidth) || !(sole.width < kMostWidth) ||
      // CHOSEN: no hoof is twice as long as wide, or half.
      !(sole.length > sole.width / 2) || !(sole.length < 2 * sole.width)) {
    return Implausible(
        "The outline has neither the size nor the shape of a "
        "hoof.");
  }
  // What is measured as widest stands on the edge here.
  const Walk wall(sole.wall);
  sole.widest_left = wall.At(wall.Nearest(*measures.widest_left));
  sole.widest_right = wall.At(wall.Nearest(*measures.widest_right));
  return sole;
}

Sole Mirrored(const Sole& sole) {
  const auto turned = [](FootPoint p) { return FootPoint{p.x, -p.y}; };
  Sole other = sole;
  using enum geometry::Foot;
  switch (sole.foot) {
    case kLeftFore:
      other.foot = kRightFore;
      break;
    case kRightFore:
      other.foot = kLeftFore;
      break;
    case kLeftHind:
      other.foot = kRightHind;
      break;
    case kRightHind:
      other.foot = kLeftHind;
      break;
  }
  const auto mirror = [&turned](FootPolyline& line) {
    for (FootPoint& p : line) p = turned(p);
    std::reverse(line.begin(), line.end());
  };
  mirror(other.wall);
  mirror(other.outline);
  other.heel_left = turned(sole.heel_right);
  other.heel_right = turned(sole.heel_left);
  other.widest_left = turned(sole.widest_right);
  other.widest_right = turned(sole.widest_left);
  other.axis_y = -sole.axis_y;
  return other;
}

}  // namespace plumbfoot::fit
