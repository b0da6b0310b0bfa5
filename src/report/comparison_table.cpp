// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "plumbfoot/judge/words.h"
#include "plumbfoot/report/comparison.h"
#include "report/comparison_words.h"
#include "report/page.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::MeasureId;
using trend::Change;
using trend::NotCompared;

// The columns of a line of the table; with the blanks between them, 80.
constexpr int kNameColumns = 28;
constexpr int kValueColumns = 7;
constexpr int kDifferenceColumns = 7;
constexpr int kHalfColumns = 5;
constexpr int kUnitColumns = 4;
constexpr int kVisibleColumns = 5;

std::string Upper(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') {
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  }
  return text;
}

std::string Verdict(MeasureId id,
                    const Change& change,
                    const Comparison& comparison) {
  const std::string_view words = !change.changed       ? "    -"
                                 : comparison.mirrored ? "differs"
                                                       : "changed";
  return fmt::format("{}{}", words, comparison.unsure(id) ? "?" : "");
}

bool AnyUnsure(const Comparison& comparison) {
  return std::any_of(comparison.change.comparisons.begin(),
                     comparison.change.comparisons.end(),
                     [&](const auto& entry) {
                       return std::holds_alternative<Change>(entry.second) &&
                              comparison.unsure(entry.first);
                     });
}

void AddRow(MeasureId id,
            const Change& change,
            const Comparison& comparison,
            const measure::Outcomes& before,
            const measure::Outcomes& after,
            Page& page) {
  const measure::MeasureInfo& info = measure::InfoOf(id);
  const ShownChange shown = Show(change, info.unit);
  page.Line(fmt::format(
                "  {}{}{} {} ± {}{}{} {}",
                Padded(NameIn(comparison, id), kNameColumns, Align::kLeft),
                Padded(ShowValue(before, id), kValueColumns, Align::kRight),
                Padded(ShowValue(after, id), kValueColumns + 1, Align::kRight),
                Padded(shown.difference, kDifferenceColumns, Align::kRight),
                Padded(shown.half_width, kHalfColumns, Align::kLeft),
                Padded(shown.unit, kUnitColumns, Align::kLeft),
                Padded(shown.visible, kVisibleColumns, Align::kRight),
                Verdict(id, change, comparison)),
            change.changed ? Ink::kStrong : Ink::kPlain);
}

void AddView(View view, const Comparison& comparison, Page& page) {
  const auto after = comparison.mirrored
                         ? trend::MirrorImage(comparison.after.outcomes)
                         : comparison.after.outcomes;
  bool headed = false;
  for (const auto& [id, compared] : comparison.change.comparisons) {
    if (measure::InfoOf(id).view != view) continue;
    const auto* change = std::get_if<Change>(&compared);
    if (change == nullptr) continue;
    if (!headed) {
      page.Heading(view == View::kSolar ? "Sole" : "Side");
      page.Line(
          fmt::format("  {}{}{} {}   {}{}",
                      Padded("", kNameColumns, Align::kLeft),
                      Padded("first", kValueColumns, Align::kRight),
                      Padded("second", kValueColumns + 1, Align::kRight),
                      Padded(comparison.mirrored ? "differ" : "change",
                             kDifferenceColumns,
                             Align::kRight),
                      Padded("", kHalfColumns + kUnitColumns, Align::kLeft),
                      Padded("from", kVisibleColumns, Align::kRight)),
          Ink::kFaint);
      headed = true;
    }
    AddRow(id, *change, comparison, comparison.before.outcomes, after, page);
  }
}

void AddNotCompared(const Comparison& comparison, Page& page) {
  // One line for each reason, not for each measure.
  std::map<std::string, std::vector<std::string>> names;
  std::vector<std::string> reasons;
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const auto* why = std::get_if<NotCompared>(&compared);
    if (why == nullptr) continue;
    auto& list = names[why->why];
    if (list.empty()) reasons.push_back(why->why);
    list.push_back(NameIn(comparison, id));
  }
  if (reasons.empty()) return;
  page.Heading("Not compared");
  for (const std::string& why : reasons) {
    std::string list;
    for (const std::string& name : names[why]) {
      if (!list.empty()) list += ", ";
      list += name;
    }
    page.Wrapped(
        list + ": " + CleanForTerminal(why) + ".", "  - ", Ink::kFaint);
  }
}

}  // namespace

ShownChange Show(const Change& change, measure::Unit unit) {
  measure::Measured as_measured;
  as_measured.value = change.difference;
  as_measured.low95 = change.low95;
  as_measured.high95 = change.high95;
  const judge::Shown difference = judge::Show(as_measured, unit);
  as_measured.value = change.smallest_visible;
  const judge::Shown visible = judge::Show(as_measured, unit);
  const bool more =
      change.difference > 0 &&
      difference.value.find_first_of("123456789") != std::string::npos;
  return {(more ? "+" : "") + difference.value,
          difference.half_width,
          visible.value,
          difference.unit};
}

std::string ShowValue(const measure::Outcomes& outcomes, MeasureId id) {
  return judge::Show(std::get<measure::Measured>(outcomes.at(id)),
                     measure::InfoOf(id).unit)
      .value;
}

std::string NameIn(const Comparison& comparison, MeasureId id) {
  if (comparison.mirrored) {
    const bool left_first = geometry::IsLeft(comparison.before.foot);
    switch (id) {
      case MeasureId::kLeftHalfWidth:
        return left_first ? "Lateral half width" : "Medial half width";
      case MeasureId::kRightHalfWidth:
        return left_first ? "Medial half width" : "Lateral half width";
      case MeasureId::kHalfWidthDifference:
        return left_first ? "Lateral less medial half"
                          : "Medial less lateral half";
      default:
        break;
    }
  }
  return std::string(measure::InfoOf(id).name);
}

std::string VerdictWords(const Comparison& comparison) {
  int changed = 0;
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const auto* c = std::get_if<Change>(&compared);
    if (c != nullptr && c->changed) ++changed;
  }
  const int compared = comparison.change.compared;
  const std::string_view what = comparison.mirrored ? "difference" : "change";
  if (compared == 0) return "There is nothing to compare.";
  if (changed == 0) {
    return fmt::format(
        "No {} that these photos can show, in any of the {} "
        "measures compared.",
        what,
        compared);
  }
  if (changed == compared) {
    return fmt::format("{}: all of the {} measures compared.",
                       comparison.mirrored ? "They differ in" : "Changed",
                       compared);
  }
  return fmt::format(
      "{}: {} of the {} measures compared. In the others, no {} "
      "that these photos can show.",
      comparison.mirrored ? "They differ in" : "Changed",
      changed,
      compared,
      what);
}

std::string TitleOf(const Comparison& comparison) {
  const auto& before = comparison.before;
  std::string title =
      comparison.mirrored
          ? fmt::format("{} beside {} (mirrored)",
                        Upper(std::string(geometry::FootWords(before.foot))),
                        geometry::FootWords(comparison.after.foot))
          : Upper(std::string(geometry::FootWords(before.foot))) + " foot";
  const auto& horse = before.horse ? before.horse : comparison.after.horse;
  if (horse && !horse->empty()) title += " of " + *horse;
  return title;
}

std::string SideWords(const SavedReport& report, bool with_foot) {
  std::string words;
  const auto add = [&words](std::string_view more) {
    if (!words.empty()) words += ", ";
    words += more;
  };
  if (with_foot) add(geometry::FootWords(report.foot));
  if (report.date) add(*report.date);
  if (report.stage != Stage::kOther) add(StageWords(report.stage));
  add(report.shod ? "shod" : "bare");
  return words;
}

std::string ComparisonTable(const Comparison& comparison, bool colour) {
  Page page(colour);
  page.Wrapped(CleanForTerminal(TitleOf(comparison)), "", Ink::kStrong);
  page.Wrapped(
      CleanForTerminal(SideWords(comparison.before, comparison.mirrored)),
      "  first:  ");
  page.Wrapped(
      CleanForTerminal(SideWords(comparison.after, comparison.mirrored)),
      "  second: ");
  const trend::FootChange& change = comparison.change;
  AddView(View::kSolar, comparison, page);
  AddView(View::kLateral, comparison, page);
  page.Line("");
  page.Wrapped(VerdictWords(comparison), "", Ink::kStrong);
  if (change.compared > 0) {
    page.Wrapped(
        fmt::format(
            "\"from\": the smallest change that these photos can show, {:.2f} "
            "standard uncertainties. So large that of 100 feet that did not "
            "change at most 5 are called changed in any of {} measure{}; ± is "
            "the 95 % interval of one difference by itself.",
            change.factor,
            change.compared,
            change.compared == 1 ? "" : "s"),
        "",
        Ink::kFaint);
  }
  if (AnyUnsure(comparison)) {
    page.Wrapped(
        "?: rests on something that the program isn't sure of, which ± doesn't "
        "know. Look at it before you believe the verdict.",
        "",
        Ink::kLook);
  }
  AddNotCompared(comparison, page);
  if (!comparison.notes.empty()) page.Heading("Mind");
  for (const std::string& note : comparison.notes) {
    page.Wrapped(CleanForTerminal(note), "  - ");
  }
  return std::move(page).Take();
}

}  // namespace plumbfoot::report
