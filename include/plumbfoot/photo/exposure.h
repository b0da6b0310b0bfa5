// SPDX-License-Identifier: Apache-2.0
/// @file
/// Is the light right: how much of a picture is burnt out or drowned.
#pragma once

#include <opencv2/core/mat.hpp>

namespace plumbfoot::photo {

struct Exposure {
  double mean = 0.0;     ///< Mean luma (ITU-R BT.601) [0..255].
  double burnt = 0.0;    ///< Part of the pixels with luma >= 250 [0..1].
  double drowned = 0.0;  ///< Part of the pixels with luma <= 8 [0..1].
};

/// Of a picture of more than 750 rows it looks at every second row or fewer,
/// spread evenly.
///
/// @param rgb   CV_8UC3.
/// @param mask  CV_8U of the same size, or empty for the whole picture.
Exposure MeasureExposure(const cv::Mat& rgb, const cv::Mat& mask = {});

}  // namespace plumbfoot::photo
