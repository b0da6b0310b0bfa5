// SPDX-License-Identifier: Apache-2.0
/// @file
/// What people write, made comparable, and made into names of folders.
#pragma once

#include <string>
#include <string_view>

namespace plumbfoot::casebook {

/// Two names that look the same to a person have the same key: NFKC (UAX #15),
/// letters' case folded, runs of spaces one space, none at the ends. What isn't
/// UTF-8 is taken byte for byte.
std::string NameKey(std::string_view name);

/// Can it be the name of a horse: UTF-8, some letter or digit in it, no control
/// characters, at most 200 bytes.
bool IsName(std::string_view name);

/// A folder's name from a horse's: lower-case ASCII letters, digits and single
/// hyphens, at most 40; "horse" where nothing is left. No file system minds it:
/// FAT takes no ':' or '?', knows no case, and sees letters beyond ASCII
/// differently from mount to mount; Windows has no "con" or "com1".
std::string FolderName(std::string_view name);

/// ".jpg" and so on from a photo's name: lower-case ASCII letters and digits,
/// at most 5; ".img" where it has no such ending.
std::string SafeEnding(std::string_view file_name);

}  // namespace plumbfoot::casebook
