// SPDX-License-Identifier: Apache-2.0
/// @file
/// The photo resampled to the measured plane: what a finder looks at. The scale
/// is known there, so a hoof has its true size.
#pragma once

#include <opencv2/core/mat.hpp>
#include <vector>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

/// A square piece of the plane.
struct PlaneWindow {
  geometry::CardPoint centre;  ///< [mm]
  geometry::CardVector right;  ///< Unit vector along the image's +x.
  geometry::CardVector down;   ///< Unit vector along the image's +y.
  double side_mm = 300.0;
};

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
  /// Lateral with a card: the ground on which the card stands, as the image's
  /// y at x = 0 and at x = side; below zero without a card.
  double ground_left_px = -1.0;
  double ground_right_px = -1.0;
};

/// The plane's place at a pixel of the image, and back.
geometry::CardPoint CardFromImage(const PlaneImage& image, double x, double y);
cv::Point2d ImageFromCard(const PlaneImage& image, geometry::CardPoint point);

/// Where a foot is to be expected, the likeliest place first. The photo's up is
/// the window's up as nearly as a turn allows.
///
/// Solar: in the corner of the L (300 mm wide), or in the photo's middle where
/// the card has no inner corner or there is none. Lateral: on the line of the
/// card's lower edge, beside the card on the side where there is more picture,
/// then on the other (420 mm wide).
///
/// @param layout  The card that defines the plane; null without a card.
std::vector<PlaneWindow> ExpectedWindows(View view,
                                         cv::Size photo_size,
                                         const geometry::PlaneMap& map,
                                         const card::Layout* layout);

/// Resamples the photo, lens included. Where the photo is finer than the image
/// it is averaged, so that nothing aliases.
///
/// @param rgb      CV_8UC3.
/// @param layout   The card that lies in the plane, to be masked; may be null.
/// @param side_px  Of the image, at least 16.
/// @throws std::invalid_argument for another picture or a smaller image.
PlaneImage ResampleToPlane(const cv::Mat& rgb,
                           const geometry::PlaneMap& map,
                           const PlaneWindow& window,
                           int side_px = 512,
                           const card::Layout* layout = nullptr);

}  // namespace plumbfoot::find
