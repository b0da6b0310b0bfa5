// SPDX-License-Identifier: Apache-2.0
#include "casebook/read.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <system_error>
#include <tuple>
#include <utility>

#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

Refusal WrongHash() {
  return {RefusalCode::kDamaged,
          "It isn't as it was recorded (its SHA-256 is another).",
          MendRemedy()};
}

Refusal Missing() {
  return {RefusalCode::kFileMissing, "It is missing.", MendRemedy()};
}

void Fill(const struct stat& there, Stamp& stamp) {
  constexpr std::int64_t kSecond = 1'000'000'000;
  // A folder's size says nothing that its times don't.
  if (!S_ISDIR(there.st_mode)) {
    stamp.size = static_cast<std::uint64_t>(there.st_size);
  }
  stamp.number = there.st_ino;
  stamp.modified_ns = there.st_mtim.tv_sec * kSecond + there.st_mtim.tv_nsec;
  stamp.changed_ns = there.st_ctim.tv_sec * kSecond + there.st_ctim.tv_nsec;
}

}  // namespace

fs::path Inside(const Casebook& casebook, const fs::path& path) {
  return path.lexically_relative(casebook.folder);
}

std::vector<std::string> NamesIn(const fs::path& folder) {
  std::vector<std::string> names;
  std::error_code ignored;
  for (fs::directory_iterator it(folder, ignored), end; it != end;
       it.increment(ignored)) {
    std::string name = it->path().filename().string();
    if (name.front() != '.') names.push_back(std::move(name));
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::vector<Day> VisitDays(const Casebook& casebook,
                           const std::string& horse,
                           std::vector<Damage>& damage) {
  const fs::path folder = HorseFolder(casebook, horse) / kVisits;
  std::vector<Day> days;
  for (const std::string& name : NamesIn(folder)) {
    if (const auto day = ParseDay(name)) {
      days.push_back(*day);
    } else {
      damage.push_back({Inside(casebook, folder / name),
                        {RefusalCode::kNotOurFormat,
                         "It stands among the visits and its name is no date.",
                         "Move it elsewhere, or give it its date again."}});
    }
  }
  return days;
}

fs::path VisitFolder(const Casebook& casebook,
                     const std::string& horse,
                     Day day) {
  return HorseFolder(casebook, horse) / kVisits / DayText(day);
}

Result<StoredVisit> ReadVisit(const fs::path& folder, Day day) {
  const auto text = ReadJson(folder / kVisitFile);
  if (!text) {
    return text.error().code == RefusalCode::kFileMissing ? Missing()
                                                          : text.error();
  }
  auto visit = ParseVisit(text->root);
  if (visit && visit->day != day) {
    return Refusal{
        RefusalCode::kDamaged,
        "It is of another day (" + DayText(visit->day) + ") than its folder.",
        "Give the folder its date again."};
  }
  return visit;
}

std::vector<ListedRecord> RecordsOf(const StoredVisit& visit,
                                    const fs::path& folder) {
  if (visit.records) return *visit.records;
  std::vector<ListedRecord> records;
  for (const std::string& name : NamesIn(folder)) {
    if (ParseRecordFolder(name)) records.push_back({name, ""});
  }
  return records;
}

Result<StoredRecord> ReadRecord(const fs::path& folder,
                                const std::string& sha256) {
  const auto text = ReadJson(folder / kRecordFile);
  if (!text) {
    return text.error().code == RefusalCode::kFileMissing ? Missing()
                                                          : text.error();
  }
  const std::string name = folder.filename().string();
  auto record = ParseRecord(text->root, name);
  if (!record) return record;
  if (!sha256.empty() && photo::Sha256(text->bytes) != sha256) {
    return WrongHash();
  }
  const auto parts = ParseRecordFolder(name);
  if (!parts || parts->foot != record->foot || parts->stage != record->stage) {
    return Refusal{RefusalCode::kDamaged,
                   "It is of another foot or stage than its folder says.",
                   "Give the folder its name again."};
  }
  return record;
}

FolderHandle::FolderHandle(const fs::path& folder)
    : folder_(::open(folder.c_str(), O_PATH | O_DIRECTORY | O_CLOEXEC)) {}

FolderHandle::~FolderHandle() {
  if (folder_ >= 0) ::close(folder_);
}

Stamp FolderHandle::StampOf(std::string path) const {
  Stamp stamp{std::move(path)};
  struct stat there {};
  if (folder_ < 0 || ::fstatat(folder_, stamp.path.c_str(), &there, 0) != 0) {
    return stamp;
  }
  Fill(there, stamp);
  return stamp;
}

Stamp StampOf(const fs::path& folder, std::string path) {
  Stamp stamp{std::move(path)};
  struct stat there {};
  if (::stat((folder / stamp.path).c_str(), &there) == 0) Fill(there, stamp);
  return stamp;
}

Result<Done> LookAt(const fs::path& path, const StoredFile& file) {
  std::error_code failed;
  const std::uintmax_t bytes = fs::file_size(path, failed);
  if (failed) return Missing();
  // Version 0 didn't keep the sizes.
  if (file.bytes != 0 && bytes != file.bytes) {
    return Refusal{RefusalCode::kDamaged,
                   "It has another size than it was recorded with.",
                   MendRemedy()};
  }
  return Done{};
}

Result<std::string> ReadChecked(const fs::path& path, const StoredFile& file) {
  auto bytes = photo::ReadBytes(path, 1'000'000'000);
  if (!bytes) {
    if (bytes.error().code == RefusalCode::kFileMissing) return Missing();
    return Refusal{bytes.error().code, bytes.error().message, MendRemedy()};
  }
  if (photo::Sha256(*bytes) != file.sha256) return WrongHash();
  return bytes;
}

Result<json> ReadSummary(const fs::path& folder, const StoredRecord& record) {
  const auto file = record.files.find(kReportFile);
  if (file == record.files.end()) return Missing();
  const auto bytes = ReadChecked(folder / kReportFile, file->second);
  if (!bytes) return bytes.error();
  // Most of a report are the places of its outlines: they aren't kept.
  const json::parser_callback_t keep =
      [](int depth, json::parse_event_t event, json& parsed) {
        return depth != 1 || event != json::parse_event_t::key ||
               (parsed != "points" && parsed != "lines" &&
                parsed != "observations" && parsed != "cautions");
      };
  json summary = json::parse(*bytes, keep, false);
  if (!summary.is_object()) {
    return Refusal{
        RefusalCode::kNotJson, "It is not a report in JSON.", MendRemedy()};
  }
  return summary;
}

FootRecord Assemble(const fs::path& folder, StoredRecord record, json summary) {
  FootRecord foot;
  foot.foot = record.foot;
  foot.stage = record.stage;
  const auto parts = ParseRecordFolder(folder.filename().string());
  foot.take = parts ? parts->take : 1;
  foot.folder = folder;
  foot.recorded = std::move(record.recorded);
  foot.made_from = std::move(record.made_from);
  foot.photos = std::move(record.photos);
  foot.summary = std::move(summary);
  return foot;
}

void SortIn(std::vector<FootRecord> records, Visit& visit) {
  std::sort(records.begin(),
            records.end(),
            [](const FootRecord& a, const FootRecord& b) {
              return std::tie(a.foot, a.stage, a.take) <
                     std::tie(b.foot, b.stage, b.take);
            });
  for (std::size_t i = 0; i < records.size(); ++i) {
    const bool last = i + 1 == records.size() ||
                      records[i + 1].foot != records[i].foot ||
                      records[i + 1].stage != records[i].stage;
    (last ? visit.feet : visit.replaced).push_back(std::move(records[i]));
  }
}

std::optional<Visit> ReadWholeVisit(const Casebook& casebook,
                                    const std::string& horse,
                                    Day day,
                                    std::vector<Damage>& damage,
                                    std::vector<Stamp>& stamps) {
  const fs::path folder = VisitFolder(casebook, horse, day);
  stamps.push_back(StampOf(folder, "."));
  stamps.push_back(StampOf(folder, kVisitFile));
  auto stored = ReadVisit(folder, day);
  if (!stored) {
    damage.push_back({Inside(casebook, folder / kVisitFile), stored.error()});
    return std::nullopt;
  }
  Visit visit;
  visit.day = day;
  visit.folder = folder;
  std::vector<FootRecord> records;
  for (const ListedRecord& listed : RecordsOf(*stored, folder)) {
    const fs::path at = folder / listed.folder;
    stamps.push_back(StampOf(folder, listed.folder + "/" + kRecordFile));
    auto record = ReadRecord(at, listed.sha256);
    if (!record) {
      damage.push_back({Inside(casebook, at / kRecordFile), record.error()});
      continue;
    }
    bool whole = true;
    for (const auto& [name, file] : record->files) {
      stamps.push_back(StampOf(folder, listed.folder + "/" + name));
      if (const auto there = LookAt(at / name, file); !there) {
        damage.push_back({Inside(casebook, at / name), there.error()});
        whole = false;
      }
    }
    if (!whole) continue;
    auto summary = ReadSummary(at, *record);
    if (!summary) {
      damage.push_back({Inside(casebook, at / kReportFile), summary.error()});
      continue;
    }
    records.push_back(Assemble(at, std::move(*record), std::move(*summary)));
  }
  visit.notes = std::move(stored->notes);
  visit.earlier_notes = std::move(stored->earlier_notes);
  SortIn(std::move(records), visit);
  return visit;
}

}  // namespace plumbfoot::casebook
