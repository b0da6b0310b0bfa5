// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/shoe_gap.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

#include "fit/edge.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

/// CHOSEN: beyond this the shoe is another foot's; a web is wider, so that its
/// inner edge is never taken for the outer one [mm].
constexpr double kReach = 15.0;
/// CHOSEN: what is listed [mm].
constexpr double kEvery = 10.0;

/// CHOSEN: so near to the buttress the way out of the foot may pass behind a
/// shoe that ends there: nothing is laid by these places [mm].
constexpr double kHeelEnd = 15.0;
/// CHOSEN: how far the way out of the foot may be turned near a buttress [rad],
/// and its foot moved along the edge [mm], as standard uncertainties.
constexpr double kTurned = 0.17;
constexpr double kMoved = 1.5;
/// CHOSEN: of a loose shoe's edge anywhere (0.1 mm root mean square on rendered
/// photos, ctest -R LooseShoe) [mm].
constexpr double kEdgeSigma = 0.2;

struct Place {
  double along = 0.0;
  FootPoint at;
  FootVector out;
};

/// A shoe's outline, and which of its corners lie on the outer edge.
struct Shape {
  FootPolyline line;
  std::vector<bool> outer;
};

/// CHOSEN: the outer edge bends in less than this, the inner one lies a web
/// inside [mm].
constexpr double kOffHull = 6.0;

std::vector<bool> OnOuterEdge(const FootPolyline& line) {
  FootPolyline hull = geometry::ConvexHull(line);
  hull.push_back(hull.front());
  std::vector<bool> outer;
  outer.reserve(line.size());
  for (const FootPoint& p : line) {
    double off = std::numeric_limits<double>::infinity();
    for (std::size_t i = 1; i < hull.size(); ++i) {
      off = std::min(
          off,
          geometry::Distance(p, NearestOnSegment(hull[i - 1], hull[i], p)));
    }
    outer.push_back(off < kOffHull);
  }
  return outer;
}

/// Where the straight line out of the foot meets the shoe's outer edge: the
/// signed distance nearest to nothing; nothing within reach: none.
std::optional<double> GapAt(const Place& place, const Shape& shoe) {
  std::optional<double> gap;
  const FootVector along = geometry::Perpendicular(place.out);
  for (std::size_t i = 0; i < shoe.line.size(); ++i) {
    const std::size_t next = i + 1 < shoe.line.size() ? i + 1 : 0;
    if (!shoe.outer[i] || !shoe.outer[next]) continue;
    const FootPoint a = shoe.line[i];
    const FootPoint b = shoe.line[next];
    const double ua = geometry::Dot(along, a - place.at);
    const double ub = geometry::Dot(along, b - place.at);
    if ((ua > 0) != (ub > 0)) {
      const FootPoint on = a + (ua / (ua - ub)) * (b - a);
      const double d = geometry::Dot(place.out, on - place.at);
      if (std::abs(d) <= kReach && (!gap || std::abs(d) < std::abs(*gap))) {
        gap = d;
      }
    }
  }
  return gap;
}

FootPolyline Moved(const FootPolyline& line,
                   FootPoint about,
                   double turn,
                   FootVector by) {
  const double c = std::cos(turn);
  const double s = std::sin(turn);
  FootPolyline moved;
  moved.reserve(line.size());
  for (const FootPoint& p : line) {
    const FootVector d = p - about;
    moved.push_back(about + FootVector{c * d.x - s * d.y, s * d.x + c * d.y} +
                    by);
  }
  return moved;
}

/// What a shoe is laid by: the edge before the widest part, and, since a round
/// toe leaves the turn open, places behind it that are as far from the toe on
/// either side: their gaps shall be alike.
struct Guide {
  std::vector<Place> front;
  std::vector<std::array<Place, 2>> rear;
};

/// CHOSEN: a pair behind counts half of a place in front, so that the heels
/// turn the shoe and hardly shift it.
constexpr double kRearWeight = 0.5;

/// Mean square of the gaps in front; a place without one counts as the reach.
double FrontCost(const Guide& guide, const Shape& shoe) {
  double cost = 0.0;
  for (const Place& place : guide.front) {
    const double gap = GapAt(place, shoe).value_or(kReach);
    cost += gap * gap;
  }
  return cost / static_cast<double>(guide.front.size());
}

double Cost(const Guide& guide, const Shape& shoe) {
  double rear = 0.0;
  for (const auto& [left, right] : guide.rear) {
    const auto a = GapAt(left, shoe);
    const auto b = GapAt(right, shoe);
    const double unlike = a && b ? *a - *b : kReach;
    rear += kRearWeight * unlike * unlike;
  }
  return FrontCost(guide, shoe) +
         rear / static_cast<double>(guide.front.size());
}

/// Gauss and Newton's steps of turn and shift.
Shape Settled(const Guide& guide, Shape shoe) {
  double cost = Cost(guide, shoe);
  for (int round = 0; round < 40; ++round) {
    Eigen::Matrix3d squares = 1e-9 * Eigen::Matrix3d::Identity();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    const FootPoint about = geometry::Centroid(shoe.line);
    // How a place's gap changes with shift and turn.
    const auto row_of = [&about](const Place& place, double gap) {
      const FootPoint on = place.at + gap * place.out;
      const FootVector arm = geometry::Perpendicular(on - about);
      return Eigen::Vector3d(
          place.out.x, place.out.y, geometry::Dot(place.out, arm) / 50);
    };
    const auto add =
        [&](const Eigen::Vector3d& row, double off, double weight) {
          squares += weight * row * row.transpose();
          right -= weight * off * row;
        };
    for (const Place& place : guide.front) {
      const auto gap = GapAt(place, shoe);
      if (gap) add(row_of(place, *gap), *gap, 1.0);
    }
    for (const auto& [one, other] : guide.rear) {
      const auto a = GapAt(one, shoe);
      const auto b = GapAt(other, shoe);
      if (!a || !b) continue;
      add(row_of(one, *a) - row_of(other, *b), *a - *b, kRearWeight);
    }
    const Eigen::Vector3d step = squares.ldlt().solve(right);
    Shape next{
        Moved(shoe.line, about, step(2) / 50, FootVector{step(0), step(1)}),
        shoe.outer};
    const double its_cost = Cost(guide, next);
    if (!(its_cost < cost)) break;
    const bool settled = cost - its_cost < 1e-10;
    cost = its_cost;
    shoe = std::move(next);
    if (settled) break;
  }
  return shoe;
}

Place PlaceAt(const Walk& wall, double along) {
  return {along, wall.At(along), wall.Outwards(along, kDirectionReach)};
}

}  // namespace

Result<ShoeGap> CompareShoe(const Sole& sole,
                            const FootPolyline& edge,
                            bool mirrored) {
  // CHOSEN: fewer corners than these are no outline of a shoe.
  if (edge.size() < 12) {
    return Refusal{RefusalCode::kTooFewPoints,
                   "The shoe's outline has too few points.",
                   "Place a dozen points or more along its outer edge."};
  }
  FootPolyline shoe = edge;
  if (mirrored) {
    for (FootPoint& p : shoe) p.y = -p.y;
  }
  const Walk wall(sole.wall);
  const double toe = ToeCentre(sole, wall);
  const double from = wall.Nearest(sole.widest_left);
  const double to = wall.Nearest(sole.widest_right);
  Guide guide;
  for (double s = from; s <= to; s += 4.0) {
    guide.front.push_back(PlaceAt(wall, s));
  }
  const double reach = std::min(toe, wall.length() - toe) - kHeelEnd;
  for (double s = std::max(toe - from, to - toe); s < reach; s += 4.0) {
    guide.rear.push_back({PlaceAt(wall, toe - s), PlaceAt(wall, toe + s)});
  }

  // Nobody knows which way the shoe lay: from all sides, its middle on the
  // foot's, moved so that its foremost place lies at the foot's.
  const FootPoint middle = geometry::Centroid(geometry::ConvexHull(shoe));
  const std::vector<bool> outer = OnOuterEdge(shoe);
  double least = std::numeric_limits<double>::infinity();
  std::optional<Shape> best;
  const double middle_y = (sole.widest_left.y + sole.widest_right.y) / 2;
  for (int k = 0; k < 24; ++k) {
    FootPolyline turned =
        Moved(shoe, middle, k * std::numbers::pi / 12, FootVector{});
    double most_x = -std::numeric_limits<double>::infinity();
    double low_y = -most_x;
    double high_y = most_x;
    for (const FootPoint& p : turned) {
      most_x = std::max(most_x, p.x);
      low_y = std::min(low_y, p.y);
      high_y = std::max(high_y, p.y);
    }
    turned = Moved(turned,
                   middle,
                   0.0,
                   {sole.toe_x - most_x, middle_y - (low_y + high_y) / 2});
    Shape settled = Settled(guide, {std::move(turned), outer});
    const double cost = Cost(guide, settled);
    if (cost < least) {
      least = cost;
      best = std::move(settled);
    }
  }
  const double rms = best ? std::sqrt(FrontCost(guide, *best)) : kReach;
  // CHOSEN: a third of the reach, root mean square, is no shoe of this foot.
  if (!(rms < kReach / 3)) {
    return Refusal{RefusalCode::kImplausible,
                   "The shoe's outline fits the foot nowhere within 15 mm.",
                   "Check that it is the shoe of this foot, that the whole of "
                   "its outer edge was found, and which side of it was up."};
  }
  ShoeGap result;
  result.shoe = best->line;
  result.rms_front_mm = rms;
  const auto add = [&](Side side, double along) {
    const Place place = PlaceAt(wall, along);
    const auto gap = GapAt(place, *best);
    if (!gap) return;
    double variance = kEdgeSigma * kEdgeSigma;
    if (std::min(along, wall.length() - along) < kHeelEnd) {
      // Both ways of each must still meet the shoe, or the gap isn't known.
      const auto spread = [&](double move, double turn) {
        double squares = 0.0;
        for (const double sign : {-1.0, 1.0}) {
          Place other = PlaceAt(
              wall, std::clamp(along + sign * move, 0.0, wall.length()));
          const double c = std::cos(sign * turn);
          const double s = std::sin(sign * turn);
          other.out = {c * other.out.x - s * other.out.y,
                       s * other.out.x + c * other.out.y};
          const auto there = GapAt(other, *best);
          if (!there) return std::numeric_limits<double>::infinity();
          squares += (*there - *gap) * (*there - *gap) / 2;
        }
        return squares;
      };
      variance += spread(kMoved, 0.0) + spread(0.0, kTurned);
      if (!std::isfinite(variance)) return;
    }
    result.places.push_back({side,
                             std::abs(along - toe),
                             place.at,
                             place.at + *gap * place.out,
                             *gap,
                             std::sqrt(variance)});
    // What is that unsure is no greatest gap.
    if (variance > 1.0) return;
    result.most_out_mm = std::max(result.most_out_mm, *gap);
    result.most_in_mm = std::max(result.most_in_mm, -*gap);
  };
  for (double s = std::floor(toe / kEvery) * kEvery; s > 0; s -= kEvery) {
    add(Side::kLeft, toe - s);
  }
  for (double s = 0; s < wall.length() - toe; s += kEvery) {
    add(Side::kRight, toe + s);
  }
  double left = std::numeric_limits<double>::infinity();
  double right = left;
  for (const FootPoint& p : result.shoe) {
    (p.y > middle_y ? left : right) =
        std::min(p.y > middle_y ? left : right, p.x);
  }
  result.heel_left_mm = sole.heel_left.x - left;
  result.heel_right_mm = sole.heel_right.x - right;
  return result;
}

}  // namespace plumbfoot::fit
