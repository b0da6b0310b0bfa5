// SPDX-License-Identifier: Apache-2.0
#include "card/edges.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>

#include "card/paint.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::card {
namespace {

using geometry::Camera;
using geometry::PhotoPoint;
using geometry::PlaneMap;
using geometry::Pose;
using geometry::Random;

Layout OneTag(int id) {
  Layout layout;
  layout.tags = {{id, {0, 0}, 36}};
  layout.outline = {{-24, -24}, {24, -24}, {24, 24}, {-24, 24}};
  return layout;
}

/// A painted tag and what was found of it.
struct Trial {
  std::array<PhotoPoint, 4> truth;
  std::optional<FittedTag> fitted;

  Eigen::Matrix<double, 8, 1> Error() const {
    Eigen::Matrix<double, 8, 1> error;
    for (std::size_t c = 0; c < 4; ++c) {
      const auto i = static_cast<Eigen::Index>(2 * c);
      error(i) = fitted->seen.corners[c].x - truth[c].x;
      error(i + 1) = fitted->seen.corners[c].y - truth[c].y;
    }
    return error;
  }
  /// Mean side found less mean side true [px].
  double SideBias() const {
    double bias = 0;
    for (std::size_t c = 0; c < 4; ++c) {
      const std::size_t n = (c + 1) % 4;
      bias += Distance(fitted->seen.corners[c], fitted->seen.corners[n]) / 4;
      bias -= Distance(truth[c], truth[n]) / 4;
    }
    return bias;
  }
};

Trial Try(double side_px,
          double tilt_deg,
          double roll_deg,
          const PaintOptions& paint,
          Random& random) {
  const Layout layout = OneTag(random.Below(500));
  const int size = static_cast<int>(side_px * 2.0);
  Camera camera;
  camera.focal_px = 2500;
  camera.principal = {size / 2.0 + random.Uniform(),
                      size / 2.0 + random.Uniform()};
  const Pose pose = LookAt(
      {0, 0}, 2500 * 36 / side_px, tilt_deg, random.Uniform(0, 360), roll_deg);
  PaintOptions seeded = paint;
  seeded.seed = static_cast<std::uint64_t>(random.Below(1 << 30));
  const cv::Mat photo =
      PaintCard(layout, camera, pose, cv::Size(size, size), seeded);
  Trial trial;
  TagPlace printed = layout.tags[0];
  printed.side_mm += 2 * paint.gain_mm;
  trial.truth = TrueCorners(printed, PlaneMap(camera, pose));
  RoughTag rough;
  rough.id = printed.id;
  rough.corners = trial.truth;
  // libapriltag on a reduced photo is right to about a pixel of this one.
  const double rough_px = 0.01 * side_px + 0.3;
  for (PhotoPoint& p : rough.corners) {
    p.x += random.Uniform(-rough_px, rough_px);
    p.y += random.Uniform(-rough_px, rough_px);
  }
  trial.fitted = FitEdges(photo, rough);
  return trial;
}

// A marker's side that is read short makes every millimetre too long, and no
// averaging takes that away: the signed bias, over what photos may bring.
TEST(FitEdges, ReadsTheSideWithoutBias) {
  struct Case {
    double side, blur, tilt, gain, largest_px;
  };
  // largest_px: a bias of 0.02 px is 0.05 % of the smallest tag here. The
  // strongest blur on the smaller tags is 0.7 of a cell, which nothing reads.
  // Ink that grows also narrows the code's white cells: with strong blur that
  // costs some hundredths more.
  const std::vector<Case> cases = {
      {45, 0.5, 0, 0, 0.02},
      {45, 1, 0, 0, 0.02},
      {45, 2, 0, 0, 0.03},
      {90, 0.5, 10, 0, 0.02},
      {90, 1, 10, 0, 0.02},
      {90, 2, 10, 0, 0.02},
      {90, 4, 10, 0, 0.04},
      {200, 1, 0, 0, 0.02},
      {200, 4, 0, 0, 0.02},
      {90, 1, 30, 0, 0.02},
      {90, 1, 45, 0, 0.02},
      {90, 1, 0, 0.3, 0.02},
      {90, 1, 0, -0.3, 0.02},
      {90, 2, 15, 0.2, 0.05},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(testing::Message()
                 << "side " << c.side << " px, blur " << c.blur << " px, tilt "
                 << c.tilt << " deg, gain " << c.gain << " mm");
    Random random(17);
    PaintOptions paint;
    paint.blur_px = c.blur;
    paint.gain_mm = c.gain;
    double bias = 0;
    constexpr int kRuns = 6;
    for (int i = 0; i < kRuns; ++i) {
      const Trial trial = Try(c.side, c.tilt, 15.0 * i + 1, paint, random);
      ASSERT_TRUE(trial.fitted.has_value());
      bias += trial.SideBias() / kRuns;
      EXPECT_NEAR(trial.fitted->seen.blur_px, std::hypot(c.blur, 0.29), 0.05);
      EXPECT_NEAR(trial.fitted->seen.contrast, 0.71, 0.05);
    }
    EXPECT_LT(std::abs(bias), c.largest_px);
  }
}

TEST(FitEdges, FindsCornersToHundredthsOfAPixel) {
  Random random(23);
  PaintOptions paint;
  paint.blur_px = 1;
  Eigen::Matrix<double, 8, 1> sum = Eigen::Matrix<double, 8, 1>::Zero();
  constexpr int kRuns = 24;
  for (int i = 0; i < kRuns; ++i) {
    SCOPED_TRACE(i);
    const Trial trial = Try(random.Uniform(45, 120),
                            random.Uniform(0, 15),
                            random.Uniform(0, 360),
                            paint,
                            random);
    ASSERT_TRUE(trial.fitted.has_value());
    const auto error = trial.Error();
    EXPECT_LT(error.cwiseAbs().maxCoeff(), 0.03);
    sum += error;
  }
  EXPECT_LT((sum / kRuns).cwiseAbs().maxCoeff(), 0.005);
}

// Coverage: noise from 5 to 13 grey levels, with which chance decides.
TEST(FitEdges, StatesACovarianceThatHolds) {
  Random random(31);
  int inside = 0;
  int all = 0;
  double normalised = 0;
  constexpr int kRuns = 450;
  for (int i = 0; i < kRuns; ++i) {
    PaintOptions paint;
    paint.fine = 3;
    paint.blur_px = random.Uniform(0.8, 1.6);
    paint.noise = random.Uniform(0.02, 0.05);
    paint.shading = random.Uniform(0, 0.3);
    const Trial trial = Try(random.Uniform(40, 60),
                            random.Uniform(0, 20),
                            random.Uniform(0, 360),
                            paint,
                            random);
    ASSERT_TRUE(trial.fitted.has_value());
    const auto error = trial.Error();
    normalised +=
        error.dot(trial.fitted->covariance.inverse() * error) / (8 * kRuns);
    for (std::size_t c = 0; c < 4; ++c) {
      const auto& stated = trial.fitted->seen.covariance[c];
      Eigen::Matrix2d m;
      m << stated.xx, stated.xy, stated.xy, stated.yy;
      const Eigen::Vector2d e = error.segment<2>(static_cast<int>(2 * c));
      // 5.991: the 95 % point of chi-squared with two degrees of freedom.
      inside += e.dot(m.inverse() * e) < 5.991 ? 1 : 0;
      ++all;
    }
  }
  EXPECT_NEAR(normalised, 1.0, 0.15);
  EXPECT_GT(inside, 0.93 * all);
  EXPECT_LT(inside, 0.97 * all);
}

TEST(FitEdges, LeavesATagThatIsCutOffOrCovered) {
  Random random(5);
  PaintOptions paint;
  Trial trial = Try(90, 0, 0, paint, random);
  ASSERT_TRUE(trial.fitted.has_value());
  RoughTag rough;
  rough.id = 3;
  rough.corners = trial.truth;
  const cv::Mat blank(180, 180, CV_8UC3, cv::Scalar::all(128));
  EXPECT_FALSE(FitEdges(blank, rough).has_value());
  // Half of it outside the photo.
  for (PhotoPoint& p : rough.corners) p.x += 90;
  EXPECT_FALSE(FitEdges(blank, rough).has_value());
}

}  // namespace
}  // namespace plumbfoot::card
