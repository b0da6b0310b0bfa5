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
  /// How far the card is bent out of its plane at the tag that is farthest from
  /// its origin: the largest of the three ways to bend [mm].
  double bend_mm = 0.0;
  double residual_px = 0.0;  ///< RMS of the corners, each coordinate.
  /// Mean square of the corners' residuals over what their own covariance
  /// explains, before that was widened.
  double misfit = 0.0;
};

/// Least squares over pose, focal length, principal point, k1, print gain and a
/// slight bend of the card (any parabola), with the priors of `belief`. The
/// plane is the one that touches the card at its origin. A bend looks much like
/// a turn of the plane: a fit that leaves it out is wrong by 1.5 % of a hoof's
/// width for a bend of 1 mm, and does not know it. Where the corners scatter
/// more than they say, their covariance is widened until they don't (R. T.
/// Birge, "The calculation of errors by the method of least squares", Phys.
/// Rev. 40, 1932), so that the priors keep their say.
///
/// @param layout  The true places of the tags [mm]; has every id of `tags`.
/// @return Nothing if no pose puts the card before the camera.
std::optional<PlaneFit> FitPlane(const Layout& layout,
                                 const std::vector<FittedTag>& tags,
                                 const CameraBelief& belief);

}  // namespace plumbfoot::card
