// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/saved_report.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>
#include <utility>

#include "plumbfoot/report/report_json.h"

namespace plumbfoot::report {
namespace {

using nlohmann::json;

Refusal NotOurs(std::string_view why) {
  return {RefusalCode::kNotOurFormat,
          fmt::format("This is not a Plumbfoot report: {}.", why),
          "Use a report.json that Plumbfoot has written."};
}

std::optional<std::string> TextOf(const json& value) {
  if (!value.is_string()) return std::nullopt;
  return value.get<std::string>();
}

geometry::FootPoint PointOf(const json& pair) {
  return {pair.at(0).get<double>(), pair.at(1).get<double>()};
}

geometry::FootPolyline LineOf(const json& curve) {
  geometry::FootPolyline line;
  if (!curve.contains("mm")) return line;
  for (const json& pair : curve.at("mm")) line.push_back(PointOf(pair));
  return line;
}

/// "heel_left" is "heel left".
std::string Words(std::string_view name) {
  std::string words(name);
  std::replace(words.begin(), words.end(), '_', ' ');
  return words;
}

SavedView ViewOf(const json& photo, const json& points, View which) {
  SavedView view;
  view.file = photo.at("file").get<std::string>();
  view.sha256 = photo.at("sha256").get<std::string>();
  const auto scale = photo.at("scale").get<std::string>();
  for (const auto source :
       {geometry::ScaleSource::kCard, geometry::ScaleSource::kKnownLength}) {
    if (scale == ScaleName(source)) view.scale = source;
  }
  const json& card = photo.at("card");
  if (card.is_object() && card.at("measured_mm").is_number()) {
    view.measured_mm = card.at("measured_mm").get<double>();
  }
  view.retake = photo.at("quality") == "retake";
  if (!points.is_object()) return view;
  for (const PointId id : geometry::PointsOf(which)) {
    const json& point = points.at(std::string(geometry::PointName(id)));
    if (point.contains("mm")) {
      view.mm.at(static_cast<std::size_t>(id)) = PointOf(point.at("mm"));
    }
    const auto in_photo = [&point](const char* key) {
      std::optional<geometry::PhotoPoint> px;
      if (point.contains(key)) {
        px = {point.at(key).at(0).get<double>(),
              point.at(key).at(1).get<double>()};
      }
      return px;
    };
    view.px.at(static_cast<std::size_t>(id)) = in_photo("px");
    view.near_px.at(static_cast<std::size_t>(id)) = in_photo("seen_px");
    if (point.contains("covariance_mm2")) {
      const json& c = point.at("covariance_mm2");
      view.covariance.at(static_cast<std::size_t>(id)) = {
          c.at(0).at(0).get<double>(),
          c.at(0).at(1).get<double>(),
          c.at(1).at(1).get<double>()};
    }
  }
  const std::string curve = which == View::kSolar ? "outline" : "dorsal_wall";
  (which == View::kSolar ? view.outline : view.dorsal_wall) =
      LineOf(points.at(curve));
  for (const auto& [name, point] : points.items()) {
    if (point.is_object() && point.value("sure", true) == false) {
      view.unsure.push_back(Words(name));
    }
  }
  return view;
}

measure::Outcome OutcomeOf(const json& entry) {
  if (entry.contains("not_measured")) {
    return measure::NotMeasured{entry.at("not_measured").get<std::string>()};
  }
  measure::Measured m;
  m.value = entry.at("value").get<double>();
  m.standard_uncertainty = entry.at("standard_uncertainty").get<double>();
  m.low95 = entry.at("interval95").at(0).get<double>();
  m.high95 = entry.at("interval95").at(1).get<double>();
  // Older reports don't have it: then nothing is taken for shared.
  m.shared_uncertainty = entry.value("shared_uncertainty", 0.0);
  m.placed_by =
      entry.at("placed_by") == "person" ? PlacedBy::kPerson : PlacedBy::kFinder;
  return m;
}

SavedReport Read(const json& report) {
  SavedReport saved;
  const auto foot = geometry::ParseFoot(report.at("foot").get<std::string>());
  if (!foot) throw std::invalid_argument(foot.error().message);
  saved.foot = *foot;
  saved.shod = report.at("shod").get<bool>();
  saved.horse = TextOf(report.at("horse"));
  saved.date = TextOf(report.at("visit").at("date"));
  const auto stage =
      ParseStage(report.at("visit").at("stage").get<std::string>());
  if (!stage) throw std::invalid_argument(stage.error().message);
  saved.stage = *stage;
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const json& entry = report.at("measures").at(std::string(info.key));
    saved.outcomes[info.id] = OutcomeOf(entry);
    if (!entry.value("sure", true)) saved.unsure.insert(info.id);
  }
  const json none;
  for (const View which : {View::kSolar, View::kLateral}) {
    const std::string name(geometry::ViewName(which));
    const json& photos = report.at("photos");
    if (!photos.contains(name)) continue;
    const json& points =
        report.contains("points") && report.at("points").contains(name)
            ? report.at("points").at(name)
            : none;
    (which == View::kSolar ? saved.solar : saved.lateral) =
        ViewOf(photos.at(name), points, which);
  }
  return saved;
}

}  // namespace

Result<SavedReport> ReadReport(const json& report) {
  if (!report.is_object() ||
      report.value("format", json()) != "plumbfoot-report") {
    return NotOurs("it doesn't say that it is one");
  }
  if (report.value("version", json()) != 1) {
    return Refusal{RefusalCode::kVersionUnknown,
                   "This report is of a version that this Plumbfoot does not "
                   "know.",
                   "Use the newer Plumbfoot that wrote it."};
  }
  try {
    return Read(report);
  } catch (const json::exception& fault) {
    return NotOurs(fault.what());
  } catch (const std::invalid_argument& fault) {
    return NotOurs(fault.what());
  }
}

Result<SavedReport> LoadReport(const std::filesystem::path& path) {
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path, ignored)) {
    return Refusal{RefusalCode::kFileMissing,
                   fmt::format("There is no file {}.", path.string()),
                   "Name a report.json that \"plumbfoot measure\" has "
                   "written."};
  }
  // CHOSEN: a report is some 100 kB; what is larger than this is none.
  constexpr std::uintmax_t kMostBytes = 64U << 20U;
  if (std::filesystem::file_size(path, ignored) > kMostBytes) {
    return NotOurs("it is too large");
  }
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  if (!file) {
    return Refusal{RefusalCode::kCannotRead,
                   fmt::format("{} can't be read.", path.string()),
                   "Check that you may read it."};
  }
  const json document = json::parse(text.str(), nullptr, false);
  if (document.is_discarded()) {
    return Refusal{RefusalCode::kNotJson,
                   fmt::format("{} is not valid JSON.", path.string()),
                   "Name a report.json that \"plumbfoot measure\" has "
                   "written."};
  }
  auto report = ReadReport(document);
  if (!report) return report;
  const auto valid = ValidateReport(document);
  if (!valid) return valid.error();
  return report;
}

bool SamePrint(const SavedReport& a, const SavedReport& b, View view) {
  const auto& first = a.view(view);
  const auto& second = b.view(view);
  return first && second && first->scale == geometry::ScaleSource::kCard &&
         second->scale == geometry::ScaleSource::kCard && first->measured_mm &&
         second->measured_mm &&
         // As a ruler's reading is written.
         std::abs(*first->measured_mm - *second->measured_mm) < 1e-3;
}

}  // namespace plumbfoot::report
