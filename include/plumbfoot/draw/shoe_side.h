// SPDX-License-Identifier: Apache-2.0
/// @file
/// A worn shoe from the side, on its photo: its edges, and where the ground
/// edge of a level shoe would be.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/fit/shoe_level.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::draw {

struct ShoeSideDrawing {
  cv::Mat rgb;  ///< CV_8UC3, the whole upright photo.
  std::string title;
  std::string verdict;             ///< In large letters.
  std::vector<std::string> lines;  ///< Below it, each on its own line.
  geometry::PhotoPolyline ground;  ///< The shoe's ground edge; may be empty.
  geometry::PhotoPolyline foot;    ///< Its edge to the foot; may be empty.
  geometry::PhotoPolyline horn;    ///< The horn's lower edge; may be empty.
  /// Where the shoe was looked for, where nothing was fitted.
  geometry::PhotoPolyline looked;
  std::optional<fit::ShoeLevel> level;
};

/// The photo's part with the shoe, enlarged, and a band of words below it.
/// Sets text: to be called from one thread only.
/// @throws std::invalid_argument without a photo, or with no line at all.
cv::Mat DrawShoeSide(const ShoeSideDrawing& drawing);

}  // namespace plumbfoot::draw
