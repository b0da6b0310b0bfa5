// SPDX-License-Identifier: Apache-2.0
#include "serve/kept.h"

#include <algorithm>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "plumbfoot/casebook/unfinished.h"
#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/comparison.h"
#include "plumbfoot/report/recorded_case.h"
#include "plumbfoot/report/saved_report.h"
#include "serve/answers.h"

namespace plumbfoot::serve {
namespace {

using casebook::FootRecord;
using nlohmann::json;

// CHOSEN: an aligned photo shows so much of the foot's frame [mm], hoof and
// some ground, at so many pixels for each.
constexpr double kSolarMm = 220.0;
constexpr double kLateralMm = 260.0;
constexpr double kPxPerMm = 4.0;

Refusal NoSuch(const std::string& what) {
  return {RefusalCode::kFileMissing,
          "There is no such " + what + " in the casebook.",
          "Go back to the day and choose again."};
}

json RecordJson(const FootRecord& record) {
  json photos = json::array();
  for (const auto& [view, photo] : record.photos) {
    photos.push_back(geometry::ViewName(view));
  }
  return {{"record", record.folder.filename().string()},
          {"foot", geometry::FootName(record.foot)},
          {"foot_words", geometry::FootWords(record.foot)},
          {"stage", geometry::StageName(record.stage)},
          {"stage_words", geometry::StageWords(record.stage)},
          {"recorded", record.recorded},
          {"photos", std::move(photos)}};
}

/// A few numbers of a record, for a list.
json FewNumbers(const FootRecord& record,
                const std::vector<judge::Figure>& figures) {
  json few = json::array();
  const auto saved = report::ReadReport(record.summary);
  if (!saved) return few;
  for (json& one : ShownMeasures(record.foot,
                                 saved->outcomes,
                                 {View::kSolar, View::kLateral},
                                 figures)) {
    const std::string measure = one["measure"];
    if (one["measured"] == true &&
        (measure == "toe_angle" || measure == "bearing_width" ||
         measure == "bearing_length")) {
      few.push_back({{"name", one["name"]}, {"text", one["text"]}});
    }
  }
  return few;
}

}  // namespace

/// A record and where it stands.
struct Kept::Found {
  casebook::History history;
  std::size_t visit = 0;
  FootRecord record;
};

Kept::Kept(casebook::Casebook casebook,
           const SiteOptions& options,
           report::Desk& desk)
    : casebook_(std::move(casebook)),
      options_(options),
      desk_(desk),
      figures_(judge::LoadFigures()) {}

Response Kept::Day(const json& unfinished) const {
  // CHOSEN: as far ahead as a year of four digits allows: every horse.
  const casebook::Day for_ever(std::chrono::year(9999) / 12 / 31);
  const casebook::Day today = options_.today();
  json due = json::array();
  for (const casebook::Due& one : casebook::WhoIsDue(casebook_, for_ever).due) {
    due.push_back({{"horse", one.horse.name},
                   {"yard", one.horse.yard},
                   {"folder", one.horse.folder},
                   {"last_visit", casebook::DayText(one.last_visit)},
                   {"next_visit", casebook::DayText(one.next_visit)},
                   {"days", (one.next_visit - today).count()}});
  }
  json horses = json::array();
  for (const casebook::Horse& horse : casebook::ListHorses(casebook_).horses) {
    horses.push_back(
        {{"name", horse.name}, {"yard", horse.yard}, {"folder", horse.folder}});
  }
  return Json({{"today", casebook::DayText(today)},
               {"unfinished", unfinished},
               {"due", std::move(due)},
               {"horses", std::move(horses)}});
}

Result<casebook::History> Kept::HistoryOf(const std::string& horse) const {
  // Never a path made of what was asked.
  for (const casebook::Horse& known : casebook::ListHorses(casebook_).horses) {
    if (known.folder == horse) return casebook::ReadHistory(casebook_, known);
  }
  return NoSuch("horse");
}

Result<Kept::Found> Kept::Find(const std::string& horse,
                               const std::string& date,
                               const std::string& record) const {
  auto history = HistoryOf(horse);
  if (!history) return history.error();
  for (std::size_t i = 0; i < history->visits.size(); ++i) {
    const casebook::Visit& visit = history->visits[i];
    if (casebook::DayText(visit.day) != date) continue;
    for (const auto* records : {&visit.feet, &visit.replaced}) {
      for (const FootRecord& one : *records) {
        if (one.folder.filename() != record) continue;
        FootRecord found = one;
        return Found{std::move(*history), i, std::move(found)};
      }
    }
  }
  return NoSuch("photo of a foot");
}

Response Kept::Horse(const std::string& horse) const {
  const auto history = HistoryOf(horse);
  if (!history) return Refused(history.error());
  json visits = json::array();
  for (const casebook::Visit& visit : history->visits) {
    json feet = json::array();
    for (const FootRecord& record : visit.feet) {
      json foot = RecordJson(record);
      foot["numbers"] = FewNumbers(record, figures_);
      feet.push_back(std::move(foot));
    }
    visits.push_back({{"date", casebook::DayText(visit.day)},
                      {"done", report::WordsOf(visit.notes)},
                      {"by", visit.notes.by},
                      {"remarks", visit.notes.remarks},
                      {"vet", visit.notes.vet},
                      {"feet", std::move(feet)}});
  }
  json plots = json::array();
  json next;
  std::vector<casebook::Damage> unreadable = history->set_aside;
  auto request = report::HistoryRequestOf(*history, {}, {}, unreadable);
  if (const auto of_horse = report::MakeHistory(std::move(request))) {
    next = of_horse->next_visit;
    for (const report::FootHistory& foot : of_horse->feet) {
      for (const View view : {View::kLateral, View::kSolar}) {
        if (report::ChartOf(*of_horse, foot, view).panels.empty()) continue;
        plots.push_back({{"name",
                          std::string(geometry::FootName(foot.foot)) + "-" +
                              std::string(geometry::ViewName(view))},
                         {"foot_words", geometry::FootWords(foot.foot)},
                         {"view", geometry::ViewName(view)}});
      }
    }
  }
  json damaged = json::array();
  for (const casebook::Damage& damage : unreadable) {
    damaged.push_back(damage.where.filename().string() + ": " +
                      damage.refusal.message);
  }
  return Json({{"name", history->horse.name},
               {"yard", history->horse.yard},
               {"folder", history->horse.folder},
               {"visits", std::move(visits)},
               {"plots", std::move(plots)},
               {"next_visit", std::move(next)},
               {"set_aside", std::move(damaged)}});
}

Response Kept::Foot(const std::string& horse,
                    const std::string& date,
                    const std::string& record) const {
  const auto found = Find(horse, date, record);
  if (!found) return Refused(found.error());
  auto report = casebook::LoadReport(found->record);
  if (!report) return Refused(report.error());
  const auto saved = report::ReadReport(*report);
  if (!saved) return Refused(saved.error());
  std::set<View> views;
  for (const auto& [view, photo] : found->record.photos) views.insert(view);
  json answer = RecordJson(found->record);
  answer["horse"] = found->history.horse.name;
  answer["folder"] = found->history.horse.folder;
  answer["date"] = date;
  answer["shown"] =
      ShownMeasures(found->record.foot, saved->outcomes, views, figures_);
  answer["earlier"] = nullptr;
  const auto earlier =
      report::EarlierThan(found->history, found->visit, found->record);
  if (earlier) {
    json before = RecordJson(*earlier->record);
    before["date"] = casebook::DayText(earlier->day);
    const auto then = report::ReadReport(earlier->record->summary);
    if (then) {
      before["shown"] =
          ShownMeasures(earlier->record->foot, then->outcomes, views, figures_);
      before["changes"] = json::array();
      auto a = *then;
      auto b = *saved;
      a.date = before["date"].get<std::string>();
      b.date = date;
      if (const auto compared =
              report::CompareReports(std::move(a), std::move(b))) {
        before["changes"] = report::ToJson(*compared);
      }
    }
    answer["earlier"] = std::move(before);
  }
  answer["report"] = std::move(*report);
  return Json(answer);
}

Response Kept::Picture(const std::string& horse,
                       const std::string& date,
                       const std::string& record,
                       const std::string& name) const {
  const auto found = Find(horse, date, record);
  if (!found) return Refused(found.error());
  const bool known = std::any_of(
      found->record.photos.begin(),
      found->record.photos.end(),
      [&](const auto& photo) {
        return name ==
               std::string(geometry::ViewName(photo.first)) + "-annotated.jpg";
      });
  if (!known) return Refused(NoSuch("picture"));
  auto bytes = casebook::ReadBelow(casebook_.folder,
                                   std::filesystem::path("horses") /
                                       found->history.horse.folder / "visits" /
                                       date / record / name);
  if (!bytes) return Refused(bytes.error());
  return Jpeg(std::move(*bytes));
}

Response Kept::Aligned(const std::string& horse,
                       const std::string& date,
                       const std::string& record,
                       const std::string& view) const {
  const auto found = Find(horse, date, record);
  if (!found) return Refused(found.error());
  const auto photo = std::find_if(
      found->record.photos.begin(),
      found->record.photos.end(),
      [&](const auto& one) { return geometry::ViewName(one.first) == view; });
  if (photo == found->record.photos.end()) return Refused(NoSuch("photo"));
  const auto report = casebook::LoadReport(found->record);
  if (!report) return Refused(report.error());

  // Everything that stands in the report both in pixels and in millimetres.
  std::vector<cv::Point2f> px;
  std::vector<cv::Point2f> mm;
  const auto take = [&](const json& p, const json& m) {
    if (!p.is_array() || !m.is_array() || p.size() != 2 || m.size() != 2) {
      return;
    }
    px.emplace_back(p[0].get<float>(), p[1].get<float>());
    mm.emplace_back(m[0].get<float>(), m[1].get<float>());
  };
  const json points =
      report->value("points", json::object()).value(view, json::object());
  for (const auto& [name, point] : points.items()) {
    if (!point.is_object() || !point.contains("px") || !point.contains("mm")) {
      continue;
    }
    const json& p = point["px"];
    const json& m = point["mm"];
    if (!p.empty() && p[0].is_array()) {
      for (std::size_t i = 0; i < std::min(p.size(), m.size()); ++i) {
        take(p[i], m[i]);
      }
    } else {
      take(p, m);
    }
  }
  const Refusal cannot{RefusalCode::kNoScale,
                       "This photo can't be laid over another: it has no "
                       "millimetres.",
                       "Photograph the foot with the card."};
  if (px.size() < 4) return Refused(cannot);
  const bool solar = photo->first == View::kSolar;
  const double side_mm = solar ? kSolarMm : kLateralMm;
  const int side = static_cast<int>(side_mm * kPxPerMm);
  // The foot's frame on the screen. Sole (x to the toe, y to the horse's left):
  // toe up, and as in a photo of the sole the horse's left on the right. Side
  // (x to the toe, y up): toe left.
  std::vector<cv::Point2f> to;
  for (const cv::Point2f p : mm) {
    const double right = solar ? p.y + side_mm / 2 : 0.15 * side_mm - p.x;
    const double down = solar ? 0.78 * side_mm - p.x : 0.88 * side_mm - p.y;
    to.emplace_back(static_cast<float>(right * kPxPerMm),
                    static_cast<float>(down * kPxPerMm));
  }
  const cv::Mat map = cv::findHomography(px, to);
  if (map.empty()) return Refused(cannot);
  const std::filesystem::path inside = std::filesystem::path("horses") /
                                       found->history.horse.folder / "visits" /
                                       date / record / photo->second.file;
  if (auto bytes = casebook::ReadBelow(casebook_.folder, inside); !bytes) {
    return Refused(bytes.error());
  }
  const auto read = photo::LoadPhoto(casebook_.folder / inside);
  if (!read) return Refused(read.error());
  cv::Mat rgb;
  cv::warpPerspective(read->rgb,
                      rgb,
                      map,
                      {side, side},
                      cv::INTER_LINEAR,
                      cv::BORDER_CONSTANT,
                      {128, 128, 128});
  return Jpeg(photo::EncodeJpeg(rgb, 85));
}

Response Kept::Plot(const std::string& horse, const std::string& name) const {
  const auto history = HistoryOf(horse);
  if (!history) return Refused(history.error());
  std::vector<casebook::Damage> unreadable;
  const auto of_horse = report::MakeHistory(
      report::HistoryRequestOf(*history, {}, {}, unreadable));
  if (!of_horse) return Refused(of_horse.error());
  for (const report::FootHistory& foot : of_horse->feet) {
    for (const View view : {View::kSolar, View::kLateral}) {
      if (name != std::string(geometry::FootName(foot.foot)) + "-" +
                      std::string(geometry::ViewName(view))) {
        continue;
      }
      Response response;
      response.type = "image/svg+xml";
      desk_.Hand([&] {
        draw::TimeChart chart = report::ChartOf(*of_horse, foot, view);
        // A phone is narrow.
        chart.columns = 2;
        response.body = draw::TimeChartSvg(chart);
      });
      return response;
    }
  }
  return Refused(NoSuch("plot"));
}

Response Kept::OwnersPage(const std::string& horse,
                          const std::string& date) const {
  const auto history = HistoryOf(horse);
  if (!history) return Refused(history.error());
  for (std::size_t i = 0; i < history->visits.size(); ++i) {
    if (casebook::DayText(history->visits[i].day) != date) continue;
    const auto words = report::OwnerWordsOf("en");
    if (!words) return Refused(words.error());
    Response response;
    response.type = "text/html; charset=utf-8";
    std::vector<casebook::Damage> unreadable;
    Result<report::OwnerPage> page = Refusal{RefusalCode::kUsage, "", ""};
    desk_.Hand([&] {
      const auto owner_case = report::OwnerCaseOf(
          *history, i, options_.practice, *words, unreadable);
      if (!owner_case) {
        page = owner_case.error();
        return;
      }
      page = report::MakeOwnerPage(*owner_case, *words);
      if (page) response.body = report::OwnerHtml(*page, *words);
    });
    if (!page) return Refused(page.error());
    return response;
  }
  return Refused(NoSuch("visit"));
}

}  // namespace plumbfoot::serve
