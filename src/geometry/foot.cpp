// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/foot.h"

#include <algorithm>
#include <cctype>
#include <stdexcept>
#include <string>

namespace plumbfoot::geometry {
namespace {

constexpr std::array<std::string_view, kPointCount> kPointNames = {
    "toe",
    "heel_left",
    "heel_right",
    "frog_apex",
    "frog_left",
    "frog_right",
    "toe_ground",
    "toe_hairline",
    "heel_ground",
    "heel_hairline",
    "pastern_upper",
    "pastern_lower",
};
constexpr std::array<PointId, 6> kSolarPoints = {PointId::kToe,
                                                 PointId::kHeelLeft,
                                                 PointId::kHeelRight,
                                                 PointId::kFrogApex,
                                                 PointId::kFrogLeft,
                                                 PointId::kFrogRight};
constexpr std::array<PointId, 6> kLateralPoints = {PointId::kToeGround,
                                                   PointId::kToeHairline,
                                                   PointId::kHeelGround,
                                                   PointId::kHeelHairline,
                                                   PointId::kPasternUpper,
                                                   PointId::kPasternLower};

constexpr std::array kStages = {
    Stage::kBeforeTrim, Stage::kAfterTrim, Stage::kAfterShoeing, Stage::kOther};

}  // namespace

std::string_view FootName(Foot foot) {
  switch (foot) {
    case Foot::kLeftFore:
      return "LF";
    case Foot::kRightFore:
      return "RF";
    case Foot::kLeftHind:
      return "LH";
    case Foot::kRightHind:
      return "RH";
  }
  throw std::invalid_argument("FootName: not a Foot");
}

std::string_view FootWords(Foot foot) {
  switch (foot) {
    case Foot::kLeftFore:
      return "left fore";
    case Foot::kRightFore:
      return "right fore";
    case Foot::kLeftHind:
      return "left hind";
    case Foot::kRightHind:
      return "right hind";
  }
  throw std::invalid_argument("FootWords: not a Foot");
}

Result<Foot> ParseFoot(std::string_view text) {
  std::string upper(text);
  std::transform(
      upper.begin(), upper.end(), upper.begin(), [](unsigned char c) {
        return static_cast<char>(std::toupper(c));
      });
  if (upper == "LF" || upper == "NF") return Foot::kLeftFore;
  if (upper == "RF" || upper == "OF") return Foot::kRightFore;
  if (upper == "LH" || upper == "NH") return Foot::kLeftHind;
  if (upper == "RH" || upper == "OH") return Foot::kRightHind;
  return Refusal{RefusalCode::kUsage,
                 "\"" + std::string(text) + "\" is not a foot.",
                 "Say LF, RF, LH or RH (left or right, fore or hind), or NF, "
                 "OF, NH, OH (near or off)."};
}

std::string_view ViewName(View view) {
  return view == View::kSolar ? "solar" : "lateral";
}

std::string_view PointName(PointId id) {
  return kPointNames.at(static_cast<std::size_t>(id));
}

std::span<const PointId> PointsOf(View view) {
  if (view == View::kSolar) return kSolarPoints;
  return kLateralPoints;
}

std::optional<PointId> ParsePoint(View view, std::string_view name) {
  for (const PointId id : PointsOf(view)) {
    if (PointName(id) == name) return id;
  }
  return std::nullopt;
}

std::string_view PlacedByName(PlacedBy placed_by) {
  return placed_by == PlacedBy::kFinder ? "finder" : "person";
}

std::string_view StageName(Stage stage) {
  switch (stage) {
    case Stage::kBeforeTrim:
      return "before_trim";
    case Stage::kAfterTrim:
      return "after_trim";
    case Stage::kAfterShoeing:
      return "after_shoeing";
    case Stage::kOther:
      return "other";
  }
  throw std::invalid_argument("StageName: not a Stage");
}

std::string_view StageWords(Stage stage) {
  switch (stage) {
    case Stage::kBeforeTrim:
      return "before the trim";
    case Stage::kAfterTrim:
      return "after the trim";
    case Stage::kAfterShoeing:
      return "after shoeing";
    case Stage::kOther:
      return "at another time";
  }
  throw std::invalid_argument("StageWords: not a Stage");
}

Result<Stage> ParseStage(std::string_view text) {
  for (const Stage stage : kStages) {
    if (text == StageName(stage)) return stage;
  }
  return Refusal{RefusalCode::kUsage,
                 "There is no stage called '" + std::string(text) + "'.",
                 "Use before_trim, after_trim, after_shoeing or other."};
}

}  // namespace plumbfoot::geometry
