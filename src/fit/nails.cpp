// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/nails.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "fit/edge.h"
#include "plumbfoot/geometry/line.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

/// CHOSEN: the bend of the toe ends where the edge has turned so far from
/// straight across; on a round toe of 65 mm the first nail stands 34 mm from
/// its middle.
constexpr double kToeBendDeg = 30.0;
/// CHOSEN: on a pointed toe the edge turns at once; no nearer to the middle
/// than this, so that two toe nails stand wider than the least pitch.
constexpr double kToeClear = 20.0;
/// CHOSEN: the published pitch is 25 to 38 mm; in the middle of it the nails
/// stay well forward, where they hinder the heels least.
constexpr double kPitch = 32.0;
/// CHOSEN: common practice; toe holes lean in, by how much isn't published.
constexpr double kToeLeanDeg = 10.0;
/// CHOSEN: a nail's shank and a finger's breadth of horn.
constexpr double kThinWall = 7.0;
/// CHOSEN: less than 9 degrees over 4 cm is straight to the eye.
constexpr double kStraightRadius = 250.0;
constexpr double kStraightReach = 20.0;
/// CHOSEN: usual clips, as a share of the foot's width; side clips are the
/// narrower.
constexpr double kToeClipOverWidth = 0.17;
constexpr double kSideClipOverWidth = 0.12;
/// CHOSEN: "higher on hind shoes" is published without a figure.
constexpr double kHindClipHigher = 1.25;
/// CHOSEN: steel between a clip's root and a hole.
constexpr double kClipClear = 1.5;
/// CHOSEN: Hunting gives no sizes for small, medium and heavy feet: below 115
/// mm a pony's, from 165 mm on a draught horse's.
constexpr double kSmallFoot = 115.0;
constexpr double kHeavyFoot = 165.0;

/// The white line of one branch: from the toe's middle towards the heel.
struct Branch {
  Side side = Side::kLeft;
  FootPolyline line;          ///< Where holes may stand.
  std::vector<double> along;  ///< The same corners along Sole::wall.
  double first = 0.0;         ///< Along `line`.
  double last = 0.0;          ///< Along `line`; below `first`: no room.
};

double WallAt(const NailOptions& options, double part) {
  return options.wall_toe_mm +
         std::clamp(part, 0.0, 1.0) *
             (options.wall_quarter_mm - options.wall_toe_mm);
}

Branch BranchOf(const Sole& sole,
                const Walk& wall,
                double toe,
                const NailOptions& options,
                Side side) {
  const double way = side == Side::kLeft ? -1.0 : 1.0;
  const double reach = side == Side::kLeft ? toe : wall.length() - toe;
  const double widest = std::abs(wall.Nearest(sole.widest(side)) - toe);
  const double heel_x = (sole.heel_left.x + sole.heel_right.x) / 2;
  const double share = geometry::IsFore(sole.foot) ? 1.0 / 2 : 1.0 / 3;
  const double rearmost =
      std::max(sole.widest(side).x, heel_x + share * sole.length);

  const double clip = options.clips == Clips::kToe
                          ? kToeClipOverWidth * sole.width / 2 +
                                kHoleLength / 2 + 2 * kClipClear
                          : 0.0;

  Branch branch;
  branch.side = side;
  bool behind_bend = false;
  double length = 0.0;
  // Steps of half a millimetre: no rule is finer.
  for (double s = 0.0; s <= reach; s += 0.5) {
    const double along = toe + way * s;
    const FootVector out = wall.Outwards(along, kDirectionReach);
    const FootPoint edge = wall.At(along);
    const double depth = WallAt(options, widest > 0 ? s / widest : 1.0);
    const FootPoint at = edge - depth * out;
    if (!branch.line.empty()) {
      length += geometry::Distance(branch.line.back(), at);
    }
    branch.line.push_back(at);
    branch.along.push_back(along);
    const double turned =
        std::atan2(SignOf(side) * out.y, out.x) * 180 / std::numbers::pi;
    if (!behind_bend && turned >= kToeBendDeg &&
        s >= std::max(kToeClear, clip)) {
      behind_bend = true;
      branch.first = length;
      branch.last = length - 1;
    }
    // The hole's rear end counts as well.
    const bool allowed =
        s <= widest && std::min(edge.x, at.x) - kHoleLength / 2 >= rearmost;
    if (behind_bend && allowed) branch.last = length;
  }
  if (!behind_bend) branch.last = -1.0;
  return branch;
}

/// A hole `at` along the white line.
Nail NailAt(const Sole& sole,
            const Walk& wall,
            double toe,
            const NailOptions& options,
            const Branch& branch,
            double at) {
  const std::vector<double> lengths = LengthsTo(branch.line);
  // The last corner that is not behind it, so that no rule is overstepped.
  const auto next = std::upper_bound(lengths.begin(), lengths.end(), at + 1e-9);
  const auto i = static_cast<std::size_t>(
      std::max<std::ptrdiff_t>(next - lengths.begin() - 1, 0));
  const double along = branch.along[i];
  const double widest = std::abs(wall.Nearest(sole.widest(branch.side)) - toe);
  const double first = std::abs(
      branch.along[static_cast<std::size_t>(
          std::lower_bound(lengths.begin(), lengths.end(), branch.first) -
          lengths.begin())] -
      toe);
  Nail nail;
  nail.at = branch.line[i];
  const double way = branch.side == Side::kLeft ? -1.0 : 1.0;
  nail.along = way * wall.Direction(along, kDirectionReach);
  nail.from_toe_mm = std::abs(along - toe);
  nail.depth_mm = WallAt(options, nail.from_toe_mm / widest);
  const double part =
      widest > first ? (nail.from_toe_mm - first) / (widest - first) : 1.0;
  nail.lean_deg = kToeLeanDeg * (1 - std::clamp(part, 0.0, 1.0));
  if (nail.depth_mm < kThinWall) {
    nail.warnings.push_back(NailWarning::kThinWall);
  }
  const FootVector before =
      wall.Direction(along - kStraightReach / 2, kStraightReach / 2);
  const FootVector after =
      wall.Direction(along + kStraightReach / 2, kStraightReach / 2);
  const double turn = std::abs(geometry::AngleFromTo(before, after).radians());
  if (!(turn * kStraightRadius > kStraightReach)) {
    nail.warnings.push_back(NailWarning::kStraightQuarter);
  }
  return nail;
}

Clip ClipAt(const Sole& sole,
            const Walk& wall,
            const NailOptions& options,
            double along,
            double width) {
  return {wall.At(along),
          wall.Direction(along, kDirectionReach),
          width,
          options.thickness_mm *
              (geometry::IsFore(sole.foot) ? 1.0 : kHindClipHigher)};
}

bool AtClip(const Nail& nail, const std::vector<Clip>& clips) {
  return std::any_of(clips.begin(), clips.end(), [&nail](const Clip& clip) {
    // Along the edge only: a clip stands outside of the holes' line.
    const double off = std::abs(geometry::Dot(nail.at - clip.at, clip.along));
    const double far = geometry::Distance(nail.at, clip.at);
    return far < 3 * clip.width_mm &&
           off < clip.width_mm / 2 + kHoleLength / 2 + kClipClear;
  });
}

}  // namespace

std::string_view ClipsName(Clips clips) {
  switch (clips) {
    case Clips::kNone:
      return "none";
    case Clips::kToe:
      return "toe";
    case Clips::kSide:
      return "side";
  }
  throw std::invalid_argument("ClipsName: not Clips");
}

std::string_view NailWarningName(NailWarning warning) {
  switch (warning) {
    case NailWarning::kThinWall:
      return "thin_wall";
    case NailWarning::kStraightQuarter:
      return "straight_quarter";
  }
  throw std::invalid_argument("NailWarningName: not a NailWarning");
}

std::string_view LeftOutName(LeftOut reason) {
  switch (reason) {
    case LeftOut::kNotNeeded:
      return "not_needed";
    case LeftOut::kNoRoom:
      return "no_room";
    case LeftOut::kAtClip:
      return "at_clip";
    case LeftOut::kOutsideWeb:
      return "outside_web";
  }
  throw std::invalid_argument("LeftOutName: not a LeftOut");
}

int NailPlan::placed() const {
  return static_cast<int>(
      std::count_if(slots.begin(), slots.end(), [](const Slot& slot) {
        return slot.nail() != nullptr;
      }));
}

int NailPlan::holding() const {
  return placed() + 2 * static_cast<int>(clips.size());
}

int NailsFor(double width_mm) {
  if (width_mm < kSmallFoot) return 4;
  return width_mm < kHeavyFoot ? 6 : 8;
}

NailPlan PlaceNails(const Sole& sole, const NailOptions& options) {
  const int count = options.count.value_or(NailsFor(sole.width));
  if (count < 0 || count > 2 * kSlotsABranch || !(options.wall_toe_mm > 0) ||
      !(options.wall_quarter_mm > 0)) {
    throw std::invalid_argument("PlaceNails: no such number or wall");
  }
  const Walk wall(sole.wall);
  const double toe = ToeCentre(sole, wall);
  NailPlan plan;
  if (options.clips == Clips::kToe) {
    plan.clips.push_back(
        ClipAt(sole, wall, options, toe, kToeClipOverWidth * sole.width));
  }
  for (const Side side : {Side::kLeft, Side::kRight}) {
    const Branch branch = BranchOf(sole, wall, toe, options, side);
    // Of an odd number, the outer branch takes one more.
    const int wanted =
        count / 2 + (side == OuterSide(sole.foot) ? count % 2 : 0);
    const double room = branch.last - branch.first;
    int fit = 0;
    if (room >= 0) {
      fit = std::min(kSlotsABranch,
                     1 + static_cast<int>(std::floor(room / kLeastPitch)));
    }
    const int driven = std::min(wanted, fit);
    const double pitch =
        driven > 1 ? std::min(room / (driven - 1), kPitch) : 0.0;
    const bool side_clip = options.clips == Clips::kSide && driven > 0;
    if (side_clip) {
      // CHOSEN: between the first two nails, which is where side clips sit.
      const double off =
          driven > 1 ? pitch / 2 : kSideClipOverWidth * sole.width;
      const Nail near =
          NailAt(sole, wall, toe, options, branch, branch.first + off);
      const double way = side == Side::kLeft ? -1.0 : 1.0;
      plan.clips.push_back(ClipAt(sole,
                                  wall,
                                  options,
                                  toe + way * near.from_toe_mm,
                                  kSideClipOverWidth * sole.width));
    }
    double last = wall.Nearest(sole.widest(side));
    bool any = false;
    for (int i = 0; i < kSlotsABranch; ++i) {
      const std::size_t first_slot = side == Side::kLeft ? 0 : kSlots / 2;
      Slot& slot = plan.slots[first_slot + static_cast<std::size_t>(i)];
      slot.side = side;
      slot.number = i + 1;
      if (i >= driven) {
        slot.outcome = i < wanted ? LeftOut::kNoRoom : LeftOut::kNotNeeded;
        continue;
      }
      Nail nail =
          NailAt(sole, wall, toe, options, branch, branch.first + i * pitch);
      if (AtClip(nail, plan.clips)) {
        slot.outcome = LeftOut::kAtClip;
        continue;
      }
      const double way = side == Side::kLeft ? -1.0 : 1.0;
      last = toe + way * nail.from_toe_mm;
      any = true;
      slot.outcome = std::move(nail);
    }
    if (!any) last = wall.Nearest(sole.widest(side));
    (side == Side::kLeft ? plan.last_left_along : plan.last_right_along) = last;
  }
  return plan;
}

std::array<FootPoint, 4> HoleCorners(const Nail& nail) {
  const FootVector half = (kHoleLength / 2) * nail.along;
  const FootVector side =
      (kHoleWidth / 2) * geometry::Perpendicular(nail.along);
  return {nail.at - half - side,
          nail.at + half - side,
          nail.at + half + side,
          nail.at - half + side};
}

}  // namespace plumbfoot::fit
