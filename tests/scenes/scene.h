// SPDX-License-Identifier: Apache-2.0
/// @file
/// One rendered photo as numbers: the foot, the card, the camera, the light
/// and everything around. RandomScene draws a believable one; every field can
/// then be overridden.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/random.h"
#include "scenes/foot_shape.h"
#include "scenes/meshes.h"
#include "scenes/vec.h"

namespace plumbfoot::scenes {

/// Where the camera stands.
struct CameraSetup {
  double focal_35mm =
      26.0;         ///< Equivalent on 36 x 24 mm, by the diagonal [mm].
  double k1 = 0.0;  ///< Brown's radial distortion.
  double k2 = 0.0;
  double distance_mm = 500.0;  ///< From the lens to what it is aimed at.
  double tilt_deg = 0.0;  ///< Optical axis off the measured plane's normal.
  /// Direction of the tilt: in a lateral view 0 yaws the camera towards the
  /// photo's right, 90 lifts it; in a solar view it turns from the toe.
  double tilt_azimuth_deg = 0.0;
  double roll_deg = 0.0;  ///< Solar: the toe, clockwise from the photo's top.
                          ///< Lateral: the ground's slope in the photo.
  double aim_x = 0.0;     ///< Aimed beside the middle, part of the view [1].
  double aim_y = 0.0;
};

/// The measured plane against the card's plane, as geometry::PlaneSampler has
/// it: turned about the foot's centre, then moved along the card's normal.
struct CardDoubt {
  double offset_mm = 0.0;
  double turn_x = 0.0;  ///< About the card's x [rad].
  double turn_y = 0.0;  ///< About the card's y [rad].
};

struct CardSetup {
  bool present = true;
  /// Which tags can be seen; the others are left out of the print, or lie
  /// under mud where `muddy` says so.
  std::array<bool, 5> tags = {true, true, true, true, true};
  bool muddy = false;
  double gap_mm = 6.0;  ///< Between the foot and the card's inner edges.
  double gap_other_mm = 6.0;
  double turn_deg = 0.0;        ///< Solar: card's y axis against the toe.
  bool behind_heels = false;    ///< Lateral: else before the toe.
  bool quarter_turned = false;  ///< Lateral: stands on arm B.
  CardDoubt doubt;
  double print_scale = 1.0;  ///< True size over nominal [1].
  double gain_mm = 0.0;      ///< Black grows by this on every side.
  double bend_mm = 0.0;      ///< How far the far end bends off the plane.
  double board_mm = 4.0;     ///< Thickness.
};

enum class Ground {
  kConcrete,
  kRubber,
  kDirt,
  kSand,
  kGravel,
  kGrass,
  kStraw,
  kAsphalt,
};

struct Lighting {
  Vec3 sun_direction{0.3, 0.4, 0.8};  ///< Towards the sun, shape frame.
  Vec3 sun_colour{1.0, 0.95, 0.86};
  double sun = 1.2;        ///< Strength; 0: in the shade.
  double sun_size = 0.03;  ///< Half angle of the light [rad]; large: a window.
  Vec3 sky_colour{0.82, 0.91, 1.05};
  double sky = 0.9;
  Vec3 bounce_colour{0.85, 0.8, 0.72};
  double bounce = 0.35;
  double flash = 0.0;  ///< Light at the camera; 1 at 500 mm.
  Vec3 up{0, 0, 1};    ///< Away from the ground, shape frame.
};

enum class Hold { kNone, kBareHand, kGlove };
enum class Behind { kGroundOnly, kChaps, kStall, kStand };

/// Colours and dirt.
struct Appearance {
  std::uint64_t seed = 1;
  Vec3 horn_light{0.50, 0.40, 0.27};
  Vec3 horn_dark{0.07, 0.055, 0.045};
  double horn_darkness = 0.5;  ///< 0 white, 1 black, between: striped.
  double rings = 0.5;          ///< Growth rings.
  double wet = 0.0;
  double dust = 0.3;
  double mud = 0.2;
  double trimmed = 0.5;  ///< 1: pared today, pale and clean.
  Vec3 coat{0.17, 0.09, 0.05};
  Vec3 ground_tint{1, 1, 1};
  Vec3 skin{0.55, 0.33, 0.24};
  Vec3 glove{0.10, 0.12, 0.14};
  Vec3 cloth{0.10, 0.13, 0.22};
  Vec3 leather{0.20, 0.11, 0.06};
};

struct CameraEffects {
  double blur_px = 0.7;    ///< Lens and focus, Gaussian sigma at 1600 px.
  double motion_px = 0.0;  ///< Length of the smear at 1600 px.
  double motion_deg = 0.0;
  double background_blur = 1.0;  ///< Depth of field: factor on its blur.
  double vignette = 0.15;        ///< Darkening of the corners.
  double electrons = 9000;       ///< At full white, a pixel: the noise.
  double exposure = 1.0;
  double sharpen = 0.4;
  Vec3 white_balance{1, 1, 1};
  int jpeg_quality = 92;
};

struct SceneOptions {
  geometry::View view = geometry::View::kSolar;
  geometry::Foot foot = geometry::Foot::kLeftFore;
  std::uint64_t seed = 1;
  FootShape shape;
  HairStyle hair;
  CameraSetup camera;
  CardSetup card;
  Lighting light;
  Appearance appearance;
  CameraEffects effects;
  Ground ground = Ground::kConcrete;
  Hold hold = Hold::kNone;
  Behind behind = Behind::kGroundOnly;
  int clutter = 0;  ///< Tools and other things lying about.
  /// Lateral: the camera stands on the horse's left.
  bool from_left = true;
  /// The card and a plain ground only: quick, for statistics. The truth is
  /// still the whole foot's.
  bool card_only = false;
  /// Solar, with shape.shod: no foot, its shoe lies on a board, ground side up.
  /// The truth's outline is the shoe's outer edge; its other points are those
  /// of the foot that wore it.
  bool loose_shoe = false;
};

/// Good light, a clean foot, a still camera: what a careful person takes.
void MakeEasy(SceneOptions& options);

/// A believable photo of a foot of random shape.
SceneOptions RandomScene(geometry::View view,
                         geometry::Foot foot,
                         geometry::Random& random);
/// A believable photo of this foot; `shape` decides the foot.
SceneOptions RandomScene(geometry::View view,
                         const FootShape& shape,
                         geometry::Random& random);
/// The second photo of a pair: the other view of the same foot, with the same
/// horse's colours, the same card print and the same lens. Takes the rest from
/// `other`.
SceneOptions SameVisit(const SceneOptions& first, SceneOptions other);

/// Where everything stands.
struct Layout {
  geometry::Camera camera;
  geometry::Pose camera_from_shape;
  /// The measured plane in the card's coordinates: a card held without doubt
  /// would lie here.
  geometry::Pose camera_from_measured;
  geometry::Pose camera_from_card;
  geometry::Pose shape_from_measured;
  geometry::Pose shape_from_card;
  geometry::CardPoint pivot;  ///< The foot's centre, measured plane [mm].
  Vec3 lens;                  ///< The camera's place, shape frame [mm].
  Vec3 photo_up;              ///< The photo's up in the shape frame.
  Vec3 photo_right;
  Vec3 towards_camera;  ///< Normal of the measured plane.
};

/// Side of a tag's black square and the tags' centres, card frame [mm].
inline constexpr double kTagSide = 36.0;
inline constexpr std::array<std::array<double, 2>, 5> kTagCentres = {
    {{24, 24}, {80, 24}, {136, 24}, {24, 80}, {24, 136}}};
inline constexpr double kCardSide = 160.0;
inline constexpr double kCardArm = 48.0;

Layout ComputeLayout(const SceneOptions& options,
                     const FootGeometry& foot,
                     int width_px,
                     int height_px);

/// A place on the card's print, bend and print scale included, in the shape
/// frame [mm].
Vec3 OnCard(const SceneOptions& options,
            const Layout& layout,
            double x,
            double y);

}  // namespace plumbfoot::scenes
