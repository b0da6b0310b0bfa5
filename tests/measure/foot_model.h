// SPDX-License-Identifier: Apache-2.0
/// @file
/// Feet, cameras and photo points with known truth, for the tests of `measure`.
#pragma once

#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/random.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::measure {

/// A sole in the foot frame [mm].
struct Sole {
  double length = 125;
  double width = 128;
  double widest_at = 62;
  double heel_half_width = 38;
  /// The left half is wider than the right by this part.
  double lopsided = 0.03;
  double frog_length = 82;
  double frog_width = 48;
  double frog_back = 4;  ///< Of the line across the frog.
  /// The frog axis lies this far to the left of the middle of the heels.
  double axis_y = 1.5;
  /// Each side is uneven by a wave of this height [mm], 25 mm long and with
  /// this phase [rad] where the smooth side is widest.
  double uneven = 0.0;
  /// Of the sides behind the widest part, as a share of that before it:
  /// quarters run straighter than the toe.
  double rear_curvature = 1.0;
  double uneven_left = 0.0;
  double uneven_right = 0.0;

  geometry::FootPolyline Outline(int corners) const;
  geometry::FootPoint At(PointId id) const;
  double Truth(MeasureId id) const;
};

/// A side view in the foot frame [mm].
struct Side {
  double support = 118;
  double toe_angle = 51;  ///< [deg]
  double heel_angle = 46;
  double toe_length = 88;
  double heel_length = 45;
  double pastern_angle = 54;
  double departure = 0.0;  ///< At the ground, + outwards.
  double departs_from = 0.6;

  geometry::FootPolyline Wall(int corners) const;
  geometry::FootPoint At(PointId id) const;
  double Truth(MeasureId id) const;
};

/// Where the foot frame lies in the card's plane: x turned by `turn` [rad] from
/// the card's x; `hand` -1 if y is clockwise of x (every sole; a side that
/// faces left).
struct Placed {
  geometry::CardPoint origin;
  double turn = 0.0;
  double hand = -1.0;

  geometry::CardPoint ToCard(geometry::FootPoint p) const;
};

/// A camera that looks at `aim` in the card's plane.
geometry::PlaneEstimate LookAt(geometry::CardPoint aim,
                               double distance_mm,
                               double tilt_deg,
                               double tilt_towards_deg,
                               double spin_deg,
                               double focal_px = 3000);

/// Gives the estimate the covariance of a fit to the corners of five tags that
/// are known to `corner_sigma_px`.
void FitCard(geometry::PlaneEstimate& estimate, double corner_sigma_px);

/// How the points of a photo err.
struct Hand {
  double point_sigma_px = 0.0;
  double curve_sigma_px = 0.0;
  double correlation_px = 0.0;
};

/// A sole of any usual shape; the phases of its waves are left at nothing.
Sole RandomSole(geometry::Random& random);
/// A side of any usual shape, with or without a departure of its wall.
Side RandomSide(geometry::Random& random, bool departs);
/// A photo as a person takes it: 0.35 to 1.2 m away, up to 15 degrees askew,
/// and the doubt of a card that is held by hand.
geometry::PlaneEstimate RandomPhoto(geometry::Random& random,
                                    geometry::CardPoint aim);
/// A hand that errs by about half a millimetre at a point and a third at an
/// edge.
Hand RandomHand(geometry::Random& random,
                const geometry::PlaneMap& map,
                geometry::CardPoint aim);

/// The photo points of a sole, as a camera sees them.
ViewPoints PhotoOf(const Sole& sole,
                   const Placed& placed,
                   const geometry::PlaneMap& map,
                   const Hand& hand = {},
                   geometry::Random* random = nullptr);
ViewPoints PhotoOf(const Side& side,
                   const Placed& placed,
                   const geometry::PlaneMap& map,
                   const Hand& hand = {},
                   geometry::Random* random = nullptr);

/// Moves a point to where it is seen if it lies `depth_mm` nearer the camera
/// than the plane (further away if below zero).
void SeeNearer(PointId id,
               geometry::FootPoint at,
               double depth_mm,
               const Placed& placed,
               const geometry::PlaneMap& map,
               ViewPoints& points);
/// The same for both points of the heel, which is then the near heel.
void SeeNearHeel(const Side& side,
                 double depth_mm,
                 const Placed& placed,
                 const geometry::PlaneMap& map,
                 ViewPoints& points);
/// The same for the frog, its sides and its point at depths of their own.
void SeeDeepFrog(const Sole& sole,
                 double sides_mm,
                 double apex_mm,
                 const Placed& placed,
                 const geometry::PlaneMap& map,
                 ViewPoints& points);

}  // namespace plumbfoot::measure
