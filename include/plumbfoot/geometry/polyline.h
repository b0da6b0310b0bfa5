// SPDX-License-Identifier: Apache-2.0
/// @file
/// Lines with corners: length, even spacing, smoothing. A closed polyline does
/// not repeat its first corner.
#pragma once

#include <cstddef>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::geometry {

enum class Ends { kOpen, kClosed };

/// Length along the corners.
template <typename Frame>
double Length(const Polyline<Frame>& line, Ends ends);

/// `count` corners evenly spaced along the line. Open: from the first corner to
/// the last. Closed: starting at the first corner.
/// @param count  At least 2 (open) or 3 (closed).
/// @throws std::invalid_argument for fewer, or for a line without length.
template <typename Frame>
Polyline<Frame> Resample(const Polyline<Frame>& line,
                         std::size_t count,
                         Ends ends);

/// A curve through all corners, with `pieces` chords for each edge: Catmull-Rom
/// splines in the centripetal form, which makes no loops (C. Yuksel et al.,
/// Computer-Aided Design 43(7), 2011). A line that a person set with a few
/// clicks cuts its bends short; this gives the bends back.
/// @param pieces  At least 1.
/// @throws std::invalid_argument for fewer than 1, or a closed line of fewer
///   than 3 corners or an open one of fewer than 2.
template <typename Frame>
Polyline<Frame> Rounded(const Polyline<Frame>& line, int pieces, Ends ends);

/// Unit normals at the corners: Perpendicular() of the chord between the two
/// neighbours. For a closed line that runs anticlockwise (y up) they point
/// inwards.
/// @throws std::invalid_argument for fewer than two corners.
template <typename Frame>
std::vector<Vector<Frame>> Normals(const Polyline<Frame>& line, Ends ends);

/// The corners, smoothed by a Gaussian along the line: each becomes the
/// weighted mean of its neighbours within three sigma, weighted by the length
/// that each stands for. A closed line shrinks by sigma^2 / (2 R) where its
/// radius is R. The ends of an open line stay, and the window narrows towards
/// them so that a straight line stays straight.
/// @param sigma  Along the line, in its unit; not above zero: nothing is done.
template <typename Frame>
Polyline<Frame> Smooth(const Polyline<Frame>& line, double sigma, Ends ends);

}  // namespace plumbfoot::geometry
