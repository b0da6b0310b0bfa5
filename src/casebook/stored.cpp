// SPDX-License-Identifier: Apache-2.0
#include "casebook/stored.h"

#include <fmt/format.h>

#include <charconv>
#include <utility>

#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// What each version was:
//   0  the form before the first release. horse.json had only "horse"; a
//      visit's "done" and "next" stood beside its date and it didn't say which
//      records it has; record.json had only "sha256", by file name.
//   1  the present one. aims.json came later: what doesn't know of it doesn't
//      read it, and casebooks without it are whole.
constexpr int kVersion = 1;

Refusal NotRight(const std::string& what) {
  return {RefusalCode::kDamaged, what + ".", MendRemedy()};
}

/// A field of a file that has to be text; "" where it is missing or null.
/// @throws json::exception where it is something else.
std::string TextOf(const json& object, const char* key) {
  const auto it = object.find(key);
  if (it == object.end() || it->is_null()) return {};
  return it->get<std::string>();
}

void Put(json& object, const char* key, const std::string& text) {
  if (!text.empty()) object[key] = text;
}

/// The version, if the file is of that format and not of a newer Plumbfoot.
Result<int> VersionOf(const json& root, const std::string& format) {
  if (!root.is_object() || root.value("format", json()) != format) {
    return Refusal{RefusalCode::kNotOurFormat,
                   "It doesn't say \"format\": \"" + format + "\".",
                   MendRemedy()};
  }
  const json version = root.value("version", json());
  if (!version.is_number_integer() || version.get<std::int64_t>() < 0 ||
      version.get<std::int64_t>() > kVersion) {
    return Refusal{RefusalCode::kVersionUnknown,
                   "It was written by a newer Plumbfoot (version " +
                       version.dump() + " of its format).",
                   "Use that Plumbfoot, or a newer one; nothing is lost."};
  }
  return version.get<int>();
}

json Root(const char* format) {
  return {{"format", format}, {"version", kVersion}};
}

/// Names that came with photos needn't be UTF-8.
std::string Dump(const json& root) {
  return root.dump(2, ' ', false, json::error_handler_t::replace) + "\n";
}

/// @throws json::exception, std::invalid_argument
Day DayOf(const std::string& text) {
  const auto day = ParseDay(text);
  if (!day) throw std::invalid_argument(day.error().message);
  return *day;
}
Foot FootOf(const std::string& text) {
  const auto foot = geometry::ParseFoot(text);
  if (!foot) throw std::invalid_argument(foot.error().message);
  return *foot;
}
Stage StageOf(const std::string& text) {
  const auto stage = geometry::ParseStage(text);
  if (!stage) throw std::invalid_argument(stage.error().message);
  return *stage;
}

/// A name that can't lead out of its folder.
std::string PlainName(const std::string& name) {
  if (name.empty() || name.front() == '.' ||
      name.find_first_of(std::string_view("/\\\0", 3)) != std::string::npos) {
    throw std::invalid_argument("\"" + name + "\" is not a plain file name");
  }
  return name;
}

/// Version 0: {"date", "done": ["trim", "..."], "remarks", "next"}.
StoredVisit VisitOfVersion0(const json& root) {
  StoredVisit visit;
  visit.day = DayOf(root.at("date").get<std::string>());
  Work work;
  for (const json& entry : root.value("done", json::array())) {
    const auto done = entry.get<std::string>();
    if (done == "trim") {
      work.trimmed = true;
    } else {
      work.shoe += (work.shoe.empty() ? "" : ", ") + done;
    }
  }
  if (work != Work{}) visit.notes.work.push_back(std::move(work));
  visit.notes.remarks = TextOf(root, "remarks");
  const std::string next = TextOf(root, "next");
  if (!next.empty()) visit.notes.next_visit = DayOf(next);
  return visit;
}

/// Version 0: {"sha256": {"solar.jpg": "...", ...}}.
StoredRecord RecordOfVersion0(const json& root, const std::string& folder) {
  const auto parts = ParseRecordFolder(folder);
  if (!parts) {
    throw std::invalid_argument("\"" + folder + "\" names no foot and stage");
  }
  StoredRecord record;
  record.foot = parts->foot;
  record.stage = parts->stage;
  for (const auto& [name, sha256] : root.at("sha256").items()) {
    record.files[PlainName(name)] = {sha256.get<std::string>(), 0};
    for (const View view : {View::kSolar, View::kLateral}) {
      if (fs::path(name).stem() == geometry::ViewName(view)) {
        record.photos[view] = {name, name, sha256.get<std::string>()};
      }
    }
  }
  return record;
}

/// Runs a reader that throws where something is missing or of a wrong kind.
template <typename Read>
auto Careful(Read read) -> Result<decltype(read())> {
  try {
    return read();
  } catch (const json::exception&) {
    return NotRight("Something that has to stand in it is missing or wrong");
  } catch (const std::invalid_argument& trouble) {
    return NotRight(std::string("It isn't right: ") + trouble.what());
  }
}

}  // namespace

std::string MendRemedy() {
  return "Copy it from a backup; the rest of the casebook works without it.";
}

fs::path HorseFolder(const Casebook& casebook, const std::string& horse) {
  return casebook.folder / kHorses / horse;
}

Result<Text> ReadJson(const fs::path& path) {
  // CHOSEN: a report with two outlines has a tenth of a megabyte.
  auto bytes = photo::ReadBytes(path, 64'000'000);
  if (!bytes) {
    return Refusal{bytes.error().code, bytes.error().message, MendRemedy()};
  }
  Text text;
  text.bytes = std::move(*bytes);
  text.root = json::parse(text.bytes, nullptr, false);
  if (text.root.is_discarded()) {
    return Refusal{RefusalCode::kNotJson,
                   "It is not whole: what stands in it is not JSON.",
                   MendRemedy()};
  }
  return text;
}

json NotesJson(const Notes& notes) {
  json work = json::array();
  for (const Work& done : notes.work) {
    json entry = {{"trimmed", done.trimmed}};
    if (!done.feet.empty()) {
      for (const Foot foot : done.feet) {
        entry["feet"].push_back(geometry::FootName(foot));
      }
    }
    Put(entry, "shoe", done.shoe);
    Put(entry, "size", done.size);
    Put(entry, "nails", done.nails);
    Put(entry, "pads", done.pads);
    Put(entry, "wedges", done.wedges);
    work.push_back(std::move(entry));
  }
  json root = {{"work", std::move(work)}};
  Put(root, "by", notes.by);
  Put(root, "remarks", notes.remarks);
  Put(root, "vet", notes.vet);
  if (notes.no_next_visit) {
    root["next_visit"] = "none";
  } else if (notes.next_visit) {
    root["next_visit"] = DayText(*notes.next_visit);
  }
  return root;
}

Notes ParseNotes(const json& root) {
  Notes notes;
  for (const json& entry : root.value("work", json::array())) {
    Work done;
    for (const json& foot : entry.value("feet", json::array())) {
      done.feet.push_back(FootOf(foot.get<std::string>()));
    }
    done.trimmed = entry.value("trimmed", false);
    done.shoe = TextOf(entry, "shoe");
    done.size = TextOf(entry, "size");
    done.nails = TextOf(entry, "nails");
    done.pads = TextOf(entry, "pads");
    done.wedges = TextOf(entry, "wedges");
    notes.work.push_back(std::move(done));
  }
  notes.by = TextOf(root, "by");
  notes.remarks = TextOf(root, "remarks");
  notes.vet = TextOf(root, "vet");
  const std::string next = TextOf(root, "next_visit");
  notes.no_next_visit = next == "none";
  if (!next.empty() && !notes.no_next_visit) notes.next_visit = DayOf(next);
  return notes;
}

Result<Done> ParseCasebook(const json& root) {
  const auto version = VersionOf(root, "plumbfoot-casebook");
  if (!version) return version.error();
  return Done{};
}

Result<Horse> ParseHorse(const json& root, const std::string& folder) {
  const auto version = VersionOf(root, "plumbfoot-horse");
  if (!version) return version.error();
  return Careful([&] {
    Horse horse;
    horse.folder = folder;
    horse.name = root.at(*version == 0 ? "horse" : "name").get<std::string>();
    if (horse.name.empty()) throw std::invalid_argument("the name is empty");
    horse.yard = TextOf(root, "yard");
    return horse;
  });
}

Result<StoredVisit> ParseVisit(const json& root) {
  const auto version = VersionOf(root, "plumbfoot-visit");
  if (!version) return version.error();
  return Careful([&] {
    if (*version == 0) return VisitOfVersion0(root);
    StoredVisit visit;
    visit.day = DayOf(root.at("date").get<std::string>());
    visit.notes = ParseNotes(root.at("notes"));
    for (const json& notes : root.value("earlier_notes", json::array())) {
      visit.earlier_notes.push_back(ParseNotes(notes));
    }
    visit.records.emplace();
    for (const json& entry : root.at("records")) {
      visit.records->push_back(
          {PlainName(entry.at("folder").get<std::string>()),
           TextOf(entry, "sha256")});
    }
    return visit;
  });
}

Result<StoredRecord> ParseRecord(const json& root, const std::string& folder) {
  const auto version = VersionOf(root, "plumbfoot-record");
  if (!version) return version.error();
  return Careful([&] {
    if (*version == 0) return RecordOfVersion0(root, folder);
    StoredRecord record;
    record.foot = FootOf(root.at("foot").get<std::string>());
    record.stage = StageOf(root.at("stage").get<std::string>());
    record.recorded = TextOf(root, "recorded");
    record.made_from = TextOf(root, "made_from");
    for (const auto& [name, file] : root.at("files").items()) {
      record.files[PlainName(name)] = {file.at("sha256").get<std::string>(),
                                       file.at("bytes").get<std::uintmax_t>()};
    }
    for (const View view : {View::kSolar, View::kLateral}) {
      const json& photos = root.at("photos");
      const auto it = photos.find(std::string(geometry::ViewName(view)));
      if (it == photos.end()) continue;
      RecordedPhoto photo;
      photo.file = it->at("file").get<std::string>();
      photo.original_name = TextOf(*it, "original_name");
      const auto file = record.files.find(photo.file);
      if (file == record.files.end()) {
        throw std::invalid_argument("no SHA-256 of " + photo.file);
      }
      photo.sha256 = file->second.sha256;
      record.photos[view] = std::move(photo);
    }
    return record;
  });
}

Result<std::vector<Aim>> ParseAims(const json& root) {
  const auto version = VersionOf(root, "plumbfoot-aims");
  if (!version) return version.error();
  return Careful([&] {
    std::vector<Aim> aims;
    for (const json& entry : root.at("aims")) {
      Aim aim;
      aim.what = entry.at("what").get<std::string>();
      const std::string foot = TextOf(entry, "foot");
      if (!foot.empty()) aim.foot = FootOf(foot);
      const json& value = entry.at("value");
      if (!value.is_null()) aim.value = value.get<double>();
      aim.by = entry.at("by").get<std::string>();
      aim.set_on = DayOf(entry.at("set_on").get<std::string>());
      aims.push_back(std::move(aim));
    }
    return aims;
  });
}

std::string CasebookText() {
  json root = Root("plumbfoot-casebook");
  root["about"] =
      "A farrier's casebook: horses, visits, photos and what was measured on "
      "them. Copy the whole folder to back it up. Change nothing by hand; "
      "\"plumbfoot history --verify\" tells whether everything is whole.";
  return Dump(root);
}

std::string HorseText(const Horse& horse) {
  json root = Root("plumbfoot-horse");
  root["name"] = horse.name;
  Put(root, "yard", horse.yard);
  return Dump(root);
}

std::string AimsText(const std::vector<Aim>& aims) {
  json root = Root("plumbfoot-aims");
  root["aims"] = json::array();
  for (const Aim& aim : aims) {
    json entry = {{"what", aim.what},
                  {"value", nullptr},
                  {"by", aim.by},
                  {"set_on", DayText(aim.set_on)}};
    if (aim.foot) entry["foot"] = geometry::FootName(*aim.foot);
    if (aim.value) entry["value"] = *aim.value;
    root["aims"].push_back(std::move(entry));
  }
  return Dump(root);
}

std::string VisitText(const StoredVisit& visit) {
  json root = Root("plumbfoot-visit");
  root["date"] = DayText(visit.day);
  root["notes"] = NotesJson(visit.notes);
  for (const Notes& notes : visit.earlier_notes) {
    root["earlier_notes"].push_back(NotesJson(notes));
  }
  root["records"] = json::array();
  for (const ListedRecord& record : visit.records.value()) {
    root["records"].push_back(
        {{"folder", record.folder}, {"sha256", record.sha256}});
  }
  return Dump(root);
}

std::string RecordText(const StoredRecord& record) {
  json root = Root("plumbfoot-record");
  root["foot"] = geometry::FootName(record.foot);
  root["stage"] = geometry::StageName(record.stage);
  Put(root, "recorded", record.recorded);
  Put(root, "made_from", record.made_from);
  root["photos"] = json::object();
  for (const auto& [view, photo] : record.photos) {
    root["photos"][std::string(geometry::ViewName(view))] = {
        {"file", photo.file}, {"original_name", photo.original_name}};
  }
  for (const auto& [name, file] : record.files) {
    root["files"][name] = {{"sha256", file.sha256}, {"bytes", file.bytes}};
  }
  return Dump(root);
}

std::string RecordFolder(Foot foot, Stage stage, int take) {
  std::string folder = fmt::format(
      "{}-{}", geometry::FootName(foot), geometry::StageName(stage));
  if (take > 1) folder += fmt::format("-{}", take);
  return folder;
}

std::optional<FolderParts> ParseRecordFolder(std::string_view folder) {
  FolderParts parts;
  const std::size_t first = folder.find('-');
  if (first == std::string_view::npos) return std::nullopt;
  const auto foot = geometry::ParseFoot(folder.substr(0, first));
  std::string_view rest = folder.substr(first + 1);
  if (const std::size_t second = rest.find('-');
      second != std::string_view::npos) {
    const std::string_view digits = rest.substr(second + 1);
    const char* const end = digits.data() + digits.size();
    const auto read = std::from_chars(digits.data(), end, parts.take);
    if (read.ec != std::errc() || read.ptr != end || parts.take < 2) {
      return std::nullopt;
    }
    rest = rest.substr(0, second);
  }
  const auto stage = geometry::ParseStage(rest);
  if (!foot || !stage) return std::nullopt;
  parts.foot = *foot;
  parts.stage = *stage;
  return parts;
}

}  // namespace plumbfoot::casebook
