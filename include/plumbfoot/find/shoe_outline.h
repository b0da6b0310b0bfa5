// SPDX-License-Identifier: Apache-2.0
/// @file
/// The outline of a loose shoe that lies beside the card.
#pragma once

#include <opencv2/core/mat.hpp>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::find {

/// Finds a shoe on a plain ground that is much lighter, or much darker, than
/// it: the part of the plane image on one side of Otsu's threshold (N. Otsu,
/// IEEE Trans. Syst. Man Cybern. 9(1), 1979, 62-66) that is open at one end and
/// as large as a shoe. Then each place of its edge is moved along its normal to
/// where the picture changes most. A shadow beside the shoe is part of what it
/// sees: light from a window or an overcast sky throws none that matters.
///
/// @param rgb     CV_8UC3.
/// @param layout  The card beside it, to be masked; may be null.
/// @return the closed outline, its outer and inner edge, in the photo; or
///   kNoFoot if nothing looks like a shoe.
Result<geometry::PhotoPolyline> FindShoeOutline(const cv::Mat& rgb,
                                                const geometry::PlaneMap& map,
                                                const card::Layout* layout);

}  // namespace plumbfoot::find
