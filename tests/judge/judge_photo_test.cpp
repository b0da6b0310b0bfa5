// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/judge_photo.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>

namespace plumbfoot::judge {
namespace {

using testing::HasSubstr;

/// A photo with nothing to be said against it.
PhotoFacts Good(View view = View::kSolar) {
  PhotoFacts facts;
  facts.view = view;
  facts.width_px = 4000;
  facts.height_px = 3000;
  facts.scale = geometry::ScaleSource::kCard;
  facts.tags_seen = 5;
  facts.tags_expected = 5;
  facts.print_checked = true;
  facts.residual_px = 0.2;
  facts.px_per_mm = 6.0;
  facts.blur_px = 1.0;
  facts.tilt_deg = 5.0;
  facts.distance_mm = 600.0;
  facts.camera_height_mm = 60.0;
  facts.mean_luma = 120.0;
  facts.burnt = 0.01;
  facts.drowned = 0.02;
  facts.foot_confidence = 0.9;
  facts.cut_off = false;
  return facts;
}

struct Row {
  const char* code;
  std::function<void(PhotoFacts&)> spoil;
  Grade grade;
  View view = View::kSolar;
};

class JudgePhotoTable : public testing::TestWithParam<Row> {};

TEST_P(JudgePhotoTable, GivesOneReasonAndItsGrade) {
  PhotoFacts facts = Good(GetParam().view);
  GetParam().spoil(facts);
  const PhotoQuality quality = JudgePhoto(facts);
  EXPECT_EQ(quality.grade, GetParam().grade);
  ASSERT_EQ(quality.reasons.size(), 1U);
  EXPECT_EQ(quality.reasons[0].code, GetParam().code);
  EXPECT_TRUE(quality.reasons[0].words.ends_with("."));
  EXPECT_TRUE(quality.reasons[0].remedy.ends_with("."));
}

INSTANTIATE_TEST_SUITE_P(
    Table,
    JudgePhotoTable,
    testing::Values(
        Row{"few_tags", [](auto& f) { f.tags_seen = 4; }, Grade::kGood},
        Row{"few_tags", [](auto& f) { f.tags_seen = 3; }, Grade::kUsable},
        Row{"few_tags", [](auto& f) { f.tags_seen = 2; }, Grade::kUsable},
        Row{"card_not_flat",
            [](auto& f) { f.residual_px = 1.1; },
            Grade::kUsable},
        Row{"card_not_flat",
            [](auto& f) { f.residual_px = 3.1; },
            Grade::kRetake},
        Row{"too_far",
            [](auto& f) {
              f.px_per_mm = 1.9;
              f.blur_px = 0.5;
            },
            Grade::kUsable},
        Row{"too_far",
            [](auto& f) {
              f.px_per_mm = 0.9;
              f.blur_px = 0.4;
            },
            Grade::kRetake},
        Row{"blurred", [](auto& f) { f.blur_px = 3.1; }, Grade::kUsable},
        Row{"blurred", [](auto& f) { f.blur_px = 6.1; }, Grade::kRetake},
        Row{"not_square", [](auto& f) { f.tilt_deg = 15.1; }, Grade::kUsable},
        Row{"not_square", [](auto& f) { f.tilt_deg = 30.1; }, Grade::kRetake},
        Row{"too_near", [](auto& f) { f.distance_mm = 349; }, Grade::kUsable},
        Row{"too_near", [](auto& f) { f.distance_mm = 199; }, Grade::kRetake},
        Row{"too_high",
            [](auto& f) { f.camera_height_mm = 151; },
            Grade::kUsable,
            View::kLateral},
        Row{"too_high",
            [](auto& f) { f.camera_height_mm = 301; },
            Grade::kRetake,
            View::kLateral},
        Row{"focal_assumed",
            [](auto& f) { f.focal_assumed = true; },
            Grade::kUsable},
        Row{"print_not_checked",
            [](auto& f) { f.print_checked = false; },
            Grade::kGood},
        Row{"dark", [](auto& f) { f.mean_luma = 44; }, Grade::kUsable},
        Row{"dark", [](auto& f) { f.mean_luma = 19; }, Grade::kRetake},
        Row{"bright", [](auto& f) { f.mean_luma = 216; }, Grade::kUsable},
        Row{"burnt", [](auto& f) { f.burnt = 0.16; }, Grade::kUsable},
        Row{"burnt", [](auto& f) { f.burnt = 0.51; }, Grade::kRetake},
        Row{"drowned", [](auto& f) { f.drowned = 0.36; }, Grade::kUsable},
        Row{"drowned", [](auto& f) { f.drowned = 0.71; }, Grade::kRetake},
        Row{"foot_unclear",
            [](auto& f) { f.foot_confidence = 0.49; },
            Grade::kUsable},
        Row{"no_foot",
            [](auto& f) { f.foot_confidence = 0.09; },
            Grade::kRetake},
        Row{"cut_off", [](auto& f) { f.cut_off = true; }, Grade::kRetake},
        Row{"small",
            [](auto& f) {
              f.width_px = 799;
              f.height_px = 600;
            },
            Grade::kUsable},
        Row{"no_card",
            [](auto& f) { f.scale = geometry::ScaleSource::kNone; },
            Grade::kRetake},
        Row{"no_scale",
            [](auto& f) {
              f.scale = geometry::ScaleSource::kNone;
              f.card_wanted = false;
            },
            Grade::kUsable},
        Row{"known_length",
            [](auto& f) { f.scale = geometry::ScaleSource::kKnownLength; },
            Grade::kUsable}),
    [](const testing::TestParamInfo<Row>& row) {
      return std::string(row.param.code) + "_" + std::to_string(row.index);
    });

TEST(JudgePhoto, FindsNothingAgainstAGoodPhoto) {
  for (const View view : {View::kSolar, View::kLateral}) {
    const PhotoQuality quality = JudgePhoto(Good(view));
    EXPECT_EQ(quality.grade, Grade::kGood);
    EXPECT_TRUE(quality.reasons.empty());
  }
}

TEST(JudgePhoto, KeepsTheEdgesThemselvesOnTheGoodSide) {
  PhotoFacts facts = Good(View::kLateral);
  facts.residual_px = 1.0;
  facts.px_per_mm = 2.0;
  facts.blur_px = 1.0;
  facts.tilt_deg = 15.0;
  facts.distance_mm = 350.0;
  facts.camera_height_mm = 350.0 * 8 / 32;  // The heel is lowered by 8 mm.
  EXPECT_EQ(JudgePhoto(facts).grade, Grade::kGood);
}

// 18 degrees, in the words of the yard.
TEST(JudgePhoto, SaysByHowMuchThePhoneIsOffSquare) {
  PhotoFacts facts = Good();
  facts.tilt_deg = 18.2;
  const Reason reason = JudgePhoto(facts).reasons.at(0);
  EXPECT_THAT(reason.words, HasSubstr("the sole from 18° off square"));
  EXPECT_THAT(reason.remedy, HasSubstr("Hold the phone squarer"));
}

// 32 mm before the middle, camera 0.2 m up at 0.8 m: 32 x 0.2 / 0.8 = 8 mm;
// at 0.3 m up 12 mm.
TEST(JudgePhoto, SaysHowFarTheNearHeelIsLowered) {
  PhotoFacts facts = Good(View::kLateral);
  facts.distance_mm = 800.0;
  facts.camera_height_mm = 300.0;
  const Reason reason = JudgePhoto(facts).reasons.at(0);
  EXPECT_EQ(reason.code, "too_high");
  EXPECT_THAT(reason.words, HasSubstr("30 cm above the ground"));
  EXPECT_THAT(reason.words, HasSubstr("12 mm too low"));
  facts.view = View::kSolar;
  EXPECT_TRUE(JudgePhoto(facts).reasons.empty());
}

TEST(JudgePhoto, PassesOnWhyTheCardWasNotFound) {
  PhotoFacts facts = Good();
  facts.scale = geometry::ScaleSource::kNone;
  facts.card_refusal =
      Refusal{RefusalCode::kTwoCards, "Two cards are seen.", "Show one."};
  const PhotoQuality quality = JudgePhoto(facts);
  EXPECT_EQ(quality.grade, Grade::kRetake);
  ASSERT_EQ(quality.reasons.size(), 1U);
  EXPECT_EQ(quality.reasons[0].code,
            geometry::CodeName(RefusalCode::kTwoCards));
  EXPECT_EQ(quality.reasons[0].words, "Two cards are seen.");
  EXPECT_EQ(quality.reasons[0].remedy, "Show one.");
}

TEST(JudgePhoto, PutsTheWorstFirst) {
  PhotoFacts facts = Good();
  facts.print_checked = false;
  facts.tilt_deg = 20.0;
  facts.cut_off = true;
  const PhotoQuality quality = JudgePhoto(facts);
  EXPECT_EQ(quality.grade, Grade::kRetake);
  ASSERT_EQ(quality.reasons.size(), 3U);
  EXPECT_EQ(quality.reasons[0].code, "cut_off");
  EXPECT_EQ(quality.reasons[1].code, "not_square");
  EXPECT_EQ(quality.reasons[2].code, "print_not_checked");
}

TEST(JudgePhoto, DoesNotJudgeWhatIsNotKnown) {
  PhotoFacts facts;
  facts.width_px = 4000;
  facts.height_px = 3000;
  facts.scale = geometry::ScaleSource::kCard;
  facts.print_checked = true;
  EXPECT_TRUE(JudgePhoto(facts).reasons.empty());
}

TEST(JudgePhoto, TakesANumberThatIsNoneForABadOne) {
  PhotoFacts facts = Good();
  facts.px_per_mm = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(JudgePhoto(facts).grade, Grade::kRetake);
}

}  // namespace
}  // namespace plumbfoot::judge
