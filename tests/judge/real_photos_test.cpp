// SPDX-License-Identifier: Apache-2.0
//
// The thresholds of light and blur against photographs that others took
// (Debian's packages opencv-doc and visp-images-data), as they are and spoilt.

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>
#include <string>
#include <vector>

#include "plumbfoot/card/find_card.h"
#include "plumbfoot/judge/judge_photo.h"
#include "plumbfoot/photo/exposure.h"
#include "support/debian_data.h"

namespace plumbfoot::judge {
namespace {

namespace fs = std::filesystem;

const fs::path kDoc = "/usr/share/doc/opencv-doc";
const fs::path kViSP = "/usr/share/visp-images-data/ViSP-images";

bool Absent() {
  return !fs::exists(kDoc) || !fs::exists(kViSP);
}

/// IEC 61966-2-1, both ways.
double ToLinear(double s) {
  return s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
}
double FromLinear(double v) {
  return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
}

/// Photographs of things in daylight and indoors, which nobody would call
/// badly exposed.
std::vector<cv::Mat> WellExposed() {
  std::vector<cv::Mat> photos;
  for (const char* name : {"leuvenA.jpg",
                           "graf1.png",
                           "fruits.jpg",
                           "home.jpg",
                           "baboon.jpg",
                           "building.jpg",
                           "messi5.jpg",
                           "stuff.jpg",
                           "left01.jpg",
                           "left03.jpg",
                           "butterfly.jpg",
                           "aero1.jpg",
                           "squirrel_cls.jpg"}) {
    photos.push_back(cv::imread((kDoc / "examples/data" / name).string()));
  }
  for (const char* name :
       {"singlemarkersoriginal.jpg", "choriginal.jpg", "gboriginal.png"}) {
    photos.push_back(cv::imread((kDoc / "opencv4/html" / name).string()));
  }
  photos.push_back(cv::imread((kViSP / "AprilTag/AprilTag.pgm").string()));
  for (cv::Mat& photo : photos) {
    EXPECT_FALSE(photo.empty());
    cv::cvtColor(photo, photo, cv::COLOR_BGR2RGB);
  }
  return photos;
}

/// The same with 2^stops as much light.
cv::Mat Exposed(const cv::Mat& photo, double stops) {
  cv::Mat curve(1, 256, CV_8U);
  for (int i = 0; i < 256; ++i) {
    const double light = std::min(1.0, ToLinear(i / 255.0) * std::exp2(stops));
    curve.at<unsigned char>(i) =
        cv::saturate_cast<unsigned char>(255 * FromLinear(light));
  }
  cv::Mat out;
  cv::LUT(photo, curve, out);
  return out;
}

/// The worst that is said of its light.
Grade OfLight(const cv::Mat& photo) {
  const photo::Exposure exposure = photo::MeasureExposure(photo);
  PhotoFacts facts;
  facts.card_wanted = false;
  facts.mean_luma = exposure.mean;
  facts.burnt = exposure.burnt;
  facts.drowned = exposure.drowned;
  Grade worst = Grade::kGood;
  for (const Reason& reason : JudgePhoto(facts).reasons) {
    const std::set<std::string> light = {"dark", "bright", "burnt", "drowned"};
    if (light.count(reason.code)) worst = std::max(worst, reason.grade);
  }
  return worst;
}

int CountOf(const std::vector<cv::Mat>& photos, double stops, Grade least) {
  return static_cast<int>(
      std::count_if(photos.begin(), photos.end(), [&](const cv::Mat& photo) {
        return OfLight(Exposed(photo, stops)) >= least;
      }));
}

// Their mean luma is 83 to 173, at most 3 % of one is burnt out and 5 %
// drowned.
TEST(JudgePhoto, KnowsRealPhotosFromTheirOwnBadlyExposedCopies) {
  if (Absent()) {
    FAIL() << tests::kNoOpencvDoc << "; or " << tests::kNoVispData;
  }
  const auto photos = WellExposed();
  const int all = static_cast<int>(photos.size());
  EXPECT_EQ(CountOf(photos, 0, Grade::kUsable), 0);
  // A stop less is still nothing to complain of; a stop more burns the white
  // paper and sky of some.
  EXPECT_EQ(CountOf(photos, -1, Grade::kUsable), 0);
  EXPECT_EQ(CountOf(photos, 1, Grade::kRetake), 0);
  for (const double stops : {-4, 4}) {
    EXPECT_EQ(CountOf(photos, stops, Grade::kUsable), all) << stops;
  }
  for (const double stops : {-6, 6}) {
    EXPECT_EQ(CountOf(photos, stops, Grade::kRetake), all) << stops;
  }
}

/// Blurred in light, as a lens does it.
cv::Mat Blurred(const cv::Mat& photo, double sigma) {
  cv::Mat light(photo.size(), CV_32FC3);
  for (int y = 0; y < photo.rows; ++y) {
    for (int x = 0; x < photo.cols; ++x) {
      for (int k = 0; k < 3; ++k) {
        light.at<cv::Vec3f>(y, x)[k] =
            static_cast<float>(ToLinear(photo.at<cv::Vec3b>(y, x)[k] / 255.0));
      }
    }
  }
  cv::GaussianBlur(light, light, {}, sigma);
  cv::Mat out(photo.size(), CV_8UC3);
  for (int y = 0; y < photo.rows; ++y) {
    for (int x = 0; x < photo.cols; ++x) {
      for (int k = 0; k < 3; ++k) {
        out.at<cv::Vec3b>(y, x)[k] = cv::saturate_cast<unsigned char>(
            255 *
            FromLinear(static_cast<double>(light.at<cv::Vec3f>(y, x)[k])));
      }
    }
  }
  return out;
}

/// What is said of the blur of a photo with this card in it.
Grade OfBlur(const card::SeenCard& card) {
  PhotoFacts facts;
  facts.scale = geometry::ScaleSource::kCard;
  facts.blur_px = card.blur_px;
  facts.px_per_mm = card.px_per_mm;
  Grade worst = Grade::kGood;
  for (const Reason& reason : JudgePhoto(facts).reasons) {
    if (reason.code == "blurred") worst = reason.grade;
  }
  return worst;
}

// Each of its tags is taken for a card of its own; a pixel is about a
// millimetre. Tag 18's corners don't lie as a square's (the photo was resampled
// without interpolation), and it is refused.
TEST(JudgePhoto, KnowsARealPhotoFromItsOwnBlurredCopies) {
  if (Absent()) {
    FAIL() << tests::kNoOpencvDoc << "; or " << tests::kNoVispData;
  }
  const cv::Mat photo = cv::imread((kViSP / "AprilTag/AprilTag.pgm").string());
  const cv::Mat soft = Blurred(photo, 1.0);
  const cv::Mat softer = Blurred(photo, 2.0);
  int read = 0;
  for (int id = 8; id <= 19; ++id) {
    SCOPED_TRACE(id);
    card::CardOptions options;
    options.layout.tags = {{id, {0, 0}, 53.0}};
    const auto sharp = card::FindCard(photo, options);
    EXPECT_EQ(sharp.has_value(), id != 18);
    if (!sharp) continue;
    EXPECT_EQ(OfBlur(*sharp), Grade::kGood);
    const auto once = card::FindCard(soft, options);
    ASSERT_TRUE(once.has_value());
    EXPECT_NEAR(once->blur_px, std::hypot(sharp->blur_px, 1.0), 0.1);
    EXPECT_GE(OfBlur(*once), Grade::kUsable);
    // The farthest, of 40 px, can't be read any more.
    const auto twice = card::FindCard(softer, options);
    if (!twice) continue;
    ++read;
    EXPECT_NEAR(twice->blur_px, std::hypot(sharp->blur_px, 2.0), 0.1);
    EXPECT_EQ(OfBlur(*twice), Grade::kRetake);
  }
  EXPECT_EQ(read, 10);
}

}  // namespace
}  // namespace plumbfoot::judge
