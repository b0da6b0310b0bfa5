// SPDX-License-Identifier: Apache-2.0
/// @file
/// The side of a worn shoe in a photo from the side: its ground edge and its
/// edge to the foot.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::find {

struct ShoeSideRequest {
  const cv::Mat& rgb;  ///< CV_8UC3, the full photo.
  /// Where the ground edge of a level shoe would be, toe first, a millimetre
  /// from corner to corner.
  geometry::PhotoPolyline level;
  /// One millimetre up from each of its corners [px].
  std::vector<geometry::PhotoVector> up;
};

/// What was found, toe first.
struct ShoeSide {
  geometry::PlacedCurve ground;
  /// Nothing where it can't be followed to a part of a pixel.
  std::optional<geometry::PlacedCurve> foot;
};

/// Looks for a band of even height, 5 to 16 mm, along the ground: two edges
/// that run together from toe to heel, one of which is the shoe's on the
/// ground and the other the shoe's to the foot. No single edge is taken for the
/// shoe's: shadows, joints of the floor and the horn's rings have no partner
/// at a constant distance. Each edge is then followed to a part of a pixel (see
/// find/edges.h).
///
/// @return the edges; or kNoFoot where the ground edge can't be made out, or
///   another band would do nearly as well.
/// @throws std::invalid_argument for another picture, or fewer than 20 corners.
Result<ShoeSide> FindShoeSide(const ShoeSideRequest& request);

}  // namespace plumbfoot::find
