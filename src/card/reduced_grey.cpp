// SPDX-License-Identifier: Apache-2.0
#include "card/reduced_grey.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <vector>

namespace plumbfoot::card {
namespace {

/// Writes the means over `to.cols` equal parts of a row of sums.
void TakeMeans(const cv::Mat& sums, double rows, cv::Mat to) {
  const auto* sum = sums.ptr<float>();
  const double part = static_cast<double>(sums.cols) / to.cols;
  const double area = part * rows;
  auto* mean = to.ptr<std::uint8_t>();
  int x = 0;
  double rest = 0.0;  // Of pixel x - 1, what belongs to the next part.
  for (int i = 0; i < to.cols; ++i) {
    const double end = (i + 1) * part;
    const int whole = std::min(sums.cols, static_cast<int>(end));
    double total = rest;
    for (; x < whole; ++x) total += static_cast<double>(sum[x]);
    rest = 0.0;
    if (x < sums.cols) {
      const double inside = end - whole;
      const auto value = static_cast<double>(sum[x]);
      total += inside * value;
      rest = (1 - inside) * value;
      ++x;
    }
    mean[i] = cv::saturate_cast<std::uint8_t>(total / area);
  }
}

}  // namespace

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
    TakeMeans(sums, part, grey.row(at));
    row.convertTo(sums, CV_32F, 1 - inside);
    if (++at == grey.rows) break;
  }
  return grey;
}

}  // namespace plumbfoot::card
