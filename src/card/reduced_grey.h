// SPDX-License-Identifier: Apache-2.0
/// @file
/// A small grey picture of a large photo, for the search for tags.
#pragma once

#include <opencv2/core/mat.hpp>

namespace plumbfoot::card {

/// The luma (ITU-R BT.601) of a photo, reduced so that its longest side has
/// `longest_px` pixels: each is the mean over its own area, so that coordinates
/// from pixel corners only scale. A photo that is no larger keeps its size.
///
/// A few rows at a time: the grey picture at full size would cost more than the
/// search itself, in memory that is touched only once.
///
/// @param rgb  CV_8UC3.
/// @return CV_8U.
cv::Mat ReducedGrey(const cv::Mat& rgb, int longest_px);

}  // namespace plumbfoot::card
