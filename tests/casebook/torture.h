// SPDX-License-Identifier: Apache-2.0
/// @file
/// A casebook while the power fails, the disk is full, two programs write. Each
/// is a command (tests/studies/run) and, shorter, a test.
#pragma once

#include <cstdint>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

/// What a recorder records: on day number i, of horse number i / 4, first two
/// feet, then the other two; or, "fore" or "hind", one of them.
struct Recording {
  std::filesystem::path book;
  std::uint64_t seed = 1;
  int first = 0;
  int count = 1'000'000;
  std::string feet = "both";
};

/// Writes "7 fore\n" to `acknowledge` when the fore feet of day 7 are recorded.
/// @return 0, or 4 when the casebook refused.
int RecordUntilKilled(const Recording& recording, int acknowledge);

/// "7 fore", ...
using Acknowledged = std::set<std::string>;

/// What a casebook holds, against what it has to.
struct Outcome {
  int interruptions = 0;  ///< Kills, or refusals.
  int acknowledged = 0;   ///< Recordings.
  int finished = 0;  ///< Not acknowledged any more, but decided: all there.
  std::vector<std::string> faults;  ///< Lost, half there, damaged, left over.
};

/// Checks the casebook as a reader that can't write would see it, then as it is
/// after the next opening, byte for byte.
void Check(const std::filesystem::path& book,
           std::uint64_t seed,
           const Acknowledged& acknowledged,
           Outcome& outcome);

/// Kills (kill -9) a recorder at random moments.
Outcome KillWhileRecording(const std::filesystem::path& recorder,
                           const std::filesystem::path& folder,
                           int kills,
                           std::uint64_t seed);

/// Lets no file grow beyond a random size (RLIMIT_FSIZE).
Outcome LimitFilesWhileRecording(const std::filesystem::path& recorder,
                                 const std::filesystem::path& folder,
                                 int limits,
                                 std::uint64_t seed);

/// Fills a small disk of its own (tmpfs, in a mount namespace of a child).
/// Nothing where the system doesn't allow such a disk.
std::optional<Outcome> FillDiskWhileRecording(
    const std::filesystem::path& folder, int fills, std::uint64_t seed);

/// Two recorders for the same days of the same horses, and a reader beside.
Outcome RecordTogether(const std::filesystem::path& recorder,
                       const std::filesystem::path& folder,
                       double seconds,
                       std::uint64_t seed);

std::string Table(const std::string& what, const Outcome& outcome);

}  // namespace plumbfoot::casebook
