// SPDX-License-Identifier: Apache-2.0
/// @file
/// The edges of a tag, fitted on the full photo in linear light.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <optional>

#include "card/tags.h"
#include "plumbfoot/card/find_card.h"

namespace plumbfoot::card {

using CornerCovariance = Eigen::Matrix<double, 8, 8>;

/// A tag with the joint covariance of its corners (x, y of each in the order
/// of SeenTag::corners) [px^2]: corners that share an edge are correlated.
struct FittedTag {
  SeenTag seen;
  CornerCovariance covariance = CornerCovariance::Zero();
};

/// Fits the four edges of `rough` again.
///
/// The photo is taken to linear light (the inverse of sRGB's curve, IEC
/// 61966-2-1) and each edge is cut into stations. At each station the pixels
/// near the edge are fitted with a step, blurred by a Gaussian and by the
/// pixel's own width, between two grey levels; the code's white cells behind
/// the black frame are part of the model, so that strong blur does not pull the
/// edge. A robust straight line through the stations is the edge; corners are
/// where edges meet.
///
/// @param rgb    CV_8UC3, red first: the full photo.
/// @param rough  Corners in the photo frame, right to about a third of a cell.
/// @return Nothing if an edge can't be fitted (covered, out of the photo, no
///   contrast).
std::optional<FittedTag> FitEdges(const cv::Mat& rgb, const RoughTag& rough);

}  // namespace plumbfoot::card
