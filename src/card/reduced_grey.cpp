// SPDX-License-Identifier: Apache-2.0
#include "card/reduced_grey.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace plumbfoot::card {

cv::Mat ReducedGrey(const cv::Mat& rgb, int longest_px) {
  if (rgb.type() != CV_8UC3) throw std::invalid_argument("rgb: not CV_8UC3");
  cv::Mat grey;
  const double factor =
      static_cast<double>(longest_px) / std::max(rgb.cols, rgb.rows);
  if (factor >= 1) {
    cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
    return grey;
  }
  const auto reduced = [factor](int side) {
    return std::max(1, static_cast<int>(std::lround(factor * side)));
  };
  grey.create(reduced(rgb.rows), reduced(rgb.cols), CV_8U);
  const double part = static_cast<double>(rgb.rows) / grey.rows;

  cv::Mat luma;
  cv::Mat sums = cv::Mat::zeros(1, rgb.cols, CV_32F);
  cv::Mat row;
  cv::Mat means;
  int at = 0;
  for (int y = 0; y < rgb.rows; ++y) {
    // CHOSEN: 16 rows of a phone's photo fit into a processor's nearest cache.
    constexpr int kStrip = 16;
    if (y % kStrip == 0) {
      cv::cvtColor(rgb.rowRange(y, std::min(y + kStrip, rgb.rows)),
                   luma,
                   cv::COLOR_RGB2GRAY);
    }
    const double end = (at + 1) * part;
    // What of this row lies before the end of the part; rounding may leave a
    // trace of the next row in it.
    const double inside = end - y;
    if (inside > 1 + 1e-6) {
      cv::accumulate(luma.row(y % kStrip), sums);
      continue;
    }
    luma.row(y % kStrip).convertTo(row, CV_32F);
    cv::scaleAdd(row, inside, sums, sums);
    cv::resize(sums, means, {grey.cols, 1}, 0, 0, cv::INTER_AREA);
    means.convertTo(grey.row(at), CV_8U, 1 / part);
    row.convertTo(sums, CV_32F, 1 - inside);
    if (++at == grey.rows) break;
  }
  return grey;
}

}  // namespace plumbfoot::card
