// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/exposure.h"

#include <gtest/gtest.h>

#include <opencv2/core.hpp>
#include <stdexcept>

namespace plumbfoot::photo {
namespace {

// ITU-R BT.601-7, 2.5.1: E'Y = 0.299 E'R + 0.587 E'G + 0.114 E'B.
TEST(MeasureExposure, WeighsColoursAsBt601) {
  const auto mean_of = [](const cv::Scalar& rgb) {
    return MeasureExposure(cv::Mat(4, 4, CV_8UC3, rgb)).mean;
  };
  EXPECT_NEAR(mean_of({255, 0, 0}), 0.299 * 255, 0.5);
  EXPECT_NEAR(mean_of({0, 255, 0}), 0.587 * 255, 0.5);
  EXPECT_NEAR(mean_of({0, 0, 255}), 0.114 * 255, 0.5);
}

TEST(MeasureExposure, CountsBurntAndDrowned) {
  cv::Mat rgb(10, 10, CV_8UC3, cv::Scalar::all(128));
  rgb.rowRange(0, 2) = cv::Scalar::all(250);
  rgb.rowRange(2, 3) = cv::Scalar::all(249);
  rgb.rowRange(3, 6) = cv::Scalar::all(8);
  rgb.rowRange(6, 7) = cv::Scalar::all(9);
  const Exposure seen = MeasureExposure(rgb);
  EXPECT_DOUBLE_EQ(seen.burnt, 0.2);
  EXPECT_DOUBLE_EQ(seen.drowned, 0.3);
  EXPECT_DOUBLE_EQ(seen.mean, (2 * 250 + 249 + 3 * 8 + 9 + 3 * 128) / 10.0);
}

TEST(MeasureExposure, LooksOnlyUnderTheMask) {
  cv::Mat rgb(10, 10, CV_8UC3, cv::Scalar::all(0));
  rgb.rowRange(0, 5) = cv::Scalar::all(255);
  cv::Mat mask = cv::Mat::zeros(10, 10, CV_8U);
  mask.rowRange(0, 4) = 255;
  const Exposure seen = MeasureExposure(rgb, mask);
  EXPECT_DOUBLE_EQ(seen.mean, 255.0);
  EXPECT_DOUBLE_EQ(seen.burnt, 1.0);
  EXPECT_DOUBLE_EQ(seen.drowned, 0.0);
  EXPECT_DOUBLE_EQ(MeasureExposure(rgb, cv::Mat::zeros(10, 10, CV_8U)).mean,
                   0.0);
}

TEST(MeasureExposure, ThrowsOnAWrongType) {
  const cv::Mat grey(4, 4, CV_8U);
  const cv::Mat rgb(4, 4, CV_8UC3);
  EXPECT_THROW(MeasureExposure(grey), std::invalid_argument);
  EXPECT_THROW(MeasureExposure(rgb, cv::Mat(3, 4, CV_8U)),
               std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::photo
