// SPDX-License-Identifier: Apache-2.0
/// @file
/// Two outlines of a foot laid over each other at scale, what was taken away
/// and what came on shaded. Draws plain data: what is laid where, and every
/// word, is decided by who calls.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "plumbfoot/draw/canvas.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::draw {

/// One of the two feet in a panel.
struct OverlayShape {
  geometry::FootPolyline region;  ///< Closed; shaded. May be empty.
  /// Lines that belong to it: the bearing line, the hairline [mm].
  std::vector<std::array<geometry::FootPoint, 2>> lines;
};

/// One view. Both shapes are in the same frame already [mm].
struct OverlayPanel {
  std::string title;    ///< "Sole"
  std::string aligned;  ///< "laid over each other at ..."
  OverlayShape before;
  OverlayShape after;
  /// Drawn once for both, thin: the frog axis.
  std::vector<std::array<geometry::FootPoint, 2>> axes;
  /// What holds still: a cross is drawn there.
  std::vector<geometry::FootPoint> fixed;
  /// The sole is drawn with x (the toe) up and y to the right, the side with x
  /// to the right and y up.
  bool toe_up = false;
  /// Beside the left, right, upper and lower edge; empty: nothing.
  std::array<std::string, 4> edges;
  std::string nothing;  ///< Why there is nothing to draw, in place of it all.
};

struct Overlay {
  std::string title;
  std::string subtitle;
  std::string before;  ///< "before the trim, 14 March"
  std::string after;   ///< The solid line.
  std::string lost;    ///< What is only in `before`: "taken away".
  std::string gained;  ///< What is only in `after`.
  std::vector<OverlayPanel> panels;
  std::string facts_title;
  std::vector<std::string> facts;  ///< One a line.
  std::vector<std::string> notes;  ///< In small print.
};

/// 180 mm wide, as fits a letter; as high as it needs to be.
std::string OverlaySvg(const Overlay& overlay);
std::string OverlayPng(const Overlay& overlay, double dots_per_inch = 200.0);

}  // namespace plumbfoot::draw
