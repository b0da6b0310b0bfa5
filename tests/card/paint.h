// SPDX-License-Identifier: Apache-2.0
/// @file
/// Photos of a card with known truth, painted for tests: every pixel is the
/// mean over its area of what the camera sees there, then blurred, given noise
/// and coded as sRGB.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <functional>
#include <opencv2/core/mat.hpp>
#include <vector>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/camera.h"

namespace plumbfoot::card {

struct PaintOptions {
  double gain_mm = 0.0;  ///< How far black has grown.
  double blur_px = 1.0;  ///< Sigma, on top of the pixel's own area.
  double noise = 0.0;    ///< Sigma, in sRGB values [0..1].
  double black = 0.04;   ///< Linear.
  double white = 0.75;   ///< Linear; above 1 is clipped.
  double ground = 0.2;   ///< Linear: what lies round the card.
  double shading = 0.0;  ///< Loss of light from left to right [1].
  int fine = 4;          ///< Painted so many times finer, then reduced.
  std::uint64_t seed = 1;
};

/// The camera at `distance_mm` from `look_at`, tilted by `tilt_deg` about an
/// in-plane axis at `axis_deg`, rolled by `roll_deg`.
geometry::Pose LookAt(geometry::CardPoint look_at,
                      double distance_mm,
                      double tilt_deg,
                      double axis_deg,
                      double roll_deg);

/// An RGB photo of the card.
cv::Mat PaintCard(const Layout& layout,
                  const geometry::Camera& camera,
                  const geometry::Pose& camera_from_card,
                  cv::Size size,
                  const PaintOptions& options);

/// Where the photo shows the corners of a tag as it was meant to be printed:
/// bottom left, bottom right, top right, top left.
std::array<geometry::PhotoPoint, 4> TrueCorners(const TagPlace& place,
                                                const geometry::PlaneMap& map);

}  // namespace plumbfoot::card
