// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/exposure.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace plumbfoot::photo {

Exposure MeasureExposure(const cv::Mat& rgb, const cv::Mat& mask) {
  if (rgb.type() != CV_8UC3) throw std::invalid_argument("rgb: not CV_8UC3");
  if (!mask.empty() && (mask.type() != CV_8U || mask.size() != rgb.size())) {
    throw std::invalid_argument("mask: not CV_8U of the picture's size");
  }
  // OpenCV's grey is the luma of BT.601: 0.299 R + 0.587 G + 0.114 B. A row at
  // a time: a grey picture of its own would cost more than the counting.
  // CHOSEN: of a large picture every so many rows, at least 375 of them.
  const int stride = std::max(1, rgb.rows / 375);
  std::array<std::array<std::uint64_t, 256>, 2> count{};
  cv::Mat luma;
  for (int y = stride / 2; y < rgb.rows; y += stride) {
    cv::cvtColor(rgb.row(y), luma, cv::COLOR_RGB2GRAY);
    const std::uint8_t* row = luma.ptr<std::uint8_t>();
    const std::uint8_t* keep =
        mask.empty() ? nullptr : mask.ptr<std::uint8_t>(y);
    for (int x = 0; x < rgb.cols; ++x) {
      // Two counters by turns: neighbours are alike, and each count of one
      // would wait for the count before.
      if (keep == nullptr || keep[x] != 0) {
        ++count[static_cast<std::size_t>(x) % 2][row[x]];
      }
    }
  }
  constexpr std::size_t kBurnt = 250;  // As exposure.h says.
  constexpr std::size_t kDrowned = 8;
  double pixels = 0.0;
  Exposure sum;
  for (std::size_t level = 0; level < count[0].size(); ++level) {
    const auto n = static_cast<double>(count[0][level] + count[1][level]);
    pixels += n;
    sum.mean += n * static_cast<double>(level);
    if (level >= kBurnt) sum.burnt += n;
    if (level <= kDrowned) sum.drowned += n;
  }
  if (pixels == 0.0) return {};
  return {sum.mean / pixels, sum.burnt / pixels, sum.drowned / pixels};
}

}  // namespace plumbfoot::photo
