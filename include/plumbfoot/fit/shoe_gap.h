// SPDX-License-Identifier: Apache-2.0
/// @file
/// An old or finished shoe laid on the foot: how far its outer edge stands
/// outside of the foot's, all round. Solar foot frame [mm].
#pragma once

#include <vector>

#include "plumbfoot/fit/sole.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::fit {

struct GapPlace {
  Side side = Side::kLeft;
  double from_toe_mm = 0.0;  ///< Along the foot's edge from the toe's middle.
  geometry::FootPoint foot;  ///< On the foot's edge.
  geometry::FootPoint shoe;  ///< On the shoe's, straight out of the foot's.
  double gap_mm = 0.0;       ///< Above zero: the shoe stands out.
  /// Of the gap: how well an edge is seen, and how much the gap changes where
  /// the way out of the foot is turned and moved as it may be.
  double standard_uncertainty = 0.0;
};

struct ShoeGap {
  geometry::FootPolyline shoe;  ///< Its edge, laid on the foot; closed.
  /// Each 10 mm from the toe's middle backwards, left heel first. In the last
  /// 15 mm before a buttress the edge turns round, and the way out of the foot
  /// may pass behind a shoe that ends there: a place of these is listed only
  /// where every such way still meets the shoe, with an uncertainty that grows
  /// as the edge turns.
  std::vector<GapPlace> places;
  double most_out_mm = 0.0;   ///< Greatest gap; 0 if none is above zero.
  double most_in_mm = 0.0;    ///< The same inwards, above zero.
  double rms_front_mm = 0.0;  ///< Before the widest part, where it must fit.
  /// How far each heel of the shoe reaches past its buttress.
  double heel_left_mm = 0.0;
  double heel_right_mm = 0.0;
};

/// Lays the shoe on the foot where its edge fits best from the toe to the
/// widest part, in least squares of the gaps there, and turned so that the gaps
/// behind are alike on both sides, which a round toe leaves open. How full the
/// heels are is read off, not fitted.
///
/// @param edge      The shoe's outer edge, or its whole outline, closed, in any
///   place and turn; x and y of the same hand as the foot frame's if `mirrored`
///   is false.
/// @param mirrored  The shoe is seen from its other side.
/// @return the gaps; or kTooFewPoints, kImplausible (of another size than the
///   foot: no place fits within 15 mm).
Result<ShoeGap> CompareShoe(const Sole& sole,
                            const geometry::FootPolyline& edge,
                            bool mirrored);

}  // namespace plumbfoot::fit
