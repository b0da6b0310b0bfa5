// SPDX-License-Identifier: Apache-2.0
#include "card/fit.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <cmath>

#include "card/paint.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::card {
namespace {

using geometry::Camera;
using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneEstimate;
using geometry::PlaneMap;
using geometry::PlaneSampler;
using geometry::Pose;
using geometry::Random;

struct World {
  Camera camera;
  Pose pose;
  double gain = 0.0;
  /// The card's height is bend . (x^2, y^2, 2 x y) / 138.1^2 mm, 138.1 mm being
  /// where the farthest tag of the standard card lies.
  Eigen::Vector3d bend = Eigen::Vector3d::Zero();
};

/// Tags as an ideal edge fit would give them: true corners with normal errors
/// of the covariance that is stated.
std::vector<FittedTag> Seen(const Layout& layout,
                            const World& world,
                            double sigma_px,
                            Random& random) {
  std::vector<FittedTag> tags;
  for (const TagPlace& place : layout.tags) {
    FittedTag tag;
    tag.seen.id = place.id;
    // Corners that share an edge are correlated.
    CornerCovariance root = CornerCovariance::Identity();
    for (Eigen::Index i = 0; i < 8; ++i) root(i, (i + 2) % 8) = 0.5;
    root *= sigma_px;
    tag.covariance = root * root.transpose();
    Eigen::Matrix<double, 8, 1> z;
    for (Eigen::Index i = 0; i < 8; ++i) z(i) = random.Normal();
    const Eigen::Matrix<double, 8, 1> error = root * z;
    const double h = place.side_mm / 2 + world.gain;
    for (std::size_t c = 0; c < 4; ++c) {
      const double x = place.centre.x + (c == 0 || c == 3 ? -h : h);
      const double y = place.centre.y + (c < 2 ? -h : h);
      const double height =
          world.bend.dot(Eigen::Vector3d(x * x, y * y, 2 * x * y)) /
          (138.1 * 138.1);
      tag.seen.corners[c] =
          Project(world.camera,
                  world.pose.rotation * Eigen::Vector3d(x, y, height) +
                      world.pose.translation);
      tag.seen.corners[c].x += error(static_cast<Eigen::Index>(2 * c));
      tag.seen.corners[c].y += error(static_cast<Eigen::Index>(2 * c + 1));
    }
    tags.push_back(tag);
  }
  return tags;
}

/// A world out of what is believed.
World DrawWorld(const CameraBelief& belief, Random& random) {
  World world;
  world.camera = belief.camera;
  world.camera.focal_px += belief.focal_sigma * random.Normal();
  world.camera.principal.x += belief.principal_sigma * random.Normal();
  world.camera.principal.y += belief.principal_sigma * random.Normal();
  world.camera.lens.k1 += belief.k1_sigma * random.Normal();
  world.gain = 0.25 * random.Normal();
  for (Eigen::Index i = 0; i < 3; ++i) world.bend(i) = 0.3 * random.Normal();
  world.pose = LookAt({100, 100},
                      random.Uniform(350, 1200),
                      random.Uniform(0, 15),
                      random.Uniform(0, 360),
                      random.Uniform(0, 360));
  return world;
}

CameraBelief PhoneBelief() {
  CameraPrior prior;
  prior.focal_px = 3144;
  return Believe({4032, 3024}, prior);
}

TEST(FitPlane, FindsAPlaneWithoutNoise) {
  const CameraBelief belief = PhoneBelief();
  Random random(7);
  for (int i = 0; i < 20; ++i) {
    SCOPED_TRACE(i);
    World world = DrawWorld(belief, random);
    const PlaneMap truth(world.camera, world.pose);
    const auto tags = Seen(StandardLayout(), world, 1e-4, random);
    const auto fit = FitPlane(StandardLayout(), tags, belief);
    ASSERT_TRUE(fit.has_value());
    EXPECT_LT(fit->residual_px, 1e-3);
    EXPECT_NEAR(fit->print_gain_mm, world.gain, 1e-3);
    const PlaneMap map(fit->camera, fit->camera_from_card);
    for (const CardPoint p : {CardPoint{0, 0}, CardPoint{230, 230}}) {
      EXPECT_LT(Distance(map.Apply(truth.Inverse(p)).value(), p), 0.05);
    }
  }
}

// Coverage: worlds drawn out of the priors, corners with normal errors.
TEST(FitPlane, StatesACovarianceThatHolds) {
  const CameraBelief belief = PhoneBelief();
  for (const std::size_t count : {5U, 2U}) {
    Layout in_view = StandardLayout();
    in_view.tags.resize(count);
    Random random(41);
    int inside = 0;
    int all = 0;
    double normalised = 0;
    constexpr int kRuns = 600;
    const std::array<CardPoint, 3> places = {
        CardPoint{48, 48}, CardPoint{230, 60}, CardPoint{200, 230}};
    for (int i = 0; i < kRuns; ++i) {
      const World world = DrawWorld(belief, random);
      const PlaneMap truth(world.camera, world.pose);
      const auto tags = Seen(in_view, world, 0.05, random);
      const auto fit = FitPlane(StandardLayout(), tags, belief);
      ASSERT_TRUE(fit.has_value());
      PlaneEstimate estimate;
      estimate.camera = fit->camera;
      estimate.camera_from_card = fit->camera_from_card;
      estimate.covariance = fit->covariance;
      estimate.doubt = {0, 0, 0};
      const PlaneSampler sampler(estimate, {100, 100});
      for (const CardPoint& p : places) {
        const PhotoPoint at = truth.Inverse(p);
        const CardPoint got = NominalMap(estimate).Apply(at).value();
        Eigen::Matrix2d c = Eigen::Matrix2d::Zero();
        constexpr int kDraws = 300;
        for (int k = 0; k < kDraws; ++k) {
          const auto d = sampler.Draw(random, {}).Apply(at).value() - got;
          const Eigen::Vector2d v(d.x, d.y);
          c += v * v.transpose() / kDraws;
        }
        const Eigen::Vector2d e(got.x - p.x, got.y - p.y);
        const double z = e.dot(c.inverse() * e);
        normalised += z / (2.0 * kRuns * places.size());
        inside += z < 5.991 ? 1 : 0;
        ++all;
      }
    }
    EXPECT_NEAR(normalised, 1.0, 0.12) << count;
    EXPECT_GT(inside, 0.93 * all) << count;
    EXPECT_LT(inside, 0.97 * all) << count;
  }
}

// Without the bend among the unknowns, the same card is read 3 % too large or
// too small across a hoof.
TEST(FitPlane, FollowsABentCard) {
  const CameraBelief belief = PhoneBelief();
  Random random(19);
  for (const double bend : {1.0, 2.0, 3.0}) {
    SCOPED_TRACE(bend);
    World world;
    world.camera = belief.camera;
    world.pose = LookAt({100, 100}, 400, 8, 40, 20);
    world.bend = {bend, bend, bend};  // Rolled about a diagonal.
    const auto tags = Seen(StandardLayout(), world, 0.02, random);
    const auto fit = FitPlane(StandardLayout(), tags, belief);
    ASSERT_TRUE(fit.has_value());
    EXPECT_NEAR(fit->bend_mm, bend, 0.2 * bend);
    const PlaneMap truth(world.camera, world.pose);
    const PlaneMap map(fit->camera, fit->camera_from_card);
    const auto a = map.Apply(truth.Inverse({48, 48})).value();
    const auto b = map.Apply(truth.Inverse({180, 120})).value();
    EXPECT_NEAR(Distance(a, b) / std::hypot(132, 72), 1, 0.004);
  }
}

TEST(FitPlane, WidensWhereTheCornersDisagree) {
  const CameraBelief belief = PhoneBelief();
  Random random(3);
  const World world = DrawWorld(belief, random);
  auto tags = Seen(StandardLayout(), world, 0.3, random);
  const auto honest = FitPlane(StandardLayout(), tags, belief);
  for (FittedTag& tag : tags) tag.covariance /= 100;  // claims 0.03 px
  const auto boastful = FitPlane(StandardLayout(), tags, belief);
  ASSERT_TRUE(honest.has_value());
  ASSERT_TRUE(boastful.has_value());
  EXPECT_GT(boastful->misfit, 20);
  const double ratio =
      boastful->covariance.trace() / honest->covariance.trace();
  EXPECT_NEAR(ratio, 1, 0.5);
}

TEST(Believe, TakesAPhonesUsualLensWhereNobodySaid) {
  const CameraBelief belief = Believe({3000, 4000}, {});
  EXPECT_TRUE(belief.focal_assumed);
  // 27 mm on a frame of 43.27 mm diagonal; this photo's diagonal is 5000 px.
  EXPECT_NEAR(belief.camera.focal_px, 3119.9, 0.1);
  EXPECT_NEAR(belief.focal_sigma / belief.camera.focal_px, 0.25, 1e-12);
  EXPECT_EQ(belief.camera.principal, (PhotoPoint{1500, 2000}));
  EXPECT_NEAR(belief.principal_sigma, 50, 1e-9);
}

}  // namespace
}  // namespace plumbfoot::card
