// SPDX-License-Identifier: Apache-2.0
/// @file
/// The scale card to print: tags, ticks, cut lines and crosses at exact scale,
/// with a strut to cut out, and how to put it together.
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::draw {

/// ISO 216 A4 is 210 x 297 mm; ANSI/ASME Y14.1 A (Letter) is 8.5 x 11 inches.
enum class Paper { kA4, kLetter };

/// The sheet as a PDF of one page.
/// @return The bytes; or kCardLayoutInvalid if the card doesn't fit on the
///   paper with 8 mm margins.
Result<std::string> CardPdf(const card::Layout& layout, Paper paper);

/// The card alone with its crosses, without the strut and the words, as SVG.
std::string CardSvg(const card::Layout& layout);

/// The same as PNG.
std::string CardPng(const card::Layout& layout, double dots_per_inch = 600.0);

/// Where the crosses stand, in the card's frame [mm]: below the edge, where
/// they take nothing from the tags' white rims.
std::array<geometry::CardPoint, 2> CrossPlaces(const card::Layout& layout);

/// Writes card-a4.pdf, card-letter.pdf, card.svg and card.png into `folder`,
/// which is made if it is not there. A paper on which the card doesn't fit is
/// left out unless none fits.
/// @return The paths; or kCannotWrite, kCardLayoutInvalid.
Result<std::vector<std::filesystem::path>> WriteCard(
    const card::Layout& layout, const std::filesystem::path& folder);

}  // namespace plumbfoot::draw
