// SPDX-License-Identifier: Apache-2.0
/// @file
/// Where the nails go, and where they do not. Solar foot frame [mm].
///
/// Rules, each followed or said not to be:
/// - Depth: the hole's middle lies as far from the edge as the wall is thick,
///   on the white line; toe holes lean inwards, heel holes stand straight
///   (A. Lungwitz and J. W. Adams, A Text-Book of Horseshoeing, 1897;
///   published). How far they lean is common practice: 10 degrees at the first.
/// - From just behind the bend of the toe to the widest part, none behind it
///   (American Farriers Journal 5588, 11553; published, trade). Fore: in the
///   front half, hind: in the front two thirds; none at the middle of the toe
///   (Lungwitz; USDA Special Report on Diseases of the Horse; published).
/// - Pitch 25 to 38 mm (1 to 1.5 in); small feet 4 to 5, medium 5 to 7, heavy 8
///   (W. Hunting, The Art of Horse-Shoeing, 1895; published). Three inside and
///   four outside is well; a clip counts as two (Lungwitz; American Farriers
///   Journal 5588).
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string_view>
#include <variant>
#include <vector>

#include "plumbfoot/fit/sole.h"

namespace plumbfoot::fit {

inline constexpr double kLeastPitch = 25.0;
inline constexpr double kMostPitch = 38.0;
inline constexpr int kSlotsABranch = 4;
inline constexpr std::size_t kSlots = 8;
static_assert(kSlots == 2 * std::size_t{kSlotsABranch});

enum class Clips { kNone, kToe, kSide };
/// "none", "toe", "side": as in files.
std::string_view ClipsName(Clips clips);

struct NailOptions {
  /// Nails in all, 0 to 8; nothing: by the width of the foot.
  std::optional<int> count;
  /// Thickness of the wall at the toe and at the widest part [mm]; between
  /// them it changes evenly. About 3/8 in in the mean (American Farriers
  /// Journal 193; published, trade).
  double wall_toe_mm = 9.5;
  double wall_quarter_mm = 9.5;
  Clips clips = Clips::kNone;
  /// Of the shoe; a clip is as high as the shoe is thick, higher on a hind
  /// shoe (Special Report; published).
  double thickness_mm = 10.0;
};

/// What to mind at a hole.
enum class NailWarning {
  kThinWall,         ///< The wall is thinner than 7 mm there.
  kStraightQuarter,  ///< The edge hardly bends there: a steep, thin wall.
};
/// "thin_wall", "straight_quarter".
std::string_view NailWarningName(NailWarning warning);

struct Nail {
  geometry::FootPoint at;      ///< Middle of the hole.
  geometry::FootVector along;  ///< The hole's long side, towards the heel.
  double from_toe_mm = 0.0;    ///< From the toe's middle, along the edge.
  double depth_mm = 0.0;       ///< From the foot's edge: the wall's thickness.
  double lean_deg = 0.0;       ///< Inwards; 0 is straight.
  std::vector<NailWarning> warnings;
};

/// Why a place stays without a nail.
enum class LeftOut {
  kNotNeeded,   ///< So many are not driven into a foot of this size.
  kNoRoom,      ///< It would stand behind the widest part, or too close.
  kAtClip,      ///< A clip is there.
  kOutsideWeb,  ///< The hole would break out of the shoe's web.
};
/// "not_needed", "no_room", "at_clip", "outside_web".
std::string_view LeftOutName(LeftOut reason);

/// One of the four places of a branch.
struct Slot {
  Side side = Side::kLeft;
  int number = 1;  ///< 1 at the toe to 4.
  std::variant<Nail, LeftOut> outcome = LeftOut::kNotNeeded;

  const Nail* nail() const { return std::get_if<Nail>(&outcome); }
};

struct Clip {
  geometry::FootPoint at;      ///< Middle of its foot, on the edge.
  geometry::FootVector along;  ///< Along the edge.
  double width_mm = 0.0;
  double height_mm = 0.0;
};

struct NailPlan {
  std::array<Slot, kSlots> slots;  ///< Left 1-4, right 1-4.
  std::vector<Clip> clips;
  /// On each side: where the last nail stands, along Sole::wall from the left
  /// heel [mm]; the widest part where there is none. Behind it the shoe is
  /// full.
  double last_left_along = 0.0;
  double last_right_along = 0.0;

  int placed() const;
  /// Nails, and two for each clip.
  int holding() const;
};

/// How many nails a foot of this width takes [mm]: 4, 6 or 8.
int NailsFor(double width_mm);

/// @throws std::invalid_argument for a count outside 0 to 8 or a thickness not
///   above zero: the caller has checked what the user gave.
NailPlan PlaceNails(const Sole& sole, const NailOptions& options);

/// A hole's four corners. CHOSEN: 9 x 4.5 mm, of a usual nail's neck.
inline constexpr double kHoleLength = 9.0;
inline constexpr double kHoleWidth = 4.5;
std::array<geometry::FootPoint, 4> HoleCorners(const Nail& nail);

}  // namespace plumbfoot::fit
