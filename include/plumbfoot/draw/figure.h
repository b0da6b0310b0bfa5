// SPDX-License-Identifier: Apache-2.0
/// @file
/// A measured value in a few characters, the same wherever it is drawn.
#pragma once

#include <string>

#include "plumbfoot/measure/measures.h"

namespace plumbfoot::draw {

/// "51.2° ± 0.6°", "128 ± 12 mm", "1.05 ± 0.02". The figure after ± is half of
/// the 95 % interval. Digits: one decimal for millimetres, degrees and per
/// cent, and none where half the interval is 10 or more; two or three for
/// ratios; square millimetres are given as cm².
std::string FigureText(const measure::Measured& measured, measure::Unit unit);

}  // namespace plumbfoot::draw
