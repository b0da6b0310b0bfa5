// SPDX-License-Identifier: Apache-2.0
#include "draw/strut.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <vector>

#include "plumbfoot/card/layout.h"

namespace plumbfoot::draw {
namespace {

/// Folds a net as one does with paper: each panel turns about its fold with
/// everything that hangs on it. The printed side is +z before the folding.
std::vector<std::vector<Eigen::Vector3d>> Fold(
    const std::vector<NetPanel>& net) {
  std::vector<Eigen::Isometry3d> turns;
  std::vector<std::vector<Eigen::Vector3d>> folded;
  const auto flat = [](CanvasPoint p) { return Eigen::Vector3d(p.x, -p.y, 0); };
  for (const NetPanel& panel : net) {
    Eigen::Isometry3d turn = Eigen::Isometry3d::Identity();
    if (panel.parent >= 0) {
      const Eigen::Vector3d from = flat(panel.fold_from);
      Eigen::Vector3d axis = (flat(panel.fold_to) - from).normalized();
      // Turn about the fold so that the panel goes to -z.
      Eigen::Vector3d middle = Eigen::Vector3d::Zero();
      for (const CanvasPoint& c : panel.corners) middle += flat(c);
      middle /= static_cast<double>(panel.corners.size());
      if (axis.cross(middle - from).z() > 0) axis = -axis;
      turn = turns[static_cast<std::size_t>(panel.parent)] *
             Eigen::Translation3d(from) *
             Eigen::AngleAxisd(panel.turn_deg * std::numbers::pi / 180, axis) *
             Eigen::Translation3d(-from);
    }
    turns.push_back(turn);
    std::vector<Eigen::Vector3d> corners;
    corners.reserve(panel.corners.size());
    for (const CanvasPoint& c : panel.corners)
      corners.push_back(turn * flat(c));
    folded.push_back(std::move(corners));
  }
  return folded;
}

struct Plane {
  Eigen::Vector3d normal;
  Eigen::Vector3d point;
  double Distance(const Eigen::Vector3d& p) const {
    return std::abs(normal.dot(p - point));
  }
};

Plane PlaneOf(const std::vector<Eigen::Vector3d>& corners) {
  return {(corners[1] - corners[0]).cross(corners[2] - corners[0]).normalized(),
          corners[0]};
}

constexpr std::size_t kFootA = 0;
constexpr std::size_t kFootB = 1;
constexpr std::size_t kSlope = 2;
constexpr std::size_t kTab = 3;

TEST(Strut, FoldsToAClosedTube) {
  const Strut strut;
  const auto net = TubeNet(strut);
  const auto folded = Fold(net);
  // The slope ends on the edge where foot a begins; the tab lies on foot a.
  EXPECT_LT((folded[kSlope][1] - folded[kFootA][0]).norm(), 1e-9);
  EXPECT_LT((folded[kSlope][2] - folded[kFootA][3]).norm(), 1e-9);
  const Plane foot_a = PlaneOf(folded[kFootA]);
  for (const auto& corner : folded[kTab]) {
    EXPECT_LT(foot_a.Distance(corner), 1e-9);
  }
  // Its two feet are square to each other.
  EXPECT_LT(std::abs(foot_a.normal.dot(PlaneOf(folded[kFootB]).normal)), 1e-12);
}

TEST(Strut, IsGluedFlatToTheCard) {
  const auto net = TubeNet({});
  const auto folded = Fold(net);
  // The plane of the card's back: through the front edges of the tube.
  const Plane back =
      PlaneOf({folded[kFootA][0], folded[kFootA][1], folded[kFootB][1]});
  // Square to both feet, so that the card stands upright.
  EXPECT_LT(std::abs(back.normal.dot(PlaneOf(folded[kFootA]).normal)), 1e-12);
  EXPECT_LT(std::abs(back.normal.dot(PlaneOf(folded[kFootB]).normal)), 1e-12);
  int flaps = 0;
  for (std::size_t i = 0; i < net.size(); ++i) {
    if (net[i].name != "in" && net[i].name != "out") continue;
    ++flaps;
    for (const auto& corner : folded[i]) {
      EXPECT_LT(back.Distance(corner), 1e-9) << net[i].name;
    }
  }
  EXPECT_EQ(flaps, 3);
}

TEST(Strut, HasFlapsThatDoNotMeet) {
  const Strut strut;
  const auto net = TubeNet(strut);
  const auto folded = Fold(net);
  // Seen along the tube: u along foot a from the square corner, v along foot b.
  const Eigen::Vector3d square = folded[kFootA][1];
  const Eigen::Vector3d u = (folded[kFootA][0] - square).normalized();
  const Eigen::Vector3d v = (folded[kFootB][1] - square).normalized();
  for (std::size_t i = 0; i < net.size(); ++i) {
    if (net[i].name != "in") continue;
    for (const auto& corner : folded[i]) {
      const double cu = (corner - square).dot(u);
      const double cv = (corner - square).dot(v);
      EXPECT_GE(cu, -1e-9);
      EXPECT_GE(cv, -1e-9);
      EXPECT_LE(cu + cv, strut.leg_mm + 1e-9);
      // Each keeps to its own side of the square corner's bisector.
      const bool of_a = net[i].parent == static_cast<int>(kFootA);
      EXPECT_GE(of_a ? cu - cv : cv - cu, -1e-9);
    }
  }
  for (std::size_t i = 0; i < net.size(); ++i) {
    if (net[i].name != "out") continue;
    for (const auto& corner : folded[i]) {
      EXPECT_GE((corner - square).dot(u) + (corner - square).dot(v),
                strut.leg_mm - 1e-9);
    }
  }
}

TEST(Strut, StaysClearOfTheInnerCorner) {
  // What lies on the card's back keeps off the corner that goes round the hoof.
  const Strut strut;
  const double reach = strut.leg_mm / std::numbers::sqrt2 + strut.flap_mm;
  EXPECT_LT(reach, std::hypot(48.0, 48.0));
  EXPECT_LT(strut.leg_mm, 48.0);
}

TEST(Strut, HasALidThatSlidesIn) {
  const Strut strut;
  const auto lid = LidNet(strut);
  const auto& corners = lid[0].corners;
  const double leg = strut.leg_mm - 2 * strut.lid_play_mm;
  EXPECT_NEAR(geometry::Distance(corners[0], corners[1]), leg, 1e-9);
  EXPECT_NEAR(geometry::Distance(corners[0], corners[2]), leg, 1e-9);
  EXPECT_NEAR(
      geometry::Dot(corners[1] - corners[0], corners[2] - corners[0]), 0, 1e-9);
  // Its flaps are folded into the tube's walls.
  const auto folded = Fold(lid);
  for (std::size_t i = 1; i < lid.size(); ++i) {
    EXPECT_LT(std::abs(PlaneOf(folded[i]).normal.z()), 1e-12);
  }
}

// The card stands if its centre of mass is above the area that its lower edge
// and the strut's foot span; how far inside says how much wind it bears.
TEST(Strut, MakesTheCardStandOnEitherArm) {
  const Strut strut;
  const auto outline = card::StandardLayout().outline;
  // Area and first moment of the L by the shoelace formula.
  double area = 0;
  geometry::CardVector moment;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const auto a = outline[i];
    const auto b = outline[(i + 1) % outline.size()];
    const double cross = a.x * b.y - a.y * b.x;
    area += cross / 2;
    moment = moment + (cross / 6) * geometry::CardVector{a.x + b.x, a.y + b.y};
  }
  const geometry::CardVector centre = moment / area;
  EXPECT_NEAR(area, 160 * 48 + 112 * 48, 1e-9);
  EXPECT_NEAR(centre.x, centre.y, 1e-9);  // so either arm will do

  // A board of 3 mm and 600 kg/m3 (plywood, common practice) weighs 23 g; a
  // handful of nails 60 g in the middle of the tube. The paper is left out.
  const double board_g = area * 3 * 600e-6;
  const double nails_g = 60;
  const double behind = (board_g * 1.5 + nails_g * (3 + strut.depth_mm / 2)) /
                        (board_g + nails_g);
  const double height =
      (board_g * centre.y + nails_g * strut.leg_mm / 4) / (board_g + nails_g);
  // Along the arm it stands on the arm's whole length and can't tip.
  EXPECT_GT(centre.x, 0);
  EXPECT_LT(centre.x, 160);
  // Forwards over its front edge, or backwards over the strut's end, it tips
  // only when it is turned by more than 30 degrees.
  const double forwards = std::atan2(behind, height);
  const double backwards = std::atan2(3 + strut.depth_mm - behind, height);
  EXPECT_GT(std::min(forwards, backwards) * 180 / std::numbers::pi, 30);
}

}  // namespace
}  // namespace plumbfoot::draw
