// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/figure.h"

#include <gtest/gtest.h>

namespace plumbfoot::draw {
namespace {

using measure::Measured;
using measure::Unit;

Measured Value(double value, double half) {
  return {value, half / 1.96, value - half, value + half, PlacedBy::kFinder};
}

TEST(FigureText, GivesHalfOfTheInterval) {
  EXPECT_EQ(FigureText(Value(51.24, 0.58), Unit::kDegree), "51.2° ± 0.6°");
  EXPECT_EQ(FigureText(Value(128.36, 1.21), Unit::kMillimetre),
            "128.4 ± 1.2 mm");
  EXPECT_EQ(FigureText(Value(48.6, 1.6), Unit::kPercent), "48.6 ± 1.6 %");
  EXPECT_EQ(FigureText(Value(0.979, 0.016), Unit::kRatio), "0.98 ± 0.02");
  EXPECT_EQ(FigureText(Value(0.979, 0.004), Unit::kRatio), "0.979 ± 0.004");
  EXPECT_EQ(FigureText(Value(13'310, 210), Unit::kSquareMillimetre),
            "133.1 ± 2.1 cm²");
}

TEST(FigureText, GivesNoDecimalsThatMeanNothing) {
  EXPECT_EQ(FigureText(Value(128.36, 12.4), Unit::kMillimetre), "128 ± 12 mm");
  EXPECT_EQ(FigureText(Value(48.6, 9.94), Unit::kDegree), "48.6° ± 9.9°");
  EXPECT_EQ(FigureText(Value(48.6, 9.96), Unit::kDegree), "49° ± 10°");
}

TEST(FigureText, SetsARealMinusAndNoMinusZero) {
  EXPECT_EQ(FigureText(Value(-1.84, 0.9), Unit::kDegree), "−1.8° ± 0.9°");
  EXPECT_EQ(FigureText(Value(-0.04, 0.9), Unit::kDegree), "0.0° ± 0.9°");
}

// The interval of a skewed distribution isn't centred on the value.
TEST(FigureText, TakesTheIntervalAsItIs) {
  EXPECT_EQ(
      FigureText({10.0, 1.0, 9.0, 13.0, PlacedBy::kFinder}, Unit::kMillimetre),
      "10.0 ± 2.0 mm");
}

}  // namespace
}  // namespace plumbfoot::draw
