// SPDX-License-Identifier: Apache-2.0
/// @file
/// A report that was written earlier, read back as far as a comparison and a
/// trend need it.
#pragma once

#include <array>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/measure/measures.h"
#include "plumbfoot/report/foot_report.h"

namespace plumbfoot::report {

/// One photo of a saved report.
struct SavedView {
  std::string file;
  std::string sha256;
  geometry::ScaleSource scale = geometry::ScaleSource::kNone;
  std::optional<double> measured_mm;  ///< Of the card's print, by a ruler.
  bool retake = false;                ///< The photo was graded so.
  /// Points in the foot frame [mm]; nothing without a scale.
  std::array<std::optional<geometry::FootPoint>, geometry::kPointCount> mm;
  /// Of `mm` [mm^2]; nothing where the report doesn't tell it.
  std::array<geometry::Covariance<geometry::FootFrame>, geometry::kPointCount>
      covariance{};
  /// The same in the photo; and, of a heel from the side that was placed on the
  /// near heel, where that is (else nothing).
  std::array<std::optional<geometry::PhotoPoint>, geometry::kPointCount> px;
  std::array<std::optional<geometry::PhotoPoint>, geometry::kPointCount>
      near_px;
  geometry::FootPolyline outline;      ///< Empty if there is none.
  geometry::FootPolyline dorsal_wall;  ///< Empty if there is none.
  /// Points and lines that the program placed without being sure, in words.
  std::vector<std::string> unsure;

  const std::optional<geometry::FootPoint>& at(PointId id) const {
    return mm[static_cast<std::size_t>(id)];
  }
};

struct SavedReport {
  Foot foot = Foot::kLeftFore;
  bool shod = false;
  std::optional<std::string> horse;
  std::optional<std::string> date;
  Stage stage = Stage::kOther;
  /// Every measure; those of a view without a photo are not measured.
  measure::Outcomes outcomes;
  /// Measures that rest on something that the program isn't sure of.
  std::set<measure::MeasureId> unsure;
  std::optional<SavedView> solar;
  std::optional<SavedView> lateral;

  const std::optional<SavedView>& view(View which) const {
    return which == View::kSolar ? solar : lateral;
  }
};

/// What a report.json says, or as much of it as its summary in a casebook
/// holds: "points" may be missing, and then nothing can be drawn.
/// @return kNotOurFormat, kVersionUnknown.
Result<SavedReport> ReadReport(const nlohmann::json& report);

/// Reads a report.json and checks it against its schema.
/// @return kFileMissing, kCannotRead, kNotJson, kNotOurFormat, kVersionUnknown.
Result<SavedReport> LoadReport(const std::filesystem::path& path);

/// Do both photos of this view show the same print of a card, as far as the
/// reports know? Only a print that was measured with a ruler is known again.
bool SamePrint(const SavedReport& a, const SavedReport& b, View view);

}  // namespace plumbfoot::report
