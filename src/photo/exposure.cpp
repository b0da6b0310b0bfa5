// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/exposure.h"

#include <array>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace plumbfoot::photo {

Exposure MeasureExposure(const cv::Mat& rgb, const cv::Mat& mask) {
  if (rgb.type() != CV_8UC3) throw std::invalid_argument("rgb: not CV_8UC3");
  if (!mask.empty() && (mask.type() != CV_8U || mask.size() != rgb.size())) {
    throw std::invalid_argument("mask: not CV_8U of the picture's size");
  }
  // OpenCV's grey is the luma of BT.601: 0.299 R + 0.587 G + 0.114 B.
  cv::Mat luma;
  cv::cvtColor(rgb, luma, cv::COLOR_RGB2GRAY);
  std::array<std::uint64_t, 256> count{};
  for (int y = 0; y < luma.rows; ++y) {
    const std::uint8_t* row = luma.ptr<std::uint8_t>(y);
    const std::uint8_t* keep =
        mask.empty() ? nullptr : mask.ptr<std::uint8_t>(y);
    for (int x = 0; x < luma.cols; ++x) {
      if (keep == nullptr || keep[x] != 0) ++count[row[x]];
    }
  }
  constexpr std::size_t kBurnt = 250;  // As exposure.h says.
  constexpr std::size_t kDrowned = 8;
  double pixels = 0.0;
  Exposure sum;
  for (std::size_t level = 0; level < count.size(); ++level) {
    const auto n = static_cast<double>(count[level]);
    pixels += n;
    sum.mean += n * static_cast<double>(level);
    if (level >= kBurnt) sum.burnt += n;
    if (level <= kDrowned) sum.drowned += n;
  }
  if (pixels == 0.0) return {};
  return {sum.mean / pixels, sum.burnt / pixels, sum.drowned / pixels};
}

}  // namespace plumbfoot::photo
