// SPDX-License-Identifier: Apache-2.0
// What overlay and time chart draw, looked at through OpenCV's
// eyes.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <vector>

#include "plumbfoot/draw/overlay.h"
#include "plumbfoot/draw/time_chart.h"

namespace plumbfoot::draw {
namespace {

cv::Mat Opened(const std::string& png) {
  const std::vector<unsigned char> bytes(png.begin(), png.end());
  return cv::imdecode(bytes, cv::IMREAD_COLOR);
}

geometry::FootPolyline Circle(double radius, double forward) {
  geometry::FootPolyline circle;
  for (int i = 0; i < 180; ++i) {
    const double angle = std::numbers::pi * i / 90;
    circle.push_back(
        {forward + radius * std::cos(angle), radius * std::sin(angle)});
  }
  return circle;
}

/// How many pixels are nearer to a colour of the shading than to grey.
int Coloured(const cv::Mat& picture, int more, int less) {
  int count = 0;
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      const auto& p = picture.at<cv::Vec3b>(y, x);
      if (p[more] > p[less] + 20) ++count;
    }
  }
  return count;
}

Overlay Rings(double before, double after) {
  Overlay overlay;
  overlay.title = "A foot";
  OverlayPanel panel;
  panel.toe_up = true;
  panel.before.region = Circle(before, 0);
  panel.after.region = Circle(after, 0);
  overlay.panels = {panel};
  return overlay;
}

constexpr int kBlueChannel = 0;
constexpr int kGreenChannel = 1;
constexpr int kRedChannel = 2;

// Vermilion where something was taken away, bluish green where something came
// on, and neither where nothing changed.
TEST(Overlay, ShadesWhatWasTakenAwayAndWhatCameOn) {
  const cv::Mat smaller = Opened(OverlayPng(Rings(60, 52)));
  const cv::Mat larger = Opened(OverlayPng(Rings(52, 60)));
  const cv::Mat same = Opened(OverlayPng(Rings(60, 60)));
  ASSERT_FALSE(smaller.empty());
  const int lost = Coloured(smaller, kRedChannel, kBlueChannel);
  const int gained = Coloured(larger, kGreenChannel, kRedChannel);
  EXPECT_GT(lost, 10000);
  EXPECT_GT(gained, 10000);
  EXPECT_LT(Coloured(same, kRedChannel, kBlueChannel), lost / 20);
  EXPECT_LT(Coloured(same, kGreenChannel, kRedChannel), gained / 5);
}

TEST(Overlay, IsAsWideAsALetter) {
  EXPECT_EQ(Opened(OverlayPng(Rings(60, 52), 100)).cols,
            static_cast<int>(std::lround(180 / 25.4 * 100)));
  const std::string svg = OverlaySvg(Rings(60, 52));
  EXPECT_NE(svg.find("width=\"180mm\""), std::string::npos);
}

TEST(Overlay, SaysWhyNothingIsDrawn) {
  Overlay overlay;
  overlay.title = "A foot";
  OverlayPanel panel;
  panel.nothing = "Not drawn: no scale.";
  overlay.panels = {panel, panel};
  EXPECT_FALSE(Opened(OverlayPng(overlay, 60)).empty());
}

TEST(TimeChart, DrawsAPageOfPlots) {
  TimeChart chart;
  chart.title = "Juno";
  for (int p = 0; p < 7; ++p) {
    TimePanel panel;
    panel.title = "Toe angle";
    for (int i = 0; i < 6; ++i) {
      panel.points.push_back(
          {42.0 * i, 50.0 + i, 49.0 + i, 51.0 + i, TimeMark::kAfter});
    }
    panel.target = 55;
    panel.facts = "one\ntwo";
    chart.panels.push_back(panel);
  }
  for (int i = 0; i < 6; ++i) {
    chart.visits.push_back({42.0 * i, std::to_string(i + 1), "trimmed"});
  }
  const cv::Mat picture = Opened(TimeChartPng(chart, 100));
  ASSERT_FALSE(picture.empty());
  EXPECT_GT(Coloured(picture, kRedChannel, kBlueChannel), 500);
  EXPECT_GT(Coloured(picture, kGreenChannel, kRedChannel), 100);
  // More plots, more page.
  chart.panels.resize(3);
  EXPECT_LT(Opened(TimeChartPng(chart, 100)).rows, picture.rows);
}

// One visit, no visit, no spread at all, one value only: nothing divides by
// nothing.
TEST(TimeChart, DrawsWhatIsHardlyThere) {
  TimeChart chart;
  chart.title = "Nobody";
  EXPECT_FALSE(Opened(TimeChartPng(chart, 60)).empty());
  TimePanel panel;
  panel.points = {{100, 50, 50, 50, TimeMark::kOther, true}};
  chart.panels = {panel, {}};
  EXPECT_FALSE(Opened(TimeChartPng(chart, 60)).empty());
}

}  // namespace
}  // namespace plumbfoot::draw
