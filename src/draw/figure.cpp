// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/figure.h"

#include <fmt/format.h>

#include <cmath>
#include <stdexcept>

namespace plumbfoot::draw {

std::string FigureText(const measure::Measured& measured, measure::Unit unit) {
  double value = measured.value;
  double half = (measured.high95 - measured.low95) / 2;
  // A minus that only rounding made is taken away.
  const auto number = [](double x, int digits) {
    const std::string text = fmt::format("{:.{}f}", x, digits);
    const bool zero = text.find_first_of("123456789") == std::string::npos;
    if (text.front() != '-') return text;
    return (zero ? "" : "−") + text.substr(1);
  };
  const int coarse = half >= 9.95 ? 0 : 1;
  switch (unit) {
    case measure::Unit::kMillimetre:
      return number(value, coarse) + " ± " + number(half, coarse) + " mm";
    case measure::Unit::kSquareMillimetre:
      value /= 100;
      half /= 100;
      return number(value, half >= 9.95 ? 0 : 1) + " ± " +
             number(half, half >= 9.95 ? 0 : 1) + " cm²";
    case measure::Unit::kDegree:
      return number(value, coarse) + "° ± " + number(half, coarse) + "°";
    case measure::Unit::kPercent:
      return number(value, coarse) + " ± " + number(half, coarse) + " %";
    case measure::Unit::kRatio: {
      const int digits = half >= 0.0095 ? 2 : 3;
      return number(value, digits) + " ± " + number(half, digits);
    }
  }
  throw std::invalid_argument("FigureText: not a Unit");
}

}  // namespace plumbfoot::draw
