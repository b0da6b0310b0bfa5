// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/random.h"

#include <cmath>
#include <stdexcept>

namespace plumbfoot::geometry {

double Random::Uniform() {
  // The upper 53 bits: every double in [0, 1) on a grid of 2^-53.
  return static_cast<double>(engine_() >> 11U) * 0x1.0p-53;
}

double Random::Uniform(double low, double high) {
  return low + (high - low) * Uniform();
}

double Random::Normal() {
  if (has_spare_) {
    has_spare_ = false;
    return spare_;
  }
  for (;;) {
    const double u = 2 * Uniform() - 1;
    const double v = 2 * Uniform() - 1;
    const double s = u * u + v * v;
    if (s >= 1 || s == 0) continue;
    const double factor = std::sqrt(-2 * std::log(s) / s);
    spare_ = v * factor;
    has_spare_ = true;
    return u * factor;
  }
}

int Random::Below(int count) {
  if (count <= 0) throw std::invalid_argument("Random::Below: count <= 0");
  return static_cast<int>(Uniform() * count);
}

}  // namespace plumbfoot::geometry
