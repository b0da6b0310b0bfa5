// SPDX-License-Identifier: Apache-2.0
/// @file
/// The camera, the plane that is measured, and the map between the photo and
/// that plane, with its uncertainty.
///
/// Camera frame [mm]: origin at the lens, x right, y down (as the photo), z
/// forward into the scene.
#pragma once

#include <Eigen/Core>
#include <optional>

#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::geometry {

/// Radial and tangential distortion after D. C. Brown, "Close-range camera
/// calibration", Photogrammetric Engineering 37(8), 1971, in the form and
/// order of OpenCV's distCoeffs: with r^2 = x^2 + y^2 of the undistorted,
/// normalised image point,
///   x_d = x (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x y + p2 (r^2 + 2 x^2)
/// and likewise for y. All are pure numbers.
struct LensDistortion {
  double k1 = 0.0;
  double k2 = 0.0;
  double p1 = 0.0;
  double p2 = 0.0;
  double k3 = 0.0;
};

/// A pinhole camera with square pixels and a lens.
struct Camera {
  double focal_px = 0.0;  ///< [px], above zero.
  PhotoPoint principal;   ///< Where the optical axis meets the photo [px].
  LensDistortion lens;
};

/// Where a plane stands before the camera:
/// x_in_camera = rotation * x_in_plane + translation [mm].
struct Pose {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  Eigen::Vector3d translation = Eigen::Vector3d::Zero();
};

/// The rotation matrix of a rotation vector [rad] (Rodrigues' formula).
Eigen::Matrix3d RotationFromVector(const Eigen::Vector3d& rotation);

/// The photo point of a place in the camera frame [mm]. z must be above zero.
PhotoPoint Project(const Camera& camera, const Eigen::Vector3d& in_camera);

/// The direction (x, y, 1) in the camera frame that is seen at `point`.
Eigen::Vector3d RayThrough(const Camera& camera, PhotoPoint point);

/// plane_from_photo and its inverse, for one camera and one plane whose
/// coordinates are the card's x and y [mm].
class PlaneMap {
 public:
  /// @param scale  Factor on every plane coordinate, about the plane's origin:
  ///   the true size of the print over the size that it was taken for [1].
  PlaneMap(const Camera& camera,
           const Pose& camera_from_plane,
           double scale = 1.0);

  /// The place in the plane that is seen at `point`; nothing if the ray runs
  /// beside or away from the plane.
  std::optional<CardPoint> Apply(PhotoPoint point) const;
  /// The same, for a point that is known to lie `depth_mm` nearer the camera
  /// than the plane (further away if below zero), along the plane's normal: its
  /// foot on the plane.
  std::optional<CardPoint> ApplyNearer(PhotoPoint point, double depth_mm) const;
  /// Where the photo shows a place of the plane.
  PhotoPoint Inverse(CardPoint point) const;
  /// First-order covariance: J C J^T at `point` (JCGM 100:2008, 5.2.2).
  CardCovariance Propagate(PhotoPoint point, PhotoCovariance covariance) const;
  /// Photo pixels per millimetre at a place of the plane: geometric mean over
  /// the two directions [px/mm].
  double PixelsPerMillimetre(CardPoint at) const;

  const Camera& camera() const { return camera_; }
  const Pose& camera_from_plane() const { return pose_; }
  double scale() const { return scale_; }
  /// Distance from the lens to a place of the plane [mm].
  double DistanceTo(CardPoint at) const;
  /// Where the lens stands in the plane's frame: x, y, and z off the plane
  /// (always above zero) [mm].
  Eigen::Vector3d CameraInPlane() const;

 private:
  Camera camera_;
  Pose pose_;
  double scale_ = 1.0;
  Eigen::Matrix3d plane_from_ray_ = Eigen::Matrix3d::Identity();
};

/// How the millimetres came into the picture.
enum class ScaleSource {
  kCard,         ///< The printed card.
  kKnownLength,  ///< A length that a person knows (--known-mm).
  kNone,         ///< None: only ratios and angles mean anything.
};

/// What the photo of a card can't tell, as standard uncertainties. The defaults
/// are for a card held or stood with care.
struct PlaneDoubt {
  /// The measured plane stands off the card's plane, along its normal [mm].
  double offset_sigma_mm = 3.0;  // CHOSEN: a board held flush by hand.
  /// It is turned against the card's plane, about each in-plane axis [rad].
  double turn_sigma = 0.035;  // CHOSEN: 2 degrees.
  /// Relative error of the print's size [1].
  double print_sigma = 0.005;  // CHOSEN: a print nobody has checked.
};

/// A plane map and how sure it is: the parameters
///   (rotation vector increment 3, applied on the left of the rotation [rad];
///    translation 3 [mm]; focal length [px]; principal point 2 [px]; k1 [1])
/// are normal about the nominal values with `covariance`; what the photo can't
/// tell comes on top.
struct PlaneEstimate {
  static constexpr int kParameters = 10;
  using Covariance = Eigen::Matrix<double, kParameters, kParameters>;

  Camera camera;
  Pose camera_from_card;
  Covariance covariance = Covariance::Zero();
  PlaneDoubt doubt;
  ScaleSource scale = ScaleSource::kNone;
};

/// One way that the world may be, of what two photos may share.
struct SharedDraw {
  double print = 0.0;  ///< Standard normal; same card, same print.
};

/// The best map.
PlaneMap NominalMap(const PlaneEstimate& estimate);

/// Draws maps from an estimate for Monte Carlo (JCGM 101:2008, 7). Holds the
/// factor of the covariance, so that a draw is cheap.
class PlaneSampler {
 public:
  /// @param pivot  The centre of what is measured: the plane is offset and
  ///   turned there [mm].
  PlaneSampler(const PlaneEstimate& estimate, CardPoint pivot);
  PlaneMap Draw(Random& random, const SharedDraw& shared) const;

 private:
  PlaneEstimate estimate_;
  Eigen::Vector3d pivot_;
  PlaneEstimate::Covariance factor_;
};

}  // namespace plumbfoot::geometry
