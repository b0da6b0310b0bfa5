// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/measures.h"

#include <array>
#include <stdexcept>

namespace plumbfoot::measure {
namespace {

using enum MeasureId;
constexpr View kSolar = View::kSolar;
constexpr View kLateral = View::kLateral;
constexpr Unit kMm = Unit::kMillimetre;

constexpr std::string_view kCommonPractice = "common practice";
constexpr std::string_view kOwn =
    "own definition: plain geometry of the placed points";
constexpr std::string_view kStachurska =
    "A. Stachurska et al., Arch. Tierz. 51(6), 2008, 531-543 (published)";
constexpr std::string_view kLungwitz =
    "A. Lungwitz and J. W. Adams, A Text-Book of Horseshoeing, 1897 "
    "(published)";
constexpr std::string_view kAdams =
    "G. M. Baxter (ed.), Adams and Stashak's Lameness in Horses, 7th ed. 2020, "
    "p. 1092 (published)";
constexpr std::string_view kAdams89 =
    "G. M. Baxter (ed.), Adams and Stashak's Lameness in Horses, 7th ed. 2020, "
    "p. 89 (published)";
constexpr std::string_view kTurner =
    "T. A. Turner, Objective assessment of hoof balance (published)";
constexpr std::string_view kOGrady = "S. E. O'Grady, Hoof Angle (published)";
constexpr std::string_view kDyson =
    "S. J. Dyson et al., Vet. J. 190(3), 2011, 364-371 (published, abstract)";
constexpr std::string_view kFeif =
    "FEIF, How to measure the length of a hoof, 2010 (published)";
constexpr std::string_view kKolstrung =
    "R. Kolstrung et al., Med. Weter. 69(3), 2013, 181-186 (published, "
    "abstract)";
constexpr std::string_view kClayton =
    "H. M. Clayton et al., Aust. Vet. J. 89(8), 2011, 305-311 (published, "
    "abstract)";
constexpr std::string_view kParesCasanova =
    "P. M. Pares-Casanova and M. Oosterlinck, J. Equine Vet. Sci. 32, 2012, "
    "231-234 (published, read in a secondary text)";

constexpr std::array<MeasureInfo, kMeasureCount> kMeasures = {{
    {kBearingWidth,
     "bearing_width",
     "Width",
     kSolar,
     kMm,
     "Greatest width of the bearing edge, square to the frog axis.",
     kStachurska,
     true},
    {kBearingLength,
     "bearing_length",
     "Length",
     kSolar,
     kMm,
     "From the toe to the line through the two heel buttresses, along the frog "
     "axis.",
     kLungwitz,
     true},
    {kWidthToLength,
     "width_to_length",
     "Width to length",
     kSolar,
     Unit::kRatio,
     "Width divided by length.",
     kParesCasanova,
     false},
    {kHeelWidth,
     "heel_width",
     "Heel width",
     kSolar,
     kMm,
     "Between the two heel buttresses, square to the frog axis.",
     kStachurska,
     true},
    {kFrogLength,
     "frog_length",
     "Frog length",
     kSolar,
     kMm,
     "From the point of the frog to the line across its widest part, along the "
     "frog axis.",
     kTurner,
     true},
    {kFrogWidth,
     "frog_width",
     "Frog width",
     kSolar,
     kMm,
     "Across the widest part of the frog, square to the frog axis.",
     kTurner,
     true},
    {kFrogWidthToLength,
     "frog_width_to_length",
     "Frog width to length",
     kSolar,
     Unit::kRatio,
     "Frog width divided by frog length.",
     kTurner,
     false},
    {kToeToFrogApex,
     "toe_to_frog_apex",
     "Point of frog to toe",
     kSolar,
     kMm,
     "From the point of the frog to the toe, along the frog axis.",
     kCommonPractice,
     true},
    {kWidestToToe,
     "widest_to_toe",
     "Widest part to toe",
     kSolar,
     kMm,
     "From the line across the widest part to the toe, along the frog axis.",
     kAdams,
     true},
    {kWidestToHeel,
     "widest_to_heel",
     "Widest part to heels",
     kSolar,
     kMm,
     "From the line through the heel buttresses to the widest part, along the "
     "frog axis.",
     kAdams,
     true},
    {kToeShare,
     "toe_share",
     "Share before the widest part",
     kSolar,
     Unit::kPercent,
     "Widest part to toe, as a share of the length.",
     kAdams,
     false},
    {kLeftHalfWidth,
     "left_half_width",
     "Left half width",
     kSolar,
     kMm,
     "From the frog axis to the widest point on the horse's left.",
     kLungwitz,
     true},
    {kRightHalfWidth,
     "right_half_width",
     "Right half width",
     kSolar,
     kMm,
     "From the frog axis to the widest point on the horse's right.",
     kLungwitz,
     true},
    {kHalfWidthDifference,
     "half_width_difference",
     "Left less right half width",
     kSolar,
     kMm,
     "Left half width less right half width.",
     kLungwitz,
     true},
    {kOutlineAsymmetry,
     "outline_asymmetry",
     "Unevenness of the outline",
     kSolar,
     Unit::kPercent,
     "Area of the outline that its mirror image in the frog axis does not "
     "cover, as a share of the whole area.",
     kOwn,
     false},
    {kBearingArea,
     "bearing_area",
     "Area",
     kSolar,
     Unit::kSquareMillimetre,
     "Area within the bearing edge.",
     kParesCasanova,
     true},
    {kToeAngle,
     "toe_angle",
     "Toe angle",
     kLateral,
     Unit::kDegree,
     "Between the straight part of the wall at the toe and the bearing line.",
     kOGrady,
     false},
    {kHeelAngle,
     "heel_angle",
     "Heel angle",
     kLateral,
     Unit::kDegree,
     "Between the wall at the heel, from hairline to ground, and the bearing "
     "line.",
     kAdams,
     false},
    {kToeHeelDifference,
     "toe_heel_difference",
     "Toe less heel angle",
     kLateral,
     Unit::kDegree,
     "Toe angle less heel angle: above zero if the heel is the lower.",
     kTurner,
     false},
    {kDorsalWallLength,
     "dorsal_wall_length",
     "Toe length",
     kLateral,
     kMm,
     "Straight from the hairline at the toe to the ground edge.",
     kFeif,
     true},
    {kHeelWallLength,
     "heel_wall_length",
     "Heel length",
     kLateral,
     kMm,
     "Straight from the hairline at the heel to the ground edge.",
     kStachurska,
     true},
    {kToeToHeelLength,
     "toe_to_heel_length",
     "Toe to heel length",
     kLateral,
     Unit::kRatio,
     "Toe length divided by heel length.",
     kAdams89,
     false},
    {kToeHeight,
     "toe_height",
     "Toe height",
     kLateral,
     kMm,
     "Height of the hairline at the toe above the bearing line.",
     kDyson,
     true},
    {kHeelHeight,
     "heel_height",
     "Heel height",
     kLateral,
     kMm,
     "Height of the hairline at the heel above the bearing line.",
     kDyson,
     true},
    {kHeelToToeHeight,
     "heel_to_toe_height",
     "Heel to toe height",
     kLateral,
     Unit::kRatio,
     "Heel height divided by toe height.",
     kDyson,
     false},
    {kHairlineAngle,
     "hairline_angle",
     "Hairline angle",
     kLateral,
     Unit::kDegree,
     "Between the line from hairline at the toe to hairline at the heel and "
     "the bearing line: above zero if it falls towards the heel.",
     kKolstrung,
     false},
    {kSupportLength,
     "support_length",
     "Support length",
     kLateral,
     kMm,
     "From the foremost to the rearmost ground contact.",
     kClayton,
     true},
    {kPasternAngle,
     "pastern_angle",
     "Pastern angle",
     kLateral,
     Unit::kDegree,
     "Between the front of the pastern and the bearing line.",
     kOGrady,
     false},
    {kHoofPasternDifference,
     "hoof_pastern_difference",
     "Hoof less pastern angle",
     kLateral,
     Unit::kDegree,
     "Toe angle less pastern angle: below zero is broken back, above zero "
     "broken forward.",
     kTurner,
     false},
    {kDorsalWallDeparture,
     "dorsal_wall_departure",
     "Flare or dish of the toe",
     kLateral,
     kMm,
     "Largest gap between the wall at the toe and the line of its straight "
     "part: above zero outwards, below zero inwards.",
     kOwn,
     true},
}};

constexpr bool InOrder() {
  for (std::size_t i = 0; i < kMeasures.size(); ++i) {
    if (static_cast<std::size_t>(kMeasures[i].id) != i) return false;
  }
  return true;
}
static_assert(InOrder(), "InfoOf finds a measure by its place");

}  // namespace

std::string_view UnitName(Unit unit) {
  switch (unit) {
    case Unit::kMillimetre:
      return "mm";
    case Unit::kSquareMillimetre:
      return "mm2";
    case Unit::kDegree:
      return "deg";
    case Unit::kPercent:
      return "%";
    case Unit::kRatio:
      return "1";
  }
  throw std::invalid_argument("UnitName: not a Unit");
}

std::span<const MeasureInfo> AllMeasures() {
  return kMeasures;
}

const MeasureInfo& InfoOf(MeasureId id) {
  return kMeasures.at(static_cast<std::size_t>(id));
}

std::optional<MeasureId> ParseMeasure(std::string_view key) {
  for (const MeasureInfo& info : kMeasures) {
    if (info.key == key) return info.id;
  }
  return std::nullopt;
}

}  // namespace plumbfoot::measure
