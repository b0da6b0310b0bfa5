// SPDX-License-Identifier: Apache-2.0
/// @file
/// Numbers as people read them: rounded to what is known, with their unit.
/// Whoever shows a number (judge, draw, report) rounds it here, so that a
/// drawing, a table and a sentence never differ.
#pragma once

#include <string>
#include <string_view>

#include "plumbfoot/measure/measures.h"

namespace plumbfoot::judge {

/// How many decimals to show of a value beside this uncertainty, standard or
/// expanded, whichever is shown: so many that two of its significant digits are
/// (JCGM 100:2008, 7.2.6). An uncertainty that is zero or not finite shows
/// `most`. @return 0 to `most`.
int Decimals(double uncertainty, int most = 3);

/// A measured value in the unit that people see (areas in cm²), each number
/// rounded alike and without its unit: to two digits of the half width, but
/// never finer than a tenth (a ratio: a thousandth).
struct Shown {
  std::string value;       ///< "128.4"
  std::string half_width;  ///< Half of the 95 % interval: "1.7"
  std::string low95;       ///< "126.7"
  std::string high95;      ///< "130.1"
  std::string unit;        ///< With its space: " mm", " cm²", "°", " %", "".
};
Shown Show(const measure::Measured& measured, measure::Unit unit);

/// "128.4 ± 1.7 mm", "51.2° ± 0.8°": the half width is that of the 95 %
/// interval.
std::string ShowInLine(const measure::Measured& measured, measure::Unit unit);

/// A number of a figure, with as many decimals as it has (three at most), and
/// the unit: "50°", "0.67", "34 mm".
std::string ShowNumber(double value, measure::Unit unit);

}  // namespace plumbfoot::judge
