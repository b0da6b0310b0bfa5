// SPDX-License-Identifier: Apache-2.0
/// @file
/// Pictures as JPEG files.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>

namespace plumbfoot::photo {

/// The bytes of a JPEG (libjpeg; 4:2:0, as phones write it).
///
/// Not OpenCV's encoder: its library of file formats brings a hundred others
/// with it, whose loading takes longer than most photos.
///
/// @param rgb      CV_8UC3, red first, not empty.
/// @param quality  1 to 100.
std::string EncodeJpeg(const cv::Mat& rgb, int quality = 90);

}  // namespace plumbfoot::photo
