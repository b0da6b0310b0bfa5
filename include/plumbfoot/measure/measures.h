// SPDX-License-Identifier: Apache-2.0
/// @file
/// Every measure of the foot: its id, its words, its definition, its source.
#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>

#include "plumbfoot/geometry/foot.h"

namespace plumbfoot::measure {

enum class MeasureId {
  // Solar.
  kBearingWidth,
  kBearingLength,
  kWidthToLength,
  kHeelWidth,
  kFrogLength,
  kFrogWidth,
  kFrogWidthToLength,
  kToeToFrogApex,
  kWidestToToe,
  kWidestToHeel,
  kToeShare,
  kLeftHalfWidth,
  kRightHalfWidth,
  kHalfWidthDifference,
  kOutlineAsymmetry,
  kBearingArea,
  // Lateral.
  kToeAngle,
  kHeelAngle,
  kToeHeelDifference,
  kDorsalWallLength,
  kHeelWallLength,
  kToeToHeelLength,
  kToeHeight,
  kHeelHeight,
  kHeelToToeHeight,
  kHairlineAngle,
  kSupportLength,
  kPasternAngle,
  kHoofPasternDifference,
  kDorsalWallDeparture,
};
inline constexpr std::size_t kMeasureCount = 30;

enum class Unit { kMillimetre, kSquareMillimetre, kDegree, kPercent, kRatio };
/// "mm", "mm2", "deg", "%", "1": as in files.
std::string_view UnitName(Unit unit);

struct MeasureInfo {
  MeasureId id;
  std::string_view key;   ///< "bearing_width"
  std::string_view name;  ///< "Width"
  View view;
  Unit unit;
  std::string_view definition;  ///< One line.
  std::string_view source;      ///< Of the definition.
  /// Does it need millimetres? Ratios and angles don't.
  bool needs_scale;
};

/// All measures, in the order of MeasureId.
std::span<const MeasureInfo> AllMeasures();
const MeasureInfo& InfoOf(MeasureId id);
std::optional<MeasureId> ParseMeasure(std::string_view key);

/// A measured quantity (JCGM 100:2008).
struct Measured {
  double value = 0.0;
  double standard_uncertainty = 0.0;
  double low95 = 0.0;   ///< 95 % coverage interval.
  double high95 = 0.0;  ///< 95 % coverage interval.
  /// kPerson if every point that it rests on was placed by a person.
  PlacedBy placed_by = PlacedBy::kFinder;
  /// The least confidence among the points and lines that it rests on [0..1].
  double confidence = 1.0;
  /// The part of `standard_uncertainty` that comes from the size of the print
  /// (or of the known length): the change of the value when the scale is off by
  /// one standard uncertainty. Nothing for what needs no scale, such as an
  /// angle. Two photos of the same card share this error: it is then the same
  /// share of both values, and has their sign.
  double shared_uncertainty = 0.0;
};

/// Why a measure was not taken, for people.
struct NotMeasured {
  std::string why;
};

using Outcome = std::variant<Measured, NotMeasured>;
using Outcomes = std::map<MeasureId, Outcome>;

}  // namespace plumbfoot::measure
