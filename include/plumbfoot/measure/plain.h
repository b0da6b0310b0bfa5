// SPDX-License-Identifier: Apache-2.0
/// @file
/// The measures of a view whose points are millimetres already: of a foot that
/// was measured, or of what would be left of it after a trim. No uncertainty.
#pragma once

#include <array>
#include <optional>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::measure {

/// One view in millimetres. Frame: any whose x and y are as the foot frame's
/// (solar: y to the horse's left; lateral: x towards the toe, y up), moved or
/// turned; the foot frame is laid anew.
struct PlainView {
  View view = View::kSolar;
  std::array<std::optional<geometry::FootPoint>, geometry::kPointCount> points;
  geometry::FootPolyline outline;      ///< Solar, closed; empty: none.
  geometry::FootPolyline dorsal_wall;  ///< Lateral, hairline first.

  const std::optional<geometry::FootPoint>& at(PointId id) const {
    return points[static_cast<std::size_t>(id)];
  }
  std::optional<geometry::FootPoint>& at(PointId id) {
    return points[static_cast<std::size_t>(id)];
  }
};

/// Its numbers, and the view once more in its own foot frame.
struct PlainMeasures {
  /// By MeasureId; NaN where the points don't give one.
  std::array<double, kMeasureCount> values{};
  PlainView foot;
  std::optional<geometry::FootPoint> widest_left;
  std::optional<geometry::FootPoint> widest_right;
  double axis_y = 0.0;  ///< Solar: y of the frog axis [mm].

  double value(MeasureId id) const {
    return values[static_cast<std::size_t>(id)];
  }
};

/// Definitions, axis and toe line are those of MeasureView.
///
/// The dorsal wall's own noise is not known here: it is taken to be 0.3 mm over
/// lengths of 3 mm, so that a toe angle can differ from that of the photo by
/// hundredths of a degree.
PlainMeasures MeasurePlain(const PlainView& view);

}  // namespace plumbfoot::measure
