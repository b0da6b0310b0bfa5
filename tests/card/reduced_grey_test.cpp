// SPDX-License-Identifier: Apache-2.0
#include "card/reduced_grey.h"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

namespace plumbfoot::card {
namespace {

cv::Mat Noise(int rows, int cols) {
  cv::Mat rgb(rows, cols, CV_8UC3);
  cv::RNG(7).fill(rgb, cv::RNG::UNIFORM, 0, 256);
  return rgb;
}

// Reference: OpenCV's grey picture and its INTER_AREA, which rounds as well.
TEST(ReducedGrey, IsOpenCVsMeanOverAreas) {
  for (const cv::Size size : {cv::Size(400, 300),
                              cv::Size(403, 302),
                              cv::Size(301, 457),
                              cv::Size(161, 97),
                              cv::Size(81, 80)}) {
    SCOPED_TRACE(size);
    const cv::Mat rgb = Noise(size.height, size.width);
    const cv::Mat ours = ReducedGrey(rgb, 80);
    EXPECT_EQ(std::max(ours.cols, ours.rows), 80);
    cv::Mat grey;
    cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
    cv::Mat theirs;
    cv::resize(grey, theirs, ours.size(), 0, 0, cv::INTER_AREA);
    EXPECT_LE(cv::norm(ours, theirs, cv::NORM_INF), 1.0);
  }
}

TEST(ReducedGrey, LeavesASmallPictureAsItIs) {
  const cv::Mat rgb = Noise(30, 40);
  cv::Mat grey;
  cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
  EXPECT_EQ(cv::norm(ReducedGrey(rgb, 40), grey, cv::NORM_INF), 0.0);
}

}  // namespace
}  // namespace plumbfoot::card
