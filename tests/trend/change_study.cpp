// SPDX-License-Identifier: Apache-2.0
#include "trend/change_study.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <numbers>
#include <optional>
#include <stdexcept>
#include <thread>
#include <vector>

#include "measure/foot_model.h"
#include "plumbfoot/measure/measure.h"
#include "plumbfoot/trend/agreement.h"
#include "plumbfoot/trend/change.h"

namespace plumbfoot::trend {
namespace {

using geometry::CardPoint;
using geometry::PlaneEstimate;
using geometry::PlaneMap;
using geometry::PlaneSampler;
using geometry::Random;
using measure::Hand;
using measure::Measured;
using measure::MeasureId;
using measure::MeasureOptions;
using measure::Outcomes;
using measure::Placed;
using measure::RandomHand;
using measure::RandomPhoto;
using measure::Side;
using measure::Sole;

/// A foot, both views.
struct Feet {
  Sole sole;
  Side side;
};

Feet RandomFoot(Random& random) {
  // In this order, which a braced list keeps.
  return {measure::RandomSole(random), measure::RandomSide(random, true)};
}

/// Photographs and measures the sole. `print` is the card's: the same for all
/// photos of one foot.
Outcomes Photograph(Sole sole, double print, int trials, Random& random) {
  // A rasp's waves are not the same twice.
  sole.uneven_left = random.Uniform(-std::numbers::pi, std::numbers::pi);
  sole.uneven_right = random.Uniform(-std::numbers::pi, std::numbers::pi);
  const CardPoint aim{random.Uniform(80, 110), random.Uniform(80, 110)};
  Placed placed;
  placed.turn = random.Uniform(-std::numbers::pi, std::numbers::pi);
  placed.origin = aim;
  placed.origin = aim - (placed.ToCard({sole.length / 2, 0}) - aim);
  const PlaneEstimate estimate = RandomPhoto(random, aim);
  const PlaneMap truth = PlaneSampler(estimate, aim).Draw(random, {print});
  const Hand hand = RandomHand(random, truth, aim);
  MeasureOptions options;
  options.trials = trials;
  ViewPoints points = PhotoOf(sole, placed, truth, hand, &random);
  const double half = options.frog_depth_sigma_mm / std::numbers::sqrt2;
  const double frog = random.Normal(options.frog_depth_mm, half);
  SeeDeepFrog(sole,
              frog + random.Normal(0, half),
              frog + random.Normal(0, half),
              placed,
              truth,
              points);
  return MeasureView(points, estimate, options).outcomes;
}

/// Photographs and measures the side, with its points on the heel that one
/// sees, and its distance from the middle plane as report::MeasureFoot has it:
/// half of the heels' width on the sole's photo, and 3 mm more or less of wall.
Outcomes Photograph(const Side& side,
                    const Sole& sole,
                    const Outcomes& of_sole,
                    double print,
                    int trials,
                    Random& random) {
  const CardPoint aim{random.Uniform(80, 110), random.Uniform(80, 110)};
  Placed placed;
  placed.hand = random.Chance(0.5) ? 1 : -1;
  placed.turn = random.Uniform(-0.1, 0.1);
  if (placed.hand < 0) placed.turn += std::numbers::pi;
  placed.origin = aim;
  placed.origin = aim - (placed.ToCard({-side.support / 2, 35}) - aim);
  const PlaneEstimate estimate = RandomPhoto(random, aim);
  const PlaneMap truth = PlaneSampler(estimate, aim).Draw(random, {print});
  const Hand hand = RandomHand(random, truth, aim);
  ViewPoints points = PhotoOf(side, placed, truth, hand, &random);
  MeasureOptions options;
  options.trials = trials;
  constexpr double kWallMm = 3.0;
  const auto& heels = std::get<Measured>(of_sole.at(MeasureId::kHeelWidth));
  options.half_heel_width_mm = heels.value / 2 + kWallMm;
  options.half_heel_width_sigma_mm =
      std::hypot(heels.standard_uncertainty / 2, kWallMm);
  SeeNearHeel(side,
              sole.heel_half_width + random.Normal(kWallMm, kWallMm),
              placed,
              truth,
              points);
  return MeasureView(points, estimate, options).outcomes;
}

MeasuredFoot Photograph(const Feet& foot,
                        double print,
                        int trials,
                        Random& random) {
  MeasuredFoot measured;
  measured.outcomes = Photograph(foot.sole, print, trials, random);
  measured.outcomes.merge(Photograph(
      foot.side, foot.sole, measured.outcomes, print, trials, random));
  return measured;
}

double TruthOf(const Feet& foot, MeasureId id) {
  return measure::InfoOf(id).view == View::kSolar ? foot.sole.Truth(id)
                                                  : foot.side.Truth(id);
}

/// What of the foot's shape moves a measure.
double& PartOf(Feet& foot, MeasureId id) {
  switch (id) {
    case MeasureId::kBearingWidth:
    case MeasureId::kWidthToLength:
    case MeasureId::kLeftHalfWidth:
    case MeasureId::kRightHalfWidth:
    case MeasureId::kBearingArea:
      return foot.sole.width;
    case MeasureId::kBearingLength:
    case MeasureId::kToeToFrogApex:
      return foot.sole.length;
    case MeasureId::kHeelWidth:
      return foot.sole.heel_half_width;
    case MeasureId::kFrogLength:
      return foot.sole.frog_length;
    case MeasureId::kFrogWidth:
    case MeasureId::kFrogWidthToLength:
      return foot.sole.frog_width;
    case MeasureId::kWidestToToe:
    case MeasureId::kWidestToHeel:
    case MeasureId::kToeShare:
      return foot.sole.widest_at;
    case MeasureId::kHalfWidthDifference:
    case MeasureId::kOutlineAsymmetry:
      return foot.sole.lopsided;
    case MeasureId::kToeAngle:
    case MeasureId::kToeHeelDifference:
      return foot.side.toe_angle;
    case MeasureId::kHeelAngle:
      return foot.side.heel_angle;
    case MeasureId::kDorsalWallLength:
    case MeasureId::kToeToHeelLength:
    case MeasureId::kToeHeight:
    case MeasureId::kHairlineAngle:
      return foot.side.toe_length;
    case MeasureId::kHeelWallLength:
    case MeasureId::kHeelHeight:
    case MeasureId::kHeelToToeHeight:
      return foot.side.heel_length;
    case MeasureId::kSupportLength:
      return foot.side.support;
    case MeasureId::kPasternAngle:
    case MeasureId::kHoofPasternDifference:
      return foot.side.pastern_angle;
    case MeasureId::kDorsalWallDeparture:
      return foot.side.departure;
  }
  throw std::invalid_argument("PartOf: not a MeasureId");
}

/// The foot with one measure changed by `by` in truth; nothing if its shape
/// doesn't go so far.
std::optional<Feet> Changed(const Feet& foot, MeasureId id, double by) {
  const double target = TruthOf(foot, id) + by;
  Feet changed = foot;
  double& part = PartOf(changed, id);
  double step = std::max(0.02, 0.02 * std::abs(part));
  // By secants.
  for (int round = 0; round < 25; ++round) {
    const double here = TruthOf(changed, id) - target;
    if (std::abs(here) < 0.01 * std::abs(by)) {
      const bool sole = changed.sole.widest_at > 0.25 * changed.sole.length &&
                        changed.sole.widest_at < 0.75 * changed.sole.length &&
                        std::abs(changed.sole.lopsided) < 0.3;
      const bool side =
          changed.side.heel_angle > 15 && changed.side.heel_angle < 80 &&
          changed.side.heel_length > 15 && changed.side.toe_length > 30;
      if (sole && side) return changed;
      return std::nullopt;
    }
    part += step;
    const double slope = (TruthOf(changed, id) - target - here) / step;
    part -= step;
    if (!(std::abs(slope) > 1e-9)) return std::nullopt;
    part -= here / slope;
    step /= 2;
  }
  return std::nullopt;
}

const Change* ChangeIn(const FootChange& foot, MeasureId id) {
  const auto it = foot.comparisons.find(id);
  return it == foot.comparisons.end() ? nullptr
                                      : std::get_if<Change>(&it->second);
}

/// What one foot brings to the study.
struct OfFoot {
  FootChange unchanged;
  std::map<MeasureId, std::array<double, 2>> values;
  /// Found or not; nothing where the shape doesn't go so far.
  std::map<MeasureId, std::optional<bool>> found;
};

OfFoot StudyFoot(int number, const ChangeStudyOptions& options) {
  Random random(options.seed * 1000003 + static_cast<std::uint64_t>(number));
  const Feet foot = RandomFoot(random);
  const double print = random.Normal();
  CompareOptions compare;
  compare.same_print = {View::kSolar, View::kLateral};
  const MeasuredFoot before = Photograph(foot, print, options.trials, random);
  const MeasuredFoot after = Photograph(foot, print, options.trials, random);
  OfFoot result;
  result.unchanged = CompareFeet(before, after, compare);
  for (const auto& info : measure::AllMeasures()) {
    const auto* a = std::get_if<Measured>(&before.outcomes.at(info.id));
    const auto* b = std::get_if<Measured>(&after.outcomes.at(info.id));
    if (a != nullptr && b != nullptr) {
      result.values[info.id] = {a->value, b->value};
    }
  }
  constexpr auto kAll = static_cast<int>(measure::kMeasureCount);
  for (int k = 0; k < std::min(options.changes_each, kAll); ++k) {
    const auto id =
        static_cast<MeasureId>((number * options.changes_each + k) % kAll);
    const Change* seen = ChangeIn(result.unchanged, id);
    if (seen == nullptr) continue;
    const double by =
        2 * seen->smallest_visible * (random.Chance(0.5) ? 1 : -1);
    auto other = Changed(foot, id, by);
    if (!other) other = Changed(foot, id, -by);
    if (!other) {
      result.found[id] = std::nullopt;
      continue;
    }
    // The other view's photo is as good as it was.
    MeasuredFoot changed = after;
    const Outcomes fresh =
        measure::InfoOf(id).view == View::kSolar
            ? Photograph(other->sole, print, options.trials, random)
            : Photograph(other->side,
                         foot.sole,
                         after.outcomes,
                         print,
                         options.trials,
                         random);
    for (const auto& [which, outcome] : fresh) {
      changed.outcomes[which] = outcome;
    }
    const FootChange difference = CompareFeet(before, changed, compare);
    const Change* found = ChangeIn(difference, id);
    result.found[id] = found != nullptr && found->changed;
  }
  return result;
}

}  // namespace

ChangeStudy StudyChange(const ChangeStudyOptions& options) {
  std::vector<OfFoot> feet(static_cast<std::size_t>(options.pairs));
  std::atomic<int> next = 0;
  std::vector<std::thread> threads;
  for (int t = 0; t < std::max(1, options.threads); ++t) {
    threads.emplace_back([&] {
      for (int i = next++; i < options.pairs; i = next++) {
        feet[static_cast<std::size_t>(i)] = StudyFoot(i, options);
      }
    });
  }
  for (std::thread& thread : threads) thread.join();

  ChangeStudy study;
  study.feet = options.pairs;
  std::map<MeasureId, std::vector<std::array<double, 2>>> values;
  for (const OfFoot& foot : feet) {
    if (foot.unchanged.changed()) ++study.feet_called_changed;
    study.factor = foot.unchanged.factor;
    for (const auto& info : measure::AllMeasures()) {
      const Change* change = ChangeIn(foot.unchanged, info.id);
      if (change == nullptr) continue;
      ChangeStudy::Row& row = study.rows[info.id];
      ++row.unchanged;
      if (change->changed) ++row.called_changed;
      row.smallest_visible += change->smallest_visible;
      values[info.id].push_back(foot.values.at(info.id));
    }
    for (const auto& [id, found] : foot.found) {
      ChangeStudy::Row& row = study.rows[id];
      if (!found) {
        ++row.impossible;
        continue;
      }
      ++row.changed;
      if (*found) ++row.found;
    }
  }
  for (auto& [id, row] : study.rows) {
    row.smallest_visible /= std::max(1, row.unchanged);
    const auto& pairs = values[id];
    Eigen::MatrixXd readings(static_cast<Eigen::Index>(pairs.size()), 2);
    std::vector<double> first;
    std::vector<double> second;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      readings(static_cast<Eigen::Index>(i), 0) = pairs[i][0];
      readings(static_cast<Eigen::Index>(i), 1) = pairs[i][1];
      first.push_back(pairs[i][0]);
      second.push_back(pairs[i][1]);
    }
    if (const auto r = RepeatabilityOf(readings)) row.repeat_sd = r->within_sd;
    if (const auto r = IntraclassCorrelationsOf(readings)) row.icc = r->icc31;
    if (const auto r = LimitsOfAgreement(first, second)) {
      row.limits = (r->limits.high - r->limits.low) / 2;
    }
  }
  return study;
}

std::string Table(const ChangeStudy& study) {
  std::string text = fmt::format(
      "{} unchanged feet, photographed twice with one card: {} called changed "
      "in any of the measures ({:.1f} %); factor {:.2f}\n\n"
      "{:24} {:>7} {:>9} {:>9} {:>8} {:>8} {:>7} {:>6}\n",
      study.feet,
      study.feet_called_changed,
      100.0 * study.feet_called_changed / std::max(1, study.feet),
      study.factor,
      "measure",
      "false %",
      "visible",
      "found %",
      "of",
      "SEM",
      "+-LoA",
      "ICC");
  for (const auto& [id, row] : study.rows) {
    text += fmt::format(
        "{:24} {:7.1f} {:9.3f} {:9.1f} {:8} {:8.3f} {:7.2f} {:6.3f}{}\n",
        measure::InfoOf(id).key,
        100.0 * row.called_changed / std::max(1, row.unchanged),
        row.smallest_visible,
        row.changed > 0 ? 100.0 * row.found / row.changed : 0.0,
        row.changed,
        row.repeat_sd,
        row.limits,
        row.icc,
        row.impossible > 0 ? fmt::format("  ({} not possible)", row.impossible)
                           : "");
  }
  return text;
}

}  // namespace plumbfoot::trend
