// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <CLI/CLI.hpp>
#include <functional>

#include "cli/exit_status.h"

namespace plumbfoot::cli {

/// What a command does once its words have been read.
using Action = std::function<ExitStatus()>;

// Each adds one command to the program. When the command is chosen, `action` is
// set to what it does.
void AddCard(CLI::App& program, Action& action);
void AddCheck(CLI::App& program, Action& action);
void AddCompare(CLI::App& program, Action& action);
void AddFit(CLI::App& program, Action& action);
void AddMeasure(CLI::App& program, Action& action);
void AddVisit(CLI::App& program, Action& action);
void AddHistory(CLI::App& program, Action& action);
void AddReport(CLI::App& program, Action& action);
void AddServe(CLI::App& program, Action& action);

}  // namespace plumbfoot::cli
