// SPDX-License-Identifier: Apache-2.0
/// @file
/// What several looks at one foot agree on.
#pragma once

#include <vector>

#include "find/look.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {

/// Part of the hoof's size by which looks may lie apart and still agree.
// CHOSEN: the bar for pictures without a card, in issue 3.
inline constexpr double kApart = 0.03;

/// The middle one; of an even number the mean of the two in the middle.
/// @param values At least one.
double Median(std::vector<double> values);

/// Several looks at one foot as one, in the frame of the first.
///
/// A point is in the middle of its places (the median of each coordinate), its
/// confidence is the median of theirs, and its covariance also holds how far
/// they lie apart. Where one look in four puts it further from there than
/// kApart of the foot's size, it is kUnlikely at most. The outline is the edge
/// of what most looks take for hoof; the dorsal wall is that of the look which
/// is nearest to the others'. Where one look in four has either of them
/// elsewhere by more than that, its confidence is 0.
///
/// What is seen of frog and shoe beside their points is the first look's. The
/// looks may see the foot through any window and plane; a foot that they
/// agree on may still be wrongly seen by all of them.
///
/// @param looks At least one.
/// @param size_px The foot's size in the first look's image.
Look Agreed(View view, const std::vector<Look>& looks, double size_px);

}  // namespace plumbfoot::find
