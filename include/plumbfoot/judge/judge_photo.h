// SPDX-License-Identifier: Apache-2.0
/// @file
/// Is a photo good enough to measure, and if not, what to do about it: told in
/// the yard, before the foot is put down.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::judge {

/// What is known of a photo. What isn't known is left out and not judged.
struct PhotoFacts {
  /// Nothing if it isn't said which view it is: what only one view asks for is
  /// then not judged.
  std::optional<View> view;
  int width_px = 0;
  int height_px = 0;

  geometry::ScaleSource scale = geometry::ScaleSource::kNone;
  /// Must the card be in it? False for an old photo that is measured without.
  bool card_wanted = true;
  /// Why the card wasn't found, if it wasn't.
  std::optional<Refusal> card_refusal;
  // Of the card; judged only where scale is kCard.
  int tags_seen = 0;
  int tags_expected = 0;
  bool print_checked = false;
  bool focal_assumed = false;
  std::optional<double> residual_px;
  std::optional<double> px_per_mm;  ///< At the card.
  std::optional<double> blur_px;    ///< Sigma of the tags' edges.
  std::optional<double> tilt_deg;   ///< Optical axis against the card's normal.
  std::optional<double> distance_mm;
  /// Lateral: the lens above the ground. In the card's frame this is the y of
  /// PlaneMap::CameraInPlane() if the card stands on arm A.
  std::optional<double> camera_height_mm;

  // photo::Exposure.
  std::optional<double> mean_luma;  ///< [0..255]
  std::optional<double> burnt;      ///< Part of the pixels [0..1].
  std::optional<double> drowned;    ///< Part of the pixels [0..1].

  // find::Finding; nothing if no finder ran. Leave the confidence out where a
  // person placed the points: they have seen the foot.
  std::optional<double> foot_confidence;  ///< [0..1]
  std::optional<bool> cut_off;
};

enum class Grade { kGood, kUsable, kRetake };
/// "good", "usable", "retake": as in files.
std::string_view GradeName(Grade grade);

/// One thing that is not as it should be.
struct Reason {
  std::string code;              ///< Stable, such as "not_square".
  Grade grade = Grade::kUsable;  ///< What this alone would make of the photo.
  std::string words;             ///< What is wrong, in one sentence.
  std::string remedy;            ///< What to do, in one sentence.
};

struct PhotoQuality {
  Grade grade = Grade::kGood;   ///< The worst of the reasons'.
  std::vector<Reason> reasons;  ///< The worst first.
};

PhotoQuality JudgePhoto(const PhotoFacts& facts);

}  // namespace plumbfoot::judge
