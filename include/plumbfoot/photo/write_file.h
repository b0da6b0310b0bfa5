// SPDX-License-Identifier: Apache-2.0
/// @file
/// Files that are written whole or not at all.
#pragma once

#include <filesystem>
#include <string_view>

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

}  // namespace plumbfoot::photo
