// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <utility>

#include "find/agreement.h"
#include "find/doubt.h"
#include "find/look.h"
#include "find/refine.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/points_file.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoCovariance;
using geometry::PhotoPoint;
using geometry::PlacedCurve;
using geometry::PlacedPoint;
using geometry::PlaneMap;

// CHOSEN: a finder that misses a person's point by more is looking at something
// else.
constexpr double kDisagreesMm = 10.0;
// CHOSEN: a sole of less confidence, and no edge where it should end, is none.
constexpr double kLeastWithoutEdge = 0.7;
// Without a scale, or of a photo that is hard to read. CHOSEN: below what is
// sure.
constexpr double kHardToRead = 0.9;
// CHOSEN: on 15 old plates most of the points of less confidence were off by
// more than 3 % of the hoof's width.
constexpr double kLeastWithoutScale = 0.8;
// CHOSEN: with a scale an interval says how unsure; of less confidence were, on
// the same plates with a card beside them, hairlines at the tips of hair.
constexpr double kLeastHardToRead = 0.7;
// CHOSEN: just below what is sure: most are right. Of 22 that the finder was
// sure of on rendered photos of seeds 20261206 and 20261209 two were 5 to 6
// mm off, at the tips of long hair. Without a scale none is kept: of 6 that
// were on 36 rendered photos 4 were wrong.
constexpr double kUnderHair = 0.95;

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

/// How far a place in the plane is from where the finder saw that point [mm].
/// Of the pastern's two points only their line is used: from that.
double OffMm(const Look& look, PointId id, CardPoint placed) {
  const auto seen = [&](PointId of) {
    const cv::Point2d at = look.seen.at(of)->at;
    return CardFromImage(look.image, at.x, at.y);
  };
  if ((id == PointId::kPasternUpper || id == PointId::kPasternLower) &&
      look.seen.at(PointId::kPasternUpper) &&
      look.seen.at(PointId::kPasternLower)) {
    const CardPoint low = seen(PointId::kPasternLower);
    const geometry::CardVector along = seen(PointId::kPasternUpper) - low;
    if (Norm(along) > 0) {
      return std::abs(Cross(along, placed - low)) / Norm(along);
    }
  }
  return Distance(placed, seen(id));
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
    const double off = OffMm(look, id, *placed);
    // That of a round covariance as large.
    const double sigma_px = std::sqrt(cv::trace(s.covariance) / 2);
    if (off > std::max(kDisagreesMm, 3 * sigma_px / look.image.px_per_mm)) {
      return false;
    }
  }
  return true;
}

/// What several looks saw in different places is not known better because an
/// edge is near, or the frog's axis, which they may have seen wrongly too.
void DoubtWhatIsApart(const Look& look, ViewPoints& points) {
  for (const PointId id : geometry::PointsOf(points.view)) {
    auto& p = points.at(id);
    if (p && p->placed_by == PlacedBy::kFinder &&
        look.apart[static_cast<std::size_t>(id)]) {
      p->confidence = std::min(p->confidence, kUnlikely);
    }
  }
}

/// The outline of the bearing edge ends at the heels, and a heel is where it
/// ends: without one of them nothing says where the edge goes over into a bulb.
/// Nor where the looks don't hold one of them: many such outlines of rendered
/// soles ran on over a bulb (tests/photos/rendered_plates).
/// @param look Null if no finder is believed.
void DoubtHeelsAndOutline(const Look* look, ViewPoints& points) {
  auto& left = points.at(PointId::kHeelLeft);
  auto& right = points.at(PointId::kHeelRight);
  auto& outline = points.outline;
  const auto held = [&](PointId id) {
    const auto& heel = points.at(id);
    if (!heel || heel->placed_by == PlacedBy::kPerson) return heel.has_value();
    const auto& seen = look != nullptr ? look->seen.at(id) : std::nullopt;
    return seen && seen->confidence >= kLeastWithoutScale;
  };
  if (outline && outline->placed_by == PlacedBy::kFinder &&
      !(held(PointId::kHeelLeft) && held(PointId::kHeelRight))) {
    outline.reset();
  }
  if (outline) return;
  for (auto* heel : {&left, &right}) {
    if (*heel && (*heel)->placed_by == PlacedBy::kFinder) heel->reset();
  }
}

/// Where no card stands on it the ground is the line through toe and heel: one
/// of them alone may be anywhere on the hoof's or the shoe's edge, and nothing
/// is measured from it.
void LeaveOpenAlone(ViewPoints& points, PointId one, PointId other) {
  const bool both = points.at(one) && points.at(other);
  for (const PointId id : {one, other}) {
    auto& p = points.at(id);
    if (!both && p && p->placed_by == PlacedBy::kFinder) p.reset();
  }
}

/// Without a scale: what is not known to kApart of the foot's size, along an
/// edge for instance, in 95 of 100 cases.
void LeaveOpenVague(const PlaneMap& map, ViewPoints& points) {
  for (const PointId id : geometry::PointsOf(points.view)) {
    auto& p = points.at(id);
    if (!p || p->placed_by != PlacedBy::kFinder) continue;
    const PhotoCovariance& c = p->covariance;
    const double largest =
        (c.xx + c.yy) / 2 + std::hypot((c.xx - c.yy) / 2, c.xy);
    const double reach_mm = 1.96 * std::sqrt(largest) / PxPerMm(map, p->px);
    if (reach_mm > kApart * kUsualFootMm) p.reset();
  }
}

Refusal NoFoot(View view) {
  return {RefusalCode::kNoFoot,
          view == View::kSolar
              ? "No sole can be made out in this photo."
              : "No foot seen from the side can be made out in this photo.",
          "Place the points by hand, or take the photo again: clean foot, even "
          "light, plain ground, all of the foot beside the card."};
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
  if (!believed && !any_given) return NoFoot(request.view);
  const bool scaled = request.plane.scale != geometry::ScaleSource::kNone;
  const bool hard = !scaled || (believed && look->hard);
  finding.foot_confidence = any_given  ? 1.0
                            : believed ? look->seen.foot_confidence
                                       : 0.0;
  if (believed) {
    if (request.view == View::kSolar) TurnHeels(look->image, look->seen);
    for (const PointId id : geometry::PointsOf(request.view)) {
      const auto& s = look->seen.at(id);
      if (points.at(id) || points.is_hidden(id) || !s) continue;
      if (s->confidence < kLeastConfidence) continue;
      const PlacedPoint p = ToPhoto(*look, *s);
      if (InPhoto(p.px, size)) points.at(id) = p;
    }
  }
  if (request.view == View::kSolar) {
    if (believed) {
      const bool has_edge = RefineSolar(request, *look, finding);
      if (!has_edge && !any_given &&
          finding.foot_confidence < kLeastWithoutEdge) {
        return NoFoot(request.view);
      }
      DoubtByOutlines(*look, points);
      finding.frog_px = ToPhoto(*look, look->seen.frog);
    }
    DoubtSole(map, points);
    BluntApex(map, points);
  } else {
    RefineLateral(request, map, believed ? &*look : nullptr, points);
    PlaceHeels(request, map, believed ? &*look : nullptr, points);
    points.heel_plane = geometry::HeelPlane::kMiddle;
    DoubtSide(map, points);
    DoubtHairline(points, scaled ? kUnderHair : kUnlikely);
  }

  if (hard) {
    // How often the finder is right was counted where the scale is known and
    // one look is enough.
    if (believed) DoubtWhatIsApart(*look, points);
    if (request.view == View::kSolar) {
      DoubtHeelsAndOutline(believed ? &*look : nullptr, points);
    }
    Cap(points, kHardToRead);
    LeaveOpen(points, scaled ? kLeastHardToRead : kLeastWithoutScale);
    if (scaled) LeaveCurvesOpen(points, kLeastHardToRead);
  }
  if (!scaled) {
    ShortenWall(map, points);
    LeaveOpenAlone(points, PointId::kToeGround, PointId::kHeelGround);
    LeaveOpenVague(map, points);
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
