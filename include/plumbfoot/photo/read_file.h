// SPDX-License-Identifier: Apache-2.0
/// @file
/// Files as they are.
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::photo {

/// The bytes of a photo's file, untouched.
/// @param at_most  [bytes]
/// @return kFileMissing (or a folder), kFileEmpty, kFileTooLarge, kCannotRead.
Result<std::string> ReadBytes(const std::filesystem::path& path,
                              std::size_t at_most = 100'000'000);

/// SHA-256 (FIPS 180-4), 64 lower-case hex digits.
std::string Sha256(std::string_view bytes);

}  // namespace plumbfoot::photo
