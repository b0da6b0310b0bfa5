// SPDX-License-Identifier: Apache-2.0
/// @file
/// Walking along the bearing edge.
#pragma once

#include <cstddef>
#include <vector>

#include "plumbfoot/fit/sole.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::fit {

/// Lengths along an open line from its first corner to each corner.
std::vector<double> LengthsTo(const geometry::FootPolyline& line);

/// A line that is walked by its length. Its left (y up) points out of the foot:
/// it runs from the foot's left heel round the toe to the right one, which is
/// clockwise where x is right and y is up.
class Walk {
 public:
  /// @throws std::invalid_argument for fewer than two corners.
  explicit Walk(geometry::FootPolyline line);

  double length() const { return lengths_.back(); }
  const geometry::FootPolyline& line() const { return line_; }
  /// The place `along` from the first corner; kept within the line.
  geometry::FootPoint At(double along) const;
  /// Unit vector towards the end of the line, of the chord of 2 x reach about
  /// the place, which a noisy edge turns less than its own steps.
  geometry::FootVector Direction(double along, double reach) const;
  /// Unit vector out of the foot, square to Direction.
  geometry::FootVector Outwards(double along, double reach) const;
  /// How far along the place nearest to the point lies.
  double Nearest(geometry::FootPoint point) const;

 private:
  geometry::FootPolyline line_;
  std::vector<double> lengths_;
};

/// The place on the segment from a to b nearest to p.
geometry::FootPoint NearestOnSegment(geometry::FootPoint a,
                                     geometry::FootPoint b,
                                     geometry::FootPoint p);

/// Half of the chord that a direction of the bearing edge is taken over [mm].
/// CHOSEN: photos leave half a millimetre of noise, a toe's radius is 60 mm.
inline constexpr double kDirectionReach = 6.0;

/// Where the edge is crossed by the frog axis at the toe: how far along the
/// wall.
double ToeCentre(const Sole& sole, const Walk& wall);

}  // namespace plumbfoot::fit
