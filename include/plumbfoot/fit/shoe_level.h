// SPDX-License-Identifier: Apache-2.0
/// @file
/// A worn shoe seen from the side: does it lie level, or is it sprung?
///
/// No source with figures was found for either word; both are used here as
/// the trade uses them (common practice):
///
/// - A shoe is **level** when its ground edge is one straight line from the
///   toe's bend to the heel.
/// - It is **sprung** when the heel stands off that line, upwards: its branch
///   is bent, with air under the heel (the "rise", 5 mm before the end, whose
///   corner is rounded).
/// - The horn is **eased** where its bearing border stands off the shoe at the
///   heel ("gap"): what "springing the heels" does on purpose, and what a shoe
///   that works loose does by itself.
///
/// The straight ground line is the shoe's own: the line of its ground edge from
/// the toe's bend to just before the widest part, where it is nailed fast. The
/// ground of a yard is even to a millimetre at best; a shoe is straighter.
///
/// The branch that a photo shows lies before the measured middle plane: nothing
/// at the toe, half of the foot's width at the quarter, less again at the heel.
/// To a camera above the ground the edge of a level shoe therefore is a curve,
/// lower by h d / D where it is d nearer (camera at height h, distance D): 5 mm
/// at the quarter, 3 mm at the heel. Each place is put right by its depth, from
/// the outline of the sole. What is left of it is fitted: a lean of the card,
/// and what the camera's height is off, move the edge by a constant times the
/// depth.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::fit {

/// How far the branch that faces the camera lies before the middle plane.
struct BranchDepth {
  /// {part of the way from the toe (0) to the heel's end (1), depth [mm]}, from
  /// the toe backwards.
  std::vector<std::array<double, 2>> places;
  /// Standard uncertainty of the depth's course [mm], its size apart.
  double sigma_mm = 0.0;
  /// The same of how far back each place lies.
  double along_sigma_mm = 0.0;

  /// Beyond the ends: as at the ends.
  double At(double part) const;
};

/// The left or the right branch of a sole's outline, the shoe's or the horn's.
/// @param outline  Solar foot frame, closed [mm].
/// @param is_shoes  Else it is the bare foot's, which the shoe stands out of by
///   some millimetres.
/// @return kTooFewPoints where that side has no outline.
Result<BranchDepth> BranchOfSole(const geometry::FootPolyline& outline,
                                 bool left,
                                 bool is_shoes);

/// The side view's ground in the measured plane.
struct SideFrame {
  geometry::CardPoint toe;    ///< The toe's ground contact.
  geometry::CardVector back;  ///< Unit vector from toe to heel.
  geometry::CardVector up;    ///< Unit vector, away from the ground.
  double length_mm = 0.0;     ///< From the toe to the shoe's heel's end.
  double length_sigma_mm = 0.0;
};

/// @param toe   The toe's ground contact in the photo.
/// @param heel  The heel's end as the photo shows it: on the near branch, or
///   where the middle plane's heel would appear.
/// @param heel_sigma_mm  Of its place along the ground.
/// @return kPointMissing if the photo doesn't show the plane there, or toe and
///   heel are no foot's length apart.
Result<SideFrame> SideFrameOf(const geometry::PlaneMap& map,
                              const BranchDepth& depth,
                              geometry::PhotoPoint toe,
                              geometry::PhotoPoint heel,
                              geometry::HeelPlane heel_plane,
                              double heel_sigma_mm);

/// Where the photo shows a place of the near branch.
/// @param back_mm    From the toe backwards.
/// @param height_mm  Over the straight ground line.
geometry::PhotoPoint OnBranch(const geometry::PlaneMap& map,
                              const SideFrame& frame,
                              const BranchDepth& depth,
                              double back_mm,
                              double height_mm);

/// Edges of the near branch in the photo, in order from toe to heel or back.
struct BranchEdges {
  geometry::PlacedCurve ground;               ///< The shoe's ground edge.
  std::optional<geometry::PlacedCurve> foot;  ///< Its edge to the foot.
  std::optional<geometry::PlacedCurve> horn;  ///< The horn's lower edge.
};

enum class LevelVerdict : std::uint8_t {
  kLevel,   ///< Surely within kLevelWithin of the straight line.
  kSprung,  ///< Surely higher.
  kLow,     ///< Surely lower: the heel is bent down, or the toe rolled.
  kUnsure,  ///< The photo can't tell.
};

/// "level", "sprung", "low", "unsure".
std::string_view LevelVerdictName(LevelVerdict verdict);

/// CHOSEN: past the rounding of the shoe's end; where the rise is told [mm].
inline constexpr double kHeelPlace = 5.0;

// CHOSEN: what a rasp takes in one stroke or two; an eye sees no less of a
// shoe on a level plate (from memory: there is no published figure).
inline constexpr double kLevelWithin = 1.0;  // [mm]

/// A length and how sure it is [mm].
struct LevelLength {
  double mm = 0.0;
  double standard_uncertainty = 0.0;
  double low95 = 0.0;
  double high95 = 0.0;
};

struct ShoeLevel {
  /// Of the ground edge over the straight ground line, kHeelPlace before its
  /// end.
  LevelLength rise;
  LevelVerdict verdict = LevelVerdict::kUnsure;
  /// Of the shoe's side, in its front half; nothing without its foot edge.
  std::optional<LevelLength> thickness;
  /// Between the shoe's foot edge and the horn at the heel; nothing without
  /// both edges.
  std::optional<LevelLength> gap;
  /// Where the ground edge of a level shoe would be in the photo, toe first.
  geometry::PhotoPolyline level_px;
  /// At the heel: on the straight line, and where the shoe's edge is.
  geometry::PhotoPoint line_heel_px;
  geometry::PhotoPoint shoe_heel_px;
  /// Root mean square of the edge about its fitted course [mm].
  double scatter_mm = 0.0;
};

/// Fits the branch's ground edge: a straight line and, behind the middle, a
/// bend of the third order from it; linear least squares with what is unknown
/// of the depth and the card's lean as further unknowns, whose expected sizes
/// are known (normal priors).
///
/// @return kTooFewPoints where the edge leaves too much of the front half or of
///   the heel open; kImplausible where it is no smooth edge, or, of edges that
///   were found, where the side isn't as high at the heel as in front: a shadow
///   below a sprung heel would make it look level.
Result<ShoeLevel> LevelOf(const geometry::PlaneMap& map,
                          const SideFrame& frame,
                          const BranchDepth& depth,
                          const BranchEdges& edges);

}  // namespace plumbfoot::fit
