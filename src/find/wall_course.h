// SPDX-License-Identifier: Apache-2.0
/// @file
/// Which of several edges that run along it is a dorsal wall's.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

/// A wall's course: straight, and from a place on off the straight line with
/// the square of the way.
struct WallCourse {
  geometry::PhotoPolyline px;  ///< As the coarse wall runs, hairline first.
  /// Part of the way along which there is an edge [0..1].
  double seen = 0.0;
  /// Towards the ground the coarse wall, or another line that is nearly as
  /// good, runs elsewhere: a flare may be missed there, or be none.
  bool lower_part_open = false;
};

/// Finds the course of a dorsal wall near where it was seen.
///
/// An edge follower sees one place at a time and takes the strongest edge
/// there: a stripe in the horn, a stone behind it. A wall is one smooth line
/// from top to bottom. So all such lines near the coarse one are tried, and
/// each scores by how much of it has an edge that runs along it, however
/// strong, and by how near it stays to the coarse wall. Stripes, which grow
/// down with the horn, run along it too, but inside of it: of lines that score
/// nearly alike the outermost is the wall.
///
/// @param rgb     CV_8UC3, the full photo.
/// @param coarse  At least 8 corners, hairline first.
/// @param out     Any vector that points away from the horn.
/// @param px_per_mm Of the photo, there.
/// @return Nothing if too little of the wall is in the photo.
std::optional<WallCourse> FindWallCourse(const cv::Mat& rgb,
                                         const geometry::PhotoPolyline& coarse,
                                         geometry::PhotoVector out,
                                         double px_per_mm);

}  // namespace plumbfoot::find
