// SPDX-License-Identifier: Apache-2.0
#include "scenes/noise.h"

#include <array>
#include <cstddef>

namespace plumbfoot::scenes {

namespace {

// A shuffled row of 0..255, twice over, and a value for each: a lattice
// point's value in three look-ups (K. Perlin, "An image synthesizer", 1985).
struct Tables {
  std::array<std::uint8_t, 512> next{};
  std::array<double, 256> value{};
};

constexpr Tables MakeTables() {
  Tables t;
  for (std::size_t i = 0; i < 256; ++i)
    t.next[i] = static_cast<std::uint8_t>(i);
  for (std::uint32_t i = 255; i > 0; --i) {
    const std::uint32_t j = Hash(i, 17, 4) % (i + 1);
    const std::uint8_t held = t.next[i];
    t.next[i] = t.next[j];
    t.next[j] = held;
  }
  for (std::size_t i = 0; i < 256; ++i) {
    t.next[i + 256] = t.next[i];
    t.value[i] =
        Hash(static_cast<std::uint32_t>(i), 5, 9) * (2.0 / 4294967296.0) - 1;
  }
  return t;
}

constexpr Tables kTables = MakeTables();

// std::floor is a call into the library on the plainest x86-64.
double Floor(double v) {
  const auto whole = static_cast<double>(static_cast<std::int64_t>(v));
  return whole > v ? whole - 1 : whole;
}

}  // namespace

NoiseValue Noise(Vec3 p, std::uint32_t seed) {
  const double fx = Floor(p.x);
  const double fy = Floor(p.y);
  const double fz = Floor(p.z);
  const std::uint32_t mixed = seed * 0x9e3779b9U;
  const auto ix = (static_cast<std::uint32_t>(static_cast<std::int64_t>(fx)) +
                   (mixed >> 24)) &
                  255U;
  const auto iy = (static_cast<std::uint32_t>(static_cast<std::int64_t>(fy)) +
                   (mixed >> 16)) &
                  255U;
  const auto iz = (static_cast<std::uint32_t>(static_cast<std::int64_t>(fz)) +
                   (mixed >> 8)) &
                  255U;
  const double x = p.x - fx;
  const double y = p.y - fy;
  const double z = p.z - fz;
  const auto& next = kTables.next;
  const std::array<std::uint32_t, 2> row = {next[ix], next[(ix + 1) & 255U]};
  const auto corner = [&](std::uint32_t dx,
                          std::uint32_t dy,
                          std::uint32_t dz) {
    return kTables
        .value[next[next[row[dx] + ((iy + dy) & 255U)] + ((iz + dz) & 255U)]];
  };
  const double a = corner(0, 0, 0);
  const double b = corner(1, 0, 0);
  const double c = corner(0, 1, 0);
  const double d = corner(1, 1, 0);
  const double e = corner(0, 0, 1);
  const double f = corner(1, 0, 1);
  const double g = corner(0, 1, 1);
  const double h = corner(1, 1, 1);
  const double u = x * x * (3 - 2 * x);
  const double v = y * y * (3 - 2 * y);
  const double w = z * z * (3 - 2 * z);
  const double du = 6 * x * (1 - x);
  const double dv = 6 * y * (1 - y);
  const double dw = 6 * z * (1 - z);
  const double k1 = b - a;
  const double k2 = c - a;
  const double k3 = e - a;
  const double k4 = a - b - c + d;
  const double k5 = a - c - e + g;
  const double k6 = a - b - e + f;
  const double k7 = -a + b + c - d + e - f - g + h;
  NoiseValue n;
  n.value = a + k1 * u + k2 * v + k3 * w + k4 * u * v + k5 * v * w +
            k6 * w * u + k7 * u * v * w;
  n.gradient = {du * (k1 + k4 * v + k6 * w + k7 * v * w),
                dv * (k2 + k5 * w + k4 * u + k7 * w * u),
                dw * (k3 + k6 * u + k5 * v + k7 * u * v)};
  return n;
}

NoiseValue Fractal(Vec3 p,
                   double size,
                   int layers,
                   double fade,
                   double footprint,
                   std::uint32_t seed) {
  NoiseValue sum;
  double strength = 1.0;
  double frequency = 1.0 / size;
  for (int i = 0; i < layers; ++i) {
    // A layer whose features are smaller than two footprints is left out.
    const double visible = Clamp01(1.0 / (frequency * footprint) / 2 - 0.5);
    if (visible <= 0) break;
    const NoiseValue n =
        Noise(frequency * p, seed + static_cast<std::uint32_t>(i));
    sum.value += strength * visible * n.value;
    sum.gradient += (strength * visible * frequency) * n.gradient;
    strength *= fade;
    frequency *= 2.03;
  }
  return sum;
}

Cell NearestDot(double x, double y, double size, std::uint32_t seed) {
  const double fx = Floor(x / size);
  const double fy = Floor(y / size);
  double best = 1e9;
  Cell cell;
  for (int dy = -1; dy <= 1; ++dy) {
    for (int dx = -1; dx <= 1; ++dx) {
      const auto ix =
          static_cast<std::uint32_t>(static_cast<std::int64_t>(fx) + dx);
      const auto iy =
          static_cast<std::uint32_t>(static_cast<std::int64_t>(fy) + dy);
      const std::uint32_t h = Hash(ix, iy, seed);
      const double px = (fx + dx + (h & 0xffff) / 65536.0) * size;
      const double py = (fy + dy + (h >> 16) / 65536.0) * size;
      const double d = (px - x) * (px - x) + (py - y) * (py - y);
      if (d < best) {
        best = d;
        cell.id = Hash(h);
      }
    }
  }
  cell.distance = std::sqrt(best);
  return cell;
}

}  // namespace plumbfoot::scenes
