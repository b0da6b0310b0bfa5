// SPDX-License-Identifier: Apache-2.0
/// @file
/// Answers as JSON, and the numbers of a foot as the page shows them.
#pragma once

#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/judge/figures.h"
#include "plumbfoot/measure/measures.h"
#include "plumbfoot/report/foot_report.h"
#include "plumbfoot/serve/http.h"

namespace plumbfoot::serve {

Response Json(const nlohmann::json& what, int status = 200);

/// {"refused": {"code", "message", "remedy"}}, with a status that fits.
Response Refused(const Refusal& refusal);

Response Jpeg(std::string bytes);

/// Every measure of the views that were measured, in words:
/// [{"measure", "name", "view", "definition", "text": "128.4 ± 1.7 mm" |
///   "why not", "value", "unit", "measured", "sure", "figures": [briefs]}].
/// "value" is the report's own number.
nlohmann::json ShownMeasures(Foot foot,
                             const measure::Outcomes& outcomes,
                             const std::set<View>& views,
                             const std::vector<judge::Figure>& figures);

/// The same of a report.
nlohmann::json ShownMeasures(const report::FootReport& report,
                             const std::vector<judge::Figure>& figures);

/// "LF-before_trim"
std::string FootKey(Foot foot, Stage stage);
struct FootAndStage {
  Foot foot = Foot::kLeftFore;
  Stage stage = Stage::kOther;
};
/// @return kFileMissing for any other text.
Result<FootAndStage> ParseFootKey(const std::string& key);

}  // namespace plumbfoot::serve
