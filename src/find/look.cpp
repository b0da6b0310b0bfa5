// SPDX-License-Identifier: Apache-2.0
#include "find/look.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "find/agreement.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;
using geometry::PlacedPoint;
using geometry::PlaneEstimate;
using geometry::PlaneMap;

// CHOSEN: a foot this near the photo's border is taken to go on beyond it; part
// of the photo's longer side.
constexpr double kBorder = 0.004;
// Without a scale: what the photo's shorter side may show [mm].
constexpr std::array<double, 5> kShortSidesMm = {
    140.0, 180.0, 240.0, 330.0, 480.0};
// CHOSEN: one so sure is believed without looking elsewhere, or again. Of 300
// rendered photos ten were less sure, of 13 old plates with a card laid beside
// them seven.
constexpr double kSureEnough = 0.8;

/// A square of a plane.
struct Place {
  PlaneEstimate plane;
  PlaneWindow window;
  /// Without its colours and, as if from further away, without its finest
  /// lines: an engraver's hatching and a printer's dots are no horn's.
  bool soft = false;
};

Look LookThere(const FindRequest& request,
               const Finder& finder,
               const Place& place,
               Looks looks) {
  const PlaneMap map = geometry::NominalMap(place.plane);
  constexpr int kSidePx = 512;
  PlaneImage image = ResampleToPlane(
      request.photo.rgb, map, place.window, kSidePx, request.layout);
  if (place.soft) {
    // CHOSEN: under half a hundredth of a foot that fills two thirds of the
    // image.
    constexpr double kSoftPx = 1.5;
    cv::Mat grey;
    cv::cvtColor(image.rgb, grey, cv::COLOR_RGB2GRAY);
    cv::GaussianBlur(grey, grey, {0, 0}, kSoftPx);
    cv::cvtColor(grey, image.rgb, cv::COLOR_GRAY2RGB);
  }
  Sightings seen = finder(request.view, image, looks);
  return {std::move(seen), std::move(image), map, {}};
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

/// Without a scale: planes and windows in which a foot may be.
std::vector<Place> PlacesOfAllSizes(const FindRequest& request) {
  const cv::Size size = request.photo.rgb.size();
  std::vector<Place> places;
  for (const double mm : kShortSidesMm) {
    const PlaneEstimate plane = ShowingMm(request, mm);
    PlaneWindow window = ExpectedWindows(
        request.view, size, geometry::NominalMap(plane), nullptr)[0];
    places.push_back({plane, window});
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
      places.push_back({plane, window});
    }
  }
  return places;
}

/// The same foot, in the middle of the window and of a usual foot's size.
std::optional<Place> AtUsualSize(const FindRequest& request,
                                 const Look& look,
                                 const PlaneEstimate& plane) {
  const auto foot = FootIn(request.view, look.seen);
  if (!foot) return std::nullopt;
  const double mm = foot->size_px / look.image.px_per_mm;
  Place place;
  place.plane = Enlarged(plane, kUsualFootMm / mm);
  const PlaneMap map = geometry::NominalMap(place.plane);
  place.window =
      ExpectedWindows(request.view, request.photo.rgb.size(), map, nullptr)[0];
  const auto centre = map.Apply(ToPhoto(look, foot->middle));
  if (!centre) return std::nullopt;
  place.window.centre = *centre;
  return place;
}

/// How one more look at a foot differs from the first.
struct Otherwise {
  double turn = 0.0;     ///< Of the window [degrees].
  double lean_x = 0.0;   ///< Of the plane, about its axes [degrees].
  double lean_y = 0.0;   ///< Likewise.
  double size = 1.0;     ///< Of the window.
  double aside_x = 0.0;  ///< Of the window's middle; part of its side.
  double aside_y = 0.0;  ///< Likewise.
  bool mirrored = false;
  bool soft = false;
};

// CHOSEN: as much as one photo of a foot differs from the next; half mirrored,
// half soft, each with each. Drawn at random, such tables left more of the
// right points of 15 old plates with soft looks in them than without. No two
// have one window, by which a finder with a memory tells pictures apart.
constexpr std::array<Otherwise, 8> kOtherwise = {{
    {5, 8, 0, 0.95, 0.03, 0.0, false, true},
    {-5, 0, 8, 1.05, 0.0, 0.03, true, true},
    {8, -8, 4, 1.1, -0.03, 0.0, false, false},
    {-8, 4, -8, 0.9, 0.0, -0.03, true, false},
    {2, 12, 4, 1.0, 0.02, -0.02, true, true},
    {-2, -4, 12, 0.92, -0.02, 0.02, false, true},
    {6, -12, -4, 1.0, 0.02, 0.02, true, false},
    {-6, 4, -12, 1.08, -0.02, -0.02, false, false},
}};

// CHOSEN: sides of the window over the foot's size, about those of the finder's
// closer look (network_finder.cpp), so that it follows the window; and how far
// up the middle is.
constexpr double kSolarRoom = 1.5;
constexpr double kLateralRoom = 2.2;
constexpr double kLateralUp = 0.3;

/// The foot at that place of the photo, seen otherwise.
/// @param side_mm Of the window, in the place's plane.
/// @param up_mm   From the foot to the window's middle.
Place SeenOtherwise(const Place& place,
                    const Otherwise& otherwise,
                    PhotoPoint foot,
                    double side_mm,
                    double up_mm) {
  constexpr double kDegree = std::numbers::pi / 180;
  Place other = place;
  other.soft = otherwise.soft;
  const auto on_plane = geometry::NominalMap(place.plane).Apply(foot);
  if (!on_plane) return other;
  // The foot stays where it is, the plane leans about it.
  auto& pose = other.plane.camera_from_card;
  const Eigen::Vector3d at(on_plane->x, on_plane->y, 0.0);
  const Eigen::Vector3d in_camera = pose.rotation * at + pose.translation;
  pose.rotation =
      pose.rotation *
      geometry::RotationFromVector(
          {otherwise.lean_x * kDegree, otherwise.lean_y * kDegree, 0.0});
  pose.translation = in_camera - pose.rotation * at;
  const double c = std::cos(otherwise.turn * kDegree);
  const double s = std::sin(otherwise.turn * kDegree);
  const geometry::CardVector right = place.window.right;
  const geometry::CardVector down = place.window.down;
  other.window.right =
      (otherwise.mirrored ? -1.0 : 1.0) * (c * right + s * down);
  other.window.down = c * down - s * right;
  other.window.side_mm = otherwise.size * side_mm;
  other.window.centre =
      *on_plane + (otherwise.aside_x * other.window.side_mm) * right +
      (otherwise.aside_y * other.window.side_mm - up_mm) * down;
  return other;
}

/// What a look through a mirror saw, as if there had been none.
void CallRight(Sightings& seen) {
  std::swap(seen.at(PointId::kHeelLeft), seen.at(PointId::kHeelRight));
  std::swap(seen.at(PointId::kFrogLeft), seen.at(PointId::kFrogRight));
}

/// Looks at the foot at that place of the photo, a little otherwise each time.
void AddLooksOtherwise(const FindRequest& request,
                       const Finder& finder,
                       const std::function<Place(const Otherwise&)>& seen,
                       Looks how,
                       std::vector<Look>& looks) {
  for (const Otherwise& otherwise : kOtherwise) {
    Look look = LookThere(request, finder, seen(otherwise), how);
    if (otherwise.mirrored) CallRight(look.seen);
    looks.push_back(std::move(look));
  }
}

/// Looks at a foot again and takes what the looks agree on.
Look LookAgain(const FindRequest& request,
               const Finder& finder,
               Look first,
               const Place& where) {
  const auto foot = FootIn(request.view, first.seen);
  if (!foot || first.seen.foot_confidence < kLeastConfidence) return first;
  const PhotoPoint at = ToPhoto(first, foot->middle);
  const double size_mm = foot->size_px / first.image.px_per_mm;
  const bool solar = request.view == View::kSolar;
  const double side_mm = (solar ? kSolarRoom : kLateralRoom) * size_mm;
  const double up_mm = solar ? 0.0 : kLateralUp * size_mm;
  std::vector<Look> looks{std::move(first)};
  AddLooksOtherwise(
      request,
      finder,
      [&](const Otherwise& o) {
        return SeenOtherwise(where, o, at, side_mm, up_mm);
      },
      Looks::kOnce,
      looks);
  return Agreed(request.view, looks, foot->size_px);
}

/// Do three looks in four put the foot in one place of the photo, and as large?
bool AgreeOnPlace(View view, const std::vector<Look>& looks) {
  // CHOSEN: parts of the foot's size. Leaning, turned and soft looks at a foot
  // put it up to 0.08 apart, looks at what is none 0.2 and more, or nowhere.
  constexpr double kElsewhere = 0.1;
  std::vector<double> xs, ys, sizes;
  for (const Look& look : looks) {
    const auto foot = FootIn(view, look.seen);
    if (!foot) continue;
    const PhotoPoint at = ToPhoto(look, foot->middle);
    xs.push_back(at.x);
    ys.push_back(at.y);
    sizes.push_back(foot->size_px / look.image.px_per_mm *
                    PxPerMm(look.map, at));
  }
  if (2 * xs.size() <= looks.size()) return false;
  const double x = Median(xs);
  const double y = Median(ys);
  const double size = Median(sizes);
  std::size_t there = 0;
  for (std::size_t i = 0; i < xs.size(); ++i) {
    const double apart =
        std::max(std::hypot(xs[i] - x, ys[i] - y), std::abs(sizes[i] - size));
    if (apart < kElsewhere * size) ++there;
  }
  return 4 * there >= 3 * looks.size();
}

/// Where the nearer looks see no horn: a printer's grain, or a retoucher's
/// brush, has put something else in its place, which blurring doesn't bring
/// back. From afar the foot's shape is there all the same, and all looks from
/// there see the same one.
/// @param glance At a usual size.
std::optional<Look> LookFromAfar(const FindRequest& request,
                                 const Finder& finder,
                                 Look glance,
                                 const Place& where) {
  // CHOSEN: more than the 0.5 that is enough where the nearer looks bear it
  // out: over most painted feet without horn, which those refuse.
  constexpr double kLeastFromAfar = 0.65;
  const auto foot = FootIn(request.view, glance.seen);
  if (!foot || glance.seen.foot_confidence < kLeastFromAfar) {
    return std::nullopt;
  }
  const PhotoPoint at = ToPhoto(glance, foot->middle);
  std::vector<Look> looks{std::move(glance)};
  AddLooksOtherwise(
      request,
      finder,
      [&](const Otherwise& o) {
        return SeenOtherwise(where, o, at, where.window.side_mm, 0.0);
      },
      Looks::kGlance,
      looks);
  if (!AgreeOnPlace(request.view, looks)) return std::nullopt;
  Look agreed = Agreed(request.view, looks, foot->size_px);
  if (agreed.seen.foot_confidence < kLeastFromAfar) return std::nullopt;
  return agreed;
}

/// A foot seen from where it was once made out, and again, or else from afar.
/// @param near   The foot as the nearer looks see it.
/// @param glance At a usual size.
Look LookHarder(const FindRequest& request,
                const Finder& finder,
                Look near,
                const Place& near_place,
                Look glance,
                const Place& glance_place) {
  Look look = std::move(near);
  if (request.looks == Looks::kThorough) {
    look = LookAgain(request, finder, std::move(look), near_place);
  }
  if (look.seen.foot_confidence < kLeastConfidence) {
    if (auto afar =
            LookFromAfar(request, finder, std::move(glance), glance_place)) {
      look = *std::move(afar);
    }
  }
  look.hard = true;
  return look;
}

std::optional<Look> LookAtAllSizes(const FindRequest& request,
                                   const Finder& finder) {
  std::optional<Look> best;
  Place where;
  const auto look = [&](const Place& place, Looks looks) {
    Look there = LookThere(request, finder, place, looks);
    if (best && !(there.seen.foot_confidence > best->seen.foot_confidence)) {
      return;
    }
    best = std::move(there);
    where = place;
  };
  for (const Place& place : PlacesOfAllSizes(request)) {
    look(place, Looks::kGlance);
  }
  // Once more where it is, and at the size of a usual foot.
  if (const auto place = AtUsualSize(request, *best, where.plane)) {
    look(*place, Looks::kGlance);
  }
  Look glance = *std::move(best);
  const Place glanced_at = where;
  best = LookThere(request, finder, where, Looks::kOnce);
  if (const auto place = AtUsualSize(request, *best, where.plane)) {
    look(*place, Looks::kOnce);
  }
  return LookHarder(
      request, finder, *std::move(best), where, std::move(glance), glanced_at);
}

}  // namespace

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

std::optional<Look> LookEverywhere(const FindRequest& request,
                                   const Finder& finder) {
  if (request.plane.scale == geometry::ScaleSource::kNone) {
    return LookAtAllSizes(request, finder);
  }
  std::optional<Look> best;
  Place where;
  for (const PlaneWindow& window :
       ExpectedWindows(request.view,
                       request.photo.rgb.size(),
                       geometry::NominalMap(request.plane),
                       request.layout)) {
    const Place place{request.plane, window};
    // The first window has the foot nearly always.
    if (best) {
      const Look glance = LookThere(request, finder, place, Looks::kGlance);
      if (!(glance.seen.foot_confidence > best->seen.foot_confidence)) continue;
    }
    Look look = LookThere(request, finder, place, request.looks);
    if (!best || look.seen.foot_confidence > best->seen.foot_confidence) {
      best = std::move(look);
      where = place;
    }
    if (best->seen.foot_confidence >= kSureEnough) break;
  }
  if (request.looks != Looks::kThorough ||
      best->seen.foot_confidence >= kSureEnough) {
    return best;
  }
  Look glance = LookThere(request, finder, where, Looks::kGlance);
  return LookHarder(
      request, finder, *std::move(best), where, std::move(glance), where);
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

double PxPerMm(const PlaneMap& map, PhotoPoint near) {
  const auto at = map.Apply(near);
  return at ? map.PixelsPerMillimetre(*at) : 1.0;
}

bool InPhoto(PhotoPoint p, cv::Size size) {
  return p.x >= 0 && p.y >= 0 && p.x <= size.width && p.y <= size.height;
}

bool AtBorder(PhotoPoint p, cv::Size size) {
  const double rim = kBorder * std::max(size.width, size.height);
  return !(p.x > rim && p.y > rim && p.x < size.width - rim &&
           p.y < size.height - rim);
}

}  // namespace plumbfoot::find
