// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/inches.h"

#include <cmath>
#include <numeric>
#include <stdexcept>

namespace plumbfoot::fit {

Eighths ToEighths(double mm) {
  if (!(mm >= 0) || !std::isfinite(mm)) {
    throw std::invalid_argument("ToEighths: not a length");
  }
  const double eighth = kMillimetresPerInch / 8;
  const auto count = static_cast<long>(std::floor(mm / eighth + 0.5));
  return {count / 8,
          static_cast<int>(count % 8),
          static_cast<double>(count) * eighth - mm};
}

std::string EighthsText(double mm) {
  const Eighths length = ToEighths(mm);
  std::string text;
  if (length.inches > 0 || length.eighths == 0) {
    text = std::to_string(length.inches);
  }
  if (length.eighths > 0) {
    const int common = std::gcd(length.eighths, 8);
    if (!text.empty()) text += ' ';
    text += std::to_string(length.eighths / common) + "/" +
            std::to_string(8 / common);
  }
  return text + " in";
}

}  // namespace plumbfoot::fit
