// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/plane_image.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/core.hpp>
#include <stdexcept>

#include "find/pictures.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::PhotoPoint;

const cv::Size kPhoto(1600, 1200);

TEST(PlaneImage, TurnsPixelsIntoPlacesAndBack) {
  const auto map =
      geometry::NominalMap(LookingAt({100, 100}, 500, kPhoto, 0.2, 0.7, -0.05));
  const card::Layout layout = LCard();
  for (const View view : {View::kSolar, View::kLateral}) {
    for (const auto& window : ExpectedWindows(view, kPhoto, map, &layout)) {
      const PlaneImage image =
          ResampleToPlane(cv::Mat(kPhoto, CV_8UC3), map, window, 64, &layout);
      for (double x = 0; x <= 64; x += 16) {
        for (double y = 0; y <= 64; y += 16) {
          const cv::Point2d back =
              ImageFromCard(image, CardFromImage(image, x, y));
          EXPECT_NEAR(back.x, x, 1e-9);
          EXPECT_NEAR(back.y, y, 1e-9);
        }
      }
      const CardPoint left = CardFromImage(image, 0, 0);
      const CardPoint right = CardFromImage(image, 64, 0);
      EXPECT_NEAR(Distance(left, right), window.side_mm, 1e-9);
    }
  }
}

// A blob is drawn in the photo where the map puts a place of the plane; its
// centroid in the image must be that place again: lens, tilt and reduction.
TEST(PlaneImage, ShowsAPlaceWhereItIs) {
  geometry::Random random(7);
  for (const double distance : {250.0, 420.0, 1100.0}) {
    for (const double k1 : {-0.1, 0.0, 0.08}) {
      SCOPED_TRACE(testing::Message() << distance << " mm, k1 " << k1);
      const CardPoint place{95 + random.Uniform(0, 30),
                            100 + random.Uniform(0, 30)};
      const auto map = geometry::NominalMap(
          LookingAt({110, 110}, distance, kPhoto, 0.22, 0.4, k1));
      const double radius_mm = 6;
      const cv::Mat photo = Draw(
          kPhoto,
          [&](double x, double y) {
            const auto at = map.Apply({x, y});
            const double d = at ? Distance(*at, place) : 1e3;
            return 0.02 + 0.8 * std::exp(-d * d / (2 * radius_mm * radius_mm));
          },
          0.0,
          random);
      const PlaneWindow window =
          ExpectedWindows(View::kSolar, kPhoto, map, nullptr).front();
      const PlaneImage image = ResampleToPlane(photo, map, window, 300);
      double sum = 0;
      double sx = 0;
      double sy = 0;
      for (int y = 0; y < 300; ++y) {
        for (int x = 0; x < 300; ++x) {
          const double v = image.rgb.at<cv::Vec3b>(y, x)[1] - 60.0;
          if (v <= 0) continue;
          sum += v;
          sx += v * (x + 0.5);
          sy += v * (y + 0.5);
        }
      }
      const CardPoint seen = CardFromImage(image, sx / sum, sy / sum);
      EXPECT_LT(Distance(seen, place), 0.05);
    }
  }
}

TEST(PlaneImage, KeepsThePhotosUp) {
  const card::Layout layout = LCard();
  for (double roll = -3; roll <= 3; roll += 0.5) {
    SCOPED_TRACE(roll);
    const auto map = geometry::NominalMap(
        LookingAt({100, 100}, 600, kPhoto, 0.1, roll, 0.0));
    for (const View view : {View::kSolar, View::kLateral}) {
      const PlaneWindow window =
          ExpectedWindows(view, kPhoto, map, &layout).front();
      const PhotoPoint middle = map.Inverse(window.centre);
      const PhotoPoint below = map.Inverse(window.centre + window.down);
      const PhotoPoint beside = map.Inverse(window.centre + window.right);
      EXPECT_GT(below.y - middle.y, std::abs(below.x - middle.x));
      EXPECT_GT(beside.x - middle.x, std::abs(beside.y - middle.y));
    }
  }
}

TEST(PlaneImage, ExpectsTheSoleInTheCardsCorner) {
  const card::Layout layout = LCard();
  const auto map =
      geometry::NominalMap(LookingAt({100, 100}, 600, kPhoto, 0.1, 1.0, 0.0));
  const auto windows = ExpectedWindows(View::kSolar, kPhoto, map, &layout);
  ASSERT_EQ(windows.size(), 1U);
  EXPECT_NEAR(windows[0].centre.x, 48 + 65, 1e-9);
  EXPECT_NEAR(windows[0].centre.y, 48 + 65, 1e-9);
}

TEST(PlaneImage, ExpectsTheSideViewBesideTheCardWhereThePictureIs) {
  const card::Layout layout = LCard();
  // The camera looks at the place where the foot stands: beyond arm A.
  for (const double foot_x : {270.0, -110.0}) {
    SCOPED_TRACE(foot_x);
    const auto map = geometry::NominalMap(
        LookingAt({foot_x, 80}, 700, kPhoto, 0.0, 0.0, 0.0));
    const auto windows = ExpectedWindows(View::kLateral, kPhoto, map, &layout);
    ASSERT_EQ(windows.size(), 2U);
    EXPECT_GT((windows[0].centre.x - 80) * (foot_x - 80), 0);
    const PlaneImage image = ResampleToPlane(
        cv::Mat(kPhoto, CV_8UC3), map, windows[0], 420, &layout);
    // The ground is y = 0 of the card.
    const double ground = ImageFromCard(image, {foot_x, 0}).y;
    EXPECT_NEAR(image.ground_left_px, ground, 1e-6);
    EXPECT_NEAR(image.ground_right_px, ground, 1e-6);
  }
}

TEST(PlaneImage, MarksTheCardAndTheRim) {
  const card::Layout layout = LCard();
  const auto map =
      geometry::NominalMap(LookingAt({160, 110}, 300, kPhoto, 0.0, 0.0, 0.0));
  const PlaneWindow window =
      ExpectedWindows(View::kSolar, kPhoto, map, &layout).front();
  const PlaneImage image = ResampleToPlane(
      cv::Mat(kPhoto, CV_8UC3, cv::Scalar(9, 9, 9)), map, window, 300, &layout);
  const auto at = [&](const cv::Mat& mask, CardPoint p) {
    const cv::Point2d i = ImageFromCard(image, p);
    return static_cast<int>(
        mask.at<unsigned char>(static_cast<int>(i.y), static_cast<int>(i.x)));
  };
  EXPECT_EQ(at(image.card, {24, 24}), 255);
  EXPECT_EQ(at(image.card, {150, 40}), 255);
  EXPECT_EQ(at(image.card, {24, 150}), 255);
  EXPECT_EQ(at(image.card, {60, 60}), 0);
  EXPECT_EQ(at(image.card, {-5, 60}), 0);
  EXPECT_EQ(at(image.known, {160, 110}), 255);
  EXPECT_EQ(at(image.known, {-30, 110}), 0);  // 187 mm left of the middle.
}

// The finest pattern that a photo holds is one that the image can't: it must
// come out as its mean and not as some other pattern.
TEST(PlaneImage, DoesNotAlias) {
  const auto map =
      geometry::NominalMap(LookingAt({110, 110}, 120, kPhoto, 0.0, 0.0, 0.0));
  cv::Mat photo(kPhoto, CV_8UC3);
  for (int y = 0; y < photo.rows; ++y) {
    for (int x = 0; x < photo.cols; ++x) {
      const unsigned char v = (x / 2 + y / 2) % 2 == 0 ? 20 : 220;
      photo.at<cv::Vec3b>(y, x) = {v, v, v};
    }
  }
  PlaneWindow window =
      ExpectedWindows(View::kSolar, kPhoto, map, nullptr).front();
  window.side_mm = 80;
  const PlaneImage image = ResampleToPlane(photo, map, window, 64);
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(image.rgb, mean, deviation);
  EXPECT_NEAR(mean[0], 120, 1);
  EXPECT_LT(deviation[0], 12);
}

TEST(PlaneImage, RefusesAnotherKindOfPicture) {
  const auto map =
      geometry::NominalMap(LookingAt({110, 110}, 500, kPhoto, 0.0, 0.0, 0.0));
  const PlaneWindow window;
  EXPECT_THROW(ResampleToPlane(cv::Mat(kPhoto, CV_8U), map, window),
               std::invalid_argument);
  EXPECT_THROW(ResampleToPlane(cv::Mat(), map, window), std::invalid_argument);
  EXPECT_THROW(ResampleToPlane(cv::Mat(kPhoto, CV_8UC3), map, window, 3),
               std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::find
