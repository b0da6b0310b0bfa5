// SPDX-License-Identifier: Apache-2.0
/// @file
/// What was worked out from the whole history of a horse, kept so that it
/// needn't be opened again to know it: in .plumbfoot/index/HORSE.NAME, which
/// may be deleted.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

/// A file may be changed twice within one tick of the clock that its time is
/// told by: what was changed that shortly before it was read isn't kept.
// CHOSEN: five of the longest ticks that Linux knows, 1/100 s.
inline constexpr std::chrono::milliseconds kSettling{50};

/// How such a text is found again.
struct DerivedName {
  std::string name;  ///< "due": part of the file's name.
  /// Of the rules that it was worked out by; of others, it isn't given back.
  std::string rules;
};

/// The text that was kept, if not one file that it was worked out from has been
/// changed, added or removed since: aims.json, and of every visit its folder,
/// visit.json, and each report.json. The other files of a record hold no number
/// of it; that one of them is missing or damaged is ReadHistory's and
/// VerifyCasebook's to say.
std::optional<std::string> LoadDerived(const Casebook& casebook,
                                       const Horse& horse,
                                       const DerivedName& name);

/// Keeps a text that was worked out from `history` and from nothing else. Where
/// it can't be written, where something is set aside (damage is to be named
/// each time), or where something has been changed too shortly before
/// (kSettling), nothing is kept.
/// @throws std::invalid_argument if a text has a line break.
void SaveDerived(const Casebook& casebook,
                 const History& history,
                 const DerivedName& name,
                 std::string_view text);

}  // namespace plumbfoot::casebook
