// SPDX-License-Identifier: Apache-2.0
/// @file
/// From where a finder saw points to exactly where they are in the full photo.
#pragma once

#include "find/edges.h"
#include "find/look.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {

/// How far an edge may be from where the finder saw it [mm].
// CHOSEN: a finder's pixel is about a millimetre; horn is chipped and rasped
// over some millimetres.
inline constexpr double kReachMm = 3.0;

/// Confidence of what two looks that know nothing of each other agree on.
// CHOSEN: of 34 toes on rendered soles that agreed none was off by 2.5 mm.
inline constexpr double kBorneOut = 0.98;

EdgeOptions OptionsFor(double px_per_mm, double smooth_mm, double reach_mm);

/// FollowEdge on the request's photo, or the coarse curve as it was seen.
std::optional<EdgeCurve> EdgeNear(const FindRequest& request,
                                  const geometry::PhotoPolyline& coarse,
                                  const EdgeOptions& options);

/// Moves a point to the edge. Along its direction: what the finder said.
/// Across it: the edge.
void SnapTo(const EdgeCurve& edge,
            bool closed,
            double reach_px,
            geometry::PlacedPoint& point);

/// Where a line leaves the frog.
struct FrogAxis {
  geometry::CardVector direction;  ///< In the plane, forwards; unit.
  double sigma = 0.0;              ///< [rad]
};
std::optional<FrogAxis> AxisOfFrog(const geometry::PlaneMap& map,
                                   const ViewPoints& points);

/// Adds to the covariance of a found apex that a frog's tip runs out flat.
void BluntApex(const geometry::PlaneMap& map, ViewPoints& points);

/// Follows the bearing outline on the photo, and puts toe and heels on it.
/// @return False if the photo shows no edge where the outline was seen.
bool RefineSolar(const FindRequest& request,
                 const Look& look,
                 Finding& finding);

/// Follows the dorsal wall, the heel and the pastern on the photo, and puts
/// their points there.
/// @param look What a finder saw; null if nothing of that is believed.
void RefineLateral(const FindRequest& request,
                   const geometry::PlaneMap& map,
                   const Look* look,
                   ViewPoints& points);

/// Moves what was followed of the dorsal wall, which is the hoof's rim as this
/// camera sees it, to the middle plane.
///
/// The wall is round from side to side: seen from R and an angle phi off the
/// plane's normal, across the wall, its rim stands R (1 / cos phi - 1) before
/// the middle plane's line (the tangent to a circle; Meusnier's theorem gives
/// R = R_h / sin of the wall's angle from the horizontal radius R_h). R_h grows
/// from hairline to ground, so that the rim is also turned: a third of a degree
/// at phi = 15 degrees.
///
/// @param wall       Hairline first [px].
/// @param toe_radius R_h at the ground [mm].
/// @param back       From toe to heel, in the plane.
/// @return As many places; the wall itself if the photo doesn't show the plane.
geometry::PhotoPolyline WallToMiddle(const geometry::PlaneMap& map,
                                     const geometry::PhotoPolyline& wall,
                                     double toe_radius,
                                     geometry::CardVector back);

/// Moves the heel's points to where the middle plane's heel appears.
void PlaceHeels(const FindRequest& request,
                const geometry::PlaneMap& map,
                const Look* look,
                ViewPoints& points);

}  // namespace plumbfoot::find
