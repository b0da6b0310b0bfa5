// SPDX-License-Identifier: Apache-2.0
/// @file
/// From what the casebook holds of a visit to the owner's page.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/owner_page.h"
#include "plumbfoot/report/owner_words.h"

namespace plumbfoot::report {

/// Who sends the page.
struct Practice {
  std::string name;       ///< May be empty.
  std::string telephone;  ///< May be empty.
};

/// A report.json and the day of its visit.
// json's move is noexcept; what the check sees is an assertion within it.
// NOLINTNEXTLINE(bugprone-exception-escape)
struct DatedReport {
  std::string date;  ///< "2026-03-14"
  nlohmann::json report;
};

/// One foot of the visit.
// As DatedReport.
// NOLINTNEXTLINE(bugprone-exception-escape)
struct OwnerCaseFoot {
  DatedReport now;
  /// What it is compared with: the photo before the trim of the same visit, or
  /// the last one of the visit before.
  std::optional<DatedReport> earlier;
  std::vector<OwnerPicture> pictures;  ///< Of `now`; their words are made here.
};

/// What was noted at a visit.
struct NotedVisit {
  std::string date;  ///< "2026-03-14"
  casebook::Notes notes;
};

struct OwnerCase {
  Practice practice;
  casebook::Horse horse;
  std::string date;  ///< "2026-03-14"
  casebook::Notes notes;
  std::vector<OwnerCaseFoot> feet;
  /// Of this visit and those before it; nothing where there is only this one.
  std::optional<HorseHistory> history;
  std::vector<NotedVisit> visits;  ///< The history's; oldest first.
};

/// The page in plain words: what was done, what changed and what did not, and
/// when to call the vet. Says nothing of numbers that most sound horses have:
/// of the comparisons with published figures only those that stand out
/// (judge::Observation::stands_out).
/// A history of two visits or more becomes the page's second sheet.
/// @return kUsage without a foot; kNotOurFormat, kVersionUnknown of a report.
Result<OwnerPage> MakeOwnerPage(const OwnerCase& visit,
                                const OwnerWords& words);

}  // namespace plumbfoot::report
