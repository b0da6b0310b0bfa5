// SPDX-License-Identifier: Apache-2.0
/// @file
/// How well a line that is laid into a picture follows an edge: what the finder
/// by image processing sees with.
#pragma once

#include <opencv2/core/mat.hpp>
#include <opencv2/core/types.hpp>
#include <span>
#include <vector>

#include "plumbfoot/find/plane_image.h"

namespace plumbfoot::find {

/// Places of a line at equal steps, each with its unit normal.
struct LinePlace {
  cv::Point2f at;      ///< [px], pixel corners counted as in the photo.
  cv::Point2f normal;  ///< Unit vector.
};

/// The colour gradient of a picture.
class EdgeField {
 public:
  /// @param sigma_mm  Blur before the gradient is taken.
  EdgeField(const PlaneImage& image, double sigma_mm);

  /// How much of one edge there is along a piece of a line [0..1]: the sum of
  /// the colour change across it over the sum of all change there. 1 where two
  /// plain colours meet along the line; near 0 in texture, where the changes
  /// point in all directions, and on a plain surface.
  double Coherence(std::span<const LinePlace> piece) const;

  /// The change of colour (CIE L, a, b) across the piece, mean [1/mm].
  cv::Vec3d Change(std::span<const LinePlace> piece) const;

  /// Mean colour (CIE L, a, b) near a place.
  cv::Vec3f Colour(cv::Point2f at) const;
  /// Is there a picture of something other than the card?
  bool Seen(cv::Point2f at) const;

 private:
  struct Gradient {
    cv::Vec3f x;
    cv::Vec3f y;
    float size;  ///< Root of the sum of squares of both.
  };
  const Gradient* At(cv::Point2f at) const;

  cv::Mat lab_;
  cv::Mat free_;
  std::vector<Gradient> gradients_;
  float floor_ = 1.0F;
  double px_per_mm_ = 1.0;
};

}  // namespace plumbfoot::find
