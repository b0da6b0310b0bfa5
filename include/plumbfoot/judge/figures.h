// SPDX-License-Identifier: Apache-2.0
/// @file
/// The published figures that a measure is held against, each with its source.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::judge {

enum class AppliesTo { kFore, kHind, kBoth };
enum class FigureKind {
  kRange,      ///< low to high, as a text gives it.
  kMeanSd,     ///< Mean and standard deviation of a group of horses.
  kThreshold,  ///< A limit that a source draws.
  kRatio,      ///< One ratio that a source gives as usual.
  kGuideline,  ///< What a source aims for.
};
/// How well a figure is known. Only the first three, and kDerived, are cited
/// as facts; kCommonPractice is called so; kFromMemory is never shown.
enum class FigureStatus {
  kPublished,
  kPublishedAbstract,   ///< Only the abstract was read.
  kPublishedSecondary,  ///< Read in another text that quotes it.
  kCommonPractice,
  kFromMemory,
  kDerived,
};
std::string_view FigureStatusName(FigureStatus status);

/// Which side of a limit the source gives a name to.
enum class LimitSide { kLessThan, kAtMost, kAtLeast, kMoreThan };

/// What the figure is about.
enum class Subject {
  kFoot,       ///< One foot, one visit.
  kLeftRight,  ///< The difference of a pair of feet.
  kVisits,     ///< The change from visit to visit.
};

/// When a figure asks for a vet.
struct ShowToVet {
  bool below = false;  ///< If the foot is below it; otherwise if it is above.
  std::string words;
  std::string why;
};

/// One entry of src/judge/figures.json. Numbers are in the measure's unit.
struct Figure {
  std::string id;  ///< Unique; stands in reports.
  measure::MeasureId measure = measure::MeasureId::kToeAngle;
  Subject subject = Subject::kFoot;
  AppliesTo applies_to = AppliesTo::kBoth;
  FigureKind kind = FigureKind::kRange;
  std::optional<double> low;      ///< kRange
  std::optional<double> high;     ///< kRange
  std::optional<double> mean;     ///< kMeanSd
  std::optional<double> sd;       ///< kMeanSd; nothing if it isn't printed.
  std::optional<int> horses;      ///< kMeanSd: how many, if it is printed.
  std::optional<double> limit;    ///< kThreshold
  std::optional<LimitSide> side;  ///< kThreshold
  std::optional<double> target;   ///< kRatio, kGuideline
  /// If set, the figure is about `measure` as a part of this one [1].
  std::optional<measure::MeasureId> part_of;
  /// The figure counts outer less inner where the measure is left less right.
  bool outer_less_inner = false;
  /// Is being beyond it worth a look? Not where most sound horses are.
  bool stands_out = false;
  std::string brief;  ///< "50° to 55° (Butler 1995)", for a list.
  std::string words;  ///< What the source says, in plain words.
  std::string citation;
  FigureStatus status = FigureStatus::kPublished;
  std::vector<std::string> conflicts_with;  ///< Ids of other figures.
  /// Sentences about a foot that is so; empty where a general one will do.
  std::string if_below;
  std::string if_within;
  std::string if_above;
  std::optional<ShowToVet> vet;
};

/// Does the figure speak of this foot?
bool Concerns(const Figure& figure, Foot foot);

/// The figures that are compiled in. Parsed anew on every call.
/// @throws std::logic_error if the data is not what it should be.
std::vector<Figure> LoadFigures();

}  // namespace plumbfoot::judge
