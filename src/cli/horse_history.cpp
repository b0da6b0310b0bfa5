// SPDX-License-Identifier: Apache-2.0
#include "cli/horse_history.h"

#include <fmt/core.h>
#include <unistd.h>

#include <future>
#include <optional>
#include <utility>

#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/horse_history.h"

namespace plumbfoot::cli {
namespace {

void Append(std::string& text, std::string_view glue, std::string_view more) {
  if (more.empty()) return;
  if (!text.empty()) text += glue;
  text += more;
}

std::string WordsOf(const casebook::Work& work) {
  std::string words;
  if (work.trimmed) Append(words, ", ", "trimmed");
  Append(words, ", ", work.shoe == "none" ? "no shoe" : work.shoe);
  const auto named = [&words](std::string_view name, const std::string& what) {
    if (!what.empty()) Append(words, ", ", fmt::format("{} {}", name, what));
  };
  named("size", work.size);
  named("nails", work.nails);
  named("pads", work.pads);
  named("wedges", work.wedges);
  if (words.empty() || work.feet.empty()) return words;
  std::string feet;
  for (const Foot foot : work.feet) {
    Append(feet, " ", geometry::FootName(foot));
  }
  return feet + ": " + words;
}

}  // namespace

std::string WordsOf(const casebook::Notes& notes) {
  std::string words;
  for (const casebook::Work& work : notes.work) {
    Append(words, "; ", WordsOf(work));
  }
  return words;
}

report::HistoryRequest RequestOf(const casebook::History& record,
                                 const std::optional<casebook::Day>& since,
                                 const std::optional<casebook::Day>& until,
                                 bool& damaged) {
  report::HistoryRequest request;
  request.horse = record.horse.name;
  for (const casebook::Visit& visit : record.visits) {
    if ((since && visit.day < *since) || (until && visit.day > *until)) {
      continue;
    }
    const std::string date = casebook::DayText(visit.day);
    request.visits.push_back({date, WordsOf(visit.notes)});
    for (const casebook::FootRecord& foot : visit.feet) {
      auto report = report::ReadReport(foot.summary);
      if (!report) {
        fmt::print(stderr,
                   "{}: {}\n",
                   foot.folder.generic_string(),
                   report.error().message);
        damaged = true;
        continue;
      }
      // Where a report doesn't say it, the casebook does.
      report->date = date;
      request.reports.push_back(std::move(*report));
    }
  }
  return request;
}

ExitStatus RunHorseHistory(const casebook::Casebook& casebook,
                           const HorseHistoryWords& words) {
  std::vector<report::Target> targets;
  for (const std::string& text : words.targets) {
    const auto target = report::ParseTarget(text);
    if (!target) return Refuse(target.error());
    targets.push_back(*target);
  }
  if (words.allowed_drift_deg != 0.0) {
    if (!(words.allowed_drift_deg > 0 && words.allowed_drift_deg <= 20)) {
      return Refuse({RefusalCode::kUsage,
                     fmt::format("An angle can't be allowed to drift by {}°.",
                                 words.allowed_drift_deg),
                     "Say how many degrees from one visit to the next, such as "
                     "--allowed-drift 2."});
    }
  }
  const auto horse = casebook::FindHorse(
      casebook,
      words.horse,
      words.yard.empty() ? std::optional<std::string>() : words.yard);
  if (!horse) return Refuse(horse.error());
  const casebook::History record = casebook::ReadHistory(casebook, *horse);
  bool damaged = !record.set_aside.empty();
  for (const casebook::Damage& d : record.set_aside) {
    fmt::print(stderr, "{}: {}\n", d.where.generic_string(), d.refusal.message);
  }
  std::optional<casebook::Day> since;
  if (!words.since.empty()) {
    const auto day = casebook::ParseDay(words.since);
    if (!day) return Refuse(day.error());
    since = *day;
  }
  report::HistoryRequest request = RequestOf(record, since, {}, damaged);
  request.targets = std::move(targets);
  if (words.allowed_drift_deg != 0.0) {
    request.allowed_drift_deg = words.allowed_drift_deg;
  }
  const auto history = report::MakeHistory(std::move(request));
  if (!history) return Refuse(history.error());

  // Everything is made before anything is written.
  std::vector<std::pair<std::string, std::future<std::string>>> drawn;
  for (const report::FootHistory& foot : history->feet) {
    for (const View view : {View::kSolar, View::kLateral}) {
      draw::TimeChart chart = report::ChartOf(*history, foot, view);
      if (chart.panels.empty()) continue;
      const std::string name = fmt::format(
          "{}-{}", geometry::FootName(foot.foot), geometry::ViewName(view));
      drawn.emplace_back(name + ".png", std::async(std::launch::async, [chart] {
                           return draw::TimeChartPng(chart);
                         }));
      drawn.emplace_back(
          name + ".svg",
          std::async(std::launch::async, [chart = std::move(chart)] {
            return draw::TimeChartSvg(chart);
          }));
    }
  }
  const std::string text = report::HistoryText(*history);
  std::vector<photo::NamedBytes> files = {
      {"history.json", text}, {"history.csv", report::HistoryCsv(*history)}};
  for (auto& [name, bytes] : drawn) files.push_back({name, bytes.get()});
  const auto written = photo::WriteSet(words.out, files);
  if (!written) return Refuse(written.error());
  if (words.as_json) {
    fmt::print("{}", text);
  } else {
    fmt::print("{}\n", report::HistoryTable(*history, isatty(1) != 0));
    for (const auto& file : *written) fmt::print("{}\n", file.string());
  }
  return damaged ? ExitStatus::kNeedsPerson : ExitStatus::kDone;
}

}  // namespace plumbfoot::cli
