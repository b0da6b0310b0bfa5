// SPDX-License-Identifier: Apache-2.0
// The studies with few photos: what is claimed of many must not be plainly
// false of some. tests/studies/run has the real numbers.
#include "studies/studies.h"

#include <gtest/gtest.h>

#include <cmath>

namespace plumbfoot::studies {
namespace {

using measure::MeasureId;

TEST(Percentile, InterpolatesBetweenOrderStatistics) {
  // Hyndman & Fan, "Sample quantiles in statistical packages", Am. Stat. 50(4),
  // 1996, type 7: of 1..5 the 0.95 quantile is 1 + 0.95 * 4 = 4.8.
  EXPECT_DOUBLE_EQ(Percentile({5, 1, 4, 2, 3}, 0.95), 4.8);
  EXPECT_DOUBLE_EQ(Percentile({5, 1, 4, 2, 3}, 0.5), 3.0);
  EXPECT_TRUE(std::isnan(Percentile({}, 0.5)));
}

TEST(Studies, MeasuresGivenPointsWithinTheBar) {
  StudyOptions options;
  options.pairs = 12;
  options.seed = 11;
  const PointsGiven study = StudyPointsGiven({5}, options).front();
  EXPECT_EQ(study.card_refused, 0);
  // design bar: 0.3 % and 0.2 degrees at the 95th percentile.
  for (const MeasureId id :
       {MeasureId::kBearingWidth, MeasureId::kBearingLength}) {
    ASSERT_GE(study.errors.at(id).size(), 10U);
    for (const double error : study.errors.at(id)) {
      EXPECT_LT(std::abs(error), 0.3) << measure::InfoOf(id).key;
    }
  }
  for (const MeasureId id : {MeasureId::kToeAngle,
                             MeasureId::kHeelAngle,
                             MeasureId::kHairlineAngle,
                             MeasureId::kPasternAngle}) {
    ASSERT_GE(study.errors.at(id).size(), 10U);
    for (const double error : study.errors.at(id)) {
      EXPECT_LT(std::abs(error), 0.2) << measure::InfoOf(id).key;
    }
  }
}

// A seed that the finder's rules were chosen on: it shows that the study
// counts.
TEST(Studies, FindsTheEdgesOfASole) {
  StudyOptions options;
  options.pairs = 1;
  options.seed = 51;
  options.width_px = 1200;
  options.height_px = 900;
  const PointsFound study = StudyPointsFound(options);
  ASSERT_EQ(study.outline_iou.size(), 1U);
  EXPECT_GT(study.outline_iou[0], 0.97);  // The design's bar.
  ASSERT_EQ(study.frog_iou.size(), 1U);
  EXPECT_GT(study.frog_iou[0], 0.85);
  EXPECT_LT(study.frog_iou[0], 1.0);
}

TEST(Studies, IntervalsHoldTheTruthMostOfTheTime) {
  StudyOptions options;
  options.pairs = 20;
  options.seed = 12;
  const Coverage study = StudyCoverage(options);
  EXPECT_EQ(study.card_refused, 0);
  int measured = 0;
  int held = 0;
  for (const auto& [id, row] : study.rows) {
    measured += row.measured;
    held += row.held;
    // Of 20 that each hold with 0.95, fewer than 15 hold once in 3000 times
    // (binomial).
    EXPECT_GE(row.held, 15 * row.measured / 20) << measure::InfoOf(id).key;
  }
  ASSERT_GT(measured, 400);
  EXPECT_GT(held, measured * 90 / 100);
}

}  // namespace
}  // namespace plumbfoot::studies
