// SPDX-License-Identifier: Apache-2.0
#include "casebook/index.h"

#include <algorithm>
#include <utility>

#include "casebook/writer.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// Goes up with every change of what stands in it: another version is no index.
constexpr int kIndexVersion = 1;

fs::path IndexPath(const Casebook& casebook, const std::string& horse) {
  return casebook.folder / kHidden / "index" / (horse + ".cbor");
}

json ToJson(const FootRecord& record) {
  json photos = json::array();
  for (const auto& [view, photo] : record.photos) {
    photos.push_back({view, photo.file, photo.original_name, photo.sha256});
  }
  return {{"folder", record.folder.filename().string()},
          {"foot", record.foot},
          {"stage", record.stage},
          {"take", record.take},
          {"recorded", record.recorded},
          {"made_from", record.made_from},
          {"photos", std::move(photos)},
          {"summary", record.summary}};
}

FootRecord RecordOf(json& root, const fs::path& folder) {
  FootRecord record;
  record.folder = folder / root.at("folder").get<std::string>();
  record.foot = root.at("foot").get<Foot>();
  record.stage = root.at("stage").get<Stage>();
  record.take = root.at("take").get<int>();
  record.recorded = root.at("recorded").get<std::string>();
  record.made_from = root.at("made_from").get<std::string>();
  for (const json& photo : root.at("photos")) {
    record.photos[photo.at(0).get<View>()] = {photo.at(1).get<std::string>(),
                                              photo.at(2).get<std::string>(),
                                              photo.at(3).get<std::string>()};
  }
  record.summary = std::move(root.at("summary"));
  return record;
}

json ToJson(const IndexedVisit& indexed) {
  json root = {{"stamps", json::array()},
               {"notes", NotesJson(indexed.visit.notes)},
               {"earlier_notes", json::array()},
               {"records", json::array()}};
  for (const Stamp& s : indexed.stamps) {
    root["stamps"].push_back(
        {s.path, s.size, s.number, s.modified_ns, s.changed_ns});
  }
  for (const Notes& notes : indexed.visit.earlier_notes) {
    root["earlier_notes"].push_back(NotesJson(notes));
  }
  for (const auto* records : {&indexed.visit.feet, &indexed.visit.replaced}) {
    for (const FootRecord& record : *records) {
      root["records"].push_back(ToJson(record));
    }
  }
  return root;
}

/// Nothing where a stamp is no longer right.
std::optional<IndexedVisit> VisitOf(json& root,
                                    const fs::path& folder,
                                    Day day) {
  IndexedVisit indexed;
  for (const json& s : root.at("stamps")) {
    indexed.stamps.push_back({s.at(0).get<std::string>(),
                              s.at(1).get<std::uint64_t>(),
                              s.at(2).get<std::uint64_t>(),
                              s.at(3).get<std::int64_t>(),
                              s.at(4).get<std::int64_t>()});
  }
  const bool right = std::all_of(
      indexed.stamps.begin(), indexed.stamps.end(), [&](const Stamp& stamp) {
        return stamp == StampOf(folder, stamp.path);
      });
  if (!right) return std::nullopt;
  indexed.visit.day = day;
  indexed.visit.folder = folder;
  indexed.visit.notes = ParseNotes(root.at("notes"));
  for (const json& notes : root.at("earlier_notes")) {
    indexed.visit.earlier_notes.push_back(ParseNotes(notes));
  }
  std::vector<FootRecord> records;
  for (json& record : root.at("records")) {
    records.push_back(RecordOf(record, folder));
  }
  SortIn(std::move(records), indexed.visit);
  return indexed;
}

}  // namespace

std::map<Day, IndexedVisit> LoadIndex(const Casebook& casebook,
                                      const std::string& horse) {
  std::map<Day, IndexedVisit> visits;
  const auto bytes =
      photo::ReadBytes(IndexPath(casebook, horse), 1'000'000'000);
  if (!bytes) return visits;
  json root = json::from_cbor(*bytes, true, false);
  if (!root.is_object() || root.value("version", json()) != kIndexVersion) {
    return visits;
  }
  try {
    for (auto& [date, entry] : root.at("visits").items()) {
      const auto day = ParseDay(date);
      if (!day) continue;
      auto visit = VisitOf(entry, VisitFolder(casebook, horse, *day), *day);
      if (visit) visits.emplace(*day, std::move(*visit));
    }
  } catch (const json::exception&) {
    visits.clear();
  } catch (const std::invalid_argument&) {
    visits.clear();
  }
  return visits;
}

void SaveIndex(const Casebook& casebook,
               const std::string& horse,
               const std::map<Day, IndexedVisit>& visits) {
  json root = {{"version", kIndexVersion}, {"visits", json::object()}};
  for (const auto& [day, visit] : visits) {
    root["visits"][DayText(day)] = ToJson(visit);
  }
  const std::vector<std::uint8_t> bytes = json::to_cbor(root);
  const auto lock = WriterLock::Take(casebook, std::chrono::milliseconds(0));
  if (!lock) return;
  const fs::path path = IndexPath(casebook, horse);
  if (!photo::MakeFolders(path.parent_path())) return;
  // A refusal is let be: the next reader reads the reports again.
  (void)photo::WriteWhole(
      path,
      std::string_view(reinterpret_cast<const char*>(bytes.data()),
                       bytes.size()));
}

}  // namespace plumbfoot::casebook
