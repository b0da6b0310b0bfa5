// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/terminal_table.h"

#include <fmt/core.h>
#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <string_view>
#include <vector>

#include "plumbfoot/find/finder.h"
#include "plumbfoot/judge/figures.h"
#include "plumbfoot/judge/words.h"
#include "report/page.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

// The columns of a line of the table; with the blanks between them, 80.
constexpr int kNameColumns = 28;
constexpr int kValueColumns = 7;
constexpr int kHalfColumns = 6;
constexpr int kUnitColumns = 4;
constexpr int kEndColumns = 7;

std::string MeasureLine(std::string_view name,
                        const judge::Shown& shown,
                        std::string_view placed_by) {
  return fmt::format("  {}{} ± {}{}   {} to {}  {}",
                     Padded(name, kNameColumns, Align::kLeft),
                     Padded(shown.value, kValueColumns, Align::kRight),
                     Padded(shown.half_width, kHalfColumns, Align::kLeft),
                     Padded(shown.unit, kUnitColumns, Align::kLeft),
                     Padded(shown.low95, kEndColumns, Align::kRight),
                     Padded(shown.high95, kEndColumns, Align::kLeft),
                     placed_by);
}

/// Who placed its points, or that the program did and isn't sure of them all.
std::string_view Who(const measure::Measured& m) {
  if (m.placed_by == PlacedBy::kPerson) return "person";
  return m.confidence >= find::kSureConfidence ? "program" : "unsure";
}

std::string_view ViewHeading(View view) {
  return view == View::kSolar ? "Sole" : "Side";
}

std::string_view ScaleWords(geometry::ScaleSource scale) {
  switch (scale) {
    case geometry::ScaleSource::kCard:
      return "scale from the card";
    case geometry::ScaleSource::kKnownLength:
      return "scale from a known length";
    case geometry::ScaleSource::kNone:
      return "no scale";
  }
  return "";
}

void AddView(const ViewReport& view, View which, Page& page) {
  page.Heading(fmt::format("{} ({}): {}, {}",
                           ViewHeading(which),
                           CleanForTerminal(view.file),
                           judge::GradeName(view.quality.grade),
                           ScaleWords(view.scale)));
  page.Line(fmt::format("  {}   very likely within  points",
                        Padded("",
                               kNameColumns + kValueColumns + 3 + kHalfColumns +
                                   kUnitColumns,
                               Align::kLeft)),
            Ink::kFaint);
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    if (info.view != which) continue;
    const measure::Outcome& outcome = view.measures.outcomes.at(info.id);
    if (const auto* m = std::get_if<measure::Measured>(&outcome)) {
      const std::string line =
          MeasureLine(info.name, judge::Show(*m, info.unit), Who(*m));
      if (Columns(line) <= kPageColumns) {
        page.Line(line);
      } else {
        page.Wrapped(line, "  ");  // Numbers that no foot has.
      }
    } else {
      const auto& why = std::get<measure::NotMeasured>(outcome).why;
      page.Wrapped("not measured: " + CleanForTerminal(why),
                   "  " + Padded(info.name, kNameColumns, Align::kLeft) + " ",
                   Ink::kFaint);
    }
  }
}

/// Figures that may stand out: that a photo can't decide them is worth saying.
std::set<std::string> FiguresThatStandOut() {
  std::set<std::string> ids;
  for (const judge::Figure& figure : judge::LoadFigures()) {
    if (figure.stands_out) ids.insert(figure.id);
  }
  return ids;
}

void AddObservation(const judge::Observation& observation,
                    Ink ink,
                    Page& page) {
  page.Wrapped(observation.words, "  - ", ink);
  page.Wrapped(fmt::format("[{}]", fmt::join(observation.citations, "; ")),
               "    ",
               Ink::kFaint);
}

void AddObservations(const judge::Verdict& verdict, Page& page) {
  const std::set<std::string> decisive = FiguresThatStandOut();
  std::vector<const judge::Observation*> open;
  std::size_t others = 0;
  bool any = false;
  page.Heading("What stands out");
  for (const judge::Observation& o : verdict.observations) {
    if (o.stands_out) {
      AddObservation(o, Ink::kLook, page);
      any = true;
    } else if (o.relation == judge::Relation::kCrosses &&
               decisive.contains(o.figures.front())) {
      open.push_back(&o);
    } else {
      ++others;
    }
  }
  if (!any) page.Line("  Nothing.");
  if (!open.empty()) page.Heading("What these photos can't tell");
  for (const judge::Observation* o : open) {
    AddObservation(*o, Ink::kPlain, page);
  }
  if (others > 0) {
    page.Wrapped(fmt::format("({} more comparison{} with published figures "
                             "stand{} in the report.)",
                             others,
                             others == 1 ? "" : "s",
                             others == 1 ? "s" : ""),
                 "  ",
                 Ink::kFaint);
  }
}

void AddCautions(const judge::Verdict& verdict, Page& page) {
  if (verdict.cautions.empty()) return;
  page.Heading("Mind");
  for (const judge::Caution& caution : verdict.cautions) {
    page.Wrapped(
        caution.words,
        "  - ",
        caution.kind == judge::CautionKind::kVet ? Ink::kStrong : Ink::kPlain);
    page.Wrapped(caution.why, "    ", Ink::kFaint);
  }
}

/// "heel_left" is "heel left".
std::string PointWords(std::string_view name) {
  std::string words(name);
  std::replace(words.begin(), words.end(), '_', ' ');
  return words;
}

std::vector<std::string> PointsToPlace(const ViewReport& view, View which) {
  std::vector<std::string> names;
  for (const PointId id : geometry::PointsOf(which)) {
    if (!view.points.at(id) && !view.points.is_hidden(id)) {
      names.push_back(PointWords(geometry::PointName(id)));
    }
  }
  if (which == View::kSolar && !view.points.outline) {
    names.emplace_back("outline");
  }
  return names;
}

std::vector<std::string> PointsToCheck(const ViewReport& view) {
  std::vector<std::string> names;
  for (const std::string_view name : find::Unsure(view.points)) {
    names.push_back(PointWords(name));
  }
  return names;
}

void AddToDo(const ViewReport& view, View which, Page& page) {
  for (const judge::Reason& reason : view.quality.reasons) {
    page.Wrapped(
        fmt::format("{}: {} {}",
                    ViewHeading(which),
                    CleanForTerminal(reason.words),
                    CleanForTerminal(reason.remedy)),
        reason.grade == judge::Grade::kRetake ? "  - Retake. " : "  - ",
        reason.grade == judge::Grade::kRetake ? Ink::kLook : Ink::kPlain);
  }
  const std::vector<std::string> unsure = PointsToCheck(view);
  if (!unsure.empty()) {
    page.Wrapped(
        fmt::format("{}: the program isn't sure of these; look at them "
                    "in the drawn-on photo and put them right: {}.",
                    ViewHeading(which),
                    fmt::join(unsure, ", ")),
        "  - ",
        Ink::kLook);
  }
  const std::vector<std::string> names = PointsToPlace(view, which);
  if (names.empty()) return;
  page.Wrapped(fmt::format("{}: place by hand, or say that it can't be seen: "
                           "{}.",
                           ViewHeading(which),
                           fmt::join(names, ", ")),
               "  - ",
               Ink::kLook);
}

bool AnythingToDo(const std::optional<ViewReport>& view, View which) {
  return view &&
         (!view->quality.reasons.empty() || !PointsToCheck(*view).empty() ||
          !PointsToPlace(*view, which).empty());
}

}  // namespace

std::string TerminalTable(const FootReport& report, bool colour) {
  Page page(colour);
  std::string title = std::string(geometry::FootWords(report.foot)) + " foot";
  title.front() = static_cast<char>(title.front() - 'a' + 'A');
  if (report.horse && !report.horse->empty()) {
    title += ", " + CleanForTerminal(*report.horse);
  }
  if (report.date) title += ", " + CleanForTerminal(*report.date);
  if (report.stage != Stage::kOther) {
    title += ", " + std::string(StageWords(report.stage));
  }
  title += report.shod ? ", shod" : ", bare";
  page.Wrapped(title, "", Ink::kStrong);

  if (report.solar) AddView(*report.solar, View::kSolar, page);
  if (report.lateral) AddView(*report.lateral, View::kLateral, page);
  AddObservations(report.verdict, page);
  AddCautions(report.verdict, page);
  const bool solar = AnythingToDo(report.solar, View::kSolar);
  const bool lateral = AnythingToDo(report.lateral, View::kLateral);
  if (solar || lateral) page.Heading("To do");
  if (solar) AddToDo(*report.solar, View::kSolar, page);
  if (lateral) AddToDo(*report.lateral, View::kLateral, page);
  return std::move(page).Take();
}

}  // namespace plumbfoot::report
