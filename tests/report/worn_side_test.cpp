// SPDX-License-Identifier: Apache-2.0
//
// Is a worn shoe level or sprung? Against scenes whose shoe is bent by a known
// rise (tests/scenes, which knows nothing of the product's rooms but geometry).
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <string>

#include "plumbfoot/fit/shoe_level.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/foot_fit.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using fit::LevelVerdict;
using geometry::PhotoPoint;

scenes::SceneOptions ShodScene(std::uint64_t seed, double rise_mm) {
  geometry::Random random(seed);
  const auto foot = static_cast<Foot>(seed % 4);
  scenes::FootShape shape = scenes::RandomFootShape(random, foot);
  shape.shod = true;
  shape.shoe_rise = rise_mm;
  scenes::SceneOptions options =
      scenes::RandomScene(View::kLateral, shape, random);
  scenes::MakeEasy(options);
  options.card.present = true;
  options.card.tags = {true, true, true, true, true};
  options.card.muddy = false;
  options.card.bend_mm = 0;
  options.card.print_scale = 1.0;
  options.card.doubt = {};
  options.clutter = 0;
  return options;
}

geometry::FootPolyline SoleOf(scenes::SceneOptions options) {
  options.view = View::kSolar;
  return scenes::ComputeTruth(options, 1600, 1200).outline_mm;
}

/// The report of the shod foot, as a person would have placed its points.
SavedReport ReportOf(const scenes::SceneOptions& options,
                     const scenes::Truth& truth) {
  SavedReport report;
  report.foot = options.foot;
  report.shod = true;
  report.solar.emplace().outline = SoleOf(options);
  SavedView& side = report.lateral.emplace();
  for (const PointId id : {PointId::kToeGround, PointId::kHeelGround}) {
    const auto i = static_cast<std::size_t>(id);
    side.px.at(i) = truth.at(id)->px;
    side.near_px.at(i) = truth.at(id)->px_near;
    side.covariance.at(i) = {0.25, 0.0, 0.25};
  }
  return report;
}

/// A rendered photo on the disk, and what there is to say about it.
struct Photographed {
  scenes::Truth truth;
  SavedReport shod;
  fs::path photo;

  explicit Photographed(const scenes::SceneOptions& options,
                        const std::string& name) {
    const scenes::RenderedPhoto scene = scenes::Render(options, 1600, 1200);
    truth = scene.truth;
    const fs::path folder = fs::path(testing::TempDir()) / ("worn_" + name);
    fs::create_directories(folder);
    scenes::PhotoNotes notes;
    notes.focal_35mm = options.camera.focal_35mm;
    scenes::SaveScene(scene, options, notes, folder, "side");
    photo = folder / "side.jpg";
    shod = ReportOf(options, truth);
    shod.lateral->sha256 = photo::LoadPhoto(photo)->sha256;
  }
  Photographed(const Photographed&) = delete;
  Photographed& operator=(const Photographed&) = delete;
  ~Photographed() { fs::remove_all(photo.parent_path()); }

  Result<WornSide> Read(std::optional<ViewPoints> given = {}) const {
    return ReadWornSide({.photo = photo,
                         .scale = {},
                         .shod = shod,
                         .bare = shod,
                         .given = std::move(given)});
  }
};

/// An edge a little off the truth, as a followed one is: white noise, smoothed
/// over some millimetres.
geometry::PlacedCurve NoisyEdge(const geometry::PhotoPolyline& edge,
                                double px_per_mm,
                                geometry::Random& random) {
  geometry::PlacedCurve curve;
  std::vector<double> white(edge.size() + 24);
  for (double& w : white) w = random.Normal();
  // The toe's bend is nothing that one follows.
  for (std::size_t i = 6; i < edge.size(); ++i) {
    double sum = 0.0;
    for (std::size_t k = 0; k < 12; ++k) sum += white[i + k];
    PhotoPoint p = edge[i];
    p.y += 0.04 * px_per_mm * sum / std::sqrt(12.0);
    curve.px.push_back(p);
  }
  curve.sigma_px = 0.05 * px_per_mm;
  curve.correlation_px = 4 * px_per_mm;
  return curve;
}

TEST(WornSide, TheIntervalHoldsTheRiseOfTheScene) {
  int told = 0;
  int held = 0;
  int wrong = 0;
  for (std::uint64_t seed = 1; seed <= 300; ++seed) {
    geometry::Random random(seed * 77);
    auto options =
        ShodScene(seed, random.Chance(0.4) ? 0.0 : random.Uniform(0, 7));
    // A card that stands as a person stands it.
    options.card.doubt = {
        random.Normal(0, 3.0), random.Normal(0, 0.03), random.Normal(0, 0.03)};
    const scenes::Truth truth = scenes::ComputeTruth(options, 2000, 1500);
    const geometry::PlaneMap map(truth.camera, truth.camera_from_card);
    const auto depth =
        fit::BranchOfSole(SoleOf(options), options.from_left, true);
    ASSERT_TRUE(depth.has_value());
    const auto placed = [&](PhotoPoint p) {
      const double mm = map.PixelsPerMillimetre(*map.Apply(p));
      return PhotoPoint{p.x + random.Normal(0, mm), p.y + random.Normal(0, mm)};
    };
    const PhotoPoint toe = placed(truth.at(PointId::kToeGround)->px);
    const PhotoPoint heel = placed(*truth.at(PointId::kHeelGround)->px_near);
    const auto frame = fit::SideFrameOf(
        map, *depth, toe, heel, geometry::HeelPlane::kNear, 1.0);
    ASSERT_TRUE(frame.has_value()) << seed;
    fit::BranchEdges edges;
    const double px_per_mm = map.PixelsPerMillimetre(frame->toe);
    edges.ground = NoisyEdge(truth.shoe->ground_px, px_per_mm, random);
    edges.foot = NoisyEdge(truth.shoe->foot_px, px_per_mm, random);
    const auto level = fit::LevelOf(map, *frame, *depth, edges);
    if (!level) continue;
    ++told;
    const double rise = truth.shoe->rise_mm;
    if (level->rise.low95 <= rise && rise <= level->rise.high95) ++held;
    const bool said_wrong =
        (level->verdict == LevelVerdict::kLevel && rise > fit::kLevelWithin) ||
        (level->verdict == LevelVerdict::kSprung && rise < fit::kLevelWithin) ||
        level->verdict == LevelVerdict::kLow;
    if (said_wrong) ++wrong;
  }
  EXPECT_GT(told, 240);
  // 95 of 100, less twice the standard deviation of 300 draws.
  EXPECT_GE(held, told * 925 / 1000);
  EXPECT_LE(wrong, told / 100);
}

TEST(WornSide, LevelAndSprungShoesAreToldApartOnAPhoto) {
  int told = 0;
  int photos = 0;
  int missed = 0;
  for (const double rise : {0.0, 4.0}) {
    for (const std::uint64_t seed : {3U, 8U, 17U, 26U}) {
      SCOPED_TRACE(std::to_string(seed) + " rise " + std::to_string(rise));
      auto options = ShodScene(seed, rise);
      options.ground =
          seed % 2 == 0 ? scenes::Ground::kConcrete : scenes::Ground::kRubber;
      // From as low as the shoe, as one is told to.
      options.camera.tilt_deg = 0;
      options.camera.aim_y = 0;
      const Photographed foot(
          options, std::to_string(seed) + (rise > 0 ? "_sprung" : "_level"));
      const auto worn = foot.Read();
      ASSERT_TRUE(worn.has_value()) << worn.error().message;
      EXPECT_EQ(worn->side == fit::Side::kLeft, options.from_left);
      ++photos;
      if (!worn->level) continue;
      const fit::ShoeLevel& level = *worn->level;
      const double truth = foot.truth.shoe->rise_mm;
      EXPECT_NE(level.verdict, LevelVerdict::kLow);
      EXPECT_NE(level.verdict,
                rise > 0 ? LevelVerdict::kLevel : LevelVerdict::kSprung);
      if (level.rise.low95 > truth || level.rise.high95 < truth) ++missed;
      // 99.9 of 100, so that a plain fault is seen.
      EXPECT_NEAR(level.rise.mm, truth, 3.3 * level.rise.standard_uncertainty);
      if (level.verdict == LevelVerdict::kUnsure) continue;
      // The bar is half a millimetre, where the interval is about as narrow.
      if (level.rise.standard_uncertainty < 0.3) {
        EXPECT_NEAR(level.rise.mm, truth, 0.5);
      }
      if (level.thickness) {
        EXPECT_NEAR(level.thickness->mm, options.shape.shoe_thickness, 0.7);
      }
      ++told;
    }
  }
  EXPECT_EQ(photos, 8);
  EXPECT_GE(told, 3);
  EXPECT_LE(missed, 1);
}

TEST(WornSide, WhatIsCoveredOrDarkOnDarkIsNotAnsweredWrongly) {
  int silent = 0;
  for (const std::uint64_t seed : {4U, 9U, 13U, 22U, 31U, 40U}) {
    SCOPED_TRACE(seed);
    // As a clean one would be called sprung if it were told.
    auto options = ShodScene(seed, seed % 2 == 0 ? 0.0 : 4.0);
    const std::array grounds = {scenes::Ground::kGravel,
                                scenes::Ground::kStraw,
                                scenes::Ground::kGrass,
                                scenes::Ground::kAsphalt};
    options.ground = grounds.at(seed % 4);
    options.appearance.mud = 0.9;
    if (options.ground == scenes::Ground::kAsphalt) {
      options.appearance.ground_tint = {0.35, 0.35, 0.35};
      options.light.sun = 0;
      options.effects.exposure = 0.5;
    }
    const Photographed foot(options, "covered_" + std::to_string(seed));
    const auto worn = foot.Read();
    ASSERT_TRUE(worn.has_value()) << worn.error().message;
    if (!worn->level) {
      ASSERT_TRUE(worn->not_told.has_value());
      EXPECT_FALSE(worn->not_told->remedy.empty());
      ++silent;
      continue;
    }
    const double truth = foot.truth.shoe->rise_mm;
    if (worn->level->verdict == LevelVerdict::kLevel) {
      EXPECT_LT(truth, 1.0);
    }
    if (worn->level->verdict == LevelVerdict::kSprung) {
      EXPECT_GT(truth, 1.0);
    }
    EXPECT_NE(worn->level->verdict, LevelVerdict::kLow);
  }
  EXPECT_GE(silent, 3);
}

TEST(WornSide, APersonsEdgesAreTakenAndBareFeetRefused) {
  auto options = ShodScene(8, 6.0);
  options.ground = scenes::Ground::kGrass;
  options.shape.shoe_gap = 0.0;
  options.camera.tilt_deg = 0;
  Photographed foot(options, "person");
  ViewPoints given;
  given.view = View::kLateral;
  const auto placed = [](const geometry::PhotoPolyline& line) {
    geometry::PlacedCurve curve;
    curve.placed_by = PlacedBy::kPerson;
    for (std::size_t i = 8; i + 2 < line.size(); i += 12) {
      curve.px.push_back(line[i]);
    }
    curve.sigma_px = 2.0;
    curve.correlation_px = geometry::Distance(curve.px[0], curve.px[1]);
    return curve;
  };
  given.shoe_ground = placed(foot.truth.shoe->ground_px);
  given.shoe_foot = placed(foot.truth.shoe->foot_px);
  const auto worn = foot.Read(given);
  ASSERT_TRUE(worn.has_value()) << worn.error().message;
  EXPECT_EQ(worn->placed_by, PlacedBy::kPerson);
  ASSERT_TRUE(worn->level.has_value()) << worn->not_told->message;
  EXPECT_LE(worn->level->rise.low95, foot.truth.shoe->rise_mm);
  EXPECT_GE(worn->level->rise.high95, foot.truth.shoe->rise_mm);
  // Half a millimetre a corner is less sure than an edge in the light.
  EXPECT_GT(worn->level->rise.standard_uncertainty, 0.3);
  ASSERT_TRUE(worn->level->thickness.has_value());
  EXPECT_NEAR(worn->level->thickness->mm, options.shape.shoe_thickness, 0.7);

  foot.shod.lateral->sha256 = std::string(64, '0');
  EXPECT_EQ(foot.Read().error().code, RefusalCode::kUsage);
  foot.shod.shod = false;
  EXPECT_EQ(foot.Read().error().code, RefusalCode::kUsage);
}

}  // namespace
}  // namespace plumbfoot::report
