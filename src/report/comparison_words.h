// SPDX-License-Identifier: Apache-2.0
/// @file
/// The words of a comparison, the same in its table and its picture.
#pragma once

#include <string>

#include "plumbfoot/measure/measures.h"
#include "plumbfoot/report/comparison.h"

namespace plumbfoot::report {

/// A difference as people read it, all rounded alike.
struct ShownChange {
  std::string difference;  ///< With its sign: "+2.3".
  std::string half_width;  ///< Of the 95 % interval.
  std::string visible;     ///< The smallest change that can be seen.
  std::string unit;        ///< With its space: " mm".
};
ShownChange Show(const trend::Change& change, measure::Unit unit);

/// The value of an outcome that is measured, without its unit.
std::string ShowValue(const measure::Outcomes& outcomes, measure::MeasureId id);

/// The measure's name; of a pair of feet the halves are medial and lateral.
std::string NameIn(const Comparison& comparison, measure::MeasureId id);
/// "Changed: 3 of the 30 measures compared. In the others ...".
std::string VerdictWords(const Comparison& comparison);

/// "Left fore foot of Juno" or "Left fore and right fore of Juno".
std::string TitleOf(const Comparison& comparison);
/// "2026-03-14, before the trim, shod": what tells the two apart.
std::string SideWords(const SavedReport& report, bool with_foot);

}  // namespace plumbfoot::report
