// SPDX-License-Identifier: Apache-2.0
/// @file
/// Writes rendered photos and their truth.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "scenes/renderer.h"

namespace plumbfoot::scenes {

/// What a phone writes beside the picture.
struct PhotoNotes {
  int orientation = 1;
  std::string taken = "2026:03:14 10:20:00";
  double focal_35mm = 0.0;  ///< 0: none given.
};

/// A JPEG with an EXIF block.
/// @param rgb  CV_8UC3, red green blue.
std::vector<unsigned char> EncodeJpeg(const cv::Mat& rgb,
                                      int quality,
                                      const PhotoNotes& notes);

/// Writes NAME.jpg and NAME.truth.json into `folder`, which must exist.
/// @throws std::runtime_error if a file can't be written.
void SaveScene(const RenderedPhoto& rendered,
               const SceneOptions& options,
               const PhotoNotes& notes,
               const std::filesystem::path& folder,
               const std::string& name);

/// Writes `bytes` to a file. @throws std::runtime_error
void WriteFile(const std::filesystem::path& path, const std::string& bytes);

}  // namespace plumbfoot::scenes
