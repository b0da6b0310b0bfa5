// SPDX-License-Identifier: Apache-2.0
/// @file
/// Runs a program as a user would and keeps what it said.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace plumbfoot::tests {

struct CommandResult {
  int status = -1;  ///< Exit status; 128 + signal if it was killed.
  std::string out;
  std::string err;
};

/// @param environment  Set on top of this process's own.
CommandResult RunCommand(
    const std::vector<std::string>& words,
    const std::vector<std::pair<std::string, std::string>>& environment = {});

}  // namespace plumbfoot::tests
