// SPDX-License-Identifier: Apache-2.0
/// @file
/// The decoders, one a kind of file. Each asks the format's own library, not
/// OpenCV's wrapper of it: the wrapper turns only some kinds upright, fills the
/// rest of a file that breaks off with grey, and writes to the terminal.
#pragma once

#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <string_view>

#include "photo/file_kind.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/photo/photo.h"

namespace plumbfoot::photo {

struct Source {
  Bytes bytes;
  std::string_view name;    ///< For the refusals.
  double megapixels = 0.0;  ///< At most.
};

struct Decoded {
  cv::Mat rgb;  ///< CV_8UC3, red first, upright; transparency is white.
  ExifFacts exif;
};

/// Each returns the picture; or kPhotoDamaged, kPhotoTooLarge (before the
/// picture's memory is asked for), kNotAPhoto (a kind within the kind that
/// can't be read).
/// @throws cv::Exception, std::bad_alloc where memory runs out.
Result<Decoded> DecodeJpeg(const Source& source);
Result<Decoded> DecodePng(const Source& source);
Result<Decoded> DecodeTiff(const Source& source);
Result<Decoded> DecodeWebp(const Source& source);
Result<Decoded> DecodeHeic(const Source& source);

inline bool IsTooLarge(const Source& source,
                       std::uint64_t width,
                       std::uint64_t height) {
  return static_cast<double>(width) * static_cast<double>(height) >
         source.megapixels * 1e6;
}

/// Lays a row of RGBA pixels over white.
void OverWhite(const std::uint8_t* rgba, int width, std::uint8_t* rgb);

}  // namespace plumbfoot::photo
