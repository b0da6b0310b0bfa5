// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <opencv2/core/mat.hpp>

#include "plumbfoot/report/measure_foot.h"

namespace plumbfoot::report {

/// The photo of a measured view with its points and measures drawn on
/// (draw::DrawAnnotated), CV_8UC3, red first.
///
/// Sets text: to be called from one thread only. The libraries that do it keep
/// what they know of fonts for each thread, and take it down while others still
/// look.
/// @throws std::invalid_argument if the foot has no photo of that view.
cv::Mat DrawnPhoto(const MeasuredFoot& foot, View view);

}  // namespace plumbfoot::report
