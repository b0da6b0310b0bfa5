// SPDX-License-Identifier: Apache-2.0
/// @file
/// The foot, the two views of it, and the points that are placed on a photo:
/// the words that `find`, `measure`, `draw` and `report` share.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string_view>

#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::geometry {

enum class Foot { kLeftFore, kRightFore, kLeftHind, kRightHind };

/// "LF", "RF", "LH", "RH".
std::string_view FootName(Foot foot);
/// "left fore" and so on, for people.
std::string_view FootWords(Foot foot);
/// Accepts LF RF LH RH and NF OF NH OH (near is left), in any case.
/// @return the foot, or kUsage.
Result<Foot> ParseFoot(std::string_view text);
constexpr bool IsFore(Foot foot) {
  return foot == Foot::kLeftFore || foot == Foot::kRightFore;
}
constexpr bool IsLeft(Foot foot) {
  return foot == Foot::kLeftFore || foot == Foot::kLeftHind;
}

enum class View { kSolar, kLateral };
/// "solar" or "lateral".
std::string_view ViewName(View view);

/// When in the visit the photos were taken.
enum class Stage { kBeforeTrim, kAfterTrim, kAfterShoeing, kOther };
/// "before_trim", "after_trim", "after_shoeing", "other": as in files.
std::string_view StageName(Stage stage);
/// "before the trim" and so on, for people.
std::string_view StageWords(Stage stage);
/// @return the stage of that StageName, or kUsage.
Result<Stage> ParseStage(std::string_view text);

/// The points that a finder or a person places. Left and right are the
/// horse's. The widest points of the sole follow from the outline and are not
/// placed.
enum class PointId {
  // Solar.
  kToe,
  kHeelLeft,   ///< Buttress: the rearmost bearing point of the heel.
  kHeelRight,  ///< As kHeelLeft.
  kFrogApex,
  kFrogLeft,   ///< The frog at its widest.
  kFrogRight,  ///< As kFrogLeft.
  // Lateral.
  kToeGround,
  kToeHairline,
  kHeelGround,
  kHeelHairline,
  kPasternUpper,  ///< On the dorsal pastern.
  kPasternLower,  ///< On the dorsal pastern, above the coronet.
};
inline constexpr std::size_t kPointCount = 12;

/// "toe", "heel_left", ...: the key in files.
std::string_view PointName(PointId id);
/// The points of one view, in the order of PointId.
std::span<const PointId> PointsOf(View view);
/// The point of `view` with that name; nothing if there is none.
std::optional<PointId> ParsePoint(View view, std::string_view name);

enum class PlacedBy { kFinder, kPerson };
/// "finder" or "person".
std::string_view PlacedByName(PlacedBy placed_by);

/// A point on the photo.
struct PlacedPoint {
  PhotoPoint px;
  PhotoCovariance covariance;  ///< [px^2]
  PlacedBy placed_by = PlacedBy::kFinder;
  /// How likely it is that the point is where it is said to be, within its
  /// covariance [0..1]. A person's point: 1.
  double confidence = 0.0;
  /// Where the point was seen, if that is not at `px`: the heel that faces the
  /// camera, when `px` shows where the heel lies in the middle plane.
  std::optional<PhotoPoint> seen_px = std::nullopt;
};

/// A line on the photo that follows an edge: the closed outline of the bearing
/// edge, or the open dorsal wall from the hairline to the ground.
struct PlacedCurve {
  PhotoPolyline px;
  /// Standard uncertainty across the edge, the same all along [px].
  double sigma_px = 0.0;
  /// Errors of places nearer than this go together [px].
  double correlation_px = 0.0;
  PlacedBy placed_by = PlacedBy::kFinder;
  double confidence = 0.0;
};

/// What the heel points of a lateral photo lie on. The foot is as wide as it
/// is long: the heel that one sees is nearer the camera than the middle plane
/// in which the card stands, and so looks larger and, from a camera above the
/// ground, lower.
enum class HeelPlane {
  kMiddle,  ///< The points are where the middle plane's heel appears.
  kNear,    ///< The points are on the heel that faces the camera.
};

/// Everything that is placed on one photo.
struct ViewPoints {
  View view = View::kSolar;
  std::array<std::optional<PlacedPoint>, kPointCount> points;
  /// Points that somebody said can't be seen: not to be searched for.
  std::array<bool, kPointCount> hidden{};
  std::optional<PlacedCurve> outline;         ///< Solar only; closed.
  std::optional<PlacedCurve> dorsal_wall;     ///< Lateral only; hairline first.
  HeelPlane heel_plane = HeelPlane::kMiddle;  ///< Lateral only.
  /// Lateral, shod, placed by a person only: edges of the shoe's branch that
  /// faces the camera, from the toe to the heel or back: on the ground, and
  /// towards the foot; and the horn's lower edge over it.
  std::optional<PlacedCurve> shoe_ground;
  std::optional<PlacedCurve> shoe_foot;
  std::optional<PlacedCurve> horn_edge;

  const std::optional<PlacedPoint>& at(PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
  std::optional<PlacedPoint>& at(PointId id) {
    return points[static_cast<std::size_t>(id)];
  }
  bool is_hidden(PointId id) const {
    return hidden[static_cast<std::size_t>(id)];
  }
};

}  // namespace plumbfoot::geometry

namespace plumbfoot {
using geometry::Foot;
using geometry::PlacedBy;
using geometry::PointId;
using geometry::Stage;
using geometry::View;
using geometry::ViewPoints;
}  // namespace plumbfoot
