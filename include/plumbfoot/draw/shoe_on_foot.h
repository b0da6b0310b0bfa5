// SPDX-License-Identifier: Apache-2.0
/// @file
/// A loose shoe laid on the foot, with the gap between their edges.
#pragma once

#include <string>

#include "plumbfoot/fit/shoe_gap.h"
#include "plumbfoot/fit/sole.h"

namespace plumbfoot::draw {

struct ShoeOnFoot {
  std::string title;
  std::string subtitle;
  fit::Sole sole;
  fit::ShoeGap gap;
};

/// Full size, seen as one looks at the sole. At each place of the list a bar,
/// eight times as long as the gap, and its millimetres: outwards where the shoe
/// stands out, inwards where the foot does.
std::string ShoeOnFootSvg(const ShoeOnFoot& drawing);
/// The same as PNG, of 150 dots an inch.
std::string ShoeOnFootPng(const ShoeOnFoot& drawing);

}  // namespace plumbfoot::draw
