// SPDX-License-Identifier: Apache-2.0
/// @file
/// The door between the finder and everything else. A finder looks at a
/// PlaneImage and says where the points are; what is refined on the full
/// photo, and what a person placed, is none of its business.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <opencv2/core/matx.hpp>
#include <opencv2/core/types.hpp>
#include <optional>
#include <string_view>
#include <vector>

#include "plumbfoot/card/find_card.h"
#include "plumbfoot/find/plane_image.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/photo/photo.h"

namespace plumbfoot::find {

/// A point in the pixels of the PlaneImage.
struct Sighting {
  cv::Point2d at;
  /// In x and y [px^2]. A point on an edge slides along it: not round.
  cv::Matx22d covariance;
  double confidence = 0.0;  ///< [0..1]
  /// Where else a heel of a sole may be, and how likely it is to be there
  /// [0..1]; 0 if nothing is known of it.
  cv::Point2d elsewhere;
  double elsewhere_likelihood = 0.0;
};

/// The covariance of a point that is as uncertain in every direction.
/// @param sigma_px Standard uncertainty in each direction [px].
inline cv::Matx22d RoundCovariance(double sigma_px) {
  return cv::Matx22d::eye() * (sigma_px * sigma_px);
}

/// What a finder saw. Anything may be missing. Heel points of a lateral view
/// are on the heel that faces the camera.
struct Sightings {
  std::array<std::optional<Sighting>, geometry::kPointCount> points;
  std::vector<cv::Point2d> outline;      ///< Solar; closed; may be empty.
  std::vector<cv::Point2d> frog;         ///< Solar; closed; may be empty.
  std::vector<cv::Point2d> shoe;         ///< Solar; closed; empty if bare.
  std::vector<cv::Point2d> dorsal_wall;  ///< Lateral; hairline first.
  double outline_confidence = 0.0;       ///< [0..1]
  double wall_confidence = 0.0;          ///< [0..1]
  /// Where the dorsal wall ends on a shoe, which the line goes on over.
  std::optional<cv::Point2d> wall_on_shoe;
  /// How likely it is that the picture shows this view of a foot at all
  /// [0..1].
  double foot_confidence = 0.0;

  const std::optional<Sighting>& at(PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
  std::optional<Sighting>& at(PointId id) {
    return points[static_cast<std::size_t>(id)];
  }
};

/// How long a finder looks.
enum class Looks : std::uint8_t {
  kGlance,    ///< Where a foot may be, and how large: once, from afar.
  kOnce,      ///< For "is there a foot, and all of it?": from near by too.
  kThorough,  ///< Mirrored too: points on which the looks differ are less sure.
};

/// Any finder: one that looks at a square of the plane and says what it sees.
using Finder = std::function<Sightings(View, const PlaneImage&, Looks)>;

/// The trained finder: first over the whole picture, then again, closer, where
/// the foot is. Loads the network when it is first called; what comes back may
/// be called again and again, but not from two threads at once.
///
/// A point's confidence is how often points as likely lay within 5 mm on
/// painted scenes that the network had never seen, and its covariance what
/// their errors were (src/find/network/README.md).
Finder NetworkFinder();

/// NetworkFinder(), thoroughly, for one picture.
Sightings FindByNetwork(View view, const PlaneImage& image);

/// What is needed to look for points on one photo.
struct FindRequest {
  View view = View::kSolar;
  const photo::Photo& photo;
  geometry::PlaneEstimate plane;
  /// The card in the photo, so that it is not taken for a foot.
  const card::SeenCard* card = nullptr;
  const card::Layout* layout = nullptr;
  /// Points that a person placed, which are kept, and points that can't be
  /// seen, which are left out.
  ViewPoints given{};
  /// Half of the foot's width between the heels, and how sure that is, by which
  /// the heel that is seen from the side stands nearer than the middle plane.
  /// Without it, what is usual for a foot of that length.
  std::optional<double> half_heel_width_mm;
  double half_heel_width_sigma_mm = 7.0;
  /// How long the finder looks at what it found.
  Looks looks = Looks::kThorough;
  /// Are points and curves put on the photo's edges? False shows what the
  /// finder alone is worth.
  bool on_edges = true;
};

/// What was found, what was not and why.
struct Finding {
  ViewPoints points;
  double foot_confidence = 0.0;
  /// Is all of the foot inside the photo?
  bool cut_off = false;
  /// The frog's edge as the finder saw it, closed; empty if it saw none.
  /// Nothing is measured from it.
  geometry::PhotoPolyline frog_px;
};

/// A sighting or curve that is less likely than this to be right is left out,
/// so that a person places it.
inline constexpr double kLeastConfidence = 0.5;

/// What is less likely than this to be right is not sure: it is shown and
/// measured, and a person must confirm or correct it. Of the points that are
/// sure at most one in a hundred should be more than 5 mm off.
// CHOSEN: by the risk on rendered scenes (src/find/network/README.md).
inline constexpr double kSureConfidence = 0.97;

/// The confidence of what an independent check speaks against: shown, not sure.
inline constexpr double kUnlikely = 0.5;

/// Is that placed by a person, or by a finder that is sure of it?
template <typename Placed>
bool IsSure(const Placed& placed) {
  return placed.placed_by == PlacedBy::kPerson ||
         placed.confidence >= kSureConfidence;
}

/// What a finder placed and isn't sure of, in the order of PointId; then
/// "outline" or "dorsal_wall". Empty if everything is sure or a person's.
std::vector<std::string_view> Unsure(const ViewPoints& points);

/// Resamples the photo to the plane, runs the finder, refines edges on the full
/// photo to sub-pixel, and puts the given points in their place.
///
/// Points and lines that a person placed stay where they are, with
/// PersonSigmaPx for their uncertainty; where the finder sees one of them
/// elsewhere, nothing else of what it saw is believed. With all points of a
/// view given or hidden (and, of the sole, the outline given) it isn't asked.
/// The dorsal wall between two toe points is followed on the photo, whoever
/// placed them.
///
/// The heel points that come back are where the heel of the middle plane
/// appears (HeelPlane::kMiddle) even though the finder sees the near heel, and
/// a person may have placed that (HeelPlane::kNear in `given`).
///
/// Without a scale several sizes are tried, and the foot that is likeliest is
/// looked at again and again, each time a little otherwise: what comes back is
/// where the looks agree, and a point or an outline that they put apart by more
/// than 3 % of the foot's size is left open. So are an outline without two
/// likely heels, heels without an outline, a toe or a heel on the ground
/// without the other, the hairlines, and the end of a dorsal wall towards a
/// point that is left open. Where nearer looks see no foot, but those from afar
/// agree on one, these count. `Looks::kOnce` looks once here too, and again
/// only from afar.
///
/// With a scale, too, a photo that is hard to read is looked at so
/// (`Looks::kThorough` only): nothing of it is sure, and what the looks put
/// apart or is likely to be wrong is left open.
///
/// @return The finding, however incomplete; or kNoFoot if no foot is seen and
///   no point was given.
Result<Finding> FindPoints(const FindRequest& request,
                           const Finder& finder = NetworkFinder());

}  // namespace plumbfoot::find
