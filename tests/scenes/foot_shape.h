// SPDX-License-Identifier: Apache-2.0
/// @file
/// A horse's foot as numbers, and its exact geometry.
///
/// Shape frame [mm]: x forwards to the toe, y to the horse's left, z up into
/// the leg. The bearing plane (of the horn; of the shoe on a shod foot) is
/// z = 0, the middle plane y = 0; the heels lie near x = 0.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::scenes {

/// One half of the bearing outline.
struct FootSide {
  double half_width = 62.0;  ///< Middle plane to the widest place [mm].
  double widest_x = 52.0;    ///< Where it is widest [mm].
  double heel_x = 0.0;       ///< The rearmost bearing point: x [mm].
  double heel_y = 40.0;      ///< And its distance from the middle plane [mm].
  double heel_radius = 8.0;  ///< Rounding of the buttress [mm].
  double heel_slope = 28.0;  ///< How far the heel turns inwards [deg].
  double flare = 0.0;        ///< The quarter's lower wall turned out [mm].
};

struct FootShape {
  geometry::Foot foot = geometry::Foot::kLeftFore;
  std::uint64_t seed = 1;  ///< Of the small irregularities.

  // The bearing outline.
  double length = 125.0;  ///< x of the toe's ground edge [mm].
  FootSide left;
  FootSide right;
  double toe_point = 0.0;  ///< Below 0 square, 0 round, above 0 pointed [1].
  double ripple = 0.3;     ///< Unevenness of the outline [mm].

  // The wall. Angles open backwards, from the bearing plane [deg].
  double toe_angle = 50.0;
  double heel_angle = 46.0;
  double quarter_angle = 78.0;  ///< Of the side walls, inside the foot.
  double dorsal_length =
      85.0;                   ///< Along the toe line, hairline to ground [mm].
  double heel_length = 40.0;  ///< Likewise at the heel [mm].
  double toe_flare =
      0.0;  ///< The toe's lower wall off the toe line, + out [mm].
  double coronet_sag = 2.0;  ///< The hairline's dip between its ends [mm].
  double bulb = 14.0;        ///< How far the heel bulbs stand back [mm].

  // The pastern.
  double pastern_angle = 50.0;
  double pastern_width = 56.0;  ///< [mm]
  double pastern_depth = 58.0;  ///< Front to back [mm].
  double pastern_lower = 22.0;  ///< The lower point: from the hairline [mm].
  double pastern_upper = 66.0;  ///< The upper point [mm].

  // The solar surface.
  double wall_toe = 10.5;    ///< Thickness of the bearing wall at the toe [mm].
  double wall_heel = 8.0;    ///< At the heels [mm].
  double white_line = 2.5;   ///< Width [mm].
  double sole_depth = 9.0;   ///< Concavity [mm].
  double frog_base_x = 6.0;  ///< Where the frog is widest [mm].
  double frog_length = 78.0;    ///< Widest place to the apex [mm].
  double frog_width = 46.0;     ///< [mm]
  double frog_y = 0.0;          ///< Its widest place's middle, off y = 0 [mm].
  double frog_turn = 0.0;       ///< Of its axis, towards the left [deg].
  double frog_height = 3.5;     ///< Its surface above the bearing plane [mm].
  double sulcus_depth = 15.0;   ///< Floor of the side grooves above it [mm].
  double central_sulcus = 8.0;  ///< Depth of the middle groove [mm].

  // The shoe.
  bool shod = false;
  double shoe_thickness = 9.0;  ///< [mm]
  double shoe_web = 21.0;       ///< Width of the bar [mm].
  double shoe_toe_fit = 0.3;    ///< Shoe outside the horn at the toe [mm].
  double shoe_heel_fit = 2.5;   ///< And at the heels [mm].
  bool shoe_fullered = true;
  double shoe_rise = 0.0;  ///< Its heels' ends bent up off the ground [mm].
  double shoe_gap = 0.0;   ///< The horn eased off it at the heels [mm].
  int nails = 6;

  /// Height of the horn's lower edge above the measured plane [mm].
  double lift() const { return shod ? shoe_thickness : 0.0; }
};

/// A believable foot: fore feet rounder, hind feet more pointed and upright.
FootShape RandomFootShape(geometry::Random& random, geometry::Foot foot);

/// One line of the wall, from the ground edge to the hairline.
struct WallColumn {
  Eigen::Vector2d ground;   ///< On the horn's lower edge [mm].
  Eigen::Vector2d outward;  ///< Unit normal of the outline.
  double along = 0.0;       ///< Along the outline from the left heel [mm].
  Eigen::Vector3d base;     ///< Where the straight wall meets the ground [mm].
  Eigen::Vector3d top;      ///< On the hairline [mm].
  double flare = 0.0;       ///< Of `ground` off `base`, outwards [mm].
};

/// What lies at one place of the solar surface.
struct SolarPlace {
  double z = 0.0;       ///< Height above the horn's bearing plane [mm].
  double wall = 0.0;    ///< Distance inside the outer edge [mm].
  double frog = 0.0;    ///< Distance outside the frog's edge; inside below 0.
  double bar = 0.0;     ///< 1 on a bar's crest.
  double sulcus = 0.0;  ///< 1 deep in a groove.
};

/// The exact geometry of a shape. z counts from the measured plane, so that
/// the horn of a shod foot starts at the shoe's thickness.
class FootGeometry {
 public:
  explicit FootGeometry(const FootShape& shape);

  const FootShape& shape() const { return shape_; }
  /// From the left heel's rearmost point round the toe to the right heel's;
  /// the toe's column is in the middle.
  const std::vector<WallColumn>& columns() const { return columns_; }
  const WallColumn& toe() const { return columns_[columns_.size() / 2]; }
  const WallColumn& left_heel() const { return columns_.front(); }
  const WallColumn& right_heel() const { return columns_.back(); }
  /// A point of the wall: 0 at the hairline, 1 at the ground edge.
  Eigen::Vector3d WallPoint(const WallColumn& column, double down) const;

  /// The outline in the measured plane: the horn's, or the shoe's.
  const std::vector<Eigen::Vector2d>& bearing_outline() const {
    return bearing_;
  }
  /// How far the shoe stands outside the horn at a column [mm].
  double ShoeFit(std::size_t column) const;
  /// How far the shoe's ground face is bent off the ground at x: nothing from
  /// 0.45 of the length forwards, then with the square of the way to the
  /// heels' ends [mm].
  double ShoeRise(double x) const;
  /// How far the horn's lower edge lies above where it would lie on a level
  /// shoe [mm]: the shoe's rise and the gap to it, which grows alike.
  double HornRise(double x) const;

  /// The hairline's continuation round the heel bulbs, from the right heel to
  /// the left, without these two.
  const std::vector<Eigen::Vector3d>& rear_top() const { return rear_top_; }
  /// The solar surface's rear edge behind the heels, likewise [mm].
  const std::vector<Eigen::Vector2d>& rear_edge() const { return rear_edge_; }

  SolarPlace SolarAt(double x, double y) const;
  /// Half the frog's width at a distance from its widest place [mm].
  double FrogHalfWidth(double along) const;
  Eigen::Vector3d FrogApex() const;
  Eigen::Vector3d FrogWidest(bool left) const;
  /// The frog's edge, from its left widest place round the apex to the right
  /// one.
  std::vector<Eigen::Vector3d> FrogEdge() const;

  /// Dorsal pastern: a point at a distance from the hairline [mm].
  Eigen::Vector3d DorsalPastern(double along) const;
  /// Unit vector along the pastern, upwards.
  Eigen::Vector3d PasternAxis() const;

 private:
  double HeelBend(double x) const;
  void BuildOutline();
  void BuildWall();
  void BuildRear();
  // How far the solar surface reaches behind the line between the heels, from
  // the right heel (0) to the left (1); below zero [mm].
  double RearReach(double across) const;
  Eigen::Vector2d FrogFromShape(double x, double y) const;
  Eigen::Vector2d ShapeFromFrog(double along, double across) const;

  FootShape shape_;
  std::vector<WallColumn> columns_;
  std::vector<Eigen::Vector2d> bearing_;
  std::vector<Eigen::Vector3d> rear_top_;
  std::vector<Eigen::Vector2d> rear_edge_;
};

}  // namespace plumbfoot::scenes
