// SPDX-License-Identifier: Apache-2.0
#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <utility>

#include "find/refine.h"
#include "find/roughness.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoCovariance;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;
using geometry::PlacedCurve;
using geometry::PlacedPoint;
using geometry::PlaneMap;

// CHOSEN: chips and rasp marks are shorter.
constexpr double kOutlineSmoothMm = 5.0;
// CHOSEN: on 197 rendered soles places of the outline lay 0.13 mm (median of
// their root mean squares) off the bearing edge, where the edge in the photo
// says 0.05: it is sharp, but here and there another one.
constexpr double kOutlineSigmaMm = 0.12;
// CHOSEN: on 59 rendered soles the outlines that had gone over to fingers were
// rougher than 0.28 mm, all others up to 0.25, mostly below 0.2; they were off
// by three times what they were rougher (root mean square).
constexpr double kRoughMm = 0.27;
constexpr double kUsuallyRoughMm = 0.2;
constexpr double kOffByRoughness = 3.0;
// CHOSEN: a frog's tip runs out flat. On those soles it was found 1.2 mm
// (median) behind where the frog's form ends.
constexpr double kApexSigmaMm = 1.2;

/// The part of a closed outline from one heel round the toe to the other.
PhotoPolyline RoundTheToe(const PhotoPolyline& outline,
                          PhotoPoint from,
                          PhotoPoint to) {
  const auto nearest = [&](PhotoPoint p) {
    return std::min_element(outline.begin(),
                            outline.end(),
                            [&](PhotoPoint a, PhotoPoint b) {
                              return Distance(a, p) < Distance(b, p);
                            }) -
           outline.begin();
  };
  const auto n = static_cast<std::ptrdiff_t>(outline.size());
  std::ptrdiff_t a = nearest(from);
  std::ptrdiff_t b = nearest(to);
  const auto length = [&](std::ptrdiff_t i, std::ptrdiff_t j) {
    double sum = 0;
    for (; i != j; i = (i + 1) % n) {
      sum += Distance(outline[static_cast<std::size_t>(i)],
                      outline[static_cast<std::size_t>((i + 1) % n)]);
    }
    return sum;
  };
  if (length(a, b) < length(b, a)) std::swap(a, b);
  PhotoPolyline part;
  for (std::ptrdiff_t i = a;; i = (i + 1) % n) {
    part.push_back(outline[static_cast<std::size_t>(i)]);
    if (i == b) break;
  }
  return part;
}

/// A point's standard uncertainty in the plane along a direction [mm].
double SigmaAlong(const PlaneMap& map,
                  const PlacedPoint& point,
                  geometry::CardVector direction) {
  const auto at = map.Apply(point.px);
  const auto x = map.Apply(point.px + PhotoVector{1.0, 0.0});
  const auto y = map.Apply(point.px + PhotoVector{0.0, 1.0});
  if (!at || !x || !y) return 0.0;
  const PhotoVector g{Dot(*x - *at, direction), Dot(*y - *at, direction)};
  const PhotoCovariance& c = point.covariance;
  return std::sqrt(c.xx * g.x * g.x + 2 * c.xy * g.x * g.y + c.yy * g.y * g.y);
}

/// Doubts an outline that waves as fingers on it do.
void DoubtRough(const PlaneMap& map, PlacedCurve& outline) {
  geometry::CardPolyline line;
  for (const PhotoPoint p : outline.px) {
    const auto at = map.Apply(p);
    if (!at) return;
    line.push_back(*at);
  }
  const double rough = Roughness(line);
  const double more = rough * rough - kUsuallyRoughMm * kUsuallyRoughMm;
  if (more > 0) {
    outline.sigma_px = std::hypot(
        outline.sigma_px,
        kOffByRoughness * std::sqrt(more) * PxPerMm(map, outline.px.front()));
  }
  if (rough > kRoughMm) {
    outline.confidence = std::min(outline.confidence, kUnlikely);
  }
}

/// How far the outline strays, near the toe, from the one that the finder saw
/// [mm]: from where it mostly runs beside that.
/// @param seen As the finder saw it, closed; in the photo.
double StraysNearToe(const PlaneMap& map,
                     const PhotoPolyline& outline,
                     const PhotoPolyline& seen,
                     PhotoPoint toe,
                     double front_mm) {
  const double px_per_mm = PxPerMm(map, toe);
  std::vector<double> beside;
  double least = 0.0;
  double most = 0.0;
  bool any = false;
  for (const PhotoPoint p : outline) {
    const OnCurve on = NearestOn(seen, true, p);
    const double side = Cross(on.direction, p - on.px) < 0 ? -1.0 : 1.0;
    beside.push_back(side * on.distance_px / px_per_mm);
    if (Distance(p, toe) > front_mm * px_per_mm) continue;
    least = any ? std::min(least, beside.back()) : beside.back();
    most = any ? std::max(most, beside.back()) : beside.back();
    any = true;
  }
  if (!any) return 0.0;
  const auto middle =
      beside.begin() + static_cast<std::ptrdiff_t>(beside.size() / 2);
  std::nth_element(beside.begin(), middle, beside.end());
  return std::max(*middle - least, most - *middle);
}

/// Puts the toe, which is the outline's foremost place along the frog, where
/// this and what the finder saw agree best. The two know nothing of each other:
/// where they are far apart, neither is believed.
/// @param seen_outline As the finder saw it, closed; in the photo.
void PlaceToe(const PlaneMap& map,
              PhotoPoint seen_px,
              const PhotoPolyline& seen_outline,
              ViewPoints& points) {
  auto& toe = points.at(PointId::kToe);
  const auto axis = AxisOfFrog(map, points);
  if (!toe || toe->placed_by == PlacedBy::kPerson || !points.outline || !axis) {
    return;
  }
  const geometry::CardVector ahead = axis->direction;
  const geometry::CardVector across = Perpendicular(ahead);
  const auto seen = map.Apply(seen_px);
  if (!seen) return;
  // x = c0 + c1 y + c2 y^2 over the front of the outline.
  constexpr double kFrontMm = 22.0;  // CHOSEN: round enough, wide enough.
  std::vector<geometry::CardVector> front;
  double top = -1e9;
  double top_y = 0.0;
  for (const PhotoPoint p : points.outline->px) {
    const auto at = map.Apply(p);
    if (!at) return;
    const geometry::CardVector d = *at - *seen;
    front.push_back({Dot(d, ahead), Dot(d, across)});
    if (front.back().x > top) {
      top = front.back().x;
      top_y = front.back().y;
    }
  }
  std::erase_if(front, [&](geometry::CardVector p) {
    return std::abs(p.y - top_y) > kFrontMm || p.x < top - kFrontMm;
  });
  if (front.size() < 6) return;
  const auto row = [&](geometry::CardVector p) {
    const double y = p.y - top_y;
    return Eigen::Vector3d(1.0, y, y * y);
  };
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  for (const geometry::CardVector p : front) {
    normal += row(p) * row(p).transpose();
    right += p.x * row(p);
  }
  const Eigen::Vector3d c = normal.ldlt().solve(right);
  if (!(c[2] < -1e-4)) return;
  // CHOSEN: on 95 of 100 rendered soles the front is a parabola to 0.27 mm in
  // the root mean square; of 300 it was off by more than this on three, on two
  // of which a finger's pad behind the toe had been taken for it.
  constexpr double kBumpMm = 0.5;
  double squares = 0.0;
  for (const geometry::CardVector p : front) {
    squares += std::pow(p.x - c.dot(row(p)), 2);
  }
  if (squares > kBumpMm * kBumpMm * static_cast<double>(front.size())) {
    toe->confidence = std::min(toe->confidence, kUnlikely);
    return;
  }
  const double foremost = top_y - c[1] / (2 * c[2]);
  // CHOSEN: for chips and the outline's own error.
  constexpr double kShapeMm = 0.7;
  const double by_shape =
      std::pow(axis->sigma / (2 * c[2]), 2) + kShapeMm * kShapeMm;
  // CHOSEN: an outline that leaves the finder's toe by more is another edge.
  constexpr double kAheadMm = 2.5;
  const double by_eye = std::pow(SigmaAlong(map, *toe, across), 2);
  // CHOSEN: nor does horn come and go so far from where the finder saw it
  // within the front: there the outline has jumped to another edge, and with it
  // the foremost place. On 39 rendered soles at most 1.0 where the toe was
  // right.
  constexpr double kStraysMm = 1.5;
  if (foremost * foremost > 9 * (by_shape + by_eye) ||
      std::abs(top) > kAheadMm ||
      StraysNearToe(map, points.outline->px, seen_outline, toe->px, kFrontMm) >
          kStraysMm) {
    toe->confidence = std::min(toe->confidence, kUnlikely);
    return;
  }
  const double together = 1 / (1 / by_shape + 1 / by_eye);
  const double y = foremost * together / by_shape;
  const double x = c[0] + c[1] * (y - top_y) + c[2] * (y - top_y) * (y - top_y);
  const PhotoPoint place = map.Inverse(*seen + x * ahead + y * across);
  const PhotoVector along =
      map.Inverse(*seen + x * ahead + (y + 1) * across) - place;
  toe->px = place;
  toe->covariance = PhotoCovariance::Along(along / Norm(along),
                                           std::sqrt(together) * Norm(along),
                                           points.outline->sigma_px);
  // Of two places that are further apart than a sure one may be off, one is
  // wrong, however little a flat front or the finder's map mind.
  constexpr double kFarMm = 5.0;
  // CHOSEN: as for the toe on the ground.
  constexpr double kNearMm = 4.0;
  if (std::abs(y) > kFarMm) {
    toe->confidence = std::min(toe->confidence, kUnlikely);
  } else if (std::abs(y) < kNearMm) {
    toe->confidence = std::max(toe->confidence, kBorneOut);
  }
}

/// A heel that was seen off the hoof is none: it goes to where the other one is
/// mirrored in the frog's axis, on the hoof's outline, as a guess.
/// @param outline As the finder saw it, closed; in the photo.
void MirrorLostHeel(const PlaneMap& map,
                    const PhotoPolyline& outline,
                    ViewPoints& points) {
  // CHOSEN: more than an outline and a point of it are apart: on some 200
  // rendered soles two heels were so lost; one, looked at, was on a bulb.
  constexpr double kLostMm = 5.0;
  // CHOSEN: heels of a foot are not quite alike.
  constexpr double kGuessSigmaMm = 4.0;
  auto& left = points.at(PointId::kHeelLeft);
  auto& right = points.at(PointId::kHeelRight);
  const auto axis = AxisOfFrog(map, points);
  if (!left || !right || !axis) return;
  const double px_per_mm = PxPerMm(map, outline.front());
  const auto is_lost = [&](const PlacedPoint& heel) {
    return heel.placed_by == PlacedBy::kFinder &&
           NearestOn(outline, true, heel.px).distance_px > kLostMm * px_per_mm;
  };
  const bool left_lost = is_lost(*left);
  if (left_lost == is_lost(*right)) return;
  PlacedPoint& lost = left_lost ? *left : *right;
  const auto other = map.Apply(left_lost ? right->px : left->px);
  const auto apex = map.Apply(points.at(PointId::kFrogApex)->px);
  if (!other || !apex) return;
  const geometry::CardVector across = Perpendicular(axis->direction);
  const CardPoint mirrored =
      *other - (2 * Dot(*other - *apex, across)) * across;
  lost.px = NearestOn(outline, true, map.Inverse(mirrored)).px;
  lost.covariance = PhotoCovariance::Round(kGuessSigmaMm * px_per_mm);
  lost.confidence = std::min(lost.confidence, kUnlikely);
}

}  // namespace

EdgeOptions OptionsFor(double px_per_mm, double smooth_mm, double reach_mm) {
  EdgeOptions options;
  options.reach_px = std::clamp(reach_mm * px_per_mm, 4.0, 80.0);
  options.coarse_sigma_px = options.reach_px / 4;
  options.smooth_px = std::max(6.0, smooth_mm * px_per_mm);
  return options;
}

/// Along the direction of an edge: what the finder said. Across it: the edge.
std::optional<EdgeCurve> EdgeNear(const FindRequest& request,
                                  const PhotoPolyline& coarse,
                                  const EdgeOptions& options) {
  if (request.on_edges) return FollowEdge(request.photo.rgb, coarse, options);
  EdgeCurve as_seen;
  as_seen.px = coarse;
  as_seen.sigma_px = options.coarse_sigma_px;
  as_seen.correlation_px = options.smooth_px;
  as_seen.seen = 1.0;
  return as_seen;
}

void SnapTo(const EdgeCurve& edge,
            bool closed,
            double reach_px,
            PlacedPoint& point) {
  const OnCurve on = NearestOn(edge.px, closed, point.px);
  if (on.distance_px > reach_px) return;
  const PhotoVector d = on.direction;
  const double along = point.covariance.xx * d.x * d.x +
                       2 * point.covariance.xy * d.x * d.y +
                       point.covariance.yy * d.y * d.y;
  // CHOSEN: among the edges within reach it may be another one by a tenth of
  // that: on 200 pairs of rendered photos sure heels of soles were 0.3 mm off
  // across theirs, and points on hair 0.6, where the edge itself says 0.1.
  const double across = std::hypot(edge.sigma_px, 0.1 * reach_px);
  point.px = on.px;
  point.covariance = PhotoCovariance::Along(d, std::sqrt(along), across);
}

std::optional<FrogAxis> AxisOfFrog(const PlaneMap& map,
                                   const ViewPoints& points) {
  const auto& apex = points.at(PointId::kFrogApex);
  const auto& left = points.at(PointId::kFrogLeft);
  const auto& right = points.at(PointId::kFrogRight);
  if (!apex || !left || !right) return std::nullopt;
  const auto a = map.Apply(apex->px);
  const auto l = map.Apply(left->px);
  const auto r = map.Apply(right->px);
  if (!a || !l || !r) return std::nullopt;
  const geometry::CardVector way = *a - geometry::Midpoint(*l, *r);
  const double length = Norm(way);
  if (!(length > 0)) return std::nullopt;
  FrogAxis axis{way / length, 0.0};
  const geometry::CardVector across = Perpendicular(axis.direction);
  axis.sigma = std::hypot(SigmaAlong(map, *apex, across),
                          SigmaAlong(map, *left, across) / 2,
                          SigmaAlong(map, *right, across) / 2) /
               length;
  return axis;
}

void BluntApex(const PlaneMap& map, ViewPoints& points) {
  const auto axis = AxisOfFrog(map, points);
  auto& apex = points.at(PointId::kFrogApex);
  if (!axis || apex->placed_by != PlacedBy::kFinder) return;
  const auto at = map.Apply(apex->px);
  const PhotoVector along =
      map.Inverse(*at + kApexSigmaMm * axis->direction) - apex->px;
  PhotoCovariance& c = apex->covariance;
  c.xx += along.x * along.x;
  c.xy += along.x * along.y;
  c.yy += along.y * along.y;
}

bool RefineSolar(const FindRequest& request,
                 const Look& look,
                 Finding& finding) {
  const Sightings& seen = look.seen;
  if (finding.points.outline || seen.outline.size() < 8) return true;
  PhotoPolyline coarse = ToPhoto(look, seen.outline);
  const cv::Size size = request.photo.rgb.size();
  for (const PhotoPoint p : coarse) {
    if (AtBorder(p, size)) finding.cut_off = true;
    if (!InPhoto(p, size)) return true;
  }
  MirrorLostHeel(look.map, coarse, finding.points);
  // Behind the heels the outline runs across from heel to heel, over frog and
  // bulbs, and is no edge: only the way round the toe is followed.
  const auto& left = finding.points.at(PointId::kHeelLeft);
  const auto& right = finding.points.at(PointId::kHeelRight);
  const bool open = left && right;
  if (open) coarse = RoundTheToe(coarse, left->px, right->px);
  EdgeOptions options =
      OptionsFor(PxPerMm(look.map, coarse.front()), kOutlineSmoothMm, kReachMm);
  options.closed = !open;
  PlacedCurve curve;
  curve.placed_by = PlacedBy::kFinder;
  const auto edge = EdgeNear(request, coarse, options);
  if (!edge) return false;
  curve.px = edge->px;
  curve.sigma_px = std::hypot(
      edge->sigma_px, kOutlineSigmaMm * PxPerMm(look.map, coarse.front()));
  curve.correlation_px = edge->correlation_px;
  curve.confidence = seen.outline_confidence * std::min(1.0, edge->seen + 0.2);
  if (curve.confidence < kLeastConfidence || curve.px.size() < 8) return true;
  DoubtRough(look.map, curve);
  finding.points.outline = std::move(curve);
  for (const PointId id :
       {PointId::kToe, PointId::kHeelLeft, PointId::kHeelRight}) {
    auto& p = finding.points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      SnapTo(*edge, !open, options.reach_px, *p);
    }
  }
  if (seen.at(PointId::kToe)) {
    PlaceToe(look.map,
             ToPhoto(look, seen.at(PointId::kToe)->at),
             ToPhoto(look, seen.outline),
             finding.points);
  }
  return true;
}

}  // namespace plumbfoot::find
