// SPDX-License-Identifier: Apache-2.0
/// @file
/// A small vector of three numbers for the renderer: places [mm], directions,
/// and linear colours (red, green, blue).
#pragma once

#include <algorithm>
#include <cmath>

namespace plumbfoot::scenes {

struct Vec3 {
  double x = 0.0;
  double y = 0.0;
  double z = 0.0;

  friend constexpr Vec3 operator+(Vec3 a, Vec3 b) {
    return {a.x + b.x, a.y + b.y, a.z + b.z};
  }
  friend constexpr Vec3 operator-(Vec3 a, Vec3 b) {
    return {a.x - b.x, a.y - b.y, a.z - b.z};
  }
  friend constexpr Vec3 operator-(Vec3 a) { return {-a.x, -a.y, -a.z}; }
  friend constexpr Vec3 operator*(double s, Vec3 a) {
    return {s * a.x, s * a.y, s * a.z};
  }
  /// Component by component: a light's colour on a surface's colour.
  friend constexpr Vec3 operator*(Vec3 a, Vec3 b) {
    return {a.x * b.x, a.y * b.y, a.z * b.z};
  }
  Vec3& operator+=(Vec3 b) { return *this = *this + b; }
};

constexpr double Dot(Vec3 a, Vec3 b) {
  return a.x * b.x + a.y * b.y + a.z * b.z;
}
constexpr Vec3 Cross(Vec3 a, Vec3 b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
inline double Length(Vec3 a) {
  return std::sqrt(Dot(a, a));
}
inline Vec3 Normalised(Vec3 a) {
  const double n = Length(a);
  return n > 0 ? (1 / n) * a : Vec3{0, 0, 1};
}

constexpr double Mix(double a, double b, double t) {
  return a + (b - a) * t;
}
constexpr Vec3 Mix(Vec3 a, Vec3 b, double t) {
  return a + t * (b - a);
}
constexpr double Clamp01(double t) {
  return t < 0 ? 0 : t > 1 ? 1 : t;
}
/// 0 below `low`, 1 above `high`, smooth between (Hermite). low < high.
constexpr double SmoothStep(double low, double high, double t) {
  const double s = Clamp01((t - low) / (high - low));
  return s * s * (3 - 2 * s);
}
/// 1 at 0, falling to 0 at |t| = width.
constexpr double Bump(double width, double t) {
  const double s = t / width;
  const double q = 1 - s * s;
  return q > 0 ? q * q : 0.0;
}

}  // namespace plumbfoot::scenes
