// SPDX-License-Identifier: Apache-2.0
// The promise of every verdict, over 300 feet; `tests/studies/run change` has
// more.
#include "trend/change_study.h"

#include <gtest/gtest.h>

#include <cstdio>

namespace plumbfoot::trend {
namespace {

TEST(ChangeStudy, AnUnchangedFootStaysUnchangedAndAChangeOfTwiceIsFound) {
  ChangeStudyOptions options;
  options.pairs = 300;
  options.trials = 250;
  options.seed = 4;
  options.changes_each = 6;
  const ChangeStudy study = StudyChange(options);
  std::printf("%s", Table(study).c_str());
  ASSERT_EQ(study.feet, 300);
  EXPECT_LE(study.feet_called_changed, 15);  // 5 in 100
  ASSERT_EQ(study.rows.size(), measure::kMeasureCount);
  int changed = 0;
  int found = 0;
  for (const auto& [id, row] : study.rows) {
    EXPECT_EQ(row.unchanged, 300);
    EXPECT_LE(row.called_changed, 15) << measure::InfoOf(id).key;
    EXPECT_GE(row.changed + row.impossible, 58) << measure::InfoOf(id).key;
    // 9 in 10.
    EXPECT_GE(10 * row.found, 9 * row.changed) << measure::InfoOf(id).key;
    changed += row.changed;
    found += row.found;
  }
  EXPECT_GE(100 * found, 95 * changed);
  EXPECT_GE(changed, 1200);
}

}  // namespace
}  // namespace plumbfoot::trend
