// SPDX-License-Identifier: Apache-2.0
/// @file
/// What speaks against points that a finder placed, whatever it said itself.
#pragma once

#include "find/look.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {

/// Doubts what no sole has.
void DoubtSole(const geometry::PlaneMap& map, ViewPoints& points);

/// Doubts points of a sole that don't lie where the outlines of hoof and frog
/// that were seen with them say: heels behind which the outline has long
/// turned, sides of the frog behind its widest place or behind the heel.
void DoubtByOutlines(const Look& look, ViewPoints& points);

/// Puts a heel of a sole that was seen where the outline has long turned to the
/// other place where it may be, if the outline turns there: unsure, for the two
/// contradict each other.
void TurnHeels(const PlaneImage& image, Sightings& seen);

/// Doubts what no foot has from the side.
void DoubtSide(const geometry::PlaneMap& map, ViewPoints& points);

/// No more than `most` of confidence for the ends of the horn at the hairline
/// that the finder placed: how far up under its hair the horn goes on, no photo
/// shows.
void DoubtHairline(ViewPoints& points, double most);

/// No more than `most` of confidence for anything that the finder placed.
void Cap(ViewPoints& points, double most);

/// Takes away the points that the finder placed with less confidence.
void LeaveOpen(ViewPoints& points, double least);
/// Likewise outline and dorsal wall.
void LeaveCurvesOpen(ViewPoints& points, double least);

/// Takes away the ends of a dorsal wall that the finder followed to points that
/// are left open, as far as such a point may be wrong; or all of it, if little
/// is left.
void ShortenWall(const geometry::PlaneMap& map, ViewPoints& points);

/// The covariance of a point that is not sure says how it errs when it is
/// right; this adds that it also may be wrong.
void WidenUnsure(const geometry::PlaneMap& map, ViewPoints& points);

}  // namespace plumbfoot::find
