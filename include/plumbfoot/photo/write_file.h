// SPDX-License-Identifier: Apache-2.0
/// @file
/// Files that are written whole or not at all.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::photo {

/// Writes `bytes` to `path`, replacing a file that is there. Who looks at the
/// path sees the old file or the new one, never a part of it: the bytes go to
/// a new file in the same folder, reach the disk (fsync), and are renamed into
/// place. Whatever goes wrong, nothing is left behind.
///
/// @return Done; or kCannotWrite (no such folder, no permission, disk full, or
///   something that is not a file stands at `path`).
Result<Done> WriteWhole(const std::filesystem::path& path,
                        std::string_view bytes);

/// A file of a set: its name without a folder, and what is to stand in it.
struct NamedBytes {
  std::string name;
  std::string bytes;
};

/// Writes files that belong together into one folder, which is made where it
/// is missing. All are on the disk before the first is renamed into place, so
/// that a full disk or a folder that can't be written leaves what was there.
///
/// @return The paths, in the order of `files`; or kCannotWrite.
Result<std::vector<std::filesystem::path>> WriteSet(
    const std::filesystem::path& folder, const std::vector<NamedBytes>& files);

/// Makes a folder and those above it, where they are missing, so that they
/// outlive a power cut. @return kCannotWrite.
Result<Done> MakeFolders(const std::filesystem::path& folder);

/// The names in a folder, too, outlive a power cut from now on. Not every file
/// system can do this, and the files themselves are safe by then, so that a
/// failure is let be.
void SyncFolder(const std::filesystem::path& folder);

/// Renames a file (in the place of another, if one is there) or a folder (which
/// mustn't be there yet) within one file system, so that the new name outlives
/// a power cut. @return kCannotWrite.
Result<Done> MoveInto(const std::filesystem::path& from,
                      const std::filesystem::path& to);

}  // namespace plumbfoot::photo
