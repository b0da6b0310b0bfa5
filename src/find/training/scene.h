// SPDX-License-Identifier: Apache-2.0
/// @file
/// One painted scene: a foot in three dimensions with what stands around it,
/// as numbers, and the functions of space that the painter marches through.
/// The same text compiles for the GPU and, for a look at the pictures, as plain
/// C++.
///
/// Foot frame [mm]: origin midway between the heels in the bearing plane, x to
/// the toe, y to the left, z up into the foot. On a shod foot the bearing plane
/// is the ground surface of the shoe.
#pragma once

#include <cmath>
#include <cstdint>

#ifdef __CUDACC__
#define HD __host__ __device__ __forceinline__
// Called from eight places: inlined, it would make a kernel too large for the
// instruction cache.
#ifndef HD_SHARED
#define HD_SHARED __host__ __device__ __noinline__
#endif
#else
#define HD inline
#define HD_SHARED inline
#endif

namespace scene {

struct V3 {
  float x, y, z;
};
HD V3 operator+(V3 a, V3 b) {
  return {a.x + b.x, a.y + b.y, a.z + b.z};
}
HD V3 operator-(V3 a, V3 b) {
  return {a.x - b.x, a.y - b.y, a.z - b.z};
}
HD V3 operator*(V3 a, float k) {
  return {a.x * k, a.y * k, a.z * k};
}
HD V3 operator*(V3 a, V3 b) {
  return {a.x * b.x, a.y * b.y, a.z * b.z};
}
HD float Dot(V3 a, V3 b) {
  return a.x * b.x + a.y * b.y + a.z * b.z;
}
HD float Length(V3 a) {
  return sqrtf(Dot(a, a));
}
HD V3 Unit(V3 a) {
  return a * (1.0f / sqrtf(Dot(a, a) + 1e-12f));
}
HD V3 Cross(V3 a, V3 b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
HD float Clamp(float v, float lo, float hi) {
  return fminf(fmaxf(v, lo), hi);
}
HD float Mix(float a, float b, float t) {
  return a + (b - a) * t;
}
HD V3 Mix(V3 a, V3 b, float t) {
  return a + (b - a) * t;
}
HD float Step(float lo, float hi, float v) {
  const float t = Clamp((v - lo) / (hi - lo), 0.0f, 1.0f);
  return t * t * (3 - 2 * t);
}
HD float SoftMin(float a, float b, float k) {
  const float h = fmaxf(k - fabsf(a - b), 0.0f) / k;
  return fminf(a, b) - h * h * k * 0.25f;
}
HD float SoftMax(float a, float b, float k) {
  return -SoftMin(-a, -b, k);
}
HD float Pow(float a, float b) {
  return a <= 0 ? 0.0f : powf(a, b);
}
HD float Sq(float a) {
  return a * a;
}

// ---- noise ----------------------------------------------------------------
HD uint32_t Hash(uint32_t v) {
  v ^= v >> 16;
  v *= 0x7feb352dU;
  v ^= v >> 15;
  v *= 0x846ca68bU;
  v ^= v >> 16;
  return v;
}
HD float Cell(int x, int y, int z, uint32_t seed) {
  const uint32_t h = Hash(static_cast<uint32_t>(x) * 0x9e3779b1U ^
                          Hash(static_cast<uint32_t>(y) * 0x85ebca77U ^
                               Hash(static_cast<uint32_t>(z) ^ seed)));
  return static_cast<float>(h >> 8) * (1.0f / 16777216.0f);
}
/// Value noise [0..1].
HD float Noise(V3 p, uint32_t seed) {
  const float fx = floorf(p.x), fy = floorf(p.y), fz = floorf(p.z);
  const int ix = static_cast<int>(fx), iy = static_cast<int>(fy),
            iz = static_cast<int>(fz);
  float u = p.x - fx, v = p.y - fy, w = p.z - fz;
  u = u * u * (3 - 2 * u);
  v = v * v * (3 - 2 * v);
  w = w * w * (3 - 2 * w);
  const float a =
      Mix(Mix(Cell(ix, iy, iz, seed), Cell(ix + 1, iy, iz, seed), u),
          Mix(Cell(ix, iy + 1, iz, seed), Cell(ix + 1, iy + 1, iz, seed), u),
          v);
  const float b =
      Mix(Mix(Cell(ix, iy, iz + 1, seed), Cell(ix + 1, iy, iz + 1, seed), u),
          Mix(Cell(ix, iy + 1, iz + 1, seed),
              Cell(ix + 1, iy + 1, iz + 1, seed),
              u),
          v);
  return Mix(a, b, w);
}
HD float Fractal(V3 p, uint32_t seed, int octaves) {
  float sum = 0, weight = 0.5f, total = 0;
  for (int i = 0; i < octaves; ++i) {
    sum += weight * Noise(p, seed + static_cast<uint32_t>(i) * 101U);
    total += weight;
    weight *= 0.5f;
    p = V3{p.x * 2.03f + 1.7f, p.y * 2.03f - 3.1f, p.z * 2.03f + 0.3f};
  }
  return sum / total;
}
/// Distance to the nearest of scattered grains in 2-D, and which grain it is.
HD float Grains(float x, float y, uint32_t seed, float* which) {
  const float fx = floorf(x), fy = floorf(y);
  float best = 9.0f;
  for (int j = -1; j <= 1; ++j) {
    for (int i = -1; i <= 1; ++i) {
      const int cx = static_cast<int>(fx) + i, cy = static_cast<int>(fy) + j;
      const float gx = static_cast<float>(cx) + Cell(cx, cy, 1, seed) - x;
      const float gy = static_cast<float>(cy) + Cell(cx, cy, 2, seed) - y;
      const float d = gx * gx + gy * gy;
      if (d < best) {
        best = d;
        *which = Cell(cx, cy, 3, seed);
      }
    }
  }
  return sqrtf(best);
}

// ---- what a scene is made of ----------------------------------------------
enum Part : int {
  kNothing = 0,
  kHorn = 1,
  kSole = 2,
  kFrog = 3,
  kShoe = 4,
  kSkin = 5,
  kThing = 6,
  kGround = 7,
  kCard = 8,
};

enum Pattern : int {
  kPlain,
  kSpeckle,
  kStraw,
  kGravel,
  kPlanks,
  kBrick,
  kCloth,
  kGrass,
  kBlotch,
  kStripes,
  kTiles,
  kPatternCount
};

struct Surface {
  V3 a, b;         ///< Two colours, linear light.
  float scale;     ///< [mm] of the pattern's main feature.
  float contrast;  ///< [0..1]
  float shine;     ///< [0..1]
  float turn;      ///< Of the pattern [rad].
  int pattern;
  uint32_t seed;
};

enum Kind : int { kCapsule, kBox, kBall };

struct Thing {
  V3 a, b;      ///< Ends; or middle and half sizes.
  float r, r2;  ///< Radii at the ends; or rounding.
  float turn;   ///< Of a box about z [rad].
  int kind;
  int surface;
};
constexpr int kMaxThings = 24;
constexpr int kSurfaces = 6;

struct Scene {
  // Which.
  int lateral;
  int has_foot;
  int dorsal;     ///< Looked at from the front (1) or behind (2): no side view.
  int frame;      ///< A foot without its horn: the sensitive frame.
  int cloven;     ///< Two claws.
  int limb_only;  ///< A leg that ends above the hoof.
  uint32_t seed;
  // Camera and window: plane point of pixel (u, v) = centre + right u + down v.
  V3 camera, centre, right, down;
  float mm_per_px;
  // Bearing outline.
  float length, half_left, half_right, x_wide, power_toe, power_heel;
  float heel_left, heel_right, heel_skew, bend, heel_round;
  // Between the buttresses the edge runs forwards, and over it the bulbs bulge.
  float notch;  ///< How steeply [mm / mm]; 0: straight across.
  float notch_left, notch_right;  ///< From where, counted from the middle [mm].
  float notch_round;              ///< [mm]
  float lobe, lobe_high;          ///< How far, and over what height [mm].
  float lobe_cleft;               ///< How much less in the middle [0..1].
  // Behind the bearing edge the horn goes on between the heels and rolls up.
  float roll_back, roll_wide;   ///< How far; inwards, over what distance [mm].
  float roll_high, roll_deep;   ///< Its rise, and over what distance [mm].
  float roll_soft;              ///< Inwards, until it has that rise [mm].
  float roll_left, roll_right;  ///< From where, counted from the middle [mm].
  float roll_pale;              ///< As the ground edge, not as the wall [0..1].
  V3 rearmost_left, rearmost_right;  ///< Of the bare foot's bearing edge.
  // Capsule.
  float cot_toe, cot_heel, side_left, side_right, flare;
  float toe_height, heel_height, arch, dish, toe_flare;
  float ring_height, ring_period, ring_fan;
  float wall, concave, concave_width, bevel, cracks, wobble, frog_wobble, fuzz;
  // Frog.
  float frog_apex, frog_back, frog_half, frog_power, frog_lift, frog_turn;
  float sulcus, sulcus_wide, frog_soft, cleft, cleft_length, bars;
  float frog_wide;  ///< Where it is widest, from its back [mm].
  // Shoe.
  int shod, bar_shoe, pad, clips;
  float shoe_thick, shoe_web, shoe_out, shoe_back, fuller, nails;
  int alone;  ///< The shoe without a foot.
  // Limb.
  V3 pastern_a, pastern_b, cannon_end;
  float pastern_ra, pastern_rb, fetlock_r, cannon_r;
  float bulb_r, bulb_x, bulb_y, bulb_z, bulb_tall, feather, fringe, bald;
  float blend;  ///< How softly skin and bulbs meet the hairline [mm].
  float
      bulb_pale;  ///< Of the bulbs between the heels, towards the horn [0..1].
  int bulb_horn;  ///< The hairline runs on round the bulbs.
  float band_high, band_slope, band_out;  ///< Of the skin over the hairline.
  // Surfaces of the foot.
  V3 horn, horn2, sole, rim, line, frog, hair, hair2, mud, iron;
  float stripes, mud_amount, mud_low, burn, wet, dust, hair_scale, coronet_pale;
  float coronet_wide, chalk, tubules;
  float leaves, leaf_band;  ///< Without horn: how many, how broad [mm].
  // Without horn: how far the leaves stand back behind where the wall was, and
  // how far the coronary cushion stands out before it, on how much below the
  // hair [mm].
  float recess, cushion, cushion_high;
  // Card.
  int has_card;
  V3 card_at, card_x, card_y;
  float paper;
  // What passes for a sole from afar: a flat or domed round shape, perhaps with
  // a rim and with a wedge like a frog. In the measured plane.
  int blot;
  V3 blot_at, blot_x, blot_y;
  float blot_a, blot_b, blot_power, blot_egg, blot_cut, blot_wave, blot_dome;
  float blot_rim, blot_shadow;  ///< [mm]
  int wedge;
  float wedge_apex, wedge_half, wedge_power, wedge_edge;
  V3 rim_colour, wedge_colour;
  // Things and ground.
  int things;
  Thing thing[kMaxThings];
  Surface surface[kSurfaces];
  int ground;  ///< Plane: 1 = there is one.
  V3 ground_at, ground_n;
  int back;  ///< A second plane, behind.
  V3 back_at, back_n;
  float grass;  ///< Lateral: height of what stands before the foot [mm].
  // Light.
  V3 sun, sun_colour, sky_colour, earth_colour, flash_colour;
  float shadow;  ///< How dark the sun's shadow is.
  float shade;   ///< A shade edge across the picture: how dark.
  V3 shade_n;
  float shade_at, shade_soft, dapple;
  float exposure;
};

/// The edges of a window of plane points.
HD V3 PlanePoint(const Scene& s, float u, float v) {
  return s.centre + s.right * u + s.down * v;
}

/// Signed distance to the look-alike's edge at its own place (x, y) [mm].
HD float BlotOf(const Scene& s, float x, float y) {
  const float u = x / s.blot_a;
  const float v = y / (s.blot_b * (1 + s.blot_egg * u));
  const float r =
      powf(Pow(fabsf(u), s.blot_power) + Pow(fabsf(v), s.blot_power) + 1e-9f,
           1 / s.blot_power);
  const float wave =
      s.blot_wave * (Noise({x * 0.05f, y * 0.05f, 7}, s.seed + 96) - 0.5f);
  return fmaxf((r - 1) * fminf(s.blot_a, s.blot_b) + wave, -x - s.blot_cut);
}

// ---- shapes ---------------------------------------------------------------
/// Signed distance to the bearing outline without its heel edge, hoof's own.
HD float SideOf(const Scene& s, float x, float y) {
  if (x > s.x_wide) y -= s.bend * Sq((x - s.x_wide) / (s.length - s.x_wide));
  const float b = y > 0 ? s.half_left : s.half_right;
  const float ay = fabsf(y);
  const float u = x - s.x_wide;
  if (u > 0) {
    const float a = s.length - s.x_wide;
    const float n = s.power_toe;
    const float pu = Pow(u / a, n - 1), pv = Pow(ay / b, n - 1);
    const float q = fmaxf(pu * u / a + pv * ay / b, 1e-4f);
    const float qi = powf(q, 1 / n);
    const float gx = qi / q * pu / a, gy = qi / q * pv / b;
    return (qi - 1) / sqrtf(gx * gx + gy * gy + 1e-7f);
  }
  const float h = y > 0 ? s.heel_left : s.heel_right;
  const float t = fminf(-u / s.x_wide, 1.25f);
  const float tp = Pow(t, s.power_heel - 1);
  const float w = b - (b - h) * tp * t;
  const float slope = (b - h) * s.power_heel * tp / s.x_wide;
  return (ay - w) / sqrtf(1 + slope * slope);
}
HD float HeelShift(const Scene& s, float x, float y) {
  return s.heel_skew * Clamp(y / s.half_left, -1.2f, 1.2f) *
         (1 - Step(0, s.x_wide, x));
}
/// How far inwards of where the buttress turns; below zero: outside.
HD float InwardsOfButtress(const Scene& s, float y) {
  return (y > 0 ? s.notch_left : s.notch_right) - fabsf(y);
}
/// How far inwards of where the horn begins to go on behind its bearing edge.
HD float InwardsOfRoll(const Scene& s, float y) {
  return (y > 0 ? s.roll_left : s.roll_right) - fabsf(y);
}
/// Where the rear edge between the buttresses lies, at height z.
/// @param rolled the horn's edge, else that of what bears.
HD float RearEdge(const Scene& s, float y, float z, bool rolled) {
  float x = 0;
  if (rolled && s.roll_back > 0) {
    const float in = InwardsOfRoll(s, y);
    if (in > 0) x -= s.roll_back * (1 - expf(-in / s.roll_wide));
  }
  const float in = InwardsOfButtress(s, y);
  if (in <= 0) return x;
  x += s.notch * in * in / (in + s.notch_round);
  if (z > 0 && s.lobe > 0) {
    const float all = in + fabsf(y);
    const float t = in / fmaxf(all, 1.0f);
    const float lobes =
        Step(0, 0.45f, t) * (1 - s.lobe_cleft * Step(0.55f, 1.0f, t));
    x -= s.lobe * lobes * (1 - expf(-z / s.lobe_high)) *
         (1 - Step(0.5f, 1.15f, z / s.heel_height));
  }
  return x;
}
/// Signed distance to the hoof's own outline: at z = 0 where it bears, higher
/// up as it stands over the bearing edge along the tubules.
/// @param rolled with the horn that goes on behind the bearing edge.
HD float OutlineOf(
    const Scene& s, float x, float y, float z = 0, bool rolled = false) {
  x -= HeelShift(s, x, y);
  const float wave = s.wobble * sinf(0.11f * x + 0.05f * y + 2 * s.bevel) *
                     cosf(0.1f * y - 0.03f * x + s.concave);
  const float in = InwardsOfButtress(s, y);
  const float steep = Sq(s.notch) + (z > 0 ? Sq(s.lobe / s.lobe_high) : 0.0f);
  float slower = Mix(1.0f, 1 / sqrtf(1 + steep), Clamp(0.2f * in, 0.0f, 1.0f));
  if (rolled && s.roll_back > 0) {
    slower /= sqrtf(1 + Sq(s.roll_back / s.roll_wide));
  }
  const float rear = (RearEdge(s, y, z, rolled) - x) * slower;
  return SoftMax(SideOf(s, x, y), rear, s.heel_round) + wave;
}
/// How much of a place of the wall, beside its height along the tubules, is
/// bulb of the heel rather than horn [0..1].
HD float BulbShare(const Scene& s, V3 q) {
  if (s.lobe <= 0 || q.x > 0.3f * s.length) return 0;
  const float in = InwardsOfButtress(s, q.y);
  const float x = q.x + q.z * s.cot_heel - HeelShift(s, q.x, q.y);
  return Step(0, 5, in) * (1 - Step(2.5f, 6, x - RearEdge(s, q.y, q.z, true)));
}
HD bool IsRoll(const Scene& s, float x, float y) {
  return s.roll_back > 0 && x < 0.3f * s.length && InwardsOfRoll(s, y) > 0;
}
/// How high the horn behind the bearing edge has rolled up [mm].
HD float RollZ(const Scene& s, float x, float y) {
  if (!IsRoll(s, x, y)) return 0;
  const float in = InwardsOfRoll(s, y);
  const float from_edge = x - HeelShift(s, x, y) - RearEdge(s, y, 0, true);
  return s.roll_high * Sq(Clamp(1 - from_edge / s.roll_deep, 0.0f, 1.0f)) *
         Step(0, s.roll_soft, in);
}
/// Signed distance to the outline of the bearing surface: the shoe's, if shod.
HD float BearingOutline(const Scene& s, float x, float y) {
  if (!s.shod) return OutlineOf(s, x, y);
  return SoftMax(SideOf(s, x, y) - s.shoe_out, -x - s.shoe_back, 5.0f);
}

/// Inside the bearing outline, which runs straight from heel to heel.
HD bool InsideBearing(const Scene& s, float x, float y) {
  if (BearingOutline(s, x, y) < 0) return true;
  const V3 l = s.rearmost_left, r = s.rearmost_right;
  if (s.shod || y > l.y || y < r.y || x > 0.5f * s.length) return false;
  return x > Mix(r.x, l.x, (y - r.y) / (l.y - r.y));
}

/// How far the dorsal wall stands out at height z above the hoof's ground edge.
HD float Dorsal(const Scene& s, float z) {
  const float t = z / s.toe_height;
  return s.dish * sinf(3.14159f * Clamp(t, 0.0f, 1.0f)) -
         s.toe_flare * (1 - expf(-fmaxf(z, 0.0f) / 14.0f));
}
HD float ToeX(const Scene& s, float z) {
  return s.length - z * s.cot_toe + Dorsal(s, z);
}
HD float HeelX(const Scene& s, float z) {
  return -z * s.cot_heel;
}
/// Height of the hairline above the hoof's ground edge.
HD float HairlineZ(const Scene& s, float x) {
  const float xt = ToeX(s, s.toe_height), xh = HeelX(s, s.heel_height);
  const float t = Clamp((x - xh) / (xt - xh), -0.3f, 1.3f);
  const float c = Clamp(t, 0.0f, 1.0f);
  return Mix(s.heel_height, s.toe_height, t) + s.arch * 4 * c * (1 - c);
}
/// The coronary cushion of a foot without its horn: how much of it is at height
/// z [0..1].
HD float CushionShare(const Scene& s, float x, float z) {
  const float below = HairlineZ(s, x) - z;
  return Step(1.15f * s.cushion_high, 0.8f * s.cushion_high, below) *
         Step(-0.3f * s.cushion_high, 0.2f * s.cushion_high, below);
}

/// Distance from the horn's outer side, at height z.
HD float WallOf(const Scene& s, float x, float y, float z) {
  const float zz = fmaxf(z, 0.0f);
  const float mid = x + zz * 0.5f * (s.cot_toe + s.cot_heel);
  const float t = Step(0.3f * s.length, 0.75f * s.length, mid);
  float x0 = x + zz * Mix(s.cot_heel, s.cot_toe, t) - t * Dorsal(s, zz);
  const float side = y > 0 ? s.side_left : s.side_right;
  const float y0 = y * (1 + zz * side + s.flare * (1 - expf(-zz / 14.0f)));
  float d = OutlineOf(s, x0, y0, zz, true);
  if (s.ring_height > 0) {
    const float h = zz / fmaxf(HairlineZ(s, x), 5.0f);
    const float c =
        h * s.toe_height / s.ring_period * Mix(1.0f, s.ring_fan, 1 - t);
    d -= s.ring_height *
         sinf(6.2832f * (c + 0.6f * Noise({c * 0.7f, 0, 0}, s.seed + 5)));
  }
  if (s.frame) d += s.recess - (s.recess + s.cushion) * CushionShare(s, x, zz);
  return d * 0.72f;
}

struct Under {
  float z;       ///< Height of the horn's underside.
  float inside;  ///< Distance inwards from the outline of what bears.
  float frog;    ///< Signed distance to the frog's edge.
  float bar;     ///< [0..1]
};
HD float FrogHalf(const Scene& s, float x) {
  const float wide = s.frog_back + s.frog_wide;
  if (x < wide) {
    const float t = (wide - x) / (s.frog_wide + 0.1f);
    return s.frog_half * sqrtf(fmaxf(1 - 0.8f * t * t, 0.0f));
  }
  const float t = (s.frog_apex - x) / (s.frog_apex - wide);
  return s.frog_half * Pow(t, s.frog_power);
}
HD float FrogOf(const Scene& s, float x, float y) {
  y -= s.frog_turn * (x - s.frog_back);
  const float half = FrogHalf(s, x);
  const float slope = s.frog_half / (s.frog_apex - s.frog_back);
  const float d =
      (fabsf(y) - half) / sqrtf(1 + slope * slope) +
      s.frog_wobble * (Noise({x * 0.08f, y * 0.08f, 9}, s.seed + 30) - 0.5f);
  return fmaxf(d, fmaxf(x - s.frog_apex, s.frog_back - x));
}
HD float FrogZ(const Scene& s, float x, float y, float df) {
  const float yy = y - s.frog_turn * (x - s.frog_back);
  float z = s.frog_lift + 0.02f * Sq(fminf(df + 8, 0.0f) + 8);
  const float along = 1 - Step(s.frog_back + 0.6f * s.cleft_length,
                               s.frog_back + s.cleft_length,
                               x);
  z += s.cleft * along * expf(-Sq(yy / (3.0f + 0.06f * s.frog_half)));
  return z + 1.5f * (Noise({x * 0.12f, y * 0.12f, 0}, s.seed + 31) - 0.5f);
}
HD Under UnderOf(const Scene& s, float x, float y) {
  Under u;
  u.inside = -OutlineOf(s, x, y);
  u.frog = FrogOf(s, x, y);
  const float wall = s.wall * Mix(0.72f, 1.0f, Step(0.0f, 0.7f * s.length, x));
  const float in = u.inside - wall;
  // Outside the ground edge it goes on level: there the wall ends the horn, and
  // at a heel that leans back it does so far behind the edge.
  float z = s.bevel * Sq(fmaxf(1 - fmaxf(u.inside, 0.0f) / 4.0f, 0.0f));
  if (in > -1) {
    z += 0.8f * Step(-1, 1, in) * (1 - Step(2, 4, in));
    z += s.concave * Step(1, s.concave_width, in);
    z += 1.6f * (Noise({x * 0.07f, y * 0.07f, 3}, s.seed + 32) - 0.5f) *
         Step(0, 8, in);
  }
  // The bars: ridges beside the frog, from the heels forwards.
  u.bar = s.bars * (1 - Step(0.35f * s.frog_apex, 0.62f * s.frog_apex, x)) *
          Step(5, 7, u.frog) * (1 - Step(12, 15, u.frog)) * Step(-2, 4, in);
  z = Mix(z, fminf(z, 2.0f), u.bar);
  // The grooves beside the frog deepen towards the heels.
  // but never cut the wall.
  const float side = -SideOf(s, x - HeelShift(s, x, y), y);
  const float deep = s.sulcus * Mix(1.0f, 0.35f, Step(0.0f, s.frog_apex, x)) *
                     Step(0.55f * wall, 1.15f * wall, side);
  if (u.frog < 7 && x < s.frog_apex + 5) {
    z += deep * expf(-Sq((u.frog - 1.5f) / s.sulcus_wide));
    z = u.frog < 1.5f ? fmaxf(z, deep) : z;
    // Where the buttresses turn in, the frog stands between them.
    if (s.notch > 0) {
      z = fmaxf(z,
                (FrogZ(s, x, y, u.frog) + 1) * (1 - Step(-0.5f, 1.5f, u.frog)));
    }
  }
  u.z = z + RollZ(s, x, y);
  return u;
}

HD float RoundCone(V3 p, V3 a, V3 b, float ra, float rb) {
  const V3 ab = b - a, ap = p - a;
  const float h = Clamp(Dot(ap, ab) / Dot(ab, ab), 0.0f, 1.0f);
  return Length(ap - ab * h) - Mix(ra, rb, h);
}
HD float BoxOf(V3 p, V3 half, float r) {
  const V3 q{fabsf(p.x) - half.x + r,
             fabsf(p.y) - half.y + r,
             fabsf(p.z) - half.z + r};
  const V3 o{fmaxf(q.x, 0.0f), fmaxf(q.y, 0.0f), fmaxf(q.z, 0.0f)};
  return Length(o) + fminf(fmaxf(q.x, fmaxf(q.y, q.z)), 0.0f) - r;
}
HD float ThingOf(const Thing& t, V3 p) {
  if (t.kind == kCapsule) return RoundCone(p, t.a, t.b, t.r, t.r2);
  const V3 q = p - t.a;
  const float c = cosf(t.turn), n = sinf(t.turn);
  const V3 l{c * q.x + n * q.y, c * q.y - n * q.x, q.z};
  if (t.kind == kBox) return BoxOf(l, t.b, t.r);
  const V3 k{l.x / t.b.x, l.y / t.b.y, l.z / t.b.z};
  const V3 g{k.x / t.b.x, k.y / t.b.y, k.z / t.b.z};
  const float k0 = Length(k), k1 = Length(g);
  return k0 * (k0 - 1) / fmaxf(k1, 1e-6f);
}

/// The card's board; arms 160 x 160 mm, 48 mm wide.
HD bool OnCard(float a, float b) {
  return a >= 0 && b >= 0 && a <= 160 && b <= 160 && (a <= 48 || b <= 48);
}
HD float CardOf(const Scene& s, V3 p) {
  const V3 q = p - s.card_at;
  const float a = Dot(q, s.card_x), b = Dot(q, s.card_y);
  const float n = Dot(q, Cross(s.card_x, s.card_y));
  const float one = fmaxf(fabsf(a - 80) - 80, fabsf(b - 24) - 24);
  const float two = fmaxf(fabsf(a - 24) - 24, fabsf(b - 80) - 80);
  return fmaxf(fminf(one, two), fabsf(n) - 1.2f);
}

HD float ShoeOf(const Scene& s, V3 p) {
  if (p.z > s.shoe_thick + 40 || p.z < -30) {
    return fmaxf(fabsf(p.z) - s.shoe_thick - 2, 5.0f);
  }
  const float side = SideOf(s, p.x, p.y);
  float ring = SoftMax(side - s.shoe_out, -(side + s.shoe_web), 2.0f);
  ring = SoftMax(ring, -p.x - s.shoe_back, 5.0f);
  if (s.bar_shoe) {
    const float bar = fmaxf(fmaxf(side - s.shoe_out, -p.x - s.shoe_back),
                            p.x + s.shoe_back - s.shoe_web);
    ring = fminf(ring, bar);
  }
  float under = -p.z;
  if (s.fuller > 0) {
    const float mid = fabsf(side + 0.42f * s.shoe_web) - 0.14f * s.shoe_web;
    const float in = fmaxf(mid, -(p.x - 0.18f * s.length));
    under += s.fuller * (1 - Step(-1.5f, 1.0f, in));
  }
  float d = SoftMax(ring, fmaxf(under, p.z - s.shoe_thick), 1.5f);
  if (s.clips) {
    const float y = s.clips == 1 ? p.y : fabsf(p.y) - 0.55f * s.half_left;
    const float up = p.z - s.shoe_thick;
    const float back = up * (s.clips == 1 ? s.cot_toe : 0.3f);
    const float clip =
        fmaxf(fmaxf(fabsf(side + back) - 2.5f, fabsf(y) - 11 + 0.35f * up),
              fmaxf(up - 20, -1 - up)) *
        0.8f;
    d = fminf(d, p.x > s.x_wide ? clip : 99.0f);
  }
  return d * 0.9f;
}

/// The things that a bundle of rays can meet at all; null: all of them.
struct Reachable {
  const int* list = nullptr;
  int count = 0;
};
/// A ball round a thing.
HD float BallRound(const Thing& t, V3* middle) {
  if (t.kind == kCapsule) {
    *middle = (t.a + t.b) * 0.5f;
    return 0.5f * Length(t.b - t.a) + fmaxf(t.r, t.r2);
  }
  *middle = t.a;
  return t.kind == kBox ? Length(t.b) : fmaxf(t.b.x, fmaxf(t.b.y, t.b.z));
}

/// Distance from everything that is solid, and what it is.
/// @param[out] part may be null.
/// @param[out] which the thing's number; may be null with part.
HD_SHARED float SolidOf(
    const Scene& s, V3 p, int* part, int* which, Reachable reachable = {}) {
  float best = 1e6f;
  if (part != nullptr) *part = kNothing;
  const int count = reachable.list != nullptr ? reachable.count : s.things;
  for (int k = 0; k < count; ++k) {
    const int i = reachable.list != nullptr ? reachable.list[k] : k;
    const float d = ThingOf(s.thing[i], p);
    if (d < best) {
      best = d;
      if (part != nullptr) {
        *part = kThing;
        *which = i;
      }
    }
  }
  if (s.has_card) {
    const float d = CardOf(s, p);
    if (d < best) {
      best = d;
      if (part != nullptr) *part = kCard;
    }
  }
  if (!s.has_foot && !s.alone && !s.limb_only) return best;
  const V3 middle{0.45f * s.length, 0, 30};
  const float far =
      s.limb_only ? 99.0f : Length(p - middle) - (0.5f * s.length + 62);
  if (far < 25 && s.shod) {
    const float d = ShoeOf(s, p);
    if (d < best) {
      best = d;
      if (part != nullptr) *part = kShoe;
    }
  } else if (s.shod) {
    best = fminf(best, far);
  }
  if (!s.has_foot && !s.limb_only) return best;
  const V3 q{p.x, p.y, p.z - (s.shod ? s.shoe_thick : 0.0f)};
  float skin =
      RoundCone(q, s.pastern_a, s.pastern_b, s.pastern_ra, s.pastern_rb);
  skin = SoftMin(skin, Length(q - s.pastern_b) - s.fetlock_r, 25.0f);
  skin = SoftMin(
      skin,
      RoundCone(q, s.pastern_b, s.cannon_end, s.cannon_r, s.cannon_r * 1.05f),
      30.0f);
  if (far < 25) {
    const float wall = WallOf(s, q.x, q.y, q.z);
    const float hair = HairlineZ(s, q.x);
    const float bx = q.x - s.bulb_x, bz = q.z - s.bulb_z,
                by = fabsf(q.y) - s.bulb_y;
    const float bulb =
        sqrtf(bx * bx + by * by + s.bulb_tall * bz * bz) - s.bulb_r;
    const float band =
        fmaxf(fmaxf(wall - s.band_out + s.band_slope * (q.z - hair),
                    hair - 1 - q.z),
              q.z - hair - s.band_high) *
        0.85f;
    skin = SoftMin(skin, band, s.blend);
    skin = SoftMin(skin, bulb * 0.9f, s.blend);
    if (skin < 8) {
      // Hair makes a ragged edge.
      skin -=
          s.fuzz *
          (Noise({q.x * 0.8f, q.y * 0.8f, q.z * 0.12f}, s.seed + 78) - 0.4f);
    }
    if (s.feather > 0) {
      const V3 f{q.x - s.bulb_x + 4, q.y * 0.9f, q.z - s.bulb_z - 18};
      const float tuft = Length({f.x, f.y, f.z * 0.55f}) - 14 - s.feather;
      skin = SoftMin(
          skin,
          tuft * 0.8f -
              s.feather * 0.35f *
                  Noise({q.x * 0.12f, q.y * 0.12f, q.z * 0.025f}, s.seed + 77),
          12.0f);
    }
    // Horn: between its underside and the hairline.
    if (wall < 40 && q.z < hair + 30) {
      float bottom = -q.z * 0.8f;
      if (q.z < 26) {
        const Under u = UnderOf(s, q.x, q.y);
        bottom = (u.z - q.z) * 0.62f;
        if (s.pad) bottom = fminf(bottom, -1.0f - q.z);
        const float fz = FrogZ(s, q.x, q.y, u.frog);
        const float frog =
            s.pad || s.cloven
                ? 1e6f
                : SoftMax(
                      u.frog, fmaxf((fz - q.z) * 0.7f, q.z - 28), s.frog_soft) *
                      0.85f;
        if (frog < best) {
          best = frog;
          if (part != nullptr) *part = kFrog;
        }
        float horn = fmaxf(fmaxf(wall, bottom), q.z - hair - 2);
        if (s.cloven) horn = fmaxf(horn, 4.5f - fabsf(q.y));
        if (horn < best) {
          best = horn;
          if (part != nullptr) {
            const bool under = u.inside > 0.5f || IsRoll(s, q.x, q.y);
            *part = bottom > wall - 0.3f && under ? kSole : kHorn;
          }
        }
      } else {
        const float horn = fmaxf(wall, q.z - hair - 2);
        if (horn < best) {
          best = horn;
          if (part != nullptr) *part = kHorn;
        }
      }
    } else {
      best = fminf(best, fmaxf(wall, 4.0f));
    }
  } else if (!s.limb_only) {
    best = fminf(best, far);
  }
  if (skin < best) {
    best = skin;
    if (part != nullptr) *part = kSkin;
  }
  return best;
}

}  // namespace scene
