// SPDX-License-Identifier: Apache-2.0
/// @file
/// The trim and the shoe for a recorded foot, as far as the page's sliders ask.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "plumbfoot/report/visit_feet.h"
#include "plumbfoot/serve/http.h"

namespace plumbfoot::serve {

/// The query's "web", "thickness", "fullness" [mm], "toe_angle" [degrees] and
/// "whole" (1: all of the trim at once); what is left out is as `plumbfoot fit`
/// has it. Thread-safe.
///
/// @param report  The foot's report.json.
/// @return {"fit": the foot's part of fit.json}; 400 for a number that is none
///   or out of range, or why there is no fit.
Response ShowFit(const nlohmann::json& report, const Request& request);

/// One of the files that `plumbfoot fit` writes: "template.pdf".
/// @param desk  Of the one thread that sets text.
Response FitFile(const nlohmann::json& report,
                 const Request& request,
                 const std::string& name,
                 report::Desk& desk);

}  // namespace plumbfoot::serve
