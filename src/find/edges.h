// SPDX-License-Identifier: Apache-2.0
/// @file
/// Edges on the full photo, to a small part of a pixel.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

struct EdgeOptions {
  /// How far the edge may lie from the coarse curve, either way [px].
  double reach_px = 12.0;
  /// The edge is taken to be smooth over this length: waves that are shorter
  /// are taken for noise [px].
  double smooth_px = 20.0;
  /// How sure the coarse curve is: edges far beyond are less likely [px].
  double coarse_sigma_px = 6.0;
  bool closed = false;
};

/// A line that follows an edge.
struct EdgeCurve {
  geometry::PhotoPolyline px;
  double sigma_px = 0.0;        ///< Standard uncertainty across the edge.
  double correlation_px = 0.0;  ///< Errors nearer than this go together.
  double blur_px = 0.0;         ///< Sigma of the edge's blur.
  /// Part of the line along which there is an edge at all [0..1].
  double seen = 0.0;
};

/// Finds the edge near a coarse curve.
///
/// Brightness is sampled in linear light (IEC 61966-2-1) along the normals of
/// the coarse curve. The edge is where the brightness changes fastest under a
/// Gaussian (J. Canny, "A computational approach to edge detection", IEEE TPAMI
/// 8(6), 1986), the same place for every strength of a symmetric blur. Dynamic
/// programming picks one edge along the whole curve, a parabola through the
/// gradient gives the part of a pixel, and a smoothing spline (second
/// differences, robust weights) takes the noise out.
///
/// Uncertainty: the scatter of the single places about the smooth line, not
/// reduced by their number, since an edge of horn is not smooth either; and a
/// twentieth of the blur.
///
/// @param rgb     CV_8UC3, the full photo.
/// @param coarse  At least two different corners (three if closed).
/// @return The edge, or nothing where there is none to be seen along at least
///   half of the curve.
/// @throws std::invalid_argument for another picture or fewer corners.
std::optional<EdgeCurve> FollowEdge(const cv::Mat& rgb,
                                    const geometry::PhotoPolyline& coarse,
                                    const EdgeOptions& options);

/// The nearest place on a curve, and the curve's direction there.
struct OnCurve {
  geometry::PhotoPoint px;
  geometry::PhotoVector direction;  ///< Unit vector.
  double distance_px = 0.0;
};
OnCurve NearestOn(const geometry::PhotoPolyline& curve,
                  bool closed,
                  geometry::PhotoPoint point);

}  // namespace plumbfoot::find
