// SPDX-License-Identifier: Apache-2.0
/// @file
/// The casebook: every visit of every horse, in a folder that a person can
/// read, copy to a stick and put in any backup.
///
/// ```
/// CASEBOOK/
///   casebook.json              that this is one, and its version
///   horses/juno/               a name that any file system takes
///     horse.json               the horse's name, as it is written, its yard
///     aims.json                what farrier and vet aim for, if they said
///     visits/2026-03-14/
///       visit.json             notes; which foot records belong to the visit
///       LF-before_trim/        one foot at one stage: a foot record
///         solar.jpg            the photo, byte for byte
///         lateral.jpg
///         report.json          what was measured
///         points.json          the points it rests on
///         given.json           those of them that a person gave, if any
///         solar-annotated.jpg  the photo with its measures drawn on
///         record.json          SHA-256 of each of the files above
///       LF-before_trim-2/      photographed or placed again: the last counts
///   unfinished/                visits that aren't recorded yet: unfinished.h
///   .plumbfoot/                the lock, what is being written, the index.
///                              May be deleted while no Plumbfoot runs.
/// ```
///
/// Nothing that was recorded is changed or deleted. A visit is recorded whole
/// or not at all, whenever the power fails: everything is written and synced in
/// .plumbfoot/staging, then a plan of renames is written, then they are done;
/// an unfinished plan is finished, anything else there is thrown away, by
/// whoever next opens the casebook for writing. visit.json is renamed last, and
/// only records that it lists are part of the visit.
///
/// One writer at a time (flock on .plumbfoot/lock, which dies with its
/// process); readers need no lock.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::casebook {

/// A day of the calendar, without a clock and a time zone.
using Day = std::chrono::sys_days;
/// "2026-03-14" (ISO 8601).
std::string DayText(Day day);
/// @return the day, from the year 1900 on, or kUsage.
Result<Day> ParseDay(std::string_view text);

/// A casebook that has been opened.
struct Casebook {
  std::filesystem::path folder;
};

/// Something in the casebook that can't be used. It is set aside: whatever it
/// belongs to still works without it.
struct Damage {
  std::filesystem::path where;  ///< Inside the casebook.
  Refusal refusal;              ///< What is wrong, and what to do.
};

struct Horse {
  std::string folder;  ///< Below "horses": ASCII, lower case. Never changes.
  std::string name;    ///< As it is written, UTF-8.
  std::string yard;    ///< Tells horses of one name apart. May be empty.
};

/// What was done to some of the feet.
struct Work {
  std::vector<Foot> feet;  ///< Empty: all four.
  bool trimmed = false;
  // Each may be empty: nothing of the kind.
  std::string shoe;   ///< "steel, toe clips", "none", ...
  std::string size;   ///< Of the shoe, as the trade gives it.
  std::string nails;  ///< "6", "4 + 3", "glued", ...
  std::string pads;
  std::string wedges;
  friend bool operator==(const Work&, const Work&) = default;
};

/// What a person says of a visit.
struct Notes {
  std::vector<Work> work;
  std::string by;  ///< Who did it.
  std::string remarks;
  std::string vet;                ///< The vet's instructions.
  std::optional<Day> next_visit;  ///< Nothing: the usual time (NextVisit).
  bool no_next_visit = false;     ///< The horse is not seen any more.
  friend bool operator==(const Notes&, const Notes&) = default;
};

/// An Aim's `what` for how far the toe angle may drift from one visit to the
/// next [deg]; it is of every foot.
inline constexpr std::string_view kAllowedDrift = "allowed_drift";

/// What somebody wants a measure of a foot to become, or allows it.
struct Aim {
  std::string what;             ///< A measure's key, or kAllowedDrift.
  std::optional<Foot> foot;     ///< Nothing: every foot.
  std::optional<double> value;  ///< Nothing: taken back.
  std::string by;               ///< Who says so. Never empty.
  Day set_on;
  friend bool operator==(const Aim&, const Aim&) = default;
};

/// Those that count: of each foot and `what` the last one, unless it was taken
/// back. Each is of one foot; kAllowedDrift is of every foot and has none.
/// @param aims  Oldest first.
std::vector<Aim> AimsThatCount(const std::vector<Aim>& aims);

/// One photo of a foot record.
struct RecordedPhoto {
  std::string file;           ///< In the record's folder: "solar.jpg".
  std::string original_name;  ///< As it came, without its folder.
  std::string sha256;         ///< 64 lower-case hex digits.
};

/// One foot at one stage of a visit.
// json's move is noexcept; what the check sees is an assertion within it.
// NOLINTNEXTLINE(bugprone-exception-escape)
struct FootRecord {
  Foot foot = Foot::kLeftFore;
  geometry::Stage stage = geometry::Stage::kOther;
  int take = 1;                  ///< 2, 3...: photographed or placed again.
  std::filesystem::path folder;  ///< With the casebook's own folder before it.
  std::string recorded;          ///< "2026-03-14T18:22:01Z"
  /// What it was made from, besides the photos: an opaque text of whoever
  /// recorded it. Same photos, same text: the same record.
  std::string made_from;
  std::map<View, RecordedPhoto> photos;
  /// report.json without its "points", "lines", "observations" and "cautions":
  /// all that is needed to compare and to see a trend ("measures", "photos",
  /// "shod", "visit", ...; see report/report_json.h). LoadReport has the rest.
  nlohmann::json summary;
};

struct Visit {
  Day day;
  std::filesystem::path folder;  ///< With the casebook's own folder before it.
  Notes notes;
  std::vector<Notes> earlier_notes;  ///< What was written before; oldest first.
  /// In the order of Foot, then Stage: of each the last take.
  std::vector<FootRecord> feet;
  /// The takes that a later one has replaced; same order, then by take.
  std::vector<FootRecord> replaced;
};

/// By what one notices that a file or folder isn't what it was: size, times of
/// change, the file's number.
struct Stamp {
  std::string path;        ///< From a folder on; "." is that folder itself.
  std::uint64_t size = 0;  ///< [bytes]; 0 of a folder.
  std::uint64_t number = 0;
  std::int64_t modified_ns = 0;  ///< Since 1970.
  std::int64_t changed_ns = 0;   ///< Since 1970.
  friend bool operator==(const Stamp&, const Stamp&) = default;
};

/// All there is of one horse.
struct History {
  Horse horse;
  std::vector<Visit> visits;  ///< Oldest first.
  std::vector<Aim> aims;      ///< All that were ever set; oldest first.
  std::vector<Damage> set_aside;
  /// Of the files that numbers and notes were read from, each taken before its
  /// file was read; paths from the horse's folder on. See derived.h.
  std::vector<Stamp> stamps;
  std::int64_t read_at_ns = 0;  ///< Before the first of them; since 1970.
};

/// Opens a casebook. What an interrupted program left is finished or cleared
/// away, if the folder can be written and nobody else is at work; else it can
/// be read without it.
/// @return kFileMissing where there is none, kNotOurFormat, kNotJson,
///   kVersionUnknown (of a newer Plumbfoot), kCannotRead.
Result<Casebook> OpenCasebook(const std::filesystem::path& folder);

/// Makes one in a folder that is missing, or that is there and empty.
/// @return kNotOurFormat where the folder holds something else; kCannotWrite.
Result<Casebook> MakeCasebook(const std::filesystem::path& folder);

struct HorseList {
  std::vector<Horse> horses;  ///< By name, then yard, then folder.
  std::vector<Damage> set_aside;
};
HorseList ListHorses(const Casebook& casebook);

/// The horse of that name: letters' case, spaces and Unicode's several ways to
/// write the same letters (NFC, UAX #15) don't matter. A folder's name finds it
/// too.
/// @param yard  Nothing: whichever yard.
/// @return kSeveralHorses, naming them; kNoSuchHorse.
Result<Horse> FindHorse(const Casebook& casebook,
                        std::string_view name,
                        const std::optional<std::string>& yard = {});

/// Everything of one horse, without opening the photos. What can't be read is
/// named in `set_aside`. Photos and reports are looked at (are they there, of
/// their size, is the report's SHA-256 right) but photos are not read: that is
/// VerifyCasebook's.
///
/// Kept in .plumbfoot/index, whose entry is used only while size, time and file
/// number of everything that it was made from are unchanged, and written again
/// where it isn't (where that can't be, nothing is said).
History ReadHistory(const Casebook& casebook, const Horse& horse);

/// All that was ever aimed for with a horse, oldest first; none where nothing
/// was. @return kNotOurFormat, kVersionUnknown, kNotJson, kDamaged, ...
Result<std::vector<Aim>> ReadAims(const Casebook& casebook, const Horse& horse);

/// The whole report.json of a record.
/// @return kFileMissing, kCannotRead, kNotJson, or kDamaged if its SHA-256 is
/// not
///   that of record.json.
Result<nlohmann::json> LoadReport(const FootRecord& record);

/// When to come again: what the visit says, else six weeks later (common
/// practice). Nothing if the visit says that there is no next one.
std::optional<Day> NextVisit(Day visit, const Notes& notes);

/// One horse and its next visit.
struct Due {
  Horse horse;
  Day last_visit;
  Day next_visit;
};
struct DueList {
  std::vector<Due> due;  ///< Soonest first.
  std::vector<Damage> set_aside;
};
/// Every horse with a next visit on or before `until`. Reads only the last
/// visit of each.
DueList WhoIsDue(const Casebook& casebook, Day until);

/// Reads every file of the casebook and compares it with its SHA-256.
struct Verified {
  int horses = 0;
  int visits = 0;
  int records = 0;  ///< Foot records that are whole.
  int files = 0;    ///< Files whose SHA-256 is right.
  /// Visits that aren't recorded yet (unfinished.h). Their photos are looked
  /// at, and not counted in `files`.
  int unfinished = 0;
  std::vector<Damage> damage;
};
Verified VerifyCasebook(const Casebook& casebook);

}  // namespace plumbfoot::casebook
