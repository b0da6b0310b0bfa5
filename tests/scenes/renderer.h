// SPDX-License-Identifier: Apache-2.0
/// @file
/// Renders the photo of a scene, with its truth.
#pragma once

#include <opencv2/core.hpp>

#include "scenes/scene.h"
#include "scenes/truth.h"

namespace plumbfoot::scenes {

struct RenderedPhoto {
  cv::Mat photo;  ///< CV_8UC3, red green blue, upright.
  Truth truth;    ///< With what covers what.
};

/// The same options give the same photo, whatever the number of threads.
RenderedPhoto Render(const SceneOptions& options,
                     int width_px,
                     int height_px,
                     int threads = 2);

}  // namespace plumbfoot::scenes
