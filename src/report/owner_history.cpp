// SPDX-License-Identifier: Apache-2.0
#include "report/owner_history.h"

#include <fmt/core.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <set>
#include <string_view>
#include <utility>
#include <vector>

#include "plumbfoot/judge/words.h"
#include "report/history_words.h"

namespace plumbfoot::report {
namespace {

using measure::Measured;
using measure::MeasureId;
using measure::Unit;

// CHOSEN: a year and a half of six weeks; more has no room on one sheet.
constexpr std::size_t kMostVisits = 12;
// CHOSEN: half a sheet's width beside another, and a telephone's whole width.
constexpr double kPlotWidthMm = 90.0;

std::string NameOf(Foot foot, const OwnerWords& words) {
  return words.Say(fmt::format("foot.{}", geometry::FootName(foot)));
}

std::string NameOf(MeasureId id, const OwnerWords& words) {
  return words.Say(fmt::format("measure.{}", measure::InfoOf(id).key));
}

bool HasName(MeasureId id, const OwnerWords& words) {
  return words.Has(fmt::format("measure.{}", measure::InfoOf(id).key));
}

std::string Joined(const std::vector<std::string>& items) {
  return fmt::format("{}", fmt::join(items, ", "));
}

std::string Amount(
    double value, double low, double high, Unit unit, const OwnerWords& words) {
  Measured amount;
  amount.value = std::abs(value);
  const double half = (high - low) / 2;
  amount.low95 = amount.value - half;
  amount.high95 = amount.value + half;
  return words.Number(judge::ShowInLine(amount, unit));
}

const MeasureHistory* Of(const FootHistory& foot, MeasureId id) {
  const auto found = std::find_if(foot.measures.begin(),
                                  foot.measures.end(),
                                  [id](const auto& of) { return of.id == id; });
  return found == foot.measures.end() ? nullptr : &*found;
}

std::size_t DaysOf(const MeasureHistory& history, int first_day) {
  std::set<int> days;
  for (const DatedReading& r : history.readings) {
    if (r.day >= first_day) days.insert(r.day);
  }
  return days.size();
}

/// How steep the toe is, how long it is, and what somebody has an aim for; of a
/// foot that was only seen from below, its length and width.
std::vector<const MeasureHistory*> Plotted(const FootHistory& foot,
                                           int first_day,
                                           const OwnerWords& words) {
  std::vector<const MeasureHistory*> plotted;
  const auto add = [&](MeasureId id) {
    const MeasureHistory* of = Of(foot, id);
    if (of != nullptr && DaysOf(*of, first_day) >= 2) plotted.push_back(of);
  };
  add(MeasureId::kToeAngle);
  add(MeasureId::kDorsalWallLength);
  if (plotted.empty()) {
    add(MeasureId::kBearingLength);
    add(MeasureId::kBearingWidth);
  }
  for (const MeasureHistory& of : foot.measures) {
    // CHOSEN: three below each other still fit on the sheet.
    if (plotted.size() >= 3) break;
    if (of.target && HasName(of.id, words) && DaysOf(of, first_day) >= 2 &&
        std::find(plotted.begin(), plotted.end(), &of) == plotted.end()) {
      plotted.push_back(&of);
    }
  }
  return plotted;
}

draw::TimePanel PanelOf(const MeasureHistory& history,
                        int first_day,
                        const OwnerWords& words) {
  draw::TimePanel panel;
  panel.title = fmt::format(
      "{} [{}]",
      NameOf(history.id, words),
      measure::InfoOf(history.id).unit == Unit::kDegree ? "°" : "mm");
  for (const DatedReading& r : history.readings) {
    if (r.day < first_day) continue;
    panel.points.push_back({static_cast<double>(r.day),
                            r.measured.value,
                            r.measured.low95,
                            r.measured.high95,
                            MarkOf(r.phase),
                            r.unsure});
  }
  if (history.target) panel.target = history.target->value;
  return panel;
}

/// "{measure}: ..." of a change that goes one way or the other.
std::string Directed(std::string_view key,
                     MeasureId id,
                     double value,
                     const std::string& amount,
                     const OwnerWords& words,
                     OwnerWords::Values more = {}) {
  const std::string change = words.Say(
      fmt::format(
          "{}.{}", value > 0 ? "more" : "less", measure::InfoOf(id).key),
      {{"amount", amount}});
  more.emplace_back("measure", NameOf(id, words));
  more.emplace_back("change", change);
  return words.Say(key, more);
}

void AddGrowth(const FootHistory& foot,
               const OwnerWords& words,
               std::vector<std::string>& facts) {
  const MeasureHistory* of = Of(foot, MeasureId::kDorsalWallLength);
  if (of == nullptr || !of->mean_rate) return;
  const trend::Rate& rate = *of->mean_rate;
  constexpr double kDays = trend::kUsualSpellDays;
  if (!rate.sure() || rate.per_day < 0) {
    facts.push_back(
        words.Say("case.grows.none", {{"measure", NameOf(of->id, words)}}));
    return;
  }
  facts.push_back(words.Say("case.grows",
                            {{"measure", NameOf(of->id, words)},
                             {"amount",
                              Amount(kDays * rate.per_day,
                                     kDays * rate.low95,
                                     kDays * rate.high95,
                                     Unit::kMillimetre,
                                     words)}}));
}

void AddDrift(const FootHistory& foot,
              const OwnerWords& words,
              std::vector<std::string>& facts) {
  const MeasureHistory* of = Of(foot, MeasureId::kToeAngle);
  if (of == nullptr || !of->mean_rate) return;
  const trend::Rate& rate = *of->mean_rate;
  constexpr double kDays = trend::kUsualSpellDays;
  if (!rate.sure()) {
    facts.push_back(
        words.Say("case.drift.none", {{"measure", NameOf(of->id, words)}}));
    return;
  }
  facts.push_back(Directed("case.drift",
                           of->id,
                           rate.per_day,
                           Amount(kDays * rate.per_day,
                                  kDays * rate.low95,
                                  kDays * rate.high95,
                                  Unit::kDegree,
                                  words),
                           words));
}

void AddTrend(const FootHistory& foot,
              const OwnerWords& words,
              std::vector<std::string>& facts) {
  const MeasureHistory* of = Of(foot, MeasureId::kToeAngle);
  if (of == nullptr || of->mixed) return;
  const bool after = of->after && of->after->interval;
  const auto& slope = after ? of->after : of->before;
  const std::string name = NameOf(of->id, words);
  if (!slope || !slope->interval) {
    facts.push_back(words.Say("case.trend.few", {{"measure", name}}));
    return;
  }
  const std::string stage =
      words.Say(after ? "stage.after_trim" : "stage.before_trim");
  if (slope->differs_from_zero() != true) {
    facts.push_back(
        words.Say("case.trend.none", {{"measure", name}, {"stage", stage}}));
    return;
  }
  facts.push_back(Directed("case.trend",
                           of->id,
                           slope->slope,
                           Amount(kMonthDays * slope->slope,
                                  kMonthDays * slope->interval->low,
                                  kMonthDays * slope->interval->high,
                                  Unit::kDegree,
                                  words),
                           words,
                           {{"stage", stage}}));
}

std::string DateOf(double day, const OwnerWords& words) {
  return words.Date(DateOfDay(static_cast<int>(std::lround(day))));
}

void AddTarget(const MeasureHistory& of,
               const OwnerWords& words,
               std::vector<std::string>& facts) {
  const TargetState& target = *of.target;
  const Unit unit = measure::InfoOf(of.id).unit;
  OwnerWords::Values values = {
      {"measure", NameOf(of.id, words)},
      {"value", words.Number(judge::ShowNumber(target.value, unit))}};
  std::string text;
  if (target.by.empty() || target.set_on.empty()) {
    text = words.Say("case.aim", values);
  } else {
    values.emplace_back("who", target.by);
    values.emplace_back("date", words.Date(target.set_on));
    text = words.Say("case.aim.set_by", values);
  }
  const double half = target.half95;
  const double distance = std::abs(target.distance);
  text += " ";
  text += target.reached ? words.Say("case.aim.reached")
                         : words.Say(target.distance > 0 ? "case.aim.below"
                                                         : "case.aim.above",
                                     {{"amount",
                                       Amount(distance,
                                              distance - half,
                                              distance + half,
                                              unit,
                                              words)}});
  if (target.when) {
    text +=
        " " + words.Say("case.aim.when",
                        {{"low", DateOf(target.when->interval.low, words)},
                         {"high", DateOf(target.when->interval.high, words)}});
  }
  facts.push_back(std::move(text));
}

draw::TimeWords ChartWords(const OwnerWords& words) {
  draw::TimeWords say;
  say.before = words.Say("plot.before");
  say.after = words.Say("plot.after");
  say.other = words.Say("plot.other");
  say.target = words.Say("plot.target");
  say.unsure = words.Say("plot.unsure");
  say.decimal_mark = words.Say("decimal_mark");
  return say;
}

}  // namespace

std::string WorkWords(const casebook::Work& work, const OwnerWords& words) {
  std::vector<std::string> done;
  if (work.trimmed) done.push_back(words.Say("done.trimmed"));
  if (work.shoe == "none") {
    done.push_back(words.Say("done.no_shoe"));
  } else if (!work.shoe.empty()) {
    done.push_back(words.Say("done.shoe", {{"what", work.shoe}}));
  }
  for (const auto& [key, what] : {std::pair{"done.size", &work.size},
                                  std::pair{"done.nails", &work.nails},
                                  std::pair{"done.pads", &work.pads},
                                  std::pair{"done.wedges", &work.wedges}}) {
    if (!what->empty()) done.push_back(words.Say(key, {{"what", *what}}));
  }
  if (done.empty()) return {};
  std::vector<std::string> names;
  for (const Foot foot : work.feet) names.push_back(NameOf(foot, words));
  return words.Say(
      "done.line",
      {{"feet", names.empty() ? words.Say("all_feet") : Joined(names)},
       {"what", Joined(done)}});
}

void AddHistory(const OwnerCase& visit,
                const OwnerWords& words,
                OwnerPage& page) {
  if (!visit.history || visit.history->visits.size() < 2) return;
  const HorseHistory& history = *visit.history;
  const std::size_t all = history.visits.size();
  const std::size_t first = all > kMostVisits ? all - kMostVisits : 0;
  const int first_day = DayOfDate(history.visits[first].date);

  std::map<std::string, std::string> done;
  for (const NotedVisit& noted : visit.visits) {
    std::vector<std::string> lines;
    for (const casebook::Work& work : noted.notes.work) {
      std::string line = WorkWords(work, words);
      if (!line.empty()) lines.push_back(std::move(line));
    }
    done[noted.date] = fmt::format("{}", fmt::join(lines, " "));
  }
  std::vector<draw::TimeVisit> marks;
  std::vector<OwnerVisit> visits;
  for (std::size_t v = first; v < all; ++v) {
    const std::string& date = history.visits[v].date;
    const std::string number = std::to_string(v + 1);
    marks.push_back({static_cast<double>(DayOfDate(date)), number, {}});
    visits.push_back({number, words.Date(date), done[date]});
  }
  for (const FootHistory& foot : history.feet) {
    const auto plotted = Plotted(foot, first_day, words);
    if (plotted.empty()) continue;
    OwnerPlot plot;
    plot.name = NameOf(foot.foot, words);
    plot.chart.width_mm = kPlotWidthMm;
    plot.chart.columns = 1;
    plot.chart.words = ChartWords(words);
    plot.chart.visits = marks;
    plot.chart.list_visits = false;
    std::vector<std::string> names;
    for (const MeasureHistory* of : plotted) {
      plot.chart.panels.push_back(PanelOf(*of, first_day, words));
      names.push_back(NameOf(of->id, words));
    }
    plot.words = words.Say("plot.words",
                           {{"measures", Joined(names)}, {"foot", plot.name}});
    AddGrowth(foot, words, plot.facts);
    AddDrift(foot, words, plot.facts);
    AddTrend(foot, words, plot.facts);
    for (const MeasureHistory& of : foot.measures) {
      if (of.target && HasName(of.id, words)) AddTarget(of, words, plot.facts);
    }
    page.plots.push_back(std::move(plot));
  }
  if (page.plots.empty()) return;
  page.visits = std::move(visits);
  page.case_words.push_back(words.Say("case.read"));
  if (first > 0) {
    page.case_words.push_back(words.Say("case.last",
                                        {{"shown", std::to_string(kMostVisits)},
                                         {"all", std::to_string(all)}}));
  }
}

}  // namespace plumbfoot::report
