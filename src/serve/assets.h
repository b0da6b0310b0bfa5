// SPDX-License-Identifier: Apache-2.0
/// @file
/// The page's files, compiled in (src/serve/page/).
#pragma once

#include <string_view>

namespace plumbfoot::serve {

extern const std::string_view kLockedHtml;
extern const std::string_view kIndexHtml;
extern const std::string_view kPageCss;
extern const std::string_view kIconSvg;
extern const std::string_view kAppJs;
extern const std::string_view kAskJs;
extern const std::string_view kPartsJs;
extern const std::string_view kDayJs;
extern const std::string_view kVisitJs;
extern const std::string_view kPointsJs;
extern const std::string_view kEditorJs;
extern const std::string_view kHorseJs;
extern const std::string_view kAnvilJs;

}  // namespace plumbfoot::serve
