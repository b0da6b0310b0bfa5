// SPDX-License-Identifier: Apache-2.0
/// @file
/// Draws the lots for a scene: which foot, what is around it, the light and the
/// camera. Wider than life on purpose; the ranges are chosen, not measured.
#pragma once

#include <algorithm>
#include <vector>

#include "scene.h"

namespace scene {

/// Order of geometry::PointId.
constexpr int kPoints = 12;
struct Labels {
  float point[kPoints][3];  ///< x, y [px of the painted picture], there (0, 1).
  float mm_per_px;
  float foot;     ///< 1: this view of a foot is in the picture.
  float lateral;  ///< 1: painted as a side view.
  float width;    ///< Of the hoof [mm].
  float kind;  ///< What is there instead of this view of a foot: a LabelKind.
};

enum LabelKind : int {
  kFoot,
  kNoFoot,  ///< Ground, hands, tools.
  kShoeAlone,
  kPaw,
  kLegOnly,
  kFrame,  ///< A foot without its horn.
  kCloven,
  kFromFront,  ///< Or from behind.
  kLookAlike,  ///< Something round, about as large as a sole.
};

class Lots {
 public:
  explicit Lots(uint64_t seed) : state_(seed) {
    // Neighbouring seeds must not walk the same sequence.
    const uint64_t high = Next();
    const uint64_t low = Next();
    state_ = (high << 32 | low) * 0xd1342543de82ef95ULL + seed;
  }
  uint32_t Next() {
    state_ += 0x9e3779b97f4a7c15ULL;
    uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return static_cast<uint32_t>((z ^ (z >> 31)) >> 32);
  }
  float U() { return static_cast<float>(Next() >> 8) / 16777216.0f; }
  float In(float lo, float hi) { return lo + (hi - lo) * U(); }
  float Near(float mean, float sd, float lo, float hi) {
    const float n = U() + U() + U() + U() - 2;  // SD 0.577
    return Clamp(mean + sd * n / 0.577f, lo, hi);
  }
  bool Chance(float p) { return U() < p; }
  int Pick(int n) {
    return std::min(n - 1, static_cast<int>(U() * static_cast<float>(n)));
  }

 private:
  uint64_t state_;
};

inline float Deg(float d) {
  return d * 0.017453293f;
}
inline float Linear(float v) {
  return powf(Clamp(v, 0, 1), 2.2f);
}
/// Hue [turns], saturation and value as on a screen, to linear light.
inline V3 Hsv(float h, float s, float v) {
  const float k = (h - floorf(h)) * 6;
  const float r = Clamp(fabsf(k - 3) - 1, 0, 1),
              g = Clamp(2 - fabsf(k - 2), 0, 1),
              b = Clamp(2 - fabsf(k - 4), 0, 1);
  return {Linear(v * (1 - s + s * r)),
          Linear(v * (1 - s + s * g)),
          Linear(v * (1 - s + s * b))};
}
/// A brown, grey or buff of that screen value.
inline V3 Earth(Lots& l, float lo, float hi) {
  return Hsv(l.In(0.03f, 0.14f), l.In(0.0f, 0.5f), l.In(lo, hi));
}
inline V3 AnyColour(Lots& l) {
  return l.Chance(0.55f) ? Earth(l, 0.08f, 0.95f)
                         : Hsv(l.U(), l.In(0.05f, 0.8f), l.In(0.08f, 0.95f));
}

inline Surface AnySurface(Lots& l) {
  Surface f{};
  f.a = AnyColour(l);
  f.b = l.Chance(0.6f) ? f.a * l.In(0.25f, 0.8f) : AnyColour(l);
  f.scale = expf(l.In(logf(2.5f), logf(40.0f)));
  f.contrast = l.In(0.1f, 1.0f);
  f.shine = l.Chance(0.3f) ? l.In(0, 0.8f) : 0.05f;
  f.turn = l.In(0, 6.28f);
  f.pattern = l.Pick(kPatternCount);
  f.seed = l.Next();
  switch (f.pattern) {
    case kGrass:
      f.a = Hsv(l.In(0.17f, 0.33f), l.In(0.3f, 0.7f), l.In(0.3f, 0.7f));
      f.b = f.a * l.In(0.2f, 0.6f);
      f.scale = l.In(8, 30);
      break;
    case kStraw:
      f.b = Hsv(l.In(0.1f, 0.15f), l.In(0.2f, 0.6f), l.In(0.6f, 0.95f));
      f.a = f.b * l.In(0.1f, 0.4f);
      f.scale = l.In(12, 45);
      f.contrast = 1;
      break;
    case kGravel:
      f.scale = l.In(2, 22);
      break;
    default:
      break;
  }
  return f;
}
inline Surface SkinOrGlove(Lots& l) {
  Surface f = AnySurface(l);
  if (l.Chance(0.65f)) {
    f.a = Hsv(l.In(0.02f, 0.08f), l.In(0.25f, 0.6f), l.In(0.25f, 0.95f));
    f.b = f.a * l.In(0.5f, 0.9f);
    f.pattern = l.Chance(0.5f) ? kPlain : kSpeckle;
    f.contrast = l.In(0.1f, 0.4f);
    f.shine = l.In(0, 0.3f);
  } else {
    f.pattern = l.Chance(0.5f) ? kCloth : kPlain;
  }
  return f;
}

inline void Add(Scene& s, Thing t) {
  if (s.things < kMaxThings) s.thing[s.things++] = t;
}
inline Thing Rod(V3 a, V3 b, float r, float r2, int surface) {
  return {a, b, r, r2, 0, kCapsule, surface};
}
/// A finger in two joints.
inline void Finger(Scene& s, Lots& l, V3 from, V3 knuckle, V3 tip, float r) {
  Add(s, Rod(from, knuckle, r * 1.12f, r, 2));
  Add(s, Rod(knuckle, tip, r, r * l.In(0.72f, 0.9f), 2));
}

inline void DrawFoot(Scene& s, Lots& l) {
  s.length = l.Near(130, 16, 78, 175);
  const float width = s.length * l.Near(0.98f, 0.075f, 0.78f, 1.2f);
  const float skew = l.Near(0, 0.03f, -0.09f, 0.09f);
  s.half_left = 0.5f * width * (1 + skew);
  s.half_right = 0.5f * width * (1 - skew);
  s.x_wide = s.length * l.In(0.38f, 0.57f);
  s.power_toe = l.Chance(0.8f) ? l.In(1.85f, 2.5f) : l.In(1.6f, 3.2f);
  const float heel = l.Chance(0.85f) ? l.In(0.55f, 0.85f) : l.In(0.38f, 0.6f);
  s.heel_left = s.half_left * heel * l.In(0.94f, 1.06f);
  s.heel_right = s.half_right * heel * l.In(0.94f, 1.06f);
  s.power_heel = l.In(1.5f, 3.2f);
  s.heel_skew = l.Near(0, 2.2f, -7, 7);
  s.bend = l.Near(0, 2.0f, -8, 8);
  s.heel_round = l.In(6, 15);
  // A buttress turns into its bar at 4 to 16 mm from its outer edge.
  s.notch = l.Chance(0.8f) ? l.In(0.15f, 1.6f) : 0.0f;
  s.notch_left = s.heel_left - l.In(4, 16) * s.length / 130;
  s.notch_right = s.heel_right - l.In(4, 16) * s.length / 130;
  s.notch_round = l.In(4, 16);
  s.roll_back = l.Chance(0.85f) ? l.In(1.5f, 15) * s.length / 130 : 0.0f;
  s.roll_wide = l.In(3, 18);
  s.roll_high = l.In(1.5f, 10);
  s.roll_deep = l.In(0.7f, 1.5f) * s.roll_back + 1;
  s.roll_soft = l.In(2, 12);
  s.roll_pale = l.U();
  // Counted outwards from the rearmost bearing place; SetRearmost adds that.
  s.roll_left = l.In(-3, 0.3f);
  s.roll_right = l.In(-3, 0.3f);
  // As after years of laminitis: rings, a hollow wall, a long low toe.
  const bool deformed = l.Chance(0.06f);
  float toe = deformed ? l.In(25, 48) : l.Near(50, 6, 34, 66);
  float heel_angle = Clamp(toe - l.In(-5, 17), 27, 70);
  s.cot_toe = 1 / tanf(Deg(toe));
  s.cot_heel = 1 / tanf(Deg(heel_angle));
  s.toe_height = s.length * l.In(0.5f, 0.85f) * sinf(Deg(toe));
  s.heel_height = s.toe_height * l.In(0.26f, 0.66f);
  // The coronet must be long enough to carry a limb.
  for (int i = 0; i < 8 && s.length - s.toe_height * s.cot_toe +
                                   s.heel_height * s.cot_heel <
                               0.5f * s.length;
       ++i) {
    s.toe_height *= 0.9f;
    s.heel_height *= 0.95f;
  }
  s.lobe = !l.Chance(0.8f)
               ? 0.0f
               : (l.Chance(0.7f) ? l.In(1, 18) : l.In(15, 34)) * s.length / 130;
  s.lobe_high = std::max(l.In(4, 18), 0.6f * s.lobe);
  s.lobe_cleft = l.In(0.05f, 0.7f);
  s.bulb_pale = l.U();
  s.side_left = l.In(-0.02f, 0.3f) / s.half_left;
  s.side_right = l.In(-0.02f, 0.3f) / s.half_right;
  s.flare = l.Chance(0.7f) ? l.In(0, 0.03f) : l.In(0, 0.12f);
  s.arch = l.In(-4, 7);
  s.dish = l.Chance(0.75f) ? l.Near(0, 0.8f, -2, 2)
                           : l.In(-7, 4) * s.toe_height / 80;
  if (deformed) s.dish = l.In(-14, -2) * s.toe_height / 80;
  s.toe_flare = l.Chance(0.75f) ? l.In(0, 2.5f) : l.In(0, 9);
  s.ring_height = l.Chance(0.65f) ? l.In(0.05f, 0.4f) : 0.0f;
  if (s.ring_height > 0 && l.Chance(0.2f)) s.ring_height = l.In(0.4f, 1.1f);
  s.ring_period = l.In(4.5f, 13);
  if (deformed && l.Chance(0.7f)) {
    s.ring_height = l.In(0.6f, 1.6f);
    s.ring_period = l.In(7, 13);
  }
  s.ring_fan = l.In(0.5f, 1.8f);
  s.wall = l.In(6.5f, 13.5f) * s.length / 130;
  s.concave = l.In(1, 14);
  s.concave_width = l.In(12, 42);
  s.bevel = l.Chance(0.85f) ? l.In(0, 1.0f) : l.In(0.5f, 3);
  s.cracks = l.Chance(0.25f) ? l.In(0.1f, 0.5f) : 0;

  s.frog_apex = s.length * l.In(0.6f, 0.76f);
  s.frog_back =
      (l.Chance(0.75f) ? l.In(-18, 4) : l.In(-30, 8)) * s.length / 130;
  const float frog_length = s.frog_apex - s.frog_back;
  s.frog_half = std::min(
      frog_length * (l.Chance(0.8f) ? l.In(0.2f, 0.38f) : l.In(0.14f, 0.5f)),
      std::min(s.heel_left, s.heel_right) - 8);
  s.frog_half = std::max(s.frog_half, 9.0f);
  s.frog_power = l.In(0.68f, 1.15f);
  s.frog_wide = frog_length * l.In(0.05f, 0.25f);
  s.frog_lift = l.In(-2.5f, 8);
  s.frog_turn = l.Near(0, 0.03f, -0.08f, 0.08f);
  s.sulcus = l.Chance(0.8f) ? l.In(4, 18) : l.In(0.5f, 5);
  s.sulcus_wide = l.In(2.2f, 6);
  s.frog_soft = l.Chance(0.6f) ? 1.5f : l.In(1.5f, 6);
  s.cleft = l.In(0, 13);
  s.cleft_length = frog_length * l.In(0.25f, 0.62f);
  s.wobble = l.Chance(0.6f) ? l.In(0, 0.7f) : l.In(0.3f, 2);
  s.frog_wobble = l.In(0, 3.5f);
  s.bars = l.Chance(0.8f) ? l.In(0.4f, 1) : 0;
}

inline void DrawShoe(Scene& s, Lots& l) {
  s.shod = 1;
  s.bar_shoe = l.Chance(0.12f);
  s.pad = l.Chance(0.08f);
  s.clips = l.Chance(0.3f) ? 1 + l.Pick(2) : 0;
  s.shoe_thick = l.In(6, 13);
  s.shoe_web = l.In(16, 30) * s.length / 130;
  s.shoe_out = l.In(-2, 4);
  s.shoe_back = l.In(-6, 13);
  s.fuller = l.Chance(0.7f) ? l.In(2, 5) : 0;
  s.nails = l.Chance(0.85f) ? l.In(4.5f, 9) : 0;
  const float grey = l.In(0.15f, 0.75f);
  s.iron = Hsv(l.In(0, 0.15f), l.In(0, 0.25f), grey);
  if (l.Chance(0.3f)) s.iron = Hsv(0.07f, l.In(0.2f, 0.6f), l.In(0.2f, 0.5f));
}

inline void DrawLimb(Scene& s, Lots& l, float toe_angle) {
  const float xt = ToeX(s, s.toe_height), xh = HeelX(s, s.heel_height);
  const float span = xt - xh;
  const float g =
      Deg(s.lateral ? Clamp(toe_angle + l.Near(0, 6, -16, 14), 32, 80)
                    : l.In(4, 88));
  const V3 u{-cosf(g), 0, sinf(g)}, m{sinf(g), 0, cosf(g)};
  s.pastern_ra = span * l.In(0.36f, 0.45f);
  // Long enough for both pastern points.
  const float wall = s.toe_height * sqrtf(1 + Sq(s.cot_toe));
  const float len =
      std::max(s.length * l.In(0.5f, 0.95f), wall * l.In(0.95f, 1.2f));
  s.pastern_rb = s.pastern_ra * l.In(0.62f, 0.86f);
  if (s.lateral) {
    s.pastern_a =
        V3{xt, 0, s.toe_height} - m * (s.pastern_ra + l.In(0, 3)) + u * 4;
  } else {
    const float z =
        std::max(0.5f * (s.toe_height + s.heel_height), s.pastern_ra + 12);
    s.pastern_a = {0.5f * (xt + xh), 0, z};
  }
  s.pastern_b = s.pastern_a + u * len;
  s.fetlock_r = s.pastern_rb * l.In(1.02f, 1.35f);
  s.cannon_r = s.pastern_rb * l.In(0.68f, 0.95f);
  const float lean = s.lateral ? Deg(90 + l.Near(0, 6, -18, 18))
                               : std::max(g + Deg(l.In(-50, 40)), Deg(2));
  const float away = Deg(l.Near(0, 5, -15, 15));
  s.cannon_end =
      s.pastern_b +
      V3{-cosf(lean) * cosf(away), sinf(away), sinf(lean) * cosf(away)} *
          300.0f;
  s.bulb_r = s.length * l.In(0.11f, 0.22f);
  s.bulb_y = 0.5f * (s.heel_left + s.heel_right) * l.In(0.34f, 0.62f);
  // From the side most stand behind the heel's horn, not before it.
  const float heels = 0.5f * (s.heel_left + s.heel_right);
  if (l.Chance(0.75f)) {
    s.bulb_y = std::max(
        0.1f * heels, std::min(s.bulb_y, heels * l.In(0.75f, 1.0f) - s.bulb_r));
  }
  s.blend = l.In(3, 9);
  s.bulb_tall = l.In(0.45f, 1.2f);
  // From small ones high above the heels to large ones that nearly reach the
  // ground and stand far back.
  const float tall = s.bulb_r / sqrtf(s.bulb_tall);
  s.bulb_horn = l.Chance(0.65f) ? 1 + l.Pick(2) : 0;
  // Hair on a low bulb would hide the heel's hairline.
  s.bulb_z =
      s.bulb_horn
          ? s.heel_height * l.In(0.65f, 1.15f) + tall * l.In(0, 0.6f)
          : s.heel_height * l.In(0.75f, 1.15f) + tall * l.In(0.2f, 0.85f);
  s.bulb_z = std::max(s.bulb_z, tall + l.In(1, 8));
  s.bulb_x = xh + s.bulb_r - l.In(-5, 28) * s.length / 130;
  s.fuzz = l.Chance(0.7f) ? l.In(0.2f, 2) : l.In(0, 5);
  s.bald = l.Chance(0.4f) ? l.In(0.5f, 1) : 0;
  s.band_high = l.In(10, 38);
  s.band_slope = l.Chance(0.3f) ? 0 : l.In(0.1f, 1.0f);
  s.band_out = l.In(-0.5f, 3);
  s.feather = l.Chance(0.2f) ? l.In(4, 26) : 0;
  s.fringe = l.Chance(0.7f) ? l.In(0, 5) : l.In(4, 24);
}

inline void DrawColours(Scene& s, Lots& l) {
  const int kind = l.Pick(4);
  const float lo[4] = {0.1f, 0.22f, 0.4f, 0.6f},
              hi[4] = {0.28f, 0.45f, 0.65f, 0.88f};
  s.horn = Hsv(l.In(0.03f, 0.13f), l.In(0, 0.4f), l.In(lo[kind], hi[kind]));
  const int other = l.Pick(4);
  s.horn2 = Hsv(l.In(0.03f, 0.13f), l.In(0, 0.4f), l.In(lo[other], hi[other]));
  s.stripes = l.Chance(0.35f) ? l.In(0.3f, 1) : l.In(0, 0.2f);
  s.sole = Hsv(l.In(0.04f, 0.14f), l.In(0, 0.4f), l.In(0.15f, 0.85f));
  s.rim = l.Chance(0.55f)
              ? Hsv(l.In(0.05f, 0.13f), l.In(0.05f, 0.4f), l.In(0.45f, 0.9f))
              : s.horn * l.In(0.7f, 1.6f);
  s.line = l.Chance(0.65f)
               ? Hsv(l.In(0.09f, 0.14f), l.In(0.1f, 0.6f), l.In(0.5f, 0.95f))
               : s.rim * l.In(0.2f, 0.9f);
  s.frog = Hsv(l.In(0, 0.7f) < 0.55f ? l.In(0.03f, 0.12f) : l.In(0.5f, 0.7f),
               l.In(0, 0.3f),
               l.In(0.1f, 0.8f));
  s.hair = Hsv(l.In(0.02f, 0.11f), l.In(0.0f, 0.65f), l.In(0.06f, 0.9f));
  s.hair2 = l.Chance(0.7f) ? s.hair * l.In(0.4f, 1.6f) : Earth(l, 0.05f, 0.95f);
  s.mud = Earth(l, 0.1f, 0.6f);
  const bool dirty = l.Chance(0.45f);
  s.mud_amount = dirty ? l.In(0, 0.55f) : l.In(-0.3f, 0.12f);
  s.mud_low = l.Chance(0.5f) ? l.In(0, 0.55f) : 0;
  s.burn = l.Chance(0.12f) ? l.In(0.4f, 1) : 0;
  s.wet = l.Chance(0.3f) ? l.In(0.2f, 1) : 0;
  s.dust = l.U();
  s.hair_scale = l.In(0.5f, 1.6f);
  s.coronet_pale = l.Chance(0.4f) ? l.U() : 0;
  s.coronet_wide = l.Chance(0.7f) ? l.In(0.05f, 0.18f) : l.In(0.1f, 0.4f);
  s.chalk = l.Chance(0.4f) ? l.U() : 0;
  s.tubules = l.In(0, 0.7f);
  if (s.pad) s.sole = l.Chance(0.5f) ? Earth(l, 0.1f, 0.6f) : AnyColour(l);
}

/// The colours of a foot without its horn: flesh, or dried and blackened; its
/// edge is round, without a wall, and leafy.
inline void DrawFlesh(Scene& s, Lots& l) {
  s.sole = l.Chance(0.75f)
               ? Hsv(l.In(-0.03f, 0.06f), l.In(0.1f, 0.85f), l.In(0.08f, 0.8f))
               : Earth(l, 0.1f, 0.85f);
  s.line = l.Chance(0.65f)
               ? s.sole * (l.Chance(0.5f) ? l.In(0.2f, 0.6f) : l.In(1.6f, 3))
               : Earth(l, 0.5f, 0.95f);
  s.frog = l.Chance(0.5f) ? s.sole * l.In(0.5f, 2) : Earth(l, 0.3f, 1.0f);
  s.rim = s.sole * l.In(0.6f, 1.5f);
  s.horn = s.sole * l.In(0.6f, 1.4f);
  s.horn2 = s.horn;
  s.burn = s.chalk = s.cracks = s.ring_height = s.tubules = s.stripes = 0;
  s.wall *= l.In(0.1f, 0.3f);
  s.bevel = l.In(1.5f, 6);
  s.concave = l.In(0.5f, 6);
  s.bars = l.Chance(0.6f) ? 0 : l.In(0, 0.6f);
  s.frog_soft = l.In(2, 8);
  s.sulcus *= l.In(0.3f, 1);
  s.leaves = l.In(35, 140);
  s.leaf_band = l.In(5, 16);
  s.recess = l.In(2, 8);
  s.cushion = l.In(0.5f, 4);
  s.cushion_high = l.In(9, 20);
  s.fringe = l.In(0, 12);
  if (l.Chance(0.5f)) s.mud_amount = -0.3f;
}

/// Little to tell the parts of a sole by: trimmed, clean and of one colour.
inline void DrawPlain(Scene& s, Lots& l) {
  const V3 one = l.Chance(0.7f) ? Earth(l, 0.15f, 0.85f) : s.horn;
  const float k = l.In(0.5f, 0.97f);
  for (V3* c : {&s.horn, &s.horn2, &s.sole, &s.rim, &s.line, &s.frog})
    *c = Mix(*c, one * l.In(0.75f, 1.3f), k);
  s.cracks = s.chalk = s.stripes = s.burn = 0;
  s.mud_amount = s.mud_low = 0;
  if (l.Chance(0.6f)) s.mud_amount = -0.3f;
  s.dust = l.In(0, 0.4f);
  s.wet = l.Chance(0.2f) ? l.In(0.2f, 0.8f) : 0;
  if (l.Chance(0.5f)) s.concave = l.In(1, 5);
  if (l.Chance(0.5f)) s.sulcus = l.In(1, 7);
  if (l.Chance(0.5f)) s.wobble = s.frog_wobble = 0;
}

/// Something round in the foot's place: a stone, a plate, a bowl, a stain, with
/// or without a wedge on it.
inline void DrawLookAlike(Scene& s, Lots& l) {
  const float turn = l.In(0, 6.2832f);
  s.blot = 1;
  s.blot_x = s.right * cosf(turn) + s.down * sinf(turn);
  s.blot_y = s.down * cosf(turn) - s.right * sinf(turn);
  s.blot_a = l.In(34, 88);
  s.blot_b = s.blot_a * l.In(0.62f, 1.15f);
  s.blot_power = l.Chance(0.6f) ? l.In(1.9f, 2.4f) : l.In(1.4f, 5);
  s.blot_egg = l.Chance(0.5f) ? l.In(-0.3f, 0.3f) : 0;
  s.blot_cut = l.Chance(0.4f) ? s.blot_a * l.In(0.55f, 1) : 1e3f;
  s.blot_wave = l.Chance(0.5f) ? l.In(0, 3) : l.In(2, 30);
  s.blot_dome = l.Chance(0.35f) ? 0 : l.In(-0.9f, 1.2f);
  s.blot_rim = l.Chance(0.5f) ? 0 : l.In(1, 16);
  s.blot_shadow = l.Chance(0.5f) ? 0 : l.In(2, 25);
  s.blot_at = s.centre + s.right * l.In(-40, 40) + s.down * l.In(-40, 40);
  s.rim_colour = l.Chance(0.5f) ? s.surface[3].a * l.In(0.3f, 2) : AnyColour(l);
  s.wedge = l.Chance(0.5f);
  s.wedge_apex = s.blot_a * l.In(-0.2f, 0.6f);
  s.wedge_half = s.blot_b * l.In(0.15f, 0.7f);
  s.wedge_power = l.In(0.6f, 1.3f);
  s.wedge_edge = l.Chance(0.5f) ? 0 : l.In(0.5f, 4);
  s.wedge_colour =
      l.Chance(0.7f) ? s.surface[3].a * l.In(0.1f, 1.6f) : AnyColour(l);
  if (l.Chance(0.5f)) s.surface[3].pattern = l.Chance(0.5f) ? kPlain : kSpeckle;
  if (l.Chance(0.25f)) {
    // A stone.
    Add(s,
        {s.centre,
         {l.In(35, 80), l.In(30, 75), l.In(15, 60)},
         0,
         0,
         turn,
         kBall,
         3});
    s.blot = l.Chance(0.3f);
  }
}

/// Pads of a paw, or claws, where the foot would be.
inline void DrawPaw(Scene& s, Lots& l) {
  const float k = l.In(0.5f, 1.2f);
  const float z = s.lateral ? 25 * k : l.In(-5, 10);
  Add(s, {{20, 0, z}, V3{28 * k, 32 * k, 20 * k}, 0, 0, 0, kBall, 2});
  const int toes = 2 + l.Pick(4);
  for (int i = 0; i < toes; ++i) {
    const float a =
        (static_cast<float>(i) - 0.5f * static_cast<float>(toes - 1)) *
        l.In(0.45f, 0.6f);
    Add(s,
        {{20 + 52 * k * cosf(a), 52 * k * sinf(a), z},
         V3{20 * k, 13 * k, 14 * k},
         0,
         0,
         a,
         kBall,
         l.Chance(0.7f) ? 2 : 3});
  }
  Add(s, Rod({0, 0, z + 20}, {-60, 0, z + 300}, 30 * k, 34 * k, 3));
}

inline void DrawCard(Scene& s, Lots& l) {
  s.has_card = 1;
  s.paper = l.In(0.6f, 0.98f);
  if (s.lateral) {
    // In the middle plane, on the ground; read from the camera's side. Arm A
    // may lie along the ground or stand.
    const float side = s.camera.y > 0 ? 1.0f : -1.0f;
    V3 x{-side, 0, 0}, y{0, 0, 1};  // Upright as seen.
    const int turn = l.Pick(4);
    for (int i = 0; i < turn; ++i) {
      const V3 nx = y, ny = x * -1.0f;
      x = nx;
      y = ny;
    }
    const float lean = Deg(l.Near(0, 1.5f, -5, 5));
    s.card_x = x * cosf(lean) + y * sinf(lean);
    s.card_y = y * cosf(lean) - x * sinf(lean);
    // The box of the card is 160 wide: put it before the toe or behind the
    // heel.
    float x0 =
        std::min(0.0f, 160 * s.card_x.x) + std::min(0.0f, 160 * s.card_y.x);
    float z0 =
        std::min(0.0f, 160 * s.card_x.z) + std::min(0.0f, 160 * s.card_y.z);
    const float gap = l.In(4, 60);
    float left = l.Chance(0.6f) ? s.length + gap
                                : std::min(HeelX(s, s.heel_height), -10.0f) -
                                      30 - gap - 160;
    s.card_at = {left - x0, l.In(-6, 6), -z0 + l.In(0, 2)};
    return;
  }
  // Round the hoof, or anywhere near it.
  const float side = l.In(0, 6.2832f);
  V3 x{cosf(side), sinf(side), 0};
  V3 y{sinf(side), -cosf(side), 0};  // Read from below, where z points away.
  s.card_x = x;
  s.card_y = y;
  // How far the hoof reaches towards the corner along each arm.
  float reach_x = 0, reach_y = 0;
  const V3 c{0.45f * s.length, 0, 0};
  for (int i = 0; i < 64; ++i) {
    const float a = 0.0982f * static_cast<float>(i);
    float r = 20;
    while (r < 140 && BearingOutline(s, c.x + r * cosf(a), r * sinf(a)) < 0)
      r += 4;
    const V3 e{r * cosf(a), r * sinf(a), 0};
    reach_x = std::max(reach_x, -Dot(e, x));
    reach_y = std::max(reach_y, -Dot(e, y));
  }
  const float gap = l.Chance(0.75f) ? l.In(-4, 14) : l.In(0, 50);
  const float gap2 = l.Chance(0.75f) ? l.In(-4, 14) : l.In(0, 50);
  s.card_at = c - x * (48 + reach_x + gap) - y * (48 + reach_y + gap2);
  s.card_at.z = l.In(-3, 3);
  if (l.Chance(0.06f)) s.card_at = s.card_at - x * 30 - y * 30;
}

/// Hands, tools, cloth, other limbs.
inline void DrawThings(Scene& s, Lots& l, bool more) {
  const float cx = 0.45f * s.length;
  if (!s.lateral) {
    const int hands = l.Chance(0.6f) ? 1 + l.Pick(2) : 0;
    for (int h = 0; h < hands; ++h) {
      const float at = l.In(0, 6.2832f);
      const float r = l.In(7.5f, 11.5f);
      const int fingers = 1 + l.Pick(4);
      const float over = l.Chance(0.55f) ? l.In(-10, 4) : l.In(5, 30);
      const float inward = l.Chance(0.5f) ? l.In(-6, 8) : l.In(0, 32);
      for (int i = 0; i < fingers; ++i) {
        const float a =
            at + (static_cast<float>(i) - 1.5f) * 0.36f * l.In(0.9f, 1.1f);
        const V3 e{cosf(a), sinf(a), 0};
        float edge = 20;
        while (edge < 150 && BearingOutline(s, cx + edge * e.x, edge * e.y) < 0)
          edge += 3;
        const V3 from{cx + (edge + 45) * e.x, (edge + 45) * e.y, l.In(30, 60)};
        const V3 knuckle{
            cx + (edge + 13) * e.x, (edge + 13) * e.y, l.In(4, 18)};
        const V3 tip{cx + (edge - inward) * e.x,
                     (edge - inward) * e.y,
                     inward > 3 ? std::min(over, -0.7f * r) : over};
        Finger(s, l, from, knuckle, tip, r);
      }
      const V3 e{cosf(at), sinf(at), 0};
      Add(s,
          Rod({cx + 120 * e.x, 120 * e.y, 60},
              {cx + 330 * e.x, 330 * e.y, l.In(40, 160)},
              l.In(26, 38),
              l.In(28, 45),
              l.Chance(0.5f) ? 2 : 3));
    }
    if (s.has_card && l.Chance(0.6f)) {
      // Fingers and thumb on the card.
      const V3 at =
          s.card_at + (l.Chance(0.5f)
                           ? s.card_x * l.In(20, 150) + s.card_y * l.In(0, 20)
                           : s.card_y * l.In(20, 150) + s.card_x * l.In(0, 20));
      const V3 out = Unit(at - V3{cx, 0, 0});
      Finger(s,
             l,
             at + out * 70 + V3{0, 0, 8},
             at + out * 25 + V3{0, 0, -14},
             at - out * l.In(0, 20) + V3{0, 0, -9},
             l.In(8, 12));
      for (int i = 0; i < 2; ++i) {
        const V3 along =
            Cross(out, {0, 0, 1}) * (22.0f * static_cast<float>(i + 1));
        Finger(s,
               l,
               at + out * 60 + along + V3{0, 0, 18},
               at + out * 14 + along + V3{0, 0, 14},
               at - out * 20 + along + V3{0, 0, 12},
               9);
      }
    }
    const int big = l.Pick(3);
    for (int i = 0; i < big; ++i) {
      // A thigh in an apron, a sleeve, a stand: behind the foot.
      const float r = l.In(25, 95);
      const float a = l.In(0, 6.2832f), off = l.In(0, 200);
      const V3 at{cx + off * cosf(a), off * sinf(a), 75 + r + l.In(0, 120)};
      const float b = l.In(0, 6.2832f);
      const V3 d{cosf(b) * 260, sinf(b) * 260, l.In(-30, 60)};
      Add(s, Rod(at - d, at + d, r, r * l.In(0.7f, 1.2f), 3 + l.Pick(2)));
    }
  } else {
    const float side = s.camera.y > 0 ? 1.0f : -1.0f;
    const int limbs = l.Pick(4) - 1;
    for (int i = 0; i < limbs; ++i) {
      // Another limb, a boot, a post: beyond the foot, seldom nearer.
      const float y =
          l.Chance(0.93f) ? -side * l.In(95, 400) : side * l.In(110, 200);
      const float x = cx + l.In(-300, 300);
      if (y * side > 0 && fabsf(x - cx) < 150) continue;
      const float r = l.In(22, 60);
      const V3 foot{x, y, l.In(20, 90)};
      Add(s,
          Rod(foot,
              foot + V3{l.In(-80, 80), l.In(-30, 30), 420},
              r,
              r * l.In(0.7f, 1.4f),
              3 + l.Pick(2)));
      Add(s,
          {{x + l.In(-20, 40), y, 30},
           {l.In(40, 90), l.In(30, 60), l.In(25, 55)},
           6,
           0,
           0,
           l.Chance(0.5f) ? kBall : kBox,
           3 + l.Pick(2)});
    }
    if (l.Chance(0.2f)) {
      // A hand round the pastern or on the wall.
      const float z = s.toe_height + l.In(-30, 60);
      const float x = cx - (z - 30) * 0.6f + l.In(-30, 40);
      const float r = l.In(8, 11);
      const float from = l.Chance(0.5f) ? 1.0f : -1.0f;
      for (int i = 0; i < 4; ++i) {
        const float zz = z + 19.0f * static_cast<float>(i);
        Finger(s,
               l,
               {x + from * 90, side * 30, zz - 6},
               {x + from * 35, side * 62, zz},
               {x - from * l.In(0, 25), side * 58, zz + 3},
               r);
      }
      Add(s,
          Rod({x + from * 100, side * 25, z + 30},
              {x + from * 330, side * 60, z + l.In(0, 200)},
              32,
              40,
              2));
    }
    if (s.has_card && l.Chance(0.3f)) {
      const V3 at =
          s.card_at + s.card_x * l.In(0, 150) + s.card_y * l.In(0, 30);
      Finger(s,
             l,
             at + V3{0, side * 40, 80},
             at + V3{0, side * 20, 30},
             at + V3{l.In(-10, 10), side * 9, 0},
             l.In(8, 12));
    }
  }
  const int tools = l.Pick(more ? 6 : 3);
  for (int i = 0; i < tools; ++i) {
    // Nippers, rasps, a hammer, buckets, bricks, straws.
    const float a = l.In(0, 6.2832f), off = 0.62f * s.length + l.In(25, 260);
    const float b = l.In(0, 6.2832f);
    V3 at{cx + off * cosf(a), off * sinf(a), l.In(10, 120)};
    V3 d{cosf(b), sinf(b), 0};
    if (s.lateral) {
      at = {cx + off * (l.Chance(0.5f) ? 1.0f : -1.0f),
            l.In(-200, 60),
            l.In(4, 50)};
      d = l.Chance(0.3f) ? V3{0.2f, 0, 1} : V3{cosf(b), sinf(b), 0.1f};
    }
    switch (l.Pick(4)) {
      case 0: {
        const float r = l.In(5, 12);
        Add(s, Rod(at, at + d * l.In(80, 250), r, r, 4 + l.Pick(2)));
        if (l.Chance(0.5f))
          Add(s, Rod(at, at + V3{d.y, d.x, d.z} * 180.0f, r, r, 4 + l.Pick(2)));
        break;
      }
      case 1:
        Add(s,
            {at,
             {l.In(12, 90), l.In(8, 50), l.In(3, 30)},
             2,
             0,
             b,
             kBox,
             3 + l.Pick(3)});
        break;
      case 2:
        Add(s,
            {at,
             {l.In(15, 70), l.In(15, 70), l.In(15, 60)},
             0,
             0,
             b,
             kBall,
             3 + l.Pick(3)});
        break;
      default:
        for (int k = 0; k < 3; ++k) {
          const float e = l.In(0, 6.2832f);
          const V3 p = at + V3{l.In(-60, 60), l.In(-60, 60), 0};
          Add(s,
              Rod(p,
                  p + V3{cosf(e), sinf(e), s.lateral ? 0.1f : 0.0f} *
                          l.In(30, 120),
                  1.4f,
                  1.4f,
                  5));
        }
    }
  }
}

inline V3 Project(const Scene& s, V3 p, V3 normal) {
  const float from = Dot(s.camera - s.centre, normal),
              to = Dot(p - s.centre, normal);
  const float t = from / (from - to);
  return s.camera + (p - s.camera) * t;
}

inline void Mark12(
    const Scene& s, int size, V3 normal, int id, V3 p, Labels* out) {
  const V3 q = Project(s, p, normal) - s.centre;
  const float u =
      Dot(q, s.right) / s.mm_per_px + 0.5f * static_cast<float>(size);
  const float v =
      Dot(q, s.down) / s.mm_per_px + 0.5f * static_cast<float>(size);
  out->point[id][0] = u;
  out->point[id][1] = v;
  out->point[id][2] = u > 0 && v > 0 && u < static_cast<float>(size) &&
                      v < static_cast<float>(size);
}

/// What stands before this place of the foot; kNothing: it is seen.
/// @param near what is no more than this nearer is seen past [mm].
inline int Before(const Scene& bare, V3 p, float near) {
  const V3 to = Unit(p - bare.camera);
  const float far = Length(p - bare.camera);
  for (float t = std::max(far - 130, 10.0f); t < far - near;) {
    int part = kNothing, which = 0;
    const float d = SolidOf(bare, bare.camera + to * t, &part, &which);
    if (d < 0.3f) return part;
    t += std::max(d, 0.3f);
  }
  return kNothing;
}

/// The rearmost bearing point of a bare heel, as design.md and the support
/// length of the published measures have it. The outline's rear edge is nearly
/// straight there: the outermost place that is as far back as any.
/// @param side 1 left, -1 right.
inline V3 Rearmost(const Scene& s, float side) {
  const float h = side > 0 ? s.heel_left : s.heel_right;
  const auto shift = [&](float y) { return HeelShift(s, 0, side * y); };
  constexpr float kStep = 0.5f;
  // Behind the foot's own skew, so that its rear edge counts as level.
  const auto rear = [&](float y) {
    float in = 0.5f * s.x_wide, past = -25;
    for (int i = 0; i < 14; ++i) {
      const float x = 0.5f * (in + past);
      (OutlineOf(s, x, side * y) < 0 ? in : past) = x;
    }
    return in - shift(y);
  };
  float least = 1e9f;
  const float innermost =
      std::min(h - s.heel_round, side > 0 ? s.notch_left : s.notch_right) - 3;
  for (float y = h + 2; y > innermost; y -= kStep) {
    // Not on the frog. CHOSEN: nor within 2 mm of it, where its groove is.
    if (FrogOf(s, std::max(rear(y) + shift(y), s.frog_back) + 1, side * y) < 2)
      break;
    least = std::min(least, rear(y));
  }
  // CHOSEN: three tenths of a millimetre further forward looks the same on an
  // edge that is nearly straight there, one on a buttress that is round.
  float y = h + 2;
  while (rear(y) > least + (s.notch > 0 ? 0.1f : 0.3f)) y -= kStep;
  return {rear(y) + shift(y), side * y, 0};
}

/// @copydoc Rearmost
inline void SetRearmost(Scene& s) {
  s.rearmost_left = Rearmost(s, 1);
  s.rearmost_right = Rearmost(s, -1);
  s.roll_left += s.rearmost_left.y;
  s.roll_right -= s.rearmost_right.y;
}

/// The place of the bearing outline that is foremost along the frog's axis.
inline V3 Foremost(const Scene& s) {
  // Where the frog is not seen, the axis is that of the heels.
  const float turn = s.pad ? 0.0f : s.frog_turn;
  V3 best{-1e9f, 0, 0};
  for (float y = -0.6f * s.half_right; y < 0.6f * s.half_left; y += 0.5f) {
    float in = s.x_wide, past = s.length + 25;
    if (BearingOutline(s, in, y) > 0) continue;
    for (int i = 0; i < 14; ++i) {
      const float x = 0.5f * (in + past);
      (BearingOutline(s, x, y) < 0 ? in : past) = x;
    }
    if (in + turn * y > best.x + turn * best.y) best = {in, y, 0};
  }
  return best;
}

inline void LabelPoints(const Scene& s, int size, V3 normal, Labels* out) {
  Scene bare = s;
  bare.things = bare.has_card = 0;
  const float lift = s.shod ? s.shoe_thick : 0.0f;
  if (!s.lateral) {
    Mark12(s, size, normal, 0, Foremost(s), out);
    for (int side = 0; side < 2; ++side) {
      const float sign = side == 0 ? 1.0f : -1.0f;
      V3 heel = side == 0 ? s.rearmost_left : s.rearmost_right;
      if (s.shod) {
        // The end of the branch.
        float edge = 5;
        while (SideOf(s, -s.shoe_back + 3, sign * edge) < s.shoe_out &&
               edge < 120)
          edge += 0.5f;
        heel = {-s.shoe_back, sign * (edge - 0.5f * s.shoe_web), 0};
      }
      Mark12(s, size, normal, 1 + side, heel, out);
    }
    if (!s.pad) {
      const float z = lift + s.frog_lift + 1.5f;
      const float x = s.frog_back + s.frog_wide;
      const float y = s.frog_turn * s.frog_wide;
      const V3 frog[3] = {
          {s.frog_apex, s.frog_turn * (s.frog_apex - s.frog_back), z},
          {x, y + s.frog_half, z},
          {x, y - s.frog_half, z}};
      for (int i = 0; i < 3; ++i) {
        Mark12(s, size, normal, 3 + i, frog[i], out);
        // Under a shoe's branch or bar, or under hair. CHOSEN: the horn of the
        // bars and a frog's own roughness hide nothing; a thin shoe does.
        if (Before(bare, frog[i], 1) == kShoe ||
            Before(bare, frog[i], 4) == kSkin)
          out->point[3 + i][2] = 0;
      }
    }
    return;
  }
  const float side = s.camera.y > 0 ? 1.0f : -1.0f;
  float toe = s.length - 20;
  while (BearingOutline(s, toe, s.bend) < 0) toe += 0.25f;
  Mark12(s, size, normal, 6, {toe, s.bend, 0}, out);
  const V3 hairline{ToeX(s, s.toe_height), s.bend, s.toe_height + lift};
  Mark12(s, size, normal, 7, hairline, out);
  const V3 horn = side > 0 ? s.rearmost_left : s.rearmost_right;
  const V3 heel{s.shod ? -s.shoe_back : horn.x, horn.y, 0};
  Mark12(s, size, normal, 8, heel, out);
  if (Before(bare, heel, 5) == kSkin) out->point[8][2] = 0;
  // The upper end of the tubules that end there.
  const float k = side > 0 ? s.side_left : s.side_right;
  const V3 heel_top{HeelX(s, s.heel_height) + horn.x,
                    horn.y / (1 + s.heel_height * k + s.flare),
                    s.heel_height + lift};
  Mark12(s, size, normal, 9, heel_top, out);
  // It is seen where the horn just below and before it is: CHOSEN 4 and 5 mm.
  const float low = s.heel_height - 4;
  V3 by{HeelX(s, low) + horn.x + 5, 1.3f * side * s.half_left, low + lift};
  while (by.y * side > 0 && WallOf(s, by.x, by.y, low) > 0) by.y -= side * 0.5f;
  if (Before(bare, by, 1) == kSkin) out->point[9][2] = 0;
  // A hairline under a fringe cannot be seen. CHOSEN: strands hang down by 0.7
  // of it in the mean; up to 4 mm a person sees between them.
  if (s.fringe > 6) out->point[7][2] = out->point[9][2] = 0;
  // The pastern's points: at a quarter and three quarters of the dorsal wall's
  // length above the hairline, as network_finder.cpp places them, on the skin
  // wherever the blended shapes have put it.
  const float wall = Length(hairline - V3{toe, s.bend, 0});
  const V3 u = Unit(s.pastern_b - s.pastern_a);
  const V3 m{u.z, 0, -u.x};
  const V3 foot_of = s.pastern_a + V3{0, 0, lift};
  const float parts[2] = {0.75f, 0.25f};
  for (int i = 0; i < 2; ++i) {
    V3 p = foot_of + u * (Dot(hairline - foot_of, u) + parts[i] * wall) +
           m * (0.4f * s.pastern_rb);
    for (int j = 0; j < 200 && SolidOf(bare, p, nullptr, nullptr) < 0; ++j)
      p = p + m * 0.5f;
    Mark12(s, size, normal, 10 + i, p, out);
  }
}

enum Wish : int {
  kClose = 2,     ///< A window as the finder's second look has it.
  kNoThings = 4,  ///< Without hands, tools and other limbs.
  kNoCard = 8,
  kOneLight = 16,  ///< The same mild sun and sky for all, no shade, no flash.
  kOnlyFeet = 32,  ///< Nothing that isn't a foot in the view that is asked for.
};

/// Draws one scene.
/// @param view 0 solar, 1 lateral; and the Wish bits.
/// @param size of the painted picture [px].
inline void DrawScene(
    uint64_t seed, int view, int size, Scene* scene, Labels* labels) {
  const bool close = view & kClose;
  Lots l(seed);
  Scene& s = *scene;
  s = Scene{};
  *labels = Labels{};
  s.seed = l.Next();
  s.lateral = view & 1;
  DrawFoot(s, l);
  // CHOSEN: what is no foot, and how often; a sole has more look-alikes.
  const bool only_feet = view & kOnlyFeet;
  s.has_foot = only_feet || !l.Chance(0.1f);
  s.dorsal = !only_feet && s.lateral && l.Chance(0.06f) ? 1 + l.Pick(2) : 0;
  if (l.Chance(0.38f)) DrawShoe(s, l);
  bool paw = false, look_alike = false;
  if (!s.has_foot) {
    const float kind = l.U();
    s.alone = kind < 0.35f;
    s.limb_only = kind > 0.75f;
    paw = kind > 0.6f && !s.limb_only;
    if (!s.alone) s.shod = 0;
  } else if (only_feet) {
    // As it is.
  } else if (!s.dorsal && l.Chance(s.lateral ? 0.03f : 0.08f)) {
    s.has_foot = s.shod = s.pad = 0;
    look_alike = true;
  } else if (!s.dorsal && l.Chance(s.lateral ? 0.1f : 0.08f)) {
    s.frame = 1;
    s.shod = s.pad = 0;
  } else if (!s.lateral && l.Chance(0.02f)) {
    s.cloven = 1;
    s.shod = s.pad = 0;
  }
  const float toe_angle = atanf(1 / s.cot_toe) / 0.017453293f;
  DrawLimb(s, l, toe_angle);
  DrawColours(s, l);
  const bool plain = !s.lateral && l.Chance(0.16f);
  if (plain) DrawPlain(s, l);
  if (s.frame) DrawFlesh(s, l);
  SetRearmost(s);

  // The window and the camera.
  const float window =
      !close ? expf(l.In(logf(215.0f), logf(600.0f)))
             : s.length * (s.lateral ? l.In(2.1f, 3.0f) : l.In(1.75f, 2.5f));
  s.mm_per_px = window / static_cast<float>(size);
  const float distance = l.Chance(0.2f)    ? l.In(300, 500)
                         : l.Chance(0.85f) ? l.In(450, 1300)
                                           : l.In(1200, 2500);
  const float slack = std::max(0.0f, 0.5f * window - 0.45f * s.length);
  const float jx = l.Near(0, 0.35f, -0.8f, 0.8f) * slack,
              jy = l.Near(0, 0.35f, -0.8f, 0.8f) * slack;
  V3 normal;  // Into the scene.
  if (!s.lateral) {
    normal = {0, 0, 1};
    float turn = l.In(0, 6.2832f);
    if (l.Chance(0.3f))
      turn = Deg((l.Chance(0.5f) ? 90.0f : -90.0f) + l.In(-40, 40));
    s.right = {cosf(turn), sinf(turn), 0};
    s.down = {-sinf(turn), cosf(turn), 0};
    s.centre = V3{0.45f * s.length, 0, 0} + s.right * jx + s.down * jy;
    const float tilt = Deg(l.Chance(0.8f) ? l.In(0, 14) : l.In(5, 24)),
                way = l.In(0, 6.2832f);
    const V3 aim{0.45f * s.length + l.In(-0.13f, 0.13f) * distance,
                 l.In(-0.13f, 0.13f) * distance,
                 0};
    s.camera =
        aim + V3{sinf(tilt) * cosf(way), sinf(tilt) * sinf(way), -cosf(tilt)} *
                  distance;
  } else {
    const float side = l.Chance(0.5f) ? 1.0f : -1.0f;
    const float roll = Deg(l.Near(0, 4, -13, 13));
    const float yaw = Deg(s.dorsal ? l.In(-38, 38) : l.Near(0, 4.5f, -16, 16)),
                pitch = Deg(l.Chance(0.8f) ? l.In(-2, 14) : l.In(5, 24));
    V3 r{-side, 0, 0}, d{0, 0, -1};
    normal = {0, -side, 0};
    V3 to{sinf(yaw) * cosf(pitch), side * cosf(yaw) * cosf(pitch), sinf(pitch)};
    V3 middle{0.35f * s.length, 0, 0.45f * s.toe_height};
    if (s.dorsal) {
      const float front = s.dorsal == 1 ? 1.0f : -1.0f;
      normal = {-front, 0, 0};
      r = {0, front, 0};
      to = {front * cosf(yaw) * cosf(pitch), sinf(yaw), sinf(pitch)};
      middle.x = 0.5f * s.length;
    }
    s.right = r * cosf(roll) + d * sinf(roll);
    s.down = d * cosf(roll) - r * sinf(roll);
    const V3 aim = middle + V3{s.dorsal ? 0.0f : l.In(-0.12f, 0.12f) * distance,
                               s.dorsal ? l.In(-60, 60) : 0.0f,
                               l.In(-20, 60)};
    s.centre =
        middle + s.right * jx + s.down * (jy - (close ? 0.1f : 0.08f) * window);
    s.camera = aim + to * distance;
    s.camera.z = std::max(s.camera.z, l.In(12, 60));
  }

  // Surfaces, ground, card, things.
  for (Surface& f : s.surface) f = AnySurface(l);
  s.surface[2] = SkinOrGlove(l);
  if (l.Chance(0.5f)) s.surface[5].pattern = kPlain;
  if (plain && l.Chance(0.5f)) {
    s.surface[0].pattern = s.surface[1].pattern = kPlain;
    s.surface[0].contrast = s.surface[1].contrast = 0.2f;
  }
  if (l.Chance(0.25f)) {
    // A plain sheet behind: white, grey or black.
    s.surface[1].a = s.surface[1].b =
        Hsv(0, 0, l.Chance(0.5f) ? l.In(0.85f, 1) : l.In(0, 1));
    s.surface[1].contrast = 0.1f;
    s.surface[1].pattern = kPlain;
  }
  if (l.Chance(s.dorsal || !s.has_foot ? 0.4f : 0.6f) && !(view & kNoCard)) {
    DrawCard(s, l);
  }
  if (paw) DrawPaw(s, l);
  if (look_alike) DrawLookAlike(s, l);
  if (!(view & kNoThings) && !(plain && l.Chance(0.5f)))
    DrawThings(s, l, !s.has_foot && !paw && !look_alike);
  if (s.limb_only)
    s.pastern_a = s.pastern_a + (s.pastern_b - s.pastern_a) * l.In(0, 0.7f);
  if (s.lateral) {
    s.ground = 1;
    if (l.Chance(0.22f) && !(view & kNoThings)) s.grass = l.In(2, 30);
    s.ground_at = {0, 0, 0};
    s.ground_n = {0, 0, 1};
    if (l.Chance(0.3f)) {
      // On a block.
      const float h = l.In(15, 120);
      const float back = l.In(20, 330), front = s.length + l.In(10, 330),
                  deep = l.In(70, 200);
      Add(s,
          {{0.5f * (front - back), 0, -0.5f * h},
           {0.5f * (front + back), deep, 0.5f * h},
           1.5f,
           0,
           0,
           kBox,
           3 + l.Pick(3)});
      s.ground_at.z = -h;
    }
    if (l.Chance(0.75f)) {
      s.back = 1;
      s.back_at = {0, s.camera.y > 0 ? -l.In(90, 1500) : l.In(90, 1500), 0};
      s.back_n = Unit({l.In(-0.3f, 0.3f), s.camera.y > 0 ? 1.0f : -1.0f, 0});
      if (s.dorsal) {
        const float front = s.dorsal == 1 ? 1.0f : -1.0f;
        s.back_at = {-front * l.In(220, 1500), 0, 0};
        s.back_n = {front, 0, 0};
      }
    }
  } else {
    s.ground = 1;
    s.ground_at = {0, 0, l.Chance(0.25f) ? l.In(130, 220) : l.In(180, 900)};
    s.ground_n =
        Unit({l.Near(0, 0.2f, -0.6f, 0.6f), l.Near(0, 0.2f, -0.6f, 0.6f), -1});
    if (l.Chance(0.35f)) {
      s.back = 1;
      const float a = l.In(0, 6.2832f);
      s.back_at = {350 * cosf(a), 350 * sinf(a), 400};
      s.back_n = Unit({-cosf(a), -sinf(a), l.In(-0.8f, 0.2f)});
    }
  }

  // Light.
  const V3 eye = Unit(s.camera - s.centre);
  V3 sun{l.In(-1, 1), l.In(-1, 1), l.In(-1, 1)};
  if (s.lateral) {
    sun.z = l.In(0.1f, 1.2f);
    if (l.Chance(0.7f)) sun = sun + eye * 0.8f;
  } else {
    sun = sun * 0.9f + eye * l.In(0.1f, 1.2f);
  }
  s.sun = Unit(sun);
  const float sun_power = l.Chance(0.75f) ? l.In(0.3f, 2.4f) : l.In(0, 0.3f);
  const float sky_power = l.In(0.12f, 0.9f);
  const float flash = l.Chance(0.25f) ? l.In(0.2f, 1.6f) : 0;
  const float warm = l.In(-0.2f, 0.35f);
  s.sun_colour = V3{1 + 0.5f * warm, 1, 1 - 0.6f * warm} * sun_power;
  const float cool = l.In(-0.15f, 0.3f);
  s.sky_colour = V3{1 - 0.5f * cool, 1, 1 + 0.5f * cool} * sky_power;
  s.earth_colour = V3{1, 0.93f, 0.85f} * (sky_power * l.In(0.15f, 0.7f));
  s.flash_colour = V3{1, 1, 1} * flash;
  s.shadow = l.Chance(0.85f) ? l.In(0.5f, 1) : 0;
  if (l.Chance(0.3f)) {
    s.shade = l.In(0.4f, 1);
    s.shade_n = Unit({l.In(-1, 1), l.In(-1, 1), l.In(-1, 1)});
    s.shade_at = Dot(s.shade_n, s.centre) + l.In(-60, 60);
    s.shade_soft = l.In(0.5f, 15);
    s.dapple = l.Chance(0.4f) ? l.In(1, 5) : 0;
  }
  const float falloff = std::min(25.0f, 250000 / (distance * distance));
  s.flash_colour = s.flash_colour * (1 / std::max(0.4f, falloff));
  const float level = 0.55f * sun_power + 0.75f * sky_power + 0.7f * flash;
  s.exposure = expf(l.In(logf(0.75f), logf(2.4f))) / std::max(level, 0.15f);

  if (view & kOneLight) {
    s.sun = Unit(eye + s.right * -0.5f + s.down * -0.7f);
    s.sun_colour = {0.9f, 0.9f, 0.9f};
    s.sky_colour = {0.5f, 0.5f, 0.5f};
    s.earth_colour = {0.2f, 0.2f, 0.2f};
    s.flash_colour = {0, 0, 0};
    s.shadow = 0.8f;
    s.shade = s.dapple = 0;
    s.exposure = 1.6f;
  }

  labels->mm_per_px = s.mm_per_px;
  labels->lateral = static_cast<float>(s.lateral);
  labels->foot = s.has_foot && !s.dorsal && !s.frame && !s.cloven ? 1.0f : 0.0f;
  labels->kind = static_cast<float>(look_alike    ? kLookAlike
                                    : s.alone     ? kShoeAlone
                                    : paw         ? kPaw
                                    : s.limb_only ? kLegOnly
                                    : !s.has_foot ? kNoFoot
                                    : s.dorsal    ? kFromFront
                                    : s.frame     ? kFrame
                                    : s.cloven    ? kCloven
                                                  : kFoot);
  labels->width = s.half_left + s.half_right;
  if (labels->foot > 0) LabelPoints(s, size, normal, labels);
}

}  // namespace scene
