// SPDX-License-Identifier: Apache-2.0
/// @file
/// Whether an outline waves as no horn does.
#pragma once

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::find {

/// How far a line stands off its own course over 42 mm, root mean square [mm].
///
/// Where fingers hold a foot, an edge that is followed goes over to them and
/// back, every 15 to 25 mm; a hoof's or a shoe's edge is rounder. The course is
/// the cubic that fits best about each place (A. Savitzky and M. J. E. Golay,
/// Anal. Chem. 36(8), 1964). The first and the last 21 mm, where a heel may
/// turn sharply, are not counted.
///
/// @param line Open [mm].
/// @return 0 for a line too short to tell.
double Roughness(const geometry::CardPolyline& line);

}  // namespace plumbfoot::find
