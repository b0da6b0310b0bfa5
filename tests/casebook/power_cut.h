// SPDX-License-Identifier: Apache-2.0
/// @file
/// What a power cut may leave of a casebook: a program's calls to the file
/// system, as strace saw them, replayed on a disk that keeps only what it was
/// told to keep.
///
/// The disk knows no more than POSIX promises: what was written to a file is
/// safe when fsync(2) of that file has returned, that a name stands for a file
/// or folder when fsync(2) of the folder has (fsync(2), "Notes": "Calling
/// fsync() does not necessarily ensure that the entry in the directory
/// containing the file has also reached disk"). Until then any of it may be
/// there or not, in any combination, and a file may be cut or hold zeros. One
/// thing is taken for granted that POSIX doesn't promise, and journalling file
/// systems do: a rename happens whole or not at all.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace plumbfoot::casebook {

/// A call that has returned.
struct SystemCall {
  std::string name;
  std::vector<std::string> arguments;  ///< Texts without quotes, as they were.
  std::int64_t result = 0;
};

/// Runs a program under strace.
/// @param scratch  A folder for strace's file.
/// @return Its calls in their order, those that failed left out; nothing where
///   strace isn't there or may not trace.
/// @throws std::runtime_error where the program ends with another status than
///   0 or 3.
std::optional<std::vector<SystemCall>> Trace(
    const std::vector<std::string>& words,
    const std::filesystem::path& scratch,
    const std::vector<std::pair<std::string, std::string>>& environment = {});

/// What stands in a casebook, but for .plumbfoot: paths and bytes.
using Contents = std::map<std::string, std::string>;
Contents ContentsOf(const std::filesystem::path& book);

struct CutOptions {
  std::uint64_t seed = 1;
  /// At each moment, besides all and nothing.
  int random_states = 4;
  std::size_t enough_faults = 10;  ///< No more are looked for.
  // The disk as if the program hadn't called fsync: what shows that it must.
  bool sync_files = true;
  bool sync_folders = true;
};

struct PowerCuts {
  int moments = 0;       ///< After each call that changes or syncs something.
  int states = 0;        ///< Different ones that were looked at.
  int acknowledged = 0;  ///< By the program: what it wrote to its output.
  /// A state that holds a plan which isn't finished, kept in `scratch`.
  std::vector<std::filesystem::path> unfinished;
  std::vector<std::string> faults;
};

/// Cuts the power after each call, opens what may be left, and compares: what
/// was acknowledged has to be there and whole, what was not may be there whole
/// or not at all, and VerifyCasebook finds no damage.
///
/// @param before   The casebook as it was before the program ran, all of it
///   safe on the disk; a folder that isn't there: none.
/// @param calls    Of a program that wrote in `book`.
/// @param scratch  An empty folder.
PowerCuts CutPower(const std::filesystem::path& before,
                   const std::filesystem::path& book,
                   const std::vector<SystemCall>& calls,
                   const std::filesystem::path& scratch,
                   const CutOptions& options = {});

}  // namespace plumbfoot::casebook
