// SPDX-License-Identifier: Apache-2.0
/// @file
/// Visits that are not recorded yet: photos that came in, and what has been
/// said of them so far.
///
/// ```
/// CASEBOOK/unfinished/2026-03-14-k3fz08qa/
///   visit.json         whatever the one who keeps it writes
///   3f2c...9a.jpg      the photos, byte for byte, named after their SHA-256
/// ```
///
/// They belong to no horse and to no visit, and no history knows of them; once
/// RecordVisit has taken them over the folder is removed. Everything is on the
/// disk (fsync) when these functions have returned.
#pragma once

#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

/// One of them.
// json's move is noexcept; what the check sees is an assertion within it.
// NOLINTNEXTLINE(bugprone-exception-escape)
struct Unfinished {
  std::string id;                ///< Its folder's name.
  std::filesystem::path folder;  ///< With the casebook's own folder before it.
  nlohmann::json said;           ///< Of visit.json; always an object.
};

struct UnfinishedList {
  std::vector<Unfinished> visits;  ///< By id, and so by day.
  std::vector<Damage> set_aside;
};
UnfinishedList ListUnfinished(const Casebook& casebook);

/// Begins one. @return kCannotWrite.
Result<Unfinished> BeginUnfinished(const Casebook& casebook,
                                   Day day,
                                   const nlohmann::json& said);

/// @return kFileMissing where there is none of that id (an id of any other
///   shape, or a symbolic link, is none), kNotJson, kCannotRead.
Result<Unfinished> ReadUnfinished(const Casebook& casebook,
                                  std::string_view id);

/// Changes what is said, and nobody else's change is lost: it is read anew,
/// while the casebook is locked. What `change` refuses isn't written.
/// @return What is said now; or as ReadUnfinished; kCannotWrite.
Result<nlohmann::json> ChangeUnfinished(
    const Casebook& casebook,
    std::string_view id,
    const std::function<Result<Done>(nlohmann::json&)>& change);

/// Keeps a photo. One that is there already is not written again.
/// @return The file's name in the folder; kFileMissing, kCannotWrite.
Result<std::string> KeepUnfinishedPhoto(const Casebook& casebook,
                                        std::string_view id,
                                        std::string_view original_name,
                                        std::string_view bytes);

/// Removes one: what of it was to be kept has been recorded.
/// @return kFileMissing, kCannotWrite.
Result<Done> RemoveUnfinished(const Casebook& casebook, std::string_view id);

/// The bytes of a file inside a folder, where neither it nor any folder on the
/// way is a symbolic link: a casebook may come from somebody else.
/// @param inside  Relative, without "..".
/// @return kFileMissing, kFileTooLarge, kCannotRead.
Result<std::string> ReadBelow(const std::filesystem::path& folder,
                              const std::filesystem::path& inside,
                              std::size_t at_most = 100'000'000);

}  // namespace plumbfoot::casebook
