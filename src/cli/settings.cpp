// SPDX-License-Identifier: Apache-2.0
#include "cli/settings.h"

#include <fmt/core.h>

#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::cli {
namespace {

using nlohmann::json;

std::string Remedy(const std::filesystem::path& path) {
  return fmt::format(
      "Mend or delete {}; \"plumbfoot card --measured-mm\" writes it anew.",
      path.string());
}

}  // namespace

std::filesystem::path SettingsPath() {
  // The command is single-threaded where it reads its environment.
  // NOLINTBEGIN(concurrency-mt-unsafe)
  if (const char* path = std::getenv("PLUMBFOOT_SETTINGS")) return path;
  const char* config = std::getenv("XDG_CONFIG_HOME");
  if (config != nullptr && config[0] == '/') {
    return std::filesystem::path(config) / "plumbfoot" / "settings.json";
  }
  const char* home = std::getenv("HOME");
  // NOLINTEND(concurrency-mt-unsafe)
  return std::filesystem::path(home != nullptr ? home : ".") / ".config" /
         "plumbfoot" / "settings.json";
}

Result<double> CheckMeasuredSpan(double mm) {
  // CHOSEN: a printer shrinks by a few per cent; a fifth is a slip of the pen.
  if (mm >= 120.0 && mm <= 180.0) return mm;
  return Refusal{RefusalCode::kBadNumber,
                 fmt::format("A span of {} mm can't be right: the crosses are "
                             "meant to be 150 mm apart.",
                             mm),
                 "Measure from the middle of one cross to the middle of the "
                 "other with a steel ruler, in millimetres."};
}

Result<Settings> LoadSettings(const std::filesystem::path& path) {
  std::error_code ignored;
  if (!std::filesystem::exists(path, ignored)) return Settings{};
  std::ifstream file(path);
  std::ostringstream text;
  text << file.rdbuf();
  if (!file) {
    return Refusal{
        RefusalCode::kCannotRead,
        fmt::format("The settings file {} can't be read.", path.string()),
        "Check that you may read it."};
  }
  const json document = json::parse(text.str(), nullptr, false);
  if (document.is_discarded()) {
    return Refusal{
        RefusalCode::kNotJson,
        fmt::format("The settings file {} is not valid JSON.", path.string()),
        Remedy(path)};
  }
  if (!document.is_object() ||
      document.value("format", json()) != "plumbfoot-settings") {
    return Refusal{
        RefusalCode::kNotOurFormat,
        fmt::format("{} is not a settings file of Plumbfoot.", path.string()),
        Remedy(path)};
  }
  if (document.value("version", json()) != 1) {
    return Refusal{RefusalCode::kVersionUnknown,
                   fmt::format("The settings file {} is of a version that this "
                               "Plumbfoot does not know.",
                               path.string()),
                   "Use the newer Plumbfoot that wrote it, or delete it."};
  }
  Settings settings;
  if (const auto it = document.find("card_measured_mm");
      it != document.end() && !it->is_null()) {
    if (!it->is_number()) {
      return Refusal{
          RefusalCode::kBadNumber,
          fmt::format("card_measured_mm in {} is not a number.", path.string()),
          Remedy(path)};
    }
    auto span = CheckMeasuredSpan(it->get<double>());
    if (!span) return span.error();
    settings.card_measured_mm = *span;
  }
  if (const auto it = document.find("lens_profile");
      it != document.end() && it->is_string()) {
    settings.lens_profile = it->get<std::string>();
  }
  const auto told = [&](const char* key) {
    const auto it = document.find(key);
    return it != document.end() && it->is_string() ? it->get<std::string>()
                                                   : std::string();
  };
  settings.practice = told("practice");
  settings.telephone = told("telephone");
  return settings;
}

Result<Done> SaveSettings(const Settings& settings,
                          const std::filesystem::path& path) {
  json document = {{"format", "plumbfoot-settings"}, {"version", 1}};
  if (settings.card_measured_mm) {
    document["card_measured_mm"] = *settings.card_measured_mm;
  }
  if (settings.lens_profile) {
    document["lens_profile"] = *settings.lens_profile;
  }
  if (!settings.practice.empty()) document["practice"] = settings.practice;
  if (!settings.telephone.empty()) document["telephone"] = settings.telephone;
  std::error_code failed;
  std::filesystem::create_directories(path.parent_path(), failed);
  if (failed) {
    return Refusal{RefusalCode::kCannotWrite,
                   fmt::format("The folder {} can't be made: {}.",
                               path.parent_path().string(),
                               failed.message()),
                   "Name another settings file in PLUMBFOOT_SETTINGS."};
  }
  return photo::WriteWhole(path, document.dump(2) + "\n");
}

}  // namespace plumbfoot::cli
