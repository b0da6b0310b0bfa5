// SPDX-License-Identifier: Apache-2.0
/// @file
/// Seeded randomness: the same seed gives the same draws on every machine
/// (the standard library's distributions do not promise that).
#pragma once

#include <cstdint>
#include <random>

namespace plumbfoot::geometry {

class Random {
 public:
  explicit Random(std::uint64_t seed) : engine_(seed) {}

  /// In [0, 1).
  double Uniform();
  /// In [low, high).
  double Uniform(double low, double high);
  /// Mean 0, standard deviation 1 (Marsaglia's polar method).
  double Normal();
  double Normal(double mean, double sigma) { return mean + sigma * Normal(); }
  /// 0 .. count - 1. count > 0.
  int Below(int count);
  /// True with the given probability.
  bool Chance(double probability) { return Uniform() < probability; }

 private:
  std::mt19937_64 engine_;
  bool has_spare_ = false;
  double spare_ = 0.0;
};

}  // namespace plumbfoot::geometry
