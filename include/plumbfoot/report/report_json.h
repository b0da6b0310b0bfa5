// SPDX-License-Identifier: Apache-2.0
/// @file
/// report.json: the report for programs.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/foot_report.h"

namespace plumbfoot::report {

/// The report as JSON, "format": "plumbfoot-report", "version": 1. Numbers are
/// rounded to 1e-6 of their unit; angles are in degrees; "mm" is the foot
/// frame.
///
/// {"format", "version", "foot": "LF", "shod": false, "horse": "..." | null,
///  "visit": {"date": "2026-03-14" | null, "stage": "before_trim"},
///  "software": {"name": "plumbfoot", "version": "0.1.0"},
///  "photos": {"solar": {"file", "sha256", "size": {"width", "height"},
///     "taken": "..." | null, "scale": "card" | "known_length" | "none",
///     "card": {"tags", "tags_expected", "residual_px", "distance_mm",
///       "tilt_deg", "px_per_mm", "blur_px", "focal_assumed",
///       "measured_mm": 149.4 | null} | null,
///     "quality": "good" | "usable" | "retake",
///     "reasons": [{"code", "quality", "words", "remedy"}]}},
///  "points": {"solar": {"toe": {"px": [x, y], "mm": [x, y],
///       "covariance_mm2": [[xx, xy], [xy, yy]], "placed_by", "confidence"}
///       | {"not_found": "why"} | {"hidden": true},
///     "outline": {"px": [[x, y], ...], "mm": [[x, y], ...], "placed_by",
///       "confidence"} | {"not_found": "why"}}},
///     (lateral: "dorsal_wall" likewise, and "heels_on": "middle" | "near")
///  "measures": {"toe_angle": {"value", "unit", "standard_uncertainty",
///     "interval95": [low, high], "shared_uncertainty": the print's part,
///     "placed_by"} | {"not_measured": "why"}},
///  "observations": [{"measure", "figures": [ids], "relation", "words",
///     "citations": [..], "stands_out"}],
///  "cautions": [{"code", "kind", "words", "why"}]}
///
/// "mm" and "covariance_mm2" are left out where the photo has no scale, or
/// where the foot frame could not be laid. Of widest_left and widest_right,
/// which follow from the outline, only "mm" and "covariance_mm2" are given.
/// Every measure is there; those of a view without a photo are not measured.
nlohmann::json ToJson(const FootReport& report);

/// The JSON Schema (draft-07) of report.json, as it is compiled in.
std::string_view ReportSchema();

/// Checks a report against the schema. NaN and infinity, which JSON doesn't
/// have, are refused too.
/// @return kNotOurFormat, whose message names the first place that is wrong.
Result<Done> ValidateReport(const nlohmann::json& report);

/// The text of report.json, indented, with a last newline.
/// @throws std::logic_error if it doesn't keep to the schema: our fault.
std::string ReportText(const FootReport& report);

}  // namespace plumbfoot::report
