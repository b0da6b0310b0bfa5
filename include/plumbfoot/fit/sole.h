// SPDX-License-Identifier: Apache-2.0
/// @file
/// The sole as the shoe is made for it: the bearing edge from one heel buttress
/// round the toe to the other. Solar foot frame [mm] throughout.
#pragma once

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/measure/plain.h"

namespace plumbfoot::fit {

/// The horse's left or right side of a foot.
enum class Side { kLeft, kRight };
/// +1 for the left, which is +y; -1 for the right.
constexpr double SignOf(Side side) {
  return side == Side::kLeft ? 1.0 : -1.0;
}
/// The outer (lateral) side of a foot.
constexpr Side OuterSide(geometry::Foot foot) {
  return geometry::IsLeft(foot) ? Side::kLeft : Side::kRight;
}

/// A place on a line, and the unit vector that points out of the foot there.
struct EdgePlace {
  geometry::FootPoint at;
  geometry::FootVector outwards;
};

/// A sole that is whole enough for a shoe.
struct Sole {
  geometry::Foot foot = geometry::Foot::kLeftFore;
  /// The bearing edge, open: from the left buttress round the toe to the right
  /// one, with corners at most 1.1 mm apart.
  geometry::FootPolyline wall;
  /// The whole bearing edge, closed, as it was measured.
  geometry::FootPolyline outline;
  geometry::FootPoint heel_left;   ///< On the edge, nearest to the buttress.
  geometry::FootPoint heel_right;  ///< As heel_left.
  geometry::FootPoint widest_left;
  geometry::FootPoint widest_right;
  double axis_y = 0.0;  ///< y of the frog axis.
  double toe_x = 0.0;   ///< Of the foremost place of the edge.
  double width = 0.0;   ///< Greatest, square to the axis.
  double length = 0.0;  ///< From the heel line to toe_x.

  const geometry::FootPoint& heel(Side side) const {
    return side == Side::kLeft ? heel_left : heel_right;
  }
  const geometry::FootPoint& widest(Side side) const {
    return side == Side::kLeft ? widest_left : widest_right;
  }
};

/// Cuts the edge at the buttresses.
///
/// @param view  A solar view with outline, toe and both heels, in its own foot
///   frame.
/// @return the sole; or kPointMissing (no outline, no heels), kImplausible (a
///   heel is not on the edge, the edge crosses itself, the foot is smaller than
///   a foal's or larger than a heavy horse's).
Result<Sole> MakeSole(geometry::Foot foot, const measure::PlainView& view);

/// The same sole as a mirror shows it: that of the other foot of the pair.
Sole Mirrored(const Sole& sole);

}  // namespace plumbfoot::fit
