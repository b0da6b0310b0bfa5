// SPDX-License-Identifier: Apache-2.0
/// @file
/// Feet with known shape for the tests of `fit`.
#pragma once

#include "measure/foot_model.h"
#include "plumbfoot/fit/sole.h"
#include "plumbfoot/fit/trim.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::fit {

/// A solar view of the model, in millimetres.
measure::PlainView ViewOf(const measure::Sole& model, int corners = 180);
/// A lateral view of the model.
measure::PlainView ViewOf(const measure::Side& model, int corners = 64);

/// A sole that MakeSole takes.
/// @throws std::logic_error if it doesn't.
Sole SoleOf(const measure::PlainView& view,
            geometry::Foot foot = geometry::Foot::kLeftFore);

/// A random foot of any leg.
Sole RandomFoot(geometry::Random& random);

/// A view of corners that a test makes, with heels and toe.
measure::PlainView ViewOf(geometry::FootPolyline outline,
                          geometry::FootPoint heel_left,
                          geometry::FootPoint heel_right,
                          geometry::FootPoint toe);

/// Half a circle of the radius round the toe with straight branches, corners
/// at most 0.2 mm apart; heels at x = 0.
measure::PlainView HalfCircleWithBranches(double radius, double branches);

/// Measures of the model's side and sole with the given standard uncertainty.
FootToTrim FootOf(const measure::Side& side,
                  const measure::Sole& sole,
                  double angle_sigma = 0.0,
                  double mm_sigma = 0.0);

}  // namespace plumbfoot::fit
