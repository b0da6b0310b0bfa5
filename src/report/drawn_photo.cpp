// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/drawn_photo.h"

#include <fmt/core.h>

#include <cmath>
#include <stdexcept>
#include <string>
#include <vector>

#include "plumbfoot/draw/annotate.h"
#include "plumbfoot/report/saved_report.h"

namespace plumbfoot::report {
namespace {

using geometry::PhotoPoint;
using nlohmann::json;

PhotoPoint PhotoPointOf(const json& pair) {
  return {pair.at(0).get<double>(), pair.at(1).get<double>()};
}

PlacedBy PlacedByOf(const json& placed) {
  return placed.at("placed_by") == "person" ? PlacedBy::kPerson
                                            : PlacedBy::kFinder;
}

std::optional<geometry::PlacedCurve> CurveOf(const json& curve) {
  if (!curve.contains("px")) return std::nullopt;
  geometry::PlacedCurve placed;
  for (const json& pair : curve.at("px")) {
    placed.px.push_back(PhotoPointOf(pair));
  }
  placed.placed_by = PlacedByOf(curve);
  placed.confidence = curve.at("confidence").get<double>();
  return placed;
}

ViewPoints PointsFrom(const json& points, View view) {
  ViewPoints placed;
  placed.view = view;
  for (const PointId id : geometry::PointsOf(view)) {
    const json& point = points.at(std::string(geometry::PointName(id)));
    placed.hidden.at(static_cast<std::size_t>(id)) =
        point.value("hidden", false);
    if (!point.contains("px")) continue;
    geometry::PlacedPoint& at = placed.at(id).emplace();
    at.px = PhotoPointOf(point.at("px"));
    at.placed_by = PlacedByOf(point);
    at.confidence = point.at("confidence").get<double>();
    if (point.contains("seen_px")) {
      at.seen_px = PhotoPointOf(point.at("seen_px"));
    }
  }
  if (view == View::kSolar) placed.outline = CurveOf(points.at("outline"));
  if (view == View::kLateral) {
    placed.dorsal_wall = CurveOf(points.at("dorsal_wall"));
  }
  return placed;
}

measure::Construction ConstructionOf(const json& lines) {
  measure::Construction construction;
  const auto read = [&lines](const char* name,
                             std::optional<std::array<PhotoPoint, 2>>& line) {
    if (!lines.contains(name)) return;
    line = {PhotoPointOf(lines.at(name).at(0)),
            PhotoPointOf(lines.at(name).at(1))};
  };
  read("frog_axis", construction.frog_axis);
  read("widest_line", construction.widest_line);
  read("bearing_line", construction.bearing_line);
  read("toe_line", construction.toe_line);
  read("pastern_line", construction.pastern_line);
  return construction;
}

/// Photo pixels per millimetre over the foot: what lies between its points in
/// the photo, against the same in the foot.
std::optional<double> PixelsPerMillimetre(const ViewPoints& points,
                                          const SavedView& view) {
  double px = 0.0;
  double mm = 0.0;
  const auto ids = geometry::PointsOf(points.view);
  for (std::size_t i = 0; i < ids.size(); ++i) {
    for (std::size_t k = 0; k < i; ++k) {
      const auto& a = points.at(ids[i]);
      const auto& b = points.at(ids[k]);
      if (!a || !b || !view.at(ids[i]) || !view.at(ids[k])) continue;
      px += geometry::Distance(a->px, b->px);
      mm += geometry::Distance(*view.at(ids[i]), *view.at(ids[k]));
    }
  }
  if (!(mm > 0)) return std::nullopt;
  return px / mm;
}

draw::AnnotateWords WordsFor(const OwnerWords& words) {
  draw::AnnotateWords drawn;
  for (const View view : {View::kSolar, View::kLateral}) {
    for (const PointId id : geometry::PointsOf(view)) {
      drawn.points[id] =
          words.Say(fmt::format("drawn.point.{}", geometry::PointName(id)));
    }
  }
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const std::string key = fmt::format("drawn.measure.{}", info.key);
    if (words.Has(key)) drawn.measures[info.id] = words.Say(key);
  }
  drawn.outline = words.Say("drawn.outline");
  drawn.dorsal_wall = words.Say("drawn.dorsal_wall");
  drawn.found = words.Say("drawn.found");
  drawn.placed = words.Say("drawn.placed");
  drawn.interval = words.Say("drawn.interval");
  drawn.no_scale = words.Say("drawn.no_scale");
  const OwnerWords::Values place = {{"points", "{points}"}};
  drawn.missing = words.Say("drawn.missing", place);
  drawn.unsure = words.Say("drawn.unsure", place);
  drawn.hidden = words.Say("drawn.hidden", place);
  drawn.decimal_mark = words.Say("decimal_mark");
  return drawn;
}

cv::Mat DrawAgain(const json& report,
                  const SavedReport& saved,
                  View view,
                  const photo::Photo& photo,
                  const OwnerWords& words) {
  const std::string name(geometry::ViewName(view));
  const SavedView& seen = *saved.view(view);
  const ViewPoints points = PointsFrom(report.at("points").at(name), view);
  measure::ViewMeasures measures;
  measures.view = view;
  measures.has_scale = seen.scale != geometry::ScaleSource::kNone;
  for (const auto& [id, outcome] : saved.outcomes) {
    if (measure::InfoOf(id).view == view) measures.outcomes[id] = outcome;
  }
  measures.construction = ConstructionOf(report.at("lines").at(name));

  draw::Caption caption;
  caption.foot =
      words.Say(fmt::format("foot.{}", geometry::FootName(saved.foot)));
  caption.horse = saved.horse.value_or("");
  if (saved.date) caption.date = words.Date(*saved.date);
  if (saved.stage != Stage::kOther) {
    caption.stage =
        words.Say(fmt::format("stage.{}", geometry::StageName(saved.stage)));
  }
  if (saved.shod) caption.lines.push_back(words.Say("drawn.shod"));
  draw::AnnotateOptions options;
  options.words = WordsFor(words);
  options.px_per_mm = PixelsPerMillimetre(points, seen);
  return draw::DrawAnnotated(photo, points, measures, caption, options).rgb;
}

}  // namespace

Result<std::optional<cv::Mat>> DrawnAgain(const json& report,
                                          View view,
                                          const photo::Photo& photo,
                                          const OwnerWords& words) {
  const auto saved = ReadReport(report);
  if (!saved) return saved.error();
  const std::string name(geometry::ViewName(view));
  if (!saved->view(view) || !report.contains("lines") ||
      !report.at("lines").contains(name) || !report.contains("points")) {
    return std::optional<cv::Mat>();
  }
  try {
    return std::optional(DrawAgain(report, *saved, view, photo, words));
  } catch (const json::exception& fault) {
    return Refusal{RefusalCode::kNotOurFormat,
                   fmt::format("The report can't be drawn: {}.", fault.what()),
                   "Use a report.json that Plumbfoot has written."};
  }
}

cv::Mat DrawnPhoto(const MeasuredFoot& foot, View view) {
  const bool solar = view == View::kSolar;
  const FootReport& report = foot.report;
  const auto& measured = solar ? report.solar : report.lateral;
  const auto& read = solar ? foot.solar : foot.lateral;
  if (!measured || !read) {
    throw std::invalid_argument("DrawnPhoto: no photo of that view");
  }
  draw::Caption caption;
  caption.foot = geometry::FootWords(report.foot);
  caption.horse = report.horse.value_or("");
  caption.date = report.date.value_or("");
  if (report.stage != Stage::kOther) {
    caption.stage = geometry::StageWords(report.stage);
  }
  if (report.shod)
    caption.lines.emplace_back("Shod: the ground is the shoe's.");
  draw::AnnotateOptions options;
  options.plane = read->plane;
  return draw::DrawAnnotated(read->photo,
                             measured->points,
                             measured->measures,
                             caption,
                             options)
      .rgb;
}

}  // namespace plumbfoot::report
