// SPDX-License-Identifier: Apache-2.0
/// @file
/// A folder with photos of one foot in it, and the command to run on them.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "support/command.h"

namespace plumbfoot::tests {

namespace fs = std::filesystem;

/// A pair of photos of one foot with its points, which make_yard rendered when
/// the tests were built. Not to be written to.
class Yard {
 public:
  static const Yard& Get();

  const fs::path& folder() const { return folder_; }
  fs::path solar() const { return folder_ / "solar.jpg"; }
  fs::path lateral() const { return folder_ / "lateral.jpg"; }
  fs::path points() const { return folder_ / "points.json"; }
  /// What the measures truly are: {"toe_angle": 51.3, ...}.
  const nlohmann::json& truth() const { return truth_; }

 private:
  Yard();
  fs::path folder_;
  nlohmann::json truth_;
};

/// A new empty folder for one test.
fs::path FreshFolder(const std::string& name);

/// Runs plumbfoot with settings of its own (none).
CommandResult Plumbfoot(std::vector<std::string> words);

using Words = std::vector<std::string>;

/// `plumbfoot measure --foot LF MORE... --out OUT`.
CommandResult Measure(const fs::path& out, const Words& more);

/// The same where it must be done (or done but for a person): the report.
nlohmann::json MeasuredReport(const fs::path& out, const Words& more);

/// `--solar` and `--points` of the yard.
Words SolarWithPoints();

std::string ReadFile(const fs::path& path);
void WriteFile(const fs::path& path, const std::string& bytes);
nlohmann::json ReadJson(const fs::path& path);

/// How many files there are in and below a folder; 0 if it is not there.
int CountFiles(const fs::path& folder);

/// A report of the yard's pair, with the points given; the file's path.
std::filesystem::path PairReport(const std::string& name,
                                 const Words& more = {});

}  // namespace plumbfoot::tests
