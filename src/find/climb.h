// SPDX-License-Identifier: Apache-2.0
/// @file
/// Makes a good guess better.
#pragma once

#include <array>
#include <cstddef>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::find {

/// Tries steps of falling size in all directions at once and keeps what gains.
/// Needs no slope, which a sum over pixels does not have.
///
/// @param step   Standard deviation of the first steps, each parameter its own.
/// @param score  double(const std::array<double, N>&), the larger the better.
/// @return The best score; `at` is where it is.
template <std::size_t N, typename Score>
double Climb(std::array<double, N>& at,
             const std::array<double, N>& step,
             int tries,
             geometry::Random& random,
             const Score& score) {
  double best = score(at);
  for (int i = 0; i < tries; ++i) {
    // CHOSEN: from the whole step down to a tenth.
    const double size = 1.0 - 0.9 * i / tries;
    std::array<double, N> next = at;
    for (std::size_t k = 0; k < N; ++k) {
      // Half of the parameters stay: a step along many at once rarely gains.
      if (random.Chance(0.5)) next[k] += size * step[k] * random.Normal();
    }
    const double s = score(next);
    if (s > best) {
      best = s;
      at = next;
    }
  }
  return best;
}

}  // namespace plumbfoot::find
