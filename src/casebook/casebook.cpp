// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/casebook.h"

#include <algorithm>
#include <system_error>
#include <tuple>
#include <utility>

#include "casebook/index.h"
#include "casebook/names.h"
#include "casebook/read.h"
#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

/// May a new casebook be made in this folder: nothing of anybody else's in it.
bool IsFree(const fs::path& folder) {
  const std::vector<std::string> names = NamesIn(folder);
  return std::all_of(names.begin(), names.end(), [](const std::string& name) {
    return name.starts_with(std::string(kCasebookFile) + ".part");
  });
}

std::string Described(const Horse& horse) {
  return "\"" + horse.name + "\", " +
         (horse.yard.empty() ? std::string("no yard")
                             : "yard \"" + horse.yard + "\"") +
         " (folder " + horse.folder + ")";
}

Refusal Several(const std::vector<Horse>& horses) {
  std::string message = "Several horses have that name: ";
  for (std::size_t i = 0; i < horses.size(); ++i) {
    message += (i == 0 ? "" : "; ") + Described(horses[i]);
  }
  return {RefusalCode::kSeveralHorses,
          message + ".",
          "Say which with its yard (--yard \"\" is the one of no yard)."};
}

/// Those of the files that a visit's words and numbers were read from, and of
/// its folder.
void AddStamps(Day day,
               const std::vector<Stamp>& of_visit,
               std::vector<Stamp>& stamps) {
  const fs::path folder = fs::path(kVisits) / DayText(day);
  for (Stamp stamp : of_visit) {
    const fs::path path(stamp.path);
    const fs::path name = path.filename();
    if (name != "." && name != kVisitFile && name != kReportFile) {
      continue;
    }
    stamp.path = (folder / path).generic_string();
    stamps.push_back(std::move(stamp));
  }
}

}  // namespace

Result<Casebook> OpenCasebook(const fs::path& folder) {
  const auto text = ReadJson(folder / kCasebookFile);
  if (!text && text.error().code == RefusalCode::kFileMissing) {
    return Refusal{RefusalCode::kFileMissing,
                   "There is no casebook in " + folder.string() + ".",
                   "\"plumbfoot visit\" makes one; check the folder's name."};
  }
  const auto refuse = [&](const Refusal& why) {
    return Refusal{why.code,
                   (folder / kCasebookFile).string() + ": " + why.message,
                   why.remedy};
  };
  if (!text) return refuse(text.error());
  if (auto ours = ParseCasebook(text->root); !ours) return refuse(ours.error());
  Casebook casebook{folder};
  if (HasLeftovers(casebook)) {
    // Where nobody may write, somebody is writing, or it can't be finished, one
    // still may read: nothing that isn't in its place is part of the casebook.
    // RecordVisit refuses then, and VerifyCasebook names it.
    if (auto lock = WriterLock::Take(casebook, std::chrono::milliseconds(0))) {
      (void)ClearLeftovers(casebook, *lock);
    }
  }
  return casebook;
}

Result<Casebook> MakeCasebook(const fs::path& folder) {
  if (!IsFree(folder)) {
    return Refusal{RefusalCode::kNotOurFormat,
                   folder.string() +
                       " is not a casebook, and there are other things in it.",
                   "Name a new folder, or an empty one."};
  }
  if (auto made = photo::MakeFolders(folder); !made) return made.error();
  Casebook casebook{folder};
  // CHOSEN: making one takes milliseconds.
  const auto lock = WriterLock::Take(casebook, std::chrono::seconds(10));
  if (!lock) return lock.error();
  std::error_code ignored;
  // Somebody else was faster: it is theirs and ours.
  if (fs::exists(folder / kCasebookFile, ignored)) return OpenCasebook(folder);
  if (auto written = photo::WriteWhole(folder / kCasebookFile, CasebookText());
      !written) {
    return written.error();
  }
  return casebook;
}

HorseList ListHorses(const Casebook& casebook) {
  HorseList list;
  for (const std::string& name : NamesIn(casebook.folder / kHorses)) {
    const fs::path path = HorseFolder(casebook, name) / kHorseFile;
    const auto text = ReadJson(path);
    if (!text) {
      list.set_aside.push_back({Inside(casebook, path), text.error()});
      continue;
    }
    auto horse = ParseHorse(text->root, name);
    if (horse) {
      list.horses.push_back(std::move(*horse));
    } else {
      list.set_aside.push_back({Inside(casebook, path), horse.error()});
    }
  }
  std::sort(list.horses.begin(),
            list.horses.end(),
            [](const Horse& a, const Horse& b) {
              return std::tie(a.name, a.yard, a.folder) <
                     std::tie(b.name, b.yard, b.folder);
            });
  return list;
}

Result<Horse> FindByName(const HorseList& list,
                         std::string_view name,
                         const std::optional<std::string>& yard) {
  const std::string key = NameKey(name);
  std::vector<Horse> found;
  for (const Horse& horse : list.horses) {
    if (NameKey(horse.name) == key &&
        (!yard || NameKey(horse.yard) == NameKey(*yard))) {
      found.push_back(horse);
    }
  }
  if (found.size() > 1) return Several(found);
  if (found.size() == 1) return found.front();
  return Refusal{RefusalCode::kNoSuchHorse,
                 "No horse of the name \"" + std::string(name) + "\"" +
                     (yard ? " and the yard \"" + *yard + "\"" : "") +
                     " is in the casebook.",
                 "Check how its name is written (the folders in \"horses\" "
                 "tell)."};
}

Result<Horse> FindHorse(const Casebook& casebook,
                        std::string_view name,
                        const std::optional<std::string>& yard) {
  const HorseList list = ListHorses(casebook);
  auto found = FindByName(list, name, yard);
  if (!found && found.error().code == RefusalCode::kNoSuchHorse && !yard) {
    for (const Horse& horse : list.horses) {
      if (horse.folder == name) return horse;
    }
  }
  return found;
}

History ReadHistory(const Casebook& casebook, const Horse& horse) {
  History history;
  history.horse = horse;
  history.read_at_ns = std::chrono::duration_cast<std::chrono::nanoseconds>(
                           std::chrono::system_clock::now().time_since_epoch())
                           .count();
  const fs::path folder = HorseFolder(casebook, horse.folder);
  history.stamps = {StampOf(folder, kAimsFile), StampOf(folder, kVisits)};
  if (auto aims = ReadAims(casebook, horse)) {
    history.aims = std::move(*aims);
  } else {
    history.set_aside.push_back(
        {Inside(casebook, folder / kAimsFile), aims.error()});
  }
  std::map<Day, IndexedVisit> known = LoadIndex(casebook, horse.folder);
  std::map<Day, IndexedVisit> index;
  bool changed = false;
  for (const Day day : VisitDays(casebook, horse.folder, history.set_aside)) {
    if (const auto it = known.find(day); it != known.end()) {
      index.insert(known.extract(it));
      continue;
    }
    IndexedVisit indexed;
    std::vector<Damage> damage;
    auto visit =
        ReadWholeVisit(casebook, horse.folder, day, damage, indexed.stamps);
    history.set_aside.insert(
        history.set_aside.end(), damage.begin(), damage.end());
    if (!visit) continue;
    indexed.visit = std::move(*visit);
    if (damage.empty()) {
      index.emplace(day, std::move(indexed));
      changed = true;
    } else {
      // Read again each time, so that its damage is named each time.
      history.visits.push_back(std::move(indexed.visit));
    }
  }
  if (changed || !known.empty()) SaveIndex(casebook, horse.folder, index);
  for (auto& [day, indexed] : index) {
    AddStamps(day, indexed.stamps, history.stamps);
    history.visits.push_back(std::move(indexed.visit));
  }
  std::sort(history.visits.begin(),
            history.visits.end(),
            [](const Visit& a, const Visit& b) { return a.day < b.day; });
  return history;
}

Result<json> LoadReport(const FootRecord& record) {
  const auto refuse = [&](const Refusal& why, const char* file) {
    return Refusal{why.code,
                   (record.folder / file).string() + ": " + why.message,
                   why.remedy};
  };
  const auto stored = ReadRecord(record.folder, "");
  if (!stored) return refuse(stored.error(), kRecordFile);
  const auto file = stored->files.find(kReportFile);
  if (file == stored->files.end()) {
    return refuse({RefusalCode::kFileMissing,
                   "It is not part of the record.",
                   MendRemedy()},
                  kReportFile);
  }
  const auto bytes = ReadChecked(record.folder / kReportFile, file->second);
  if (!bytes) return refuse(bytes.error(), kReportFile);
  json report = json::parse(*bytes, nullptr, false);
  if (report.is_discarded()) {
    return refuse({RefusalCode::kNotJson, "It is not JSON.", MendRemedy()},
                  kReportFile);
  }
  return report;
}

DueList WhoIsDue(const Casebook& casebook, Day until) {
  DueList list;
  HorseList horses = ListHorses(casebook);
  list.set_aside = std::move(horses.set_aside);
  for (Horse& horse : horses.horses) {
    const std::vector<Day> days =
        VisitDays(casebook, horse.folder, list.set_aside);
    if (days.empty()) continue;
    const Day last = days.back();
    const fs::path folder = VisitFolder(casebook, horse.folder, last);
    const auto visit = ReadVisit(folder, last);
    if (!visit) {
      list.set_aside.push_back(
          {Inside(casebook, folder / kVisitFile), visit.error()});
    }
    // A horse isn't forgotten because the notes of its last visit are lost.
    const auto next = NextVisit(last, visit ? visit->notes : Notes{});
    if (next && *next <= until) {
      list.due.push_back({std::move(horse), last, *next});
    }
  }
  std::stable_sort(
      list.due.begin(), list.due.end(), [](const Due& a, const Due& b) {
        return a.next_visit < b.next_visit;
      });
  return list;
}

}  // namespace plumbfoot::casebook
