// SPDX-License-Identifier: Apache-2.0
/// @file
/// What a photo of a scene would have to be read as: every point, outline and
/// measure of the exact geometry, worked out without any of the product's
/// rooms but `geometry`.
#pragma once

#include <array>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "scenes/foot_shape.h"
#include "scenes/scene.h"

namespace plumbfoot::scenes {

struct TruthPoint {
  geometry::PhotoPoint px;
  geometry::FootPoint mm;  ///< Foot frame of the view.
  /// How far it lies behind the measured plane, away from the camera [mm].
  double depth_mm = 0.0;
  Vec3 place;           ///< Shape frame [mm].
  bool visible = true;  ///< Inside the photo and not covered.
  /// Lateral heel points only: `px` is where the middle plane's point would
  /// appear; this is the heel that faces the camera, and its distance from the
  /// middle plane.
  std::optional<geometry::PhotoPoint> px_near;
  double near_depth_mm = 0.0;
  Vec3 near_place;
};

/// Lateral, shod: the shoe's branch that faces the camera.
struct TruthShoe {
  double rise_mm = 0.0;  ///< Over the ground, 5 mm before its heel's end.
  double gap_mm = 0.0;   ///< Between it and the horn, at the horn's heel.
  double thickness_mm = 0.0;
  /// Outer edges from the toe to the heel: the shoe's ground edge, its edge
  /// towards the foot, and the horn's lower edge.
  geometry::PhotoPolyline ground_px;
  geometry::PhotoPolyline foot_px;
  geometry::PhotoPolyline horn_px;
};

struct TruthTag {
  int id = 0;
  /// Of the black square as printed, gain included; in the order bottom left,
  /// bottom right, top right, top left of the upright tag [px].
  std::array<geometry::PhotoPoint, 4> corners;
  bool shown = true;    ///< Part of the print and inside the photo.
  bool visible = true;  ///< And not covered.
};

struct Truth {
  geometry::View view = geometry::View::kSolar;
  geometry::Foot foot = geometry::Foot::kLeftFore;
  bool shod = false;
  int width_px = 0;
  int height_px = 0;
  std::uint64_t seed = 0;
  double focal_35mm = 0.0;
  double distance_mm = 0.0;  ///< Lens to the foot's centre.
  double print_scale = 1.0;
  geometry::Camera camera;
  geometry::Pose camera_from_measured;  ///< Card coordinates, measured plane.
  geometry::Pose camera_from_card;
  geometry::CardPoint pivot;

  std::array<std::optional<TruthPoint>, geometry::kPointCount> points;
  /// Solar: the closed bearing outline, from the left heel round the toe to
  /// the right heel. Lateral: empty.
  geometry::PhotoPolyline outline_px;
  geometry::FootPolyline outline_mm;
  std::vector<bool> outline_visible;
  /// Solar: the frog's edge, from its left widest place round the apex to the
  /// right one. Lateral: empty.
  geometry::PhotoPolyline frog_px;
  /// Lateral: the dorsal wall, hairline first, to the horn's ground edge.
  geometry::PhotoPolyline dorsal_px;
  geometry::FootPolyline dorsal_mm;
  std::vector<bool> dorsal_visible;
  std::optional<TruthShoe> shoe;
  std::vector<TruthTag> tags;
  /// By the ids of the measures: mm, mm^2, degrees, ratios; toe_share and
  /// outline_asymmetry in per cent.
  std::map<std::string, double> measures;

  const std::optional<TruthPoint>& at(geometry::PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
};

/// Everything but what covers what: `visible` only knows the photo's edges.
Truth ComputeTruth(const SceneOptions& options, int width_px, int height_px);

/// The measures of the exact points in `truth`.
std::map<std::string, double> SolarMeasures(const Truth& truth);
/// @param straight_part  How many of the dorsal wall's places, from the
///   hairline, lie on its straight part.
std::map<std::string, double> LateralMeasures(const Truth& truth,
                                              std::size_t straight_part);

nlohmann::json ToJson(const Truth& truth);
/// The `solar` or `lateral` part of a points file; a covered point is null.
nlohmann::json PointsOf(const Truth& truth);

}  // namespace plumbfoot::scenes
