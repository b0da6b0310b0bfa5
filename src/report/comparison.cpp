// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/comparison.h"

#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <stdexcept>
#include <utility>

#include "report/schema.h"
#include "report/text.h"

namespace plumbfoot::report {

extern const std::string_view kComparisonSchemaJson;  // Embedded.

namespace {

using nlohmann::json;

std::string Lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return text;
}

/// Of the letters that everybody writes alike; a name in other letters that
/// differs in case counts as another, and is then only noted.
bool SameName(const std::string& a, const std::string& b) {
  return Lower(a) == Lower(b);
}

std::optional<Refusal> NotToBeCompared(const SavedReport& before,
                                       const SavedReport& after) {
  if (geometry::IsFore(before.foot) != geometry::IsFore(after.foot)) {
    return Refusal{
        RefusalCode::kUsage,
        fmt::format("One report is of the {} foot, the other of the {}: a fore "
                    "foot and a hind foot are not made alike.",
                    geometry::FootWords(before.foot),
                    geometry::FootWords(after.foot)),
        "Compare a foot with itself, or the left with the right of a pair."};
  }
  if (before.horse && after.horse && !SameName(*before.horse, *after.horse)) {
    return Refusal{
        RefusalCode::kUsage,
        fmt::format(
            "These are two horses: {} and {}.", *before.horse, *after.horse),
        "Compare two reports of one horse; where the name is "
        "misspelt in one, measure that foot again."};
  }
  return std::nullopt;
}

bool SamePhoto(const std::optional<SavedView>& a,
               const std::optional<SavedView>& b) {
  return a && b && a->sha256 == b->sha256;
}

void AddPhotoNotes(const SavedReport& report,
                   std::string_view which,
                   Comparison& comparison) {
  for (const View view : {View::kSolar, View::kLateral}) {
    const auto& photo = report.view(view);
    if (!photo) continue;
    const std::string_view side =
        view == View::kSolar ? "the sole" : "the side";
    if (photo->retake) {
      comparison.needs_person = true;
      comparison.notes.push_back(
          fmt::format("The {} photo of {} was graded \"retake\": what it shows "
                      "is not to be relied on.",
                      which,
                      side));
    }
    if (!photo->unsure.empty()) {
      comparison.needs_person = true;
      comparison.notes.push_back(fmt::format(
          "In the {} photo of {} the program isn't sure of: {}. Look at them "
          "before you believe a change that rests on them.",
          which,
          side,
          fmt::join(photo->unsure, ", ")));
    }
  }
}

void AddNotes(Comparison& comparison) {
  const SavedReport& before = comparison.before;
  const SavedReport& after = comparison.after;
  if (before.shod != after.shod) {
    comparison.notes.emplace_back(
        "One is shod and the other bare: only what doesn't run to the shoe is "
        "compared.");
  } else if (before.shod) {
    comparison.notes.emplace_back(
        "Both are shod: lengths and widths to the ground are those of the "
        "shoes, and another shoe is a change too.");
  }
  if (before.date && after.date && *after.date < *before.date) {
    comparison.notes.push_back(
        fmt::format("The second is the older one ({} and {}): differences are "
                    "second less first.",
                    *before.date,
                    *after.date));
  }
  if (SamePhoto(before.solar, after.solar) ||
      SamePhoto(before.lateral, after.lateral)) {
    comparison.notes.emplace_back(
        "Both reports rest on one and the same photo: that it shows no change "
        "means nothing.");
  }
  if (comparison.same_print.empty() &&
      ((before.solar && after.solar) || (before.lateral && after.lateral))) {
    comparison.notes.emplace_back(
        "The reports don't say that their photos show the same printed card, "
        "so "
        "that the error of its print counts twice. Measure the print once "
        "(plumbfoot card --measured-mm), or say --same-card where you know.");
  }
  AddPhotoNotes(before, "first", comparison);
  AddPhotoNotes(after, "second", comparison);
}

json SideJson(const SavedReport& report) {
  const auto text = [](const std::optional<std::string>& value) {
    return value && !value->empty() ? json(CleanUtf8(*value)) : json();
  };
  return {{"foot", geometry::FootName(report.foot)},
          {"horse", text(report.horse)},
          {"date", text(report.date)},
          {"stage", StageName(report.stage)},
          {"shod", report.shod}};
}

}  // namespace

Result<Comparison> CompareReports(SavedReport before,
                                  SavedReport after,
                                  const ComparisonOptions& options) {
  if (const auto refusal = NotToBeCompared(before, after)) return *refusal;
  Comparison comparison;
  comparison.mirrored = before.foot != after.foot;
  for (const View view : {View::kSolar, View::kLateral}) {
    const auto& a = before.view(view);
    const auto& b = after.view(view);
    const bool cards = a && b && a->scale == geometry::ScaleSource::kCard &&
                       b->scale == geometry::ScaleSource::kCard;
    if (SamePrint(before, after, view) || (options.same_card && cards)) {
      comparison.same_print.insert(view);
    }
  }
  trend::CompareOptions compare;
  compare.same_print = comparison.same_print;
  compare.level = comparison.level;
  comparison.change = trend::CompareFeet(
      {before.outcomes, before.shod},
      {comparison.mirrored ? trend::MirrorImage(after.outcomes)
                           : after.outcomes,
       after.shod},
      compare);
  comparison.before = std::move(before);
  comparison.after = std::move(after);
  AddNotes(comparison);
  return comparison;
}

bool Comparison::unsure(measure::MeasureId id) const {
  return before.unsure.contains(id) || after.unsure.contains(id);
}

json ToJson(const Comparison& comparison) {
  json same_print = json::array();
  for (const View view : comparison.same_print) {
    same_print.push_back(geometry::ViewName(view));
  }
  const auto after = comparison.mirrored
                         ? trend::MirrorImage(comparison.after.outcomes)
                         : comparison.after.outcomes;
  json differences = json::object();
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const measure::MeasureInfo& info = measure::InfoOf(id);
    json& entry = differences[std::string(info.key)];
    if (const auto* why = std::get_if<trend::NotCompared>(&compared)) {
      entry = {{"not_compared", CleanUtf8(why->why)}};
      continue;
    }
    const auto& change = std::get<trend::Change>(compared);
    const auto value = [id = id](const measure::Outcomes& outcomes) {
      return RoundedForFile(std::get<measure::Measured>(outcomes.at(id)).value);
    };
    entry = {
        {"before", value(comparison.before.outcomes)},
        {"after", value(after)},
        {"unit", measure::UnitName(info.unit)},
        {"difference", RoundedForFile(change.difference)},
        {"standard_uncertainty", RoundedForFile(change.standard_uncertainty)},
        {"interval95",
         json::array(
             {RoundedForFile(change.low95), RoundedForFile(change.high95)})},
        {"smallest_visible_change", RoundedForFile(change.smallest_visible)},
        {"sure", !comparison.unsure(id)},
        {"verdict", change.changed ? "changed" : "no_visible_change"}};
  }
  return {{"format", "plumbfoot-comparison"},
          {"version", 1},
          {"software", {{"name", "plumbfoot"}, {"version", PLUMBFOOT_VERSION}}},
          {"before", SideJson(comparison.before)},
          {"after", SideJson(comparison.after)},
          {"mirrored", comparison.mirrored},
          {"same_print", std::move(same_print)},
          {"level", comparison.level},
          {"compared", comparison.change.compared},
          {"factor", RoundedForFile(comparison.change.factor)},
          {"changed", comparison.change.changed()},
          {"differences", std::move(differences)},
          {"notes", comparison.notes}};
}

std::string_view ComparisonSchema() {
  return kComparisonSchemaJson;
}

std::string ComparisonText(const Comparison& comparison) {
  const json whole = ToJson(comparison);
  const auto valid = Validate(whole, kComparisonSchemaJson, "comparison");
  if (!valid) throw std::logic_error(valid.error().message);
  return whole.dump(2) + "\n";
}

}  // namespace plumbfoot::report
