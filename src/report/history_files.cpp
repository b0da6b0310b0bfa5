// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <cmath>
#include <stdexcept>
#include <string>
#include <utility>

#include "plumbfoot/report/horse_history.h"
#include "report/schema.h"
#include "report/text.h"

namespace plumbfoot::report {

extern const std::string_view kHistorySchemaJson;  // Embedded.

namespace {

using nlohmann::json;

json IntervalJson(double low, double high) {
  return json::array({RoundedForFile(low), RoundedForFile(high)});
}

/// A slope per day has few digits before the first that counts.
double RoundedSlope(double value) {
  return RoundedForFile(value * 1e3) / 1e3;
}

json SlopeJson(const std::optional<trend::RobustSlope>& slope) {
  if (!slope) return nullptr;
  json entry = {{"readings", slope->readings},
                {"per_day", RoundedSlope(slope->slope)},
                {"interval95", nullptr},
                {"differs_from_zero", nullptr}};
  if (slope->interval) {
    entry["interval95"] = json::array({RoundedSlope(slope->interval->low),
                                       RoundedSlope(slope->interval->high)});
    entry["differs_from_zero"] = *slope->differs_from_zero();
  }
  return entry;
}

json RateJson(const trend::Rate& rate) {
  return {{"days", rate.days},
          {"per_day", RoundedSlope(rate.per_day)},
          {"standard_uncertainty", RoundedSlope(rate.standard_uncertainty)},
          {"interval95",
           json::array({RoundedSlope(rate.low95), RoundedSlope(rate.high95)})}};
}

json TargetJson(const TargetState& target) {
  const auto said = [](const std::string& text) {
    return text.empty() ? json() : json(text);
  };
  json entry = {{"value", RoundedForFile(target.value)},
                {"set_by", said(CleanUtf8(target.by))},
                {"set_on", said(target.set_on)},
                {"of", DateOfDay(target.day)},
                {"distance", RoundedForFile(target.distance)},
                {"half_width95", RoundedForFile(target.half95)},
                {"reached", target.reached},
                {"when", nullptr}};
  if (target.when) {
    const auto date = [](double day) {
      return DateOfDay(static_cast<int>(std::lround(day)));
    };
    entry["when"] = {{"expected", date(target.when->expected)},
                     {"earliest", date(target.when->interval.low)},
                     {"latest", date(target.when->interval.high)}};
  }
  return entry;
}

json MeasureJson(const MeasureHistory& history) {
  json readings = json::array();
  for (const DatedReading& r : history.readings) {
    readings.push_back(
        {{"date", DateOfDay(r.day)},
         {"stage", StageName(r.stage)},
         {"shod", r.shod},
         {"sure", !r.unsure},
         {"value", RoundedForFile(r.measured.value)},
         {"standard_uncertainty",
          RoundedForFile(r.measured.standard_uncertainty)},
         {"interval95", IntervalJson(r.measured.low95, r.measured.high95)}});
  }
  json spells = json::array();
  for (const Spell& spell : history.spells) {
    json entry = RateJson(spell.rate);
    entry["from"] = DateOfDay(spell.from_day);
    entry["to"] = DateOfDay(spell.to_day);
    spells.push_back(std::move(entry));
  }
  return {
      {"unit", measure::UnitName(measure::InfoOf(history.id).unit)},
      {"readings", std::move(readings)},
      {"shod_and_bare", history.mixed},
      {"trend",
       {{"before", SlopeJson(history.before)},
        {"after", SlopeJson(history.after)}}},
      {"smallest_visible_change", RoundedForFile(history.smallest_visible)},
      {"between_visits",
       {{"spells", std::move(spells)},
        {"mean", history.mean_rate ? RateJson(*history.mean_rate) : json()}}},
      {"target", history.target ? TargetJson(*history.target) : json()}};
}

json PairJson(const PairState& pair) {
  const json whole = ToJson(pair.comparison);
  return {{"date", pair.date},
          {"left", whole.at("before")},
          {"right", whole.at("after")},
          {"factor", whole.at("factor")},
          {"differences", whole.at("differences")}};
}

/// RFC 4180: in quotes where it must be. A spreadsheet takes a text that begins
/// so for a formula.
std::string Cell(std::string text) {
  if (!text.empty() &&
      std::string_view("=+-@\t").find(text.front()) != std::string_view::npos) {
    text = fmt::format("'{}", text);
  }
  if (text.find_first_of("\",\r\n") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  quoted += '"';
  return quoted;
}

}  // namespace

json ToJson(const HorseHistory& history) {
  json visits = json::array();
  for (const VisitWords& visit : history.visits) {
    visits.push_back({{"date", visit.date}, {"done", CleanUtf8(visit.words)}});
  }
  json feet = json::object();
  for (const FootHistory& foot : history.feet) {
    json measures = json::object();
    for (const MeasureHistory& of : foot.measures) {
      measures[std::string(measure::InfoOf(of.id).key)] = MeasureJson(of);
    }
    feet[std::string(geometry::FootName(foot.foot))] = {
        {"measures", std::move(measures)}};
  }
  json pairs = json::array();
  for (const PairState& pair : history.pairs) pairs.push_back(PairJson(pair));
  const bool drifts = history.because == trend::DueBecause::kAngleDrifts;
  return {{"format", "plumbfoot-history"},
          {"version", 1},
          {"software", {{"name", "plumbfoot"}, {"version", PLUMBFOOT_VERSION}}},
          {"horse", CleanUtf8(history.horse)},
          {"visits", std::move(visits)},
          {"feet", std::move(feet)},
          {"left_and_right", std::move(pairs)},
          {"next_visit",
           {{"date", history.next_visit},
            {"because", drifts ? "angle_drifts" : "usual"},
            {"foot",
             history.due_foot ? json(geometry::FootName(*history.due_foot))
                              : json()},
            {"allowed_drift_deg",
             history.allowed_drift_deg ? json(*history.allowed_drift_deg)
                                       : json()}}}};
}

std::string_view HistorySchema() {
  return kHistorySchemaJson;
}

std::string HistoryText(const HorseHistory& history) {
  const json whole = ToJson(history);
  const auto valid = Validate(whole, kHistorySchemaJson, "history");
  if (!valid) throw std::logic_error(valid.error().message);
  return whole.dump(2) + "\n";
}

std::string HistoryCsv(const HorseHistory& history) {
  std::string csv =
      "horse,date,foot,stage,shod,measure,unit,value,standard_uncertainty,"
      "low95,high95,sure\r\n";
  const std::string horse = Cell(CleanUtf8(history.horse));
  for (const FootHistory& foot : history.feet) {
    for (const MeasureHistory& of : foot.measures) {
      const measure::MeasureInfo& info = measure::InfoOf(of.id);
      for (const DatedReading& r : of.readings) {
        csv += fmt::format("{},{},{},{},{},{},{},{},{},{},{},{}\r\n",
                           horse,
                           DateOfDay(r.day),
                           geometry::FootName(foot.foot),
                           StageName(r.stage),
                           r.shod ? "yes" : "no",
                           info.key,
                           measure::UnitName(info.unit),
                           RoundedForFile(r.measured.value),
                           RoundedForFile(r.measured.standard_uncertainty),
                           RoundedForFile(r.measured.low95),
                           RoundedForFile(r.measured.high95),
                           r.unsure ? "no" : "yes");
      }
    }
  }
  return csv;
}

}  // namespace plumbfoot::report
