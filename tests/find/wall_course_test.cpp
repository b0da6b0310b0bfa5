// SPDX-License-Identifier: Apache-2.0
#include "find/wall_course.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "find/edges.h"
#include "find/pictures.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

constexpr double kPxPerMm = 5.0;
constexpr double kLengthMm = 80.0;
const cv::Size kPhoto(560, 520);
const PhotoPoint kTop{150, 100};
const PhotoVector kDown{std::cos(50 * std::numbers::pi / 180),
                        std::sin(50 * std::numbers::pi / 180)};
/// Away from the horn, which is below and to the left.
const PhotoVector kOut{kDown.y, -kDown.x};

/// A place as millimetres down the wall and out of its straight line.
struct OnWall {
  double down;
  double out;
};
OnWall At(PhotoPoint p) {
  return {Dot(p - kTop, kDown) / kPxPerMm, Dot(p - kTop, kOut) / kPxPerMm};
}

/// How far a wall with this flare at the ground stands out.
double Flared(double down, double flare_mm) {
  const double u = std::max(0.0, (down / kLengthMm - 0.6) / 0.4);
  return flare_mm * u * u;
}

/// From 0 to 1 over a step of a sharp photo's blur.
double Step(double mm) {
  return 0.5 * std::erfc(-mm * kPxPerMm / (1.1 * std::numbers::sqrt2));
}

/// As a finder sees it: so far out of the wall at the top and at the ground,
/// with this flare.
PhotoPolyline Seen(double top_mm, double ground_mm, double flare_mm = 0.0) {
  PhotoPolyline seen;
  for (int i = 0; i <= 32; ++i) {
    const double t = i / 32.0;
    seen.push_back(
        kTop + (t * kLengthMm * kPxPerMm) * kDown +
        ((top_mm + t * (ground_mm - top_mm) + Flared(t * kLengthMm, flare_mm)) *
         kPxPerMm) *
            kOut);
  }
  return seen;
}

/// Largest distance of a line from a wall, coronet and lower end left out [mm].
double Miss(const PhotoPolyline& line, double flare_mm) {
  double most = 0.0;
  for (const PhotoPoint p : line) {
    const OnWall at = At(p);
    if (at.down < 12 || at.down > 76) continue;
    most = std::max(most, std::abs(at.out - Flared(at.down, flare_mm)));
  }
  return most;
}

cv::Mat Picture(const std::function<double(OnWall)>& light,
                std::uint64_t seed) {
  geometry::Random random(seed);
  return Draw(
      kPhoto,
      [&](double x, double y) {
        return light(At({x, y}));
      },
      0.004,
      random);
}

// The edge follower alone takes the stripe.
TEST(WallCourse, IsNotAStripesInTheHorn) {
  const cv::Mat photo = Picture(
      [](OnWall at) {
        const double stripe =
            at.down > 35 ? Step(-3 - at.out) * Step(at.out + 6) : 0.0;
        return 0.10 + 0.04 * Step(-at.out) + 0.35 * stripe;
      },
      21);
  const PhotoPolyline seen = Seen(0.8, -1.8);
  const auto course = FindWallCourse(photo, seen, kOut, kPxPerMm);
  ASSERT_TRUE(course);
  EXPECT_LT(Miss(course->px, 0.0), 0.5);
  EXPECT_GT(course->seen, 0.8);
  EdgeOptions options;
  options.reach_px = 4 * kPxPerMm;
  options.coarse_sigma_px = kPxPerMm;
  options.smooth_px = 10 * kPxPerMm;
  const auto edge = FollowEdge(photo, seen, options);
  ASSERT_TRUE(edge);
  EXPECT_GT(Miss(edge->px, 0.0), 2.0);
}

TEST(WallCourse, IsTheOuterOfTwoEdges) {
  const cv::Mat photo = Picture(
      [](OnWall at) {
        return 0.10 + 0.06 * Step(-at.out) + 0.30 * Step(-2.0 - at.out);
      },
      22);
  const auto course = FindWallCourse(photo, Seen(-1.2, -1.0), kOut, kPxPerMm);
  ASSERT_TRUE(course);
  EXPECT_LT(Miss(course->px, 0.0), 0.5);
}

TEST(WallCourse, RunsThroughPebblesWithAnyFlare) {
  geometry::Random random(23);
  cv::Mat pebbles(kPhoto, CV_64F, cv::Scalar(0.2));
  for (int i = 0; i < 900; ++i) {
    cv::circle(pebbles,
               {random.Below(kPhoto.width), random.Below(kPhoto.height)},
               static_cast<int>(random.Uniform(1.0, 2.2) * kPxPerMm),
               cv::Scalar(random.Uniform(0.05, 0.5)),
               cv::FILLED);
  }
  for (const double flare : {-1.5, 0.0, 3.0, 6.0}) {
    SCOPED_TRACE(flare);
    const cv::Mat photo = Picture(
        [&](OnWall at) {
          const double out = at.out - Flared(at.down, flare);
          const PhotoPoint p =
              kTop + (at.down * kPxPerMm) * kDown + (at.out * kPxPerMm) * kOut;
          const double behind =
              pebbles.at<double>(static_cast<int>(p.y), static_cast<int>(p.x));
          return behind + (0.40 - behind) * Step(-out);
        },
        24);
    const auto course =
        FindWallCourse(photo, Seen(1.0, -0.5, 0.7 * flare), kOut, kPxPerMm);
    ASSERT_TRUE(course);
    EXPECT_LT(Miss(course->px, flare), 0.8);
  }
}

// An edge that goes straight on where the finder saw a flare, or the other way
// round: one of them is wrong, and the photo alone doesn't say which.
TEST(WallCourse, IsOpenBelowWhereEdgeAndFinderPart) {
  const auto open = [](double flare_mm, double seen_flare_mm) {
    const cv::Mat photo = Picture(
        [&](OnWall at) {
          return 0.10 + 0.2 * Step(Flared(at.down, flare_mm) - at.out);
        },
        26);
    const auto course =
        FindWallCourse(photo, Seen(0.3, -0.3, seen_flare_mm), kOut, kPxPerMm);
    EXPECT_TRUE(course);
    return course && course->lower_part_open;
  };
  EXPECT_FALSE(open(0, 0));
  EXPECT_FALSE(open(4, 4));
  EXPECT_TRUE(open(0, 6));
  EXPECT_TRUE(open(6, 0));
}

TEST(WallCourse, IsHardlySeenWhereNothingIs) {
  const cv::Mat photo = Picture([](OnWall) { return 0.2; }, 25);
  const auto course = FindWallCourse(photo, Seen(0, 0), kOut, kPxPerMm);
  if (course) {
    EXPECT_LT(course->seen, 0.4);
  }
}

TEST(WallCourse, NeedsAWall) {
  const cv::Mat photo(kPhoto, CV_8UC3, cv::Scalar(90, 90, 90));
  EXPECT_FALSE(FindWallCourse(photo, {}, kOut, kPxPerMm));
  EXPECT_FALSE(FindWallCourse(photo, {{10, 10}, {100, 100}}, kOut, kPxPerMm));
  EXPECT_FALSE(FindWallCourse(
      photo, PhotoPolyline(20, PhotoPoint{50, 50}), kOut, kPxPerMm));
}

}  // namespace
}  // namespace plumbfoot::find
