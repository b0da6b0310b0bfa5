// SPDX-License-Identifier: Apache-2.0
/// @file
/// Everything that is reported of one foot at one visit.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/judge/judge_foot.h"
#include "plumbfoot/judge/judge_photo.h"
#include "plumbfoot/measure/measure.h"

namespace plumbfoot::report {

using geometry::ParseStage;
using geometry::Stage;
using geometry::StageName;
using geometry::StageWords;

/// Checks a day of the calendar, "2026-03-14" (ISO 8601).
/// @return the same text, or kUsage.
Result<std::string> ParseDate(std::string_view text);

/// "card", "known_length", "none": as in files.
std::string_view ScaleName(geometry::ScaleSource scale);

/// What the card in the photo told.
struct CardFacts {
  int tags_seen = 0;
  int tags_expected = 0;
  double residual_px = 0.0;    ///< RMS of the corners about the fit.
  double distance_mm = 0.0;    ///< Lens to the middle of the tags.
  double tilt_deg = 0.0;       ///< Optical axis against the card's normal.
  double px_per_mm = 0.0;      ///< At the middle of the tags.
  double blur_px = 0.0;        ///< Sigma of the tags' edges.
  bool focal_assumed = false;  ///< No EXIF: a phone's usual lens was assumed.
  /// What a ruler says of the print's 150 mm; nothing if nobody measured it.
  std::optional<double> measured_mm;
};

/// One photo: where its scale came from, its points and its measures.
struct ViewReport {
  std::string file;    ///< Name without its folder.
  std::string sha256;  ///< Of the file, 64 lower-case hex digits.
  int width_px = 0;
  int height_px = 0;
  std::optional<std::string> taken;  ///< EXIF: "2026-03-14T09:30:00".
  geometry::ScaleSource scale = geometry::ScaleSource::kNone;
  std::optional<CardFacts> card;
  judge::PhotoQuality quality;
  ViewPoints points;
  measure::ViewMeasures measures;
};

/// One foot, at most one photo of each view.
struct FootReport {
  Foot foot = Foot::kLeftFore;
  bool shod = false;
  std::optional<std::string> horse;
  std::optional<std::string> date;  ///< Of the visit: see ParseDate.
  Stage stage = Stage::kOther;
  std::string software_version;  ///< "0.1.0"
  std::optional<ViewReport> solar;
  std::optional<ViewReport> lateral;
  judge::Verdict verdict;
};

/// The report's own photo of a view as `judge::JudgeFoot` wants it.
judge::ViewToJudge ToJudge(const ViewReport& view);

/// Must something be retaken or placed by hand before the report is whole
/// (exit status 3)? True if a photo is graded kRetake, if the finder isn't sure
/// of a point or line that it placed (find::Unsure), or if a measure is missing
/// because of a point that was neither found nor said to be hidden.
bool NeedsAPerson(const FootReport& report);

}  // namespace plumbfoot::report
