// SPDX-License-Identifier: Apache-2.0
//
// Pictures and truth that others made: Debian's package visp-images-data.

#include <gtest/gtest.h>

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "card/edges.h"
#include "card/tags.h"

namespace plumbfoot::card {
namespace {

using geometry::PhotoPoint;

const char* const kFolder = "/usr/share/visp-images-data/ViSP-images/AprilTag/";

bool Absent() {
  return !std::filesystem::exists(kFolder);
}

cv::Mat Rgb(const cv::Mat& grey) {
  cv::Mat rgb;
  cv::cvtColor(grey, rgb, cv::COLOR_GRAY2RGB);
  return rgb;
}

double ToNearest(PhotoPoint p, const std::array<PhotoPoint, 4>& corners) {
  double nearest = INFINITY;
  for (const PhotoPoint& c : corners) {
    nearest = std::min(nearest, Distance(p, c));
  }
  return nearest;
}

// A photo of twelve tags on a tilted sheet, and ground_truth_detection.txt:
// (row, column) of the corners, made with libapriltag itself (it differs by
// 0.04 px from what Debian's version gives).
TEST(DetectTags, AgreesWithTheTruthOfViSPsPhoto) {
  if (Absent()) {
    GTEST_SKIP() << "the package visp-images-data is not installed";
  }
  const std::string folder = kFolder;
  std::map<int, std::array<PhotoPoint, 4>> truth;
  std::ifstream file(folder + "ground_truth_detection.txt");
  std::string word;
  while (file >> word) {
    const int id = std::stoi(word.substr(word.rfind('_') + 1));
    for (PhotoPoint& p : truth[id]) file >> p.y >> p.x;
  }
  ASSERT_EQ(truth.size(), 12U);

  const cv::Mat grey =
      cv::imread(folder + "AprilTag.pgm", cv::IMREAD_GRAYSCALE);
  ASSERT_FALSE(grey.empty());
  const auto tags = DetectTags(grey);
  ASSERT_EQ(tags.size(), 12U);
  std::vector<double> moved;
  for (const RoughTag& tag : tags) {
    SCOPED_TRACE(tag.id);
    ASSERT_TRUE(truth.count(tag.id));
    for (const PhotoPoint& p : tag.corners) {
      EXPECT_LT(ToNearest(p, truth[tag.id]), 0.05);
    }
    // Our edges against libapriltag's. The photo has stairs of a whole pixel
    // along its edges (it was resampled without interpolation), so neither
    // can be right to better than some tenths.
    const auto fitted = FitEdges(Rgb(grey), tag);
    ASSERT_TRUE(fitted.has_value());
    for (const PhotoPoint& p : fitted->seen.corners) {
      moved.push_back(ToNearest(p, truth[tag.id]));
    }
  }
  std::sort(moved.begin(), moved.end());
  EXPECT_LT(moved[moved.size() / 2], 0.25);
  EXPECT_LT(moved.back(), 0.5);
}

// A rendered scene with the pose of each tag, cMo_<id>.txt, that no detector
// had a part in. Camera: 700 px, (320, 240) of 640 x 480; black squares of
// 0.2 m (ids 0 to 2) and 0.1 m (3 and 4): fitted to the scene, and confirmed
// by all five poses to 0.4 px.
TEST(FitEdges, AgreesWithThePosesOfViSPsScene) {
  if (Absent()) {
    GTEST_SKIP() << "the package visp-images-data is not installed";
  }
  const std::string folder = std::string(kFolder) + "benchmark/640x480/";
  const cv::Mat grey =
      cv::imread(folder + "tag36_11_640x480.png", cv::IMREAD_GRAYSCALE);
  ASSERT_FALSE(grey.empty());
  // The renderer mixed black and white in its grey values, and not in light:
  // coded as sRGB they are what a camera would have made of such a mixture.
  cv::Mat curve(1, 256, CV_8UC1);
  for (int i = 0; i < 256; ++i) {
    const double v = i / 255.0;
    const double coded =
        v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
    curve.at<std::uint8_t>(i) = cv::saturate_cast<std::uint8_t>(255 * coded);
  }
  cv::Mat coded;
  cv::LUT(grey, curve, coded);

  int seen = 0;
  double bias = 0;
  double error = 0;
  for (const RoughTag& tag : DetectTags(grey)) {
    if (tag.id > 4) continue;
    SCOPED_TRACE(tag.id);
    std::ifstream file(folder + "cMo_" + std::to_string(tag.id) + ".txt");
    Eigen::Matrix4d camera_from_tag;
    for (int i = 0; i < 16; ++i) file >> camera_from_tag(i / 4, i % 4);
    ASSERT_TRUE(file.good());
    const double half = tag.id < 3 ? 0.1 : 0.05;
    std::array<PhotoPoint, 4> truth;
    for (std::size_t c = 0; c < 4; ++c) {
      const Eigen::Vector4d at =
          camera_from_tag *
          Eigen::Vector4d(
              c == 0 || c == 3 ? -half : half, c < 2 ? -half : half, 0, 1);
      truth[c] = {320 + 700 * at.x() / at.z(), 240 + 700 * at.y() / at.z()};
    }
    const auto fitted = FitEdges(Rgb(coded), tag);
    ASSERT_TRUE(fitted.has_value());
    ++seen;
    double side = 0;
    for (std::size_t c = 0; c < 4; ++c) {
      const std::size_t n = (c + 1) % 4;
      error += ToNearest(fitted->seen.corners[c], truth) / 20;
      EXPECT_LT(ToNearest(fitted->seen.corners[c], truth), 0.55);
      side += Distance(fitted->seen.corners[c], fitted->seen.corners[n]) / 4;
      side -= Distance(truth[c], truth[n]) / 4;
    }
    EXPECT_LT(std::abs(side), 0.3);
    bias += side / 5;
  }
  EXPECT_EQ(seen, 5);
  RecordProperty("side_bias_px", std::to_string(bias));
  // libapriltag's own corners: 0.31 px in the mean.
  EXPECT_LT(error, 0.31);
  EXPECT_LT(std::abs(bias), 0.08);
}

}  // namespace
}  // namespace plumbfoot::card
