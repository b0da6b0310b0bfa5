// SPDX-License-Identifier: Apache-2.0
#include "cli/exit_status.h"

#include <fmt/core.h>

#include <cstdio>

namespace plumbfoot::cli {

ExitStatus StatusOf(RefusalCode code) {
  switch (code) {
    case RefusalCode::kUsage:
      return ExitStatus::kUsedWrongly;
    case RefusalCode::kCannotWrite:
    case RefusalCode::kPortTaken:
      return ExitStatus::kSurroundings;
    default:
      return ExitStatus::kRefused;
  }
}

ExitStatus Refuse(const Refusal& refusal) {
  fmt::print(stderr, "plumbfoot: {}\n", refusal.message);
  if (!refusal.remedy.empty()) fmt::print(stderr, "{}\n", refusal.remedy);
  return StatusOf(refusal.code);
}

}  // namespace plumbfoot::cli
