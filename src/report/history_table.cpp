// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <string>

#include "plumbfoot/judge/words.h"
#include "plumbfoot/report/horse_history.h"
#include "report/comparison_words.h"
#include "report/history_words.h"
#include "report/page.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

// The columns of a line of the table; with the blanks between them, 80.
constexpr int kNameColumns = 28;
constexpr int kCountColumns = 3;
constexpr int kValueColumns = 7;
constexpr int kHalfColumns = 5;
constexpr int kUnitColumns = 4;
constexpr int kVisibleColumns = 6;

std::string Capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') {
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  }
  return text;
}

std::string_view Mark(Phase phase) {
  switch (phase) {
    case Phase::kBefore:
      return "before";
    case Phase::kAfter:
      return "after";
    case Phase::kOther:
      return "other";
  }
  return "";
}

void AddRow(const MeasureHistory& history, Page& page) {
  const measure::MeasureInfo& info = measure::InfoOf(history.id);
  const DatedReading& last = history.readings.back();
  const judge::Shown shown = judge::Show(last.measured, info.unit);
  measure::Measured visible = last.measured;
  visible.value = history.smallest_visible;
  page.Line(fmt::format("  {}{}  {} ± {}{} {}{}{}",
                        Padded(info.name, kNameColumns, Align::kLeft),
                        Padded(std::to_string(history.readings.size()),
                               kCountColumns,
                               Align::kRight),
                        Padded(shown.value, kValueColumns, Align::kRight),
                        Padded(shown.half_width, kHalfColumns, Align::kLeft),
                        Padded(shown.unit, kUnitColumns, Align::kLeft),
                        Padded(Mark(last.phase), 7, Align::kLeft),
                        Padded(judge::Show(visible, info.unit).value,
                               kVisibleColumns,
                               Align::kRight),
                        last.unsure ? " ?" : ""));
}

void AddTrends(const FootHistory& foot, Page& page) {
  bool any = false;
  const auto add = [&](const measure::MeasureInfo& info,
                       std::string_view what,
                       const std::string& words) {
    if (!any) page.Line("");
    any = true;
    page.Wrapped(words, fmt::format("  - {}, {}: ", info.name, what));
  };
  for (const MeasureHistory& of : foot.measures) {
    const measure::MeasureInfo& info = measure::InfoOf(of.id);
    if (of.mean_rate && Grows(of.id)) {
      add(info, "between visits", RateWords(*of.mean_rate, info.unit));
    }
    if (of.mean_rate && Drifts(of.id) && of.mean_rate->sure()) {
      add(info, "drift between visits", RateWords(*of.mean_rate, info.unit));
    }
    if (of.before && of.before->differs_from_zero() == true) {
      add(info,
          "trend before the trim",
          SlopeWords(of.before, info.unit, of.mixed));
    }
    if (of.after && of.after->differs_from_zero() == true) {
      add(info,
          "trend after the trim",
          SlopeWords(of.after, info.unit, of.mixed));
    }
    if (of.target) add(info, "target", TargetWords(*of.target, info.unit));
  }
}

void AddPair(const PairState& pair, Page& page) {
  const Comparison& comparison = pair.comparison;
  page.Heading(fmt::format("{}, {}", TitleOf(comparison), pair.date));
  page.Wrapped(VerdictWords(comparison), "  ");
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const auto* change = std::get_if<trend::Change>(&compared);
    if (change == nullptr || !change->changed) continue;
    const ShownChange shown = Show(*change, measure::InfoOf(id).unit);
    page.Wrapped(fmt::format("{}: {} ± {}{}{}",
                             NameIn(comparison, id),
                             shown.difference,
                             shown.half_width,
                             shown.unit,
                             comparison.unsure(id) ? " ?" : ""),
                 "  - ");
  }
}

}  // namespace

std::string HistoryTable(const HorseHistory& history, bool colour) {
  Page page(colour);
  page.Wrapped(fmt::format("{}: {} visit{}, {} to {}",
                           CleanForTerminal(history.horse),
                           history.visits.size(),
                           history.visits.size() == 1 ? "" : "s",
                           history.visits.front().date,
                           history.visits.back().date),
               "",
               Ink::kStrong);
  for (const VisitWords& visit : history.visits) {
    if (visit.words.empty()) continue;
    page.Wrapped(CleanForTerminal(visit.words),
                 fmt::format("  {}: ", visit.date));
  }
  for (const FootHistory& foot : history.feet) {
    page.Heading(Capital(std::string(geometry::FootWords(foot.foot))) +
                 " foot");
    page.Line(fmt::format("  {}{}  {}   {} {}{}",
                          Padded("", kNameColumns, Align::kLeft),
                          Padded("n", kCountColumns, Align::kRight),
                          Padded("last", kValueColumns, Align::kRight),
                          Padded("", kHalfColumns + kUnitColumns, Align::kLeft),
                          Padded("", 7, Align::kLeft),
                          Padded("from", kVisibleColumns, Align::kRight)),
              Ink::kFaint);
    for (const MeasureHistory& of : foot.measures) AddRow(of, page);
    AddTrends(foot, page);
  }
  for (const PairState& pair : history.pairs) AddPair(pair, page);
  page.Heading(fmt::format("Next visit: {}", history.next_visit));
  if (history.because == trend::DueBecause::kAngleDrifts) {
    page.Wrapped(
        fmt::format("Earlier than the usual six weeks: by then the toe angle "
                    "of the {} foot will have moved by the {}° that are "
                    "allowed.",
                    geometry::FootWords(*history.due_foot),
                    *history.allowed_drift_deg),
        "  ");
  } else {
    page.Wrapped("Six weeks after the last (common practice).", "  ");
  }
  page.Line("");
  page.Wrapped(
      "\"from\": the smallest change between two such photos that can be told "
      "from chance, one measure by itself (1.96 √2 standard uncertainties). ±, "
      "and the ranges in brackets: 95 % intervals, from the photos alone.",
      "",
      Ink::kFaint);
  return std::move(page).Take();
}

}  // namespace plumbfoot::report
