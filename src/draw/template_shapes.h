// SPDX-License-Identifier: Apache-2.0
/// @file
/// What the sheets and the cutting files of a template have in common.
#pragma once

#include "plumbfoot/draw/shoe_template.h"
#include "plumbfoot/geometry/points.h"

namespace plumbfoot::draw {

/// In the foot frame [mm].
struct FootBounds {
  double low_x;
  double high_x;
  double low_y;
  double high_y;
};

/// Of foot, shoe and clips, with room round them for the nails' numbers.
FootBounds BoundsOf(const ShoeTemplate& shoe_template);

/// A clip laid down flat outside of the edge, as high as it stands.
geometry::FootPolyline ClipShape(const fit::Clip& clip);

}  // namespace plumbfoot::draw
