// SPDX-License-Identifier: Apache-2.0
/// @file
/// The JSON files of a casebook: each has "format" and "version". The version
/// goes up when an older Plumbfoot would misread the file; what is read is of
/// the present version, whatever stands on the disk (see stored.cpp).
#pragma once

#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

// Below CASEBOOK.
inline constexpr const char* kCasebookFile = "casebook.json";
inline constexpr const char* kHorses = "horses";
inline constexpr const char* kHidden = ".plumbfoot";
// Below CASEBOOK/horses/HORSE.
inline constexpr const char* kHorseFile = "horse.json";
inline constexpr const char* kAimsFile = "aims.json";
inline constexpr const char* kVisits = "visits";
// Below .../visits/DATE.
inline constexpr const char* kVisitFile = "visit.json";
// Below .../visits/DATE/RECORD.
inline constexpr const char* kRecordFile = "record.json";
inline constexpr const char* kReportFile = "report.json";
inline constexpr const char* kPointsFile = "points.json";
inline constexpr const char* kGivenFile = "given.json";
/// The photo with its measures drawn on: "solar-annotated.jpg".
inline std::string DrawnFile(View view) {
  return std::string(geometry::ViewName(view)) + "-annotated.jpg";
}

std::filesystem::path HorseFolder(const Casebook& casebook,
                                  const std::string& horse);

/// Which record belongs to a visit.
struct ListedRecord {
  std::string folder;
  /// Of its record.json; empty in a visit of version 0, which didn't say.
  std::string sha256;
};

struct StoredVisit {
  Day day;
  Notes notes;
  std::vector<Notes> earlier_notes;
  /// Nothing in version 0: whatever folders are there.
  std::optional<std::vector<ListedRecord>> records;
};

struct StoredFile {
  std::string sha256;
  std::uintmax_t bytes = 0;
};

struct StoredRecord {
  Foot foot = Foot::kLeftFore;
  Stage stage = Stage::kOther;
  std::string recorded;
  std::string made_from;
  std::map<View, RecordedPhoto> photos;
  std::map<std::string, StoredFile> files;  ///< All but record.json itself.
};

/// What to do about something damaged, for people.
std::string MendRemedy();

/// The text of a file of the casebook, and its JSON.
// As FootRecord.
// NOLINTNEXTLINE(bugprone-exception-escape)
struct Text {
  std::string bytes;
  nlohmann::json root;
};
/// @return kFileMissing, kFileEmpty, kFileTooLarge, kCannotRead, kNotJson.
Result<Text> ReadJson(const std::filesystem::path& path);

// Each from the file's JSON, of this or an earlier version; or kNotOurFormat,
// kVersionUnknown, kDamaged (something that ought to stand there doesn't).
Result<Done> ParseCasebook(const nlohmann::json& root);
Result<Horse> ParseHorse(const nlohmann::json& root, const std::string& folder);
Result<StoredVisit> ParseVisit(const nlohmann::json& root);
/// @param folder  Its name: version 0 doesn't say foot and stage itself.
Result<StoredRecord> ParseRecord(const nlohmann::json& root,
                                 const std::string& folder);

Result<std::vector<Aim>> ParseAims(const nlohmann::json& root);

/// As "notes" of visit.json.
nlohmann::json NotesJson(const Notes& notes);
/// @throws json::exception, std::invalid_argument
Notes ParseNotes(const nlohmann::json& root);

std::string CasebookText();
std::string HorseText(const Horse& horse);
std::string AimsText(const std::vector<Aim>& aims);
std::string VisitText(const StoredVisit& visit);
std::string RecordText(const StoredRecord& record);

/// "LF-before_trim", "LF-before_trim-2".
std::string RecordFolder(Foot foot, Stage stage, int take);
struct FolderParts {
  Foot foot = Foot::kLeftFore;
  Stage stage = Stage::kOther;
  int take = 1;
};
std::optional<FolderParts> ParseRecordFolder(std::string_view folder);

}  // namespace plumbfoot::casebook
