// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "cli/exit_status.h"
#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::cli {

/// The words of `history CASEBOOK --horse NAME --out DIR`.
struct HorseHistoryWords {
  std::string horse;
  std::string yard;
  std::string since;  ///< Only visits from this day on; empty: all.
  std::string out;
  std::vector<std::string> targets;
  double allowed_drift_deg = 0.0;
  bool as_json = false;
};

/// Writes plots, history.json and history.csv of one horse.
ExitStatus RunHorseHistory(const casebook::Casebook& casebook,
                           const HorseHistoryWords& words);

/// What was done at a visit, in one line; empty if nobody wrote it.
std::string WordsOf(const casebook::Notes& notes);

}  // namespace plumbfoot::cli
