// SPDX-License-Identifier: Apache-2.0
/// @file
/// Pictures whose geometry is known exactly, drawn from a formula.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <opencv2/core/mat.hpp>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::find {

/// The sRGB byte of linear light (IEC 61966-2-1:1999, 5.2).
inline unsigned char EncodedLight(double linear) {
  const double v = linear <= 0.0031308
                       ? 12.92 * linear
                       : 1.055 * std::pow(linear, 1 / 2.4) - 0.055;
  return static_cast<unsigned char>(std::lround(255 * std::clamp(v, 0.0, 1.0)));
}

/// A picture from the linear light of each place, which `light` gives for
/// pixel-corner coordinates. `noise`: standard deviation in linear light.
inline cv::Mat Draw(cv::Size size,
                    const std::function<double(double, double)>& light,
                    double noise,
                    geometry::Random& random) {
  cv::Mat rgb(size, CV_8UC3);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double v = light(x + 0.5, y + 0.5);
      cv::Vec3b pixel;
      for (int k = 0; k < 3; ++k) {
        pixel[k] = EncodedLight(v + noise * random.Normal());
      }
      rgb.at<cv::Vec3b>(y, x) = pixel;
    }
  }
  return rgb;
}

/// Linear light across an edge that is blurred by a Gaussian: dark for d far
/// below zero, bright far above.
inline double BlurredEdge(double d, double sigma) {
  return 0.05 + 0.30 * 0.5 * std::erfc(-d / (sigma * std::sqrt(2.0)));
}

/// An L of 160 mm with arms of 48 mm, as it stands in the design.
inline card::Layout LCard() {
  card::Layout layout;
  layout.name = "L";
  layout.outline = {{0, 0}, {160, 0}, {160, 48}, {48, 48}, {48, 160}, {0, 160}};
  return layout;
}

/// A phone's camera that looks down on the plane from `distance_mm`, its card
/// upright, tilted by `tilt` about the photo's x axis and turned by `roll`.
inline geometry::PlaneEstimate LookingAt(geometry::CardPoint target,
                                         double distance_mm,
                                         cv::Size size,
                                         double tilt,
                                         double roll,
                                         double k1) {
  geometry::PlaneEstimate estimate;
  estimate.camera.focal_px = 0.8 * std::max(size.width, size.height);
  estimate.camera.principal = {size.width / 2.0, size.height / 2.0};
  estimate.camera.lens.k1 = k1;
  Eigen::Matrix3d flip;  // The card's y runs up, the photo's down.
  flip << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  estimate.camera_from_card.rotation =
      geometry::RotationFromVector({tilt, 0, 0}) *
      geometry::RotationFromVector({0, 0, roll}) * flip;
  estimate.camera_from_card.translation =
      Eigen::Vector3d(0, 0, distance_mm) -
      estimate.camera_from_card.rotation *
          Eigen::Vector3d(target.x, target.y, 0);
  estimate.scale = geometry::ScaleSource::kCard;
  return estimate;
}

}  // namespace plumbfoot::find
