// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace plumbfoot::cli {

/// This moment: "2026-03-14T18:22:01Z".
std::string Now();

}  // namespace plumbfoot::cli
