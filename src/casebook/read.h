// SPDX-License-Identifier: Apache-2.0
/// @file
/// One visit, one record, as they lie on the disk.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "casebook/stored.h"
#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

/// Where something lies, told from CASEBOOK on.
std::filesystem::path Inside(const Casebook& casebook,
                             const std::filesystem::path& path);

/// As FindHorse, without the folders' names: they mustn't make one horse of two
/// whose names are written differently.
Result<Horse> FindByName(const HorseList& list,
                         std::string_view name,
                         const std::optional<std::string>& yard);

/// The names in a folder, sorted, without those that begin with a dot.
std::vector<std::string> NamesIn(const std::filesystem::path& folder);

/// The days that a horse has a folder for, oldest first; what is no day is
/// damage.
std::vector<Day> VisitDays(const Casebook& casebook,
                           const std::string& horse,
                           std::vector<Damage>& damage);

std::filesystem::path VisitFolder(const Casebook& casebook,
                                  const std::string& horse,
                                  Day day);

/// visit.json of that day. @return as ParseVisit and ReadJson.
Result<StoredVisit> ReadVisit(const std::filesystem::path& folder, Day day);

/// The records of a visit: those it lists or, where it lists none (version 0),
/// those that are there.
std::vector<ListedRecord> RecordsOf(const StoredVisit& visit,
                                    const std::filesystem::path& folder);

/// record.json of a record, its SHA-256 compared with the visit's.
Result<StoredRecord> ReadRecord(const std::filesystem::path& folder,
                                const std::string& sha256);

/// Looks at many files below one folder, which isn't sought again for each.
class FolderHandle {
 public:
  explicit FolderHandle(const std::filesystem::path& folder);
  ~FolderHandle();
  FolderHandle(const FolderHandle&) = delete;
  FolderHandle& operator=(const FolderHandle&) = delete;
  /// All zero where there is no such file.
  /// @param path  From the folder on.
  Stamp StampOf(std::string path) const;

 private:
  int folder_ = -1;
};
/// All zero where there is no such file.
/// @param path  From `folder` on.
Stamp StampOf(const std::filesystem::path& folder, std::string path);

/// Is the file there, and of its size?
Result<Done> LookAt(const std::filesystem::path& path, const StoredFile& file);

/// A file whose SHA-256 is right. @return its bytes, or kDamaged, ...
Result<std::string> ReadChecked(const std::filesystem::path& path,
                                const StoredFile& file);

/// report.json without its points, observations and cautions.
/// @return as LoadReport.
Result<nlohmann::json> ReadSummary(const std::filesystem::path& folder,
                                   const StoredRecord& record);

/// A visit's records sorted into the last takes and the replaced ones.
FootRecord Assemble(const std::filesystem::path& folder,
                    StoredRecord record,
                    nlohmann::json summary);
void SortIn(std::vector<FootRecord> records, Visit& visit);

/// Reads one visit; what is damaged is left out and named.
/// @param stamps  Gets those of everything that was looked at, each taken
/// before
///   its file was read.
std::optional<Visit> ReadWholeVisit(const Casebook& casebook,
                                    const std::string& horse,
                                    Day day,
                                    std::vector<Damage>& damage,
                                    std::vector<Stamp>& stamps);

}  // namespace plumbfoot::casebook
