// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/camera.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <vector>

namespace plumbfoot::geometry {
namespace {

Camera PhoneCamera() {
  // A lens worse than any phone's, with all five coefficients.
  return {3000.0, {2010.0, 1490.0}, {0.08, -0.06, 0.0009, -0.0006, 0.02}};
}

Pose Askew() {
  Pose pose;
  pose.rotation = RotationFromVector({2.9, 0.3, -0.2});
  pose.translation = {-60, 40, 520};
  return pose;
}

// Reference: OpenCV 4.6, cv::projectPoints, whose lens model ours is.
TEST(Project, AgreesWithOpenCv) {
  const Camera camera = PhoneCamera();
  const Pose pose = Askew();
  std::vector<cv::Point3d> places;
  for (double x = -150; x <= 250; x += 50) {
    for (double y = -150; y <= 250; y += 50) places.emplace_back(x, y, 0.0);
  }
  const cv::Matx33d k(camera.focal_px,
                      0,
                      camera.principal.x,
                      0,
                      camera.focal_px,
                      camera.principal.y,
                      0,
                      0,
                      1);
  const std::vector<double> lens = {camera.lens.k1,
                                    camera.lens.k2,
                                    camera.lens.p1,
                                    camera.lens.p2,
                                    camera.lens.k3};
  std::vector<cv::Point2d> seen;
  cv::projectPoints(places,
                    cv::Vec3d(2.9, 0.3, -0.2),
                    cv::Vec3d(-60, 40, 520),
                    k,
                    lens,
                    seen);
  const PlaneMap map(camera, pose);
  for (std::size_t i = 0; i < places.size(); ++i) {
    const PhotoPoint p = map.Inverse({places[i].x, places[i].y});
    EXPECT_NEAR(p.x, seen[i].x, 1e-6);
    EXPECT_NEAR(p.y, seen[i].y, 1e-6);
  }
}

TEST(PlaneMap, ComesBackFromThePhoto) {
  const PlaneMap map(PhoneCamera(), Askew(), 1.01);
  for (double x = -100; x <= 200; x += 30) {
    for (double y = -100; y <= 200; y += 30) {
      const auto back = map.Apply(map.Inverse({x, y}));
      ASSERT_TRUE(back.has_value());
      EXPECT_NEAR(back->x, x, 1e-4);
      EXPECT_NEAR(back->y, y, 1e-4);
    }
  }
}

TEST(PlaneMap, FindsThePlaceUnderANearerPoint) {
  const Camera camera = PhoneCamera();
  const Pose pose = Askew();
  const PlaneMap map(camera, pose);
  // The lens stands on one side of the plane; nearer is towards it.
  const Eigen::Vector3d lens = -(pose.rotation.transpose() * pose.translation);
  const double towards = lens.z() > 0 ? 1.0 : -1.0;
  const PhotoPoint seen = Project(
      camera,
      pose.rotation * Eigen::Vector3d(70, 20, 30 * towards) + pose.translation);
  const auto foot = map.ApplyNearer(seen, 30);
  ASSERT_TRUE(foot.has_value());
  EXPECT_NEAR(foot->x, 70, 1e-4);
  EXPECT_NEAR(foot->y, 20, 1e-4);
}

TEST(PlaneMap, HasNothingBesideThePlane) {
  Pose edge_on;
  edge_on.rotation = RotationFromVector({1.5, 0, 0});
  edge_on.translation = {0, 0, 500};
  const PlaneMap map({3000.0, {2000, 1500}, {}}, edge_on);
  int outside = 0;
  for (double y = 0; y <= 3000; y += 100) {
    outside += map.Apply({2000, y}).has_value() ? 0 : 1;
  }
  EXPECT_GT(outside, 5);
}

// JCGM 100:2008, 5.2.2, against the scatter of 20000 draws (known to 1 %).
TEST(PlaneMap, PropagatesACovariance) {
  const PlaneMap map(PhoneCamera(), Askew());
  const PhotoPoint at = map.Inverse({80, 60});
  const auto covariance = PhotoCovariance::Along({1, 2}, 3.0, 1.0);
  const CardCovariance stated = map.Propagate(at, covariance);
  Random random(4);
  const CardPoint middle = *map.Apply(at);
  CardCovariance drawn;
  constexpr int kDraws = 20000;
  for (int i = 0; i < kDraws; ++i) {
    const double along = random.Normal(0, 3.0);
    const double across = random.Normal(0, 1.0);
    const double root = std::sqrt(5.0);
    const CardPoint p = *map.Apply({at.x + (along - 2 * across) / root,
                                    at.y + (2 * along + across) / root});
    drawn.xx += (p.x - middle.x) * (p.x - middle.x) / kDraws;
    drawn.xy += (p.x - middle.x) * (p.y - middle.y) / kDraws;
    drawn.yy += (p.y - middle.y) * (p.y - middle.y) / kDraws;
  }
  EXPECT_NEAR(drawn.xx, stated.xx, 0.04 * stated.xx);
  EXPECT_NEAR(drawn.yy, stated.yy, 0.04 * stated.yy);
  EXPECT_NEAR(drawn.xy, stated.xy, 0.04 * std::sqrt(stated.xx * stated.yy));
}

TEST(PlaneSampler, DrawsWithTheStatedDoubt) {
  PlaneEstimate estimate;
  estimate.camera = {3000.0, {2000, 1500}, {}};
  estimate.camera_from_card.rotation << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  estimate.camera_from_card.translation = {0, 0, 600};
  estimate.doubt = {3.0, 0.0, 0.005};
  const CardPoint pivot{0, 0};
  const PlaneSampler sampler(estimate, pivot);
  const PlaneMap nominal = NominalMap(estimate);
  const PhotoPoint at = nominal.Inverse({100, 0});
  Random random(9);
  Random print(10);
  double squares = 0.0;
  constexpr int kDraws = 20000;
  for (int i = 0; i < kDraws; ++i) {
    const double x = sampler.Draw(random, {print.Normal()}).Apply(at)->x;
    squares += (x - 100) * (x - 100) / kDraws;
  }
  // 3 mm at 600 mm is 0.5 %, and the print another 0.5 %: 0.707 mm at 100 mm.
  EXPECT_NEAR(std::sqrt(squares), 0.707, 0.012);
}

}  // namespace
}  // namespace plumbfoot::geometry
