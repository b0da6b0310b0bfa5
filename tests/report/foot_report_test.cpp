// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/foot_report.h"

#include <gtest/gtest.h>

#include "report/sample_report.h"

namespace plumbfoot::report {
namespace {

TEST(ParseStage, ReadsWhatStageNameWrites) {
  for (const Stage stage : {Stage::kBeforeTrim,
                            Stage::kAfterTrim,
                            Stage::kAfterShoeing,
                            Stage::kOther}) {
    EXPECT_EQ(ParseStage(StageName(stage)).value(), stage);
    EXPECT_FALSE(StageWords(stage).empty());
  }
}

TEST(ParseStage, RefusesAnotherWord) {
  EXPECT_EQ(ParseStage("before trim").error().code, RefusalCode::kUsage);
  EXPECT_EQ(ParseStage("").error().code, RefusalCode::kUsage);
}

// ISO 8601, Gregorian: 2000 and 2024 have a 29 February, 1900 and 2026 don't.
TEST(ParseDate, KnowsTheCalendar) {
  for (const char* day :
       {"2026-03-14", "2024-02-29", "2000-02-29", "1999-12-31"}) {
    EXPECT_EQ(ParseDate(day).value(), day);
  }
  for (const char* day : {"2026-02-29",
                          "1900-02-29",
                          "2026-04-31",
                          "2026-13-01",
                          "2026-00-10",
                          "2026-01-00",
                          "2026-1-01",
                          "14.03.2026",
                          "2026-03-14T09:30",
                          "2026/03/14",
                          "20a6-03-14",
                          ""}) {
    EXPECT_EQ(ParseDate(day).error().code, RefusalCode::kUsage) << day;
  }
}

TEST(ToJudge, TellsWhatTheCardTold) {
  const FootReport report = SampleReport();
  const judge::ViewToJudge photo = ToJudge(*report.solar);
  EXPECT_TRUE(photo.print_checked);
  EXPECT_EQ(photo.tilt_deg, 6.25);
  EXPECT_EQ(photo.outcomes.size(), 16U);
  const judge::ViewToJudge bare = ToJudge(*BareReport().lateral);
  EXPECT_FALSE(bare.print_checked);
  EXPECT_FALSE(bare.tilt_deg.has_value());
}

TEST(NeedsAPerson, IsFalseOfAWholeReport) {
  EXPECT_FALSE(NeedsAPerson(SampleReport()));
}

TEST(NeedsAPerson, IsTrueWhileTheFinderIsNotSureOfAPoint) {
  FootReport report = SampleReport();
  auto& toe = report.solar->points.at(PointId::kToe);
  toe->confidence = 0.9;
  EXPECT_TRUE(NeedsAPerson(report));
  toe->placed_by = PlacedBy::kPerson;
  EXPECT_FALSE(NeedsAPerson(report));
}

TEST(NeedsAPerson, IsTrueOfAPhotoToRetake) {
  FootReport report = SampleReport();
  report.lateral->quality.grade = judge::Grade::kRetake;
  EXPECT_TRUE(NeedsAPerson(report));
}

TEST(NeedsAPerson, AsksForAPointThatWasNotFoundButNotForAHiddenOne) {
  FootReport report = SampleReport();
  auto& points = report.lateral->points;
  points.at(PointId::kPasternUpper).reset();
  report.lateral->measures.outcomes[measure::MeasureId::kPasternAngle] =
      measure::NotMeasured{"pastern_upper is missing"};
  EXPECT_TRUE(NeedsAPerson(report));
  points.hidden.at(static_cast<std::size_t>(PointId::kPasternUpper)) = true;
  EXPECT_FALSE(NeedsAPerson(report));
}

}  // namespace
}  // namespace plumbfoot::report
