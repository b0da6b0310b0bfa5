// SPDX-License-Identifier: Apache-2.0
/// @file
/// The border to libapriltag: where the tags roughly are, and who they are.
#pragma once

#include <array>
#include <opencv2/core/mat.hpp>
#include <vector>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::card {

/// A tag of the family 36h11 as libapriltag reports it.
struct RoughTag {
  int id = 0;
  /// Bottom left, bottom right, top right, top left of the upright tag, in the
  /// frame of the picture that was searched (its pixel's corner is (0, 0)).
  std::array<geometry::PhotoPoint, 4> corners;
  int wrong_bits = 0;   ///< Bits of the code that had to be corrected.
  double margin = 0.0;  ///< Mean distance of a bit from the threshold [grey].
};

/// All tags in a CV_8UC1 picture, by rising id.
std::vector<RoughTag> DetectTags(const cv::Mat& grey);

/// How many tags the family has.
int TagCount();

}  // namespace plumbfoot::card
