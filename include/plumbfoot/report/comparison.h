// SPDX-License-Identifier: Apache-2.0
/// @file
/// Two reports compared: before with after, left with right, this visit with
/// any other.
#pragma once

#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/overlay.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/saved_report.h"
#include "plumbfoot/trend/change.h"

namespace plumbfoot::report {

struct Comparison {
  SavedReport before;
  SavedReport after;
  /// A left foot with a right one: `after` is laid over it as a mirror shows
  /// it, in `change` and in the picture, not in itself.
  bool mirrored = false;
  std::set<View> same_print;  ///< What the print's size does cancels there.
  double level = trend::CompareOptions().level;
  trend::FootChange change;
  /// What to mind, in sentences: one is shod, the dates run backwards.
  std::vector<std::string> notes;
  /// A photo should be retaken or a point be looked at first (exit status 3).
  bool needs_person = false;

  /// Does the measure rest, in either, on something that the program isn't sure
  /// of? Its uncertainty knows nothing of a point on the wrong thing.
  bool unsure(measure::MeasureId id) const;
};

struct ComparisonOptions {
  /// A person says that all photos show the same printed card.
  bool same_card = false;
};

/// Compares two reports.
/// @return kUsage where the feet, or the horses, are not to be compared.
Result<Comparison> CompareReports(SavedReport before,
                                  SavedReport after,
                                  const ComparisonOptions& options = {});

/// "format": "plumbfoot-comparison", "version": 1; see
/// src/report/schema/comparison.schema.json. Differences are after less before.
nlohmann::json ToJson(const Comparison& comparison);
std::string_view ComparisonSchema();
/// @throws std::logic_error if it doesn't keep to the schema: our fault.
std::string ComparisonText(const Comparison& comparison);

/// A table for a terminal: UTF-8, no line wider than 80 columns.
std::string ComparisonTable(const Comparison& comparison, bool colour);

/// The outlines to be drawn over each other.
///
/// Sole: the frog axes cover each other, and the points of the frog, which a
/// trim moves least. Side: both bearing lines are level, and the hairlines at
/// the toe cover each other, since horn is taken away below: so the picture
/// shows it at the ground and not at the coronet.
draw::Overlay OverlayOf(const Comparison& comparison);

}  // namespace plumbfoot::report
