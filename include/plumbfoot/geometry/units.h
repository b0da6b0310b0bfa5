// SPDX-License-Identifier: Apache-2.0
/// @file
/// Units as types, so that no bare number crosses a room's door where a unit
/// is meant.
#pragma once

#include <compare>
#include <numbers>

namespace plumbfoot::geometry {

/// A length [mm].
class Millimetres {
 public:
  constexpr Millimetres() = default;
  constexpr explicit Millimetres(double value) : value_(value) {}
  constexpr double value() const { return value_; }
  friend constexpr auto operator<=>(Millimetres, Millimetres) = default;

 private:
  double value_ = 0.0;
};

/// An angle [deg]. Angles are degrees in everything a person or a file sees;
/// the arithmetic inside uses radians().
class Degrees {
 public:
  constexpr Degrees() = default;
  constexpr explicit Degrees(double value) : value_(value) {}
  static constexpr Degrees FromRadians(double radians) {
    return Degrees(radians * (180.0 / std::numbers::pi));
  }
  constexpr double value() const { return value_; }
  constexpr double radians() const {
    return value_ * (std::numbers::pi / 180.0);
  }
  friend constexpr auto operator<=>(Degrees, Degrees) = default;

 private:
  double value_ = 0.0;
};

}  // namespace plumbfoot::geometry
