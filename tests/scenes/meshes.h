// SPDX-License-Identifier: Apache-2.0
/// @file
/// Triangles and hairs of everything in a scene, in the shape frame [mm].
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "plumbfoot/geometry/random.h"
#include "scenes/foot_shape.h"
#include "scenes/vec.h"

namespace plumbfoot::scenes {

/// What a surface is made of: which texture it takes.
enum class Material {
  kWall,
  kSolar,
  kBulb,
  kSkinCoat,  ///< Skin under the coat of the leg.
  kHair,
  kShoe,
  kNail,
  kCardFront,
  kBoard,
  kGround,
  kStraw,
  kGrass,
  kHand,
  kGlove,
  kLeather,
  kCloth,
  kSteel,
  kWood,
  kRope,
  kStone,
  kMud,
  kPlastic,
  kPaper,
};

/// Four numbers that a texture may use, at each vertex. For kWall: along the
/// outline [mm], down the wall 0..1, height [mm], -. For kSolar: wall
/// distance, frog distance [mm], bar, sulcus. For kCardFront: card x, y [mm].
/// For pipes: along [mm], round [mm], round [rad], length left to the end [mm].
/// For the rest: two running coordinates [mm].
using Attributes = std::array<double, 4>;

struct Mesh {
  Material material = Material::kGround;
  std::uint32_t tint = 0;  ///< Varies the material from thing to thing.
  bool smooth = true;      ///< Interpolate the normals.
  std::vector<Vec3> places;
  std::vector<Vec3> normals;
  std::vector<Attributes> attributes;
  std::vector<std::array<std::uint32_t, 3>> triangles;

  std::uint32_t Add(Vec3 place, Attributes attribute = {}) {
    places.push_back(place);
    attributes.push_back(attribute);
    return static_cast<std::uint32_t>(places.size() - 1);
  }
  void Quad(std::uint32_t a,
            std::uint32_t b,
            std::uint32_t c,
            std::uint32_t d) {
    triangles.push_back({a, b, c});
    triangles.push_back({a, c, d});
  }
  /// Area-weighted normals of the vertices.
  void ComputeNormals();
};

/// Thin round things, each a chain of straight pieces.
struct Strands {
  Material material = Material::kHair;
  std::uint32_t tint = 0;
  struct Knot {
    Vec3 place;
    double radius = 0.1;
  };
  std::vector<Knot> knots;
  std::vector<std::uint32_t> starts;  ///< Each piece: knot i to i + 1.
  std::vector<float> shade;           ///< Of each piece: 0 dark .. 1 light.

  void AddStrand(const std::vector<Vec3>& chain,
                 double radius,
                 double tip,
                 double shade_of_strand);
};

/// Everything that can be seen.
struct Things {
  std::vector<Mesh> meshes;
  std::vector<Strands> strands;
};

/// How the leg's hair grows.
struct HairStyle {
  double coat_mm = 7.0;     ///< Length of the pastern's hair; 0: none.
  double fringe_mm = 6.0;   ///< Hair over the hairline.
  double feather_mm = 0.0;  ///< Long hair behind the pastern.
  double density = 1.0;     ///< Factor on the number of hairs.
};

void AddFoot(const FootGeometry& foot, Things& things);
/// The foot's shoe alone on a pale board, its ground face in the bearing plane.
void AddLooseShoe(const FootGeometry& foot, Things& things);
void AddHair(const FootGeometry& foot,
             const HairStyle& style,
             geometry::Random& random,
             Things& things);

/// A pipe along `path`, closed at both ends by domes.
Mesh Tube(const std::vector<Vec3>& path,
          const std::vector<double>& radii,
          Material material,
          int sides = 14);
/// A box with centre, half edges along three axes.
Mesh Box(Vec3 centre, Vec3 a, Vec3 b, Vec3 c, Material material);
/// A rough ball.
Mesh Pebble(Vec3 centre,
            Vec3 radii,
            Material material,
            geometry::Random& random);
/// A smooth line through points (Catmull and Rom), `steps` a piece.
std::vector<Vec3> SmoothPath(const std::vector<Vec3>& points, int steps);

}  // namespace plumbfoot::scenes
