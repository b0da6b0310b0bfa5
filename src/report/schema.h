// SPDX-License-Identifier: Apache-2.0
/// @file
/// Checks what we write, and what we read of it again, against its JSON Schema.
#pragma once

#include <nlohmann/json.hpp>
#include <string_view>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::report {

/// NaN and infinity, which JSON doesn't have, are refused too.
/// @param what  "report": for the words.
/// @return kNotOurFormat, whose message names the first place that is wrong.
Result<Done> Validate(const nlohmann::json& document,
                      std::string_view schema,
                      std::string_view what);

/// A millionth of a millimetre, degree or pixel is far below what any photo
/// resolves, and keeps a file readable. No "-0.0".
double RoundedForFile(double value);

}  // namespace plumbfoot::report
