// SPDX-License-Identifier: Apache-2.0
/// @file
/// The points file, in and out.
#pragma once

#include <filesystem>
#include <opencv2/core/types.hpp>
#include <optional>
#include <string>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::find {

/// {"format": "plumbfoot-points", "version": 1,
///  "solar": {"toe": [x, y], "frog_apex": null, "outline": [[x, y], ...]},
///  "lateral": {"toe_ground": [x, y], "dorsal_wall": [[x, y], ...],
///              "shoe_ground": [[x, y], ...], "shoe_foot": ..., "horn_edge":
///              ..., "heels_on": "middle" | "near"}}
/// in photo pixels. A point that is left out is for the finder; null means that
/// it can't be seen.
struct PointsFile {
  std::optional<ViewPoints> solar;
  std::optional<ViewPoints> lateral;
};

/// @return The points, all placed_by person; or kFileMissing, kCannotRead,
///   kNotJson, kNotOurFormat, kVersionUnknown, kBadNumber (NaN, infinity, not
///   a pair), kUnknownPoint (a name that this view doesn't have), kTooFewPoints
///   (an outline or a shoe's edge of fewer than 8 corners, a wall of fewer than
///   2).
Result<PointsFile> LoadPoints(const std::filesystem::path& path);
Result<PointsFile> ParsePoints(const std::string& text);

/// kPointOutsidePhoto if any point lies outside a photo of that size.
Result<Done> CheckInside(const ViewPoints& points, cv::Size size);

/// The text of a points file, in the same format.
std::string WritePoints(const PointsFile& points);

/// A person's standard uncertainty for a point on a photo of that size [px]:
/// the wider of 0.5 mm where the scale is known and one part in 1500 of the
/// photo's longer side (a finger on a screen).
double PersonSigmaPx(cv::Size size, std::optional<double> px_per_mm);

}  // namespace plumbfoot::find
