// SPDX-License-Identifier: Apache-2.0
/// @file
/// The full-size template: foot, shoe, nail holes and centre line at exactly
/// 1:1, as sheets of paper and as files for those who cut or print.
///
/// Seen as one looks at the sole: the toe up, the shoe's ground side towards
/// one, the horse's left on the right.
#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/card_sheet.h"
#include "plumbfoot/fit/nails.h"
#include "plumbfoot/fit/shoe.h"
#include "plumbfoot/fit/sole.h"

namespace plumbfoot::draw {

/// What a template shows. All words are ready to be printed.
struct ShoeTemplate {
  std::string title;     ///< "Bramble, left fore"
  std::string subtitle;  ///< Of which photos, which trim.
  fit::Sole sole;
  fit::Shoe shoe;
  fit::NailPlan nails;
  /// Outside and inside of the foot, as written beside the branches.
  std::string outside = "outside";
  std::string inside = "inside";
  /// What is read at the anvil: set large between the branches, the first line
  /// the largest.
  std::vector<std::string> heart;
  std::vector<std::array<std::string, 2>> facts;  ///< What, how much.
  std::vector<std::string> notes;
};

/// The same as a mirror shows it, for the other foot of the pair; the words
/// stay.
ShoeTemplate Mirrored(const ShoeTemplate& shoe_template);

/// Sheets of the paper. What is larger than one sheet is tiled: sheets share a
/// strip, in which marks stand that lie on each other when they are glued. Each
/// sheet has a line of 100 mm to check the print with.
std::string TemplatePdf(const ShoeTemplate& shoe_template, Paper paper);

/// SVG in millimetres, one named group (id) for each layer: grid, foot, shoe,
/// nails, clips, roll, centre, check. Closed shapes are closed paths.
std::string TemplateSvg(const ShoeTemplate& shoe_template);

/// DXF (AutoCAD release 12, which every program reads) in millimetres: closed
/// polylines on layers of the same names in capitals.
std::string TemplateDxf(const ShoeTemplate& shoe_template);

/// Where a place of the foot lies on the sheet of paper [mm], from the
/// sheet's top left corner; for tests. `sheet` counts from 0.
struct SheetPlace {
  int sheet = 0;
  double x = 0.0;
  double y = 0.0;
};
/// The first sheet that shows the place.
/// @throws std::invalid_argument if none does.
SheetPlace PlaceOnSheet(const ShoeTemplate& shoe_template,
                        Paper paper,
                        geometry::FootPoint place);

}  // namespace plumbfoot::draw
