// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/foot_report.h"

#include <algorithm>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::report {
namespace {

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
  const auto day = casebook::ParseDay(text);
  if (!day) return day.error();
  return std::string(text);
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
