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
#include "plumbfoot/report/due.h"
#include "plumbfoot/report/recorded_case.h"
#include "plumbfoot/report/saved_report.h"
#include "serve/answers.h"
#include "serve/anvil.h"

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

/// Does anything that is read of a horse lead elsewhere, or wait for somebody?
bool HasLinks(const std::filesystem::path& book, const std::string& horse) {
  namespace fs = std::filesystem;
  const auto is_whole = [](const fs::file_status& is) {
    return fs::is_regular_file(is) || fs::is_directory(is);
  };
  std::error_code trouble;
  const fs::path home = book / "horses" / horse;
  if (!fs::is_directory(fs::symlink_status(book / "horses", trouble)) ||
      !fs::is_directory(fs::symlink_status(home, trouble))) {
    return true;
  }
  fs::recursive_directory_iterator at(home, trouble);
  for (; !trouble && at != fs::recursive_directory_iterator();
       at.increment(trouble)) {
    if (!is_whole(at->symlink_status(trouble))) return true;
  }
  return static_cast<bool>(trouble);
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

std::vector<cv::Point2d> Places(const json& of) {
  std::vector<cv::Point2d> places;
  for (const json& p : of) {
    if (p.is_array() && p.size() == 2 && p[0].is_number() && p[1].is_number()) {
      places.emplace_back(p[0].get<double>(), p[1].get<double>());
    }
  }
  return places;
}

cv::Point2d Mapped(const cv::Matx33d& map, cv::Point2d at) {
  const cv::Vec3d p = map * cv::Vec3d(at.x, at.y, 1.0);
  return {p[0] / p[2], p[1] / p[2]};
}

/// The affine map that takes `from` to `to` most nearly; a photo of a foot is
/// taken nearly square to it.
cv::Matx33d AffineFrom(const std::vector<cv::Point2d>& from,
                       const std::vector<cv::Point2d>& to) {
  cv::Mat_<double> a(static_cast<int>(from.size()), 3);
  cv::Mat_<double> b(static_cast<int>(from.size()), 2);
  for (int i = 0; i < a.rows; ++i) {
    const auto n = static_cast<std::size_t>(i);
    a(i, 0) = from[n].x;
    a(i, 1) = from[n].y;
    a(i, 2) = 1.0;
    b(i, 0) = to[n].x;
    b(i, 1) = to[n].y;
  }
  cv::Mat_<double> x;
  cv::solve(a, b, x, cv::DECOMP_SVD);
  return {x(0, 0), x(1, 0), x(2, 0), x(0, 1), x(1, 1), x(2, 1), 0.0, 0.0, 1.0};
}

/// From photo pixels to the foot's millimetres, out of what stands in a report
/// in both. The points give the beginning. A line's corners in millimetres are
/// others than those in pixels: it is laid on itself by its nearest places.
std::optional<cv::Matx33d> FootFromPhoto(const json& points) {
  std::vector<cv::Point2d> px;
  std::vector<cv::Point2d> mm;
  std::vector<cv::Point2d> line_px;
  std::vector<cv::Point2d> line_mm;
  for (const auto& [name, point] : points.items()) {
    if (!point.is_object() || !point.contains("px") || !point.contains("mm")) {
      continue;
    }
    if (name == "outline" || name == "dorsal_wall") {
      line_px = Places(point["px"]);
      line_mm = Places(point["mm"]);
      continue;
    }
    const auto p = Places(json::array({point["px"]}));
    const auto m = Places(json::array({point["mm"]}));
    if (p.size() != 1 || m.size() != 1) continue;
    px.push_back(p.front());
    mm.push_back(m.front());
  }
  if (px.size() < 4) return std::nullopt;
  cv::Matx33d map = AffineFrom(px, mm);
  if (line_px.size() < 8 || line_mm.size() < 8) return map;
  // CHOSEN: after four rounds the places stay what they are.
  for (int round = 0; round < 4; ++round) {
    std::vector<cv::Point2d> from = px;
    std::vector<cv::Point2d> to = mm;
    for (const cv::Point2d corner : line_mm) {
      const auto nearest = std::min_element(
          line_px.begin(), line_px.end(), [&](cv::Point2d a, cv::Point2d b) {
            return cv::norm(Mapped(map, a) - corner) <
                   cv::norm(Mapped(map, b) - corner);
          });
      from.push_back(*nearest);
      to.push_back(corner);
    }
    const cv::Mat fitted = cv::findHomography(from, to);
    if (fitted.empty()) return map;
    map = cv::Matx33d(fitted);
  }
  return map;
}

}  // namespace

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
  for (const casebook::Due& one : report::DueUntil(casebook_, for_ever).due) {
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
    if (known.folder != horse) continue;
    if (HasLinks(casebook_.folder, known.folder)) {
      return Refusal{RefusalCode::kFileMissing,
                     "A link stands in the folder of this horse. It could lead "
                     "anywhere, so the page shows nothing of it.",
                     "Put the files themselves there."};
    }
    return casebook::ReadHistory(casebook_, known);
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

  const auto foot_from_photo = FootFromPhoto(
      report->value("points", json::object()).value(view, json::object()));
  if (!foot_from_photo) {
    return Refused(Refusal{RefusalCode::kNoScale,
                           "This photo can't be laid over another: it has no "
                           "millimetres, or too few points.",
                           "Photograph the foot with the card."});
  }
  const bool solar = photo->first == View::kSolar;
  const double side_mm = solar ? kSolarMm : kLateralMm;
  const int side = static_cast<int>(side_mm * kPxPerMm);
  // The foot's frame on the screen. Sole (x to the toe, y to the horse's left):
  // toe up, and as in a photo of the sole the horse's left on the right. Side
  // (x to the toe, y up): toe left.
  const double k = kPxPerMm;
  const cv::Matx33d screen_from_foot =
      solar
          ? cv::Matx33d(
                0, k, k * side_mm / 2, -k, 0, k * 0.78 * side_mm, 0, 0, 1)
          : cv::Matx33d(
                -k, 0, k * 0.15 * side_mm, 0, -k, k * 0.88 * side_mm, 0, 0, 1);
  const cv::Mat map(screen_from_foot * *foot_from_photo);
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

Response Kept::Fit(const std::string& horse,
                   const std::string& date,
                   const std::string& record,
                   const Request& request) const {
  const auto found = Find(horse, date, record);
  if (!found) return Refused(found.error());
  const auto report = casebook::LoadReport(found->record);
  if (!report) return Refused(report.error());
  return ShowFit(*report, request);
}

Response Kept::FitFile(const std::string& horse,
                       const std::string& date,
                       const std::string& record,
                       const std::string& name,
                       const Request& request) const {
  const auto found = Find(horse, date, record);
  if (!found) return Refused(found.error());
  const auto report = casebook::LoadReport(found->record);
  if (!report) return Refused(report.error());
  return serve::FitFile(*report, request, name, desk_);
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
        // CHOSEN: a phone is narrow; words are as large as on its other pages.
        chart.columns = 2;
        chart.width_mm = 110.0;
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
