// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/report_json.h"

#include <cmath>
#include <optional>
#include <stdexcept>

#include "plumbfoot/find/finder.h"
#include "plumbfoot/judge/judge_foot.h"
#include "plumbfoot/judge/judge_photo.h"
#include "report/schema.h"
#include "report/text.h"

namespace plumbfoot::report {

extern const std::string_view kReportSchemaJson;  // Embedded.

namespace {

using nlohmann::json;

constexpr std::string_view kNotFound =
    "The program isn't sure where it is: place it by hand.";

json TextOrNull(const std::optional<std::string>& text) {
  if (!text || text->empty()) return nullptr;
  return CleanUtf8(*text);
}

/// What a camera wrote may be anything; only a time is passed on.
json TimeOrNull(const std::optional<std::string>& text) {
  constexpr std::string_view kShape = "0000-00-00T00:00:00";
  if (!text || text->size() != kShape.size()) return nullptr;
  for (std::size_t i = 0; i < kShape.size(); ++i) {
    const char c = (*text)[i];
    const bool digit = c >= '0' && c <= '9';
    if (kShape[i] == '0' ? !digit : c != kShape[i]) return nullptr;
  }
  return *text;
}

template <typename Frame>
json ToJson(geometry::Point<Frame> point) {
  return json::array({RoundedForFile(point.x), RoundedForFile(point.y)});
}

template <typename Frame>
json ToJson(const geometry::Covariance<Frame>& c) {
  const double xy = RoundedForFile(c.xy);
  return json::array({json::array({RoundedForFile(c.xx), xy}),
                      json::array({xy, RoundedForFile(c.yy)})});
}

template <typename Frame>
json ToJson(const geometry::Polyline<Frame>& line) {
  json points = json::array();
  for (const auto& point : line) points.push_back(ToJson(point));
  return points;
}

json ToJson(const CardFacts& card) {
  return {
      {"tags", card.tags_seen},
      {"tags_expected", card.tags_expected},
      {"residual_px", RoundedForFile(card.residual_px)},
      {"distance_mm", RoundedForFile(card.distance_mm)},
      {"tilt_deg", RoundedForFile(card.tilt_deg)},
      {"px_per_mm", RoundedForFile(card.px_per_mm)},
      {"blur_px", RoundedForFile(card.blur_px)},
      {"focal_assumed", card.focal_assumed},
      {"measured_mm",
       card.measured_mm ? json(RoundedForFile(*card.measured_mm)) : json()}};
}

json PhotoJson(const ViewReport& view) {
  json reasons = json::array();
  for (const judge::Reason& reason : view.quality.reasons) {
    reasons.push_back({{"code", reason.code},
                       {"quality", judge::GradeName(reason.grade)},
                       {"words", CleanUtf8(reason.words)},
                       {"remedy", CleanUtf8(reason.remedy)}});
  }
  return {{"file", CleanUtf8(view.file)},
          {"sha256", view.sha256},
          {"size", {{"width", view.width_px}, {"height", view.height_px}}},
          {"taken", TimeOrNull(view.taken)},
          {"scale", ScaleName(view.scale)},
          {"card", view.card ? ToJson(*view.card) : json()},
          {"quality", judge::GradeName(view.quality.grade)},
          {"reasons", std::move(reasons)}};
}

/// Adds the place in the foot, which without a scale has no millimetres.
void AddPlace(const std::optional<measure::PointInFoot>& place,
              bool has_scale,
              json& point) {
  if (!place || !has_scale) return;
  point["mm"] = ToJson(place->mm);
  point["covariance_mm2"] = ToJson(place->covariance);
}

json PointJson(const ViewReport& view, PointId id) {
  const auto& placed = view.points.at(id);
  if (view.points.is_hidden(id)) return {{"hidden", true}};
  if (!placed) return {{"not_found", kNotFound}};
  json point = {{"px", ToJson(placed->px)},
                {"placed_by", geometry::PlacedByName(placed->placed_by)},
                {"confidence", RoundedForFile(placed->confidence)},
                {"sure", find::IsSure(*placed)}};
  if (placed->seen_px) point["seen_px"] = ToJson(*placed->seen_px);
  AddPlace(view.measures.points.at(static_cast<std::size_t>(id)),
           view.measures.has_scale,
           point);
  return point;
}

json CurveJson(const std::optional<geometry::PlacedCurve>& curve,
               const geometry::FootPolyline& mm,
               bool has_scale) {
  if (!curve) return {{"not_found", kNotFound}};
  json line = {{"px", ToJson(curve->px)},
               {"placed_by", geometry::PlacedByName(curve->placed_by)},
               {"confidence", RoundedForFile(curve->confidence)},
               {"sure", find::IsSure(*curve)}};
  if (has_scale && !mm.empty()) line["mm"] = ToJson(mm);
  return line;
}

json PointsJson(const ViewReport& view, View which) {
  json points;
  for (const PointId id : geometry::PointsOf(which)) {
    points[std::string(geometry::PointName(id))] = PointJson(view, id);
  }
  const measure::ViewMeasures& m = view.measures;
  if (which == View::kLateral) {
    points["dorsal_wall"] =
        CurveJson(view.points.dorsal_wall, m.dorsal_wall, m.has_scale);
    points["heels_on"] = view.points.heel_plane == geometry::HeelPlane::kNear
                             ? "near"
                             : "middle";
    return points;
  }
  points["outline"] = CurveJson(view.points.outline, m.outline, m.has_scale);
  if (m.has_scale && m.widest_left && m.widest_right) {
    AddPlace(m.widest_left, m.has_scale, points["widest_left"]);
    AddPlace(m.widest_right, m.has_scale, points["widest_right"]);
  }
  return points;
}

json OutcomeJson(const measure::Outcome& outcome, measure::Unit unit) {
  if (const auto* not_measured = std::get_if<measure::NotMeasured>(&outcome)) {
    return {{"not_measured", CleanUtf8(not_measured->why)}};
  }
  const auto& m = std::get<measure::Measured>(outcome);
  return {{"value", RoundedForFile(m.value)},
          {"unit", measure::UnitName(unit)},
          {"standard_uncertainty", RoundedForFile(m.standard_uncertainty)},
          {"interval95",
           json::array({RoundedForFile(m.low95), RoundedForFile(m.high95)})},
          {"shared_uncertainty", RoundedForFile(m.shared_uncertainty)},
          {"placed_by", geometry::PlacedByName(m.placed_by)},
          {"sure", m.confidence >= find::kSureConfidence}};
}

const std::optional<ViewReport>& ViewOf(const FootReport& report, View view) {
  return view == View::kSolar ? report.solar : report.lateral;
}

json MeasuresJson(const FootReport& report) {
  json measures;
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const auto& view = ViewOf(report, info.view);
    json& entry = measures[std::string(info.key)];
    if (view) {
      // Every measure of a measured view has an outcome.
      entry = OutcomeJson(view->measures.outcomes.at(info.id), info.unit);
    } else {
      entry = {{"not_measured",
                "no " + std::string(geometry::ViewName(info.view)) + " photo"}};
    }
  }
  return measures;
}

json ObservationsJson(const judge::Verdict& verdict) {
  json observations = json::array();
  for (const judge::Observation& o : verdict.observations) {
    observations.push_back({{"measure", measure::InfoOf(o.measure).key},
                            {"figures", o.figures},
                            {"relation", judge::RelationName(o.relation)},
                            {"words", o.words},
                            {"citations", o.citations},
                            {"stands_out", o.stands_out}});
  }
  return observations;
}

json CautionsJson(const judge::Verdict& verdict) {
  json cautions = json::array();
  for (const judge::Caution& c : verdict.cautions) {
    cautions.push_back({{"code", c.code},
                        {"kind", judge::CautionKindName(c.kind)},
                        {"words", c.words},
                        {"why", c.why}});
  }
  return cautions;
}

/// Where the lines that measures were taken along are seen in the photo, so
/// that it can be drawn on again without being measured again.
json LinesJson(const measure::Construction& construction) {
  json lines = json::object();
  const auto add =
      [&lines](const char* name,
               const std::optional<std::array<geometry::PhotoPoint, 2>>& line) {
        if (line) lines[name] = {ToJson((*line)[0]), ToJson((*line)[1])};
      };
  add("frog_axis", construction.frog_axis);
  add("widest_line", construction.widest_line);
  add("bearing_line", construction.bearing_line);
  add("toe_line", construction.toe_line);
  add("pastern_line", construction.pastern_line);
  return lines;
}

}  // namespace

json ToJson(const FootReport& report) {
  json lines = json::object();
  json photos = json::object();
  json points = json::object();
  for (const View which : {View::kSolar, View::kLateral}) {
    const auto& view = ViewOf(report, which);
    if (!view) continue;
    const std::string name(geometry::ViewName(which));
    photos[name] = PhotoJson(*view);
    points[name] = PointsJson(*view, which);
    lines[name] = LinesJson(view->measures.construction);
  }
  return {
      {"format", "plumbfoot-report"},
      {"version", 1},
      {"foot", geometry::FootName(report.foot)},
      {"shod", report.shod},
      {"horse", TextOrNull(report.horse)},
      {"visit",
       {{"date", TextOrNull(report.date)}, {"stage", StageName(report.stage)}}},
      {"software",
       {{"name", "plumbfoot"}, {"version", report.software_version}}},
      {"photos", std::move(photos)},
      {"points", std::move(points)},
      {"lines", std::move(lines)},
      {"measures", MeasuresJson(report)},
      {"observations", ObservationsJson(report.verdict)},
      {"cautions", CautionsJson(report.verdict)}};
}

std::string_view ReportSchema() {
  return kReportSchemaJson;
}

Result<Done> ValidateReport(const json& report) {
  return Validate(report, kReportSchemaJson, "report");
}

std::string ReportText(const FootReport& report) {
  const json whole = ToJson(report);
  const auto valid = ValidateReport(whole);
  if (!valid) throw std::logic_error(valid.error().message);
  return whole.dump(2) + "\n";
}

}  // namespace plumbfoot::report
