// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/plain.h"

#include "measure/in_foot.h"

namespace plumbfoot::measure {
namespace {

using geometry::CardPoint;
using geometry::FootPoint;

// CHOSEN: between a finder's wall and one that a person clicked.
constexpr double kWallSigma = 0.3;
constexpr double kWallCorrelation = 3.0;

}  // namespace

PlainMeasures MeasurePlain(const PlainView& view) {
  Layout layout;
  layout.view = view.view;
  layout.axis_by_frog = view.at(PointId::kFrogLeft) &&
                        view.at(PointId::kFrogRight) &&
                        view.at(PointId::kFrogApex);
  layout.up = 1.0;
  layout.wall_sigma = kWallSigma;
  layout.wall_correlation = kWallCorrelation;
  // One looks at the sole from below: its frame is a mirror image on the card.
  const double up = view.view == View::kSolar ? -1.0 : 1.0;
  const auto on_card = [up](FootPoint p) { return CardPoint{p.x, up * p.y}; };
  OnPlane plane;
  for (std::size_t i = 0; i < plane.points.size(); ++i) {
    if (view.points[i]) plane.points[i] = on_card(*view.points[i]);
  }
  for (const FootPoint& p : view.outline) plane.outline.push_back(on_card(p));
  for (const FootPoint& p : view.dorsal_wall) {
    plane.dorsal_wall.push_back(on_card(p));
  }
  InFoot foot;
  PutInFoot(plane, layout, foot);
  PlainMeasures measures;
  measures.values = foot.numbers;
  measures.foot.view = view.view;
  measures.foot.points = foot.points;
  measures.foot.outline = std::move(foot.outline);
  measures.foot.dorsal_wall = std::move(foot.dorsal_wall);
  measures.widest_left = foot.widest_left;
  measures.widest_right = foot.widest_right;
  measures.axis_y = foot.axis_y;
  return measures;
}

}  // namespace plumbfoot::measure
