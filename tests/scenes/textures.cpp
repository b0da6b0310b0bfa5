// SPDX-License-Identifier: Apache-2.0
#include "scenes/textures.h"

extern "C" {
#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
}

#include <cstdlib>
#include <numbers>

#include "scenes/noise.h"

namespace plumbfoot::scenes {
namespace {

// Tilts a normal by the gradient of a height [mm].
Vec3 Bumped(Vec3 normal, Vec3 gradient, double height) {
  const Vec3 slope = height * gradient;
  return Normalised(normal - (slope - Dot(slope, normal) * normal));
}

// The thumb that holds the card: see stage.cpp.
constexpr std::uint32_t kThumb = 20;
constexpr Vec3 kMudColour{0.155, 0.115, 0.075};
constexpr Vec3 kDustColour{0.40, 0.35, 0.28};

}  // namespace

CardPrint::CardPrint(const CardSetup& setup) : setup_(setup) {
  apriltag_family_t* family = tag36h11_create();
  for (int id = 0; id < 5; ++id) {
    image_u8_t* image = apriltag_to_image(family, id);
    for (int r = 0; r < 10; ++r) {
      for (int c = 0; c < 10; ++c) {
        black_[static_cast<std::size_t>(id)][static_cast<std::size_t>(r)]
              [static_cast<std::size_t>(c)] =
                  image->buf[r * image->stride + c] < 128;
      }
    }
    // As image_u8_destroy does, which lives in a library of its own.
    std::free(image->buf);
    std::free(image);
  }
  tag36h11_destroy(family);
}

bool CardPrint::IsBlackWithoutGain(double x, double y) const {
  constexpr double kCell = kTagSide / 8;
  for (std::size_t id = 0; id < 5; ++id) {
    const double dx = x - kTagCentres[id][0] + 5 * kCell;
    const double dy = kTagCentres[id][1] + 5 * kCell - y;
    if (dx < 0 || dy < 0 || dx >= 10 * kCell || dy >= 10 * kCell) continue;
    if (!setup_.tags[id] && !setup_.muddy) return false;
    return black_[id][static_cast<std::size_t>(dy / kCell)]
                 [static_cast<std::size_t>(dx / kCell)];
  }
  // Millimetre ticks along both outer edges: 1 mm apart, every fifth and tenth
  // longer, 0.2 mm wide.
  const auto tick = [](double along, double off) {
    const double nearest = std::round(along);
    if (nearest < 2 || nearest > 158) return false;
    if (std::abs(along - nearest) > 0.1) return false;
    const auto mm = static_cast<int>(nearest);
    const double length = mm % 10 == 0 ? 3.2 : mm % 5 == 0 ? 2.4 : 1.5;
    return off < length;
  };
  if (tick(x, y) || tick(y, x)) return true;
  // Two crosses 150 mm apart, in arm A's outer margin.
  for (const double cx : {5.0, 155.0}) {
    const double dx = std::abs(x - cx);
    const double dy = std::abs(y - 4.6);
    if ((dx < 0.08 && dy < 1.2) || (dy < 0.08 && dx < 1.2)) return true;
  }
  return false;
}

bool CardPrint::IsBlack(double x, double y) const {
  const double g = setup_.gain_mm;
  if (g == 0) return IsBlackWithoutGain(x, y);
  bool any = false;
  bool all = true;
  for (const double dx : {-std::abs(g), std::abs(g)}) {
    for (const double dy : {-std::abs(g), std::abs(g)}) {
      const bool black = IsBlackWithoutGain(x + dx, y + dy);
      any = any || black;
      all = all && black;
    }
  }
  return g > 0 ? any : all;
}

Textures::Textures(const SceneOptions& options, const Layout& layout)
    : options_(options),
      print_(options.card),
      seed_(static_cast<std::uint32_t>(options.appearance.seed * 7919)),
      up_(options.view == geometry::View::kSolar ? options.light.up
                                                 : Vec3{0, 0, 1}) {
  along_ = Normalised(layout.photo_right - Dot(layout.photo_right, up_) * up_);
  across_ = Cross(up_, along_);
  towards_ = layout.towards_camera;
}

void Textures::Dirty(const SurfacePlace& p, double low, Surface& s) const {
  const Appearance& a = options_.appearance;
  const double patches =
      Fractal(p.place, 22, 4, 0.55, p.footprint, seed_ + 41).value;
  const double mud = SmoothStep(
      0.15, 0.35, patches - 0.75 + 0.85 * a.mud * low + 0.25 * a.mud);
  if (mud > 0) {
    const NoiseValue grain =
        Fractal(p.place, 2.5, 4, 0.6, p.footprint, seed_ + 43);
    const Vec3 colour = (1 + 0.35 * grain.value) * kMudColour;
    s.colour = Mix(s.colour, colour, 0.92 * mud);
    s.gloss = Mix(s.gloss, 0.02 + 0.2 * a.wet, mud);
    s.normal = Bumped(s.normal, grain.gradient, 0.45 * mud);
  }
  const double dust =
      a.dust *
      Clamp01(0.55 +
              0.6 *
                  Fractal(p.place, 14, 4, 0.6, p.footprint, seed_ + 47).value);
  s.colour = Mix(s.colour, kDustColour, 0.55 * dust);
  s.gloss *= 1 - 0.8 * dust;
}

Surface Textures::Wall(const SurfacePlace& p) const {
  const Appearance& a = options_.appearance;
  const double along = p.attributes[0];
  const double down = p.attributes[1];
  Surface s;
  // Tubules: fine lines down the wall. Stripes: whole bands of them.
  const NoiseValue fine =
      Fractal({along, 6 * down, 0}, 1.1, 3, 0.7, p.footprint, seed_ + 1);
  const double band =
      Fractal({along, 9 * down, 3}, 26, 4, 0.55, p.footprint, seed_ + 2).value;
  const double pigment =
      SmoothStep(-0.18, 0.18, a.horn_darkness * 2 - 1 + 0.9 * band);
  s.colour = Mix(a.horn_light, a.horn_dark, pigment);
  s.colour = (1 + 0.16 * fine.value) * s.colour;
  // Growth rings run parallel to the hairline, a little uneven.
  const double depth = down * options_.shape.dorsal_length;
  const double wobble =
      1.3 *
      Fractal({along, depth, 9}, 30, 2, 0.5, p.footprint, seed_ + 3).value;
  const double ring_place = (depth + wobble) / 7.5;
  const double ring = std::sin(
      2 * std::numbers::pi *
      (ring_place + 0.25 * Noise({ring_place * 0.6, 0, 0}, seed_ + 4).value));
  s.colour = (1 + 0.10 * a.rings * ring) * s.colour;
  // The periople: a pale band under the hairline.
  const double periople = SmoothStep(0.16, 0.02, down + 0.03 * fine.value);
  s.colour = Mix(s.colour, Mix(s.colour, {0.42, 0.36, 0.28}, 0.6), periople);
  // Weathered towards the ground.
  const double chips =
      Fractal({along, depth, 17}, 9, 4, 0.6, p.footprint, seed_ + 5).value;
  s.colour = (1 + 0.18 * chips * SmoothStep(0.3, 1.0, down)) * s.colour;
  const Vec3 ring_way = Vec3{0, 0, 1};
  s.normal =
      Bumped(p.normal,
             ring_way,
             0.10 * a.rings * std::cos(2 * std::numbers::pi * ring_place));
  const NoiseValue rough =
      Fractal(p.place, 3.0, 3, 0.5, p.footprint, seed_ + 6);
  s.normal = Bumped(s.normal, rough.gradient, 0.10);
  s.gloss = 0.10 + 0.5 * a.wet;
  s.sharpness = 18 + 60 * a.wet;
  Dirty(p, SmoothStep(0.4, 1.0, down), s);
  s.colour = (1 - 0.45 * a.wet) * s.colour;
  return s;
}

Surface Textures::Solar(const SurfacePlace& p) const {
  const Appearance& a = options_.appearance;
  const FootShape& f = options_.shape;
  const double wall = p.attributes[0];
  const double frog = p.attributes[1];
  const double bar = p.attributes[2];
  const double groove = p.attributes[3];
  Surface s;
  const double wall_width =
      Mix(f.wall_heel, f.wall_toe, SmoothStep(0, f.length, p.place.x));
  const double wobble =
      0.6 * Fractal(p.place, 6, 3, 0.5, p.footprint, seed_ + 11).value;
  const double inner = wall - wall_width + wobble;

  // Horn of the wall, cut across: pale when pared, tubules as dots, outer
  // layer pigmented.
  const double speckle =
      Fractal(p.place, 0.9, 3, 0.8, p.footprint, seed_ + 12).value;
  const Vec3 cut =
      Mix(Vec3{0.42, 0.35, 0.26}, Vec3{0.58, 0.50, 0.38}, a.trimmed);
  const double band =
      Fractal({p.place.x, p.place.y, 5}, 26, 4, 0.55, p.footprint, seed_ + 2)
          .value;
  const double pigment =
      SmoothStep(-0.18, 0.18, a.horn_darkness * 2 - 1 + 0.9 * band);
  const double outer =
      1 - SmoothStep(0.45 * wall_width, 0.75 * wall_width, wall);
  Vec3 wall_colour =
      Mix(cut, Mix(cut, 2.2 * a.horn_dark, 0.75), pigment * outer);
  wall_colour = (1 + 0.12 * speckle) * wall_colour;

  // The sole: flakes when untrimmed, knife marks when pared.
  const NoiseValue flakes =
      Fractal(p.place, 11, 5, 0.6, p.footprint, seed_ + 13);
  const double layers = flakes.value * 3 - std::floor(flakes.value * 3);
  const Vec3 old_sole{0.30, 0.245, 0.18};
  const Vec3 pared{0.56, 0.49, 0.39};
  Vec3 sole = Mix(old_sole, pared, a.trimmed);
  sole = (1 + 0.22 * flakes.value + 0.16 * (1 - a.trimmed) * (layers - 0.5)) *
         sole;
  const double knife = std::sin(0.55 * p.place.x + 0.2 * p.place.y +
                                3 * Noise(0.04 * p.place, seed_ + 14).value);
  sole = (1 + 0.05 * a.trimmed * knife) * sole;
  // Dark old blood or thrush stains here and there.
  const double stain = SmoothStep(
      0.35, 0.7, Fractal(p.place, 30, 4, 0.55, p.footprint, seed_ + 15).value);
  sole = Mix(sole, {0.14, 0.10, 0.075}, 0.5 * stain);

  s.colour = inner < 0 ? wall_colour : sole;
  // The white line: waxy yellow, with darker stripes across it.
  const double in_line = Bump(0.75 * f.white_line, inner - f.white_line / 2);
  const double lamellae =
      Noise({2.2 * p.place.x, 2.2 * p.place.y, 0}, seed_ + 16).value;
  const Vec3 line =
      (1 + 0.2 * lamellae) *
      Mix(Vec3{0.34, 0.25, 0.14}, Vec3{0.66, 0.53, 0.30}, a.trimmed);
  s.colour = Mix(s.colour, line, std::sqrt(in_line) * 0.85);
  const double seam = Bump(0.7, inner - f.white_line - 0.2);
  s.colour = (1 - 0.35 * seam) * s.colour;
  s.colour = Mix(s.colour, 0.85 * wall_colour, 0.7 * bar);

  NoiseValue bumps = Fractal(p.place, 7, 5, 0.55, p.footprint, seed_ + 17);
  double height = Mix(0.9, 0.35, a.trimmed);
  s.gloss = 0.07;

  // The frog: rubbery, darker, ragged at its edge.
  const double ragged =
      0.8 * Fractal(p.place, 5, 3, 0.55, p.footprint, seed_ + 18).value;
  const double on_frog = 1 - SmoothStep(-0.4, 0.5, frog - 0.6 + 0.5 * ragged);
  if (on_frog > 0) {
    const NoiseValue grain = Fractal(
        {0.7 * p.place.x, p.place.y, 0}, 8, 5, 0.6, p.footprint, seed_ + 19);
    const Vec3 rubber =
        Mix(Vec3{0.135, 0.12, 0.105}, Vec3{0.40, 0.35, 0.29}, a.trimmed * 0.85);
    s.colour = Mix(s.colour, (1 + 0.28 * grain.value) * rubber, on_frog);
    bumps = grain;
    height = Mix(height, 0.8, on_frog);
    s.gloss = Mix(s.gloss, 0.12, on_frog);
  }
  if (inner < -0.5) height *= 0.25;
  s.normal = Bumped(p.normal, bumps.gradient, height);

  // Dirt settles in the grooves.
  const double deep = Clamp01(groove * 1.1);
  const Vec3 packed = (0.7 + 0.3 * bumps.value) * kMudColour;
  s.colour = Mix(s.colour, packed, deep * Mix(0.9, 0.45, a.trimmed));
  const double dirt =
      SmoothStep(0.1,
                 0.6,
                 Fractal(p.place, 18, 5, 0.6, p.footprint, seed_ + 20).value -
                     0.45 + 0.9 * a.mud * (1 - 0.5 * a.trimmed));
  s.colour = Mix(s.colour, (1 + 0.3 * speckle) * kMudColour, 0.85 * dirt);
  const double dust = a.dust * (1 - 0.6 * a.trimmed);
  s.colour = Mix(s.colour, kDustColour, 0.3 * dust);
  s.gloss += 0.4 * a.wet;
  s.sharpness = 14 + 40 * a.wet;
  s.colour = (1 - 0.4 * a.wet) * s.colour;
  return s;
}

Surface Textures::Floor(const SurfacePlace& p) const {
  const Appearance& a = options_.appearance;
  Surface s;
  s.normal = p.normal;
  const double x = Dot(p.place, along_);
  const double y = Dot(p.place, across_);
  const Vec3 flat{x, y, 0};
  const double foot = p.footprint;
  const auto bump = [&](const NoiseValue& n, double height) {
    const Vec3 g = n.gradient.x * along_ + n.gradient.y * across_;
    s.normal = Bumped(s.normal, g, height);
  };
  const double wide = Fractal(flat, 160, 4, 0.5, foot, seed_ + 60).value;
  switch (options_.ground) {
    case Ground::kConcrete: {
      const NoiseValue n = Fractal(flat, 12, 6, 0.65, foot, seed_ + 61);
      s.colour = (0.42 + 0.05 * n.value + 0.05 * wide) * Vec3{1, 0.97, 0.92};
      const double crack =
          std::abs(Fractal(flat, 240, 5, 0.55, foot, seed_ + 62).value);
      s.colour = Mix(0.3 * s.colour, s.colour, SmoothStep(0, 0.012, crack));
      const Cell pit = NearestDot(x, y, 9, seed_ + 63);
      if (pit.id % 5 == 0) {
        s.colour =
            Mix(0.6 * s.colour, s.colour, SmoothStep(0.3, 0.9, pit.distance));
      }
      bump(n, 0.12);
      s.gloss = 0.03;
      break;
    }
    case Ground::kRubber: {
      const NoiseValue n = Fractal(flat, 5, 4, 0.6, foot, seed_ + 64);
      s.colour = (0.055 + 0.012 * n.value + 0.012 * wide) * Vec3{1, 1, 1.02};
      const Cell fleck = NearestDot(x, y, 7, seed_ + 65);
      if (fleck.distance < 0.9 && fleck.id % 3 == 0) {
        s.colour = Vec3{0.22, 0.21, 0.20};
      }
      bump(n, 0.25);
      s.gloss = 0.08;
      break;
    }
    case Ground::kDirt: {
      const NoiseValue n = Fractal(flat, 40, 7, 0.54, foot, seed_ + 66);
      s.colour = (1 + 0.28 * n.value + 0.15 * wide) * Vec3{0.21, 0.155, 0.105};
      const Cell stone = NearestDot(x, y, 16, seed_ + 67);
      const double size = 0.6 + 2.6 * ((stone.id >> 8) % 100) / 100.0;
      if (stone.id % 3 == 0 && stone.distance < size) {
        s.colour = Mix(s.colour, {0.33, 0.30, 0.26}, 0.7);
      }
      bump(n, 2.0);
      break;
    }
    case Ground::kSand: {
      const NoiseValue n = Fractal(flat, 60, 8, 0.5, foot, seed_ + 68);
      const double grain = Fractal(flat, 1.2, 2, 0.8, foot, seed_ + 69).value;
      s.colour = (1 + 0.10 * n.value + 0.20 * grain) * Vec3{0.46, 0.38, 0.27};
      bump(n, 2.6);
      break;
    }
    case Ground::kGravel: {
      const Cell stone = NearestDot(x, y, 11, seed_ + 70);
      const Cell small = NearestDot(x, y, 4.5, seed_ + 71);
      const double v = 0.14 + 0.30 * ((stone.id >> 4) % 256) / 255.0;
      const double hue = ((stone.id >> 12) % 256) / 255.0;
      const double edge = SmoothStep(6.4, 3.6, stone.distance);
      s.colour = v * Mix(Vec3{1.0, 0.94, 0.86}, Vec3{0.92, 0.97, 1.05}, hue);
      s.colour = Mix(
          (0.05 + 0.10 * ((small.id >> 6) % 256) / 255.0) * Vec3{1, 0.93, 0.84},
          s.colour,
          edge);
      const NoiseValue n = Fractal(flat, 9, 5, 0.6, foot, seed_ + 72);
      s.colour = (1 + 0.2 * n.value) * s.colour;
      bump(n, 2.5);
      s.gloss = 0.05;
      break;
    }
    case Ground::kGrass: {
      const NoiseValue n = Fractal(flat, 35, 6, 0.6, foot, seed_ + 73);
      s.colour = Mix(Vec3{0.075, 0.115, 0.025},
                     Vec3{0.11, 0.085, 0.045},
                     Clamp01(0.45 + 0.7 * n.value));
      bump(n, 4.0);
      break;
    }
    case Ground::kStraw: {
      const NoiseValue n = Fractal(flat, 25, 6, 0.6, foot, seed_ + 74);
      s.colour = (1 + 0.35 * n.value) * Vec3{0.20, 0.15, 0.085};
      bump(n, 3.0);
      break;
    }
    case Ground::kAsphalt: {
      const Cell stone = NearestDot(x, y, 5.5, seed_ + 75);
      const double v = 0.05 + 0.12 * ((stone.id >> 4) % 256) / 255.0;
      const double edge = SmoothStep(3.1, 1.6, stone.distance);
      s.colour = Mix(0.045, v, edge) * Vec3{1, 0.99, 0.98};
      const NoiseValue n = Fractal(flat, 4, 4, 0.6, foot, seed_ + 76);
      s.colour = (1 + 0.12 * n.value + 0.12 * wide) * s.colour;
      bump(n, 0.5);
      s.gloss = 0.05;
      break;
    }
  }
  s.colour = s.colour * a.ground_tint;
  return s;
}

Surface Textures::Card(const SurfacePlace& p) const {
  Surface s;
  s.normal = p.normal;
  const double x = p.attributes[0];
  const double y = p.attributes[1];
  const bool black = print_.IsBlack(x, y);
  s.colour = black ? Vec3{0.028, 0.027, 0.028} : Vec3{0.80, 0.80, 0.785};
  if (options_.card_only) return s;
  // Handled: thumb smears and grit, faint enough to leave the edges alone.
  const double smear =
      Fractal({x, y, 0}, 45, 4, 0.55, p.footprint, seed_ + 80).value;
  const double grime =
      SmoothStep(0.1, 0.9, smear + 0.5 * options_.appearance.mud);
  s.colour = Mix(s.colour, {0.32, 0.26, 0.19}, (black ? 0.05 : 0.14) * grime);
  s.gloss = 0.04;
  s.sharpness = 10;
  return s;
}

Surface Textures::At(const SurfacePlace& p) const {
  const Appearance& a = options_.appearance;
  Surface s;
  s.normal = p.normal;
  const auto noise = [&](double size, int layers, std::uint32_t k) {
    return Fractal(
        p.place, size, layers, 0.58, p.footprint, seed_ + k + 97 * p.tint);
  };
  switch (p.material) {
    case Material::kWall:
      return Wall(p);
    case Material::kSolar:
      return Solar(p);
    case Material::kGround:
      return Floor(p);
    case Material::kCardFront:
      return Card(p);
    case Material::kBulb: {
      const NoiseValue n = noise(5, 5, 100);
      const NoiseValue folds =
          Fractal({0.5 * p.place.x, p.place.y, 2.2 * p.place.z},
                  9,
                  3,
                  0.5,
                  p.footprint,
                  seed_ + 122);
      const Vec3 horn = Mix(
          Vec3{0.36, 0.28, 0.215}, Vec3{0.10, 0.085, 0.075}, a.horn_darkness);
      s.colour = (1 + 0.18 * n.value + 0.12 * folds.value) * horn;
      // Up at the hairline the coat begins.
      const double ragged = p.attributes[1] + 0.12 * n.value;
      s.colour = Mix(s.colour, 0.8 * a.coat, SmoothStep(0.78, 0.98, ragged));
      // Down at the frog its rubber runs out into the skin.
      const Vec3 rubber = Mix(
          Vec3{0.135, 0.12, 0.105}, Vec3{0.40, 0.35, 0.29}, a.trimmed * 0.85);
      s.colour = Mix((1 + 0.2 * n.value) * rubber,
                     s.colour,
                     SmoothStep(0.0, 0.30, ragged + 0.3 * folds.value));
      s.normal = Bumped(p.normal, n.gradient, 0.35);
      s.normal = Bumped(s.normal, folds.gradient, 0.8);
      s.gloss = 0.08 + 0.3 * a.wet;
      Dirty(p, 0.7, s);
      return s;
    }
    case Material::kSkinCoat: {
      // Between the hairs that are drawn: streaks along the coat's lie.
      const NoiseValue n = Fractal({p.attributes[0], 0.22 * p.attributes[1], 0},
                                   1.6,
                                   4,
                                   0.7,
                                   0.6 * p.footprint,
                                   seed_ + 101);
      const double wide = noise(35, 3, 119).value;
      s.colour = (0.80 + 0.24 * n.value + 0.10 * wide) * a.coat;
      s.normal = Bumped(p.normal, noise(4, 3, 120).gradient, 0.22);
      s.gloss = 0.06;
      const double low = SmoothStep(70, 20, p.place.z);
      s.colour =
          Mix(s.colour,
              kMudColour,
              0.6 * a.mud * low * Clamp01(0.5 + noise(18, 4, 121).value));
      return s;
    }
    case Material::kHair: {
      const double lock = noise(16, 3, 102).value;
      s.colour = (0.62 + 0.55 * p.shade + 0.22 * lock) * a.coat +
                 Vec3{0.006, 0.005, 0.004};
      const double low = SmoothStep(60, 20, p.place.z);
      s.colour = Mix(s.colour, kMudColour, 0.5 * a.mud * low);
      s.gloss = 0.18;
      s.sharpness = 14;
      return s;
    }
    case Material::kShoe: {
      const NoiseValue n = noise(14, 5, 103);
      const double rust =
          0.75 * SmoothStep(-0.6, 1.2, n.value + 0.9 - 1.3 * a.trimmed);
      const double scratch =
          Fractal({0.12 * p.place.x, 2.2 * p.place.y, p.place.z},
                  2,
                  3,
                  0.7,
                  p.footprint,
                  seed_ + 104)
              .value;
      s.colour = (1 + 0.18 * scratch) *
                 Mix(Vec3{0.20, 0.20, 0.21}, Vec3{0.15, 0.085, 0.05}, rust);
      if (p.attributes[2] > 0.5) s.colour = 0.35 * s.colour;
      s.normal = Bumped(p.normal, n.gradient, 0.25);
      s.gloss = Mix(0.45, 0.08, rust);
      s.sharpness = 24;
      Dirty(p, 0.8, s);
      return s;
    }
    case Material::kNail:
      s.colour = {0.19, 0.185, 0.18};
      s.gloss = 0.4;
      s.sharpness = 30;
      return s;
    case Material::kSteel: {
      const NoiseValue n = noise(9, 5, 105);
      s.colour = (1 + 0.2 * n.value) * Vec3{0.23, 0.23, 0.24};
      s.gloss = 0.5;
      s.sharpness = 40;
      return s;
    }
    case Material::kBoard: {
      const NoiseValue n = noise(3, 3, 106);
      s.colour = (1 + 0.15 * n.value) * Vec3{0.48, 0.40, 0.30};
      return s;
    }
    case Material::kHand: {
      const NoiseValue n = noise(3.0, 4, 107);
      const double blush = noise(22, 2, 108).value;
      s.colour = (1 + 0.10 * n.value) * a.skin;
      s.colour =
          s.colour * Vec3{1 + 0.08 * blush, 1 - 0.04 * blush, 1 - 0.06 * blush};
      // Creases at the joints, on one side more than on the other.
      const double joint =
          p.attributes[0] / 25 - std::floor(p.attributes[0] / 25);
      const double crease =
          (Bump(0.05, joint - 0.45) + Bump(0.04, joint - 0.55)) *
          (0.6 + 0.4 * std::cos(p.attributes[2] + p.tint));
      s.colour = (1 - 0.30 * crease) * s.colour;
      s.normal = Bumped(p.normal, n.gradient, 0.28);
      s.gloss = 0.10;
      s.sharpness = 12;
      const double grime =
          SmoothStep(0.1, 0.9, noise(9, 4, 109).value + 0.3 * a.mud);
      s.colour = Mix(s.colour, 0.5 * kMudColour, 0.30 * grime);
      // The thumb's nail faces the viewer.
      if (p.tint == kThumb) {
        const double rim = 0.5 * p.attributes[3] - 6.5;
        const double off = 1.6 * std::hypot(Dot(p.normal, along_), 0.0);
        const double nail =
            SmoothStep(1.0, 0.9, std::hypot(rim / 4.0, off / 0.9)) *
            SmoothStep(0.0, 0.3, Dot(p.normal, towards_));
        s.colour =
            Mix(s.colour, 1.15 * a.skin + Vec3{0.06, 0.05, 0.05}, 0.8 * nail);
        s.gloss = Mix(s.gloss, 0.5, nail);
      }
      return s;
    }
    case Material::kGlove: {
      const NoiseValue n = noise(2.0, 3, 110);
      s.colour = (1 + 0.12 * n.value) * a.glove;
      const double folds = noise(14, 3, 111).value;
      s.colour = (1 + 0.15 * folds) * s.colour;
      s.normal = Bumped(p.normal, n.gradient, 0.4);
      s.gloss = 0.06;
      return s;
    }
    case Material::kLeather: {
      const NoiseValue n = noise(6, 6, 112);
      const double worn = noise(60, 4, 113).value;
      s.colour = (1 + 0.18 * n.value + 0.35 * worn) * a.leather;
      s.normal = Bumped(p.normal, n.gradient, 0.6);
      s.normal = Bumped(s.normal, noise(70, 2, 114).gradient, 10.0);
      s.gloss = 0.10;
      s.sharpness = 12;
      return s;
    }
    case Material::kCloth: {
      const double weave = std::sin(5.2 * p.attributes[0]) *
                           std::sin(5.2 * p.attributes[1]) *
                           Clamp01(1.2 - p.footprint);
      const NoiseValue folds = noise(60, 3, 115);
      s.colour = (1 + 0.10 * weave + 0.15 * folds.value) * a.cloth;
      s.normal = Bumped(p.normal, folds.gradient, 14.0);
      return s;
    }
    case Material::kWood: {
      const double ring = Fractal({0.05 * p.attributes[0], p.attributes[1], 0},
                                  4,
                                  4,
                                  0.6,
                                  p.footprint,
                                  seed_ + 116)
                              .value;
      s.colour = (1 + 0.3 * ring) * Vec3{0.36, 0.235, 0.125};
      return s;
    }
    case Material::kRope: {
      const double lay = std::sin(1.1 * p.attributes[0] + 2 * p.attributes[2]);
      s.colour = (0.8 + 0.3 * lay) *
                 (p.tint % 2 ? Vec3{0.10, 0.16, 0.36} : Vec3{0.42, 0.36, 0.26});
      s.normal = Bumped(p.normal, Normalised({0.3, 0.4, 0.2}), 0.3 * lay);
      return s;
    }
    case Material::kStone: {
      const NoiseValue n = noise(4, 4, 117);
      const double v = 0.16 + 0.26 * HashUniform(p.tint, 3, seed_);
      s.colour = (v * (1 + 0.2 * n.value)) * Vec3{1, 0.95, 0.88};
      s.normal = Bumped(p.normal, n.gradient, 0.5);
      return s;
    }
    case Material::kMud: {
      const NoiseValue n = noise(6, 5, 118);
      s.colour = (1 + 0.35 * n.value) * kMudColour;
      s.normal = Bumped(p.normal, n.gradient, 1.2);
      s.gloss = 0.03 + 0.3 * a.wet;
      return s;
    }
    case Material::kPlastic:
      s.colour = p.tint % 3 == 0   ? Vec3{0.04, 0.10, 0.30}
                 : p.tint % 3 == 1 ? Vec3{0.32, 0.03, 0.03}
                                   : Vec3{0.03, 0.03, 0.03};
      s.gloss = 0.25;
      s.sharpness = 50;
      return s;
    case Material::kPaper: {
      // A sheet of wrapping paper: a little grain, a crease here and there.
      const NoiseValue n = noise(40, 3, 109);
      s.colour = (1 + 0.05 * n.value) * Vec3{0.74, 0.73, 0.70};
      return s;
    }
    case Material::kStraw:
      s.colour = Mix(Vec3{0.28, 0.19, 0.08}, Vec3{0.62, 0.50, 0.27}, p.shade);
      s.gloss = 0.15;
      return s;
    case Material::kGrass:
      s.colour =
          Mix(Vec3{0.045, 0.085, 0.015}, Vec3{0.20, 0.27, 0.06}, p.shade);
      s.gloss = 0.12;
      return s;
  }
  s.colour = {0.18, 0.18, 0.18};
  return s;
}

}  // namespace plumbfoot::scenes
