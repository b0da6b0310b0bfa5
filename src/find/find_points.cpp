// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <stdexcept>
#include <utility>

#include "find/edges.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/points_file.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoCovariance;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;
using geometry::PlacedCurve;
using geometry::PlacedPoint;
using geometry::PlaneEstimate;
using geometry::PlaneMap;

// How far the edge may be from where the finder saw it, and how smooth it is
// [mm]. CHOSEN: a finder's pixel is about a millimetre; horn is chipped and
// rasped over some millimetres, a wall bends over centimetres.
constexpr double kReachMm = 3.0;
constexpr double kOutlineSmoothMm = 5.0;
constexpr double kWallReachMm = 4.0;  // Flares and shoes stand off the line.
constexpr double kWallSmoothMm = 10.0;
// CHOSEN: a finder that misses a person's point by more is looking at something
// else.
constexpr double kDisagreesMm = 10.0;
// CHOSEN: a foot this near the photo's border is taken to go on beyond it; part
// of the photo's longer side.
constexpr double kBorder = 0.004;
// Without a scale: what the photo's shorter side may show [mm].
constexpr std::array<double, 4> kShortSidesMm = {140.0, 180.0, 240.0, 330.0};
// CHOSEN: one so sure is believed without looking elsewhere.
constexpr double kSureEnough = 0.8;

/// What a finder saw, and in which picture.
struct Look {
  Sightings seen;
  PlaneImage image;
  PlaneMap map;
};

Look LookThere(const FindRequest& request,
               const Finder& finder,
               const PlaneEstimate& plane,
               const PlaneWindow& window) {
  const PlaneMap map = geometry::NominalMap(plane);
  constexpr int kSidePx = 512;
  PlaneImage image =
      ResampleToPlane(request.photo.rgb, map, window, kSidePx, request.layout);
  Sightings seen = finder(request.view, image);
  return {std::move(seen), std::move(image), map};
}

std::optional<Look> LookEverywhere(const FindRequest& request,
                                   const Finder& finder) {
  std::vector<PlaneEstimate> planes;
  if (request.plane.scale == geometry::ScaleSource::kNone) {
    const PlaneMap map = geometry::NominalMap(request.plane);
    const cv::Size size = request.photo.rgb.size();
    const auto middle = map.Apply({size.width / 2.0, size.height / 2.0});
    if (!middle) return std::nullopt;
    const double short_mm =
        std::min(size.width, size.height) / map.PixelsPerMillimetre(*middle);
    for (const double mm : kShortSidesMm) {
      // The same photo of everything larger and further away.
      PlaneEstimate plane = request.plane;
      plane.camera_from_card.translation *= mm / short_mm;
      planes.push_back(plane);
    }
  } else {
    planes.push_back(request.plane);
  }
  std::optional<Look> best;
  for (const PlaneEstimate& plane : planes) {
    const auto windows = ExpectedWindows(request.view,
                                         request.photo.rgb.size(),
                                         geometry::NominalMap(plane),
                                         request.layout);
    for (const PlaneWindow& window : windows) {
      Look look = LookThere(request, finder, plane, window);
      if (!best || look.seen.foot_confidence > best->seen.foot_confidence) {
        best = std::move(look);
      }
      if (planes.size() == 1 && best->seen.foot_confidence >= kSureEnough) {
        return best;
      }
    }
  }
  return best;
}

bool InPhoto(PhotoPoint p, cv::Size size) {
  return p.x >= 0 && p.y >= 0 && p.x <= size.width && p.y <= size.height;
}

bool AtBorder(PhotoPoint p, cv::Size size) {
  const double rim = kBorder * std::max(size.width, size.height);
  return !(p.x > rim && p.y > rim && p.x < size.width - rim &&
           p.y < size.height - rim);
}

/// From the image's pixels to the photo's.
PhotoPoint ToPhoto(const Look& look, cv::Point2d at) {
  return look.map.Inverse(CardFromImage(look.image, at.x, at.y));
}

PhotoPolyline ToPhoto(const Look& look, const std::vector<cv::Point2d>& line) {
  PhotoPolyline out;
  out.reserve(line.size());
  for (const cv::Point2d p : line) out.push_back(ToPhoto(look, p));
  return out;
}

/// Photo pixels per image pixel there.
double Enlargement(const Look& look, cv::Point2d at) {
  return look.map.PixelsPerMillimetre(CardFromImage(look.image, at.x, at.y)) /
         look.image.px_per_mm;
}

PlacedPoint ToPhoto(const Look& look, const Sighting& s) {
  // J C J^T, with J the map from image to photo.
  const PhotoPoint at = ToPhoto(look, s.at);
  const PhotoVector dx = ToPhoto(look, s.at + cv::Point2d(0.5, 0)) -
                         ToPhoto(look, s.at - cv::Point2d(0.5, 0));
  const PhotoVector dy = ToPhoto(look, s.at + cv::Point2d(0, 0.5)) -
                         ToPhoto(look, s.at - cv::Point2d(0, 0.5));
  const cv::Matx22d jacobian(dx.x, dy.x, dx.y, dy.y);
  const cv::Matx22d c = jacobian * s.covariance * jacobian.t();
  return {at, {c(0, 0), c(0, 1), c(1, 1)}, PlacedBy::kFinder, s.confidence};
}

/// Along the direction of an edge: what the finder said. Across it: the edge.
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
  point.px = on.px;
  point.covariance = PhotoCovariance::Along(d, std::sqrt(along), edge.sigma_px);
}

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

/// A person's points as the rest of the program wants them.
ViewPoints TakeOver(const FindRequest& request, const PlaneMap& map) {
  const cv::Size size = request.photo.rgb.size();
  const bool scaled = request.plane.scale != geometry::ScaleSource::kNone;
  const auto sigma = [&](PhotoPoint p) {
    const auto at = map.Apply(p);
    return PersonSigmaPx(size,
                         scaled && at
                             ? std::optional(map.PixelsPerMillimetre(*at))
                             : std::nullopt);
  };
  ViewPoints points = request.given;
  points.view = request.view;
  for (const PointId id : geometry::PointsOf(request.view)) {
    auto& p = points.at(id);
    if (points.is_hidden(id)) p.reset();
    if (!p) continue;
    p->placed_by = PlacedBy::kPerson;
    p->confidence = 1.0;
    p->covariance = PhotoCovariance::Round(sigma(p->px));
  }
  for (auto* curve : {&points.outline, &points.dorsal_wall}) {
    if (!*curve || (*curve)->px.empty()) continue;
    (*curve)->placed_by = PlacedBy::kPerson;
    (*curve)->confidence = 1.0;
    (*curve)->sigma_px = sigma((*curve)->px.front());
  }
  return points;
}

constexpr std::array<PointId, 2> kHeels = {PointId::kHeelGround,
                                           PointId::kHeelHairline};

/// From the near heel to where the middle plane's heel appears.
void HeelToMiddle(const FindRequest& request,
                  const PlaneMap& map,
                  PlacedPoint& point) {
  const auto moved = [&](double depth) -> std::optional<PhotoPoint> {
    const auto foot = map.ApplyNearer(point.px, depth);
    if (!foot) return std::nullopt;
    return map.Inverse(*foot);
  };
  // Without a scale the depth means nothing; the heel stays, and so does the
  // doubt that comes with an unknown depth.
  if (request.plane.scale == geometry::ScaleSource::kNone) return;
  const auto middle = moved(request.half_heel_width_mm);
  const auto more =
      moved(request.half_heel_width_mm + request.half_heel_width_sigma_mm);
  if (!middle || !more) return;
  const PhotoVector d = *more - *middle;
  point.px = *middle;
  point.covariance.xx += d.x * d.x;
  point.covariance.xy += d.x * d.y;
  point.covariance.yy += d.y * d.y;
}

/// Does what the finder saw of a person's points agree with the person?
bool Agrees(const FindRequest& request,
            const Look& look,
            const ViewPoints& given) {
  for (const PointId id : geometry::PointsOf(request.view)) {
    if (!given.at(id) || !look.seen.at(id)) continue;
    const auto placed = look.map.Apply(given.at(id)->px);
    if (!placed) return false;
    const Sighting& s = *look.seen.at(id);
    const double off =
        Distance(*placed, CardFromImage(look.image, s.at.x, s.at.y));
    // That of a round covariance as large.
    const double sigma_px = std::sqrt(cv::trace(s.covariance) / 2);
    if (off > std::max(kDisagreesMm, 3 * sigma_px / look.image.px_per_mm)) {
      return false;
    }
  }
  return true;
}

EdgeOptions OptionsFor(double px_per_mm, double smooth_mm, double reach_mm) {
  EdgeOptions options;
  options.reach_px = std::clamp(reach_mm * px_per_mm, 4.0, 80.0);
  options.coarse_sigma_px = options.reach_px / 2;
  options.smooth_px = std::max(6.0, smooth_mm * px_per_mm);
  return options;
}

double PxPerMm(const FindRequest& request,
               const PlaneMap& map,
               PhotoPoint near) {
  // Without a scale: as if the photo's shorter side showed a foot and some
  // ground.
  if (request.plane.scale == geometry::ScaleSource::kNone) {
    return std::min(request.photo.rgb.cols, request.photo.rgb.rows) / 200.0;
  }
  const auto at = map.Apply(near);
  return at ? map.PixelsPerMillimetre(*at) : 1.0;
}

void RefineOutline(const FindRequest& request,
                   const Look& look,
                   Finding& finding) {
  const Sightings& seen = look.seen;
  if (finding.points.outline || seen.outline.size() < 8) return;
  PhotoPolyline coarse = ToPhoto(look, seen.outline);
  const cv::Size size = request.photo.rgb.size();
  for (const PhotoPoint p : coarse) {
    if (AtBorder(p, size)) finding.cut_off = true;
    if (!InPhoto(p, size)) return;
  }
  // Behind the heels the outline runs across from heel to heel, over frog and
  // bulbs, and is no edge: only the way round the toe is followed.
  const auto& left = finding.points.at(PointId::kHeelLeft);
  const auto& right = finding.points.at(PointId::kHeelRight);
  const bool open = left && right;
  if (open) coarse = RoundTheToe(coarse, left->px, right->px);
  const double scale =
      Enlargement(look, seen.outline.front()) * look.image.px_per_mm;
  EdgeOptions options = OptionsFor(scale, kOutlineSmoothMm, kReachMm);
  options.closed = !open;
  PlacedCurve curve;
  curve.placed_by = PlacedBy::kFinder;
  const auto edge = FollowEdge(request.photo.rgb, coarse, options);
  if (!edge) return;
  curve.px = edge->px;
  curve.sigma_px = edge->sigma_px;
  curve.correlation_px = edge->correlation_px;
  curve.confidence = seen.outline_confidence * std::min(1.0, edge->seen + 0.2);
  if (curve.confidence < kLeastConfidence || curve.px.size() < 8) return;
  finding.points.outline = std::move(curve);
  for (const PointId id :
       {PointId::kToe, PointId::kHeelLeft, PointId::kHeelRight}) {
    auto& p = finding.points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      SnapTo(*edge, !open, options.reach_px, *p);
    }
  }
}

/// Follows the edge between two points and puts those that the finder placed
/// on it.
std::optional<EdgeCurve> FollowBetween(const FindRequest& request,
                                       const PhotoPolyline& coarse,
                                       double px_per_mm,
                                       double reach_mm,
                                       ViewPoints& points,
                                       std::array<PointId, 2> ends) {
  const EdgeOptions options = OptionsFor(px_per_mm, kWallSmoothMm, reach_mm);
  auto edge = FollowEdge(request.photo.rgb, coarse, options);
  if (!edge) return std::nullopt;
  for (const PointId id : ends) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      SnapTo(*edge, false, options.reach_px, *p);
    }
  }
  return edge;
}

/// Ends a wall where it meets the ground on which the card stands, and puts
/// the toe there: a flared wall or a shoe leaves the straight line.
void EndOnTheGround(const Look& look, PlacedCurve& wall, PlacedPoint& toe) {
  if (look.image.ground_left_px < 0 && look.image.ground_right_px < 0) return;
  const auto above = [&](PhotoPoint p) -> std::optional<double> {
    const auto at = look.map.Apply(p);
    if (!at) return std::nullopt;
    const cv::Point2d i = ImageFromCard(look.image, *at);
    const double t = i.x / look.image.rgb.cols;
    return look.image.ground_left_px +
           t * (look.image.ground_right_px - look.image.ground_left_px) - i.y;
  };
  const std::size_t n = wall.px.size();
  for (std::size_t i = n / 2; i + 1 < n; ++i) {
    const auto a = above(wall.px[i]);
    const auto b = above(wall.px[i + 1]);
    if (!a || !b || !(*a > 0) || *b > 0) continue;
    const PhotoPoint end =
        wall.px[i] + (*a / (*a - *b)) * (wall.px[i + 1] - wall.px[i]);
    wall.px.resize(i + 1);
    wall.px.push_back(end);
    toe.px = end;
    return;
  }
}

void RefineLateral(const FindRequest& request,
                   const PlaneMap& map,
                   const Look* look,
                   Finding& finding) {
  ViewPoints& points = finding.points;
  const auto& top = points.at(PointId::kToeHairline);
  const auto& ground = points.at(PointId::kToeGround);
  if (!points.dorsal_wall) {
    PhotoPolyline coarse;
    double confidence = 0.0;
    // The line between two points of a person counts for more than what the
    // finder saw; it may bulge, for which there is the reach.
    const bool by_person = top && ground &&
                           top->placed_by == PlacedBy::kPerson &&
                           ground->placed_by == PlacedBy::kPerson;
    if (!by_person && look != nullptr && look->seen.dorsal_wall.size() >= 2) {
      coarse = ToPhoto(*look, look->seen.dorsal_wall);
      confidence = look->seen.wall_confidence;
    } else if (top && ground) {
      coarse = {top->px, ground->px};
      confidence = std::min(top->confidence, ground->confidence);
    }
    if (coarse.size() >= 2 && confidence >= kLeastConfidence) {
      const double scale = PxPerMm(request, map, coarse.front());
      if (const auto edge =
              FollowBetween(request,
                            coarse,
                            scale,
                            kWallReachMm,
                            points,
                            {PointId::kToeHairline, PointId::kToeGround})) {
        PlacedCurve curve;
        curve.px = edge->px;
        curve.sigma_px = edge->sigma_px;
        curve.correlation_px = edge->correlation_px;
        curve.placed_by = PlacedBy::kFinder;
        curve.confidence = confidence * std::min(1.0, edge->seen + 0.2);
        auto& toe = points.at(PointId::kToeGround);
        if (look != nullptr && toe && toe->placed_by == PlacedBy::kFinder) {
          EndOnTheGround(*look, curve, *toe);
        }
        if (curve.confidence >= kLeastConfidence) {
          points.dorsal_wall = std::move(curve);
        }
      }
    }
  }
  for (const auto& ends :
       {std::array{PointId::kHeelHairline, PointId::kHeelGround},
        std::array{PointId::kPasternUpper, PointId::kPasternLower}}) {
    const auto& a = points.at(ends[0]);
    const auto& b = points.at(ends[1]);
    if (!a || !b) continue;
    if (a->placed_by == PlacedBy::kPerson &&
        b->placed_by == PlacedBy::kPerson) {
      continue;
    }
    const PhotoPolyline coarse{a->px, b->px};
    if (Distance(a->px, b->px) < 4) continue;
    (void)FollowBetween(
        request, coarse, PxPerMm(request, map, a->px), kReachMm, points, ends);
  }
}

}  // namespace

Result<Finding> FindPoints(const FindRequest& request, const Finder& finder) {
  if (request.photo.rgb.type() != CV_8UC3 || request.photo.rgb.empty()) {
    throw std::invalid_argument("FindPoints: the photo is not CV_8UC3");
  }
  const PlaneMap map = geometry::NominalMap(request.plane);
  const cv::Size size = request.photo.rgb.size();
  Finding finding;
  finding.points = TakeOver(request, map);
  ViewPoints& points = finding.points;

  bool any_given = points.outline || points.dorsal_wall;
  bool any_wanted = request.view == View::kSolar && !points.outline;
  for (const PointId id : geometry::PointsOf(request.view)) {
    if (points.at(id)) {
      any_given = true;
    } else if (!points.is_hidden(id)) {
      any_wanted = true;
    }
  }

  std::optional<Look> look;
  if (any_wanted) look = LookEverywhere(request, finder);
  const bool believed = look &&
                        look->seen.foot_confidence >= kLeastConfidence &&
                        Agrees(request, *look, points);
  if (!believed && !any_given) {
    return Refusal{
        RefusalCode::kNoFoot,
        request.view == View::kSolar
            ? "No sole can be made out in this photo."
            : "No foot seen from the side can be made out in this photo.",
        "Place the points by hand, or take the photo again: clean foot, even "
        "light, plain ground, all of the foot beside the card."};
  }
  finding.foot_confidence = any_given  ? 1.0
                            : believed ? look->seen.foot_confidence
                                       : 0.0;
  if (believed) {
    for (const PointId id : geometry::PointsOf(request.view)) {
      const auto& s = look->seen.at(id);
      if (points.at(id) || points.is_hidden(id) || !s) continue;
      if (s->confidence < kLeastConfidence) continue;
      const PlacedPoint p = ToPhoto(*look, *s);
      if (InPhoto(p.px, size)) points.at(id) = p;
    }
  }
  if (request.view == View::kSolar) {
    if (believed) RefineOutline(request, *look, finding);
  } else {
    RefineLateral(request, map, believed ? &*look : nullptr, finding);
    for (const PointId id : kHeels) {
      auto& p = points.at(id);
      if (!p) continue;
      if (p->placed_by == PlacedBy::kFinder ||
          request.given.heel_plane == geometry::HeelPlane::kNear) {
        HeelToMiddle(request, map, *p);
      }
    }
    points.heel_plane = geometry::HeelPlane::kMiddle;
  }

  for (const PointId id : geometry::PointsOf(request.view)) {
    // The leg goes on beyond every photo.
    if (id == PointId::kPasternUpper || id == PointId::kPasternLower) continue;
    if (points.at(id) && AtBorder(points.at(id)->px, size)) {
      finding.cut_off = true;
    }
  }
  if (points.outline) {
    for (const PhotoPoint p : points.outline->px) {
      if (AtBorder(p, size)) finding.cut_off = true;
    }
  }
  return finding;
}

}  // namespace plumbfoot::find
