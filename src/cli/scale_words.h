// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <CLI/CLI.hpp>
#include <string>

#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/measure_foot.h"

namespace plumbfoot::cli {

/// The options that say how the millimetres come into a photo, the same for
/// every command that looks at one.
struct ScaleWords {
  std::string layout;
  std::string lens;
  double measured_mm = 0.0;
  bool no_card = false;
};

void AddScaleOptions(CLI::App& command, ScaleWords& words);

/// What was said on the command line, else what the settings keep.
Result<report::ScaleRequest> ScaleFrom(const ScaleWords& words);

}  // namespace plumbfoot::cli
