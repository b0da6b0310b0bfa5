// SPDX-License-Identifier: Apache-2.0
/// @file
/// Camera and pose from the corners of all tags at once.
#pragma once

#include <opencv2/core/types.hpp>
#include <optional>
#include <vector>

#include "card/edges.h"
#include "plumbfoot/card/find_card.h"
#include "plumbfoot/card/layout.h"

namespace plumbfoot::card {

/// The priors on the camera, as numbers.
struct CameraBelief {
  geometry::Camera camera;
  double focal_sigma = 0.0;      ///< [px]
  double principal_sigma = 0.0;  ///< [px], each of x and y.
  double k1_sigma = 0.0;         ///< [1]
  bool focal_assumed = false;    ///< Nobody said; a phone's usual lens.
};

/// What is believed of the camera of a photo of `size`.
CameraBelief Believe(cv::Size size, const CameraPrior& prior);

struct PlaneFit {
  geometry::Camera camera;
  geometry::Pose camera_from_card;
  geometry::PlaneEstimate::Covariance covariance =
      geometry::PlaneEstimate::Covariance::Zero();
  double print_gain_mm = 0.0;
  double residual_px = 0.0;  ///< RMS of the corners, each coordinate.
  /// Mean square of the corners' residuals over what their own covariance
  /// explains, before that was widened.
  double misfit = 0.0;
};

/// Least squares over pose, focal length, principal point, k1 and print gain,
/// with the priors of `belief`. Where the corners scatter more than they say,
/// their covariance is widened until they don't (R. T. Birge, "The calculation
/// of errors by the method of least squares", Phys. Rev. 40, 1932), so that the
/// priors keep their say.
///
/// @param layout  The true places of the tags [mm]; has every id of `tags`.
/// @return Nothing if no pose puts the card before the camera.
std::optional<PlaneFit> FitPlane(const Layout& layout,
                                 const std::vector<FittedTag>& tags,
                                 const CameraBelief& belief);

}  // namespace plumbfoot::card
