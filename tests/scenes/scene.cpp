// SPDX-License-Identifier: Apache-2.0
#include "scenes/scene.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <limits>
#include <numbers>

namespace plumbfoot::scenes {
namespace {

using Eigen::Matrix3d;
using Eigen::Vector3d;
using geometry::Pose;
using geometry::Random;
using geometry::View;

double Radians(double degrees) {
  return degrees * std::numbers::pi / 180;
}
Vec3 ToVec(const Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}

Pose Times(const Pose& a, const Pose& b) {
  return {a.rotation * b.rotation, a.rotation * b.translation + a.translation};
}

Pose Inverse(const Pose& a) {
  return {a.rotation.transpose(), -(a.rotation.transpose() * a.translation)};
}

struct Range {
  double low = std::numeric_limits<double>::infinity();
  double high = -std::numeric_limits<double>::infinity();
  void Add(double v) {
    low = std::min(low, v);
    high = std::max(high, v);
  }
  double middle() const { return (low + high) / 2; }
};

// What of the foot the photo is about.
std::vector<Vector3d> FootExtent(const SceneOptions& o,
                                 const FootGeometry& foot) {
  std::vector<Vector3d> places;
  for (const auto& p : foot.bearing_outline()) {
    places.emplace_back(p.x(), p.y(), 0.0);
  }
  for (const WallColumn& c : foot.columns()) places.push_back(c.top);
  if (o.view == View::kLateral) {
    for (const Vector3d& p : foot.rear_top()) places.push_back(p);
    places.push_back(foot.DorsalPastern(o.shape.pastern_upper));
  } else {
    for (const auto& p : foot.rear_edge()) {
      places.emplace_back(p.x(), p.y(), 0.0);
    }
  }
  return places;
}

// The measured plane's frame: where a card without doubt would be.
Pose MeasuredPlane(const SceneOptions& o, const FootGeometry& foot) {
  Vector3d right;
  Vector3d up;
  if (o.view == View::kSolar) {
    right = {0, 1, 0};
    up = {1, 0, 0};
  } else {
    right = {o.from_left ? -1.0 : 1.0, 0, 0};
    up = {0, 0, 1};
  }
  const Vector3d out = right.cross(up);
  double turn = 0;
  if (o.view == View::kSolar) {
    turn = Radians(o.card.turn_deg);
  } else if (o.card.quarter_turned) {
    turn = std::numbers::pi / 2;
  }
  Pose p;
  p.rotation.col(0) = std::cos(turn) * right + std::sin(turn) * up;
  p.rotation.col(1) = -std::sin(turn) * right + std::cos(turn) * up;
  p.rotation.col(2) = out;

  Range x;
  Range y;
  if (o.view == View::kSolar) {
    for (const auto& g : foot.bearing_outline()) {
      const Vector3d place(g.x(), g.y(), 0);
      x.Add(place.dot(p.rotation.col(0)));
      y.Add(place.dot(p.rotation.col(1)));
    }
    // The flesh behind the heels must clear the board as well.
    for (const auto& g : foot.rear_edge()) {
      const Vector3d place(g.x() - 8, g.y(), 0);
      x.Add(place.dot(p.rotation.col(0)));
      y.Add(place.dot(p.rotation.col(1)));
    }
    p.translation =
        (x.low - kCardArm - o.card.gap_mm) * p.rotation.col(0) +
        (y.low - kCardArm - o.card.gap_other_mm) * p.rotation.col(1);
    return p;
  }
  for (const Vector3d& place : FootExtent(o, foot)) x.Add(place.dot(right));
  const bool toe_is_left = o.from_left;
  const bool card_is_left = toe_is_left != o.card.behind_heels;
  // The board clears what stands before it.
  double left_edge =
      card_is_left ? x.low - o.card.gap_mm - kCardSide : x.high + o.card.gap_mm;
  if (o.card.quarter_turned) left_edge += kCardSide;  // Corner bottom right.
  p.translation = left_edge * right;
  return p;
}

}  // namespace

Layout ComputeLayout(const SceneOptions& o,
                     const FootGeometry& foot,
                     int width_px,
                     int height_px) {
  Layout l;
  const double diagonal = std::hypot(width_px, height_px);
  // The diagonal of a 36 x 24 mm frame is 43.2666 mm.
  l.camera.focal_px = o.camera.focal_35mm * diagonal / 43.2666;
  l.camera.principal = {width_px / 2.0, height_px / 2.0};
  l.camera.lens.k1 = o.camera.k1;
  l.camera.lens.k2 = o.camera.k2;

  l.shape_from_measured = MeasuredPlane(o, foot);
  const Vector3d centre = o.view == View::kSolar
                              ? Vector3d(o.shape.length / 2, 0, 0)
                              : Vector3d(o.shape.length / 2, 0, 40);
  const Vector3d pivot3 = Inverse(l.shape_from_measured).rotation *
                          (centre - l.shape_from_measured.translation);
  l.pivot = {pivot3.x(), pivot3.y()};
  const Vector3d pivot(l.pivot.x, l.pivot.y, 0);
  const Matrix3d turn = geometry::RotationFromVector(
      {o.card.doubt.turn_x, o.card.doubt.turn_y, 0});
  const Pose card_from_measured{
      turn, pivot + Vector3d(0, 0, o.card.doubt.offset_mm) - turn * pivot};
  l.shape_from_card = Times(l.shape_from_measured, Inverse(card_from_measured));

  // What the camera is aimed at: the middle of the foot and the card.
  const Vector3d out = l.shape_from_measured.rotation.col(2);
  Vector3d right0;
  Vector3d up0;
  if (o.view == View::kSolar) {
    right0 = {0, 1, 0};
    up0 = {1, 0, 0};
  } else {
    right0 = {o.from_left ? -1.0 : 1.0, 0, 0};
    up0 = {0, 0, 1};
  }
  Range r;
  Range u;
  auto places = FootExtent(o, foot);
  if (o.card.present) {
    for (const auto& c : {std::array{0.0, 0.0},
                          std::array{kCardSide, 0.0},
                          std::array{0.0, kCardSide}}) {
      places.push_back(l.shape_from_measured.rotation *
                           Vector3d(c[0], c[1], 0) +
                       l.shape_from_measured.translation);
    }
  }
  for (const Vector3d& p : places) {
    r.Add(p.dot(right0));
    u.Add(p.dot(up0));
  }
  const double seen = o.camera.distance_mm * height_px / l.camera.focal_px;
  const Vector3d target = (r.middle() + o.camera.aim_x * seen) * right0 +
                          (u.middle() + o.camera.aim_y * seen) * up0;

  const double tilt = Radians(o.camera.tilt_deg);
  const double azimuth = Radians(o.camera.tilt_azimuth_deg);
  const Vector3d sideways =
      std::cos(azimuth) * (o.view == View::kSolar ? up0 : right0) +
      std::sin(azimuth) * (o.view == View::kSolar ? right0 : up0);
  const Vector3d from_target = std::cos(tilt) * out + std::sin(tilt) * sideways;
  Vector3d lens = target + o.camera.distance_mm * from_target;
  if (o.view == View::kLateral) lens.z() = std::max(lens.z(), 12.0);
  const Vector3d forward = (target - lens).normalized();
  const double roll = Radians(o.camera.roll_deg);
  // Looking along `forward`, the toe appears turned clockwise by the roll when
  // the photo's up is turned the other way.
  const Vector3d up_wish = std::cos(roll) * up0 - std::sin(roll) * right0;
  const Vector3d right = forward.cross(up_wish).normalized();
  const Vector3d up = right.cross(forward);
  l.camera_from_shape.rotation.row(0) = right.transpose();
  l.camera_from_shape.rotation.row(1) = -up.transpose();
  l.camera_from_shape.rotation.row(2) = forward.transpose();
  l.camera_from_shape.translation = -(l.camera_from_shape.rotation * lens);
  l.camera_from_measured = Times(l.camera_from_shape, l.shape_from_measured);
  l.camera_from_card = Times(l.camera_from_shape, l.shape_from_card);
  l.lens = ToVec(lens);
  l.photo_up = ToVec(up);
  l.photo_right = ToVec(right);
  l.towards_camera = ToVec(out);
  return l;
}

Vec3 OnCard(const SceneOptions& o, const Layout& layout, double x, double y) {
  const double s = o.card.print_scale;
  const double t = (x + y) / (2 * kCardSide);
  // A rolled sheet: the far ends of both arms come off the plane.
  const Vector3d on_card(s * x, s * y, 4 * o.card.bend_mm * t * t);
  return ToVec(layout.shape_from_card.rotation * on_card +
               layout.shape_from_card.translation);
}

SceneOptions RandomScene(View view, geometry::Foot foot, Random& random) {
  const FootShape shape = RandomFootShape(random, foot);
  return RandomScene(view, shape, random);
}

SceneOptions RandomScene(View view, const FootShape& shape, Random& random) {
  SceneOptions o;
  o.view = view;
  o.foot = shape.foot;
  o.shape = shape;
  o.seed = static_cast<std::uint64_t>(random.Below(1 << 30));
  o.from_left = random.Chance(0.5);
  const double size = shape.length / 125.0;

  // The horse.
  Appearance& a = o.appearance;
  a.seed = o.seed + 1;
  const int horn = random.Below(4);
  a.horn_darkness = horn == 0   ? random.Uniform(0.0, 0.15)
                    : horn == 1 ? random.Uniform(0.35, 0.65)
                                : random.Uniform(0.8, 1.0);
  a.horn_light =
      random.Uniform(0.8, 1.15) *
      Vec3{0.50, random.Uniform(0.37, 0.43), random.Uniform(0.23, 0.31)};
  a.rings = random.Uniform(0.2, 1.0);
  a.wet =
      random.Chance(0.2) ? random.Uniform(0.5, 1.0) : random.Uniform(0, 0.25);
  a.dust = random.Uniform(0, 0.8) * (1 - a.wet);
  a.mud =
      random.Chance(0.35) ? random.Uniform(0.3, 0.9) : random.Uniform(0, 0.2);
  a.trimmed =
      random.Chance(0.5) ? random.Uniform(0.7, 1.0) : random.Uniform(0, 0.4);
  const std::array<Vec3, 7> coats = {{{0.035, 0.03, 0.03},
                                      {0.11, 0.055, 0.03},
                                      {0.22, 0.10, 0.05},
                                      {0.30, 0.17, 0.08},
                                      {0.32, 0.31, 0.30},
                                      {0.66, 0.62, 0.56},
                                      {0.50, 0.38, 0.22}}};
  a.coat = coats[static_cast<std::size_t>(random.Below(7))];
  if (a.horn_darkness < 0.3) a.coat = coats[5];  // White socks, white horn.
  o.hair.coat_mm = random.Uniform(4, 11);
  o.hair.fringe_mm = random.Uniform(3, 9);
  o.hair.feather_mm = random.Chance(0.25) ? random.Uniform(15, 60) : 0.0;
  a.skin = random.Uniform(0.45, 1.1) * Vec3{0.58, 0.36, 0.27};
  const std::array<Vec3, 4> gloves = {{{0.05, 0.05, 0.06},
                                       {0.50, 0.36, 0.16},
                                       {0.08, 0.14, 0.25},
                                       {0.45, 0.45, 0.43}}};
  a.glove = gloves[static_cast<std::size_t>(random.Below(4))];
  a.cloth = random.Uniform(0.4, 1.4) * Vec3{random.Uniform(0.07, 0.20),
                                            random.Uniform(0.09, 0.17),
                                            random.Uniform(0.10, 0.26)};
  a.leather = random.Uniform(0.4, 1.5) * Vec3{0.21, 0.115, 0.06};
  a.ground_tint =
      random.Uniform(0.75, 1.2) *
      Vec3{random.Uniform(0.94, 1.06), 1.0, random.Uniform(0.92, 1.05)};

  // The place.
  o.ground = static_cast<Ground>(random.Below(8));
  o.clutter = random.Below(4);
  if (view == View::kSolar) {
    o.hold = random.Chance(0.55)
                 ? (random.Chance(0.5) ? Hold::kBareHand : Hold::kGlove)
                 : Hold::kNone;
    o.behind = random.Chance(0.5)   ? Behind::kChaps
               : random.Chance(0.5) ? Behind::kGroundOnly
                                    : Behind::kStand;
  } else {
    o.hold = Hold::kNone;
    o.behind = random.Chance(0.35) ? Behind::kStall : Behind::kGroundOnly;
  }

  // The card.
  CardSetup& c = o.card;
  c.gap_mm = random.Uniform(3, 14);
  c.gap_other_mm = random.Uniform(3, 14);
  c.turn_deg =
      view == View::kSolar ? 90.0 * random.Below(4) + random.Normal(0, 7) : 0.0;
  c.behind_heels = random.Chance(0.3);
  c.quarter_turned = random.Chance(0.15);
  c.board_mm = random.Uniform(2, 6);

  // The camera: a phone's focal length, and as near as fills the photo.
  const std::array<double, 7> focals = {24, 26, 28, 35, 50, 52, 77};
  CameraSetup& k = o.camera;
  k.focal_35mm = focals[static_cast<std::size_t>(random.Below(7))];
  k.k1 = random.Normal(0, 0.012);
  k.k2 = random.Normal(0, 0.008);
  const double extent =
      view == View::kSolar ? 0.5 * (shape.length + shape.left.half_width +
                                    shape.right.half_width) +
                                 kCardArm + 40
                           : 0.80 * (shape.length + 45 * size + kCardSide + 20);
  const double fill = random.Uniform(0.62, 0.86);
  // The short side of a 4:3 photo is 0.6 of its diagonal.
  k.distance_mm =
      std::clamp(extent / fill * k.focal_35mm / (0.6 * 43.2666), 350.0, 1200.0);
  k.tilt_deg = std::min(15.0, std::abs(random.Normal(0, 6)));
  k.tilt_azimuth_deg = random.Uniform(0, 360);
  if (view == View::kLateral) {
    // From a little above the ground: a person holds the phone low.
    const double lift = std::clamp(std::abs(random.Normal(2, 3.5)), 0.0, 12.0);
    const double yaw = std::clamp(random.Normal(0, 4), -10.0, 10.0);
    k.tilt_deg = std::hypot(lift, yaw);
    k.tilt_azimuth_deg = std::atan2(lift, yaw) * 180 / std::numbers::pi;
    k.roll_deg = random.Normal(0, 2.0);
    k.aim_y = random.Uniform(-0.04, 0.05);
  } else {
    k.roll_deg = (random.Chance(0.5) ? 0.0 : 180.0) +
                 std::clamp(random.Normal(0, 12), -30.0, 30.0);
    k.aim_y = random.Normal(0, 0.025);
  }
  k.aim_x = random.Normal(0, 0.025);

  // The light.
  Lighting& l = o.light;
  const bool sunny = random.Chance(0.5);
  const Vec3 front = view == View::kSolar
                         ? Vec3{0, 0, -1}
                         : Vec3{0, o.from_left ? 1.0 : -1.0, 0};
  const Vec3 across{1, 0, 0};
  const Vec3 other = Cross(front, across);
  if (view == View::kSolar) {
    l.up = Normalised(0.8 * front + random.Uniform(0.2, 0.9) * across +
                      random.Uniform(-0.3, 0.3) * other);
  }
  Vec3 sun =
      random.Uniform(-0.9, 0.9) * across + random.Uniform(0.1, 1.0) * front +
      random.Uniform(-0.4, 0.4) * other + random.Uniform(0.35, 1.3) * l.up;
  l.sun_direction = Normalised(sun);
  l.sun = sunny ? random.Uniform(1.2, 2.6) : random.Uniform(0.0, 0.7);
  l.sun_size = sunny ? random.Uniform(0.01, 0.05) : random.Uniform(0.2, 0.5);
  l.sky = random.Uniform(0.6, 1.1);
  const double warm = random.Uniform(-1, 1);
  l.sun_colour = {1.0, 0.94 - 0.04 * warm, 0.84 - 0.12 * warm};
  l.sky_colour = {0.90 + 0.1 * warm, 0.95, 1.06 - 0.12 * warm};
  l.flash = random.Chance(0.12) ? random.Uniform(0.5, 1.6) : 0.0;

  CameraEffects& e = o.effects;
  e.blur_px = random.Uniform(0.45, 0.95);
  e.motion_px = random.Chance(0.3) ? random.Uniform(0, 1.2) : 0.0;
  e.motion_deg = random.Uniform(0, 180);
  e.vignette = random.Uniform(0.03, 0.3);
  e.electrons = std::exp(random.Uniform(std::log(1800.0), std::log(20000.0)));
  e.exposure = std::exp(random.Normal(0, 0.16));
  e.sharpen = random.Uniform(0, 0.7);
  e.white_balance = {1 + random.Normal(0, 0.03), 1, 1 + random.Normal(0, 0.04)};
  e.jpeg_quality = 82 + random.Below(15);
  return o;
}

SceneOptions SameVisit(const SceneOptions& first, SceneOptions other) {
  other.foot = first.foot;
  other.shape = first.shape;
  other.appearance = first.appearance;
  other.hair = first.hair;
  other.ground = first.ground;
  other.card.print_scale = first.card.print_scale;
  other.card.gain_mm = first.card.gain_mm;
  other.card.board_mm = first.card.board_mm;
  const double ratio = first.camera.focal_35mm / other.camera.focal_35mm;
  other.camera.focal_35mm = first.camera.focal_35mm;
  other.camera.k1 = first.camera.k1;
  other.camera.k2 = first.camera.k2;
  other.camera.distance_mm =
      std::clamp(other.camera.distance_mm * ratio, 350.0, 1200.0);
  return other;
}

void MakeEasy(SceneOptions& o) {
  o.appearance.mud = 0.05;
  o.appearance.dust = 0.15;
  o.appearance.trimmed = 0.9;
  o.hair.fringe_mm = 3.5;
  o.hair.feather_mm = 0;
  o.hold = Hold::kNone;
  o.camera.tilt_deg = std::min(o.camera.tilt_deg, 4.0);
  o.effects.blur_px = 0.5;
  o.effects.motion_px = 0;
  o.effects.electrons = 15000;
  if (o.ground == Ground::kGrass || o.ground == Ground::kStraw) {
    o.ground = Ground::kConcrete;
  }
}

}  // namespace plumbfoot::scenes
