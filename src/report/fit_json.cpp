// SPDX-License-Identifier: Apache-2.0
#include <stdexcept>

#include "plumbfoot/fit/inches.h"
#include "plumbfoot/report/foot_fit.h"
#include "report/fit_words.h"
#include "report/schema.h"
#include "report/text.h"

namespace plumbfoot::report {

extern const std::string_view kFitSchemaJson;  // Embedded.

namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using nlohmann::json;

json TextOrNull(const std::optional<std::string>& text) {
  return text && !text->empty() ? json(CleanUtf8(*text)) : json();
}

json ToJson(FootPoint p) {
  return json::array({RoundedForFile(p.x), RoundedForFile(p.y)});
}

json ToJson(const FootPolyline& line) {
  json points = json::array();
  for (const FootPoint& p : line) points.push_back(ToJson(p));
  return points;
}

json LengthJson(double mm) {
  return {{"mm", RoundedForFile(mm)},
          {"inches", RoundedForFile(fit::InchesOf(mm))},
          {"eighths", fit::EighthsText(mm)}};
}

json ToJson(fit::TrimStep step) {
  return {{"toe_off_mm", RoundedForFile(step.toe_off_mm)},
          {"heel_off_mm", RoundedForFile(step.heel_off_mm)}};
}

json ToJson(const measure::Outcomes& outcomes) {
  json measures = json::object();
  for (const auto& [id, outcome] : outcomes) {
    const measure::MeasureInfo& info = measure::InfoOf(id);
    json& entry = measures[std::string(info.key)];
    if (const auto* why = std::get_if<measure::NotMeasured>(&outcome)) {
      entry = {{"not_measured", CleanUtf8(why->why)}};
      continue;
    }
    const auto& m = std::get<measure::Measured>(outcome);
    entry = {
        {"value", RoundedForFile(m.value)},
        {"unit", measure::UnitName(info.unit)},
        {"standard_uncertainty", RoundedForFile(m.standard_uncertainty)},
        {"interval95",
         json::array({RoundedForFile(m.low95), RoundedForFile(m.high95)})}};
  }
  return measures;
}

json ToJson(const fit::TrimPlan& trim) {
  json plan = {
      {"target", nullptr},
      {"reachable", trim.reachable},
      {"whole", ToJson(trim.whole)},
      {"this_time", ToJson(trim.this_time)},
      {"off_standard_uncertainty_mm", RoundedForFile(trim.off_sigma_mm)},
      {"trims", trim.visits},
      {"beyond_mean_trim", trim.beyond_mean},
      {"toe_shortens_mm", RoundedForFile(trim.toe_shortens_mm)},
      {"toe_angle_changes_deg", RoundedForFile(trim.turns_deg)},
      {"wedge", nullptr},
      {"measures_after", ToJson(trim.after)},
      {"measures_after_whole", ToJson(trim.after_whole)}};
  if (trim.target) {
    plan["target"] = {
        {"kind", TargetName(trim.target->kind)},
        {"value", RoundedForFile(trim.target->value)},
        {"now", RoundedForFile(trim.now)},
        {"now_standard_uncertainty", RoundedForFile(trim.now_sigma)}};
  }
  if (trim.wedge) {
    plan["wedge"] = {{"degrees", RoundedForFile(trim.wedge->degrees)},
                     {"rise_mm", RoundedForFile(trim.wedge->rise_mm)}};
  }
  return plan;
}

json ToJson(const fit::Slot& slot, Foot foot) {
  json entry = {{"side", slot.side == fit::Side::kLeft ? "left" : "right"},
                {"branch", SideWordsOf(foot, slot.side)},
                {"number", slot.number}};
  if (const fit::Nail* nail = slot.nail()) {
    json warnings = json::array();
    for (const fit::NailWarning warning : nail->warnings) {
      warnings.push_back(fit::NailWarningName(warning));
    }
    entry["mm"] = ToJson(nail->at);
    entry["from_toe_mm"] = RoundedForFile(nail->from_toe_mm);
    entry["depth_mm"] = RoundedForFile(nail->depth_mm);
    entry["lean_deg"] = RoundedForFile(nail->lean_deg);
    entry["warnings"] = std::move(warnings);
  } else {
    const auto reason = std::get<fit::LeftOut>(slot.outcome);
    entry["left_out"] = fit::LeftOutName(reason);
    entry["words"] = LeftOutWords(reason);
  }
  return entry;
}

json GapJson(const FootFit& fit) {
  if (!fit.gap || !fit.options.loose_shoe) return nullptr;
  const fit::ShoeGap& gap = *fit.gap;
  json places = json::array();
  for (const fit::GapPlace& place : gap.places) {
    places.push_back(
        {{"side", place.side == fit::Side::kLeft ? "left" : "right"},
         {"branch", SideWordsOf(fit.sole.foot, place.side)},
         {"from_toe_mm", RoundedForFile(place.from_toe_mm)},
         {"foot", ToJson(place.foot)},
         {"gap_mm", RoundedForFile(place.gap_mm)},
         {"standard_uncertainty", RoundedForFile(place.standard_uncertainty)}});
  }
  return {
      {"file", CleanUtf8(fit.options.loose_shoe->file)},
      {"placed_by", geometry::PlacedByName(fit.options.loose_shoe->placed_by)},
      {"rms_front_mm", RoundedForFile(gap.rms_front_mm)},
      {"most_out_mm", RoundedForFile(gap.most_out_mm)},
      {"most_in_mm", RoundedForFile(gap.most_in_mm)},
      {"heel_left_mm", RoundedForFile(gap.heel_left_mm)},
      {"heel_right_mm", RoundedForFile(gap.heel_right_mm)},
      {"places", std::move(places)},
      {"outline", ToJson(gap.shoe)}};
}

json LevelJson(const std::optional<fit::LevelLength>& length) {
  if (!length) return nullptr;
  return {
      {"mm", RoundedForFile(length->mm)},
      {"standard_uncertainty", RoundedForFile(length->standard_uncertainty)},
      {"interval95",
       json::array(
           {RoundedForFile(length->low95), RoundedForFile(length->high95)})}};
}

json PhotoLine(const std::optional<geometry::PlacedCurve>& curve) {
  if (!curve || curve->px.empty()) return nullptr;
  json points = json::array();
  for (const auto& p : curve->px) {
    points.push_back(json::array({RoundedForFile(p.x), RoundedForFile(p.y)}));
  }
  return points;
}

json WornSideJson(const FootFit& fit) {
  if (!fit.options.worn_side) return nullptr;
  const WornSide& worn = *fit.options.worn_side;
  json entry = {{"file", CleanUtf8(worn.photo.file_name)},
                {"side", worn.side == fit::Side::kLeft ? "left" : "right"},
                {"branch", SideWordsOf(fit.sole.foot, worn.side)},
                {"placed_by", geometry::PlacedByName(worn.placed_by)},
                {"verdict", nullptr},
                {"words", LevelWords(worn)},
                {"rise", nullptr},
                {"thickness", nullptr},
                {"gap", nullptr},
                {"ground_px", PhotoLine(worn.edges.ground)},
                {"foot_px", PhotoLine(worn.edges.foot)},
                {"horn_px", PhotoLine(worn.edges.horn)}};
  if (worn.level) {
    entry["verdict"] = fit::LevelVerdictName(worn.level->verdict);
    entry["rise"] = LevelJson(worn.level->rise);
    entry["thickness"] = LevelJson(worn.level->thickness);
    entry["gap"] = LevelJson(worn.level->gap);
  } else {
    entry["not_told"] = geometry::CodeName(worn.not_told->code);
  }
  return entry;
}

json ToJson(const FootFit& fit) {
  json nails = json::array();
  for (const fit::Slot& slot : fit.nails.slots) {
    nails.push_back(ToJson(slot, fit.sole.foot));
  }
  json clips = json::array();
  for (const fit::Clip& clip : fit.nails.clips) {
    clips.push_back({{"mm", ToJson(clip.at)},
                     {"width_mm", RoundedForFile(clip.width_mm)},
                     {"height_mm", RoundedForFile(clip.height_mm)}});
  }
  json cautions = json::array();
  for (const FitCaution& caution : fit.cautions) {
    cautions.push_back(
        {{"code", caution.code}, {"words", CleanUtf8(caution.words)}});
  }
  const auto& o = fit.shoe.options;
  json size;
  if (fit.size) {
    size = {{"size", CleanUtf8(fit.size->size.name)},
            {"width_off_mm", RoundedForFile(fit.size->width_off_mm)},
            {"length_off_mm", RoundedForFile(fit.size->length_off_mm)}};
  }
  return {
      {"foot", geometry::FootName(fit.report.foot)},
      {"horse", TextOrNull(fit.report.horse)},
      {"visit",
       {{"date", TextOrNull(fit.report.date)},
        {"stage", geometry::StageName(fit.report.stage)}}},
      {"trim", ToJson(fit.trim)},
      {"shoe",
       {{"web_mm", RoundedForFile(o.web_mm)},
        {"thickness_mm", RoundedForFile(o.thickness_mm)},
        {"fullness_mm", RoundedForFile(o.fullness_mm)},
        {"heel_length_mm", RoundedForFile(fit.shoe.heel_length_mm)},
        {"heel_rule",
         fit.options.shoe.heel_length_mm ? json()
                                         : json(HeelRuleName(fit.heels))},
        {"set_back_mm", RoundedForFile(o.set_back_mm)},
        {"rolled_mm", RoundedForFile(o.rolled_mm)},
        {"width", LengthJson(fit.shoe.width_mm)},
        {"length", LengthJson(fit.shoe.length_mm)},
        {"nearest_size", std::move(size)}}},
      {"bar",
       {{"material", fit::MaterialName(fit.options.bar.material)},
        {"by_rule", LengthJson(fit.bar.by_rule_mm)},
        {"by_neutral_line", LengthJson(fit.bar.by_neutral_line_mm)},
        {"allowance_mm", RoundedForFile(fit.bar.allowance_mm)},
        {"cut_by_rule", LengthJson(fit.bar.cut_by_rule_mm)},
        {"cut_by_neutral_line", LengthJson(fit.bar.cut_by_neutral_line_mm)},
        {"weight_g", RoundedForFile(fit.bar.weight_g)},
        {"weight_per_metre_g", RoundedForFile(fit.bar.weight_per_metre_g)}}},
      {"nails", std::move(nails)},
      {"holding_as_nails", fit.nails.holding()},
      {"clips", std::move(clips)},
      {"loose_shoe", GapJson(fit)},
      {"worn_side", WornSideJson(fit)},
      {"outlines",
       {{"foot", ToJson(fit.sole.outline)},
        {"shoe", ToJson(fit.shoe.body)},
        {"outer", ToJson(fit.shoe.outer)},
        {"inner", ToJson(fit.shoe.inner)},
        {"neutral_line", ToJson(fit.shoe.middle)}}},
      {"cautions", std::move(cautions)},
      {"needs_person", fit.needs_person}};
}

}  // namespace

json ToJson(const PairFit& fit) {
  json feet = json::array({ToJson(fit.first)});
  if (fit.other) feet.push_back(ToJson(*fit.other));
  return {{"format", "plumbfoot-fit"},
          {"version", 1},
          {"software", {{"name", "plumbfoot"}, {"version", PLUMBFOOT_VERSION}}},
          {"frame",
           "Solar foot frame, millimetres: origin midway between the heel "
           "buttresses, x forward to the toe along the frog axis, y to the "
           "horse's left."},
          {"feet", std::move(feet)}};
}

std::string_view FitSchema() {
  return kFitSchemaJson;
}

std::string FitText(const PairFit& fit) {
  const json whole = ToJson(fit);
  const auto valid = Validate(whole, kFitSchemaJson, "fit");
  if (!valid) throw std::logic_error(valid.error().message);
  return whole.dump(2) + "\n";
}

}  // namespace plumbfoot::report
