// SPDX-License-Identifier: Apache-2.0
/// @file
/// How the network is asked and how its maps are read: what the trained finder
/// is made of, for its tests.
#pragma once

#include <array>
#include <memory>
#include <opencv2/core/mat.hpp>
#include <opencv2/core/matx.hpp>
#include <opencv2/dnn/dnn.hpp>
#include <vector>

#include "plumbfoot/geometry/foot.h"

namespace plumbfoot::find {

/// The sides at which the network is asked; it was trained at both.
inline constexpr int kWidePx = 256;
inline constexpr int kClosePx = 384;
/// A map has a cell for so many pixels each way.
inline constexpr int kStride = 2;
/// What a point's likelihood means, and how far around its places count for its
/// covariance; the calibration was made with the same.
inline constexpr double kNearMm = 5.0;
inline constexpr double kAroundMm = 10.0;

/// Masks of the network, in the order of its output after the 12 points.
enum class Mask { kHoof, kFrog, kShoe, kLimb, kCard, kWall };

/// What the network says of one picture. Maps are logits, half as large as the
/// picture.
struct NetworkAnswer {
  std::array<cv::Mat, geometry::kPointCount> points;  ///< CV_32F
  std::array<cv::Mat, 6> masks;                       ///< CV_32F
  double foot = 0.0;  ///< How likely it is that this view of a foot is there.
};

/// Asks the network about a square picture.
/// @param rgb   CV_8UC3; the side a multiple of 32.
/// @param known CV_8U: 0 where the picture shows nothing.
/// @param card  CV_8U: 255 where the card lies.
NetworkAnswer AskNetwork(cv::dnn::Net& network,
                         View view,
                         const cv::Mat& rgb,
                         const cv::Mat& known,
                         const cv::Mat& card);

/// The network as it is compiled into the program.
cv::dnn::Net LoadNetwork();

/// Where a point's map says that it is.
struct PointReading {
  cv::Point2d at;           ///< In the picture's pixels, from its corner.
  double likelihood = 0.0;  ///< Seen at all, and within 5 mm of there [0..1].
  cv::Matx22d spread;       ///< Second moments of its places around [px^2].
};

/// Reads a map: a softmax over its cells and one more of logit 0, "not seen".
/// The place is the middle of the disc of 5 mm that holds most of it.
/// @param mm_per_px of the picture that the network was shown.
PointReading ReadPoint(const cv::Mat& map, double mm_per_px);

/// Reads a map as if what it holds within 5 mm of the first reading were not
/// there. The likelihood is that of the whole map.
PointReading ReadSecond(const cv::Mat& map,
                        const PointReading& first,
                        double mm_per_px);

/// How likely a map makes it that the point is seen and within 5 mm of a place
/// [0..1]; at most about PointReading::likelihood.
/// @param at In the picture's pixels, from its corner.
double LikelihoodAt(const cv::Mat& map, cv::Point2d at, double mm_per_px);

}  // namespace plumbfoot::find
