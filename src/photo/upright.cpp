// SPDX-License-Identifier: Apache-2.0
#include "photo/upright.h"

#include <opencv2/core.hpp>
#include <utility>

namespace plumbfoot::photo {

cv::Mat Upright(cv::Mat stored, int orientation) {
  // cv::flip's codes.
  constexpr int kUpDown = 0;
  constexpr int kLeftRight = 1;
  constexpr int kBoth = -1;
  const bool transposed = orientation >= 5 && orientation <= 8;
  cv::Mat upright;
  if (transposed) {
    cv::transpose(stored, upright);
    stored.release();
  } else {
    upright = std::move(stored);
  }
  // Flipping in place spares a second picture.
  switch (orientation) {
    case 2:
    case 6:
      cv::flip(upright, upright, kLeftRight);
      break;
    case 3:
    case 7:
      cv::flip(upright, upright, kBoth);
      break;
    case 4:
    case 8:
      cv::flip(upright, upright, kUpDown);
      break;
    default:
      break;
  }
  return upright;
}

}  // namespace plumbfoot::photo
