// SPDX-License-Identifier: Apache-2.0
#include "find/edges.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <stdexcept>
#include <vector>

#include "find/pictures.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

struct Misses {
  double mean = 0.0;
  double rms = 0.0;
  double within_two_sigma = 0.0;
};

template <typename Miss>
Misses Compare(const EdgeCurve& edge, const Miss& miss) {
  Misses m;
  for (const PhotoPoint p : edge.px) {
    const double d = miss(p);
    m.mean += d;
    m.rms += d * d;
    if (std::abs(d) < 2 * edge.sigma_px) m.within_two_sigma += 1;
  }
  const auto n = static_cast<double>(edge.px.size());
  m.mean /= n;
  m.rms = std::sqrt(m.rms / n);
  m.within_two_sigma /= n;
  return m;
}

// Property: whatever the direction, the place within the pixel, blur and noise,
// a straight edge comes out where it is.
TEST(FollowEdge, FindsALineWithoutBias) {
  geometry::Random random(11);
  for (const double blur : {0.6, 1.2, 2.5}) {
    for (const double noise : {0.0, 0.01, 0.02}) {
      double bias = 0.0;
      constexpr int kRuns = 6;
      for (int k = 0; k < kRuns; ++k) {
        const double angle = random.Uniform(0, 2 * std::numbers::pi);
        const PhotoVector normal{std::cos(angle), std::sin(angle)};
        const PhotoVector along = Perpendicular(normal);
        const PhotoPoint on{150 + random.Uniform(), 150 + random.Uniform()};
        SCOPED_TRACE(testing::Message() << "blur " << blur << " noise " << noise
                                        << " angle " << angle);
        const cv::Mat photo = Draw(
            {300, 300},
            [&](double x, double y) {
              return BlurredEdge(Dot(PhotoPoint{x, y} - on, normal), blur);
            },
            noise,
            random);
        // The coarse line is some pixels off and turned.
        const PhotoPolyline coarse{on - 100 * along + 4 * normal,
                                   on + 100 * along - 3 * normal};
        EdgeOptions options;
        options.smooth_px = 40;
        const auto edge = FollowEdge(photo, coarse, options);
        ASSERT_TRUE(edge);
        const Misses m =
            Compare(*edge, [&](PhotoPoint p) { return Dot(p - on, normal); });
        bias += m.mean / kRuns;
        // One line alone: bias, and what the noise leaves over its length.
        EXPECT_LT(std::abs(m.mean), noise < 0.015 ? 0.05 : 0.1);
        EXPECT_GE(m.within_two_sigma, 0.9);
        EXPECT_LT(edge->sigma_px, 0.6);
        EXPECT_GT(edge->seen, 0.95);
        if (noise == 0.0) {
          EXPECT_NEAR(edge->blur_px, blur, 0.35);
        }
      }
      EXPECT_LT(std::abs(bias), 0.03) << "blur " << blur << " noise " << noise;
    }
  }
}

TEST(FollowEdge, FindsAnEllipseWithoutBias) {
  geometry::Random random(12);
  for (const double blur : {0.7, 1.5, 2.5}) {
    for (const double noise : {0.0, 0.015}) {
      SCOPED_TRACE(testing::Message() << "blur " << blur << " noise " << noise);
      const double a = 160;
      const double b = 120;
      const PhotoPoint c{220.3, 190.7};
      // Distance to an ellipse to first order: f / |grad f|; right to
      // f^2 / R, which is far below the tolerance this near the edge.
      const auto miss = [&](PhotoPoint p) {
        const double x = p.x - c.x;
        const double y = p.y - c.y;
        const double r = std::hypot(x / a, y / b);
        const double grad = std::hypot(x / (a * a), y / (b * b)) / r;
        return (r - 1) / grad;
      };
      const cv::Mat photo = Draw(
          {440, 380},
          [&](double x, double y) {
            return BlurredEdge(miss({x, y}), blur);
          },
          noise,
          random);
      PhotoPolyline coarse;
      for (int i = 0; i < 48; ++i) {
        const double t = 2 * std::numbers::pi * i / 48;
        coarse.push_back(
            {c.x + 2 + (a + 3) * std::cos(t), c.y - 1 + (b - 2) * std::sin(t)});
      }
      EdgeOptions options;
      options.closed = true;
      const auto edge = FollowEdge(photo, coarse, options);
      ASSERT_TRUE(edge);
      const Misses m = Compare(*edge, miss);
      EXPECT_LT(std::abs(m.mean), 0.05);
      EXPECT_LT(m.rms, 0.3);
      EXPECT_GE(m.within_two_sigma, 0.9);
      EXPECT_GT(edge->seen, 0.95);
    }
  }
}

TEST(FollowEdge, TakesTheNearerOfTwoEdges) {
  geometry::Random random(13);
  // An edge at 100 and a stronger one at 118.
  const cv::Mat photo = Draw(
      {220, 200},
      [&](double x, double) {
        return BlurredEdge(x - 100, 1) + 1.6 * BlurredEdge(x - 118, 1);
      },
      0.005,
      random);
  EdgeOptions options;
  options.reach_px = 20;
  const auto edge = FollowEdge(photo, {{102, 20}, {99, 180}}, options);
  ASSERT_TRUE(edge);
  for (const PhotoPoint p : edge->px) EXPECT_NEAR(p.x, 100, 0.5);
}

TEST(FollowEdge, BridgesAGap) {
  geometry::Random random(14);
  const cv::Mat photo = Draw(
      {200, 300},
      [&](double x, double y) {
        return y > 120 && y < 160 ? 0.2 : BlurredEdge(x - 100, 1);
      },
      0.003,
      random);
  const auto edge = FollowEdge(photo, {{103, 20}, {98, 280}}, {});
  ASSERT_TRUE(edge);
  EXPECT_LT(edge->seen, 1.0);
  for (const PhotoPoint p : edge->px) {
    if (p.y < 110 || p.y > 170) {
      EXPECT_NEAR(p.x, 100, 0.3);
    }
  }
}

TEST(FollowEdge, SeesNothingOnAPlainWall) {
  geometry::Random random(15);
  const cv::Mat flat(200, 200, CV_8UC3, cv::Scalar(90, 120, 100));
  EXPECT_FALSE(FollowEdge(flat, {{50, 50}, {150, 150}}, {}));
}

TEST(FollowEdge, SaysThatNoiseIsUnsure) {
  geometry::Random random(16);
  const cv::Mat photo = Draw(
      {300, 300}, [](double, double) { return 0.2; }, 0.03, random);
  const auto edge = FollowEdge(photo, {{50, 150}, {250, 150}}, {});
  if (edge) {
    EXPECT_LT(edge->seen, 0.9);
  }
}

TEST(FollowEdge, RefusesBadArguments) {
  const cv::Mat photo(50, 50, CV_8UC3);
  EXPECT_THROW((void)FollowEdge(cv::Mat(), {{1, 1}, {2, 2}}, {}),
               std::invalid_argument);
  EXPECT_THROW((void)FollowEdge(photo, {{1, 1}}, {}), std::invalid_argument);
  EXPECT_FALSE(FollowEdge(photo, {{1, 1}, {1, 1}}, {}));
}

TEST(NearestOn, FindsTheFootOfAPoint) {
  const PhotoPolyline square{{0, 0}, {10, 0}, {10, 10}, {0, 10}};
  const OnCurve closed = NearestOn(square, true, {-2, 4});
  EXPECT_EQ(closed.px, (PhotoPoint{0, 4}));
  EXPECT_EQ(closed.distance_px, 2);
  EXPECT_NEAR(std::abs(closed.direction.y), 1, 1e-12);
  EXPECT_EQ(NearestOn(square, false, {-2, 4}).px, (PhotoPoint{0, 0}));
}

}  // namespace
}  // namespace plumbfoot::find
