// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/sizes.h"

#include <gtest/gtest.h>

namespace plumbfoot::fit {
namespace {

constexpr std::string_view kTable =
    "# invented\n"
    "size,width_mm,length_mm,feet\r\n"
    "A, 120, 122, fore\n"
    "\n"
    "B,130,131,fore\n"
    "B-hind,126,134,hind\n"
    "C,140,141\n";

TEST(Sizes, TheNearestInWidthAndLengthIsTaken) {
  const auto sizes = ParseSizes(kTable);
  ASSERT_TRUE(sizes.has_value()) << sizes.error().message;
  ASSERT_EQ(sizes->size(), 4U);
  const auto fore = NearestOf(*sizes, geometry::Foot::kLeftFore, 128, 133);
  ASSERT_TRUE(fore.has_value());
  EXPECT_EQ(fore->size.name, "B");
  EXPECT_DOUBLE_EQ(fore->width_off_mm, 2);
  EXPECT_DOUBLE_EQ(fore->length_off_mm, -2);
  const auto hind = NearestOf(*sizes, geometry::Foot::kRightHind, 128, 133);
  ASSERT_TRUE(hind.has_value());
  EXPECT_EQ(hind->size.name, "B-hind");
  // A size without feet is for all.
  EXPECT_EQ(NearestOf(*sizes, geometry::Foot::kRightHind, 150, 150)->size.name,
            "C");
}

TEST(Sizes, ATableThatIsNoneIsRefused) {
  const auto code = [](std::string_view text) {
    const auto sizes = ParseSizes(text);
    EXPECT_FALSE(sizes.has_value()) << text;
    return sizes ? RefusalCode::kUsage : sizes.error().code;
  };
  using enum RefusalCode;
  EXPECT_EQ(code(""), kNotOurFormat);
  EXPECT_EQ(code("A,120,122\n"), kNotOurFormat);
  EXPECT_EQ(code("size,width_mm,length_mm\n"), kNotOurFormat);
  EXPECT_EQ(code("size,width_mm,length_mm\nA,wide,120\n"), kBadNumber);
  EXPECT_EQ(code("size,width_mm,length_mm\nA,-5,120\n"), kBadNumber);
  EXPECT_EQ(code("size,width_mm,length_mm\nA,nan,120\n"), kBadNumber);
  EXPECT_EQ(code("size,width_mm,length_mm\nA,120\n"), kNotOurFormat);
  EXPECT_EQ(code("size,width_mm,length_mm,feet\nA,120,120,front\n"),
            kNotOurFormat);
}

}  // namespace
}  // namespace plumbfoot::fit
