// SPDX-License-Identifier: Apache-2.0
/// @file
/// Turning a stored picture upright.
#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core/mat.hpp>

namespace plumbfoot::photo {

/// A picture that is given stored rows and comes out upright, so that a decoder
/// needs no second picture.
class UprightPicture {
 public:
  /// @param width, height  As stored [px], above zero.
  /// @param orientation    Exif 2.3 (CIPA DC-008), 4.6.4.A, tag 0x0112, and
  ///   TIFF 6.0, p. 36. Numbers other than 2 to 8 leave the picture as it is.
  UprightPicture(int width, int height, int orientation);

  /// Where stored row `r` goes, for a decoder to write it there; nowhere where
  /// the rows become columns or run backwards.
  std::uint8_t* WholeRow(int r);

  /// Puts `count` stored rows from `first` on, each `step` bytes after the
  /// last.
  void Put(int first, int count, const std::uint8_t* rows, std::size_t step);

  /// CV_8UC3, red first.
  const cv::Mat& rgb() const { return rgb_; }

 private:
  /// Stored column c of row r goes to start + r * for_row + c * for_column
  /// [bytes].
  struct Walk {
    std::ptrdiff_t start = 0;
    std::ptrdiff_t for_row = 0;
    std::ptrdiff_t for_column = 0;
  };

  int width_;
  cv::Mat rgb_;
  Walk walk_;
};

/// The same for a whole picture.
cv::Mat Upright(const cv::Mat& stored, int orientation);

}  // namespace plumbfoot::photo
