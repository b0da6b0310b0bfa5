// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "cli/exit_status.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/report/horse_history.h"

namespace plumbfoot::cli {

/// The words of `history CASEBOOK --horse NAME --out DIR`.
struct HorseHistoryWords {
  std::string horse;
  std::string yard;
  std::string since;  ///< Only visits from this day on; empty: all.
  std::string foot;   ///< This one only; empty: all.
  std::string out;
  std::vector<std::string> targets;
  std::string allowed_drift;
  std::string by;  ///< Who sets targets and the drift.
  bool as_json = false;
};

/// Writes plots, history.json and history.csv of one horse.
ExitStatus RunHorseHistory(const casebook::Casebook& casebook,
                           const HorseHistoryWords& words);

/// What a history is made of, of the visits from `since` to `until`, with the
/// targets and the allowed drift that count.
/// @param damaged  Becomes true where a report can't be read, which is told.
report::HistoryRequest RequestOf(const casebook::History& record,
                                 const std::optional<casebook::Day>& since,
                                 const std::optional<casebook::Day>& until,
                                 bool& damaged);

/// Where the clock on the wall is.
casebook::Day Today();

}  // namespace plumbfoot::cli
