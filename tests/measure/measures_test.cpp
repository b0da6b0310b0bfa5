// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/measures.h"

#include <gtest/gtest.h>

#include <set>
#include <string>

namespace plumbfoot::measure {
namespace {

TEST(AllMeasures, HasEveryMeasureOnceAndInOrder) {
  ASSERT_EQ(AllMeasures().size(), kMeasureCount);
  std::set<std::string_view> keys;
  std::set<std::string_view> names;
  for (std::size_t i = 0; i < kMeasureCount; ++i) {
    const MeasureInfo& info = AllMeasures()[i];
    SCOPED_TRACE(std::string(info.key));
    EXPECT_EQ(static_cast<std::size_t>(info.id), i);
    EXPECT_TRUE(keys.insert(info.key).second);
    EXPECT_TRUE(names.insert(info.name).second);
    EXPECT_EQ(ParseMeasure(info.key), info.id);
    EXPECT_EQ(&InfoOf(info.id), &info);
    EXPECT_FALSE(info.source.empty());
    EXPECT_EQ(info.definition.back(), '.');
    EXPECT_EQ(info.definition.find('\n'), std::string_view::npos);
  }
  EXPECT_FALSE(ParseMeasure("Bearing_Width").has_value());
}

TEST(AllMeasures, NeedsScaleExactlyForLengthsAndAreas) {
  for (const MeasureInfo& info : AllMeasures()) {
    EXPECT_EQ(
        info.needs_scale,
        info.unit == Unit::kMillimetre || info.unit == Unit::kSquareMillimetre)
        << info.key;
    const bool angle = info.key.ends_with("_angle") ||
                       info.key == "toe_heel_difference" ||
                       info.key == "hoof_pastern_difference";
    EXPECT_EQ(info.unit == Unit::kDegree, angle) << info.key;
    const bool ratio = info.key.find("_to_length") != std::string_view::npos ||
                       info.key == "toe_to_heel_length" ||
                       info.key == "heel_to_toe_height";
    EXPECT_EQ(info.unit == Unit::kRatio, ratio) << info.key;
  }
}

TEST(UnitName, IsAsInFiles) {
  EXPECT_EQ(UnitName(Unit::kMillimetre), "mm");
  EXPECT_EQ(UnitName(Unit::kSquareMillimetre), "mm2");
  EXPECT_EQ(UnitName(Unit::kDegree), "deg");
  EXPECT_EQ(UnitName(Unit::kPercent), "%");
  EXPECT_EQ(UnitName(Unit::kRatio), "1");
}

}  // namespace
}  // namespace plumbfoot::measure
