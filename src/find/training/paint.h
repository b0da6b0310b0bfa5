// SPDX-License-Identifier: Apache-2.0
/// @file
/// What one pixel of a painted scene looks like.
#pragma once

#include "scene.h"

namespace scene {

/// What the painter writes for a pixel.
struct Painted {
  float r, g, b;  ///< [0..1], as a camera writes them (gamma 2.2).
  int part;       ///< Part that is seen.
  int marks;      ///< The Mark bits.
  float shade;    ///< Light on the surface without its colour [0..1].
  V3 normal;      ///< In the picture's frame: right, down, towards the camera.
};
enum Mark : int {
  kMarkHoof = 1,   ///< Solar: inside the bearing outline, hidden or not.
                   ///< Lateral: horn or shoe that is seen.
  kMarkFrog = 2,   ///< Frog that is seen.
  kMarkShoe = 4,   ///< Shoe that is seen.
  kMarkLimb = 8,   ///< Skin and hair that is seen.
  kMarkCard = 16,  ///< Where the card lies, hidden or not.
  kMarkWall = 32,  ///< Lateral: on the dorsal wall line.
};

HD V3 Rgb(float r, float g, float b) {
  return {r, g, b};
}

/// Colour of a patterned surface at 2-D place (u, v) [mm].
HD V3 SurfaceColour(const Surface& f, float u, float v, float* shine) {
  const float c = cosf(f.turn), n = sinf(f.turn);
  const float x = (c * u + n * v) / f.scale, y = (c * v - n * u) / f.scale;
  const float fine = Fractal({x * 3, y * 3, 0}, f.seed, 3);
  float t = 0;
  float which = 0;
  float dark = 1;
  switch (f.pattern) {
    case kPlain:
      t = 0.3f * (fine - 0.5f) +
          0.5f * Noise({x * 0.2f, y * 0.2f, 0}, f.seed + 9);
      break;
    case kSpeckle:
      t = Step(0.55f, 0.7f, Noise({x * 6, y * 6, 0}, f.seed + 1)) * 0.7f +
          0.4f * (fine - 0.5f);
      break;
    case kStraw: {
      // Three layers of short strokes, each turned.
      for (int k = 0; k < 4; ++k) {
        const float a =
            0.9f * static_cast<float>(k) +
            0.5f * Noise({x * 0.3f, y * 0.3f, 7.0f * static_cast<float>(k)},
                         f.seed);
        const float ca = cosf(a), sa = sinf(a);
        const float px = ca * x + sa * y, py = (ca * y - sa * x) * 9;
        const float row = floorf(py);
        const float seg =
            floorf(px * 0.8f + 17 * Cell(static_cast<int>(row), k, 5, f.seed));
        const float on =
            Cell(static_cast<int>(row), static_cast<int>(seg), k, f.seed);
        if (on > 0.55f) {
          const float across = py - row;
          t = 0.35f + 0.65f * Cell(static_cast<int>(row),
                                   static_cast<int>(seg),
                                   k + 9,
                                   f.seed);
          dark = 0.55f + 0.9f * across * (1 - across) * 2;
        }
      }
      break;
    }
    case kGravel: {
      const float d = Grains(x * 1.3f, y * 1.3f, f.seed, &which);
      t = which;
      dark = 1.1f - 0.9f * f.contrast * Step(0.25f, 0.75f, d);
      break;
    }
    case kPlanks: {
      const float row = floorf(y * 0.25f);
      const float e = y * 0.25f - row;
      t = 0.6f * Noise({x * 0.25f, y * 5, row}, f.seed) +
          0.5f * Cell(static_cast<int>(row), 0, 0, f.seed);
      dark = e < 0.03f ? 0.3f : 1.0f;
      break;
    }
    case kBrick:
    case kTiles: {
      const float row = floorf(y * 0.3f);
      const float shift = f.pattern == kBrick ? 0.5f * row : 0.0f;
      const float bx = x * (f.pattern == kBrick ? 0.14f : 0.3f) + shift;
      const float col = floorf(bx);
      const float e = fminf(fminf(bx - col, 1 - bx + col) * 2,
                            fminf(y * 0.3f - row, 1 - y * 0.3f + row));
      t = 0.6f * Cell(static_cast<int>(row), static_cast<int>(col), 0, f.seed) +
          0.5f * (fine - 0.3f);
      dark = e < 0.04f ? 0.5f : 1.0f;
      break;
    }
    case kCloth:
      t = 0.5f * Noise({x * 0.3f, y * 0.3f, 1}, f.seed) +
          0.3f * sinf(x * 9) * sinf(y * 9);
      dark = 0.75f + 0.5f * Noise({x * 0.15f, y * 0.9f, 2}, f.seed);
      break;
    case kGrass: {
      for (int k = 0; k < 3; ++k) {
        const float a = 1.2f + 0.35f * static_cast<float>(k);
        const float px = cosf(a) * x + sinf(a) * y,
                    py = (cosf(a) * y - sinf(a) * x) * 6;
        const float w = Noise({px * 0.6f, py, static_cast<float>(k)}, f.seed);
        t = fmaxf(t, Step(0.4f, 0.8f, w));
      }
      dark = 0.5f + 0.8f * Noise({x, y, 4}, f.seed);
      break;
    }
    case kBlotch:
      t = Step(0.42f, 0.58f, Fractal({x * 0.5f, y * 0.5f, 0}, f.seed, 3));
      break;
    case kStripes:
      t = Step(-0.2f, 0.2f, sinf(x * 2));
      break;
    default:
      break;
  }
  *shine = f.shine;
  const V3 base =
      Mix(f.a, f.b, Clamp(0.5f + (t - 0.5f) * f.contrast * 2, 0, 1));
  return base * (dark * (1 + 0.35f * (fine - 0.5f)));
}

/// A made-up tag field: which of its cells is black.
HD bool TagInk(const Scene& s, float a, float b) {
  const float cx[5] = {24, 80, 136, 24, 24};
  const float cy[5] = {24, 24, 24, 80, 136};
  for (int i = 0; i < 5; ++i) {
    const float u = a - cx[i] + 18, v = b - cy[i] + 18;
    if (u < 0 || v < 0 || u >= 36 || v >= 36) continue;
    const int x = static_cast<int>(u / 4.5f), y = static_cast<int>(v / 4.5f);
    if (x == 0 || y == 0 || x == 7 || y == 7) return true;
    return Cell(x, y, i, s.seed + 1234) > 0.5f;
  }
  // Ticks along the outer edges.
  const float edge = fminf(a, b), along = fmaxf(a, b);
  if (edge < 4.5f) {
    const float m = along - floorf(along / 5) * 5;
    const float k = along - floorf(along / 10) * 10;
    if (m < 0.35f && (edge < 2.5f || k < 0.4f)) return true;
  }
  return false;
}

HD V3 CardColour(const Scene& s, V3 p) {
  const V3 q = p - s.card_at;
  const float a = Dot(q, s.card_x), b = Dot(q, s.card_y);
  const float n = Dot(q, Cross(s.card_x, s.card_y));
  const bool front = s.lateral ? fabsf(n) > 0.9f : n < -0.9f || n > 0.9f;
  if (!front) return Rgb(0.35f, 0.25f, 0.15f);
  if (TagInk(s, a, b)) return Rgb(0.02f, 0.02f, 0.02f);
  const float dirt =
      Step(0.55f, 0.8f, Fractal({a * 0.03f, b * 0.03f, 0}, s.seed + 41, 3));
  return Mix(
      Rgb(s.paper, s.paper, s.paper * 0.97f), s.mud, dirt * 0.5f * s.dust);
}

/// Colour of the foot's surface at p.
HD V3 FootColour(const Scene& s, int part, V3 p, V3 n, float* shine) {
  const V3 q{p.x, p.y, p.z - (s.shod ? s.shoe_thick : 0.0f)};
  const float rough = Fractal(q * 0.09f, s.seed + 51, 4);
  const float fine = Noise(q * 0.7f, s.seed + 52);
  V3 c{0.5f, 0.5f, 0.5f};
  *shine = 0.05f + 0.5f * s.wet;
  float low = 0;
  const float hair_z = HairlineZ(s, q.x);
  if (part == kHorn || (part == kSole && q.z > 26)) {
    const float turn = atan2f(q.y, q.x - 0.45f * s.length);
    const float h = Clamp(q.z / fmaxf(hair_z, 5.0f), 0.0f, 1.2f);
    const float stripe =
        Step(0.45f, 0.6f, Noise({turn * 4.5f, h * 0.4f, 0}, s.seed + 61));
    c = Mix(s.horn, s.horn2, stripe * s.stripes);
    c = Mix(c, s.horn2, 0.35f * s.stripes * rough);
    const float tube = Noise({turn * 70, h * 2.0f, 1}, s.seed + 62);
    c = c * (1 + s.tubules * (tube - 0.5f));
    const float band =
        Noise({h * 9.0f + 0.4f * rough, turn * 0.4f, 2}, s.seed + 63);
    c = c * (0.8f + 0.4f * band);
    c = Mix(c,
            Rgb(0.45f, 0.4f, 0.33f),
            s.coronet_pale *
                Step(1 - s.coronet_wide, 1 - 0.25f * s.coronet_wide, h));
    if (s.frame) {
      // Leaves of flesh where the wall was.
      const float leaf = Noise({turn * s.leaves, h * 1.5f, 4}, s.seed + 69);
      c = Mix(s.sole, s.line, Step(0.3f, 0.7f, leaf)) * (0.7f + 0.5f * rough);
      // Above them the coronary cushion, full of small warts.
      const float wart = Noise(q * 0.9f, s.seed + 68);
      const V3 cushion = s.frog * (0.45f + 0.9f * Step(0.3f, 0.75f, wart)) *
                         (0.8f + 0.4f * rough);
      c = Mix(c, cushion, CushionShare(s, q.x, q.z));
    }
    if (q.z < 5 && n.z < 0.3f) c = Mix(c, s.rim, 0.25f);
    if (s.burn > 0) {
      c = Mix(c, Rgb(0.04f, 0.025f, 0.015f), s.burn * (1 - Step(2, 7, q.z)));
    }
    if (s.cracks > 0) {
      const float w = turn * 9 + 0.7f * Noise({q.z * 0.12f, 0, 0}, s.seed + 64);
      const float cell = floorf(w);
      if (Cell(static_cast<int>(cell), 0, 0, s.seed + 65) < s.cracks &&
          fabsf(w - cell - 0.5f) < 0.05f &&
          q.z < 45 * Cell(static_cast<int>(cell), 1, 0, s.seed + 65)) {
        c = c * 0.25f;
      }
    }
    *shine += 0.15f;
    // The bulbs of the heels: bare skin, like the frog, or soft horn.
    c = Mix(c,
            Mix(s.frog, s.horn, s.bulb_pale) * (0.6f + 0.5f * rough),
            BulbShare(s, q));
    low = 1 - Step(0.0f, 0.7f, h);
    // Hair that hangs over the hairline.
    const float strand = Noise({turn * 45, q.z * 0.03f, 5}, s.seed + 66);
    if (!s.frame &&
        q.z > hair_z - s.fringe * (0.25f + strand * strand * 1.6f)) {
      const float t = Noise({turn * 60, q.z * 0.05f, 6}, s.seed + 67);
      c = Mix(s.hair, s.hair2, t) * (0.55f + 0.8f * strand);
      *shine = 0.1f;
    }
    if (q.z > hair_z) {
      c = Mix(s.hair, s.hair2, rough);
      *shine = 0.08f;
    }
  } else if (part == kSole) {
    const Under u = UnderOf(s, q.x, q.y);
    const float wall =
        s.wall * Mix(0.72f, 1.0f, Step(0.0f, 0.7f * s.length, q.x));
    const float in = u.inside - wall;
    const float flake = Fractal(q * 0.14f, s.seed + 53, 3);
    V3 sole = Mix(s.sole, s.sole * 0.45f, Step(0.35f, 0.75f, flake));
    sole = Mix(sole,
               Rgb(0.62f, 0.58f, 0.5f),
               s.chalk * Step(0.5f, 0.62f, Fractal(q * 0.2f, s.seed + 54, 3)));
    c = Mix(Mix(s.rim, s.horn, Step(0.55f, 0.1f, u.inside / wall)),
            sole,
            Step(-0.7f, 0.7f, in - 2.5f));
    const float edge = Step(-1.2f, -0.2f, in) * (1 - Step(1.8f, 3.0f, in));
    c = Mix(c, s.line, edge);
    c = Mix(c, s.rim, 0.8f * u.bar);
    // Behind the bearing edge, and then bulb of the heel.
    const float behind = Step(0.5f, -1.0f, u.inside);
    c = Mix(c, Mix(s.horn, s.rim, s.roll_pale) * (0.7f + 0.5f * rough), behind);
    c = Mix(c,
            Mix(s.frog, s.horn, s.bulb_pale) * (0.6f + 0.5f * rough),
            behind * BulbShare(s, q));
    if (u.frog < 2) c = Mix(c, s.frog * 0.6f, 0.7f);
    if (s.pad) c = s.sole * (0.7f + 0.4f * fine);
    if (s.frame) {
      const float turn = atan2f(q.y, q.x - 0.45f * s.length);
      const float leaf =
          Noise({turn * s.leaves, u.inside * 0.05f, 4}, s.seed + 69);
      c = Mix(s.sole, s.sole * 0.6f, Step(0.4f, 0.7f, flake));
      c = Mix(c,
              Mix(s.sole, s.line, Step(0.3f, 0.7f, leaf)),
              1 - Step(0.4f * s.leaf_band, s.leaf_band, u.inside - s.recess));
      if (u.frog < 2) c = s.frog * 0.6f;
    }
    if (s.burn > 0 && !s.pad) {
      c = Mix(c,
              Rgb(0.05f, 0.03f, 0.02f),
              s.burn * (1 - Step(0, 4, in)) * Step(0.2f, 0.6f, rough + 0.2f));
    }
    if (s.cracks > 0) {
      const float r = fabsf(rough - 0.5f);
      if (r < 0.006f) c = c * 0.5f;
    }
    low = s.pad ? 0.3f : Clamp(u.z / (s.concave + 2), 0.0f, 1.3f);
  } else if (part == kFrog) {
    const float cell = Fractal(q * 0.17f, s.seed + 55, 3);
    c = Mix(s.frog, s.frog * 0.4f, Step(0.4f, 0.8f, cell));
    *shine += 0.1f;
    low = 0.4f + 0.05f * q.z;
  } else if (part == kShoe) {
    c = s.iron * (0.7f + 0.6f * rough);
    const float rust = Step(0.5f, 0.75f, Fractal(p * 0.06f, s.seed + 56, 4));
    c = Mix(c, Rgb(0.18f, 0.07f, 0.03f), rust * s.dust);
    *shine = 0.55f * (1 - rust * s.dust);
    low = 0.25f;
    if (s.nails > 0 && p.z < 4.5f) {
      // Nail heads along the fuller.
      const float side = SideOf(s, p.x, p.y);
      const float along = atan2f(p.y, p.x - 0.4f * s.length) * s.nails;
      const float k = along - floorf(along) - 0.5f;
      if (fabsf(side + 0.42f * s.shoe_web) < 2.6f && fabsf(k) < 0.13f &&
          p.x > 0.25f * s.length && p.x < 0.9f * s.length) {
        c = c * (Cell(static_cast<int>(floorf(along)), 7, 0, s.seed) > 0.25f
                     ? 1.8f
                     : 0.15f);
      } else if (s.fuller > 0 && p.z > 0.8f && p.z < s.shoe_thick - 2) {
        c = c * 0.5f;
      }
    }
  } else if (part == kSkin) {
    const float turn = atan2f(q.y, q.x - s.pastern_a.x);
    const V3 ax = Unit(s.pastern_b - s.pastern_a);
    const float along = Dot(q - s.pastern_a, ax);
    const float strand =
        Noise({turn * 26 * s.hair_scale + 0.05f * q.x, along * 0.05f, 0},
              s.seed + 57);
    const float strand2 = Noise(
        {q.x * 0.55f * s.hair_scale, q.y * 0.55f * s.hair_scale, along * 0.07f},
        s.seed + 58);
    c = Mix(s.hair, s.hair2, Step(0.35f, 0.75f, rough));
    c = c * (0.55f + 0.5f * strand + 0.45f * strand2);
    // The bulbs of the heels are bare skin, like the frog.
    const float bulb = Length({q.x - s.bulb_x,
                               fabsf(q.y) - s.bulb_y,
                               q.z - s.bulb_z + 0.35f * s.bulb_r}) /
                       s.bulb_r;
    c = Mix(c,
            Mix(s.frog, s.horn, 0.4f) * (0.6f + 0.5f * rough),
            s.bald * (1 - Step(0.95f, 1.35f, bulb + 0.4f * (fine - 0.5f))));
    if (s.bulb_horn && q.x < 0.3f * s.length) {
      // The hairline runs on round the bulbs; below it they are horn.
      const float ragged = s.fringe * (0.2f + strand * strand2 * 1.5f);
      const float below = hair_z - ragged - q.z;
      const float band = Noise({q.z * 0.3f, q.y * 0.05f, 8}, s.seed + 68);
      c = Mix(c,
              Mix(s.horn, s.bulb_horn > 1 ? s.frog : s.horn2, 0.35f) *
                  (0.65f + 0.4f * rough + 0.2f * band),
              Step(-0.6f, 0.6f, below));
    }
    *shine = 0.08f + 0.3f * s.wet;
    low = 0.6f * (1 - Step(0, 60, along + 20));
  }
  // Mud, dust and straw bits lie in low places first.
  const float where = Fractal(q * 0.045f, s.seed + 71, 4);
  const float at = 1 - s.mud_amount - s.mud_low * low;
  const float mud = Step(at - 0.06f, at + 0.06f, where);
  c = Mix(c, s.mud * (0.7f + 0.6f * fine), mud * 0.95f);
  *shine = Mix(*shine, 0.05f + 0.5f * s.wet, mud);
  c = Mix(c, Rgb(0.35f, 0.3f, 0.24f), 0.35f * s.dust * (0.4f + fine * 0.6f));
  return c;
}

HD V3 ThingColour(const Scene& s, int which, V3 p, float* shine) {
  const Thing& t = s.thing[which];
  const Surface& f = s.surface[t.surface];
  const V3 q = p - t.a;
  return SurfaceColour(f, q.x + 0.6f * q.y, q.z + 0.5f * q.y, shine);
}

HD float MeetPlane(V3 from, V3 dir, V3 at, V3 n) {
  const float d = Dot(dir, n);
  if (fabsf(d) < 1e-4f) return 1e9f;
  const float t = Dot(at - from, n) / d;
  return t > 1 ? t : 1e9f;
}

HD V3 NormalOf(const Scene& s, V3 p, Reachable near) {
  const float e = 0.35f;
  const V3 a{1, -1, -1}, b{-1, -1, 1}, c{-1, 1, -1}, d{1, 1, 1};
  return Unit(a * SolidOf(s, p + a * e, nullptr, nullptr, near) +
              b * SolidOf(s, p + b * e, nullptr, nullptr, near) +
              c * SolidOf(s, p + c * e, nullptr, nullptr, near) +
              d * SolidOf(s, p + d * e, nullptr, nullptr, near));
}

HD float SunReaches(const Scene& s, V3 p) {
  float open = 1;
  float t = 2;
  for (int i = 0; i < 22 && t < 320; ++i) {
    const float d = SolidOf(s, p + s.sun * t, nullptr, nullptr);
    if (d < 0.1f) return 0;
    open = fminf(open, 14 * d / t);
    t += fmaxf(d * 0.9f, 1.5f);
  }
  return Clamp(open, 0, 1);
}

HD Painted PaintPixel(const Scene& s, float u, float v, Reachable near = {}) {
  Painted out{};
  const float mm = s.mm_per_px;
  const V3 target = PlanePoint(s, u * mm, v * mm);
  const V3 dir = Unit(target - s.camera);
  // Solid things all lie within this ball.
  const V3 from_middle = s.camera - s.centre;
  const float radius = 520;
  const float b = Dot(from_middle, dir);
  const float disc = b * b - Dot(from_middle, from_middle) + radius * radius;
  float t = 15, t_end = 0;
  if (disc > 0) {
    t = fmaxf(15.0f, -b - sqrtf(disc));
    t_end = -b + sqrtf(disc);
  }
  const float t_ground =
      s.ground ? MeetPlane(s.camera, dir, s.ground_at, s.ground_n) : 1e9f;
  const float t_back =
      s.back ? MeetPlane(s.camera, dir, s.back_at, s.back_n) : 1e9f;
  const float t_plane = fminf(t_ground, t_back);
  t_end = fminf(t_end, t_plane);
  bool solid = false;
  for (int i = 0; i < 96 && t < t_end; ++i) {
    const float d = SolidOf(s, s.camera + dir * t, nullptr, nullptr, near);
    if (d < 0.08f + 0.00012f * t) {
      solid = true;
      break;
    }
    t += d;
  }
  V3 colour, n;
  float shine = 0;
  V3 p;
  V3 light_colour{1, 1, 1};
  if (solid) {
    p = s.camera + dir * t;
    n = NormalOf(s, p, near);
    int part = kNothing, which = 0;
    SolidOf(s, p + n * -0.05f, &part, &which, near);
    out.part = part;
    if (part == kThing) {
      colour = ThingColour(s, which, p, &shine);
    } else if (part == kCard) {
      colour = CardColour(s, p);
      shine = 0.1f;
    } else {
      colour = FootColour(s, part, p, n, &shine);
      const V3 q{p.x, p.y, p.z - (s.shod ? s.shoe_thick : 0.0f)};
      if (part == kHorn && BulbShare(s, q) > 0.5f) out.part = kSkin;
    }
  } else if (t_plane < 1e8f) {
    const bool ground = t_ground <= t_back;
    p = s.camera + dir * t_plane;
    n = ground ? s.ground_n : s.back_n;
    if (Dot(n, dir) > 0) n = n * -1.0f;
    out.part = kGround;
    const V3 side =
        Unit(Cross(n, fabsf(n.x) < 0.8f ? V3{1, 0, 0} : V3{0, 1, 0}));
    const V3 up = Cross(n, side);
    colour = SurfaceColour(
        s.surface[ground ? 0 : 1], Dot(p, side), Dot(p, up), &shine);
    t = t_plane;
  } else {
    // Open air.
    out.part = kNothing;
    p = s.camera + dir * 3000.0f;
    n = dir * -1.0f;
    colour =
        SurfaceColour(s.surface[1], p.x + 0.3f * p.y, p.z + 0.2f * p.y, &shine);
  }
  if (s.grass > 0 && out.part != kCard) {
    // Blades, straws or clods that stand before the foot.
    const float x =
        target.x + 0.35f * target.z *
                       (Noise({target.x * 0.11f, 1, 0}, s.seed + 91) - 0.5f);
    const float high =
        s.grass * (0.25f + Noise({x * 0.035f, 2, 0}, s.seed + 92)) *
        (0.2f + 1.1f * Noise({x * 0.8f, target.z * 0.01f, 3}, s.seed + 93));
    const float floor = s.ground ? s.ground_at.z : 0.0f;
    if (target.z - fmaxf(floor, -4.0f) < high && target.z > floor) {
      out.part = kThing;
      p = target + dir * -60.0f;
      n = Unit(V3{Noise({x * 0.9f, 5, 0}, s.seed + 94) - 0.5f, 0, 0.4f} -
               dir * 0.5f);
      colour =
          SurfaceColour(s.surface[0], x * 1.5f, 0.25f * target.z, &shine) *
          (0.6f + 0.7f * Noise({x * 1.1f, target.z * 0.05f, 6}, s.seed + 95));
    }
  }
  const V3 view = dir * -1.0f;
  if (s.blot && out.part != kThing && out.part != kCard) {
    const V3 q = target - s.blot_at;
    const float x = Dot(q, s.blot_x), y = Dot(q, s.blot_y);
    const float edge = BlotOf(s, x, y);
    if (edge < 0) {
      out.part = kThing;
      p = target;
      const V3 slope = s.blot_x * (x / s.blot_a) + s.blot_y * (y / s.blot_b);
      n = Unit(view + slope * s.blot_dome);
      colour = SurfaceColour(s.surface[3], x, y, &shine);
      if (-edge < s.blot_rim) {
        colour = s.rim_colour * (0.8f + 0.4f * Noise(q * 0.15f, s.seed + 97));
        n = Unit(view + slope * 0.7f);
      }
      if (s.wedge) {
        const float part = (s.wedge_apex - x) / (s.wedge_apex + s.blot_a);
        const float side = fabsf(y) - s.wedge_half * Pow(part, s.wedge_power);
        if (part > 0 && side < 0) {
          colour =
              s.wedge_colour * (0.7f + 0.6f * Noise(q * 0.2f, s.seed + 98));
        }
        if (part > 0 && fabsf(side) < s.wedge_edge) colour = colour * 0.25f;
      }
    } else if (s.blot_shadow > 0 && out.part != kNothing) {
      const float d = s.blot_shadow;
      const float dark =
          BlotOf(s, x + d * Dot(s.sun, s.blot_x), y + d * Dot(s.sun, s.blot_y));
      colour = colour * Mix(0.35f, 1.0f, Step(-0.4f * d, 0.4f * d, dark));
    }
  }
  float open = 1;
  float sun = fmaxf(Dot(n, s.sun), 0.0f);
  if (out.part != kNothing) {
    float a = 0;
    a += fmaxf(5 - SolidOf(s, p + n * 5.0f, nullptr, nullptr), 0.0f) / 5;
    a += 0.7f * fmaxf(16 - SolidOf(s, p + n * 16.0f, nullptr, nullptr), 0.0f) /
         16;
    a += 0.5f * fmaxf(40 - SolidOf(s, p + n * 40.0f, nullptr, nullptr), 0.0f) /
         40;
    open = Clamp(1 - 0.55f * a, 0.12f, 1);
    if (sun > 0 && s.shadow > 0) {
      sun *= Mix(1.0f, SunReaches(s, p + n * 0.6f), s.shadow);
    }
  }
  if (s.shade > 0) {
    float edge = Dot(p, s.shade_n) - s.shade_at;
    edge += s.dapple * 40 * (Noise(p * 0.02f, s.seed + 81) - 0.5f);
    sun *= 1 - s.shade * Step(-s.shade_soft, s.shade_soft, edge);
  }
  const V3 sky = Mix(s.earth_colour,
                     s.sky_colour,
                     0.5f + 0.5f * Dot(n, Unit(s.sun + view * 0.7f)));
  const float facing = fmaxf(Dot(n, view), 0.0f);
  light_colour = sky * open + s.sun_colour * sun +
                 s.flash_colour * (facing * 250000.0f / fmaxf(t * t, 10000.0f));
  V3 c = colour * light_colour;
  const V3 half = Unit(s.sun + view);
  const float gloss = 12 + 70 * shine;
  const V3 spark =
      s.sun_colour * (sun > 0 ? powf(fmaxf(Dot(n, half), 0.0f), gloss) *
                                    fminf(sun * 4, 1.0f)
                              : 0.0f) +
      s.flash_colour * (0.7f * powf(facing, gloss)) +
      s.sky_colour * (0.25f * Pow(1 - facing, 4) * open);
  c = c + spark * shine;
  c = c * s.exposure;
  // The shoulder of a camera's tone curve.
  const V3 tone{
      1 - expf(-c.x * 1.3f), 1 - expf(-c.y * 1.3f), 1 - expf(-c.z * 1.3f)};
  out.r = powf(fmaxf(tone.x, 0.0f), 1 / 2.2f);
  out.g = powf(fmaxf(tone.y, 0.0f), 1 / 2.2f);
  out.b = powf(fmaxf(tone.z, 0.0f), 1 / 2.2f);
  out.shade = Clamp(
      (light_colour.x + light_colour.y + light_colour.z) * 0.33f * s.exposure,
      0,
      1);
  out.normal = {Dot(n, s.right), Dot(n, s.down), Dot(n, view)};
  // Marks.
  int marks = 0;
  if (s.has_foot && !s.dorsal) {
    if (s.lateral) {
      const V3 q{target.x, 0, target.z - (s.shod ? s.shoe_thick : 0.0f)};
      const bool horn = out.part == kHorn || out.part == kShoe ||
                        out.part == kSole || out.part == kFrog;
      if (horn) marks |= kMarkHoof;
      if (q.z > -0.5f && q.z < s.toe_height &&
          fabsf(q.x - ToeX(s, q.z)) * 0.75f < fmaxf(0.9f, 0.9f * mm)) {
        marks |= kMarkWall;
      }
      (void)q;
    } else if (InsideBearing(s, target.x, target.y)) {
      marks |= kMarkHoof;
    }
    if (out.part == kFrog && !s.lateral) marks |= kMarkFrog;
    if (out.part == kShoe) marks |= kMarkShoe;
    if (out.part == kSkin) marks |= kMarkLimb;
  }
  if (s.has_card) {
    const V3 q = target - s.card_at;
    if (OnCard(Dot(q, s.card_x), Dot(q, s.card_y))) marks |= kMarkCard;
  }
  out.marks = marks;
  return out;
}

}  // namespace scene
