// SPDX-License-Identifier: Apache-2.0
/// @file
/// Where a heel's horn ends, seen from the side.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

/// The straight line along which the wall's horn ends over a heel.
struct HornEnd {
  geometry::PhotoPoint at;   ///< On the line, near the ground.
  geometry::PhotoVector up;  ///< Unit vector.
};

/// Finds the line between the heel's horn and the bulb behind it.
///
/// From the side a heel's rear contour is the bulb's, which stands behind the
/// horn and further so towards the hairline. Where the wall's horn ends, colour
/// and light change along a straight line inside the foot that starts where the
/// contour does. All such lines to places near the hairline's point are tried;
/// each scores by the difference between its two sides that is the same all
/// along it, against how much that difference varies.
///
/// @param rgb      CV_8UC3, the full photo.
/// @param rear     The foot's rear contour, from the ground up.
/// @param hairline Near the heel's hairline.
/// @param forward  Any vector from heel to toe.
/// @return Nothing where no line stands out, or two do.
std::optional<HornEnd> FindHornEnd(const cv::Mat& rgb,
                                   const geometry::PhotoPolyline& rear,
                                   geometry::PhotoPoint hairline,
                                   geometry::PhotoVector forward,
                                   double px_per_mm);

}  // namespace plumbfoot::find
