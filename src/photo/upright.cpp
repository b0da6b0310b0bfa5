// SPDX-License-Identifier: Apache-2.0
#include "photo/upright.h"

#include <algorithm>
#include <opencv2/core.hpp>

namespace plumbfoot::photo {
namespace {

constexpr std::ptrdiff_t kPixel = 3;  // bytes

}  // namespace

UprightPicture::UprightPicture(int width, int height, int orientation)
    : width_(width) {
  const bool turned = orientation >= 5 && orientation <= 8;
  rgb_.create(turned ? width : height, turned ? height : width, CV_8UC3);
  const auto line = static_cast<std::ptrdiff_t>(rgb_.step);
  const std::ptrdiff_t last_line = (rgb_.rows - 1) * line;
  const std::ptrdiff_t last_pixel = (rgb_.cols - 1) * kPixel;
  switch (orientation) {
    case 2:
      walk_ = {last_pixel, line, -kPixel};
      break;
    case 3:
      walk_ = {last_line + last_pixel, -line, -kPixel};
      break;
    case 4:
      walk_ = {last_line, -line, kPixel};
      break;
    case 5:
      walk_ = {0, kPixel, line};
      break;
    case 6:
      walk_ = {last_pixel, -kPixel, line};
      break;
    case 7:
      walk_ = {last_line + last_pixel, -kPixel, -line};
      break;
    case 8:
      walk_ = {last_line, kPixel, -line};
      break;
    default:
      walk_ = {0, line, kPixel};
      break;
  }
}

std::uint8_t* UprightPicture::WholeRow(int r) {
  if (walk_.for_column != kPixel) return nullptr;
  return rgb_.data + walk_.start + r * walk_.for_row;
}

void UprightPicture::Put(int first,
                         int count,
                         const std::uint8_t* rows,
                         std::size_t step) {
  if (WholeRow(first) != nullptr) {
    for (int r = 0; r < count; ++r) {
      std::copy_n(rows + static_cast<std::size_t>(r) * step,
                  width_ * kPixel,
                  WholeRow(first + r));
    }
    return;
  }
  // Square by square: down a whole column, each pixel would miss the cache.
  constexpr int kSquare = 32;
  for (int left = 0; left < width_; left += kSquare) {
    const int right = std::min(left + kSquare, width_);
    for (int r = 0; r < count; ++r) {
      const std::uint8_t* from =
          rows + static_cast<std::size_t>(r) * step + left * kPixel;
      std::uint8_t* to = rgb_.data + walk_.start + (first + r) * walk_.for_row +
                         left * walk_.for_column;
      for (int c = left; c < right; ++c) {
        std::copy_n(from, kPixel, to);
        from += kPixel;
        to += walk_.for_column;
      }
    }
  }
}

cv::Mat Upright(const cv::Mat& stored, int orientation) {
  if (orientation < 2 || orientation > 8) return stored;
  UprightPicture picture(stored.cols, stored.rows, orientation);
  picture.Put(0, stored.rows, stored.data, stored.step);
  return picture.rgb();
}

}  // namespace plumbfoot::photo
