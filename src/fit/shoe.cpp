// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/shoe.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>

#include "fit/edge.h"
#include "plumbfoot/fit/inches.h"
#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

/// CHOSEN: behind the last nail the edge widens over a hand's breadth of three
/// fingers; sooner, and a bump is seen.
constexpr double kRamp = 45.0;
/// CHOSEN: an edge that turns in more than this against the axis is going
/// round the buttress; branches don't follow it.
constexpr double kMostInwardsDeg = 40.0;
/// CHOSEN: and where they leave it, they turn in no more than this, so that the
/// heels of the shoe stand apart and under the foot's.
constexpr double kHeelInwardsDeg = 20.0;
/// CHOSEN: the bend between the two is as long as a heel is wide [mm].
constexpr double kHeelBend = 6.0;
/// CHOSEN: a corner that doesn't cut a hand, as a share of the web.
constexpr double kCornerOverWeb = 0.3;
/// CHOSEN: radius of the corners of a squared toe [mm].
constexpr double kSetBackCorner = 18.0;
/// CHOSEN: a rolled toe is rolled as far round as this against straight ahead.
constexpr double kRolledDeg = 45.0;
/// CHOSEN: steel that must be left beside a hole [mm].
constexpr double kBesideHole = 2.0;

/// 0 to 1, level at both ends.
double Eased(double part) {
  const double p = std::clamp(part, 0.0, 1.0);
  return p * p * (3 - 2 * p);
}

/// Degrees by which the edge, walked towards the heel, turns in.
double Inwards(FootVector to_heel, Side side) {
  return std::atan2(-SignOf(side) * to_heel.y, -to_heel.x) * 180 /
         std::numbers::pi;
}

/// Where on the wall the branch leaves the edge, and which way.
struct Leave {
  double along = 0.0;
  FootVector way;
};

Leave LeaveOf(const Sole& sole, const Walk& wall, Side side) {
  const double end = side == Side::kLeft ? 0.0 : wall.length();
  const double step = side == Side::kLeft ? -1.0 : 1.0;
  double along = wall.Nearest(sole.widest(side));
  // A chord is taken on this side of the buttress only.
  while (std::abs(end - along) > kDirectionReach) {
    const double next = along + 0.5 * step;
    const FootVector way = step * wall.Direction(next, kDirectionReach);
    if (Inwards(way, side) > kMostInwardsDeg) break;
    along = next;
  }
  const FootVector way = step * wall.Direction(along, kDirectionReach);
  const double inwards =
      std::clamp(Inwards(way, side), -kHeelInwardsDeg, kHeelInwardsDeg) *
      std::numbers::pi / 180;
  return {along, {-std::cos(inwards), -SignOf(side) * std::sin(inwards)}};
}

/// The part of a closed line in front of the line through `left` and `right`,
/// from the left to the right.
FootPolyline Before(FootPolyline closed, FootPoint left, FootPoint right) {
  if (geometry::SignedArea(closed) > 0) {
    std::reverse(closed.begin(), closed.end());
  }
  const auto line = geometry::LineThrough(left, right);
  if (!line) return {};
  // In front is on the left of the way from left to right (x forward, y left).
  const auto front = [&line](FootPoint p) {
    return geometry::SignedDistance(*line, p);
  };
  const std::size_t n = closed.size();
  std::size_t start = n;
  for (std::size_t i = 0; i < n && start == n; ++i) {
    const FootPoint& next = closed[(i + 1) % n];
    if (front(closed[i]) <= 0 && front(next) > 0 &&
        // Only the left branch's crossing.
        geometry::Distance(next, left) < geometry::Distance(next, right)) {
      start = i;
    }
  }
  if (start == n) return {};
  const auto crossing = [&front](FootPoint a, FootPoint b) {
    const double da = front(a);
    const double db = front(b);
    return a + (da / (da - db)) * (b - a);
  };
  FootPolyline run{crossing(closed[start], closed[(start + 1) % n])};
  for (std::size_t k = 1; k < n; ++k) {
    const FootPoint& p = closed[(start + k) % n];
    if (front(p) <= 0) {
      run.push_back(crossing(closed[(start + k - 1) % n], p));
      break;
    }
    run.push_back(p);
  }
  return run;
}

Refusal WebMeets() {
  return {RefusalCode::kImplausible,
          "The web is too wide: the shoe's branches would meet.",
          "Give a narrower --web."};
}

/// The outer edge with the toe's part cut off square at x and its corners
/// rounded.
FootPolyline SetBack(const FootPolyline& outer, double x) {
  // Straight back behind the heels, so that their corners stay out of it.
  constexpr double kBehind = 100.0;
  FootPolyline region = outer;
  region.push_back(outer.back() - FootVector{kBehind, 0});
  region.push_back(outer.front() - FootVector{kBehind, 0});
  constexpr double kFar = 1000.0;
  const FootPolyline behind = {
      {-kFar, -kFar}, {x, -kFar}, {x, kFar}, {-kFar, kFar}};
  const auto cut =
      geometry::Intersection<geometry::FootFrame>({region}, {behind});
  if (cut.size() != 1) return {};
  const auto smaller = geometry::Offset(cut.front(), -kSetBackCorner);
  if (smaller.size() != 1) return {};
  const auto rounded = geometry::Offset(smaller.front(), kSetBackCorner);
  if (rounded.size() != 1) return {};
  return Before(rounded.front(), outer.front(), outer.back());
}

}  // namespace

double HeelLengthFor(HeelRule rule, double thickness_mm) {
  switch (rule) {
    case HeelRule::kRegular:
      return thickness_mm;
    case HeelRule::kSloping:
      return 1.8 * thickness_mm;  // CHOSEN: "nearly double".
    case HeelRule::kUpright:
      return kMillimetresPerInch / 8;
  }
  throw std::invalid_argument("HeelLengthFor: not a HeelRule");
}

HeelRule HeelRuleFor(double toe_angle_deg) {
  if (toe_angle_deg < 50) return HeelRule::kSloping;
  return toe_angle_deg > 55 ? HeelRule::kUpright : HeelRule::kRegular;
}

Result<FootPolyline> EdgeWithin(const FootPolyline& outer, double distance) {
  if (!(distance > 0) || outer.size() < 3) {
    throw std::invalid_argument("EdgeWithin: no edge or no distance");
  }
  // Beyond its ends the outer edge goes on straight, so that the band's own
  // ends lie behind the shoe's.
  FootPolyline beyond = outer;
  // CHOSEN: over these chords the ends are straight [mm].
  constexpr double kEnd = 4.0;
  const Walk walk(outer);
  const FootVector left = walk.At(0) - walk.At(kEnd);
  const FootVector right =
      walk.At(walk.length()) - walk.At(walk.length() - kEnd);
  // Just so far that the band's end, square to the branch, clears the cut.
  const FootVector back = geometry::Perpendicular(outer.back() - outer.front());
  const auto beyond_end = [&](FootPoint end, FootVector way) {
    const double slant = std::abs(geometry::Cross(back, way)) /
                         std::max(std::abs(geometry::Dot(back, way)), 1e-9);
    // CHOSEN: beyond 76 degrees the cut runs along the branch.
    const double on = 1 + distance * std::min(slant, 4.0);
    return end + (on / geometry::Norm(way)) * way;
  };
  beyond.insert(beyond.begin(), beyond_end(outer.front(), left));
  beyond.push_back(beyond_end(outer.back(), right));
  const auto band = geometry::Band(beyond, distance);
  const auto pieces =
      geometry::Intersection<geometry::FootFrame>(band, {outer});
  if (pieces.size() != 1) return WebMeets();
  // The piece runs along the outer edge and back along the inner one.
  FootPolyline piece = pieces.front();
  if (geometry::SignedArea(piece) < 0) {
    std::reverse(piece.begin(), piece.end());
  }
  const std::size_t n = piece.size();
  // Against the line with its straight ends: a corner at the cut is nearer to
  // the end of the outer edge than to the line that the edge lies on.
  const Walk whole(beyond);
  std::vector<bool> is_inner(n);
  for (std::size_t i = 0; i < n; ++i) {
    // CHOSEN: Clipper rounds arcs to 1/10000 of the distance; this is a hundred
    // times that.
    is_inner[i] =
        geometry::Distance(piece[i], whole.At(whole.Nearest(piece[i]))) >
        0.99 * distance;
  }
  std::size_t start = n;
  for (std::size_t i = 0; i < n; ++i) {
    if (!is_inner[i] && is_inner[(i + 1) % n]) {
      if (start != n) return WebMeets();
      start = (i + 1) % n;
    }
  }
  if (start == n) return WebMeets();
  FootPolyline edge;
  for (std::size_t k = 0; k < n && is_inner[(start + k) % n]; ++k) {
    edge.push_back(piece[(start + k) % n]);
  }
  if (edge.size() < 2) return WebMeets();
  if (geometry::Distance(edge.front(), outer.front()) >
      geometry::Distance(edge.back(), outer.front())) {
    std::reverse(edge.begin(), edge.end());
  }
  return edge;
}

Result<Shoe> FitShoe(const Sole& sole,
                     const NailPlan& nails,
                     const ShoeOptions& options) {
  Shoe shoe;
  shoe.options = options;
  shoe.heel_length_mm = options.heel_length_mm.value_or(
      HeelLengthFor(HeelRule::kRegular, options.thickness_mm));
  if (!(options.web_mm > 0) || !(options.thickness_mm > 0) ||
      !(options.fullness_mm >= 0) || !(shoe.heel_length_mm >= 0) ||
      !(options.set_back_mm >= 0) || !(options.rolled_mm >= 0)) {
    throw std::invalid_argument("FitShoe: a length below zero");
  }
  const Walk wall(sole.wall);
  const Leave left = LeaveOf(sole, wall, Side::kLeft);
  const Leave right = LeaveOf(sole, wall, Side::kRight);
  const auto fullness = [&](double along) {
    const double behind =
        std::max(nails.last_left_along - along, along - nails.last_right_along);
    return options.fullness_mm * Eased(behind / kRamp);
  };
  const auto outside = [&](double along) {
    const double full = fullness(along);
    const FootPoint edge = wall.At(along);
    // Flush is flush: no rounding by a normal's length.
    return full > 0 ? edge + full * wall.Outwards(along, kDirectionReach)
                    : edge;
  };
  const auto end_of = [&](const Leave& leave, Side side) {
    const FootPoint from = outside(leave.along);
    const double x = sole.heel(side).x - shoe.heel_length_mm;
    return from + ((x - from.x) / leave.way.x) * leave.way;
  };
  // From the end of a branch to where it lies along the foot: straight, then a
  // bend that touches both lines (a parabola, as a quadratic Bezier curve).
  const auto heel_of = [&](const Leave& leave, Side side) {
    const FootPoint corner = outside(leave.along);
    const FootPoint end = end_of(leave, side);
    const double step = side == Side::kLeft ? 1.0 : -1.0;
    const double bend =
        std::min(kHeelBend, geometry::Distance(corner, end) / 2);
    const FootPoint from = corner + bend * leave.way;
    const FootPoint to = outside(leave.along + step * bend);
    FootPolyline line{end};
    constexpr int kPieces = 12;
    for (int i = 0; i < kPieces; ++i) {
      const double t = static_cast<double>(i) / kPieces;
      const FootPoint a = from + t * (corner - from);
      const FootPoint b = corner + t * (to - corner);
      line.push_back(a + t * (b - a));
    }
    return std::pair{line, leave.along + step * bend};
  };
  auto [left_heel, from_along] = heel_of(left, Side::kLeft);
  auto [right_heel, to_along] = heel_of(right, Side::kRight);
  shoe.outer = std::move(left_heel);
  const auto steps = static_cast<int>(std::ceil(to_along - from_along));
  for (int i = 0; i <= steps; ++i) {
    shoe.outer.push_back(
        outside(from_along + (to_along - from_along) * i / steps));
  }
  shoe.outer.insert(shoe.outer.end(), right_heel.rbegin(), right_heel.rend());
  if (options.set_back_mm > 0) {
    shoe.outer = SetBack(shoe.outer, sole.toe_x - options.set_back_mm);
    if (shoe.outer.size() < 3) return WebMeets();
  }

  auto inner = EdgeWithin(shoe.outer, options.web_mm);
  if (!inner) return inner.error();
  shoe.inner = std::move(*inner);
  auto middle = EdgeWithin(shoe.outer, options.web_mm / 2);
  if (!middle) return middle.error();
  shoe.middle = std::move(*middle);

  FootPolyline whole = shoe.outer;
  whole.insert(whole.end(), shoe.inner.rbegin(), shoe.inner.rend());
  const double corner = kCornerOverWeb * options.web_mm;
  const auto smaller = geometry::Offset(whole, -corner);
  if (smaller.size() != 1) return WebMeets();
  const auto rounded = geometry::Offset(smaller.front(), corner);
  if (rounded.size() != 1) return WebMeets();
  // An offset may touch itself within its rounding; what is cut must not.
  const auto clean =
      geometry::Intersection<geometry::FootFrame>(rounded, rounded);
  if (clean.size() != 1) return WebMeets();
  for (const FootPoint& p : clean.front()) {
    // CHOSEN: corners nearer than this are one [mm].
    if (shoe.body.empty() || geometry::Distance(p, shoe.body.back()) > 1e-3) {
      shoe.body.push_back(p);
    }
  }

  double front = -std::numeric_limits<double>::infinity();
  double most_left = front;
  double most_right = -front;
  for (const FootPoint& p : shoe.outer) {
    front = std::max(front, p.x);
    most_left = std::max(most_left, p.y);
    most_right = std::min(most_right, p.y);
  }
  shoe.width_mm = most_left - most_right;
  shoe.length_mm = front - (shoe.outer.front().x + shoe.outer.back().x) / 2;

  if (options.rolled_mm > 0) {
    const Walk edge(shoe.outer);
    for (double s = 0; s <= edge.length(); s += 1.0) {
      const FootVector out = edge.Outwards(s, kDirectionReach);
      if (std::abs(std::atan2(out.y, out.x)) * 180 / std::numbers::pi <
          kRolledDeg) {
        shoe.roll.push_back(edge.At(s) - options.rolled_mm * out);
      }
    }
  }
  return shoe;
}

NailPlan HolesWithin(const Shoe& shoe, NailPlan nails) {
  const Walk outer(shoe.outer);
  const Walk inner(shoe.inner);
  // A toe that is set back takes its clip along.
  for (Clip& clip : nails.clips) clip.at = outer.At(outer.Nearest(clip.at));
  for (Slot& slot : nails.slots) {
    const Nail* nail = slot.nail();
    if (nail == nullptr) continue;
    bool within = geometry::Contains(shoe.body, nail->at);
    for (const FootPoint& corner : HoleCorners(*nail)) {
      within = within && geometry::Contains(shoe.body, corner);
      for (const Walk* edge : {&outer, &inner}) {
        within = within &&
                 geometry::Distance(corner, edge->At(edge->Nearest(corner))) >=
                     kBesideHole;
      }
    }
    if (!within) slot.outcome = LeftOut::kOutsideWeb;
  }
  return nails;
}

}  // namespace plumbfoot::fit
