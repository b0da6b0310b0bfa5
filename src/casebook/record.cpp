// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/record.h"

#include <algorithm>
#include <system_error>
#include <utility>

#include "casebook/names.h"
#include "casebook/read.h"
#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

std::string NewFolder(const Casebook& casebook, const std::string& name) {
  const std::string first = FolderName(name);
  std::string folder = first;
  std::error_code ignored;
  for (int i = 2; fs::exists(HorseFolder(casebook, folder), ignored); ++i) {
    folder = first + "-" + std::to_string(i);
  }
  return folder;
}

/// A horse's file that can't be read may be the one that is meant: a second
/// history of the same horse would be begun.
std::optional<Refusal> MayBeDamaged(const HorseList& list,
                                    const std::string& name) {
  const std::string folder = FolderName(name);
  for (const Damage& damage : list.set_aside) {
    const std::string its = damage.where.parent_path().filename().string();
    if (its != folder && !its.starts_with(folder + "-")) continue;
    return Refusal{
        damage.refusal.code,
        damage.where.string() +
            " can't be read, and may be this horse: " + damage.refusal.message,
        damage.refusal.remedy};
  }
  return std::nullopt;
}

/// One foot's files, ready to be written.
struct Prepared {
  StoredRecord record;
  std::vector<photo::NamedBytes> files;
};

Prepared Prepare(const FootToRecord& foot, const std::string& now) {
  if (foot.photos.empty()) {
    throw std::invalid_argument("RecordVisit: a foot without a photo");
  }
  Prepared prepared;
  StoredRecord& record = prepared.record;
  record.foot = foot.foot;
  record.stage = foot.stage;
  record.recorded = now;
  record.made_from = foot.made_from;
  const auto add = [&](const std::string& name, const std::string& bytes) {
    record.files[name] = {photo::Sha256(bytes), bytes.size()};
    prepared.files.push_back({name, bytes});
  };
  for (const auto& [view, photo] : foot.photos) {
    const std::string name =
        std::string(geometry::ViewName(view)) + SafeEnding(photo.original_name);
    add(name, photo.bytes);
    record.photos[view] = {
        name, photo.original_name, record.files[name].sha256};
  }
  add(kReportFile, foot.report_json);
  if (!foot.points_json.empty()) add(kPointsFile, foot.points_json);
  if (foot.given_json) add(kGivenFile, *foot.given_json);
  for (const auto& [view, bytes] : foot.drawn) add(DrawnFile(view), bytes);
  return prepared;
}

bool SameMaking(const StoredRecord& a, const StoredRecord& b) {
  if (a.foot != b.foot || a.stage != b.stage || a.made_from != b.made_from ||
      a.photos.size() != b.photos.size()) {
    return false;
  }
  return std::all_of(a.photos.begin(), a.photos.end(), [&](const auto& photo) {
    const auto other = b.photos.find(photo.first);
    return other != b.photos.end() &&
           other->second.sha256 == photo.second.sha256;
  });
}

/// The visit as it stands on the disk.
struct Present {
  StoredVisit visit;
  bool there = false;
  /// The last take of each foot and stage that can be read.
  std::map<std::pair<Foot, Stage>, std::pair<int, StoredRecord>> last;
  /// The highest take whose folder is there, listed, whole or not.
  std::map<std::pair<Foot, Stage>, int> takes;
};

Result<Present> ReadPresent(const fs::path& folder, Day day) {
  Present present;
  present.visit.day = day;
  std::error_code ignored;
  if (!fs::exists(folder, ignored)) {
    present.visit.records.emplace();
    return present;
  }
  auto visit = ReadVisit(folder, day);
  if (!visit) {
    return Refusal{
        visit.error().code,
        (folder / kVisitFile).string() + ": " + visit.error().message,
        "Nothing was recorded. " + visit.error().remedy};
  }
  present.there = true;
  for (const std::string& name : NamesIn(folder)) {
    const auto parts = ParseRecordFolder(name);
    if (!parts) continue;
    int& take = present.takes[{parts->foot, parts->stage}];
    take = std::max(take, parts->take);
  }
  std::vector<ListedRecord> records = RecordsOf(*visit, folder);
  for (ListedRecord& listed : records) {
    const fs::path at = folder / listed.folder;
    const auto record = ReadRecord(at, listed.sha256);
    if (listed.sha256.empty()) {
      // A visit of version 0 becomes one of the present version.
      const auto text = ReadJson(at / kRecordFile);
      if (text) listed.sha256 = photo::Sha256(text->bytes);
    }
    if (!record) continue;
    const auto parts = ParseRecordFolder(listed.folder);
    auto& last = present.last[{record->foot, record->stage}];
    if (parts && parts->take > last.first) last = {parts->take, *record};
  }
  present.visit = std::move(*visit);
  present.visit.records = std::move(records);
  return present;
}

/// What of a visit is new, put into its StoredVisit.
struct News {
  Recorded recorded;
  std::vector<std::pair<std::string, Prepared>> records;  ///< By folder.
};

News FindNews(const VisitToRecord& visit, Present& present) {
  News news;
  if (visit.change_notes) {
    Notes notes = present.visit.notes;
    visit.change_notes(notes);
    if (notes != present.visit.notes) {
      if (present.visit.notes != Notes{}) {
        present.visit.earlier_notes.push_back(present.visit.notes);
      }
      present.visit.notes = std::move(notes);
      news.recorded.notes_changed = true;
    }
  }
  for (const FootToRecord& foot : visit.feet) {
    Prepared prepared = Prepare(foot, visit.now);
    const std::pair key(foot.foot, foot.stage);
    if (const auto last = present.last.find(key);
        last != present.last.end() &&
        SameMaking(last->second.second, prepared.record)) {
      news.recorded.known.push_back(
          RecordFolder(foot.foot, foot.stage, last->second.first));
      continue;
    }
    const int take = ++present.takes[key];
    const std::string folder = RecordFolder(foot.foot, foot.stage, take);
    const std::string text = RecordText(prepared.record);
    prepared.files.push_back({kRecordFile, text});
    present.visit.records->push_back({folder, photo::Sha256(text)});
    present.last[key] = {take, prepared.record};
    news.recorded.added.push_back(folder);
    news.records.emplace_back(folder, std::move(prepared));
  }
  return news;
}

}  // namespace

Result<ChosenHorse> ChooseHorse(const Casebook& casebook,
                                const VisitToRecord& visit) {
  if (!IsName(visit.horse)) {
    return Refusal{RefusalCode::kUsage,
                   "\"" + visit.horse + "\" can't be a horse's name.",
                   "Write the name in UTF-8, with a letter in it."};
  }
  const HorseList list = ListHorses(casebook);
  const auto found = FindByName(list, visit.horse, visit.yard);
  if (found && !visit.new_horse) return ChosenHorse{*found, false};
  if (found || found.error().code == RefusalCode::kSeveralHorses) {
    if (!visit.new_horse) return found.error();
    return Refusal{RefusalCode::kUsage,
                   "There is a horse called \"" + visit.horse +
                       "\" already; a new one needs something to tell it by.",
                   "Give the new one's yard with --yard."};
  }
  const std::string key = NameKey(visit.horse);
  const auto same = std::find_if(
      list.horses.begin(), list.horses.end(), [&](const Horse& horse) {
        return NameKey(horse.name) == key;
      });
  if (same != list.horses.end() && !visit.new_horse) {
    return Refusal{
        RefusalCode::kNoSuchHorse,
        "There is a horse called \"" + same->name +
            "\", but not at the yard \"" + visit.yard.value_or("") +
            "\" (its yard: " +
            (same->yard.empty() ? std::string("none told") : same->yard) + ").",
        "If it is the same horse, leave --yard out or give its yard; if it is "
        "another, add --new-horse."};
  }
  if (auto damaged = MayBeDamaged(list, visit.horse)) return *damaged;
  ChosenHorse chosen;
  chosen.horse.name = visit.horse;
  chosen.horse.yard = visit.yard.value_or("");
  chosen.horse.folder = NewFolder(casebook, visit.horse);
  chosen.is_new = true;
  return chosen;
}

Result<Recorded> RecordVisit(const Casebook& casebook,
                             const VisitToRecord& visit) {
  // CHOSEN: another program records a visit in a second or two.
  const auto lock = WriterLock::Take(casebook, std::chrono::seconds(30));
  if (!lock) return lock.error();
  if (auto cleared = ClearLeftovers(casebook, *lock); !cleared) {
    return cleared.error();
  }
  const auto chosen = ChooseHorse(casebook, visit);
  if (!chosen) return chosen.error();
  const Horse& horse = chosen->horse;
  const fs::path folder = VisitFolder(casebook, horse.folder, visit.day);
  auto present = ReadPresent(folder, visit.day);
  if (!present) return present.error();
  News news = FindNews(visit, *present);
  news.recorded.horse = horse;
  news.recorded.horse_is_new = chosen->is_new;
  news.recorded.visit_is_new = !present->there;
  if (present->there && news.records.empty() && !news.recorded.notes_changed) {
    return news.recorded;
  }
  if (!present->there && visit.feet.empty() && !visit.change_notes) {
    return Refusal{RefusalCode::kUsage,
                   "There is nothing to record: no photo, no notes.",
                   "Give photos of the visit, or say what was done."};
  }

  auto staging = Staging::Begin(casebook, *lock);
  if (!staging) return staging.error();
  // What is new is moved as one folder where it can be: a new horse, else a new
  // visit. Into a visit that is there, record by record, visit.json last.
  const fs::path day = DayText(visit.day);
  const fs::path horse_path = fs::path(kHorses) / horse.folder;
  const fs::path visit_path = horse_path / kVisits / day;
  fs::path top;
  if (chosen->is_new) {
    top = fs::path("horse") / kVisits / day;
  } else if (!present->there) {
    top = "visit";
  }
  for (const auto& [name, prepared] : news.records) {
    if (auto written = staging->Write(top / name, prepared.files); !written) {
      return written.error();
    }
    if (present->there) staging->Move(name, visit_path / name);
  }
  if (auto written =
          staging->Write(top, {{kVisitFile, VisitText(present->visit)}});
      !written) {
    return written.error();
  }
  if (chosen->is_new) {
    if (auto written =
            staging->Write("horse", {{kHorseFile, HorseText(horse)}});
        !written) {
      return written.error();
    }
    staging->Move("horse", horse_path);
  } else if (!present->there) {
    staging->Move("visit", visit_path);
  } else {
    staging->Move(kVisitFile, visit_path / kVisitFile);
  }
  if (auto done = staging->Commit(); !done) return done.error();
  return news.recorded;
}

}  // namespace plumbfoot::casebook
