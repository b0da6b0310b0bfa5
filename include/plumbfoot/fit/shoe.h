// SPDX-License-Identifier: Apache-2.0
/// @file
/// The shoe round a sole. Solar foot frame [mm].
#pragma once

#include <optional>
#include <vector>

#include "plumbfoot/fit/nails.h"
#include "plumbfoot/fit/sole.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::fit {

/// How upright the foot stands, which says how long the heels are left.
enum class HeelRule { kRegular, kSloping, kUpright };

/// How far the heels reach past the buttress [mm]: as far as the shoe is thick
/// on a regular foot, nearly twice on a sloping one, at most 1/8 in on an
/// upright one (USDA Special Report on Diseases of the Horse; Lungwitz and
/// Adams 1897; published). "Nearly twice" is taken as 1.8 times (chosen).
double HeelLengthFor(HeelRule rule, double thickness_mm);

/// The rule that a toe angle asks for, by the published classes of feet: flat
/// below 50 degrees, medium, upright above 55 (N. Wiggers et al., PLoS ONE 10,
/// 2015, e0114836).
HeelRule HeelRuleFor(double toe_angle_deg);

struct ShoeOptions {
  /// About twice the wall's thickness (Lungwitz; Special Report); 3/4 in is the
  /// standard web (American Farriers Journal 193).
  double web_mm = 19.0;
  /// 7/16 in is the published mean (Lungwitz).
  double thickness_mm = 10.0;
  /// 1/16 to 1/8 in from the last nail to the heel (Lungwitz; Hunting; Special
  /// Report); between them.
  double fullness_mm = 2.4;
  /// Past the buttress; nothing: HeelLengthFor(kRegular).
  std::optional<double> heel_length_mm;
  /// The toe's edge set back from the foot's [mm]; 0: as on the foot.
  double set_back_mm = 0.0;
  /// The toe rolled from this far behind its edge [mm]; 0: not rolled.
  double rolled_mm = 0.0;
};

struct Shoe {
  ShoeOptions options;
  double heel_length_mm = 0.0;  ///< As made.
  /// The outer edge, from the end of the left branch round the toe.
  geometry::FootPolyline outer;
  /// The inner edge, the same way.
  geometry::FootPolyline inner;
  /// Half way between them: what a bar's length is taken along.
  geometry::FootPolyline middle;
  /// The whole shoe, closed, its heels' corners rounded.
  geometry::FootPolyline body;
  /// Where a rolled toe begins to rise; empty: not rolled.
  geometry::FootPolyline roll;
  double width_mm = 0.0;   ///< Greatest, square to the frog axis.
  double length_mm = 0.0;  ///< Toe to heels, along the axis.
};

/// The edge at `distance` within an outer edge whose ends are cut by the line
/// through both: what a web's inner edge and a bar's neutral line are. By
/// Clipper.
/// @param outer  From the left end round the toe to the right one.
/// @return the line, or kImplausible where the branches would meet.
Result<geometry::FootPolyline> EdgeWithin(const geometry::FootPolyline& outer,
                                          double distance);

/// Follows the foot's edge: flush to the last nail, then widening within 45 mm
/// to the given fullness. Near the buttress, where the edge turns in, the
/// branch goes on straight, so that no part of the outer edge lies inside the
/// foot (but for a toe that is set back).
/// @return the shoe, or kImplausible (the web doesn't fit between the heels).
/// @throws std::invalid_argument for a web or thickness not above zero, or
///   other lengths below zero.
Result<Shoe> FitShoe(const Sole& sole,
                     const NailPlan& nails,
                     const ShoeOptions& options);

/// Leaves out what would break out of the web: a hole nearer than 2 mm to an
/// edge of the shoe. Clips are put on the shoe's own edge.
NailPlan HolesWithin(const Shoe& shoe, NailPlan nails);

}  // namespace plumbfoot::fit
