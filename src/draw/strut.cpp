// SPDX-License-Identifier: Apache-2.0
#include "draw/strut.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace plumbfoot::draw {
namespace {

/// A flap outside the fold from `from` to `to`, on the side of `out`, cut back
/// at its two ends.
NetPanel Flap(std::string name,
              int parent,
              CanvasPoint from,
              CanvasPoint to,
              CanvasVector out,
              double height,
              double back_from,
              double back_to,
              double turn_deg) {
  const CanvasVector along = (to - from) / geometry::Distance(from, to);
  return {std::move(name),
          {from,
           from + height * out + back_from * along,
           to + height * out - back_to * along,
           to},
          parent,
          from,
          to,
          turn_deg,
          true};
}

NetPanel Side(std::string name,
              int parent,
              double x0,
              double x1,
              double y0,
              double y1,
              double turn_deg) {
  return {std::move(name),
          {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}},
          parent,
          {x0, y0},
          {x0, y1},
          turn_deg,
          false};
}

}  // namespace

std::vector<NetPanel> TubeNet(const Strut& strut) {
  const double leg = strut.leg_mm;
  const double slope = std::numbers::sqrt2 * leg;
  const double top = strut.flap_mm;
  const double low = top + strut.depth_mm;
  const double b0 = leg;
  const double c0 = 2 * leg;
  const double t0 = c0 + slope;
  const double flap = strut.flap_mm;
  // Folded inwards, a flap must not run through its neighbours: 45 degrees at
  // the square corner, flatter at the two sharp corners.
  const double at_square = 1.1 * flap;
  const double at_sharp = 1.25 * flap;
  constexpr CanvasVector kUp{0, -1};
  return {
      Side("foot a", -1, 0, b0, top, low, 0),
      Side("foot b", 0, b0, c0, top, low, 90),
      Side("slope", 1, c0, t0, top, low, 135),
      {"tab",
       {{t0, top},
        {t0 + flap, top + flap / 2},
        {t0 + flap, low - flap / 2},
        {t0, low}},
       2,
       {t0, top},
       {t0, low},
       135,
       true},
      Flap("in", 0, {0, top}, {b0, top}, kUp, flap, at_sharp, at_square, 90),
      Flap("in", 1, {b0, top}, {c0, top}, kUp, flap, at_square, at_sharp, 90),
      Flap("out", 2, {c0, top}, {t0, top}, kUp, flap, 2, 2, -90),
  };
}

std::vector<NetPanel> LidNet(const Strut& strut) {
  const double leg = strut.leg_mm - 2 * strut.lid_play_mm;
  const double flap = 0.75 * strut.flap_mm;
  // The square corner is at the bottom left.
  const CanvasPoint square{flap, flap * std::numbers::sqrt2 + leg};
  const CanvasPoint top = square - CanvasVector{0, leg};
  const CanvasPoint right = square + CanvasVector{leg, 0};
  const CanvasVector diagonal{std::numbers::sqrt2 / 2,
                              -std::numbers::sqrt2 / 2};
  const double cut = 1.25 * flap;
  return {
      {"lid", {square, top, right}, -1, {}, {}, 0, false},
      Flap("back", 0, square, top, {-1, 0}, flap, cut, cut, 90),
      Flap("back", 0, top, right, diagonal, flap, cut, cut, 90),
      Flap("back", 0, right, square, {0, 1}, flap, cut, cut, 90),
  };
}

Box NetBox(const std::vector<NetPanel>& net) {
  double left = 1e9;
  double top = 1e9;
  double right = -1e9;
  double bottom = -1e9;
  for (const NetPanel& panel : net) {
    for (const CanvasPoint& c : panel.corners) {
      left = std::min(left, c.x);
      right = std::max(right, c.x);
      top = std::min(top, c.y);
      bottom = std::max(bottom, c.y);
    }
  }
  return {left, top, right - left, bottom - top};
}

}  // namespace plumbfoot::draw
