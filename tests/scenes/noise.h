// SPDX-License-Identifier: Apache-2.0
/// @file
/// Repeatable noise for textures and for the scatter of light samples.
#pragma once

#include <cstdint>

#include "scenes/vec.h"

namespace plumbfoot::scenes {

/// A well-mixed 32-bit hash (finaliser after M. O'Neill's and Wang's pattern).
constexpr std::uint32_t Hash(std::uint32_t h) {
  h ^= h >> 16;
  h *= 0x7feb352dU;
  h ^= h >> 15;
  h *= 0x846ca68bU;
  h ^= h >> 16;
  return h;
}
constexpr std::uint32_t Hash(std::uint32_t a,
                             std::uint32_t b,
                             std::uint32_t c) {
  return Hash(a + 0x9e3779b9U * Hash(b + 0x85ebca6bU * Hash(c)));
}
/// In [0, 1).
constexpr double HashUniform(std::uint32_t a,
                             std::uint32_t b,
                             std::uint32_t c) {
  return Hash(a, b, c) * (1.0 / 4294967296.0);
}

/// Value noise in [-1, 1] with one feature per unit, and its gradient.
struct NoiseValue {
  double value = 0.0;
  Vec3 gradient;
};
NoiseValue Noise(Vec3 p, std::uint32_t seed);

/// Layers of noise, each twice as fine and `fade` as strong as the one before,
/// in the unit of `p`. Layers finer than `footprint` fade out: they would only
/// alias. The gradient is per unit of p.
NoiseValue Fractal(Vec3 p,
                   double size,
                   int layers,
                   double fade,
                   double footprint,
                   std::uint32_t seed);

/// Distance to the nearest of scattered dots, about one in each cube of side
/// `size`, in the unit of p; and which dot it was.
struct Cell {
  double distance = 0.0;
  std::uint32_t id = 0;
};
Cell NearestDot(double x, double y, double size, std::uint32_t seed);

}  // namespace plumbfoot::scenes
