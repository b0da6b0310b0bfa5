// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/words.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace plumbfoot::judge {
namespace {

std::string Fixed(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  // "-0.0" is no number to show anybody.
  if (text.find_first_not_of("-0.") == std::string::npos && text[0] == '-') {
    text.erase(0, 1);
  }
  return text;
}

std::string_view UnitWords(measure::Unit unit) {
  switch (unit) {
    case measure::Unit::kMillimetre:
      return " mm";
    case measure::Unit::kSquareMillimetre:
      return " cm²";
    case measure::Unit::kDegree:
      return "°";
    case measure::Unit::kPercent:
      return " %";
    case measure::Unit::kRatio:
      return "";
  }
  return "";
}

/// Nobody trims by hundredths of a millimetre or of a degree; a ratio near one
/// needs all of its digits.
int MostDecimals(measure::Unit unit) {
  return unit == measure::Unit::kRatio ? 3 : 1;
}

/// A foot's bearing area in mm² has five digits; people say cm².
double PerShown(measure::Unit unit) {
  return unit == measure::Unit::kSquareMillimetre ? 0.01 : 1.0;
}

}  // namespace

int Decimals(double uncertainty, int most) {
  if (!(uncertainty > 0) || !std::isfinite(uncertainty)) return most;
  // The second digit stands at 10^(floor(log10 u) - 1). 0.0996 rounds to
  // 0.10, so the exponent is taken after rounding to two digits.
  int exponent = static_cast<int>(std::floor(std::log10(uncertainty)));
  const double digits = uncertainty / std::pow(10.0, exponent);
  if (std::round(digits * 10) >= 100) ++exponent;
  return std::clamp(1 - exponent, 0, most);
}

Shown Show(const measure::Measured& measured, measure::Unit unit) {
  const double per = PerShown(unit);
  const double half = (measured.high95 - measured.low95) / 2 * per;
  const int decimals = Decimals(half, MostDecimals(unit));
  return {Fixed(measured.value * per, decimals),
          Fixed(half, decimals),
          Fixed(measured.low95 * per, decimals),
          Fixed(measured.high95 * per, decimals),
          std::string(UnitWords(unit))};
}

std::string ShowInLine(const measure::Measured& measured, measure::Unit unit) {
  const Shown shown = Show(measured, unit);
  // The sign of a degree stands at each number, a unit after the last.
  return fmt::format("{}{} ± {}{}",
                     shown.value,
                     unit == measure::Unit::kDegree ? shown.unit : "",
                     shown.half_width,
                     shown.unit);
}

std::string ShowNumber(double value, measure::Unit unit) {
  std::string text = Fixed(value * PerShown(unit), 3);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text + std::string(UnitWords(unit));
}

}  // namespace plumbfoot::judge
