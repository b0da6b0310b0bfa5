// SPDX-License-Identifier: Apache-2.0
/// @file
/// The trim that a farrier asks for: what comes off, what the foot then
/// measures, the same by a wedge, and how much of it one trim should do.
///
/// A trim is a new bearing line: `toe_off_mm` above the present one at the
/// toe's ground contact and `heel_off_mm` above it at the heel's. The hoof
/// turns by atan((toe_off - heel_off) / support length) against the ground;
/// toe and heel meet the new line where their walls do. The pastern keeps its
/// angle to the ground, as it does on wedges, which bend the coffin and pastern
/// joints and not the fetlock (H. Chateau et al., Equine Vet. J. 38, 2006,
/// 164-169; published, read in a secondary text).
///
/// Sole depth can't be seen in a photo: a plan knows nothing of it.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/measure/measures.h"
#include "plumbfoot/measure/plain.h"

namespace plumbfoot::fit {

/// The published mean change of one trim: toe length -3.0 mm and toe angle
/// +1.35 degrees, fore feet, n = 10 (Iran J. Vet. Surg., article 79374; the
/// differences are derived from the printed means 8.83 and 8.53 cm, 50.05 and
/// 51.40 degrees). Ten feet, whose spread (1.2 cm, 2.2 degrees) is wider than
/// the change itself: a plausible size, and no limit.
inline constexpr double kMeanTrimToeMm = 3.0;
inline constexpr double kMeanTrimDeg = 1.35;

struct TrimStep {
  double toe_off_mm = 0.0;   ///< Square to the present bearing line.
  double heel_off_mm = 0.0;  ///< As toe_off_mm.

  friend constexpr bool operator==(const TrimStep&, const TrimStep&) = default;
};

enum class TargetKind {
  kToeAngle,    ///< Value: the toe angle [deg].
  kAlignment,   ///< Value: hoof less pastern angle [deg], 0 is straight.
  kHeelHeight,  ///< Value: the heel's height [mm]; the toe angle stays.
};

struct Target {
  TargetKind kind = TargetKind::kToeAngle;
  double value = 0.0;
};

/// The measure that a target speaks of.
measure::MeasureId MeasureOf(TargetKind kind);

/// A foot before the trim. Views are in their own foot frames.
struct FootToTrim {
  std::optional<measure::PlainView> solar;
  std::optional<measure::PlainView> lateral;
  /// Standard uncertainties of the lateral points [mm], along x and y;
  /// nothing: exact.
  std::array<geometry::Covariance<geometry::FootFrame>, geometry::kPointCount>
      lateral_covariance{};
  measure::Outcomes outcomes;  ///< As measured, with their uncertainties.
};

struct TrimOptions {
  std::optional<Target> target;  ///< Nothing: take off `even_off_mm` only.
  double even_off_mm = 0.0;      ///< Off toe and heel alike, besides.
  /// All of it at once, though it be more than the published mean of one trim.
  bool whole_at_once = false;
  int trials = 500;
  std::uint64_t seed = 1;
};

/// The side view after a step, in its new foot frame. A step of nothing gives
/// the view back.
/// @throws std::invalid_argument without ground points, or for a step below
///   zero.
measure::PlainView TrimLateral(const measure::PlainView& lateral,
                               TrimStep step);

/// Angles of the walls against the ground that the outline runs down along.
struct WallAngles {
  double toe_deg = 50.0;
  double heel_deg = 50.0;
  /// 80 to 85 on both sides: common practice.
  double side_deg = 82.5;
};

/// The sole after a step: each place of the edge moves in by the height that
/// comes off there, by the slope of the wall there; the heels move back. What
/// comes off runs evenly from heel to toe.
measure::PlainView TrimSolar(const measure::PlainView& solar,
                             const WallAngles& walls,
                             TrimStep step);

/// A full-length wedge that does the same [derived]: it turns toe and heel
/// angle by its own and leaves their difference.
struct Wedge {
  double degrees = 0.0;  ///< Above zero: the heels are raised.
  double rise_mm = 0.0;  ///< Of the raised end: S tan(a), S the support length.
};
Wedge WedgeFor(double degrees, double support_mm);

struct TrimPlan {
  std::optional<Target> target;
  double now = 0.0;        ///< The target's measure, before.
  double now_sigma = 0.0;  ///< Its standard uncertainty.
  /// Can a trim do it? Horn can't be put back: a heel isn't raised by trimming.
  bool reachable = true;
  TrimStep whole;
  /// Standard uncertainty of what comes off, all of it from the photo's.
  double off_sigma_mm = 0.0;
  TrimStep this_time;  ///< What is proposed for this trim.
  int visits = 1;      ///< Trims of this size that the whole takes.
  /// Is `this_time` more than the published mean of one trim?
  bool beyond_mean = false;
  double toe_shortens_mm = 0.0;  ///< Along the wall, this time.
  double turns_deg = 0.0;        ///< The toe angle's change, this time.
  measure::Outcomes after;       ///< After `this_time`, every measure.
  measure::Outcomes after_whole;
  std::optional<measure::PlainView> solar;    ///< After `this_time`.
  std::optional<measure::PlainView> lateral;  ///< After `this_time`.
  std::optional<Wedge> wedge;                 ///< In place of the whole trim.
  /// The heel's hairline isn't placed: its wall is taken to be parallel to the
  /// toe's.
  bool heel_taken_parallel = false;
};

/// Least horn for the target: a steeper toe comes off the toe alone, a flatter
/// one off the heels alone, a lower heel evenly.
///
/// Value after: as measured + the change of the geometry, so that a step of
/// nothing changes nothing. Uncertainty: that of the measure before and that of
/// the change, which comes of the points' covariances and of the rasp (0.5 mm
/// at either end, chosen), by Monte Carlo.
///
/// @return the plan; or kPointMissing (no side view in millimetres, or what the
///   target speaks of was not measured), kImplausible (a target that no hoof
///   has, or more horn than there is).
Result<TrimPlan> PlanTrim(const FootToTrim& foot, const TrimOptions& options);

}  // namespace plumbfoot::fit
