// SPDX-License-Identifier: Apache-2.0
/// @file
/// Areas with corners. A polygon is a closed polyline that does not repeat its
/// first corner; where not said otherwise it does not cross itself.
#pragma once

#include <vector>

#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::geometry {

/// Area by the shoelace formula: above zero if the corners run anticlockwise
/// in a frame whose y runs up. Zero for fewer than three corners.
template <typename Frame>
double SignedArea(const Polyline<Frame>& polygon);

/// Centre of the area.
/// @throws std::invalid_argument for a polygon without area.
template <typename Frame>
Point<Frame> Centroid(const Polyline<Frame>& polygon);

/// Is the point inside (even-odd rule)? On the edge it may be either.
template <typename Frame>
bool Contains(const Polyline<Frame>& polygon, Point<Frame> point);

/// Smallest convex polygon round the points, anticlockwise (y up), without
/// corners on its straight edges (A. M. Andrew, Inf. Proc. Letters 9(5), 1979).
template <typename Frame>
Polyline<Frame> ConvexHull(Polyline<Frame> points);

/// The least and the greatest distance of two parallel lines that hold the
/// polygon between them (calliper widths).
struct FeretWidths {
  double least = 0.0;
  double greatest = 0.0;
};
/// @throws std::invalid_argument for points without area.
template <typename Frame>
FeretWidths Feret(const Polyline<Frame>& points);

/// The mirror image in a line, in reversed order so that the corners run the
/// same way round.
template <typename Frame>
Polyline<Frame> Mirrored(const Polyline<Frame>& polygon,
                         const Line<Frame>& mirror);

/// The polygon grown by `distance` on every side (shrunk if below zero), with
/// round corners: none, one or more pieces. By Clipper (A. Johnson; B. R.
/// Vatti, Comm. ACM 35(7), 1992) on whole numbers: corners are rounded to one
/// part in 10^9 of the size, arcs to 1/10000 of the distance.
template <typename Frame>
std::vector<Polyline<Frame>> Offset(const Polyline<Frame>& polygon,
                                    double distance);

/// What lies within `distance` of an open line, on both sides of it; the ends
/// are cut square, so that nothing lies beyond them. By Clipper, as Offset.
/// @param distance  Above zero. @return None for fewer than two corners.
template <typename Frame>
std::vector<Polyline<Frame>> Band(const Polyline<Frame>& line, double distance);

/// What the areas of `a` and of `b` share: none, one or more pieces,
/// anticlockwise (y up); a hole is a clockwise one. By Clipper, as Offset.
template <typename Frame>
std::vector<Polyline<Frame>> Intersection(
    const std::vector<Polyline<Frame>>& a,
    const std::vector<Polyline<Frame>>& b);

/// Area of what of `polygon` is not covered by `cover`. By Clipper, as Offset.
template <typename Frame>
double DifferenceArea(const Polyline<Frame>& polygon,
                      const Polyline<Frame>& cover);

}  // namespace plumbfoot::geometry
