// SPDX-License-Identifier: Apache-2.0
#include "cli/horse_history.h"

#include <fmt/core.h>
#include <unistd.h>

#include <charconv>
#include <ctime>
#include <future>
#include <list>
#include <optional>
#include <utility>

#include "cli/settings.h"
#include "plumbfoot/casebook/record.h"
#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/due.h"
#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/recorded_case.h"

namespace plumbfoot::cli {
namespace {

/// "none" takes an aim back.
constexpr std::string_view kNone = "none";

/// What is to be kept with the horse.
Result<std::vector<casebook::Aim>> AimsOf(const HorseHistoryWords& words) {
  std::vector<casebook::Aim> aims;
  if (words.targets.empty() && words.allowed_drift.empty()) return aims;
  casebook::Aim aim;
  aim.set_on = Today();
  aim.by = words.by;
  if (aim.by.empty()) {
    const auto settings = LoadSettings(SettingsPath());
    if (!settings) return settings.error();
    aim.by = settings->practice;
  }
  if (aim.by.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "Who sets this? It is kept with the horse.",
                   "Say --by, such as --by \"Dr. Moor, vet\"."};
  }
  for (const std::string& text : words.targets) {
    const std::size_t equals = text.find('=');
    const bool none = equals != std::string::npos &&
                      std::string_view(text).substr(equals + 1) == kNone;
    const auto target =
        report::ParseTarget(none ? text.substr(0, equals + 1) + "0" : text);
    if (!target) return target.error();
    aim.what = measure::InfoOf(target->measure).key;
    aim.foot = target->foot;
    aim.value = none ? std::optional<double>() : target->value;
    aims.push_back(aim);
  }
  if (!words.allowed_drift.empty()) {
    aim.what = casebook::kAllowedDrift;
    aim.foot.reset();
    aim.value.reset();
    if (words.allowed_drift != kNone) {
      double degrees = 0.0;
      const char* const end =
          words.allowed_drift.data() + words.allowed_drift.size();
      const auto read =
          std::from_chars(words.allowed_drift.data(), end, degrees);
      // CHOSEN: no hoof moves by 20 degrees between two visits.
      if (read.ec != std::errc() || read.ptr != end ||
          !(degrees > 0 && degrees <= 20)) {
        return Refusal{
            RefusalCode::kUsage,
            fmt::format("An angle can't be allowed to drift by '{}'.",
                        words.allowed_drift),
            "Say how many degrees from one visit to the next, such as "
            "--allowed-drift 2, or \"none\"."};
      }
      aim.value = degrees;
    }
    aims.push_back(aim);
  }
  return aims;
}

}  // namespace

casebook::Day Today() {
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  ::localtime_r(&now, &local);
  return casebook::Day(std::chrono::year(local.tm_year + 1900) /
                       (local.tm_mon + 1) / local.tm_mday);
}

report::HistoryRequest RequestOf(const casebook::History& record,
                                 const std::optional<casebook::Day>& since,
                                 const std::optional<casebook::Day>& until,
                                 bool& damaged) {
  std::vector<casebook::Damage> unreadable;
  auto request = report::HistoryRequestOf(record, since, until, unreadable);
  for (const casebook::Damage& d : unreadable) {
    fmt::print(stderr, "{}: {}\n", d.where.generic_string(), d.refusal.message);
    damaged = true;
  }
  return request;
}

ExitStatus RunHorseHistory(const casebook::Casebook& casebook,
                           const HorseHistoryWords& words) {
  const auto horse = casebook::FindHorse(
      casebook,
      words.horse,
      words.yard.empty() ? std::optional<std::string>() : words.yard);
  if (!horse) return Refuse(horse.error());
  const auto aims = AimsOf(words);
  if (!aims) return Refuse(aims.error());
  if (!aims->empty()) {
    const auto added = casebook::RecordAims(casebook, *horse, *aims);
    if (!added) return Refuse(added.error());
    report::KeepDue(casebook, *horse);
  }
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
  if (!words.foot.empty()) {
    const auto foot = geometry::ParseFoot(words.foot);
    if (!foot) return Refuse(foot.error());
    std::erase_if(request.reports, [&foot](const report::SavedReport& of) {
      return of.foot != *foot;
    });
  }
  const auto history = report::MakeHistory(std::move(request));
  if (!history) return Refuse(history.error());

  // Everything is made before anything is written. Pages are drawn one after
  // the other, as text is set in one thread only (DEVELOPERS.md); what sets
  // none is done beside.
  auto csv_made = std::async(
      std::launch::async, [&history] { return report::HistoryCsv(*history); });
  auto text_made = std::async(
      std::launch::async, [&history] { return report::HistoryText(*history); });
  struct Page {
    std::string name;
    std::string svg;
    draw::Canvas canvas;  // Not let go of in the thread that packs it.
    std::future<std::string> png;
  };
  std::list<Page> pages;
  for (const report::FootHistory& foot : history->feet) {
    for (const View view : {View::kSolar, View::kLateral}) {
      const draw::TimeChart chart = report::ChartOf(*history, foot, view);
      if (chart.panels.empty()) continue;
      pages.push_back({fmt::format("{}-{}",
                                   geometry::FootName(foot.foot),
                                   geometry::ViewName(view)),
                       "",
                       draw::TimeChartOnPng(chart),
                       {}});
      Page& page = pages.back();
      page.png = std::async(std::launch::async,
                            [&page] { return page.canvas.Finish(); });
      page.svg = draw::TimeChartSvg(chart);
    }
  }
  const std::string text = text_made.get();
  std::vector<photo::NamedBytes> files = {{"history.json", text},
                                          {"history.csv", csv_made.get()}};
  for (Page& page : pages) {
    files.push_back({page.name + ".png", page.png.get()});
    files.push_back({page.name + ".svg", std::move(page.svg)});
  }
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
