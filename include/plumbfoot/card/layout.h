// SPDX-License-Identifier: Apache-2.0
/// @file
/// What is printed on a scale card, and where.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::card {

/// One AprilTag of the family 36h11, upright as its library draws it.
struct TagPlace {
  int id = 0;
  geometry::CardPoint centre;  ///< [mm]
  double side_mm = 36.0;       ///< Of the black square.
};

/// Where the tags of a card stand, as it was meant to be printed.
struct Layout {
  std::string name;
  std::vector<TagPlace> tags;
  geometry::CardPolyline outline;  ///< The card's edge, closed, anticlockwise.
  double check_span_mm = 150.0;    ///< Between the two crosses.
};

/// The L of 160 mm with five tags of 36 mm.
Layout StandardLayout();

/// Reads a layout of one's own:
///   {"format": "plumbfoot-card", "version": 1, "name": "...",
///    "tags": [{"id": 7, "x": 24, "y": 24, "side": 36}, ...],
///    "outline": [[0, 0], [160, 0], ...], "check_span": 150}
/// `outline` may be left out (the box round the tags with a rim of a quarter
/// of a side), and `check_span` too (150).
/// @return The layout; or kFileMissing, kNotJson, kNotOurFormat,
///   kVersionUnknown, kBadNumber, kCardLayoutInvalid (no tags, an id twice or
///   outside the family, tags that overlap).
Result<Layout> LoadLayout(const std::filesystem::path& path);

/// The 10 x 10 cells of a tag as it is printed, row by row from the top,
/// true = black: the white rim, the black frame and the code. The black square
/// of `side_mm` is the inner 8 x 8.
/// @throws std::invalid_argument for an id that the family does not have.
std::vector<std::vector<bool>> TagCells(int id);

}  // namespace plumbfoot::card
