// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/lens.h"

#include <fmt/core.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

#include "support/debian_data.h"

namespace plumbfoot::card {
namespace {

using geometry::PhotoPoint;

LensProfile Example() {
  LensProfile profile;
  profile.camera.focal_px = 3100.25;
  profile.camera.principal = {2010.5, 1520.75};
  profile.camera.lens = {0.01, -0.02, 0.0003, -0.0004, 0.005};
  profile.width_px = 4032;
  profile.height_px = 3024;
  profile.focal_sigma_px = 2.5;
  profile.rms_px = 0.31;
  profile.photos_used = 12;
  profile.camera_name = "Some \"phone\" \xff";
  return profile;
}

std::filesystem::path Folder(const std::string& name) {
  auto folder = std::filesystem::path(testing::TempDir()) / name;
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder;
}

RefusalCode CodeOf(const std::string& text) {
  const auto path = Folder("plumbfoot_lens_bad") / "lens.json";
  std::ofstream(path) << text;
  const auto lens = LoadLens(path);
  return lens ? RefusalCode::kUsage : lens.error().code;
}

// Reference: OpenCV's own calibration of these photos, in the file
// left_intrinsics.yml beside them (Debian package opencv-doc; fixed aspect
// ratio, all 13 photos), in OpenCV's frame of pixel centres.
TEST(CalibrateLens, AgreesWithOpenCvsLeftIntrinsics) {
  const std::string folder = "/usr/share/doc/opencv-doc/examples/data/";
  if (!std::filesystem::exists(folder + "left01.jpg")) {
    FAIL() << tests::kNoOpencvDoc;
  }
  std::vector<cv::Mat> photos;
  for (int i = 1; i <= 14; ++i) {
    if (i == 10) continue;  // The set has none.
    cv::Mat photo =
        cv::imread(fmt::format("{}left{:02}.jpg", folder, i), cv::IMREAD_COLOR);
    ASSERT_FALSE(photo.empty());
    cv::cvtColor(photo, photo, cv::COLOR_BGR2RGB);
    photos.push_back(photo);
  }
  const auto profile = CalibrateLens(photos, cv::Size(9, 6), 25.0);
  ASSERT_TRUE(profile.has_value()) << profile.error().message;
  EXPECT_EQ(profile->photos_used, 13);
  EXPECT_EQ(profile->width_px, 640);
  EXPECT_EQ(profile->height_px, 480);
  // The reference holds one bad photo (its error there is 1.18 px) and leaves
  // 0.39 px; corners that are refined in a window that fits the board leave
  // half of that, and differ from it by what the bad photo did.
  EXPECT_LT(profile->rms_px, 0.3926 / 1.5);
  EXPECT_NEAR(profile->camera.focal_px, 535.9157, 0.01 * 535.9157);
  EXPECT_NEAR(profile->camera.principal.x, 342.2832 + 0.5, 2.0);
  EXPECT_NEAR(profile->camera.principal.y, 235.5708 + 0.5, 2.0);
  EXPECT_NEAR(profile->camera.lens.k1, -0.26637, 0.02);
  EXPECT_GT(profile->focal_sigma_px, 0.1);
  EXPECT_LT(profile->focal_sigma_px, 3.0);

  // What it is for: a plane seen through it is measured right. The board's
  // corners, from the four outer ones (200 x 125 mm), on photos in which those
  // four are sharp.
  for (const std::size_t which : {0U, 2U, 3U, 4U, 5U, 9U}) {
    SCOPED_TRACE(which);
    cv::Mat grey;
    cv::cvtColor(photos[which], grey, cv::COLOR_RGB2GRAY);
    std::vector<cv::Point2f> corners;
    ASSERT_TRUE(cv::findChessboardCorners(grey, cv::Size(9, 6), corners));
    cv::cornerSubPix(grey,
                     corners,
                     cv::Size(5, 5),
                     cv::Size(-1, -1),
                     cv::TermCriteria(3, 60, 1e-4));
    std::vector<cv::Point2f> flat;
    for (const cv::Point2f& p : corners) {
      const Eigen::Vector3d ray =
          geometry::RayThrough(profile->camera, {p.x + 0.5, p.y + 0.5});
      flat.emplace_back(static_cast<float>(ray.x()),
                        static_cast<float>(ray.y()));
    }
    const std::vector<cv::Point2f> outer = {
        flat[0], flat[8], flat[53], flat[45]};
    const std::vector<cv::Point2f> places = {
        {0, 0}, {200, 0}, {200, 125}, {0, 125}};
    const cv::Mat h = cv::getPerspectiveTransform(outer, places);
    std::vector<cv::Point2f> mm;
    cv::perspectiveTransform(flat, mm, h);
    double sum = 0;
    for (int i = 0; i < 54; ++i) {
      const auto& m = mm[static_cast<std::size_t>(i)];
      const int down = i / 9;
      sum += std::pow(m.x - static_cast<float>(25 * (i % 9)), 2) +
             std::pow(m.y - static_cast<float>(25 * down), 2);
    }
    // Raw photos miss by 1.9 to 3.5 mm at worst.
    EXPECT_LT(std::sqrt(sum / 54), 0.4);
  }
}

TEST(CalibrateLens, RefusesTooFewPhotos) {
  const std::vector<cv::Mat> blank(
      8, cv::Mat(240, 320, CV_8UC3, cv::Scalar::all(100)));
  const auto profile = CalibrateLens(blank, cv::Size(9, 6), 25.0);
  ASSERT_FALSE(profile.has_value());
  EXPECT_EQ(profile.error().code, RefusalCode::kLensTooFewPhotos);
  EXPECT_FALSE(CalibrateLens({}, cv::Size(9, 6), 25.0).has_value());
}

TEST(SaveLens, ComesBackAsItWas) {
  const auto path = Folder("plumbfoot_lens") / "lens.json";
  LensProfile profile = Example();
  ASSERT_TRUE(SaveLens(profile, path).has_value());
  const auto back = LoadLens(path);
  ASSERT_TRUE(back.has_value()) << back.error().message;
  EXPECT_EQ(back->camera.focal_px, profile.camera.focal_px);
  EXPECT_EQ(back->camera.principal, profile.camera.principal);
  EXPECT_EQ(back->camera.lens.k1, profile.camera.lens.k1);
  EXPECT_EQ(back->camera.lens.k2, profile.camera.lens.k2);
  EXPECT_EQ(back->camera.lens.p1, profile.camera.lens.p1);
  EXPECT_EQ(back->camera.lens.p2, profile.camera.lens.p2);
  EXPECT_EQ(back->camera.lens.k3, profile.camera.lens.k3);
  EXPECT_EQ(back->width_px, profile.width_px);
  EXPECT_EQ(back->height_px, profile.height_px);
  EXPECT_EQ(back->focal_sigma_px, profile.focal_sigma_px);
  EXPECT_EQ(back->rms_px, profile.rms_px);
  EXPECT_EQ(back->photos_used, profile.photos_used);
  EXPECT_EQ(back->camera_name.substr(0, 12), "Some \"phone\"");
}

TEST(SaveLens, LeavesNothingBehindWhereItCannotWrite) {
  const auto refused = SaveLens(Example(), "/nowhere/lens.json");
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().code, RefusalCode::kCannotWrite);
  // A folder stands where the file should be: the rename fails.
  const auto folder = Folder("plumbfoot_lens_taken");
  std::filesystem::create_directories(folder / "lens.json" / "inside");
  EXPECT_FALSE(SaveLens(Example(), folder / "lens.json").has_value());
  int entries = 0;
  for ([[maybe_unused]] const auto& entry :
       std::filesystem::directory_iterator(folder)) {
    ++entries;
  }
  EXPECT_EQ(entries, 1);
}

TEST(LoadLens, RefusesBadFiles) {
  EXPECT_EQ(LoadLens("/nowhere/lens.json").error().code,
            RefusalCode::kFileMissing);
  EXPECT_EQ(CodeOf("nonsense"), RefusalCode::kNotJson);
  EXPECT_EQ(CodeOf("{}"), RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-lens", "version": 9})"),
            RefusalCode::kVersionUnknown);
  const std::string head = R"({"format": "plumbfoot-lens", "version": 1)";
  EXPECT_EQ(CodeOf(head + "}"), RefusalCode::kBadNumber);
  EXPECT_EQ(CodeOf(head + R"(, "width_px": 4, "height_px": 3, "focal_px": -1,
                            "focal_sigma_px": 1})"),
            RefusalCode::kBadNumber);
  EXPECT_EQ(CodeOf(head + R"(, "width_px": 4, "height_px": 3, "focal_px": 5,
                            "focal_sigma_px": 1, "principal_px": [1, 2],
                            "distortion": {"k1": 0, "k2": "x"}})"),
            RefusalCode::kBadNumber);
}

TEST(CameraFor, FollowsTheSizeOfThePhoto) {
  const LensProfile profile = Example();
  const auto same = CameraFor(profile, {4032, 3024});
  ASSERT_TRUE(same.has_value());
  EXPECT_EQ(same->focal_px, profile.camera.focal_px);
  const auto half = CameraFor(profile, {2016, 1512});
  ASSERT_TRUE(half.has_value());
  EXPECT_NEAR(half->focal_px, profile.camera.focal_px / 2, 1e-9);
  EXPECT_NEAR(half->principal.x, profile.camera.principal.x / 2, 1e-9);
  EXPECT_EQ(half->lens.k1, profile.camera.lens.k1);
  EXPECT_FALSE(CameraFor(profile, {4032, 2268}).has_value());  // 16 : 9
  EXPECT_FALSE(CameraFor(profile, {0, 0}).has_value());
}

// Property: a picture turned by a quarter is seen by the turned camera.
TEST(CameraFor, TurnsWithThePhoto) {
  const LensProfile profile = Example();
  const auto turned = CameraFor(profile, {3024, 4032});
  ASSERT_TRUE(turned.has_value());
  for (const Eigen::Vector3d& at :
       {Eigen::Vector3d(0.3, -0.2, 1), Eigen::Vector3d(-0.4, 0.35, 1)}) {
    const PhotoPoint flat = Project(profile.camera, at);
    const PhotoPoint upright =
        Project(*turned, Eigen::Vector3d(-at.y(), at.x(), at.z()));
    EXPECT_NEAR(upright.x, profile.height_px - flat.y, 1e-9);
    EXPECT_NEAR(upright.y, flat.x, 1e-9);
  }
}

}  // namespace
}  // namespace plumbfoot::card
