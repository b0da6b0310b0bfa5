// SPDX-License-Identifier: Apache-2.0
/// @file
/// The bar that a shoe is made of: its length and its weight.
#pragma once

#include <string_view>

#include "plumbfoot/fit/shoe.h"
#include "plumbfoot/fit/sole.h"

namespace plumbfoot::fit {

enum class Material { kSteel, kAluminium };
/// "steel", "aluminium".
std::string_view MaterialName(Material material);
/// Density [g/cm3]. Steel 7.85, aluminium 2.70 (EN 1991-1-1:2002, table A.4,
/// as 78.5 and 27.0 kN/m3; from memory).
double DensityOf(Material material);

struct BarOptions {
  Material material = Material::kSteel;
  /// For each clip that is drawn. CHOSEN: a clip comes out of the web's
  /// thickness and takes little length; every smith sets his own.
  double clip_allowance_mm = 3.0;
  /// Height of calks below the ground surface, one at each heel; 0: none. A
  /// heel that is turned down takes as much bar as it is high (derived; the
  /// bend itself gives a fifth of the thickness back).
  double calk_height_mm = 0.0;
};

struct Bar {
  /// Length of the foot (toe to buttress) + greatest width: Lungwitz and Adams
  /// 1897, "Making the shoe" (published). It counts on drawing out the
  /// branches.
  double by_rule_mm = 0.0;
  /// Along the middle of the drawn shoe's web: what a bar of that section is
  /// bent to without being drawn out (derived).
  double by_neutral_line_mm = 0.0;
  /// For clips and calks, to be added to either.
  double allowance_mm = 0.0;
  double cut_by_rule_mm = 0.0;
  double cut_by_neutral_line_mm = 0.0;
  /// Of a bar cut by the neutral line, as the section is before creasing and
  /// punching [g].
  double weight_g = 0.0;
  /// Of one metre of that bar [g].
  double weight_per_metre_g = 0.0;
};

Bar BarFor(const Sole& sole,
           const Shoe& shoe,
           const NailPlan& nails,
           const BarOptions& options);

}  // namespace plumbfoot::fit
