// SPDX-License-Identifier: Apache-2.0
#include "find/doubt.h"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <limits>
#include <numbers>
#include <opencv2/core.hpp>
#include <utility>
#include <vector>

#include "find/refine.h"

namespace plumbfoot::find {

using geometry::CardPoint;
using geometry::PhotoCovariance;
using geometry::PlacedBy;
using geometry::PlaneMap;

namespace {

// CHOSEN: what is wrong is off by 8 mm in the root mean square: the intervals
// of measures from found points then hold the truth in 96 of 100 cases (100
// rendered pairs, cards held by hand).
constexpr double kWrongMm = 8.0;
// A sole's heel is mostly wrong in where across the buttress it is, a side of
// the frog in how far along it is. CHOSEN: of the mean square that much lies
// across the sole: of rendered bare soles 70 heels that a check spoke against
// were off by 6.6 mm across and by 3.0 mm along it, the sides of 212 frogs
// by 1.2 and 2.5 mm.
constexpr double kHeelAcross = 0.8;
constexpr double kFrogAcross = 0.2;

/// Lowers the confidence of what the finder placed.
void Doubt(ViewPoints& points, std::initializer_list<PointId> ids) {
  for (const PointId id : ids) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      p->confidence = std::min(p->confidence, kUnlikely);
    }
  }
}

}  // namespace

/// Doubts what no sole has.
void DoubtSole(const PlaneMap& map, ViewPoints& points) {
  const auto axis = AxisOfFrog(map, points);
  const auto at = [&](PointId id) -> std::optional<geometry::CardVector> {
    const auto& p = points.at(id);
    const auto on_plane = p && axis ? map.Apply(p->px) : std::nullopt;
    if (!on_plane) return std::nullopt;
    const geometry::CardVector d = *on_plane - CardPoint{};
    return geometry::CardVector{Dot(d, axis->direction),
                                Dot(d, Perpendicular(axis->direction))};
  };
  const auto toe = at(PointId::kToe);
  const auto apex = at(PointId::kFrogApex);
  const auto frog_left = at(PointId::kFrogLeft);
  const auto frog_right = at(PointId::kFrogRight);
  const auto heel_left = at(PointId::kHeelLeft);
  const auto heel_right = at(PointId::kHeelRight);
  if (apex && frog_left && frog_right) {
    // CHOSEN: the frog is as wide on either side, and longer than wide, to this
    // part of its length.
    const double length = apex->x - 0.5 * (frog_left->x + frog_right->x);
    if (std::abs(frog_left->x - frog_right->x) > 0.12 * length ||
        std::abs(frog_left->y - frog_right->y) > 1.1 * length) {
      Doubt(points, {PointId::kFrogLeft, PointId::kFrogRight});
    }
  }
  if (!heel_left || !heel_right || !apex || !toe) return;
  const double length = toe->x - 0.5 * (heel_left->x + heel_right->x);
  const double left = std::abs(heel_left->y - apex->y);
  const double right = std::abs(heel_right->y - apex->y);
  // CHOSEN: one heel is never a tenth of the foot further back than the other,
  // nor twice as far from the frog's axis.
  if (std::abs(heel_left->x - heel_right->x) > 0.1 * length ||
      std::max(left, right) > 2 * std::min(left, right)) {
    Doubt(points, {PointId::kHeelLeft, PointId::kHeelRight});
  }
  // The frog's point lies inside the foot.
  const double share = (toe->x - apex->x) / length;
  if (!(share > 0.15 && share < 0.6)) {
    Doubt(points, {PointId::kToe, PointId::kFrogApex});
  }
}

namespace {

// CHOSEN: further from it is not beside it.
constexpr double kBesideMm = 25.0;

/// The corner of a closed line, near a point, that lies furthest that way.
std::optional<cv::Point2d> Furthest(const std::vector<cv::Point2d>& line,
                                    cv::Point2d way,
                                    cv::Point2d near,
                                    double reach) {
  std::optional<cv::Point2d> best;
  for (const cv::Point2d p : line) {
    if (cv::norm(p - near) > reach) continue;
    if (!best || p.dot(way) > best->dot(way)) best = p;
  }
  return best;
}

double DistanceTo(const std::vector<cv::Point2d>& closed, cv::Point2d p) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < closed.size(); ++i) {
    const cv::Point2d a = closed[i];
    const cv::Point2d along = closed[(i + 1) % closed.size()] - a;
    const double length2 = along.dot(along);
    const double t =
        length2 > 0 ? std::clamp((p - a).dot(along) / length2, 0.0, 1.0) : 0.0;
    least = std::min(least, cv::norm(p - a - t * along));
  }
  return least;
}

/// A sole's axis as its frog has it, in the look's image.
struct FrogWay {
  cv::Point2d apex;
  cv::Point2d ahead;  ///< Of length 1.

  /// Away from the axis, on the side of that point.
  cv::Point2d Outwards(cv::Point2d p) const {
    const cv::Point2d out(-ahead.y, ahead.x);
    return out.dot(p - apex) > 0 ? out : -out;
  }
};

std::optional<FrogWay> FrogWayOf(std::optional<cv::Point2d> apex,
                                 std::optional<cv::Point2d> left,
                                 std::optional<cv::Point2d> right) {
  if (!apex || !left || !right) return std::nullopt;
  const cv::Point2d axis = *apex - 0.5 * (*left + *right);
  if (!(cv::norm(axis) > 0)) return std::nullopt;
  return FrogWay{*apex, axis * (1 / cv::norm(axis))};
}

/// A heel's last bearing place is near where the outline turns from running
/// back to running across: the place furthest out and back. Beyond that the
/// horn rolls up, and looks the same. A shoe's branch goes on for its width.
bool IsAtTurn(const Sightings& seen,
              double px_per_mm,
              const FrogWay& frog,
              cv::Point2d heel) {
  // CHOSEN: on 120 rendered soles 95 of 100 heels lie within 8.9 mm of it, on a
  // shoe within 12.7.
  constexpr double kTurnMm = 9.0;
  constexpr double kTurnOnShoeMm = 13.0;
  // CHOSEN: half of the width of a narrow shoe.
  constexpr double kOnShoeMm = 5.0;
  // CHOSEN: an outline is seen to half a millimetre; the heel lies on it.
  constexpr double kOffMm = 3.0;
  const bool on_shoe = DistanceTo(seen.shoe, heel) < kOnShoeMm * px_per_mm;
  const double reach = (on_shoe ? kTurnOnShoeMm : kTurnMm) * px_per_mm;
  const auto turn = Furthest(seen.outline,
                             frog.Outwards(heel) - frog.ahead,
                             heel,
                             kBesideMm * px_per_mm);
  return turn && cv::norm(*turn - heel) <= reach &&
         DistanceTo(seen.outline, heel) <= kOffMm * px_per_mm;
}

}  // namespace

void DoubtByOutlines(const Look& look, ViewPoints& points) {
  const Sightings& seen = look.seen;
  const double scale = look.image.px_per_mm;
  const auto at = [&](PointId id) -> std::optional<cv::Point2d> {
    const auto& p = points.at(id);
    const auto on_plane = p ? look.map.Apply(p->px) : std::nullopt;
    if (!on_plane) return std::nullopt;
    return ImageFromCard(look.image, *on_plane);
  };
  // For the frog's axis a side that was too unsure to be placed will do.
  const auto about = [&](PointId id) -> std::optional<cv::Point2d> {
    if (const auto placed = at(id)) return placed;
    if (!seen.at(id)) return std::nullopt;
    return seen.at(id)->at;
  };
  const auto frog = FrogWayOf(about(PointId::kFrogApex),
                              about(PointId::kFrogLeft),
                              about(PointId::kFrogRight));
  if (!frog) return;
  for (const auto& [heel_id, frog_id] :
       {std::pair{PointId::kHeelLeft, PointId::kFrogLeft},
        std::pair{PointId::kHeelRight, PointId::kFrogRight}}) {
    const auto heel = at(heel_id);
    if (heel && !seen.outline.empty() && !IsAtTurn(seen, scale, *frog, *heel)) {
      Doubt(points, {heel_id});
    }
    const auto placed_side = at(frog_id);
    if (!placed_side) continue;
    const cv::Point2d side = *placed_side;
    if (!seen.frog.empty()) {
      // The frog runs out behind its widest place. CHOSEN: the network's masks
      // have cells of a millimetre.
      constexpr double kBehindMm = 1.0;
      constexpr double kOffMm = 3.0;
      const auto widest =
          Furthest(seen.frog, frog->Outwards(side), side, kBesideMm * scale);
      if (!widest || (*widest - side).dot(frog->ahead) > kBehindMm * scale ||
          DistanceTo(seen.frog, side) > kOffMm * scale) {
        Doubt(points, {frog_id});
      }
    }
    // Nor does it reach its widest behind the heel.
    if (heel && (*heel - side).dot(frog->ahead) > 0) Doubt(points, {frog_id});
  }
}

void TurnHeels(const PlaneImage& image, Sightings& seen) {
  // CHOSEN: of 44 heels of rendered soles that were seen more than 5 mm off the
  // other place of 32 was right; it had a likelihood of 0.03 to 0.37, mostly
  // over 0.1, the other place of the rest mostly less.
  constexpr double kLeastLikely = 0.06;
  // CHOSEN: two things speak for it and one against. Of 39 heels that were put
  // there on rendered soles none was more than 4 mm off; but those are one
  // renderer's.
  constexpr double kTurned = 0.8;
  const auto at = [&seen](PointId id) -> std::optional<cv::Point2d> {
    return seen.at(id) ? std::optional(seen.at(id)->at) : std::nullopt;
  };
  const auto frog = FrogWayOf(
      at(PointId::kFrogApex), at(PointId::kFrogLeft), at(PointId::kFrogRight));
  if (!frog || seen.outline.empty()) return;
  for (const PointId id : {PointId::kHeelLeft, PointId::kHeelRight}) {
    auto& heel = seen.at(id);
    if (!heel || heel->elsewhere_likelihood < kLeastLikely ||
        IsAtTurn(seen, image.px_per_mm, *frog, heel->at) ||
        !IsAtTurn(seen, image.px_per_mm, *frog, heel->elsewhere)) {
      continue;
    }
    heel->at = heel->elsewhere;
    heel->confidence = std::min(heel->confidence, kTurned);
  }
}

/// Doubts what no foot has from the side.
void DoubtSide(const PlaneMap& map, ViewPoints& points) {
  const auto way = [&](PointId from,
                       PointId to) -> std::optional<geometry::CardVector> {
    if (!points.at(from) || !points.at(to)) return std::nullopt;
    const auto a = map.Apply(points.at(from)->px);
    const auto b = map.Apply(points.at(to)->px);
    if (!a || !b) return std::nullopt;
    return *b - *a;
  };
  const auto back = way(PointId::kToeGround, PointId::kHeelGround);
  if (!back) return;
  // Against the way from heel to toe, opening backwards.
  const auto angle = [&](PointId low, PointId high) -> std::optional<double> {
    const auto up = way(low, high);
    if (!up) return std::nullopt;
    return std::atan2(std::abs(Cross(*back, *up)), Dot(*back, *up)) * 180 /
           std::numbers::pi;
  };
  const auto odd = [](std::optional<double> degrees, double low, double high) {
    return degrees && !(*degrees > low && *degrees < high);
  };
  // CHOSEN: wider than the feet of the published tables, 38 to 62 degrees.
  if (odd(angle(PointId::kToeGround, PointId::kToeHairline), 30, 70)) {
    Doubt(points, {PointId::kToeGround, PointId::kToeHairline});
    if (points.dorsal_wall &&
        points.dorsal_wall->placed_by == PlacedBy::kFinder) {
      points.dorsal_wall->confidence =
          std::min(points.dorsal_wall->confidence, kUnlikely);
    }
  }
  if (odd(angle(PointId::kHeelGround, PointId::kHeelHairline), 30, 75)) {
    Doubt(points, {PointId::kHeelGround, PointId::kHeelHairline});
  }
  if (odd(angle(PointId::kPasternLower, PointId::kPasternUpper), 30, 80)) {
    Doubt(points, {PointId::kPasternLower, PointId::kPasternUpper});
  }
}

void DoubtHairline(ViewPoints& points, double most) {
  for (const PointId id : {PointId::kToeHairline, PointId::kHeelHairline}) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      p->confidence = std::min(p->confidence, most);
    }
  }
}

/// No more than `most` of confidence for anything that the finder placed.
void Cap(ViewPoints& points, double most) {
  const auto cap = [most](auto& placed) {
    if (placed && placed->placed_by == PlacedBy::kFinder) {
      placed->confidence = std::min(placed->confidence, most);
    }
  };
  for (auto& p : points.points) cap(p);
  cap(points.outline);
  cap(points.dorsal_wall);
}

/// Of a point that is not sure the covariance says how it errs when it is
/// right; it also may be wrong.
void LeaveOpen(ViewPoints& points, double least) {
  for (const PointId id : geometry::PointsOf(points.view)) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder && p->confidence < least) {
      p.reset();
    }
  }
}

void LeaveCurvesOpen(ViewPoints& points, double least) {
  for (auto* curve : {&points.outline, &points.dorsal_wall}) {
    if (*curve && (*curve)->placed_by == PlacedBy::kFinder &&
        (*curve)->confidence < least) {
      curve->reset();
    }
  }
}

void ShortenWall(const PlaneMap& map, ViewPoints& points) {
  auto& wall = points.dorsal_wall;
  if (!wall || wall->placed_by != PlacedBy::kFinder || wall->px.size() < 2) {
    return;
  }
  // CHOSEN: a wall of 80 mm loses a quarter. On four old plates seen from the
  // side the wall was followed well, but began on the hair, up to 15 mm above a
  // person's hairline.
  constexpr double kCutMm = 20.0;
  // CHOSEN: less of it than half says little of its straight part.
  constexpr double kLeastLeft = 0.5;
  const auto cut_px = [&](PointId id, geometry::PhotoPoint end) {
    return points.at(id) ? 0.0 : kCutMm * PxPerMm(map, end);
  };
  const geometry::PhotoPoint top = wall->px.front();
  const geometry::PhotoPoint low = wall->px.back();
  const double from_top = cut_px(PointId::kToeHairline, top);
  const double from_low = cut_px(PointId::kToeGround, low);
  std::erase_if(wall->px, [&](geometry::PhotoPoint p) {
    return Distance(p, top) < from_top || Distance(p, low) < from_low;
  });
  if (wall->px.size() < 2 || Distance(wall->px.front(), wall->px.back()) <
                                 kLeastLeft * Distance(top, low)) {
    wall.reset();
  }
}

void WidenUnsure(const PlaneMap& map, ViewPoints& points) {
  const auto between = [&](PointId one, PointId other) {
    const auto& a = points.at(one);
    const auto& b = points.at(other);
    return a && b ? b->px - a->px : geometry::PhotoVector{};
  };
  const auto heels = between(PointId::kHeelLeft, PointId::kHeelRight);
  const auto frog = between(PointId::kFrogLeft, PointId::kFrogRight);
  for (const PointId id : geometry::PointsOf(points.view)) {
    auto& p = points.at(id);
    // The pastern's points stand on its edge, wrong only in how far up.
    const bool slides =
        id == PointId::kPasternLower || id == PointId::kPasternUpper;
    if (!p || IsSure(*p) || slides) continue;
    PhotoCovariance& c = p->covariance;
    const double wrong_px = kWrongMm * PxPerMm(map, p->px);
    const double square = (1 - p->confidence) * wrong_px * wrong_px;
    // What stands on the ground is mostly wrong in how far along it, which the
    // covariance's shape knows. CHOSEN: of the mean square so much lies in any
    // direction whatever.
    const bool on_ground =
        id == PointId::kToeGround || id == PointId::kHeelGround;
    const double any_way = on_ground ? 0.15 : 1.0;
    const double trace = c.xx + c.yy;
    const double times = trace > 0 ? 1 + (1 - any_way) * square / trace : 1.0;
    const bool heel = id == PointId::kHeelLeft || id == PointId::kHeelRight;
    const bool side = id == PointId::kFrogLeft || id == PointId::kFrogRight;
    const geometry::PhotoVector across = heel ? heels : frog;
    const double part = heel ? kHeelAcross : kFrogAcross;
    const auto more =
        (heel || side) && Norm(across) > 0
            ? PhotoCovariance::Along(across,
                                     std::sqrt(part * square),
                                     std::sqrt((1 - part) * square))
            : PhotoCovariance::Round(std::sqrt(any_way * square / 2));
    c = {
        c.xx * times + more.xx, c.xy * times + more.xy, c.yy * times + more.yy};
  }
}

}  // namespace plumbfoot::find
