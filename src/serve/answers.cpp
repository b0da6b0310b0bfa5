// SPDX-License-Identifier: Apache-2.0
#include "serve/answers.h"

#include <cmath>
#include <utility>
#include <variant>

#include "plumbfoot/find/finder.h"
#include "plumbfoot/judge/words.h"
#include "plumbfoot/report/report_json.h"
#include "plumbfoot/serve/site.h"

namespace plumbfoot::serve {

using nlohmann::json;

Response Json(const json& what, int status) {
  Response response;
  response.status = status;
  response.type = "application/json";
  response.body = what.dump(-1, ' ', false, json::error_handler_t::replace);
  return response;
}

Response Refused(const Refusal& refusal) {
  int status = 422;  // RFC 9110, 15.5.21: understood, and not to be done.
  switch (refusal.code) {
    case RefusalCode::kUsage:
      status = 400;
      break;
    case RefusalCode::kFileMissing:
    case RefusalCode::kNoSuchHorse:
      status = 404;
      break;
    case RefusalCode::kCannotWrite:
      status = 507;
      break;
    case RefusalCode::kCannotRead:
      status = 500;
      break;
    default:
      break;
  }
  return Json({{"refused",
                {{"code", geometry::CodeName(refusal.code)},
                 {"message", refusal.message},
                 {"remedy", refusal.remedy}}}},
              status);
}

Response Refused(int status, const std::string& words) {
  return Json({{"refused",
                {{"code", "http_" + std::to_string(status)},
                 {"message", words},
                 {"remedy", ""}}}},
              status);
}

Response Jpeg(std::string bytes) {
  Response response;
  response.type = "image/jpeg";
  response.body = std::move(bytes);
  return response;
}

json ShownMeasures(Foot foot,
                   const measure::Outcomes& outcomes,
                   const std::set<View>& views,
                   const std::vector<judge::Figure>& figures) {
  json shown = json::array();
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const auto outcome = outcomes.find(info.id);
    if (!views.contains(info.view) || outcome == outcomes.end()) continue;
    json one = {{"measure", info.key},
                {"name", info.name},
                {"view", geometry::ViewName(info.view)},
                {"definition", info.definition},
                {"unit", measure::UnitName(info.unit)},
                {"measured", false},
                {"value", nullptr},
                {"sure", false},
                {"figures", json::array()}};
    if (const auto* m = std::get_if<measure::Measured>(&outcome->second)) {
      one["measured"] = true;
      one["text"] = judge::ShowInLine(*m, info.unit);
      // As report_json.h: to 1e-6 of the unit.
      one["value"] = std::round(m->value * 1e6) / 1e6;
      one["sure"] = m->confidence >= find::kSureConfidence;
    } else {
      one["text"] = std::get<measure::NotMeasured>(outcome->second).why;
    }
    for (const judge::Figure& figure : figures) {
      if (figure.measure != info.id || figure.part_of ||
          figure.subject != judge::Subject::kFoot ||
          figure.status == judge::FigureStatus::kFromMemory ||
          !judge::Concerns(figure, foot)) {
        continue;
      }
      one["figures"].push_back(figure.brief);
    }
    shown.push_back(std::move(one));
  }
  return shown;
}

json ShownMeasures(const report::FootReport& report,
                   const std::vector<judge::Figure>& figures) {
  measure::Outcomes outcomes;
  std::set<View> views;
  for (const auto* view : {&report.solar, &report.lateral}) {
    if (!*view) continue;
    views.insert((*view)->points.view);
    outcomes.insert((*view)->measures.outcomes.begin(),
                    (*view)->measures.outcomes.end());
  }
  return ShownMeasures(report.foot, outcomes, views, figures);
}

std::string FootKey(Foot foot, Stage stage) {
  return std::string(geometry::FootName(foot)) + "-" +
         std::string(geometry::StageName(stage));
}

Result<FootAndStage> ParseFootKey(const std::string& key) {
  const std::size_t dash = key.find('-');
  if (dash != std::string::npos) {
    const auto foot = geometry::ParseFoot(key.substr(0, dash));
    const auto stage = geometry::ParseStage(key.substr(dash + 1));
    if (foot && stage && FootKey(*foot, *stage) == key) {
      return FootAndStage{*foot, *stage};
    }
  }
  return Refusal{RefusalCode::kFileMissing,
                 "There is no such foot.",
                 "Go back to the visit and choose one."};
}

}  // namespace plumbfoot::serve
