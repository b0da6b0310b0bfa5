// SPDX-License-Identifier: Apache-2.0
/// @file
/// From linear light on the sensor to the 8-bit photo that a phone saves.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>

#include "scenes/scene.h"

namespace plumbfoot::scenes {

/// @param linear  CV_32FC3, red green blue, linear light.
/// @param background  CV_32F, 0 in focus .. 1 far behind; may be empty.
/// @return CV_8UC3, red green blue, sRGB.
cv::Mat DevelopPhoto(cv::Mat linear,
                     const cv::Mat& background,
                     const CameraEffects& effects,
                     std::uint64_t seed,
                     int threads);

}  // namespace plumbfoot::scenes
