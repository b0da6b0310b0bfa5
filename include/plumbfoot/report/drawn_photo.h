// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <nlohmann/json.hpp>
#include <opencv2/core/mat.hpp>
#include <optional>

#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/owner_words.h"

namespace plumbfoot::report {

/// The photo of a measured view with its points and measures drawn on
/// (draw::DrawAnnotated), CV_8UC3, red first.
///
/// Sets text: to be called from one thread only. The libraries that do it keep
/// what they know of fonts for each thread, and take it down while others still
/// look.
/// @throws std::invalid_argument if the foot has no photo of that view.
cv::Mat DrawnPhoto(const MeasuredFoot& foot, View view);

/// A photo that was measured before, drawn on again in the words of another
/// language, with the numbers that stand in its report.json. Sets text, too.
/// @param report  The whole report.json (see ReadReport).
/// @param photo   The photo that it is of.
/// @return Nothing where the report doesn't tell the lines ("lines"): it was
///   written before they were kept. kNotOurFormat, ... as ReadReport.
Result<std::optional<cv::Mat>> DrawnAgain(const nlohmann::json& report,
                                          View view,
                                          const photo::Photo& photo,
                                          const OwnerWords& words);

}  // namespace plumbfoot::report
