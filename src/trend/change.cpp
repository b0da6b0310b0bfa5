// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/trend/change.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string_view>
#include <utility>
#include <vector>

#include "trend/distributions.h"

namespace plumbfoot::trend {
namespace {

using measure::Measured;
using measure::MeasureId;
using measure::NotMeasured;
using measure::Outcome;
using measure::Outcomes;

/// Never more than there is in all: the whole is known from trials, to a few
/// per cent, the shared part exactly.
double SharedOf(const Measured& m) {
  return std::copysign(std::min(m.shared_uncertainty, m.standard_uncertainty),
                       m.value);
}

double Squared(double x) {
  return x * x;
}

const Outcome* Find(const Outcomes& outcomes, MeasureId id) {
  const auto it = outcomes.find(id);
  return it == outcomes.end() ? nullptr : &it->second;
}

std::string_view WhyOf(const Outcome* outcome) {
  if (outcome == nullptr) return "there is no photo of this side of the foot";
  return std::get<NotMeasured>(*outcome).why;
}

/// Why the measure can't be compared; empty if it can.
std::string Hindrance(MeasureId id,
                      const MeasuredFoot& before,
                      const MeasuredFoot& after) {
  const Outcome* first = Find(before.outcomes, id);
  const Outcome* second = Find(after.outcomes, id);
  const auto lacks = [](const Outcome* outcome) {
    return outcome == nullptr || std::holds_alternative<NotMeasured>(*outcome);
  };
  if (lacks(first) && lacks(second)) {
    return "measured in neither: " + std::string(WhyOf(first));
  }
  if (lacks(first)) {
    return "not measured in the first: " + std::string(WhyOf(first));
  }
  if (lacks(second)) {
    return "not measured in the second: " + std::string(WhyOf(second));
  }
  if (before.shod != after.shod && RunsToTheShoe(id)) {
    return "one is shod and the other bare: this runs to the shoe in one and "
           "to the horn in the other";
  }
  return {};
}

}  // namespace

double FactorFor(int comparisons, double level) {
  if (comparisons < 1 || !(level > 0 && level < 1)) {
    throw std::invalid_argument("FactorFor: no comparisons, or no level");
  }
  const double each = -std::expm1(std::log1p(-level) / comparisons);
  return NormalQuantile(1 - each / 2);
}

Change ChangeOf(const Measured& before,
                const Measured& after,
                bool same_print,
                double factor) {
  Change change;
  change.difference = after.value - before.value;
  double variance = Squared(before.standard_uncertainty) +
                    Squared(after.standard_uncertainty);
  if (same_print) {
    variance -= 2 * SharedOf(before) * SharedOf(after);
  }
  change.standard_uncertainty = std::sqrt(std::max(0.0, variance));
  const double half = FactorFor(1) * change.standard_uncertainty;
  change.low95 = change.difference - half;
  change.high95 = change.difference + half;
  change.smallest_visible = factor * change.standard_uncertainty;
  change.changed = std::abs(change.difference) > change.smallest_visible;
  return change;
}

bool FootChange::changed() const {
  return std::any_of(
      comparisons.begin(), comparisons.end(), [](const auto& entry) {
        const auto* change = std::get_if<Change>(&entry.second);
        return change != nullptr && change->changed;
      });
}

FootChange CompareFeet(const MeasuredFoot& before,
                       const MeasuredFoot& after,
                       const CompareOptions& options) {
  FootChange result;
  std::vector<MeasureId> compared;
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    if (Find(before.outcomes, info.id) == nullptr &&
        Find(after.outcomes, info.id) == nullptr) {
      continue;
    }
    std::string why = Hindrance(info.id, before, after);
    if (why.empty()) {
      compared.push_back(info.id);
    } else {
      result.comparisons[info.id] = NotCompared{std::move(why)};
    }
  }
  result.compared = static_cast<int>(compared.size());
  if (compared.empty()) return result;
  result.factor = FactorFor(result.compared, options.level);
  for (const MeasureId id : compared) {
    result.comparisons[id] =
        ChangeOf(std::get<Measured>(before.outcomes.at(id)),
                 std::get<Measured>(after.outcomes.at(id)),
                 options.same_print.contains(measure::InfoOf(id).view),
                 result.factor);
  }
  return result;
}

Outcomes MirrorImage(Outcomes outcomes) {
  const auto left = outcomes.find(MeasureId::kLeftHalfWidth);
  const auto right = outcomes.find(MeasureId::kRightHalfWidth);
  if (left != outcomes.end() && right != outcomes.end()) {
    std::swap(left->second, right->second);
  }
  const auto signed_one = outcomes.find(MeasureId::kHalfWidthDifference);
  if (signed_one != outcomes.end()) {
    if (auto* m = std::get_if<Measured>(&signed_one->second)) {
      m->value = -m->value;
      const double low = m->low95;
      m->low95 = -m->high95;
      m->high95 = -low;
    }
  }
  return outcomes;
}

bool RunsToTheShoe(MeasureId id) {
  switch (id) {
    case MeasureId::kFrogLength:
    case MeasureId::kFrogWidth:
    case MeasureId::kFrogWidthToLength:
    // The shoe lifts both ends of the bearing line alike, and the wall, the
    // hairline and the pastern stay as they are.
    case MeasureId::kToeAngle:
    case MeasureId::kHairlineAngle:
    case MeasureId::kPasternAngle:
    case MeasureId::kHoofPasternDifference:
      return false;
    default:
      return true;
  }
}

}  // namespace plumbfoot::trend
