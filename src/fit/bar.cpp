// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/bar.h"

#include <stdexcept>

#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {

std::string_view MaterialName(Material material) {
  switch (material) {
    case Material::kSteel:
      return "steel";
    case Material::kAluminium:
      return "aluminium";
  }
  throw std::invalid_argument("MaterialName: not a Material");
}

double DensityOf(Material material) {
  return material == Material::kSteel ? 7.85 : 2.70;
}

Bar BarFor(const Sole& sole,
           const Shoe& shoe,
           const NailPlan& nails,
           const BarOptions& options) {
  Bar bar;
  bar.by_rule_mm = sole.length + sole.width;
  bar.by_neutral_line_mm = geometry::Length(shoe.middle, geometry::Ends::kOpen);
  bar.allowance_mm =
      options.clip_allowance_mm * static_cast<double>(nails.clips.size()) +
      2 * options.calk_height_mm;
  bar.cut_by_rule_mm = bar.by_rule_mm + bar.allowance_mm;
  bar.cut_by_neutral_line_mm = bar.by_neutral_line_mm + bar.allowance_mm;
  // mm2 are mg / mm of water; times g/cm3 gives g a metre.
  bar.weight_per_metre_g = shoe.options.web_mm * shoe.options.thickness_mm *
                           DensityOf(options.material);
  bar.weight_g = bar.weight_per_metre_g * bar.cut_by_neutral_line_mm / 1000;
  return bar;
}

}  // namespace plumbfoot::fit
