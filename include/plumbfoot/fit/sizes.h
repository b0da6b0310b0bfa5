// SPDX-License-Identifier: Apache-2.0
/// @file
/// The nearest size in a farrier's own table. No maker's sizes are built in.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::fit {

struct Size {
  std::string name;
  double width_mm = 0.0;
  double length_mm = 0.0;
  /// Nothing: for fore and hind feet.
  std::optional<bool> fore;
};

/// Reads a table: lines of "size,width_mm,length_mm,feet" with that header;
/// feet is "fore", "hind" or empty, and may be left out. Spaces, empty lines
/// and lines that begin with # don't count.
/// @return the sizes, or kNotOurFormat or kBadNumber, which name the line.
Result<std::vector<Size>> ParseSizes(std::string_view text);

struct NearestSize {
  Size size;
  double width_off_mm = 0.0;   ///< The size's less the shoe's.
  double length_off_mm = 0.0;  ///< As width_off_mm.
};

/// The size whose width and length together are nearest (root of the squares).
/// @return nothing if the table has none for such feet.
std::optional<NearestSize> NearestOf(const std::vector<Size>& sizes,
                                     geometry::Foot foot,
                                     double width_mm,
                                     double length_mm);

}  // namespace plumbfoot::fit
