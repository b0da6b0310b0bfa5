// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::cli {

/// What is told once and used by every later command.
struct Settings {
  /// What a ruler says of the span between the card's crosses [mm].
  std::optional<double> card_measured_mm;
  /// The lens profile that `check --lens` made.
  std::optional<std::string> lens_profile;
  // On the owner's page; may be empty.
  std::string practice;
  std::string telephone;
};

/// $PLUMBFOOT_SETTINGS, else $XDG_CONFIG_HOME/plumbfoot/settings.json, else
/// ~/.config/plumbfoot/settings.json (XDG Base Directory Specification 0.8).
std::filesystem::path SettingsPath();

/// @return The settings, empty if there is no file; or kNotJson, kNotOurFormat,
///   kVersionUnknown, kBadNumber.
Result<Settings> LoadSettings(const std::filesystem::path& path);

/// Makes the folder where it is missing; the file is written whole or not at
/// all. @return kCannotWrite.
Result<Done> SaveSettings(const Settings& settings,
                          const std::filesystem::path& path);

/// A card's measured span that a ruler can have read: 120 to 180 mm.
/// @return kBadNumber otherwise.
Result<double> CheckMeasuredSpan(double mm);

}  // namespace plumbfoot::cli
