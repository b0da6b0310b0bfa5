// SPDX-License-Identifier: Apache-2.0
/// @file
/// From placed points to measures with uncertainty. Pure: no image, no file, no
/// clock; the seed is an argument.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/measure/measures.h"
#include "plumbfoot/measure/propagate.h"

namespace plumbfoot::measure {

struct MeasureOptions {
  bool shod = false;
  /// Trials of the Monte Carlo propagation (JCGM 101:2008); at least 100.
  int trials = 2000;
  /// Two photos that are measured with the same seed and number of trials share
  /// the print of the card, trial by trial; everything else is drawn apart (it
  /// depends on the placed points too).
  std::uint64_t seed = 1;
  /// For HeelPlane::kNear: how far the near heel stands before the middle plane
  /// [mm], and its standard uncertainty.
  double half_heel_width_mm = 32.0;
  double half_heel_width_sigma_mm = 7.0;
  /// How far the frog lies behind the bearing plane, seen from the camera [mm],
  /// and its standard uncertainty; half of the variance is that of the whole
  /// frog, the rest its base's and its point's own. A camera that looks askew
  /// sees a deep frog, and so the axis, shifted.
  double frog_depth_mm = 4.0;        // CHOSEN: a trimmed frog, common practice.
  double frog_depth_sigma_mm = 3.0;  // CHOSEN: from level to a deep frog.
  /// On a shod foot the shoe's thickness comes on top [mm].
  double shoe_thickness_mm = 9.0;        // CHOSEN: usual iron, 8 to 11 mm.
  double shoe_thickness_sigma_mm = 2.0;  // CHOSEN: as above.
};

/// A point in the foot frame.
struct PointInFoot {
  geometry::FootPoint mm;
  geometry::Covariance<geometry::FootFrame> covariance;  ///< [mm^2]
};

/// The lines and places that a drawing needs, in the photo. All lie in the
/// measured plane; with HeelPlane::kNear the heel ends of the lateral lines are
/// therefore where the middle plane's heel is seen, not on the near heel.
struct Construction {
  // Solar.
  /// The frog axis, from the heel line to the foremost place of the foot.
  std::optional<std::array<geometry::PhotoPoint, 2>> frog_axis;
  std::optional<geometry::PhotoPoint> widest_left;
  std::optional<geometry::PhotoPoint> widest_right;
  std::optional<geometry::PhotoPoint> heel_middle;  ///< Between the buttresses.
  /// Square to the axis, at the mean place of the two widest points; from the
  /// left edge to the right.
  std::optional<std::array<geometry::PhotoPoint, 2>> widest_line;
  // Lateral.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      bearing_line;  ///< Toe first.
  std::optional<std::array<geometry::PhotoPoint, 2>>
      toe_line;  ///< The fitted line, from the bearing line up.
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
  /// What a person should know beside the numbers, in sentences: the axis did
  /// not come from the frog, the shoe is measured, left and right look swapped.
  std::vector<std::string> notes;
};

/// The same, with the trials: column InfoOf(id) is the place of `id` in
/// MeasureId. NaN where a measure of this view was not taken, and in the
/// columns of the other view.
///
/// Row i of two photos that were measured with the same seed and number of
/// trials holds the same print of the card, so that the difference of two such
/// matrices is a sample of the difference of the measures, in which the error
/// of the print cancels.
struct MeasuredTrials {
  ViewMeasures measures;
  Trials trials;
};

/// Takes every measure of the view that its points allow; the others say why
/// not.
///
/// Axis of the solar view: along the frog; without the frog's three points,
/// from midway between the heel buttresses to the toe, with a note. Toe line of
/// the lateral view: fitted to the straight part of the dorsal wall; without
/// the wall, from the ground to the hairline point.
///
/// Widest points: where the outline stands furthest from the axis, as the top
/// of a parabola fitted to it within a tenth of its length on either side; the
/// outline is nearly straight there, and its furthest corner alone would be
/// anywhere along centimetres.
///
/// Value: the measures of the nominal points on the nominal plane. Uncertainty:
/// Monte Carlo (JCGM 101:2008, clauses 5 to 7) over the plane's fit (corners,
/// camera, lens), its offset and turn against the measured plane, the print,
/// the depth of what lies off the plane (a near heel, the frog), each point by
/// its covariance, and each curve by a smooth random displacement
/// across itself (stationary, normal, with the correlation
/// exp(-d^2 / 2 correlation_px^2)). 95 % interval: probabilistically symmetric;
/// for outline_asymmetry and dorsal_wall_departure, which noise pushes one way,
/// the wider of it and its reflection (see IntervalKind). All are kept within
/// what is possible.
/// @throws std::invalid_argument for fewer than 100 trials.
ViewMeasures MeasureView(const ViewPoints& points,
                         const geometry::PlaneEstimate& plane,
                         const MeasureOptions& options = {});
MeasuredTrials MeasureViewWithTrials(const ViewPoints& points,
                                     const geometry::PlaneEstimate& plane,
                                     const MeasureOptions& options = {});

}  // namespace plumbfoot::measure
