// SPDX-License-Identifier: Apache-2.0
/// @file
/// Running a command and asking the system what it took.
#pragma once

#include <string>
#include <vector>

namespace plumbfoot::bench {

struct CommandCost {
  double wall_s = 0.0;
  double cpu_s = 0.0;    ///< Of all its threads, in and out of the kernel.
  double peak_mb = 0.0;  ///< Largest resident set [10^6 bytes].
  int exit_status = 0;   ///< 128 and more if it was killed.
};

/// Runs a program with its output thrown away.
///
/// @param settings "NAME=value" for its environment, beside this program's own.
///
/// Linux counts the pages of the program that starts the command as the
/// command's own until it has started: ask while this program is small.
/// @throws std::runtime_error if it can't be started.
CommandCost RunCommand(const std::vector<std::string>& words,
                       const std::vector<std::string>& settings = {});

}  // namespace plumbfoot::bench
