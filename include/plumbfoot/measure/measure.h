// SPDX-License-Identifier: Apache-2.0
/// @file
/// From placed points to measures with uncertainty. Pure: no image, no file, no
/// clock; the seed is an argument.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::measure {

struct MeasureOptions {
  bool shod = false;
  /// Trials of the Monte Carlo propagation (JCGM 101:2008).
  int trials = 2000;
  std::uint64_t seed = 1;
  /// For HeelPlane::kNear: how far the near heel stands before the middle plane
  /// [mm], and its standard uncertainty.
  double half_heel_width_mm = 32.0;
  double half_heel_width_sigma_mm = 7.0;
};

/// A point in the foot frame.
struct PointInFoot {
  geometry::FootPoint mm;
  geometry::Covariance<geometry::FootFrame> covariance;  ///< [mm^2]
};

/// The lines and places that a drawing needs, in the photo.
struct Construction {
  // Solar.
  std::optional<std::array<geometry::PhotoPoint, 2>> frog_axis;  ///< Heel, toe.
  std::optional<geometry::PhotoPoint> widest_left;
  std::optional<geometry::PhotoPoint> widest_right;
  /// Where the axis, the heel line and the widest line cross.
  std::optional<geometry::PhotoPoint> heel_middle;
  std::optional<std::array<geometry::PhotoPoint, 2>> widest_line;
  // Lateral.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      bearing_line;  ///< Toe first.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      toe_line;  ///< Ground first.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      heel_line;  ///< Ground first.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      pastern_line;  ///< Low first.
};

/// Everything that is known of one view after measuring.
struct ViewMeasures {
  View view = View::kSolar;
  bool has_scale = false;
  Outcomes outcomes;  ///< Every measure of this view is in it.
  std::array<std::optional<PointInFoot>, geometry::kPointCount> points;
  geometry::FootPolyline outline;      ///< Empty if there is none.
  geometry::FootPolyline dorsal_wall;  ///< Empty if there is none.
  std::optional<PointInFoot> widest_left;
  std::optional<PointInFoot> widest_right;
  Construction construction;
};

/// Takes every measure of the view that its points allow; the others say why
/// not. The uncertainty is propagated by Monte Carlo (JCGM 101:2008, clauses 5
/// to 7) from the points, the plane's fit (corners, camera, lens), its offset
/// and turn against the measured plane, and the print.
ViewMeasures MeasureView(const ViewPoints& points,
                         const geometry::PlaneEstimate& plane,
                         const MeasureOptions& options = {});

}  // namespace plumbfoot::measure
