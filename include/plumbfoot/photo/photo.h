// SPDX-License-Identifier: Apache-2.0
/// @file
/// Photos as they come from a phone, turned upright. The only room that reads
/// image files.
#pragma once

#include <cstddef>
#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::photo {

/// What is refused before a pixel is decoded.
struct Limits {
  std::size_t bytes = 100'000'000;  ///< Of the file, before it is read.
  double megapixels = 120.0;        ///< Width times height in its header.
};

/// What the phone wrote beside the picture (Exif 2.3, CIPA DC-008).
struct ExifFacts {
  /// "2026-03-14T09:30:00", local time: DateTimeOriginal, or else DateTime.
  std::optional<std::string> taken;
  std::optional<std::string> camera;  ///< Make and model; printable ASCII.
  std::optional<double> focal_mm;     ///< FocalLength [mm].
  /// FocalLengthIn35mmFilm [mm]; nothing where it is absent or zero.
  std::optional<double> focal_35mm;
};

/// A photo, upright: whatever orientation the file asked for has been applied.
struct Photo {
  cv::Mat rgb;  ///< CV_8UC3, red first.
  ExifFacts exif;
  std::string file_name;  ///< Without its folder.
  std::string sha256;     ///< Of the file's bytes, 64 lower-case hex digits.
  std::size_t bytes = 0;  ///< Of the file.
};

/// Reads a JPEG, PNG, TIFF, WebP or HEIC file. The kind is told from the
/// bytes, not from the name. Transparency is laid over white; damaged Exif is
/// left out. Nothing is written to the terminal.
///
/// @return The photo; or kFileMissing, kFileEmpty, kFileTooLarge, kNotAPhoto,
///   kPhotoTooLarge (told from the header, before decoding), kPhotoDamaged (a
///   file that breaks off is refused, not filled with grey), kCannotRead. A
///   photo that doesn't fit into memory is kPhotoTooLarge too.
Result<Photo> LoadPhoto(const std::filesystem::path& path,
                        const Limits& limits = {});

/// The focal length in pixels of this photo after FocalLengthIn35mmFilm: the
/// film's diagonal is 43.27 mm (36 x 24 mm), the photo's is its pixels'.
std::optional<double> FocalPx(const Photo& photo);

}  // namespace plumbfoot::photo
