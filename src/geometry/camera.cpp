// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/camera.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace plumbfoot::geometry {
namespace {

struct Normalised {
  double x;
  double y;
};

Normalised Distort(const LensDistortion& lens, double x, double y) {
  const double r2 = x * x + y * y;
  const double radial = 1 + r2 * (lens.k1 + r2 * (lens.k2 + r2 * lens.k3));
  return {x * radial + 2 * lens.p1 * x * y + lens.p2 * (r2 + 2 * x * x),
          y * radial + lens.p1 * (r2 + 2 * y * y) + 2 * lens.p2 * x * y};
}

/// As Undistort, for a lens that only moves points along the radius: one
/// equation for the part u of the distorted radius at which the true point
/// lies, u (1 + k1 (u r)^2 + ...) = 1, by Newton's method. Three times as fast,
/// and every trial of every measure maps some hundred points.
Normalised UndistortRadial(const LensDistortion& lens, double xd, double yd) {
  const double rd2 = xd * xd + yd * yd;
  // The first terms of u's series in k1 r^2 are right to a millionth for a
  // phone's lens; for one that isn't, they are some place to start from.
  const double q = std::clamp(lens.k1 * rd2, -0.1, 0.1);
  double u = 1 - q * (1 - 3 * q);
  for (int i = 0; i < 30; ++i) {
    const double r2 = u * u * rd2;
    const double e =
        1 - u * (1 + r2 * (lens.k1 + r2 * (lens.k2 + r2 * lens.k3)));
    const double slope =
        1 + r2 * (3 * lens.k1 + r2 * (5 * lens.k2 + r2 * 7 * lens.k3));
    // As in Undistort, but each of Newton's steps doubles the right digits.
    const bool newton = slope > 1.0 / 3;
    u += newton ? e / slope : e;
    if (e * e * rd2 < (newton ? 1e-12 : 1e-22)) break;
  }
  return {u * xd, u * yd};
}

Normalised Undistort(const LensDistortion& lens, double xd, double yd) {
  if (lens.p1 == 0 && lens.p2 == 0) return UndistortRadial(lens, xd, yd);
  // x <- x + (x_d - distortion at x) / slope, with the slope of the radial part
  // along the radius: Newton's method as far as the error is radial, which it
  // all but is. Two or three rounds for a phone's lens.
  double x = xd;
  double y = yd;
  for (int i = 0; i < 30; ++i) {
    const Normalised d = Distort(lens, x, y);
    const double ex = xd - d.x;
    const double ey = yd - d.y;
    const double r2 = x * x + y * y;
    const double slope =
        1 + r2 * (3 * lens.k1 + r2 * (5 * lens.k2 + r2 * 7 * lens.k3));
    // CHOSEN: below a third the lens folds the picture; small steps then.
    const double step = slope > 1.0 / 3 ? 1 / slope : 1.0;
    x += step * ex;
    y += step * ey;
    // The last digit: what is not radial still falls by ten in each round.
    if (ex * ex + ey * ey < 1e-22) break;
  }
  return {x, y};
}

}  // namespace

Eigen::Matrix3d RotationFromVector(const Eigen::Vector3d& rotation) {
  const double angle = rotation.norm();
  if (angle < 1e-15) return Eigen::Matrix3d::Identity();
  return Eigen::AngleAxisd(angle, rotation / angle).toRotationMatrix();
}

PhotoPoint Project(const Camera& camera, const Eigen::Vector3d& in_camera) {
  const Normalised d = Distort(camera.lens,
                               in_camera.x() / in_camera.z(),
                               in_camera.y() / in_camera.z());
  return {camera.principal.x + camera.focal_px * d.x,
          camera.principal.y + camera.focal_px * d.y};
}

Eigen::Vector3d RayThrough(const Camera& camera, PhotoPoint point) {
  const double per_px = 1 / camera.focal_px;
  const Normalised n = Undistort(camera.lens,
                                 (point.x - camera.principal.x) * per_px,
                                 (point.y - camera.principal.y) * per_px);
  return {n.x, n.y, 1.0};
}

PlaneMap::PlaneMap(const Camera& camera,
                   const Pose& camera_from_plane,
                   double scale)
    : camera_(camera), pose_(camera_from_plane), scale_(scale) {
  if (!(camera.focal_px > 0)) throw std::invalid_argument("focal_px <= 0");
  if (!(scale > 0)) throw std::invalid_argument("scale <= 0");
  Eigen::Matrix3d ray_from_plane;
  ray_from_plane.col(0) = pose_.rotation.col(0);
  ray_from_plane.col(1) = pose_.rotation.col(1);
  ray_from_plane.col(2) = pose_.translation;
  plane_from_ray_ = ray_from_plane.inverse();
}

std::optional<CardPoint> PlaneMap::Apply(PhotoPoint point) const {
  const Eigen::Vector3d h = plane_from_ray_ * RayThrough(camera_, point);
  // h.z is one over the ray's length to the plane: not above zero means that
  // the plane is not in front of the camera along this ray.
  if (!(h.z() > 1e-9)) return std::nullopt;
  const double ray = scale_ / h.z();
  return CardPoint{ray * h.x(), ray * h.y()};
}

std::optional<CardPoint> PlaneMap::ApplyNearer(PhotoPoint point,
                                               double depth_mm) const {
  const auto seen = Apply(point);
  if (!seen) return std::nullopt;
  // On the ray from the lens to `seen`, the part of the way at which the
  // height over the plane is depth_mm.
  const Eigen::Vector3d lens = CameraInPlane();
  if (!(lens.z() > depth_mm)) return std::nullopt;
  const double part = depth_mm / lens.z();
  return CardPoint{seen->x + part * (lens.x() - seen->x),
                   seen->y + part * (lens.y() - seen->y)};
}

PhotoPoint PlaneMap::Inverse(CardPoint point) const {
  const Eigen::Vector3d in_camera =
      pose_.rotation *
          Eigen::Vector3d(point.x / scale_, point.y / scale_, 0.0) +
      pose_.translation;
  return Project(camera_, in_camera);
}

CardCovariance PlaneMap::Propagate(PhotoPoint point,
                                   PhotoCovariance covariance) const {
  constexpr double kStep = 0.01;  // px: far above rounding, far below curvature
  const auto x1 = Apply({point.x + kStep, point.y});
  const auto x0 = Apply({point.x - kStep, point.y});
  const auto y1 = Apply({point.x, point.y + kStep});
  const auto y0 = Apply({point.x, point.y - kStep});
  if (!x1 || !x0 || !y1 || !y0) {
    throw std::invalid_argument("PlaneMap::Propagate: point is off the plane");
  }
  Eigen::Matrix2d j;
  j << (x1->x - x0->x), (y1->x - y0->x), (x1->y - x0->y), (y1->y - y0->y);
  j /= 2 * kStep;
  Eigen::Matrix2d c;
  c << covariance.xx, covariance.xy, covariance.xy, covariance.yy;
  const Eigen::Matrix2d r = j * c * j.transpose();
  return {r(0, 0), r(0, 1), r(1, 1)};
}

double PlaneMap::PixelsPerMillimetre(CardPoint at) const {
  constexpr double kStep = 0.5;  // mm
  const PhotoVector x =
      Inverse({at.x + kStep, at.y}) - Inverse({at.x - kStep, at.y});
  const PhotoVector y =
      Inverse({at.x, at.y + kStep}) - Inverse({at.x, at.y - kStep});
  return std::sqrt(std::abs(Cross(x, y))) / (2 * kStep);
}

double PlaneMap::DistanceTo(CardPoint at) const {
  const Eigen::Vector3d in_camera =
      pose_.rotation * Eigen::Vector3d(at.x / scale_, at.y / scale_, 0.0) +
      pose_.translation;
  return scale_ * in_camera.norm();
}

Eigen::Vector3d PlaneMap::CameraInPlane() const {
  const Eigen::Vector3d lens =
      -(pose_.rotation.transpose() * pose_.translation);
  return {scale_ * lens.x(), scale_ * lens.y(), scale_ * std::abs(lens.z())};
}

PlaneMap NominalMap(const PlaneEstimate& estimate) {
  return {estimate.camera, estimate.camera_from_card};
}

PlaneSampler::PlaneSampler(const PlaneEstimate& estimate, CardPoint pivot)
    : estimate_(estimate), pivot_(pivot.x, pivot.y, 0.0) {
  // The eigenvalue root and not Cholesky: parameters that are held fixed have
  // no variance, and the matrix is then only semi-definite.
  const Eigen::SelfAdjointEigenSolver<PlaneEstimate::Covariance> solver(
      estimate.covariance);
  factor_ = solver.eigenvectors() *
            solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

PlaneMap PlaneSampler::Draw(Random& random, const SharedDraw& shared) const {
  Eigen::Matrix<double, PlaneEstimate::kParameters, 1> z;
  for (int i = 0; i < PlaneEstimate::kParameters; ++i) z(i) = random.Normal();
  const Eigen::Matrix<double, PlaneEstimate::kParameters, 1> d = factor_ * z;

  Camera camera = estimate_.camera;
  camera.focal_px = std::max(1.0, camera.focal_px + d(6));
  camera.principal.x += d(7);
  camera.principal.y += d(8);
  camera.lens.k1 += d(9);

  Pose pose;
  pose.rotation =
      RotationFromVector(d.head<3>()) * estimate_.camera_from_card.rotation;
  pose.translation = estimate_.camera_from_card.translation + d.segment<3>(3);

  // The measured plane: turned about the pivot, then moved along its normal.
  const PlaneDoubt& doubt = estimate_.doubt;
  const Eigen::Matrix3d turn =
      RotationFromVector({doubt.turn_sigma * random.Normal(),
                          doubt.turn_sigma * random.Normal(),
                          0.0});
  const Eigen::Vector3d offset(
      0.0, 0.0, doubt.offset_sigma_mm * random.Normal());
  Pose measured;
  measured.rotation = pose.rotation * turn;
  measured.translation =
      pose.rotation * (pivot_ + offset - turn * pivot_) + pose.translation;
  return {
      camera, measured, std::max(0.1, 1.0 + doubt.print_sigma * shared.print)};
}

}  // namespace plumbfoot::geometry
