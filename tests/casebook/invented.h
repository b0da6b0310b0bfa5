// SPDX-License-Identifier: Apache-2.0
/// @file
/// Invented visits: photos of noise, reports that look like reports, all of it
/// following from a number, so that what was recorded can be known again.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>

#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {

struct InventOptions {
  std::size_t photo_bytes = 2000;
  int outline_points = 30;  ///< Of a report's outline; a real one has 700.
};

/// A report as plumbfoot-report, version 1, with invented numbers.
std::string InventReport(Foot foot,
                         Stage stage,
                         std::uint64_t seed,
                         const InventOptions& options = {});

/// A foot with two photos. The same arguments give the same bytes.
FootToRecord InventFoot(Foot foot,
                        Stage stage,
                        std::uint64_t seed,
                        const InventOptions& options = {});

/// A visit of four feet before the trim.
VisitToRecord InventVisit(const std::string& horse,
                          Day day,
                          std::uint64_t seed,
                          const InventOptions& options = {});

/// A day that `count` days after 2026-01-01.
Day DayNumber(int count);

/// Does the recorded foot hold, byte for byte, what InventFoot gives?
bool IsInvented(const FootRecord& record, const FootToRecord& foot);

std::string ReadFile(const std::filesystem::path& path);
void WriteFile(const std::filesystem::path& path, const std::string& bytes);

/// A new empty folder for one test.
std::filesystem::path FreshFolder(const std::string& name);

}  // namespace plumbfoot::casebook
