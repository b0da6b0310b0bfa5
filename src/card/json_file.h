// SPDX-License-Identifier: Apache-2.0
/// @file
/// What the two kinds of JSON files of this room have in common.
#pragma once

#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <system_error>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::card {

/// The number under `key`; nothing if it is absent, no number or not finite.
inline std::optional<double> ReadNumber(const nlohmann::json& object,
                                        const char* key) {
  if (!object.contains(key) || !object[key].is_number()) return std::nullopt;
  const double value = object[key].get<double>();
  if (!std::isfinite(value)) return std::nullopt;
  return value;
}

/// Reads a JSON object with "format": `format` and "version": 1.
/// @param words  What the file should be, for people: "a card layout".
/// @return kFileMissing, kFileTooLarge, kNotJson, kNotOurFormat or
///   kVersionUnknown.
inline Result<nlohmann::json> ReadJson(const std::filesystem::path& path,
                                       const std::string& format,
                                       const std::string& words) {
  std::error_code code;
  const auto bytes = std::filesystem::file_size(path, code);
  std::ifstream file(path, std::ios::binary);
  if (code || !file) {
    return Refusal{RefusalCode::kFileMissing,
                   "The file " + path.string() + " can't be read.",
                   "Check the name and where it lies."};
  }
  // CHOSEN: 1 MB; a real one has a few hundred bytes.
  if (bytes > 1'000'000) {
    return Refusal{RefusalCode::kFileTooLarge,
                   path.string() + " is too large to be " + words + ".",
                   "Check that it is the right file."};
  }
  nlohmann::json root = nlohmann::json::parse(file, nullptr, false);
  if (root.is_discarded()) {
    return Refusal{RefusalCode::kNotJson,
                   path.string() + " is not a JSON file.",
                   "Check that it is the right file and that it is whole."};
  }
  if (!root.is_object() || !root.contains("format") ||
      root["format"] != format) {
    return Refusal{RefusalCode::kNotOurFormat,
                   path.string() + " is not " + words + ".",
                   "It must say \"format\": \"" + format + "\"."};
  }
  if (!root.contains("version") || root["version"] != 1) {
    return Refusal{RefusalCode::kVersionUnknown,
                   path.string() + " was written by a newer Plumbfoot.",
                   "Update Plumbfoot, or write the file again."};
  }
  return root;
}

}  // namespace plumbfoot::card
