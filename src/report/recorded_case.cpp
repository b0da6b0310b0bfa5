// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/recorded_case.h"

#include <fmt/core.h>

#include <filesystem>
#include <string_view>
#include <utility>

#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/report/drawn_photo.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using casebook::FootRecord;
using casebook::Visit;

void Append(std::string& text, std::string_view glue, std::string_view more) {
  if (more.empty()) return;
  if (!text.empty()) text += glue;
  text += more;
}

std::string WordsOf(const casebook::Work& work) {
  std::string words;
  if (work.trimmed) Append(words, ", ", "trimmed");
  Append(words, ", ", work.shoe == "none" ? "no shoe" : work.shoe);
  const auto named = [&words](std::string_view name, const std::string& what) {
    if (!what.empty()) Append(words, ", ", fmt::format("{} {}", name, what));
  };
  named("size", work.size);
  named("nails", work.nails);
  named("pads", work.pads);
  named("wedges", work.wedges);
  if (words.empty() || work.feet.empty()) return words;
  std::string feet;
  for (const Foot foot : work.feet) {
    Append(feet, " ", geometry::FootName(foot));
  }
  return feet + ": " + words;
}

/// The recorded photos with their measures drawn on: as they were drawn when
/// they were recorded, in English, or again in the page's language.
Result<std::vector<OwnerPicture>> PicturesOf(const FootRecord& record,
                                             const nlohmann::json& report,
                                             const OwnerWords& words) {
  std::vector<OwnerPicture> pictures;
  for (const View view : {View::kSolar, View::kLateral}) {
    const auto recorded = record.photos.find(view);
    if (recorded == record.photos.end()) continue;
    OwnerPicture picture;
    if (words.language() != "en") {
      const auto photo =
          photo::LoadPhoto(record.folder / recorded->second.file);
      if (!photo) return photo.error();
      auto drawn = DrawnAgain(report, view, *photo, words);
      if (!drawn) return drawn.error();
      if (*drawn) {
        picture.jpeg = photo::EncodeJpeg(**drawn);
        picture.rgb = std::move(**drawn);
      }
    }
    if (picture.rgb.empty()) {
      const fs::path path =
          record.folder /
          fmt::format("{}-annotated.jpg", geometry::ViewName(view));
      auto bytes = photo::ReadBytes(path);
      if (!bytes) return bytes.error();
      auto photo = photo::LoadPhoto(path);
      if (!photo) return photo.error();
      picture.rgb = photo->rgb;
      picture.jpeg = std::move(*bytes);
    }
    pictures.push_back(std::move(picture));
  }
  return pictures;
}

}  // namespace

std::string WordsOf(const casebook::Notes& notes) {
  std::string words;
  for (const casebook::Work& work : notes.work) {
    Append(words, "; ", WordsOf(work));
  }
  return words;
}

HistoryRequest HistoryRequestOf(const casebook::History& record,
                                const std::optional<casebook::Day>& since,
                                const std::optional<casebook::Day>& until,
                                std::vector<casebook::Damage>& unreadable) {
  HistoryRequest request;
  request.horse = record.horse.name;
  for (const casebook::Visit& visit : record.visits) {
    if ((since && visit.day < *since) || (until && visit.day > *until)) {
      continue;
    }
    const std::string date = casebook::DayText(visit.day);
    request.visits.push_back({date, WordsOf(visit.notes)});
    for (const casebook::FootRecord& foot : visit.feet) {
      auto report = ReadReport(foot.summary);
      if (!report) {
        unreadable.push_back({foot.folder, report.error()});
        continue;
      }
      // Where a report doesn't say it, the casebook does.
      report->date = date;
      request.reports.push_back(std::move(*report));
    }
  }
  for (const casebook::Aim& aim : casebook::AimsThatCount(record.aims)) {
    if (aim.what == casebook::kAllowedDrift) {
      request.allowed_drift_deg = aim.value;
      continue;
    }
    const auto measure = measure::ParseMeasure(aim.what);
    if (!measure) continue;  // A newer Plumbfoot's.
    request.targets.push_back({*measure,
                               *aim.value,
                               aim.foot,
                               aim.by,
                               casebook::DayText(aim.set_on)});
  }
  return request;
}

std::vector<const FootRecord*> LastStages(const Visit& visit) {
  std::vector<const FootRecord*> last;
  for (const FootRecord& record : visit.feet) {
    if (!last.empty() && last.back()->foot == record.foot) {
      last.back() = &record;
    } else {
      last.push_back(&record);
    }
  }
  return last;
}

std::optional<Earlier> EarlierThan(const casebook::History& history,
                                   std::size_t visit,
                                   const FootRecord& now) {
  for (const FootRecord& record : history.visits[visit].feet) {
    if (record.foot == now.foot && record.stage < now.stage) {
      return Earlier{&record, history.visits[visit].day};
    }
  }
  for (std::size_t v = visit; v-- > 0;) {
    for (const FootRecord* record : LastStages(history.visits[v])) {
      if (record->foot == now.foot) {
        return Earlier{record, history.visits[v].day};
      }
    }
  }
  return std::nullopt;
}

Result<OwnerCase> OwnerCaseOf(const casebook::History& history,
                              std::size_t visit,
                              const Practice& practice,
                              const OwnerWords& words,
                              std::vector<casebook::Damage>& unreadable) {
  const Visit& of = history.visits[visit];
  const std::string date = casebook::DayText(of.day);
  OwnerCase owner_case;
  owner_case.practice = practice;
  owner_case.horse = history.horse;
  owner_case.date = date;
  owner_case.notes = of.notes;
  for (const FootRecord* record : LastStages(of)) {
    OwnerCaseFoot foot;
    auto now = casebook::LoadReport(*record);
    if (!now) return now.error();
    foot.now = {date, std::move(*now)};
    if (const auto earlier = EarlierThan(history, visit, *record)) {
      auto before = casebook::LoadReport(*earlier->record);
      if (!before) return before.error();
      foot.earlier = {casebook::DayText(earlier->day), std::move(*before)};
    }
    auto pictures = PicturesOf(*record, foot.now.report, words);
    if (!pictures) return pictures.error();
    foot.pictures = std::move(*pictures);
    owner_case.feet.push_back(std::move(foot));
  }
  HistoryRequest request = HistoryRequestOf(history, {}, of.day, unreadable);
  if (request.visits.size() > 1) {
    for (const Visit& v : history.visits) {
      if (v.day <= of.day) {
        owner_case.visits.push_back({casebook::DayText(v.day), v.notes});
      }
    }
    auto of_horse = MakeHistory(std::move(request));
    if (!of_horse) return of_horse.error();
    owner_case.history = std::move(*of_horse);
  }
  return owner_case;
}

}  // namespace plumbfoot::report
