// SPDX-License-Identifier: Apache-2.0
/// @file
/// What every surface looks like: colour, bumps and gloss at a place.
#pragma once

#include <array>
#include <vector>

#include "scenes/meshes.h"
#include "scenes/scene.h"
#include "scenes/vec.h"

namespace plumbfoot::scenes {

/// A place on a surface, as a ray has found it.
struct SurfacePlace {
  Material material = Material::kGround;
  std::uint32_t tint = 0;
  Vec3 place;   ///< Shape frame [mm].
  Vec3 normal;  ///< Unit, towards the viewer.
  Attributes attributes{};
  double shade = 0.5;      ///< Of a strand.
  double footprint = 0.1;  ///< Size of a pixel there [mm].
};

/// How it reflects light.
struct Surface {
  Vec3 colour;  ///< Diffuse reflectance, linear.
  Vec3 normal;
  double gloss = 0.0;       ///< Strength of the highlight [0..1].
  double sharpness = 20.0;  ///< Its exponent.
};

/// The card's print: which of its places are black.
class CardPrint {
 public:
  explicit CardPrint(const CardSetup& setup);
  /// x, y in nominal card millimetres.
  bool IsBlack(double x, double y) const;

 private:
  bool IsBlackWithoutGain(double x, double y) const;
  CardSetup setup_;
  // tag36h11 as libapriltag draws it: 10 x 10 cells, row 0 at the top.
  std::array<std::array<std::array<bool, 10>, 10>, 5> black_{};
};

class Textures {
 public:
  Textures(const SceneOptions& options, const Layout& layout);
  Surface At(const SurfacePlace& place) const;

 private:
  Surface Wall(const SurfacePlace& p) const;
  Surface Solar(const SurfacePlace& p) const;
  Surface Floor(const SurfacePlace& p) const;
  Surface Card(const SurfacePlace& p) const;
  void Dirty(const SurfacePlace& p, double low, Surface& s) const;

  SceneOptions options_;
  CardPrint print_;
  std::uint32_t seed_;
  Vec3 up_;
  // Two directions along the floor.
  Vec3 along_;
  Vec3 across_;
  Vec3 towards_;
};

}  // namespace plumbfoot::scenes
