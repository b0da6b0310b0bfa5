// SPDX-License-Identifier: Apache-2.0
/// @file
/// From points on the measured plane to numbers: what is done once for the
/// value and again in every trial.
#pragma once

#include <array>
#include <limits>
#include <optional>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::measure {

/// The points of one view, mapped onto the measured plane [mm].
struct OnPlane {
  std::array<std::optional<geometry::CardPoint>, geometry::kPointCount> points;
  geometry::CardPolyline outline;      ///< Solar, closed; empty: none.
  geometry::CardPolyline dorsal_wall;  ///< Lateral, hairline first.
  /// How far the widest places truly lie forward of where a smooth outline has
  /// them, left and right; a share of the outline's length.
  std::array<double, 2> widest_forward{};
  /// How much further the dorsal wall truly departs from its straight part
  /// [mm].
  double departs_further = 0.0;

  const std::optional<geometry::CardPoint>& at(PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
};

/// How the foot frame is laid; decided once, on the nominal points.
struct Layout {
  View view = View::kSolar;
  /// Solar: the axis runs along the frog; otherwise from heels to toe.
  bool axis_by_frog = true;
  /// Lateral: +1 if the foot's y axis is Perpendicular() of its x axis, -1 if
  /// it is the opposite. Depends on which way the foot faces in the photo.
  double up = 1.0;
  /// Lateral: how far a place of the wall may stand off a straight wall
  /// [mm], k = 1, and over which length such errors go together [mm].
  double wall_sigma = 0.0;
  double wall_correlation = 0.0;
  /// Lateral, for trials: what of the wall as it was placed is taken for noise
  /// (WallFit::noise). The departure of a trial is that of the wall without it;
  /// empty: of the wall as it is.
  std::vector<double> wall_noise;
};

/// Numbers of a view by MeasureId; NaN where there is none.
using Numbers = std::array<double, kMeasureCount>;

/// The foot frame in the card frame.
struct FootAxes {
  geometry::CardPoint origin;
  geometry::CardVector x;
  geometry::CardVector y;

  geometry::FootPoint ToFoot(geometry::CardPoint p) const {
    const auto d = p - origin;
    return {geometry::Dot(x, d), geometry::Dot(y, d)};
  }
  geometry::CardPoint ToCard(geometry::FootPoint p) const {
    return origin + p.x * x + p.y * y;
  }
};

/// A view in the foot frame, with its numbers.
struct InFoot {
  /// Nothing if the points don't give a frame; then only what needs none is
  /// measured.
  std::optional<FootAxes> axes;
  std::array<std::optional<geometry::FootPoint>, geometry::kPointCount> points;
  geometry::FootPolyline outline;
  geometry::FootPolyline dorsal_wall;
  std::optional<geometry::FootPoint> widest_left;
  std::optional<geometry::FootPoint> widest_right;
  std::array<double, 2> widest_forward{};  ///< As in OnPlane.
  double departs_further = 0.0;            ///< As in OnPlane.
  double axis_y = 0.0;                     ///< Solar: y of the frog axis.
  /// Lateral: through the straight part of the wall, pointing up.
  std::optional<geometry::Line<geometry::FootFrame>> toe_line;
  std::vector<double> wall_noise;  ///< Lateral: WallFit::noise.
  Numbers numbers{};

  const std::optional<geometry::FootPoint>& at(PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
  double& number(MeasureId id) { return numbers[static_cast<std::size_t>(id)]; }
  double number(MeasureId id) const {
    return numbers[static_cast<std::size_t>(id)];
  }
};

/// Lays the frame and takes every number that the points allow. `foot` is
/// overwritten; its memory is used again.
void PutInFoot(const OnPlane& plane, const Layout& layout, InFoot& foot);

/// Solar numbers of what already stands in the foot frame.
void TakeSolar(InFoot& foot);
/// Lateral numbers of what already stands in the foot frame.
void TakeLateral(const Layout& layout, InFoot& foot);

/// Where the outline stands furthest to the left (side +1) or right (-1).
///
/// Place and height of the top of a cubic, fitted to the outline within an
/// sixth of its length on either side: the outline runs nearly along the axis
/// there, so that its furthest corner alone would jump by centimetres along the
/// axis, and always lie too far out by some of the noise. The height there is
/// that of a cubic over half of that.
geometry::FootPoint WidestPoint(const geometry::FootPolyline& outline,
                                double side);

/// Area of the outline that its mirror image in the line y = axis_y doesn't
/// cover, over its area [1]: on 128 lines square to the axis, the length that
/// lies inside the outline but not inside its image.
double AsymmetryAcross(const geometry::FootPolyline& outline, double axis_y);

/// The line of a wall's straight part, and how far the wall leaves it.
struct WallFit {
  geometry::Line<geometry::FootFrame> line;  ///< Points up.
  double departure = 0.0;  ///< Largest signed gap, + outwards.
  /// How far each corner stands out of the wall that the models, averaged, make
  /// of it [mm]; 0 where the coronet is left out.
  std::vector<double> noise;
};

/// The wall without that: each corner moved in by its noise.
geometry::FootPolyline WithoutNoise(const geometry::FootPolyline& wall,
                                    const std::vector<double>& noise);

/// What is wanted of a WallFit; each comes with those before it, and the rest
/// is left as nothing. A trial needs the line of one wall and the departure of
/// another.
enum class WallWants { kLine, kDeparture, kNoise };

/// Fits the straight part of a dorsal wall.
///
/// The uppermost 12 % are left out (the coronet bulges). The rest is taken to
/// be straight down to a place u, and below it to leave the line as
/// ((t - u) / (1 - u))^2: flare outwards, dish inwards. Nobody knows u or
/// whether there is a departure at all, so ten models are fitted by least
/// squares - no departure, and u at nine places from 25 to 85 % - and their
/// lines averaged by their posterior probabilities (A. E. Raftery et al.,
/// "Bayesian model averaging for linear regression models", JASA 92(437),
/// 1997). A straight wall thus counts with its whole length, which an
/// unconditional upper half would not (its direction is 2.5 times as
/// uncertain), and nothing jumps when noise moves a threshold.
///
/// @param wall  In the foot frame, hairline first, at least 8 corners.
/// @param sigma, correlation  As in Layout.
std::optional<WallFit> FitWall(const geometry::FootPolyline& wall,
                               double sigma,
                               double correlation,
                               WallWants wants = WallWants::kNoise);

}  // namespace plumbfoot::measure
