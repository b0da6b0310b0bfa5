// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/camera.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <stdexcept>
#include <vector>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::geometry {
namespace {

constexpr double kDegree = std::numbers::pi / 180;

Camera PhoneCamera() {
  Camera camera;
  camera.focal_px = 3144;
  camera.principal = {2030, 1501};
  camera.lens = {0.02, -0.03, 0.0004, -0.0007, 0.01};
  return camera;
}

/// The lens of OpenCV's left camera (left_intrinsics.yml in Debian's package
/// opencv-doc), for 640 x 480: far more barrel than a phone has.
Camera BarrelCamera() {
  Camera camera;
  camera.focal_px = 535.9157;
  camera.principal = {342.28, 235.57};
  camera.lens = {-0.26637, -0.038589, 0.0017832, -0.00028122, 0.23839};
  return camera;
}

Pose Aslant(double tilt_deg, double distance_mm) {
  Pose pose;
  pose.rotation = RotationFromVector({0, 0, 0.3}) *
                  Eigen::Vector3d(1, -1, -1).asDiagonal() *
                  RotationFromVector({tilt_deg * kDegree, 0.05, 0});
  pose.translation = Eigen::Vector3d(10, -20, distance_mm) -
                     pose.rotation * Eigen::Vector3d(80, 80, 0);
  return pose;
}

std::vector<CardPoint> Places() {
  return {{0, 0}, {160, 0}, {0, 160}, {230, 230}, {-40, 70}, {100, 120}};
}

cv::Matx33d MatrixOf(const Camera& c) {
  return {c.focal_px, 0, c.principal.x, 0, c.focal_px, c.principal.y, 0, 0, 1};
}

std::vector<double> LensOf(const Camera& c) {
  return {c.lens.k1, c.lens.k2, c.lens.p1, c.lens.p2, c.lens.k3};
}

TEST(RotationFromVector, AgreesWithOpenCvsRodrigues) {
  Random random(1);
  for (int i = 0; i < 50; ++i) {
    const Eigen::Vector3d v(random.Normal(), random.Normal(), random.Normal());
    cv::Matx33d r;
    cv::Rodrigues(cv::Vec3d(v.x(), v.y(), v.z()), r);
    const Eigen::Matrix3d ours = RotationFromVector(v);
    for (int y = 0; y < 3; ++y) {
      for (int x = 0; x < 3; ++x) EXPECT_NEAR(ours(y, x), r(y, x), 1e-12);
    }
  }
  EXPECT_EQ(RotationFromVector(Eigen::Vector3d::Zero()),
            Eigen::Matrix3d::Identity());
}

TEST(Project, AgreesWithOpenCvsProjectPoints) {
  for (const Camera& camera : {PhoneCamera(), BarrelCamera()}) {
    Random random(2);
    for (int i = 0; i < 200; ++i) {
      const Eigen::Vector3d at(random.Uniform(-0.6, 0.6),
                               random.Uniform(-0.45, 0.45),
                               random.Uniform(0.9, 1.3));
      std::vector<cv::Point2d> seen;
      cv::projectPoints(std::vector<cv::Point3d>{{at.x(), at.y(), at.z()}},
                        cv::Vec3d(0, 0, 0),
                        cv::Vec3d(0, 0, 0),
                        MatrixOf(camera),
                        LensOf(camera),
                        seen);
      const PhotoPoint ours = Project(camera, at);
      EXPECT_NEAR(ours.x, seen[0].x, 1e-8);
      EXPECT_NEAR(ours.y, seen[0].y, 1e-8);
    }
  }
}

TEST(RayThrough, AgreesWithOpenCvsUndistortPoints) {
  for (const Camera& camera : {PhoneCamera(), BarrelCamera()}) {
    Random random(3);
    for (int i = 0; i < 200; ++i) {
      const PhotoPoint p{
          camera.principal.x + camera.focal_px * random.Uniform(-0.55, 0.55),
          camera.principal.y + camera.focal_px * random.Uniform(-0.42, 0.42)};
      std::vector<cv::Point2d> flat;
      cv::undistortPoints(
          std::vector<cv::Point2d>{{p.x, p.y}},
          flat,
          MatrixOf(camera),
          LensOf(camera),
          cv::noArray(),
          cv::noArray(),
          cv::TermCriteria(
              cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 200, 1e-14));
      const Eigen::Vector3d ray = RayThrough(camera, p);
      EXPECT_NEAR(ray.x(), flat[0].x, 1e-9);
      EXPECT_NEAR(ray.y(), flat[0].y, 1e-9);
      EXPECT_EQ(ray.z(), 1.0);
    }
  }
}

TEST(RayThrough, UndoesProject) {
  for (const Camera& camera : {PhoneCamera(), BarrelCamera()}) {
    for (double x = -0.6; x <= 0.6; x += 0.1) {
      for (double y = -0.45; y <= 0.45; y += 0.1) {
        SCOPED_TRACE(testing::Message() << x << ", " << y);
        const Eigen::Vector3d ray =
            RayThrough(camera, Project(camera, {x, y, 1}));
        EXPECT_NEAR(ray.x(), x, 1e-9);
        EXPECT_NEAR(ray.y(), y, 1e-9);
      }
    }
  }
}

TEST(PlaneMap, AppliesWhatItInverts) {
  for (const double scale : {1.0, 0.98}) {
    for (const double tilt : {0.0, 15.0, 50.0}) {
      const PlaneMap map(PhoneCamera(), Aslant(tilt, 600), scale);
      for (const CardPoint& p : Places()) {
        const auto back = map.Apply(map.Inverse(p));
        ASSERT_TRUE(back.has_value());
        EXPECT_NEAR(back->x, p.x, 1e-6);
        EXPECT_NEAR(back->y, p.y, 1e-6);
      }
    }
  }
}

// Reference: a homography, for a lens without distortion (R. Hartley and
// A. Zisserman, "Multiple View Geometry", 2nd ed. 2004, 8.1.1).
TEST(PlaneMap, IsAHomographyWithoutDistortion) {
  Camera camera = PhoneCamera();
  camera.lens = {};
  const Pose pose = Aslant(20, 500);
  const PlaneMap map(camera, pose);
  Eigen::Matrix3d k;
  k << camera.focal_px, 0, camera.principal.x, 0, camera.focal_px,
      camera.principal.y, 0, 0, 1;
  Eigen::Matrix3d h;
  h.col(0) = pose.rotation.col(0);
  h.col(1) = pose.rotation.col(1);
  h.col(2) = pose.translation;
  h = k * h;
  for (const CardPoint& p : Places()) {
    const Eigen::Vector3d v = h * Eigen::Vector3d(p.x, p.y, 1);
    const PhotoPoint seen = map.Inverse(p);
    EXPECT_NEAR(seen.x, v.x() / v.z(), 1e-8);
    EXPECT_NEAR(seen.y, v.y() / v.z(), 1e-8);
  }
}

TEST(PlaneMap, ScalesAboutTheOrigin) {
  const PlaneMap one(PhoneCamera(), Aslant(12, 500));
  const PlaneMap larger(PhoneCamera(), Aslant(12, 500), 1.02);
  for (const CardPoint& p : Places()) {
    const auto q = larger.Apply(one.Inverse(p)).value();
    EXPECT_NEAR(q.x, 1.02 * p.x, 1e-7);
    EXPECT_NEAR(q.y, 1.02 * p.y, 1e-7);
  }
  // A print that is larger than it was taken for is also farther away.
  EXPECT_NEAR(larger.DistanceTo({1.02 * 80, 1.02 * 80}),
              1.02 * one.DistanceTo({80, 80}),
              1e-9);
  EXPECT_NEAR(larger.CameraInPlane().z(), 1.02 * one.CameraInPlane().z(), 1e-9);
}

TEST(PlaneMap, GivesNothingBesideThePlane) {
  Pose edge_on;
  edge_on.rotation = RotationFromVector({80 * kDegree, 0, 0}) *
                     Eigen::Vector3d(1, -1, -1).asDiagonal();
  edge_on.translation = {0, 0, 500};
  Camera camera;
  camera.focal_px = 1000;
  camera.principal = {500, 500};
  const PlaneMap map(camera, edge_on);
  // The horizon of a plane tilted by 80 degrees lies 10 degrees off the axis:
  // 1000 * tan(10 deg) = 176 px.
  const auto over = map.Apply({500, 500 + 150});
  const auto beyond = map.Apply({500, 500 + 200});
  const auto other_over = map.Apply({500, 500 - 150});
  const auto other_beyond = map.Apply({500, 500 - 200});
  EXPECT_TRUE(over.has_value() && other_over.has_value());
  EXPECT_NE(beyond.has_value(), other_beyond.has_value());
}

TEST(PlaneMap, KnowsWhereTheCameraStands) {
  const Pose pose = Aslant(25, 700);
  const PlaneMap map(PhoneCamera(), pose);
  const Eigen::Vector3d lens = map.CameraInPlane();
  EXPECT_GT(lens.z(), 0);
  // The plane's frame, turned and moved, has its lens at the camera's origin.
  EXPECT_LT((pose.rotation * lens + pose.translation).norm(), 1e-9);
  EXPECT_NEAR(map.DistanceTo({80, 80}),
              (lens - Eigen::Vector3d(80, 80, 0)).norm(),
              1e-9);
}

TEST(PlaneMap, CountsPixelsPerMillimetre) {
  // Squarely: focal length over distance.
  Camera camera;
  camera.focal_px = 3000;
  camera.principal = {2000, 1500};
  const PlaneMap map(camera, Aslant(0, 600));
  const Eigen::Vector3d lens = map.CameraInPlane();
  EXPECT_NEAR(map.PixelsPerMillimetre({lens.x(), lens.y()}), 5.0, 0.02);
}

TEST(PlaneMap, FindsTheFootOfAPointThatStandsOut) {
  const Pose pose = Aslant(15, 500);
  const Camera camera = PhoneCamera();
  const PlaneMap map(camera, pose);
  for (const CardPoint& p : Places()) {
    for (const double depth : {-8.0, 0.0, 12.0}) {
      // A point over p in the plane's own frame, as the camera sees it.
      const PhotoPoint seen = Project(
          camera,
          pose.rotation * Eigen::Vector3d(p.x, p.y, depth) + pose.translation);
      const auto foot = map.ApplyNearer(seen, depth);
      ASSERT_TRUE(foot.has_value());
      EXPECT_NEAR(foot->x, p.x, 1e-6);
      EXPECT_NEAR(foot->y, p.y, 1e-6);
    }
  }
  EXPECT_FALSE(map.ApplyNearer({2000, 1500}, 1000).has_value());
}

TEST(PlaneMap, PropagatesAsMonteCarloDoes) {
  const PlaneMap map(BarrelCamera(), Aslant(30, 400));
  const PhotoPoint at = map.Inverse({150, 120});
  const PhotoCovariance stated = {0.5, 0.2, 0.3};
  const CardCovariance first = map.Propagate(at, stated);
  // Cholesky by hand: [a 0; b c].
  const double a = std::sqrt(stated.xx);
  const double b = stated.xy / a;
  const double c = std::sqrt(stated.yy - b * b);
  Random random(5);
  const CardPoint middle = map.Apply(at).value();
  CardCovariance sum;
  constexpr int kRuns = 40000;
  for (int i = 0; i < kRuns; ++i) {
    const double u = random.Normal();
    const double v = random.Normal();
    const auto d =
        map.Apply({at.x + a * u, at.y + b * u + c * v}).value() - middle;
    sum.xx += d.x * d.x / kRuns;
    sum.xy += d.x * d.y / kRuns;
    sum.yy += d.y * d.y / kRuns;
  }
  // 40000 runs know a variance to 0.7 %.
  EXPECT_NEAR(sum.xx / first.xx, 1, 0.03);
  EXPECT_NEAR(sum.yy / first.yy, 1, 0.03);
  EXPECT_NEAR(sum.xy, first.xy, 0.03 * std::sqrt(first.xx * first.yy));
}

TEST(PlaneMap, ThrowsForACameraThatCannotBe) {
  EXPECT_THROW(PlaneMap(Camera{}, Aslant(0, 500)), std::invalid_argument);
  EXPECT_THROW(PlaneMap(PhoneCamera(), Aslant(0, 500), 0.0),
               std::invalid_argument);
  EXPECT_THROW(PlaneMap(PhoneCamera(), Aslant(0, 500), std::nan("")),
               std::invalid_argument);
}

PlaneEstimate Certain() {
  PlaneEstimate estimate;
  estimate.camera = PhoneCamera();
  estimate.camera_from_card = Aslant(10, 600);
  estimate.doubt = {0, 0, 0};
  return estimate;
}

TEST(PlaneSampler, DrawsTheNominalMapWhereNothingIsInDoubt) {
  const PlaneEstimate estimate = Certain();
  const PlaneSampler sampler(estimate, {100, 100});
  Random random(1);
  const PlaneMap drawn = sampler.Draw(random, {1.5});
  const PlaneMap nominal = NominalMap(estimate);
  for (const CardPoint& p : Places()) {
    EXPECT_LT(Distance(drawn.Apply(nominal.Inverse(p)).value(), p), 1e-6);
  }
}

TEST(PlaneSampler, SpreadsItsParametersAsTheCovarianceSays) {
  PlaneEstimate estimate = Certain();
  // A covariance with correlations and without full rank.
  Eigen::Matrix<double, 10, 1> u;
  u << 1e-3, 2e-3, -1e-3, 0.5, 0.2, 2, 30, 5, 0, 1e-3;
  Eigen::Matrix<double, 10, 1> v;
  v << -1e-3, 1e-3, 2e-3, 0.1, -0.3, 3, -20, 0, 8, 2e-3;
  estimate.covariance = u * u.transpose() + v * v.transpose();
  const PlaneSampler sampler(estimate, {100, 100});
  Random random(9);
  PlaneEstimate::Covariance sum = PlaneEstimate::Covariance::Zero();
  constexpr int kRuns = 20000;
  for (int i = 0; i < kRuns; ++i) {
    const PlaneMap map = sampler.Draw(random, {});
    Eigen::Matrix<double, 10, 1> d;
    const Eigen::AngleAxisd turn(
        Eigen::Matrix3d(map.camera_from_plane().rotation *
                        estimate.camera_from_card.rotation.transpose()));
    d.head<3>() = turn.angle() * turn.axis();
    d.segment<3>(3) = map.camera_from_plane().translation -
                      estimate.camera_from_card.translation;
    d(6) = map.camera().focal_px - estimate.camera.focal_px;
    d(7) = map.camera().principal.x - estimate.camera.principal.x;
    d(8) = map.camera().principal.y - estimate.camera.principal.y;
    d(9) = map.camera().lens.k1 - estimate.camera.lens.k1;
    sum += d * d.transpose() / kRuns;
  }
  for (int i = 0; i < 10; ++i) {
    for (int j = 0; j < 10; ++j) {
      const double unit =
          std::sqrt(estimate.covariance(i, i) * estimate.covariance(j, j));
      EXPECT_NEAR(sum(i, j) / unit, estimate.covariance(i, j) / unit, 0.05)
          << i << ", " << j;
    }
  }
}

TEST(PlaneSampler, MovesThePlaneAlongItsNormal) {
  // Scale error = offset / distance: 10 mm at 600 mm is 1.7 %.
  PlaneEstimate estimate = Certain();
  estimate.camera_from_card = Aslant(0, 600);
  estimate.doubt.offset_sigma_mm = 10;
  const PlaneMap nominal = NominalMap(estimate);
  const CardPoint a{40, 100};
  const CardPoint b{160, 100};
  const PlaneSampler sampler(estimate, {100, 100});
  Random random(11);
  double sum = 0;
  constexpr int kRuns = 10000;
  for (int i = 0; i < kRuns; ++i) {
    const PlaneMap map = sampler.Draw(random, {});
    const double length = Distance(map.Apply(nominal.Inverse(a)).value(),
                                   map.Apply(nominal.Inverse(b)).value());
    sum += std::pow(length / 120 - 1, 2) / kRuns;
  }
  EXPECT_NEAR(std::sqrt(sum), 10.0 / 600, 0.02 * 10.0 / 600 + 2e-4);
}

TEST(PlaneSampler, TurnsThePlaneAboutThePivot) {
  PlaneEstimate estimate = Certain();
  estimate.camera_from_card = Aslant(0, 5000);  // Nearly parallel rays.
  estimate.camera.focal_px = 30000;
  estimate.camera.lens = {};
  estimate.doubt.turn_sigma = 5 * kDegree;
  const PlaneMap nominal = NominalMap(estimate);
  const CardPoint pivot{100, 100};
  const PlaneSampler sampler(estimate, pivot);
  Random random(13);
  double mean = 0;
  constexpr int kRuns = 10000;
  for (int i = 0; i < kRuns; ++i) {
    const PlaneMap map = sampler.Draw(random, {});
    EXPECT_LT(Distance(map.Apply(nominal.Inverse(pivot)).value(), pivot), 1e-6);
    // A plane that is turned is seen foreshortened: what looks like 60 mm
    // across the axis of the turn is 60 / cos(turn), a half of the square of
    // the turn more.
    const CardPoint p{160, 100};
    mean += (Distance(map.Apply(nominal.Inverse(p)).value(), pivot) / 60 - 1) /
            kRuns;
  }
  EXPECT_NEAR(mean, std::pow(5 * kDegree, 2) / 2, 0.15 * 0.0038);
}

TEST(PlaneSampler, SharesThePrintBetweenPhotos) {
  PlaneEstimate estimate = Certain();
  estimate.doubt.print_sigma = 0.005;
  const PlaneMap nominal = NominalMap(estimate);
  const PlaneSampler sampler(estimate, {100, 100});
  Random random(15);
  const PhotoPoint a = nominal.Inverse({0, 0});
  const PhotoPoint b = nominal.Inverse({100, 0});
  for (const double print : {-2.0, 0.0, 1.0}) {
    const PlaneMap map = sampler.Draw(random, {print});
    EXPECT_NEAR(Distance(map.Apply(a).value(), map.Apply(b).value()),
                100 * (1 + 0.005 * print),
                1e-6);
  }
}

}  // namespace
}  // namespace plumbfoot::geometry
