// SPDX-License-Identifier: Apache-2.0
//
// Pictures and truth that others made: Debian's packages visp-images-data and
// opencv-doc.

#include <gtest/gtest.h>

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "card/edges.h"
#include "card/fit.h"
#include "card/tags.h"
#include "support/debian_data.h"

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
    FAIL() << tests::kNoVispData;
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

// The same photo's ground_truth_pose.txt: translation [m] and rotation vector
// of each tag, by ViSP from libapriltag's corners. Camera 615.167 px,
// (312.189, 243.437) in OpenCV's frame, and tags of 53 mm, from memory: with
// them the poses put the corners where the file of corners has them, to 0.5 px.
//
// Each tag is read as a card of its own. All come out nearer than the file
// says, by 0.5 % in the mean: libapriltag works on the photo's grey levels, in
// which a blurred black square looks smaller than it does in light, by 0.8 of
// the blur's sigma (a quarter of a pixel of 72) on every side.
TEST(FindCard, AgreesWithThePosesOfViSPsPhoto) {
  if (Absent()) {
    FAIL() << tests::kNoVispData;
  }
  const std::string folder = kFolder;
  const cv::Mat photo =
      Rgb(cv::imread(folder + "AprilTag.pgm", cv::IMREAD_GRAYSCALE));
  std::ifstream file(folder + "ground_truth_pose.txt");
  std::string word;
  int poses = 0;
  while (file >> word) {
    SCOPED_TRACE(word);
    Eigen::Vector3d place;
    Eigen::Vector3d turn;
    for (double& v : place) file >> v;
    for (double& v : turn) file >> v;
    ++poses;
    CardOptions options;
    options.layout.tags = {
        {std::stoi(word.substr(word.rfind('_') + 1)), {0, 0}, 53.0}};
    options.camera.focal_px = 615.167;
    options.camera.focal_relative_sigma = 1e-3;
    options.camera.principal = PhotoPoint{312.189 + 0.5, 243.437 + 0.5};
    options.camera.lens = geometry::LensDistortion{};
    const auto card = FindCard(photo, options);
    ASSERT_TRUE(card.has_value()) << card.error().message;
    const geometry::Pose& pose = card->plane.camera_from_card;
    const Eigen::Vector3d off = pose.translation - 1000 * place;
    EXPECT_LT(off.head<2>().norm(), 1.0);
    EXPECT_LT(std::abs(off.z()), 0.01 * pose.translation.z());
    EXPECT_LT(std::abs(off.z()), 2 * std::sqrt(card->plane.covariance(5, 5)));
    // Its axes are ours or their opposites.
    const Eigen::Matrix3d truth = geometry::RotationFromVector(turn);
    for (const int axis : {0, 2}) {
      const double along =
          std::abs(pose.rotation.col(axis).dot(truth.col(axis)));
      EXPECT_GT(along, std::cos(geometry::Degrees(0.35).radians())) << axis;
    }
  }
  EXPECT_EQ(poses, 12);
}

// A rendered scene with the pose of each tag, cMo_<id>.txt, that no detector
// had a part in. Camera: 700 px, (320, 240) of 640 x 480; black squares of
// 0.2 m (ids 0 to 2) and 0.1 m (3 and 4): fitted to the scene, and confirmed
// by all five poses to 0.4 px.
TEST(FitEdges, AgreesWithThePosesOfViSPsScene) {
  if (Absent()) {
    FAIL() << tests::kNoVispData;
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

/// OpenCV's ArUco markers by id: corners clockwise from the marker's own top
/// left, in the photo frame.
std::map<int, std::array<PhotoPoint, 4>> ArucoMarkers(const cv::Mat& bgr) {
  std::vector<std::vector<cv::Point2f>> corners;
  std::vector<int> ids;
  cv::aruco::detectMarkers(
      bgr,
      cv::aruco::getPredefinedDictionary(cv::aruco::DICT_6X6_250),
      corners,
      ids);
  std::map<int, std::array<PhotoPoint, 4>> markers;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    for (std::size_t k = 0; k < 4; ++k) {
      markers[ids[i]][k] = {corners[i][k].x + 0.5, corners[i][k].y + 0.5};
    }
  }
  return markers;
}

/// A printed marker and the same marker in the photo.
struct PrintedSheet {
  Layout layout;
  std::vector<FittedTag> tags;
};

/// The sheet's six markers of exactly 200 px, taken as letter paper at 200 px
/// to the inch. They have the frame of 36h11, and the photo is so sharp that
/// nothing behind the frame takes part in its edges: the ids are our own.
PrintedSheet ReadSheet(const cv::Mat& sheet_bgr, const cv::Mat& photo_bgr) {
  constexpr double kMmPerPx = 25.4 / 200;
  cv::Mat photo;
  cv::cvtColor(photo_bgr, photo, cv::COLOR_BGR2RGB);
  const auto printed = ArucoMarkers(sheet_bgr);
  PrintedSheet sheet;
  for (const auto& [id, seen] : ArucoMarkers(photo_bgr)) {
    const auto& corners = printed.at(id);
    const PhotoPoint middle = corners[0] + 0.5 * (corners[2] - corners[0]);
    RoughTag rough;
    rough.id = static_cast<int>(sheet.tags.size());
    // Ours run anticlockwise from the bottom left of the upright sheet, on
    // which some markers stand on their heads.
    std::size_t first = 0;
    while (corners[first].x > middle.x || corners[first].y < middle.y) ++first;
    for (std::size_t k = 0; k < 4; ++k) {
      rough.corners[k] = seen[(first + 4 - k) % 4];
    }
    const auto fitted = FitEdges(photo, rough);
    if (!fitted) continue;
    sheet.layout.tags.push_back(
        {rough.id,
         {kMmPerPx * middle.x, kMmPerPx * (sheet_bgr.rows - middle.y)},
         200 * kMmPerPx});
    sheet.tags.push_back(*fitted);
  }
  return sheet;
}

// A phone's photo of a printed sheet, and the sheet's own picture (Debian
// package opencv-doc, the tutorial on ArUco). Camera, pose, lens and print gain
// from five of the markers say where the sixth is, which they never saw. The
// best homography leaves OpenCV's corners an rms of 0.41 px.
TEST(FitPlane, PredictsTheMarkersOfOpenCvsPrintedSheet) {
  const std::string folder = "/usr/share/doc/opencv-doc/opencv4/html/";
  if (!std::filesystem::exists(folder + "singlemarkersoriginal.jpg")) {
    FAIL() << tests::kNoOpencvDoc;
  }
  const cv::Mat photo =
      cv::imread(folder + "singlemarkersoriginal.jpg", cv::IMREAD_COLOR);
  const PrintedSheet sheet =
      ReadSheet(cv::imread(folder + "singlemarkerssource.png"), photo);
  ASSERT_EQ(sheet.tags.size(), 6U);
  const CameraBelief belief = Believe(photo.size(), {});
  const auto all = FitPlane(sheet.layout, sheet.tags, belief);
  ASSERT_TRUE(all.has_value());
  EXPECT_LT(all->residual_px, 0.25);

  double mean_side = 0;
  for (std::size_t k = 0; k < 6; ++k) {
    SCOPED_TRACE(k);
    auto others = sheet.tags;
    others.erase(others.begin() + static_cast<std::ptrdiff_t>(k));
    const auto fit = FitPlane(sheet.layout, others, belief);
    ASSERT_TRUE(fit.has_value());
    const geometry::PlaneMap map(fit->camera, fit->camera_from_card);
    std::array<geometry::CardPoint, 4> corners;
    geometry::CardVector middle;
    for (std::size_t c = 0; c < 4; ++c) {
      corners[c] = map.Apply(sheet.tags[k].seen.corners[c]).value();
      middle = middle + 0.25 * (corners[c] - geometry::CardPoint{0, 0});
    }
    EXPECT_LT(Distance(geometry::CardPoint{0, 0} + middle,
                       sheet.layout.tags[k].centre),
              0.5);
    double side = 0;
    for (std::size_t c = 0; c < 4; ++c) {
      side += Distance(corners[c], corners[(c + 1) % 4]) / 4;
    }
    // Ink spreads on both sides of a square. One px of the photo is 0.6 mm.
    EXPECT_NEAR(side - 2 * fit->print_gain_mm, 25.4, 0.3);
    mean_side += (side - 2 * fit->print_gain_mm) / 6;
  }
  EXPECT_NEAR(mean_side, 25.4, 0.1);
}

}  // namespace
}  // namespace plumbfoot::card
