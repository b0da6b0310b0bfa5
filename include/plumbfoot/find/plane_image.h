// SPDX-License-Identifier: Apache-2.0
/// @file
/// The photo resampled to the measured plane: what a finder looks at. The scale
/// is known there, so a hoof has its true size.
#pragma once

#include <opencv2/core/mat.hpp>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

/// A picture of a square piece of the plane. Its pixels are counted like the
/// photo's: (0, 0) is the outer corner of the top-left pixel, y down.
struct PlaneImage {
  cv::Mat rgb;    ///< CV_8UC3, red first; square.
  cv::Mat known;  ///< CV_8U: 255 where the photo has a picture, 0 beyond it.
  cv::Mat card;   ///< CV_8U: 255 where the card lies; all 0 without a card.
  double px_per_mm = 1.0;
  geometry::CardPoint centre;  ///< The plane's place at the image's centre.
  geometry::CardVector right;  ///< Unit vector along the image's +x.
  geometry::CardVector down;   ///< Unit vector along the image's +y.
};

/// The plane's place at a pixel of the image, and back.
geometry::CardPoint CardFromImage(const PlaneImage& image, double x, double y);
cv::Point2d ImageFromCard(const PlaneImage& image, geometry::CardPoint point);

}  // namespace plumbfoot::find
