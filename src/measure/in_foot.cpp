// SPDX-License-Identifier: Apache-2.0
#include "measure/in_foot.h"

namespace plumbfoot::measure {
namespace {

using geometry::CardPoint;
using geometry::Midpoint;

std::optional<CardPoint> MiddleOf(const std::optional<CardPoint>& a,
                                  const std::optional<CardPoint>& b) {
  if (!a || !b) return std::nullopt;
  return Midpoint(*a, *b);
}

std::optional<FootAxes> SolarAxes(const OnPlane& plane, const Layout& layout) {
  const auto heels =
      MiddleOf(plane.at(PointId::kHeelLeft), plane.at(PointId::kHeelRight));
  const auto frog =
      MiddleOf(plane.at(PointId::kFrogLeft), plane.at(PointId::kFrogRight));
  const auto& from = layout.axis_by_frog ? frog : heels;
  const auto& to = layout.axis_by_frog ? plane.at(PointId::kFrogApex)
                                       : plane.at(PointId::kToe);
  if (!from || !to) return std::nullopt;
  const auto axis = geometry::LineThrough(*from, *to);
  if (!axis) return std::nullopt;
  // One looks at the sole from below: with the toe up, the horse's left is on
  // the right. The foot frame is therefore left-handed in the card frame.
  return FootAxes{heels ? *heels : *from,
                  axis->direction,
                  -geometry::Perpendicular(axis->direction)};
}

std::optional<FootAxes> LateralAxes(const OnPlane& plane,
                                    const Layout& layout) {
  const auto& toe = plane.at(PointId::kToeGround);
  const auto& heel = plane.at(PointId::kHeelGround);
  if (!toe || !heel) return std::nullopt;
  const auto ground = geometry::LineThrough(*heel, *toe);
  if (!ground) return std::nullopt;
  return FootAxes{*toe,
                  ground->direction,
                  layout.up * geometry::Perpendicular(ground->direction)};
}

void PutLine(const geometry::CardPolyline& from,
             const std::optional<FootAxes>& axes,
             geometry::FootPolyline& to) {
  to.clear();
  if (!axes) return;
  for (const CardPoint& p : from) to.push_back(axes->ToFoot(p));
}

}  // namespace

void PutInFoot(const OnPlane& plane, const Layout& layout, InFoot& foot) {
  const bool solar = layout.view == View::kSolar;
  foot.axes = solar ? SolarAxes(plane, layout) : LateralAxes(plane, layout);
  for (std::size_t i = 0; i < plane.points.size(); ++i) {
    foot.points[i].reset();
    if (foot.axes && plane.points[i]) {
      foot.points[i] = foot.axes->ToFoot(*plane.points[i]);
    }
  }
  PutLine(plane.outline, foot.axes, foot.outline);
  PutLine(plane.dorsal_wall, foot.axes, foot.dorsal_wall);
  foot.widest_forward = plane.widest_forward;
  foot.departs_further = plane.departs_further;
  foot.numbers.fill(std::numeric_limits<double>::quiet_NaN());

  // What needs no frame: an area, and distances from point to point.
  if (plane.outline.size() >= 3) {
    double twice = 0.0;
    for (std::size_t i = 1; i + 1 < plane.outline.size(); ++i) {
      twice += geometry::Cross(plane.outline[i] - plane.outline[0],
                               plane.outline[i + 1] - plane.outline[0]);
    }
    foot.number(MeasureId::kBearingArea) = std::abs(twice) / 2;
  }
  const auto distance = [&](PointId a, PointId b, MeasureId id) {
    if (!plane.at(a) || !plane.at(b)) return;
    foot.number(id) = geometry::Distance(*plane.at(a), *plane.at(b));
  };
  distance(
      PointId::kToeGround, PointId::kToeHairline, MeasureId::kDorsalWallLength);
  distance(
      PointId::kHeelGround, PointId::kHeelHairline, MeasureId::kHeelWallLength);
  distance(
      PointId::kToeGround, PointId::kHeelGround, MeasureId::kSupportLength);
  foot.number(MeasureId::kToeToHeelLength) =
      foot.number(MeasureId::kDorsalWallLength) /
      foot.number(MeasureId::kHeelWallLength);

  if (!foot.axes) return;
  if (solar) {
    const auto frog =
        MiddleOf(plane.at(PointId::kFrogLeft), plane.at(PointId::kFrogRight));
    foot.axis_y =
        layout.axis_by_frog && frog ? foot.axes->ToFoot(*frog).y : 0.0;
    TakeSolar(foot);
  } else {
    TakeLateral(layout, foot);
  }
}

}  // namespace plumbfoot::measure
