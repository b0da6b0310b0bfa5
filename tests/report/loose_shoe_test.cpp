// SPDX-License-Identifier: Apache-2.0
//
// Photos of loose shoes beside the card, rendered with known outline
// (tests/scenes): found, put in millimetres and laid on the foot.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <map>
#include <string>
#include <utility>

#include "fit/feet.h"
#include "plumbfoot/fit/shoe_gap.h"
#include "plumbfoot/report/foot_fit.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;

/// The foot and its shoe as they truly are, and a photo of the shoe.
struct Shoe {
  fit::Sole sole;
  geometry::FootPolyline edge;
  fs::path photo;
  double above_card_mm = 0.0;
};

scenes::SceneOptions LooseShoeScene(std::uint64_t seed) {
  geometry::Random random(seed);
  const auto foot = static_cast<geometry::Foot>(seed % 4);
  scenes::FootShape shape = scenes::RandomFootShape(random, foot);
  shape.shod = true;
  scenes::SceneOptions options =
      scenes::RandomScene(View::kSolar, shape, random);
  scenes::MakeEasy(options);
  options.loose_shoe = true;
  options.shape.shod = true;
  // Card and shoe lie on one board, two fingers apart, in a window's light.
  options.card.present = true;
  options.card.tags = {true, true, true, true, true};
  options.card.muddy = false;
  options.card.bend_mm = 0;
  options.card.print_scale = 1.0;
  options.card.doubt = {};
  options.card.doubt.offset_mm =
      options.shape.shoe_thickness - options.card.board_mm;
  options.card.gap_mm = 22;
  options.card.gap_other_mm = 22;
  options.light.sun = 0;
  return options;
}

Shoe Photographed(std::uint64_t seed) {
  Shoe shoe;
  const scenes::SceneOptions options = LooseShoeScene(seed);
  const scenes::RenderedPhoto scene = scenes::Render(options, 2000, 1500);
  shoe.edge = scene.truth.outline_mm;
  shoe.above_card_mm = options.card.doubt.offset_mm;
  shoe.photo =
      fs::path(testing::TempDir()) / ("loose_shoe_" + std::to_string(getpid()));
  fs::create_directories(shoe.photo);
  scenes::PhotoNotes notes;
  notes.focal_35mm = options.camera.focal_35mm;
  scenes::SaveScene(scene, options, notes, shoe.photo, "shoe");
  shoe.photo /= "shoe.jpg";

  scenes::SceneOptions bare = options;
  bare.shape.shod = false;
  bare.loose_shoe = false;
  const scenes::Truth truth = scenes::ComputeTruth(bare, 2000, 1500);
  measure::PlainView view;
  view.view = View::kSolar;
  view.outline = truth.outline_mm;
  for (const PointId id : geometry::PointsOf(View::kSolar)) {
    if (truth.at(id)) view.at(id) = truth.at(id)->mm;
  }
  shoe.sole = fit::SoleOf(view, options.foot);
  return shoe;
}

struct Misses {
  double squares = 0.0;
  int places = 0;
  int near_heel = 0;
};

/// Holds the gaps of one photo against the truth.
void ExpectTheTruth(std::uint64_t seed, Misses& sum) {
  const Shoe shoe = Photographed(seed);
  const auto seen =
      ReadLooseShoe({.photo = shoe.photo, .above_card_mm = shoe.above_card_mm});
  fs::remove_all(shoe.photo.parent_path());
  ASSERT_TRUE(seen.has_value()) << seen.error().message;
  const auto truth = fit::CompareShoe(shoe.sole, shoe.edge, false);
  const auto found = fit::CompareShoe(shoe.sole, seen->edge, false);
  ASSERT_TRUE(truth.has_value());
  ASSERT_TRUE(found.has_value()) << found.error().message;
  std::map<std::pair<fit::Side, long>, double> gaps;
  for (const fit::GapPlace& place : truth->places) {
    gaps[{place.side, std::lround(place.from_toe_mm)}] = place.gap_mm;
  }
  EXPECT_GE(found->places.size() + 1, truth->places.size());
  for (const fit::GapPlace& place : found->places) {
    const auto known = gaps.find({place.side, std::lround(place.from_toe_mm)});
    if (known == gaps.end()) continue;
    const double off = place.gap_mm - known->second;
    // Within 15 mm of a buttress it says itself how sure it is.
    if (place.standard_uncertainty > 0.2001) {
      EXPECT_LT(std::abs(off), 2.6 * place.standard_uncertainty)
          << place.from_toe_mm;
      ++sum.near_heel;
      continue;
    }
    EXPECT_LT(std::abs(off), 0.5) << place.from_toe_mm;
    sum.squares += off * off;
    ++sum.places;
  }
  EXPECT_NEAR(found->heel_left_mm, truth->heel_left_mm, 1.0);
  EXPECT_NEAR(found->heel_right_mm, truth->heel_right_mm, 1.0);
}

TEST(LooseShoe, TheGapIsWithinHalfAMillimetreOfTheTruth) {
  Misses sum;
  for (const std::uint64_t seed : {3U, 7U, 12U, 21U, 34U, 46U}) {
    SCOPED_TRACE(seed);
    ExpectTheTruth(seed, sum);
    if (HasFatalFailure()) return;
  }
  EXPECT_GT(sum.places, 150);
  EXPECT_GT(sum.near_heel, 3);
  EXPECT_LT(std::sqrt(sum.squares / sum.places), 0.1);
}

// The same way once, for the sanitizers.
TEST(LooseShoe, IsFoundAndLaidOnTheFoot) {
  Misses sum;
  ExpectTheTruth(3, sum);
  EXPECT_GT(sum.places, 20);
}

TEST(LooseShoe, IsRefusedWhereThereIsNone) {
  scenes::SceneOptions options = LooseShoeScene(3);
  options.loose_shoe = false;
  options.card_only = true;
  const auto folder = fs::path(testing::TempDir()) / "no_shoe";
  fs::create_directories(folder);
  scenes::SaveScene(
      scenes::Render(options, 1200, 900), options, {}, folder, "none");
  const auto seen = ReadLooseShoe({.photo = folder / "none.jpg"});
  ASSERT_FALSE(seen.has_value());
  EXPECT_EQ(seen.error().code, RefusalCode::kNoFoot);
  // Without a card there are no millimetres.
  options.card.present = false;
  scenes::SaveScene(
      scenes::Render(options, 600, 450), options, {}, folder, "cardless");
  const auto cardless = ReadLooseShoe({.photo = folder / "cardless.jpg"});
  ASSERT_FALSE(cardless.has_value());
  EXPECT_EQ(cardless.error().code, RefusalCode::kNoCard);
  fs::remove_all(folder);
}

}  // namespace
}  // namespace plumbfoot::report
