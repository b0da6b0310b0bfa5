// SPDX-License-Identifier: Apache-2.0
#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
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
// Once its smooth course is known.
constexpr double kSmoothReachMm = 2.0;
// CHOSEN: on 40 rendered side views the wall's straight part came out turned by
// 0.4 degrees in the root mean square: a quarter of a millimetre at its ends.
constexpr double kWallSigmaMm = 0.25;
// CHOSEN: where the edge and what the finder saw are turned more against each
// other [rad], or less of the wall has an edge, one in three was a degree off.
constexpr double kMostTurned = 1.5 * std::numbers::pi / 180;
constexpr double kLeastSeen = 0.65;
// CHOSEN: a finder that misses a person's point by more is looking at something
// else.
constexpr double kDisagreesMm = 10.0;
// CHOSEN: a foot this near the photo's border is taken to go on beyond it; part
// of the photo's longer side.
constexpr double kBorder = 0.004;
// Without a scale: what the photo's shorter side may show [mm].
constexpr std::array<double, 5> kShortSidesMm = {
    140.0, 180.0, 240.0, 330.0, 480.0};
constexpr double kUsualFootMm = 125.0;
// Confidence of what two looks that know nothing of each other agree on.
// CHOSEN: of 34 toes on rendered soles that agreed none was off by 2.5 mm.
constexpr double kBorneOut = 0.98;
// CHOSEN: below what is sure.
constexpr double kWithoutScale = 0.9;
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

/// From the image's pixels to the photo's.
PhotoPoint ToPhoto(const Look& look, cv::Point2d at) {
  return look.map.Inverse(CardFromImage(look.image, at.x, at.y));
}

/// A foot's place and size in the image: the length of a sole, of a side's
/// ground.
struct FootPlace {
  cv::Point2d middle;
  double size_px = 0.0;
};

std::optional<FootPlace> FootIn(View view, const Sightings& seen) {
  if (view == View::kSolar) {
    if (seen.outline.size() < 8) return std::nullopt;
    cv::Point2d low = seen.outline.front();
    cv::Point2d high = low;
    for (const cv::Point2d p : seen.outline) {
      low = {std::min(low.x, p.x), std::min(low.y, p.y)};
      high = {std::max(high.x, p.x), std::max(high.y, p.y)};
    }
    return FootPlace{0.5 * (low + high),
                     std::max(high.x - low.x, high.y - low.y)};
  }
  const auto& toe = seen.at(PointId::kToeGround);
  const auto& heel = seen.at(PointId::kHeelGround);
  const auto& top = seen.at(PointId::kToeHairline);
  if (!toe || !heel || !top) return std::nullopt;
  const cv::Point2d length = heel->at - toe->at;
  return FootPlace{0.25 * (toe->at + heel->at) + 0.5 * top->at,
                   std::hypot(length.x, length.y)};
}

/// The same photo as if everything in it were larger and further away.
PlaneEstimate Enlarged(PlaneEstimate plane, double times) {
  plane.camera_from_card.translation *= times;
  return plane;
}

/// Without a scale: as if the photo's shorter side showed so much.
PlaneEstimate ShowingMm(const FindRequest& request, double mm) {
  const PlaneMap map = geometry::NominalMap(request.plane);
  const cv::Size size = request.photo.rgb.size();
  const auto middle = map.Apply({size.width / 2.0, size.height / 2.0});
  if (!middle) return request.plane;
  return Enlarged(request.plane,
                  mm * map.PixelsPerMillimetre(*middle) /
                      std::min(size.width, size.height));
}

/// Without a scale: planes and windows in which a foot may be.
std::optional<Look> LookAtAllSizes(const FindRequest& request,
                                   const Finder& finder) {
  const cv::Size size = request.photo.rgb.size();
  std::optional<Look> best;
  PlaneEstimate best_plane;
  const auto look = [&](const PlaneEstimate& plane, const PlaneWindow& window) {
    Look there = LookThere(request, finder, plane, window);
    if (best && !(there.seen.foot_confidence > best->seen.foot_confidence)) {
      return;
    }
    best = std::move(there);
    best_plane = plane;
  };
  for (const double mm : kShortSidesMm) {
    const PlaneEstimate plane = ShowingMm(request, mm);
    PlaneWindow window = ExpectedWindows(
        request.view, size, geometry::NominalMap(plane), nullptr)[0];
    look(plane, window);
    // What a long picture has beside the middle window.
    const double long_mm = mm * std::max(size.width, size.height) /
                           std::min(size.width, size.height);
    const double beside = (long_mm - window.side_mm) / 2;
    if (beside < 0.1 * window.side_mm) continue;
    const geometry::CardPoint centre = window.centre;
    const geometry::CardVector way =
        size.width > size.height ? window.right : window.down;
    for (const double sign : {-1.0, 1.0}) {
      window.centre = centre + sign * beside * way;
      look(plane, window);
    }
  }
  // Once more where it is, and at the size of a usual foot.
  for (int round = 0; round < 2 && best; ++round) {
    const auto foot = FootIn(request.view, best->seen);
    if (!foot) break;
    const double mm = foot->size_px / best->image.px_per_mm;
    const PlaneEstimate plane = Enlarged(best_plane, kUsualFootMm / mm);
    const PlaneMap at_size = geometry::NominalMap(plane);
    PlaneWindow window =
        ExpectedWindows(request.view, size, at_size, nullptr)[0];
    const auto centre = at_size.Apply(ToPhoto(*best, foot->middle));
    if (!centre) break;
    window.centre = *centre;
    look(plane, window);
  }
  return best;
}

std::optional<Look> LookEverywhere(const FindRequest& request,
                                   const Finder& finder) {
  if (request.plane.scale == geometry::ScaleSource::kNone) {
    return LookAtAllSizes(request, finder);
  }
  std::optional<Look> best;
  for (const PlaneWindow& window :
       ExpectedWindows(request.view,
                       request.photo.rgb.size(),
                       geometry::NominalMap(request.plane),
                       request.layout)) {
    Look look = LookThere(request, finder, request.plane, window);
    if (!best || look.seen.foot_confidence > best->seen.foot_confidence) {
      best = std::move(look);
    }
    if (best->seen.foot_confidence >= kSureEnough) break;
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

/// How far the heel that one sees stands before the middle plane [mm].
struct HeelDepth {
  double mm = 0.0;
  double sigma_mm = 0.0;
};

/// What was measured on the sole, or else what is usual for a foot this long.
HeelDepth DepthOfHeel(const FindRequest& request,
                      const PlaneMap& map,
                      const ViewPoints& points) {
  if (request.half_heel_width_mm) {
    return {*request.half_heel_width_mm, request.half_heel_width_sigma_mm};
  }
  // CHOSEN: a hoof as wide as long whose heels are 0.62 of that apart, 0.5 when
  // contracted; 120 mm long if the points don't tell.
  constexpr double kPart = 0.31;
  constexpr double kPartSigma = 0.055;
  double length = 120.0;
  const auto& toe = points.at(PointId::kToeGround);
  const auto& heel = points.at(PointId::kHeelGround);
  if (toe && heel) {
    const auto a = map.Apply(toe->px);
    const auto b = map.Apply(heel->px);
    // CHOSEN: from a pony's foot to a heavy horse's.
    if (a && b) length = std::clamp(Distance(*a, *b), 80.0, 180.0);
  }
  return {kPart * length, kPartSigma * length};
}

/// From the near heel to where the middle plane's heel appears.
void HeelToMiddle(const FindRequest& request,
                  const PlaneMap& map,
                  HeelDepth depth,
                  PlacedPoint& point) {
  const auto moved = [&](double mm) -> std::optional<PhotoPoint> {
    const auto foot = map.ApplyNearer(point.px, mm);
    if (!foot) return std::nullopt;
    return map.Inverse(*foot);
  };
  // Without a scale the depth means nothing; the heel stays, and so does the
  // doubt that comes with an unknown depth.
  if (request.plane.scale == geometry::ScaleSource::kNone) return;
  const auto middle = moved(depth.mm);
  const auto more = moved(depth.mm + depth.sigma_mm);
  if (!middle || !more) return;
  const PhotoVector d = *more - *middle;
  point.seen_px = point.px;
  point.px = *middle;
  point.covariance.xx += d.x * d.x;
  point.covariance.xy += d.x * d.y;
  point.covariance.yy += d.y * d.y;
}

/// How far a place of the plane lies above the ground on which the card stands
/// [mm]; nothing without a standing card.
std::optional<double> AboveGround(const Look& look, PhotoPoint p) {
  const PlaneImage& image = look.image;
  if (image.ground_left_px < 0 && image.ground_right_px < 0) {
    return std::nullopt;
  }
  const auto at = look.map.Apply(p);
  if (!at) return std::nullopt;
  const cv::Point2d i = ImageFromCard(image, *at);
  const double slope =
      (image.ground_right_px - image.ground_left_px) / image.rgb.cols;
  return (image.ground_left_px + slope * i.x - i.y) /
         (std::hypot(1.0, slope) * image.px_per_mm);
}

// CHOSEN: the floor between card and foot is even to about a millimetre.
constexpr double kGroundSigmaMm = 1.0;

/// What the ground under the card said of a point that stands on it.
struct OnGround {
  bool agrees = false;
  double height_mm = 0.0;     ///< Of the point before.
  double variance_mm2 = 0.0;  ///< Of that, the ground's included.
};

/// Moves a point on the ground to where it and the ground agree best (a
/// Kalman update); one that stands off the ground by more than both can err is
/// left alone. Nothing without a standing card.
std::optional<OnGround> PutOnGround(const Look& look, PlacedPoint& point) {
  const auto h = AboveGround(look, point.px);
  const auto hx = AboveGround(look, point.px + PhotoVector{1.0, 0.0});
  const auto hy = AboveGround(look, point.px + PhotoVector{0.0, 1.0});
  if (!h || !hx || !hy) return std::nullopt;
  const PhotoVector slope{*hx - *h, *hy - *h};
  PhotoCovariance& c = point.covariance;
  const PhotoVector cs{c.xx * slope.x + c.xy * slope.y,
                       c.xy * slope.x + c.yy * slope.y};
  const double variance = Dot(cs, slope) + kGroundSigmaMm * kGroundSigmaMm;
  const OnGround out{*h * *h < 9 * variance, *h, variance};
  if (!out.agrees) return out;
  point.px = point.px - (*h / variance) * cs;
  c.xx -= cs.x * cs.x / variance;
  c.xy -= cs.x * cs.y / variance;
  c.yy -= cs.y * cs.y / variance;
  return out;
}

/// Moves the heel to the middle plane. That its ground point stands on the
/// ground tells more about how far that is, wherever the camera looks down.
void PlaceHeels(const FindRequest& request,
                const PlaneMap& map,
                const Look* look,
                ViewPoints& points) {
  HeelDepth depth = DepthOfHeel(request, map, points);
  for (const PointId id : kHeels) {
    auto& p = points.at(id);
    if (!p) continue;
    const bool by_finder = p->placed_by == PlacedBy::kFinder;
    if (!by_finder && request.given.heel_plane != geometry::HeelPlane::kNear) {
      continue;
    }
    const PhotoPoint near = p->px;
    HeelToMiddle(request, map, depth, *p);
    if (id != PointId::kHeelGround || !by_finder || look == nullptr) continue;
    const PhotoPoint middle = p->px;
    const auto ground = PutOnGround(*look, *p);
    if (!ground) continue;
    if (!ground->agrees) {
      p->confidence = std::min(p->confidence, kUnlikely);
      continue;
    }
    // The same update for the depth.
    const auto a = AboveGround(*look, near);
    const auto b = AboveGround(*look, middle);
    if (!a || !b) continue;
    const double rise = (*b - *a) / depth.mm;
    const double gain =
        depth.sigma_mm * depth.sigma_mm * rise / ground->variance_mm2;
    depth.mm -= gain * ground->height_mm;
    depth.sigma_mm *= std::sqrt(1 - gain * rise);
  }
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
  options.coarse_sigma_px = options.reach_px / 4;
  options.smooth_px = std::max(6.0, smooth_mm * px_per_mm);
  return options;
}

double PxPerMm(const PlaneMap& map, PhotoPoint near) {
  const auto at = map.Apply(near);
  return at ? map.PixelsPerMillimetre(*at) : 1.0;
}

/// Where a line leaves the frog: its direction in the plane, and how sure it is
/// [rad].
struct FrogAxis {
  geometry::CardVector direction;
  double sigma = 0.0;
};

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

/// Puts the toe, which is the outline's foremost place along the frog, where
/// this and what the finder saw agree best. The two know nothing of each other:
/// where they are far apart, neither is believed.
void PlaceToe(const PlaneMap& map, PhotoPoint seen_px, ViewPoints& points) {
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
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  int used = 0;
  for (const geometry::CardVector p : front) {
    const double y = p.y - top_y;
    if (std::abs(y) > kFrontMm || p.x < top - kFrontMm) continue;
    const Eigen::Vector3d row(1.0, y, y * y);
    normal += row * row.transpose();
    right += p.x * row;
    ++used;
  }
  if (used < 6) return;
  const Eigen::Vector3d c = normal.ldlt().solve(right);
  if (!(c[2] < -1e-4)) return;
  const double foremost = top_y - c[1] / (2 * c[2]);
  // CHOSEN: for chips and the outline's own error.
  constexpr double kShapeMm = 0.7;
  const double by_shape =
      std::pow(axis->sigma / (2 * c[2]), 2) + kShapeMm * kShapeMm;
  // CHOSEN: an outline that leaves the finder's toe by more is another edge.
  constexpr double kAheadMm = 2.5;
  const double by_eye = std::pow(SigmaAlong(map, *toe, across), 2);
  if (foremost * foremost > 9 * (by_shape + by_eye) ||
      std::abs(top) > kAheadMm) {
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
  toe->confidence = std::max(toe->confidence, kBorneOut);
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
  if (seen.at(PointId::kToe)) {
    PlaceToe(
        look.map, ToPhoto(look, seen.at(PointId::kToe)->at), finding.points);
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

/// Direction of the straight part of a wall in the plane [rad], hairline first.
std::optional<double> WallDirection(const PlaneMap& map,
                                    const PhotoPolyline& wall) {
  // CHOSEN: below the coronet's bulge, above where flares begin.
  constexpr double kFrom = 0.12;
  constexpr double kTo = 0.65;
  const PhotoVector chord = wall.back() - wall.front();
  std::vector<cv::Point2f> places;
  for (const PhotoPoint p : wall) {
    const double t = Dot(p - wall.front(), chord) / Dot(chord, chord);
    const auto at = map.Apply(p);
    if (t < kFrom || t > kTo || !at) continue;
    places.emplace_back(static_cast<float>(at->x), static_cast<float>(at->y));
  }
  if (places.size() < 4) return std::nullopt;
  cv::Vec4f line;
  cv::fitLine(places, line, cv::DIST_HUBER, 0, 0.01, 0.01);
  return std::atan2(line[1], line[0]);
}

/// The smooth course of a wall: straight, then flaring or dished with the
/// square of the way down. From where the finder saw it and from the edges near
/// there, of which many may belong to stripes, mud or the ground behind.
PhotoPolyline SmoothWall(const PhotoPolyline& seen,
                         const PhotoPolyline& edge,
                         double px_per_mm) {
  // CHOSEN: what the finder sees is good to half a cell of its map; an edge
  // that is the wall's lies within half of that of a smooth course.
  constexpr double kSeenMm = 0.7;
  constexpr double kEdgeMm = 0.35;
  constexpr double kBendsFrom = 0.45;
  const PhotoPoint at = seen.front();
  const PhotoVector along = seen.back() - at;
  const PhotoVector out = Perpendicular(along) / Norm(along);
  struct Place {
    Eigen::Vector3d course;
    double out_px;
    double sigma_px;
  };
  std::vector<Place> places;
  const auto course = [](double t) {
    const double bend = std::max(0.0, t - kBendsFrom);
    return Eigen::Vector3d(1.0, t, bend * bend);
  };
  const auto add = [&](const PhotoPolyline& line, double sigma_mm) {
    // Each line weighs the same, however many its corners.
    const double sigma = sigma_mm * px_per_mm *
                         std::sqrt(static_cast<double>(line.size()) / 30.0);
    for (const PhotoPoint p : line) {
      const double t = Dot(p - at, along) / Dot(along, along);
      places.push_back({course(t), Dot(p - at, out), sigma});
    }
  };
  add(seen, kSeenMm);
  const std::size_t first_edge = places.size();
  add(edge, kEdgeMm);
  Eigen::Vector3d best = Eigen::Vector3d::Zero();
  for (int round = 0; round < 8; ++round) {
    Eigen::Matrix3d normal = 1e-9 * Eigen::Matrix3d::Identity();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    for (std::size_t i = 0; i < places.size(); ++i) {
      const Place& p = places[i];
      // Tukey's biweight; the edges come in once there is a course. Narrower
      // from round to round.
      if (round == 0 && i >= first_edge) break;
      const double reach = (i < first_edge ? 4.0 * kSeenMm : 4.0 * kEdgeMm) *
                           px_per_mm * (round < 4 ? 1.5 : 1.0);
      const double u = (p.out_px - best.dot(p.course)) / reach;
      const double tukey =
          round == 0 ? 1.0 : (std::abs(u) < 1 ? std::pow(1 - u * u, 2) : 0.0);
      const double weight = tukey / (p.sigma_px * p.sigma_px);
      normal += weight * p.course * p.course.transpose();
      right += weight * p.out_px * p.course;
    }
    best = normal.ldlt().solve(right);
  }
  PhotoPolyline smooth;
  constexpr int kSteps = 32;
  for (int i = 0; i <= kSteps; ++i) {
    const double t = static_cast<double>(i) / kSteps;
    smooth.push_back(at + t * along + best.dot(course(t)) * out);
  }
  return smooth;
}

/// Ends a wall where it meets the ground on which the card stands, and puts
/// the toe there: a flared wall or a shoe leaves the straight line.
void EndOnTheGround(const Look& look, PlacedCurve& wall, PlacedPoint& toe) {
  const std::size_t n = wall.px.size();
  for (std::size_t i = n / 2; i + 1 < n; ++i) {
    const auto a = AboveGround(look, wall.px[i]);
    const auto b = AboveGround(look, wall.px[i + 1]);
    if (!a || !b || !(*a > 0) || *b > 0) continue;
    const PhotoPoint end =
        wall.px[i] + (*a / (*a - *b)) * (wall.px[i + 1] - wall.px[i]);
    wall.px.resize(i + 1);
    wall.px.push_back(end);
    toe.px = end;
    return;
  }
}

/// A toe that the finder saw goes to where the wall meets the ground. The two
/// know nothing of each other.
void PlaceToeOnGround(const Look& look, PlacedCurve& wall, PlacedPoint& toe) {
  const PhotoPoint seen = toe.px;
  EndOnTheGround(look, wall, toe);
  const auto ground = PutOnGround(look, toe);
  if (!ground) return;
  const auto a = look.map.Apply(seen);
  const auto b = look.map.Apply(toe.px);
  const double moved_mm = a && b ? Distance(*a, *b) : 1e9;
  // CHOSEN: the network's toe is off by 2 mm in the median, 4 mm in one of ten.
  constexpr double kNearMm = 4.0;
  constexpr double kFarMm = 8.0;
  if (!ground->agrees || moved_mm > kFarMm) {
    toe.confidence = std::min(toe.confidence, kUnlikely);
  } else if (moved_mm < kNearMm && wall.confidence > kUnlikely) {
    toe.confidence = std::max(toe.confidence, kBorneOut);
  }
}

/// Follows the dorsal wall's edge on the photo, near where it was seen or
/// between two points of a person.
std::optional<PlacedCurve> FollowWall(const FindRequest& request,
                                      const PlaneMap& map,
                                      const PhotoPolyline& coarse,
                                      double confidence,
                                      bool by_person,
                                      ViewPoints& points) {
  const double px_per_mm = PxPerMm(map, coarse.front());
  PhotoPolyline course = coarse;
  double reach_mm = kWallReachMm;
  if (!by_person && coarse.size() > 8) {
    const auto first =
        FollowEdge(request.photo.rgb,
                   coarse,
                   OptionsFor(px_per_mm, kWallSmoothMm, kWallReachMm));
    if (first) {
      course = SmoothWall(coarse, first->px, px_per_mm);
      reach_mm = kSmoothReachMm;
    }
  }
  const auto edge = FollowBetween(request,
                                  course,
                                  px_per_mm,
                                  reach_mm,
                                  points,
                                  {PointId::kToeHairline, PointId::kToeGround});
  if (!edge) return std::nullopt;
  PlacedCurve wall;
  wall.px = edge->px;
  wall.placed_by = PlacedBy::kFinder;
  wall.sigma_px = edge->sigma_px;
  wall.correlation_px = edge->correlation_px;
  wall.confidence = confidence * std::min(1.0, edge->seen + 0.2);
  if (by_person) return wall;
  // The same edge may be the wrong one over centimetres.
  wall.sigma_px = std::hypot(edge->sigma_px, kWallSigmaMm * px_per_mm);
  const auto seen = WallDirection(map, coarse);
  const auto found = WallDirection(map, wall.px);
  if (!seen || !found) return wall;
  const double turned =
      std::abs(std::remainder(*seen - *found, std::numbers::pi));
  if (turned > kMostTurned || edge->seen < kLeastSeen) {
    wall.confidence = std::min(wall.confidence, kUnlikely);
  } else if (wall.confidence >= kLeastConfidence) {
    wall.confidence = std::max(wall.confidence, kBorneOut);
  }
  return wall;
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
      auto wall =
          FollowWall(request, map, coarse, confidence, by_person, points);
      auto& toe = points.at(PointId::kToeGround);
      if (wall && look != nullptr && toe &&
          toe->placed_by == PlacedBy::kFinder) {
        PlaceToeOnGround(*look, *wall, *toe);
      }
      if (wall && wall->confidence >= kLeastConfidence) {
        points.dorsal_wall = std::move(wall);
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
        request, coarse, PxPerMm(map, a->px), kReachMm, points, ends);
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

/// Lowers the confidence of what the finder placed.
void Doubt(ViewPoints& points, std::initializer_list<PointId> ids) {
  for (const PointId id : ids) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder) {
      p->confidence = std::min(p->confidence, kUnlikely);
    }
  }
}

/// Of a point that is not sure the covariance says how it errs when it is
/// right; it also may be wrong.
void WidenUnsure(const PlaneMap& map, ViewPoints& points) {
  // CHOSEN: what is wrong is off by 10 mm in the root mean square.
  constexpr double kWrongMm = 10.0;
  for (const PointId id : geometry::PointsOf(points.view)) {
    auto& p = points.at(id);
    // The pastern's points stand on its edge, wrong only in how far up.
    const bool slides =
        id == PointId::kPasternLower || id == PointId::kPasternUpper;
    if (!p || IsSure(*p) || slides) continue;
    const double wrong_px = kWrongMm * PxPerMm(map, p->px);
    const double variance = (1 - p->confidence) * wrong_px * wrong_px / 2;
    p->covariance.xx += variance;
    p->covariance.yy += variance;
  }
}

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

}  // namespace

std::vector<std::string_view> Unsure(const ViewPoints& points) {
  std::vector<std::string_view> unsure;
  for (const PointId id : geometry::PointsOf(points.view)) {
    const auto& p = points.at(id);
    if (p && !IsSure(*p)) unsure.push_back(geometry::PointName(id));
  }
  const auto curve = [&](const std::optional<PlacedCurve>& c,
                         std::string_view name) {
    if (c && !IsSure(*c)) unsure.push_back(name);
  };
  curve(points.outline, "outline");
  curve(points.dorsal_wall, "dorsal_wall");
  return unsure;
}

Result<Finding> FindPoints(const FindRequest& request, const Finder& finder) {
  if (request.photo.rgb.type() != CV_8UC3 || request.photo.rgb.empty()) {
    throw std::invalid_argument("FindPoints: the photo is not CV_8UC3");
  }
  const cv::Size size = request.photo.rgb.size();
  Finding finding;
  finding.points = TakeOver(request, geometry::NominalMap(request.plane));
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
  // What is chosen in millimetres needs some scale: that at which the foot was
  // seen, or as if the photo showed a foot and some ground.
  const PlaneMap map = believed ? look->map
                       : request.plane.scale == geometry::ScaleSource::kNone
                           ? geometry::NominalMap(ShowingMm(request, 200.0))
                           : geometry::NominalMap(request.plane);
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
    DoubtSole(map, points);
  } else {
    RefineLateral(request, map, believed ? &*look : nullptr, finding);
    PlaceHeels(request, map, believed ? &*look : nullptr, points);
    points.heel_plane = geometry::HeelPlane::kMiddle;
    DoubtSide(map, points);
  }

  if (request.plane.scale == geometry::ScaleSource::kNone) {
    // How often the finder is right was counted where the scale is known.
    Cap(points, kWithoutScale);
  }
  WidenUnsure(map, points);
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
