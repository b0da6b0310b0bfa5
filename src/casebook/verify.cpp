// SPDX-License-Identifier: Apache-2.0
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <utility>

#include "casebook/read.h"
#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/casebook/unfinished.h"
#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

void VerifyRecord(const Casebook& casebook,
                  const fs::path& folder,
                  const ListedRecord& listed,
                  Verified& verified) {
  const auto record = ReadRecord(folder, listed.sha256);
  if (!record) {
    verified.damage.push_back(
        {Inside(casebook, folder / kRecordFile), record.error()});
    return;
  }
  bool whole = true;
  for (const auto& [name, file] : record->files) {
    if (const auto bytes = ReadChecked(folder / name, file)) {
      ++verified.files;
    } else {
      verified.damage.push_back(
          {Inside(casebook, folder / name), bytes.error()});
      whole = false;
    }
  }
  if (whole && !ReadSummary(folder, *record)) {
    verified.damage.push_back({Inside(casebook, folder / kReportFile),
                               ReadSummary(folder, *record).error()});
    whole = false;
  }
  if (whole) ++verified.records;
}

void VerifyVisit(const Casebook& casebook,
                 const std::string& horse,
                 Day day,
                 Verified& verified) {
  const fs::path folder = VisitFolder(casebook, horse, day);
  const auto visit = ReadVisit(folder, day);
  if (!visit) {
    verified.damage.push_back(
        {Inside(casebook, folder / kVisitFile), visit.error()});
    return;
  }
  ++verified.visits;
  const std::vector<ListedRecord> listed = RecordsOf(*visit, folder);
  for (const ListedRecord& record : listed) {
    VerifyRecord(casebook, folder / record.folder, record, verified);
  }
  for (const std::string& name : NamesIn(folder)) {
    const bool known =
        name == kVisitFile ||
        std::any_of(listed.begin(), listed.end(), [&](const ListedRecord& r) {
          return r.folder == name;
        });
    if (known) continue;
    verified.damage.push_back(
        {Inside(casebook, folder / name),
         {RefusalCode::kNotOurFormat,
          "It stands in the visit's folder and the visit doesn't know of it.",
          "If visit.json is older than it (from a backup), copy both from the "
          "same one; else move it elsewhere."}});
  }
}

/// What was being recorded when a program was interrupted, and couldn't be
/// finished when the casebook was opened.
void VerifyNothingIsLeft(const Casebook& casebook, Verified& verified) {
  if (!HasLeftovers(casebook)) return;
  const fs::path hidden = casebook.folder / kHidden;
  const auto lock = WriterLock::Take(casebook, std::chrono::milliseconds(0));
  const bool busy = !lock && ::access((hidden / "lock").c_str(), W_OK) == 0;
  if (busy || !HasLeftovers(casebook)) return;
  verified.damage.push_back(
      {Inside(casebook, hidden / "staging"),
       {RefusalCode::kDamaged,
        "A visit was being recorded and isn't finished.",
        "Open the casebook where it can be written; if this stays, look for "
        "the photos in that folder, then delete it."}});
}

/// The photos of visits that aren't recorded yet are named after their SHA-256.
void VerifyUnfinished(const Casebook& casebook, Verified& verified) {
  UnfinishedList list = ListUnfinished(casebook);
  for (Damage& damage : list.set_aside) {
    verified.damage.push_back(std::move(damage));
  }
  for (const Unfinished& visit : list.visits) {
    ++verified.unfinished;
    for (const std::string& name : NamesIn(visit.folder)) {
      // One that a killed program was writing is no photo yet.
      const bool half = name.find(".part") != std::string::npos;
      if (name == kVisitFile || half) continue;
      const auto bytes = ReadBelow(visit.folder, name);
      if (bytes && name.starts_with(photo::Sha256(*bytes))) continue;
      verified.damage.push_back({Inside(casebook, visit.folder / name),
                                 {RefusalCode::kDamaged,
                                  "It isn't what came in.",
                                  "Take the photo again, or give it again."}});
    }
  }
}

}  // namespace

Verified VerifyCasebook(const Casebook& casebook) {
  Verified verified;
  HorseList list = ListHorses(casebook);
  verified.damage = std::move(list.set_aside);
  VerifyNothingIsLeft(casebook, verified);
  VerifyUnfinished(casebook, verified);
  for (const Horse& horse : list.horses) {
    ++verified.horses;
    if (const auto aims = ReadAims(casebook, horse); !aims) {
      verified.damage.push_back(
          {Inside(casebook, HorseFolder(casebook, horse.folder) / kAimsFile),
           aims.error()});
    }
    for (const Day day : VisitDays(casebook, horse.folder, verified.damage)) {
      VerifyVisit(casebook, horse.folder, day, verified);
    }
  }
  return verified;
}

}  // namespace plumbfoot::casebook
