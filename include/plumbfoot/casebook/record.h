// SPDX-License-Identifier: Apache-2.0
/// @file
/// Writing into the casebook.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

/// One photo to be recorded, its bytes as they came.
struct PhotoToRecord {
  std::string original_name;  ///< Without its folder; its ending is kept.
  std::string bytes;
};

/// One foot at one stage, measured.
struct FootToRecord {
  Foot foot = Foot::kLeftFore;
  geometry::Stage stage = geometry::Stage::kOther;
  std::map<View, PhotoToRecord> photos;   ///< At least one.
  std::string report_json;                ///< The bytes of report.json.
  std::string points_json;                ///< The bytes of points.json.
  std::optional<std::string> given_json;  ///< Points that a person gave.
  /// The photos with their measures drawn on, as bytes of JPEG files.
  std::map<View, std::string> drawn;
  std::string made_from;  ///< See FootRecord::made_from.
};

struct VisitToRecord {
  std::string horse;  ///< Its name, UTF-8.
  /// Where a horse of that name is known: has to be its yard. Nothing:
  /// whichever horse has that name.
  std::optional<std::string> yard;
  /// Horses of that name are known, and this is another, of another yard.
  bool new_horse = false;
  Day day;
  /// Given the notes that the visit has (none: a new visit), makes them what
  /// they are to be. Empty: they stay. Called while the casebook is locked, so
  /// that what another program has noted meanwhile isn't lost.
  std::function<void(Notes&)> change_notes;
  std::vector<FootToRecord> feet;
  std::string now;  ///< "2026-03-14T18:22:01Z": what FootRecord::recorded says.
};

/// The horse that is meant, and whether the casebook doesn't have it yet.
struct ChosenHorse {
  Horse horse;
  bool is_new = false;
};
/// @return as RecordVisit, which asks this first.
Result<ChosenHorse> ChooseHorse(const Casebook& casebook,
                                const VisitToRecord& visit);

/// What became of a visit.
struct Recorded {
  Horse horse;
  bool horse_is_new = false;
  bool visit_is_new = false;
  bool notes_changed = false;
  /// The folders' names of the records that were added.
  std::vector<std::string> added;
  /// Of those that were there already: same foot, stage, photos and made_from.
  std::vector<std::string> known;
};

/// Records a visit, or what is new of it: all of it or nothing. When this has
/// returned a value, it outlives a power cut.
///
/// Waits for another program that is writing, at most half a minute.
/// @return kUsage (no name, no feet), kSeveralHorses, kNoSuchHorse (one of that
///   name, but of another yard, and `new_horse` isn't said), kCannotWrite (disk
///   full, not allowed, another program is writing), kVersionUnknown, kNotJson,
///   ... if the visit that is there can't be read.
Result<Recorded> RecordVisit(const Casebook& casebook,
                             const VisitToRecord& visit);

/// Adds aims to those of a horse; what is said already isn't said twice. Waits
/// and outlives a power cut as RecordVisit.
/// @return How many were added; kCannotWrite; as ReadAims if those that are
///   there can't be read.
/// @throws std::invalid_argument of an aim without `what` or `by`, or whose
///   value isn't finite.
Result<int> RecordAims(const Casebook& casebook,
                       const Horse& horse,
                       const std::vector<Aim>& aims);

}  // namespace plumbfoot::casebook
