// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/horse_history.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <map>
#include <set>
#include <utility>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/trend/agreement.h"

namespace plumbfoot::report {
namespace {

using measure::Measured;
using measure::MeasureId;
using trend::Reading;

constexpr std::array kFeet = {
    Foot::kLeftFore, Foot::kRightFore, Foot::kLeftHind, Foot::kRightHind};

Phase PhaseOf(Stage stage) {
  switch (stage) {
    case Stage::kBeforeTrim:
      return Phase::kBefore;
    case Stage::kAfterTrim:
    case Stage::kAfterShoeing:
      return Phase::kAfter;
    case Stage::kOther:
      return Phase::kOther;
  }
  return Phase::kOther;
}

/// A report and the day it is of.
struct DatedReport {
  int day = 0;
  const SavedReport* report = nullptr;
};

bool Earlier(const DatedReport& a, const DatedReport& b) {
  return std::pair(a.day, static_cast<int>(a.report->stage)) <
         std::pair(b.day, static_cast<int>(b.report->stage));
}

/// One reading a day: the last stage of the phase stands for it.
std::vector<Reading> ReadingsOf(const MeasureHistory& history, Phase phase) {
  std::map<int, double> values;
  for (const DatedReading& r : history.readings) {
    if (r.phase == phase) values[r.day] = r.measured.value;
  }
  std::vector<Reading> readings;
  readings.reserve(values.size());
  for (const auto& [day, value] : values) {
    readings.push_back({static_cast<double>(day), value});
  }
  return readings;
}

/// From after a visit to before the next; only of feet that are shod alike.
/// @param visits  The days of all visits: at one that lies between, photos or
///   none, the foot may have been trimmed.
void AddSpells(const std::vector<DatedReport>& reports,
               const std::set<int>& visits,
               MeasureHistory& history) {
  const View view = measure::InfoOf(history.id).view;
  const bool to_the_shoe = trend::RunsToTheShoe(history.id);
  const auto measured = [&history](const DatedReport& r) {
    return std::get_if<Measured>(&r.report->outcomes.at(history.id));
  };
  const DatedReport* earlier = nullptr;
  std::vector<trend::Rate> rates;
  for (const DatedReport& r : reports) {
    const Phase phase = PhaseOf(r.report->stage);
    if (measured(r) == nullptr) continue;
    if (phase == Phase::kAfter) earlier = &r;
    if (phase != Phase::kBefore) continue;
    if (earlier != nullptr &&
        visits.upper_bound(earlier->day) == visits.lower_bound(r.day) &&
        (!to_the_shoe || earlier->report->shod == r.report->shod)) {
      const auto rate =
          trend::RateBetween({earlier->day, *measured(*earlier)},
                             {r.day, *measured(r)},
                             SamePrint(*earlier->report, *r.report, view));
      if (rate) {
        history.spells.push_back({earlier->day, r.day, *rate});
        rates.push_back(*rate);
      }
    }
    // One photo serves one spell, so that spells are independent.
    earlier = nullptr;
  }
  history.mean_rate = trend::MeanRate(rates);
}

double SmallestVisible(const MeasureHistory& history, bool one_print) {
  std::vector<double> sems;
  for (const DatedReading& r : history.readings) {
    const double u = r.measured.standard_uncertainty;
    const double s =
        one_print ? std::min(u, r.measured.shared_uncertainty) : 0.0;
    sems.push_back(std::sqrt(u * u - s * s));
  }
  const auto middle =
      sems.begin() + static_cast<std::ptrdiff_t>(sems.size() / 2);
  std::nth_element(sems.begin(), middle, sems.end());
  return trend::SmallestDetectableChange(*middle);
}

std::optional<TargetState> StateOf(const MeasureHistory& history,
                                   const Target& target) {
  const DatedReading& last = history.readings.back();
  TargetState state;
  state.value = target.value;
  state.by = target.by;
  state.set_on = target.set_on;
  state.day = last.day;
  state.distance = target.value - last.measured.value;
  state.half95 = (last.measured.high95 - last.measured.low95) / 2;
  state.reached = last.measured.low95 <= target.value &&
                  target.value <= last.measured.high95;
  // A trend is told of the readings that it is one of.
  const Phase phase = last.phase;
  const auto& slope = phase == Phase::kBefore  ? history.before
                      : phase == Phase::kAfter ? history.after
                                               : std::nullopt;
  if (state.reached || history.mixed || !slope ||
      slope->differs_from_zero() != true) {
    return state;
  }
  const std::vector<Reading> readings = ReadingsOf(history, phase);
  const auto line = trend::FitLine(readings);
  if (!line) return state;
  const auto when = trend::WhenReached(*line, target.value);
  const double span = readings.back().time - readings.front().time;
  // CHOSEN: a line is not drawn further ahead than it reaches back.
  if (when && when->expected > last.day &&
      when->interval.high < last.day + span) {
    state.when = when;
  }
  return state;
}

MeasureHistory HistoryOf(MeasureId id,
                         const std::vector<DatedReport>& reports,
                         const std::set<int>& visits) {
  MeasureHistory history;
  history.id = id;
  bool shod = false;
  bool bare = false;
  bool one_print = true;
  const View view = measure::InfoOf(id).view;
  for (const DatedReport& r : reports) {
    const auto* m = std::get_if<Measured>(&r.report->outcomes.at(id));
    if (m == nullptr) continue;
    history.readings.push_back({r.day,
                                PhaseOf(r.report->stage),
                                r.report->stage,
                                r.report->shod,
                                r.report->unsure.contains(id),
                                *m});
    (r.report->shod ? shod : bare) = true;
    one_print =
        one_print && SamePrint(*reports.front().report, *r.report, view);
  }
  if (history.readings.empty()) return history;
  history.mixed = shod && bare && trend::RunsToTheShoe(id);
  history.smallest_visible = SmallestVisible(history, one_print);
  if (!history.mixed) {
    history.before = trend::TheilSen(ReadingsOf(history, Phase::kBefore));
    history.after = trend::TheilSen(ReadingsOf(history, Phase::kAfter));
  }
  AddSpells(reports, visits, history);
  return history;
}

/// The last day on which both have a report of one stage; the later stage.
std::optional<PairState> PairOf(const std::vector<DatedReport>& left,
                                const std::vector<DatedReport>& right) {
  for (auto l = left.rbegin(); l != left.rend(); ++l) {
    for (auto r = right.rbegin(); r != right.rend(); ++r) {
      if (l->day != r->day || l->report->stage != r->report->stage) continue;
      auto comparison = CompareReports(*l->report, *r->report);
      if (!comparison) continue;
      return PairState{DateOfDay(l->day), std::move(*comparison)};
    }
  }
  return std::nullopt;
}

}  // namespace

Result<Target> ParseTarget(std::string_view text) {
  const auto wrong = [&text] {
    return Refusal{RefusalCode::kUsage,
                   fmt::format("'{}' is not a target.", text),
                   "Write the measure and its value, such as toe_angle=52, or "
                   "LF:toe_angle=52 for one foot."};
  };
  Target target;
  std::string_view rest = text;
  if (const auto colon = rest.find(':'); colon != std::string_view::npos) {
    const auto foot = geometry::ParseFoot(rest.substr(0, colon));
    if (!foot) return foot.error();
    target.foot = *foot;
    rest.remove_prefix(colon + 1);
  }
  const auto equals = rest.find('=');
  if (equals == std::string_view::npos) return wrong();
  const auto id = measure::ParseMeasure(rest.substr(0, equals));
  if (!id) return wrong();
  target.measure = *id;
  rest.remove_prefix(equals + 1);
  const auto [end, error] =
      std::from_chars(rest.data(), rest.data() + rest.size(), target.value);
  if (error != std::errc() || end != rest.data() + rest.size() ||
      !std::isfinite(target.value)) {
    return wrong();
  }
  return target;
}

std::string DateOfDay(int day) {
  return casebook::DayText(casebook::Day(std::chrono::days(day)));
}

int DayOfDate(std::string_view date) {
  return static_cast<int>(
      casebook::ParseDay(date).value().time_since_epoch().count());
}

Result<HorseHistory> MakeHistory(HistoryRequest request) {
  if (request.reports.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "There is no measured foot to tell a history of.",
                   "Record a visit with photos first (plumbfoot visit)."};
  }
  std::map<Foot, std::vector<DatedReport>> by_foot;
  std::map<std::string, std::string> words;
  for (const SavedReport& report : request.reports) {
    const auto date = ParseDate(report.date.value_or(""));
    if (!date) {
      return Refusal{RefusalCode::kUsage,
                     fmt::format("A report of the {} foot has no date.",
                                 geometry::FootWords(report.foot)),
                     "Measure it again with --date."};
    }
    by_foot[report.foot].push_back({DayOfDate(*date), &report});
    words[*date];
  }
  for (const VisitWords& visit : request.visits) {
    const auto date = ParseDate(visit.date);
    if (!date) return date.error();
    words[*date] = visit.words;
  }
  HorseHistory history;
  history.horse = std::move(request.horse);
  history.allowed_drift_deg = request.allowed_drift_deg;
  std::set<int> visit_days;
  for (auto& [date, what] : words) {
    history.visits.push_back({date, what});
    visit_days.insert(DayOfDate(date));
  }
  for (auto& [foot, reports] : by_foot) {
    std::stable_sort(reports.begin(), reports.end(), Earlier);
  }
  const int last_day = DayOfDate(history.visits.back().date);
  int due_day = last_day + request.usual_days;
  for (const Foot foot : kFeet) {
    const auto it = by_foot.find(foot);
    if (it == by_foot.end()) continue;
    FootHistory of_foot;
    of_foot.foot = foot;
    std::optional<trend::Rate> drift;
    for (const measure::MeasureInfo& info : measure::AllMeasures()) {
      MeasureHistory of = HistoryOf(info.id, it->second, visit_days);
      if (of.readings.empty()) continue;
      for (const Target& target : request.targets) {
        if (target.measure == info.id &&
            (!target.foot || *target.foot == foot)) {
          of.target = StateOf(of, target);
        }
      }
      if (info.id == MeasureId::kToeAngle) drift = of.mean_rate;
      of_foot.measures.push_back(std::move(of));
    }
    of_foot.due =
        trend::NextVisit(drift, request.allowed_drift_deg, request.usual_days);
    const int day = it->second.back().day + of_foot.due.days;
    if (of_foot.due.because == trend::DueBecause::kAngleDrifts &&
        day < due_day) {
      due_day = day;
      history.because = of_foot.due.because;
      history.due_foot = foot;
    }
    history.feet.push_back(std::move(of_foot));
  }
  history.next_visit = DateOfDay(due_day);
  for (const auto& [left, right] :
       {std::pair{Foot::kLeftFore, Foot::kRightFore},
        std::pair{Foot::kLeftHind, Foot::kRightHind}}) {
    if (auto pair = PairOf(by_foot[left], by_foot[right])) {
      history.pairs.push_back(std::move(*pair));
    }
  }
  return history;
}

}  // namespace plumbfoot::report
