// SPDX-License-Identifier: Apache-2.0
/// @file
/// Turning a stored picture upright.
#pragma once

#include <opencv2/core/mat.hpp>

namespace plumbfoot::photo {

/// The picture that a file with this orientation means (Exif 2.3, CIPA DC-008,
/// 4.6.4.A, tag 0x0112; TIFF 6.0, p. 36). Numbers other than 2 to 8 leave it as
/// it is.
cv::Mat Upright(cv::Mat stored, int orientation);

}  // namespace plumbfoot::photo
