// SPDX-License-Identifier: Apache-2.0
/// @file
/// A lens profile: the camera's focal length and distortion, measured once from
/// photos of a chessboard.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::card {

struct LensProfile {
  geometry::Camera camera;
  int width_px = 0;   ///< Of the photos it was made from.
  int height_px = 0;  ///< Of the photos it was made from.
  double focal_sigma_px = 0.0;
  double rms_px = 0.0;  ///< Reprojection error of the calibration.
  int photos_used = 0;
  std::string camera_name;  ///< EXIF make and model; may be empty.
};

/// Calibrates with cv::calibrateCamera (Z. Zhang, "A flexible new technique for
/// camera calibration", IEEE TPAMI 22(11), 2000).
/// @param photos   Upright RGB photos of one size; those on which the board
///   isn't seen whole are left out.
/// @param corners  Inner corners of the board, across and down.
/// @return The profile; or kLensTooFewPhotos (fewer than 5 usable).
Result<LensProfile> CalibrateLens(const std::vector<cv::Mat>& photos,
                                  cv::Size corners,
                                  double square_mm);

/// {"format": "plumbfoot-lens", "version": 1, ...}. Written whole or not at
/// all.
Result<Done> SaveLens(const LensProfile& profile,
                      const std::filesystem::path& path);
Result<LensProfile> LoadLens(const std::filesystem::path& path);

/// The profile for a photo of `size`: scaled where the photo is the same
/// picture in another size, turned where it is upright and the profile is not;
/// nothing where the shapes do not match.
std::optional<geometry::Camera> CameraFor(const LensProfile& profile,
                                          cv::Size size);

}  // namespace plumbfoot::card
