// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <string>
#include <vector>

#include "plumbfoot/report/horse_history.h"
#include "report/history_words.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::Unit;

std::string_view AxisUnit(Unit unit) {
  switch (unit) {
    case Unit::kMillimetre:
      return " [mm]";
    case Unit::kSquareMillimetre:
      return " [cm²]";
    case Unit::kDegree:
      return " [°]";
    case Unit::kPercent:
      return " [%]";
    case Unit::kRatio:
      return "";
  }
  return "";
}

/// A slope that differs from zero is drawn over the readings that it is of.
void AddLine(const std::optional<trend::RobustSlope>& slope,
             Phase phase,
             double per,
             const MeasureHistory& history,
             draw::TimePanel& panel) {
  if (!slope || slope->differs_from_zero() != true) return;
  std::vector<double> days;
  for (const DatedReading& r : history.readings) {
    if (r.phase == phase) days.push_back(r.day);
  }
  const auto value = [&](double day) {
    return per * (slope->intercept + slope->slope * day);
  };
  panel.lines.push_back({MarkOf(phase),
                         days.front(),
                         value(days.front()),
                         days.back(),
                         value(days.back())});
}

std::string FactsOf(const MeasureHistory& history, Unit unit) {
  std::string facts;
  const auto add = [&facts](const std::string& more) {
    if (!facts.empty()) facts += "\n";
    facts += more;
  };
  if (history.mixed) {
    add("Some shod, some bare: no trend is taken.");
  } else {
    const auto slope = [&](const std::optional<trend::RobustSlope>& of,
                           std::string_view when) {
      if (of && of->interval && *of->differs_from_zero()) {
        add(fmt::format("{} {}", when, SlopeWords(of, unit, false)));
      }
    };
    slope(history.before, "before");
    slope(history.after, "after");
    if (facts.empty()) {
      const bool enough = (history.before && history.before->interval) ||
                          (history.after && history.after->interval);
      add(enough ? "no trend that these visits can show"
                 : "too few visits for a trend");
    }
  }
  if (history.mean_rate && (Grows(history.id) || Drifts(history.id))) {
    add(fmt::format("{} {}",
                    Grows(history.id) ? "gains" : "drift",
                    RateWords(*history.mean_rate, unit)));
  }
  if (history.target) add(TargetWords(*history.target, unit));
  return facts;
}

draw::TimePanel PanelOf(const MeasureHistory& history) {
  const measure::MeasureInfo& info = measure::InfoOf(history.id);
  draw::TimePanel panel;
  panel.title = fmt::format("{}{}", info.name, AxisUnit(info.unit));
  const double per = info.unit == Unit::kSquareMillimetre ? 0.01 : 1.0;
  for (const DatedReading& r : history.readings) {
    panel.points.push_back({static_cast<double>(r.day),
                            per * r.measured.value,
                            per * r.measured.low95,
                            per * r.measured.high95,
                            MarkOf(r.phase),
                            r.unsure});
  }
  AddLine(history.before, Phase::kBefore, per, history, panel);
  AddLine(history.after, Phase::kAfter, per, history, panel);
  if (history.target) panel.target = per * history.target->value;
  panel.facts = FactsOf(history, info.unit);
  return panel;
}

}  // namespace

draw::TimeChart ChartOf(const HorseHistory& history,
                        const FootHistory& foot,
                        View view) {
  draw::TimeChart chart;
  std::string which(geometry::FootWords(foot.foot));
  which.front() = static_cast<char>(which.front() - 'a' + 'A');
  chart.title = fmt::format("{}, {}: {}",
                            CleanUtf8(history.horse),
                            geometry::FootWords(foot.foot),
                            view == View::kSolar ? "the sole" : "the side");
  chart.subtitle = fmt::format(
      "{} to {}", history.visits.front().date, history.visits.back().date);
  for (const MeasureHistory& of : foot.measures) {
    if (measure::InfoOf(of.id).view == view) {
      chart.panels.push_back(PanelOf(of));
    }
  }
  int number = 0;
  for (const VisitWords& visit : history.visits) {
    ++number;
    chart.visits.push_back(
        {static_cast<double>(DayOfDate(visit.date)),
         std::to_string(number),
         visit.words.empty()
             ? visit.date
             : fmt::format("{}: {}", visit.date, CleanUtf8(visit.words))});
  }
  chart.bars =
      "Bars: 95 % intervals, from the photos alone. Trends: median slope of "
      "all "
      "pairs of visits with its 95 % interval (Theil and Sen), told where it "
      "differs from zero; of twenty measures without a trend one may show one "
      "by chance.";
  chart.notes.emplace_back(
      "Measured from photos; no diagnosis. What to do about a foot is the "
      "farrier's and the vet's to say.");
  return chart;
}

}  // namespace plumbfoot::report
