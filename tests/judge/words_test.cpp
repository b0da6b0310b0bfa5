// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/words.h"

#include <gtest/gtest.h>

#include <limits>

namespace plumbfoot::judge {
namespace {

using measure::Unit;

// JCGM 100:2008, 7.2.6: "if y = 10.057 62 ohm with u_c(y) = 27 mohm, y should
// be rounded to 10.058 ohm".
TEST(Show, RoundsAsTheGumsExample) {
  EXPECT_EQ(Decimals(0.027), 3);
  EXPECT_EQ(Show({10.05762, 0.027, 10.03062, 10.08462}, Unit::kRatio).value,
            "10.058");
}

TEST(Decimals, ShowsTwoDigitsOfTheUncertainty) {
  EXPECT_EQ(Decimals(0.35), 2);
  EXPECT_EQ(Decimals(3.5), 1);
  EXPECT_EQ(Decimals(35.0), 0);
  EXPECT_EQ(Decimals(350.0), 0);
  EXPECT_EQ(Decimals(1.0), 1);
  EXPECT_EQ(Decimals(0.1), 2);
}

TEST(Decimals, CountsDigitsAfterRounding) {
  EXPECT_EQ(Decimals(0.994), 2);  // 0.99
  EXPECT_EQ(Decimals(0.996), 1);  // 1.0
  EXPECT_EQ(Decimals(9.96), 0);   // 10
}

TEST(Decimals, StopsAtTheMost) {
  EXPECT_EQ(Decimals(0.00001), 3);
  EXPECT_EQ(Decimals(0.0), 3);
  EXPECT_EQ(Decimals(std::numeric_limits<double>::quiet_NaN()), 3);
  EXPECT_EQ(Decimals(0.004, 5), 4);
}

TEST(Show, RoundsValueAndIntervalAlike) {
  const Shown shown =
      Show({128.4449, 0.8512, 126.7766, 130.1132}, Unit::kMillimetre);
  EXPECT_EQ(shown.value, "128.4");
  EXPECT_EQ(shown.half_width, "1.7");
  EXPECT_EQ(shown.low95, "126.8");
  EXPECT_EQ(shown.high95, "130.1");
  EXPECT_EQ(shown.unit, " mm");
}

TEST(Show, GivesAreasInSquareCentimetres) {
  const Shown shown =
      Show({13311.0, 120.0, 13075.0, 13547.0}, Unit::kSquareMillimetre);
  EXPECT_EQ(shown.value, "133.1");
  EXPECT_EQ(shown.half_width, "2.4");
  EXPECT_EQ(shown.unit, " cm²");
}

TEST(Show, HasNoNegativeZero) {
  EXPECT_EQ(Show({-0.04, 1.2, -2.4, 2.3}, Unit::kDegree).value, "0.0");
}

TEST(ShowInLine, PutsTheUnitBesideEachNumber) {
  EXPECT_EQ(ShowInLine({51.23, 0.41, 50.43, 52.03}, Unit::kDegree),
            "51.2° ± 0.8°");
  EXPECT_EQ(ShowInLine({1.0834, 0.012, 1.06, 1.108}, Unit::kRatio),
            "1.083 ± 0.024");
}

TEST(ShowInLine, PutsAUnitOfWordsBehindTheLast) {
  EXPECT_EQ(ShowInLine({128.36, 0.6, 127.15, 129.57}, Unit::kMillimetre),
            "128.4 ± 1.2 mm");
}

TEST(ShowInLine, GivesNoDecimalsThatMeanNothing) {
  EXPECT_EQ(ShowInLine({128.36, 6.2, 115.96, 140.76}, Unit::kMillimetre),
            "128 ± 12 mm");
  EXPECT_EQ(ShowInLine({-0.047, 0.04, -0.137, 0.042}, Unit::kMillimetre),
            "0.0 ± 0.1 mm");
}

TEST(ShowNumber, HasNoIdleZeros) {
  EXPECT_EQ(ShowNumber(50, Unit::kDegree), "50°");
  EXPECT_EQ(ShowNumber(0.67, Unit::kRatio), "0.67");
  EXPECT_EQ(ShowNumber(100, Unit::kMillimetre), "100 mm");
  EXPECT_EQ(ShowNumber(-3, Unit::kDegree), "-3°");
  EXPECT_EQ(ShowNumber(1.0 / 3, Unit::kRatio), "0.333");
}

}  // namespace
}  // namespace plumbfoot::judge
