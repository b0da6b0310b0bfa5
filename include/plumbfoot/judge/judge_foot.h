// SPDX-License-Identifier: Apache-2.0
/// @file
/// A foot's numbers beside the published figures: what can be said, what can't,
/// and when to show it to a vet. Never a diagnosis.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::judge {

/// How a measure stands to a figure.
enum class Relation {
  kWithin,       ///< Inside the range; on the usual side of a limit.
  kBelow,        ///< All of the 95 % interval lies below.
  kAbove,        ///< All of the 95 % interval lies above.
  kCrosses,      ///< The interval reaches over the edge: this photo can't tell.
  kConflicting,  ///< The sources disagree with each other about this value.
};
/// "within", "below", "above", "crosses", "conflicting": as in files.
std::string_view RelationName(Relation relation);

/// A measure held against one figure, or against several that disagree.
struct Observation {
  measure::MeasureId measure = measure::MeasureId::kToeAngle;
  std::vector<std::string> figures;  ///< Ids (see Figure). Never empty.
  Relation relation = Relation::kWithin;
  std::string words;                   ///< For the farrier, whole sentences.
  std::vector<std::string> citations;  ///< One for each figure.
  /// Worth a look before the rest. Not an alarm: numbers that most sound
  /// horses have never stand out.
  bool stands_out = false;
};

enum class CautionKind {
  kVet,     ///< When to show it to a vet.
  kPhoto,   ///< What the photo does to the numbers.
  kPoints,  ///< What the placing of the points does to them.
  kFoot,    ///< What the foot itself hides (a shoe, the sole's depth).
};
/// "vet", "photo", "points", "foot": as in files.
std::string_view CautionKindName(CautionKind kind);

struct Caution {
  std::string code;  ///< Stable, such as "print_not_checked".
  CautionKind kind = CautionKind::kPhoto;
  std::string words;  ///< What to mind, or to do.
  std::string why;
};

struct Verdict {
  std::vector<Observation> observations;  ///< What stands out comes first.
  std::vector<Caution> cautions;          ///< kVet first.
};

/// One measured view and how its photo came about.
struct ViewToJudge {
  measure::Outcomes outcomes;
  geometry::ScaleSource scale = geometry::ScaleSource::kNone;
  /// Has somebody measured the card's print with a ruler?
  bool print_checked = false;
  /// Optical axis against the measured plane's normal [deg]; nothing if there
  /// is no card to tell it.
  std::optional<double> tilt_deg;
  bool focal_assumed = false;  ///< No EXIF: a phone's usual lens was assumed.
};

/// Compares every measure with the figures that concern this foot.
///
/// A limit counts as passed only if the whole 95 % interval lies beyond it;
/// with an interval of no width the limit itself belongs to the side that the
/// source names ("5 degrees or more": 5.0 is passed, 4.9 is not). Figures from
/// memory are never used.
Verdict JudgeFoot(Foot foot,
                  bool shod,
                  const std::optional<ViewToJudge>& solar,
                  const std::optional<ViewToJudge>& lateral);

}  // namespace plumbfoot::judge
