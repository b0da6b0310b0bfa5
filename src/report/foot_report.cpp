// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/foot_report.h"

#include <algorithm>
#include <chrono>

#include "plumbfoot/find/finder.h"

namespace plumbfoot::report {
namespace {

/// The number that `digits` are; -1 if they aren't digits.
int Digits(std::string_view digits) {
  int number = 0;
  for (const char c : digits) {
    if (c < '0' || c > '9') return -1;
    number = number * 10 + (c - '0');
  }
  return number;
}

bool IsDay(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  const int year = Digits(text.substr(0, 4));
  const int month = Digits(text.substr(5, 2));
  const int day = Digits(text.substr(8, 2));
  if (year < 0 || month < 0 || day < 0) return false;
  return std::chrono::year_month_day(
             std::chrono::year(year),
             std::chrono::month(static_cast<unsigned>(month)),
             std::chrono::day(static_cast<unsigned>(day)))
      .ok();
}

bool LacksPoints(const ViewPoints& points) {
  const auto ids = geometry::PointsOf(points.view);
  const bool lacks = std::any_of(ids.begin(), ids.end(), [&](PointId id) {
    return !points.at(id) && !points.is_hidden(id);
  });
  return lacks || (points.view == View::kSolar && !points.outline);
}

bool LacksMeasures(const measure::ViewMeasures& measures) {
  return std::any_of(
      measures.outcomes.begin(), measures.outcomes.end(), [](const auto& of) {
        return std::holds_alternative<measure::NotMeasured>(of.second);
      });
}

bool NeedsAPerson(const std::optional<ViewReport>& view) {
  if (!view) return false;
  return view->quality.grade == judge::Grade::kRetake ||
         !find::Unsure(view->points).empty() ||
         (LacksPoints(view->points) && LacksMeasures(view->measures));
}

}  // namespace

Result<std::string> ParseDate(std::string_view text) {
  if (IsDay(text)) return std::string(text);
  return Refusal{RefusalCode::kUsage,
                 "'" + std::string(text) + "' is not a day of the calendar.",
                 "Write the date as year-month-day, such as 2026-03-14."};
}

std::string_view ScaleName(geometry::ScaleSource scale) {
  switch (scale) {
    case geometry::ScaleSource::kCard:
      return "card";
    case geometry::ScaleSource::kKnownLength:
      return "known_length";
    case geometry::ScaleSource::kNone:
      return "none";
  }
  return "";
}

judge::ViewToJudge ToJudge(const ViewReport& view) {
  judge::ViewToJudge photo;
  photo.outcomes = view.measures.outcomes;
  photo.scale = view.scale;
  if (view.card) {
    photo.print_checked = view.card->measured_mm.has_value();
    photo.tilt_deg = view.card->tilt_deg;
    photo.focal_assumed = view.card->focal_assumed;
  }
  return photo;
}

bool NeedsAPerson(const FootReport& report) {
  return NeedsAPerson(report.solar) || NeedsAPerson(report.lateral);
}

}  // namespace plumbfoot::report
