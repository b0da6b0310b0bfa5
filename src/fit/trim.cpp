// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/trim.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <stdexcept>
#include <string>
#include <utility>

#include "plumbfoot/geometry/line.h"
#include "plumbfoot/geometry/polyline.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::fit {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;
using measure::Measured;
using measure::MeasureId;
using measure::PlainMeasures;
using measure::PlainView;

constexpr double kRad = std::numbers::pi / 180;

/// CHOSEN: a careful rasp leaves half a millimetre more or less at either end.
constexpr double kRaspSigma = 0.5;
/// CHOSEN: 80 to 85 degrees is common practice: 2 as a standard uncertainty.
constexpr double kSideSigmaDeg = 2.0;
/// CHOSEN: more than this off one end is no trim.
constexpr double kMostOff = 40.0;

void RequireStep(TrimStep step) {
  if (!(step.toe_off_mm >= 0) || !(step.heel_off_mm >= 0)) {
    throw std::invalid_argument("Trim: horn can't be put back");
  }
}

FootPoint Turned(FootPoint p, FootPoint about, double radians) {
  const FootVector d = p - about;
  const double c = std::cos(radians);
  const double s = std::sin(radians);
  return about + FootVector{c * d.x - s * d.y, s * d.x + c * d.y};
}

/// The wall's direction, upwards, over the part that comes off.
FootVector WallAtGround(const PlainView& lateral, double off) {
  const FootPoint toe = *lateral.at(PointId::kToeGround);
  if (lateral.dorsal_wall.size() >= 2) {
    // CHOSEN: over 5 mm at least, so that noise doesn't turn it.
    const double height = std::max(off, 5.0);
    for (auto p = lateral.dorsal_wall.rbegin(); p != lateral.dorsal_wall.rend();
         ++p) {
      if (p->y - lateral.dorsal_wall.back().y >= height) {
        return *p - lateral.dorsal_wall.back();
      }
    }
  }
  if (const auto& hairline = lateral.at(PointId::kToeHairline)) {
    return *hairline - toe;
  }
  return lateral.dorsal_wall.empty() ? FootVector{-1, 1}
                                     : lateral.dorsal_wall.front() - toe;
}

FootVector HeelWall(const PlainView& lateral) {
  if (const auto& hairline = lateral.at(PointId::kHeelHairline)) {
    return *hairline - *lateral.at(PointId::kHeelGround);
  }
  return WallAtGround(lateral, 0.0);
}

/// Where the line through `from` with the given direction meets the new bearing
/// line; `from` where they are parallel.
FootPoint Meet(FootPoint from,
               FootVector direction,
               const geometry::Line<geometry::FootFrame>& ground) {
  const auto wall = geometry::LineThrough(from, from + direction);
  if (!wall) return from;
  return geometry::Intersect(*wall, ground).value_or(from);
}

const Measured* MeasuredOf(const measure::Outcomes& outcomes, MeasureId id) {
  const auto found = outcomes.find(id);
  return found == outcomes.end() ? nullptr
                                 : std::get_if<Measured>(&found->second);
}

WallAngles WallsOf(const measure::Outcomes& outcomes) {
  WallAngles walls;
  if (const auto* toe = MeasuredOf(outcomes, MeasureId::kToeAngle)) {
    walls.toe_deg = toe->value;
  }
  const auto* heel = MeasuredOf(outcomes, MeasureId::kHeelAngle);
  walls.heel_deg = heel != nullptr ? heel->value : walls.toe_deg;
  return walls;
}

/// Both views after a step, as numbers.
struct Numbers {
  std::array<double, measure::kMeasureCount> values;
};

Numbers NumbersOf(const FootToTrim& foot,
                  const PlainView& lateral,
                  const WallAngles& walls,
                  TrimStep step) {
  Numbers numbers;
  numbers.values.fill(std::nan(""));
  const auto take = [&numbers](const PlainMeasures& measures) {
    for (const measure::MeasureInfo& info : measure::AllMeasures()) {
      if (info.view == measures.foot.view) {
        numbers.values[static_cast<std::size_t>(info.id)] =
            measures.value(info.id);
      }
    }
  };
  take(measure::MeasurePlain(TrimLateral(lateral, step)));
  if (foot.solar) {
    take(measure::MeasurePlain(TrimSolar(*foot.solar, walls, step)));
  }
  return numbers;
}

/// What a step changes of every measure.
Numbers DifferenceBy(const FootToTrim& foot,
                     const PlainView& lateral,
                     const WallAngles& walls,
                     TrimStep step) {
  const Numbers before = NumbersOf(foot, lateral, walls, {});
  Numbers after = NumbersOf(foot, lateral, walls, step);
  for (std::size_t i = 0; i < after.values.size(); ++i) {
    after.values[i] -= before.values[i];
  }
  return after;
}

/// How many published mean trims a step is.
double MeanTrims(const FootToTrim& foot, TrimStep step) {
  const Numbers by =
      DifferenceBy(foot, *foot.lateral, WallsOf(foot.outcomes), step);
  const auto of = [&by](MeasureId id) {
    const double value = by.values[static_cast<std::size_t>(id)];
    return std::isfinite(value) ? std::abs(value) : 0.0;
  };
  return std::max({of(MeasureId::kDorsalWallLength) / kMeanTrimToeMm,
                   of(MeasureId::kToeAngle) / kMeanTrimDeg,
                   step.toe_off_mm / kMeanTrimToeMm,
                   // No figure for the heels was found: the toe's.
                   step.heel_off_mm / kMeanTrimToeMm});
}

/// The same, and how surely.
struct Change {
  std::array<double, measure::kMeasureCount> by;
  std::array<double, measure::kMeasureCount> sigma;
};

Change ChangeBy(const FootToTrim& foot,
                TrimStep step,
                const TrimOptions& options) {
  const WallAngles walls = WallsOf(foot.outcomes);
  Change change{DifferenceBy(foot, *foot.lateral, walls, step).values, {}};
  change.sigma.fill(0.0);
  // Nothing is rasped: nothing is uncertain.
  if (step == TrimStep{}) return change;

  geometry::Random random(options.seed);
  std::array<double, measure::kMeasureCount> squares{};
  std::array<int, measure::kMeasureCount> counts{};
  for (int trial = 0; trial < options.trials; ++trial) {
    PlainView drawn = *foot.lateral;
    for (std::size_t i = 0; i < drawn.points.size(); ++i) {
      if (!drawn.points[i]) continue;
      const auto& c = foot.lateral_covariance[i];
      const double sx = std::sqrt(std::max(0.0, c.xx));
      const double a = random.Normal();
      const double b = random.Normal();
      const double across = sx > 0 ? c.xy / sx : 0.0;
      *drawn.points[i] =
          *drawn.points[i] +
          FootVector{sx * a,
                     across * a +
                         std::sqrt(std::max(0.0, c.yy - across * across)) * b};
    }
    WallAngles its_walls = walls;
    its_walls.side_deg += random.Normal(0, kSideSigmaDeg);
    // At an end that isn't rasped, there is nothing to do more or less.
    const auto rasped = [&random](double off) {
      const double more = random.Normal(0, kRaspSigma);
      return off > 0 ? std::max(0.0, off + more) : 0.0;
    };
    const TrimStep done{rasped(step.toe_off_mm), rasped(step.heel_off_mm)};
    const Numbers its = DifferenceBy(foot, drawn, its_walls, done);
    for (std::size_t i = 0; i < squares.size(); ++i) {
      const double d = its.values[i] - change.by[i];
      if (!std::isfinite(d)) continue;
      squares[i] += d * d;
      ++counts[i];
    }
  }
  for (std::size_t i = 0; i < squares.size(); ++i) {
    // About the value: what the trials are pushed by counts as well.
    if (counts[i] > 0) change.sigma[i] = std::sqrt(squares[i] / counts[i]);
  }
  return change;
}

measure::Outcomes After(const measure::Outcomes& before, const Change& change) {
  measure::Outcomes after = before;
  for (auto& [id, outcome] : after) {
    auto* m = std::get_if<Measured>(&outcome);
    if (m == nullptr) continue;
    const auto i = static_cast<std::size_t>(id);
    if (!std::isfinite(change.by[i])) {
      outcome = measure::NotMeasured{"the trimmed shape does not give it"};
      continue;
    }
    const double more = 1.96 * change.sigma[i];
    const double value = m->value + change.by[i];
    m->low95 = value - std::hypot(m->value - m->low95, more);
    m->high95 = value + std::hypot(m->high95 - m->value, more);
    m->value = value;
    m->standard_uncertainty =
        std::hypot(m->standard_uncertainty, change.sigma[i]);
    const measure::MeasureInfo& info = measure::InfoOf(id);
    // A least of zero where there is nothing below.
    if (info.unit != measure::Unit::kDegree &&
        id != MeasureId::kHalfWidthDifference &&
        id != MeasureId::kDorsalWallDeparture) {
      m->low95 = std::max(0.0, m->low95);
    }
  }
  return after;
}

/// The least x in [0, most] at which `over(x)` reaches zero from below, by
/// halving; nothing if it doesn't.
std::optional<double> Reach(const std::function<double(double)>& over,
                            double most) {
  double low = 0.0;
  double high = most;
  if (!(over(low) < 0)) return 0.0;
  if (!(over(high) >= 0)) return std::nullopt;
  for (int i = 0; i < 60; ++i) {
    const double middle = (low + high) / 2;
    (over(middle) < 0 ? low : high) = middle;
  }
  return high;
}

Refusal NotMeasuredYet(TargetKind kind) {
  const std::string what(measure::InfoOf(MeasureOf(kind)).name);
  return {RefusalCode::kPointMissing,
          what + " was not measured: there is nothing to plan from.",
          "Place its points in points.json, and measure again with --points."};
}

Refusal NoSuchTarget(const std::string& range) {
  return {RefusalCode::kImplausible,
          "No hoof has that: " + range + " is asked for.",
          "Ask for a toe angle, an alignment or a heel height that the foot "
          "could have."};
}

}  // namespace

MeasureId MeasureOf(TargetKind kind) {
  switch (kind) {
    case TargetKind::kToeAngle:
      return MeasureId::kToeAngle;
    case TargetKind::kAlignment:
      return MeasureId::kHoofPasternDifference;
    case TargetKind::kHeelHeight:
      return MeasureId::kHeelHeight;
  }
  throw std::invalid_argument("MeasureOf: not a TargetKind");
}

PlainView TrimLateral(const PlainView& lateral, TrimStep step) {
  RequireStep(step);
  const auto& toe = lateral.at(PointId::kToeGround);
  const auto& heel = lateral.at(PointId::kHeelGround);
  if (!toe || !heel) throw std::invalid_argument("TrimLateral: no ground");
  if (step == TrimStep{}) return lateral;
  const FootPoint at_toe = *toe + FootVector{0, step.toe_off_mm};
  const FootPoint at_heel = *heel + FootVector{0, step.heel_off_mm};
  const auto ground = geometry::LineThrough(at_heel, at_toe);
  if (!ground) throw std::invalid_argument("TrimLateral: no ground");
  PlainView trimmed = lateral;
  trimmed.at(PointId::kToeGround) =
      Meet(*toe, WallAtGround(lateral, step.toe_off_mm), *ground);
  trimmed.at(PointId::kHeelGround) = Meet(*heel, HeelWall(lateral), *ground);

  // What of the wall stays: no lower above the new line than the wall as it was
  // placed ended above the old one.
  double lowest = 0.0;
  for (const FootPoint& p : lateral.dorsal_wall) {
    lowest = std::min(lowest, p.y - toe->y);
  }
  FootPolyline wall;
  for (const FootPoint& p : lateral.dorsal_wall) {
    const double above = geometry::SignedDistance(*ground, p);
    if (above < lowest) {
      if (!wall.empty()) {
        const double last = geometry::SignedDistance(*ground, wall.back());
        wall.push_back(wall.back() +
                       ((last - lowest) / (last - above)) * (p - wall.back()));
      }
      break;
    }
    wall.push_back(p);
  }
  trimmed.dorsal_wall = std::move(wall);

  // The new ground is level: the pastern keeps its angle to it.
  const double turn = std::atan2(ground->direction.y, ground->direction.x);
  const auto& hairline = lateral.at(PointId::kToeHairline);
  const auto& lower = lateral.at(PointId::kPasternLower);
  const auto& pivot = hairline ? hairline : lower;
  for (const PointId id : {PointId::kPasternLower, PointId::kPasternUpper}) {
    if (trimmed.at(id) && pivot) {
      trimmed.at(id) = Turned(*trimmed.at(id), *pivot, turn);
    }
  }
  return measure::MeasurePlain(trimmed).foot;
}

PlainView TrimSolar(const PlainView& solar,
                    const WallAngles& walls,
                    TrimStep step) {
  RequireStep(step);
  if (step == TrimStep{} || solar.outline.size() < 3) return solar;
  double front = 0.0;
  for (const FootPoint& p : solar.outline) front = std::max(front, p.x);
  const auto off = [&](double x) {
    const double part = front > 0 ? std::clamp(x / front, 0.0, 1.0) : 0.0;
    return step.heel_off_mm + part * (step.toe_off_mm - step.heel_off_mm);
  };
  const auto cot = [](double degrees) { return 1 / std::tan(degrees * kRad); };
  // The walls before, beside and behind slope as seen along the axis and across
  // it; between them the slope goes with the square of the normal, as that of
  // a cone does.
  const auto slope = [&](FootVector out) {
    const double along = out.x * std::abs(out.x);
    return (along > 0 ? along * cot(walls.toe_deg)
                      : along * cot(walls.heel_deg)) +
           out.y * out.y * cot(walls.side_deg);
  };
  PlainView trimmed = solar;
  const bool clockwise = [&solar] {
    double twice = 0.0;
    for (std::size_t i = 1; i + 1 < solar.outline.size(); ++i) {
      twice += geometry::Cross(solar.outline[i] - solar.outline[0],
                               solar.outline[i + 1] - solar.outline[0]);
    }
    return twice < 0;
  }();
  const auto normals =
      geometry::Normals(solar.outline, geometry::Ends::kClosed);
  for (std::size_t i = 0; i < trimmed.outline.size(); ++i) {
    const FootVector out = clockwise ? normals[i] : -normals[i];
    FootPoint& p = trimmed.outline[i];
    p = p - (off(p.x) * slope(out)) * out;
  }
  if (auto& toe = trimmed.at(PointId::kToe)) {
    toe->x -= off(toe->x) * cot(walls.toe_deg);
  }
  for (const PointId id : {PointId::kHeelLeft, PointId::kHeelRight}) {
    if (auto& heel = trimmed.at(id)) {
      heel->x -= step.heel_off_mm * cot(walls.heel_deg);
    }
  }
  return measure::MeasurePlain(trimmed).foot;
}

Wedge WedgeFor(double degrees, double support_mm) {
  return {degrees, support_mm * std::tan(std::abs(degrees) * kRad)};
}

Result<TrimPlan> PlanTrim(const FootToTrim& foot, const TrimOptions& options) {
  const bool asked = options.target || options.even_off_mm > 0;
  TrimPlan plan;
  plan.target = options.target;
  plan.after = foot.outcomes;
  plan.after_whole = foot.outcomes;
  plan.solar = foot.solar;
  plan.lateral = foot.lateral;
  if (!asked) return plan;
  if (!(options.even_off_mm >= 0) || !(options.even_off_mm < kMostOff)) {
    return NoSuchTarget("taking off less than nothing, or 40 mm and more");
  }
  if (!foot.lateral || !foot.lateral->at(PointId::kToeGround) ||
      !foot.lateral->at(PointId::kHeelGround)) {
    return Refusal{RefusalCode::kPointMissing,
                   "A trim is planned from the side, and the report has no "
                   "side view in millimetres with both ground points.",
                   "Measure a photo from the side with the card in it, and "
                   "place toe_ground and heel_ground."};
  }
  const PlainView& lateral = *foot.lateral;
  const WallAngles walls = WallsOf(foot.outcomes);
  const double support = geometry::Distance(*lateral.at(PointId::kToeGround),
                                            *lateral.at(PointId::kHeelGround));
  plan.heel_taken_parallel = !lateral.at(PointId::kHeelHairline);
  const double even = options.even_off_mm;
  plan.whole = {even, even};

  if (options.target) {
    const Target target = *options.target;
    const MeasureId id = MeasureOf(target.kind);
    const Measured* now = MeasuredOf(foot.outcomes, id);
    if (now == nullptr) return NotMeasuredYet(target.kind);
    // CHOSEN: what no hoof has.
    if (target.kind == TargetKind::kToeAngle &&
        !(target.value >= 30 && target.value <= 80)) {
      return NoSuchTarget("a toe angle outside 30 to 80 degrees");
    }
    if (target.kind == TargetKind::kAlignment &&
        !(std::abs(target.value) <= 20)) {
      return NoSuchTarget("an axis broken by more than 20 degrees");
    }
    if (target.kind == TargetKind::kHeelHeight &&
        !(target.value >= 5 && target.value <= 150)) {
      return NoSuchTarget("a heel height outside 5 to 150 mm");
    }
    plan.now = now->value;
    plan.now_sigma = now->standard_uncertainty;
    // The geometry's own number may lie off the photo's by hundredths.
    const double wanted = target.value - now->value +
                          NumbersOf(foot, lateral, walls, {})
                              .values[static_cast<std::size_t>(id)];
    const auto value = [&](TrimStep step) {
      return measure::MeasurePlain(TrimLateral(lateral, step)).value(id);
    };
    const double difference = target.value - now->value;
    std::optional<double> off;
    if (target.kind == TargetKind::kHeelHeight) {
      off = Reach(
          [&](double x) {
            return wanted - value({even + x, even + x});
          },
          kMostOff);
      plan.reachable = difference <= 1e-9 && off.has_value();
      if (plan.reachable) plan.whole = {even + *off, even + *off};
      if (difference > 0) {
        const double degrees = std::atan(difference / support) / kRad;
        plan.wedge = WedgeFor(degrees, support);
      }
      plan.off_sigma_mm = plan.now_sigma;
    } else {
      const bool steeper = value({even, even}) < wanted;
      off = Reach(
          [&](double x) {
            return steeper ? value({even + x, even}) - wanted
                           : wanted - value({even, even + x});
          },
          kMostOff);
      if (!off) {
        return NoSuchTarget("more horn than 40 mm off one end");
      }
      plan.whole =
          steeper ? TrimStep{even + *off, even} : TrimStep{even, even + *off};
      plan.wedge = WedgeFor(difference, support);
      plan.off_sigma_mm = support * plan.now_sigma * kRad;
    }
  }

  const Change whole = ChangeBy(foot, plan.whole, options);
  const auto of = [](const Change& change, MeasureId id) {
    const double by = change.by[static_cast<std::size_t>(id)];
    return std::isfinite(by) ? std::abs(by) : 0.0;
  };
  const double mean_trims = MeanTrims(foot, plan.whole);
  // CHOSEN: a hundredth more is not more.
  const bool more = mean_trims > 1.01;
  plan.visits = more ? static_cast<int>(std::ceil(mean_trims - 0.01)) : 1;
  plan.this_time = plan.whole;
  if (more && !options.whole_at_once) {
    // Not quite in proportion where the wall is flared: again, until it is.
    double part = 1 / mean_trims;
    for (int round = 0; round < 8; ++round) {
      plan.this_time = {part * plan.whole.toe_off_mm,
                        part * plan.whole.heel_off_mm};
      const double still = MeanTrims(foot, plan.this_time);
      if (still <= 1) break;
      part /= still;
    }
  }
  plan.beyond_mean = more && options.whole_at_once;
  const Change now = plan.this_time == plan.whole
                         ? whole
                         : ChangeBy(foot, plan.this_time, options);
  plan.toe_shortens_mm = of(now, MeasureId::kDorsalWallLength);
  const double turns = now.by[static_cast<std::size_t>(MeasureId::kToeAngle)];
  plan.turns_deg = std::isfinite(turns) ? turns : 0.0;
  plan.after = After(foot.outcomes, now);
  plan.after_whole = After(foot.outcomes, whole);
  plan.lateral = TrimLateral(lateral, plan.this_time);
  if (foot.solar) plan.solar = TrimSolar(*foot.solar, walls, plan.this_time);
  return plan;
}

}  // namespace plumbfoot::fit
