// SPDX-License-Identifier: Apache-2.0
/// @file
/// What the drawings of a page of paper have in common. Millimetres on paper.
#pragma once

#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {

// CHOSEN: the width is that of the text of an A4 letter.
inline constexpr double kPageWidth = 180.0;

inline constexpr Colour kPageInk{0.13, 0.13, 0.15};
inline constexpr Colour kPageQuiet{0.38, 0.38, 0.42};

/// A text of the page, and one that stands back.
inline TextStyle Ink(double size, bool bold = false) {
  return {kPageInk, size, bold};
}
inline TextStyle Quiet(double size) {
  return {kPageQuiet, size, false};
}

inline TextStyle Wrapped(TextStyle style, double width) {
  style.wrap = width;
  return style;
}

}  // namespace plumbfoot::draw
