// SPDX-License-Identifier: Apache-2.0
/// @file
/// The two halves of FindByImageProcessing.
#pragma once

#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {

Sightings FindSoleByImage(const PlaneImage& image);
Sightings FindSideByImage(const PlaneImage& image);

}  // namespace plumbfoot::find
