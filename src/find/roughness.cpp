// SPDX-License-Identifier: Apache-2.0
#include "find/roughness.h"

#include <array>
#include <cmath>

#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::find {
namespace {

using geometry::CardVector;

constexpr double kSpacingMm = 1.5;
constexpr std::size_t kReach = 14;  // So many places before and behind: 21 mm.

/// The weights with which the places about one make the cubic's value there.
std::array<double, kReach + 1> Weights() {
  const double m = kReach;
  std::array<double, kReach + 1> weights{};
  for (std::size_t k = 0; k <= kReach; ++k) {
    const auto j = static_cast<double>(k);
    weights[k] = 3 * (3 * m * m + 3 * m - 1 - 5 * j * j) /
                 ((2 * m - 1) * (2 * m + 1) * (2 * m + 3));
  }
  return weights;
}

}  // namespace

double Roughness(const geometry::CardPolyline& line) {
  if (line.size() < 2) return 0.0;
  const double length = geometry::Length(line, geometry::Ends::kOpen);
  const auto count = static_cast<std::size_t>(length / kSpacingMm) + 1;
  // CHOSEN: a few centimetres at least.
  if (count < 4 * kReach) return 0.0;
  const auto even = geometry::Resample(line, count, geometry::Ends::kOpen);
  const auto normals = geometry::Normals(even, geometry::Ends::kOpen);
  const auto weights = Weights();
  double squares = 0.0;
  std::size_t n = 0;
  for (std::size_t i = kReach; i + kReach < count; ++i, ++n) {
    CardVector off;  // From the place to its course.
    for (std::size_t k = 1; k <= kReach; ++k) {
      off = off +
            weights[k] * ((even[i + k] - even[i]) + (even[i - k] - even[i]));
    }
    const double across = Dot(off, normals[i]);
    squares += across * across;
  }
  return std::sqrt(squares / static_cast<double>(n));
}

}  // namespace plumbfoot::find
