// SPDX-License-Identifier: Apache-2.0
/// @file
/// From what a casebook holds of a horse to its case over months and to the
/// owner's page: what the commands and the page in the browser both show.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/owner_case.h"

namespace plumbfoot::report {

/// What was done at a visit, in one line; empty if nobody wrote it.
std::string WordsOf(const casebook::Notes& notes);

/// What a history is made of, of the visits from `since` to `until`, with the
/// targets and the allowed drift that count.
/// @param unreadable  Reports that can't be read are added, and left out.
HistoryRequest HistoryRequestOf(const casebook::History& record,
                                const std::optional<casebook::Day>& since,
                                const std::optional<casebook::Day>& until,
                                std::vector<casebook::Damage>& unreadable);

/// The last stage of each foot that was photographed at a visit.
std::vector<const casebook::FootRecord*> LastStages(
    const casebook::Visit& visit);

/// What a record is compared with.
struct Earlier {
  const casebook::FootRecord* record = nullptr;
  casebook::Day day;
};

/// The stage before of the same visit, else the last one of a visit before.
/// @param visit  Index of the visit that `now` belongs to.
std::optional<Earlier> EarlierThan(const casebook::History& history,
                                   std::size_t visit,
                                   const casebook::FootRecord& now);

/// All that the owner's page of a visit is made of. Sets text (photos are drawn
/// on in another language): to be called in the one thread that does.
/// @param visit  Index into history.visits.
/// @return what LoadReport, ReadBytes and LoadPhoto refuse.
Result<OwnerCase> OwnerCaseOf(const casebook::History& history,
                              std::size_t visit,
                              const Practice& practice,
                              const OwnerWords& words,
                              std::vector<casebook::Damage>& unreadable);

}  // namespace plumbfoot::report
