// SPDX-License-Identifier: Apache-2.0
/// @file
/// Puts the things of a scene in their places: foot, card, ground, hands,
/// tools.
#pragma once

#include "scenes/foot_shape.h"
#include "scenes/meshes.h"
#include "scenes/scene.h"

namespace plumbfoot::scenes {

Things BuildThings(const SceneOptions& options,
                   const FootGeometry& foot,
                   const Layout& layout);

}  // namespace plumbfoot::scenes
