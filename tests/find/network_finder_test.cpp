// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <utility>
#include <vector>

#include "find/network.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::find {
namespace {

constexpr int kSide = 96;

/// A picture by a formula that is as short in Python.
cv::Mat Pattern() {
  cv::Mat rgb(kSide, kSide, CV_8UC3);
  for (int y = 0; y < kSide; ++y) {
    for (int x = 0; x < kSide; ++x) {
      for (int k = 0; k < 3; ++k) {
        rgb.at<cv::Vec3b>(y, x)[k] =
            static_cast<unsigned char>((3 * x + 5 * y + 40 * k) % 256);
      }
    }
  }
  return rgb;
}

struct Logit {
  int channel, row, column;
  double value;
};

// Reference: the same weights in PyTorch 1.13 on the same picture, card in the
// upper 24 rows, nothing known in the last 6 columns.
TEST(AskNetwork, AnswersAsPyTorchDoes) {
  cv::dnn::Net network = LoadNetwork();
  cv::Mat known(kSide, kSide, CV_8U, cv::Scalar(255));
  known.colRange(kSide - 6, kSide).setTo(0);
  cv::Mat card(kSide, kSide, CV_8U, cv::Scalar(0));
  card.rowRange(0, 24).setTo(255);
  struct Case {
    View view;
    double foot_logit;
    std::vector<Logit> logits;
  };
  const std::vector<Case> cases = {
      {View::kSolar,
       -2.861135,
       {{0, 5, 7, -18.49362},
        {3, 20, 30, -17.32479},
        {9, 40, 11, -20.17694},
        {12, 24, 24, -13.51208},
        {16, 3, 40, 7.84224},
        {17, 47, 47, -14.37748}}},
      {View::kLateral,
       -4.223242,
       {{0, 5, 7, -16.34474},
        {3, 20, 30, -16.63557},
        {9, 40, 11, -17.24986},
        {12, 24, 24, -15.47706},
        {16, 3, 40, 7.14332},
        {17, 47, 47, -14.64127}}},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(geometry::ViewName(c.view));
    const NetworkAnswer answer =
        AskNetwork(network, c.view, Pattern(), known, card);
    EXPECT_NEAR(std::log(answer.foot / (1 - answer.foot)), c.foot_logit, 1e-4);
    for (const Logit& l : c.logits) {
      const auto k = static_cast<std::size_t>(l.channel);
      const cv::Mat& map = k < answer.points.size()
                               ? answer.points[k]
                               : answer.masks[k - answer.points.size()];
      EXPECT_NEAR(map.at<float>(l.row, l.column), l.value, 1e-4) << l.channel;
    }
  }
}

TEST(ReadPoint, FindsTheMiddleOfABell) {
  for (const double sigma : {0.6, 1.0, 1.6}) {
    for (const double where : {17.5, 17.8, 18.25}) {
      SCOPED_TRACE(testing::Message() << sigma << " at " << where);
      cv::Mat map(48, 64, CV_32F);
      for (int y = 0; y < map.rows; ++y) {
        for (int x = 0; x < map.cols; ++x) {
          const double dx = x + 0.5 - where;
          const double dy = y + 0.5 - 30.0;
          map.at<float>(y, x) = static_cast<float>(
              20 - (dx * dx + dy * dy) / (2 * sigma * sigma));
        }
      }
      const PointReading reading = ReadPoint(map, 0.5);
      // Two pixels to a cell.
      EXPECT_NEAR(reading.at.x, 2 * where, 0.02);
      EXPECT_NEAR(reading.at.y, 60.0, 0.02);
      EXPECT_NEAR(std::sqrt(reading.spread(0, 0)), 2 * sigma, 0.02);
      EXPECT_NEAR(std::sqrt(reading.spread(1, 1)), 2 * sigma, 0.02);
      EXPECT_NEAR(reading.spread(0, 1), 0, 0.02);
      // What of a bell lies within 5 mm: 5 cells, at half a millimetre a pixel.
      EXPECT_NEAR(
          reading.likelihood, 1 - std::exp(-12.5 / (sigma * sigma)), 2e-3);
    }
  }
}

// Of two bells, one three times as high as the other, the higher one first.
TEST(ReadSecond, FindsTheLesserBell) {
  constexpr double kSigma = 1.5;
  cv::Mat map(48, 64, CV_32F);
  for (int y = 0; y < map.rows; ++y) {
    for (int x = 0; x < map.cols; ++x) {
      const auto bell = [&](double at_x, double at_y) {
        const double far = std::hypot(x + 0.5 - at_x, y + 0.5 - at_y);
        return std::exp(20 - far * far / (2 * kSigma * kSigma));
      };
      map.at<float>(y, x) =
          static_cast<float>(std::log(3 * bell(20, 18) + bell(44, 30)));
    }
  }
  const PointReading first = ReadPoint(map, 0.5);
  EXPECT_NEAR(first.at.x, 40, 0.05);
  EXPECT_NEAR(first.likelihood, 0.75, 0.01);
  const PointReading second = ReadSecond(map, first, 0.5);
  EXPECT_NEAR(second.at.x, 88, 0.05);
  EXPECT_NEAR(second.at.y, 60, 0.05);
  EXPECT_NEAR(second.likelihood, 0.25, 0.01);
}

// Reference: read_points in src/find/training/network.py on the same map, a
// bell that slides along its length and a smaller one beside it.
TEST(ReadPoint, ReadsAsTheTrainingDoes) {
  cv::Mat map(48, 64, CV_32F);
  for (int y = 0; y < map.rows; ++y) {
    for (int x = 0; x < map.cols; ++x) {
      const double u = (x + 0.5 - 20.3) / 4;
      const double v = (y + 0.5 - 17.8) / 1.2;
      const double far = std::hypot(x + 0.5 - 44, y + 0.5 - 30);
      map.at<float>(y, x) = static_cast<float>(std::log(
          std::exp(-8.0) + std::exp(9 - 0.5 * (u * u + v * v - 0.6 * u * v)) +
          std::exp(7 - far * far / 8)));
    }
  }
  struct Case {
    double mm_per_px, x, y, likelihood, xx, xy, yy;
  };
  for (const Case& c :
       {Case{0.4, 40.63102, 35.60333, 0.770158, 68.1889, 6.11974, 6.30733},
        Case{0.55, 40.71547, 35.61211, 0.631344, 57.6838, 5.09786, 6.19041},
        Case{2.0, 40.94143, 35.44517, 0.126099, 6.86054, 0.31714, 3.81772}}) {
    SCOPED_TRACE(c.mm_per_px);
    const PointReading reading = ReadPoint(map, c.mm_per_px);
    EXPECT_NEAR(reading.at.x, c.x, 1e-3);
    EXPECT_NEAR(reading.at.y, c.y, 1e-3);
    EXPECT_NEAR(reading.likelihood, c.likelihood, 1e-4);
    EXPECT_NEAR(reading.spread(0, 0), c.xx, 1e-2);
    EXPECT_NEAR(reading.spread(0, 1), c.xy, 1e-2);
    EXPECT_NEAR(reading.spread(1, 1), c.yy, 1e-2);
  }
}

TEST(ReadPoint, HalvesTheLikelihoodBetweenTwoPlaces) {
  cv::Mat map(64, 64, CV_32F, cv::Scalar(-30));
  map.at<float>(10, 10) = 12;
  map.at<float>(50, 50) = 12;
  EXPECT_NEAR(ReadPoint(map, 0.5).likelihood, 0.5, 1e-4);
}

TEST(LikelihoodAt, IsWhatADiscOfFiveMillimetresHolds) {
  cv::Mat map(64, 64, CV_32F, cv::Scalar(-30));
  // Two cells and "not seen": a half, a quarter, a quarter.
  map.at<float>(10, 12) = static_cast<float>(std::log(2.0));
  map.at<float>(50, 40) = 0.0F;
  const PointReading reading = ReadPoint(map, 0.5);
  EXPECT_NEAR(LikelihoodAt(map, reading.at, 0.5), reading.likelihood, 1e-9);
  EXPECT_NEAR(LikelihoodAt(map, {25, 21}, 0.5), 0.5, 1e-6);
  // At half a millimetre a pixel and two pixels a cell, 4 mm are 4 cells.
  EXPECT_NEAR(LikelihoodAt(map, {25 + 8, 21}, 0.5), 0.5, 1e-6);
  EXPECT_NEAR(LikelihoodAt(map, {25 + 12, 21}, 0.5), 0.0, 1e-6);
  EXPECT_NEAR(LikelihoodAt(map, {81, 101}, 0.5), 0.25, 1e-6);
  // Beyond the map.
  EXPECT_EQ(LikelihoodAt(map, {-200, 500}, 0.5), 0.0);
}

TEST(ReadPoint, SaysWhenNothingIsSeen) {
  const cv::Mat map(64, 64, CV_32F, cv::Scalar(-20));
  EXPECT_LT(ReadPoint(map, 0.5).likelihood, 1e-3);
}

PlaneImage Picture(cv::Mat rgb) {
  PlaneImage image;
  image.known = cv::Mat(rgb.size(), CV_8U, cv::Scalar(255));
  image.card = cv::Mat(rgb.size(), CV_8U, cv::Scalar(0));
  image.rgb = std::move(rgb);
  return image;
}

TEST(NetworkFinder, SeesNoFootInPlainAndNoisyPictures) {
  const Finder finder = NetworkFinder();
  geometry::Random random(11);
  cv::Mat noise(512, 512, CV_8UC3);
  for (int y = 0; y < noise.rows; ++y) {
    for (int x = 0; x < noise.cols; ++x) {
      for (int k = 0; k < 3; ++k) {
        noise.at<cv::Vec3b>(y, x)[k] = static_cast<unsigned char>(
            std::lround(std::clamp(128 + 40 * random.Normal(), 0.0, 255.0)));
      }
    }
  }
  const cv::Mat plain(512, 512, CV_8UC3, cv::Scalar(150, 140, 120));
  for (const View view : {View::kSolar, View::kLateral}) {
    for (const cv::Mat& rgb : {noise, plain}) {
      EXPECT_LT(finder(view, Picture(rgb), Looks::kThorough).foot_confidence,
                kLeastConfidence);
    }
  }
}

TEST(NetworkFinder, AnswersTheSameAgain) {
  const Finder finder = NetworkFinder();
  cv::Mat rgb;
  cv::resize(Pattern(), rgb, {512, 512});
  const Sightings a = finder(View::kSolar, Picture(rgb), Looks::kThorough);
  const Sightings b = finder(View::kSolar, Picture(rgb), Looks::kThorough);
  EXPECT_EQ(a.foot_confidence, b.foot_confidence);
  EXPECT_EQ(a.outline.size(), b.outline.size());
}

TEST(NetworkFinder, RefusesAPictureThatIsNotSquare) {
  const Finder finder = NetworkFinder();
  EXPECT_THROW((void)finder(View::kSolar,
                            Picture(cv::Mat(300, 200, CV_8UC3, cv::Scalar())),
                            Looks::kThorough),
               std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::find
