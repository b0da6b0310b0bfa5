// SPDX-License-Identifier: Apache-2.0
/// @file
/// The words of a fit: what a person reads on the template and in the terminal.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/shoe_on_foot.h"
#include "plumbfoot/draw/shoe_side.h"
#include "plumbfoot/fit/nails.h"
#include "plumbfoot/fit/shoe.h"
#include "plumbfoot/fit/sole.h"
#include "plumbfoot/fit/trim.h"
#include "plumbfoot/report/foot_fit.h"
#include "plumbfoot/report/saved_report.h"

namespace plumbfoot::report {

/// "outside" or "inside".
std::string_view SideWordsOf(Foot foot, fit::Side side);
/// "Bramble, left fore"; "Left fore" without a name.
std::string TitleOf(const SavedReport& report, Foot foot);
/// "regular", "sloping", "upright".
std::string_view HeelRuleName(fit::HeelRule rule);
/// "toe_angle", "alignment", "heel_height": as in files.
std::string_view TargetName(fit::TargetKind kind);
/// Why a place has no nail, for people.
std::string_view LeftOutWords(fit::LeftOut reason);
/// "toe 2.6 mm, heels nothing".
std::string StepWords(fit::TrimStep step);
/// The loose shoe laid on the foot, to be drawn.
draw::ShoeOnFoot ShoeOnFootOf(const FootFit& fit);
/// "sprung by 3.2 mm at the heel"; or why it can't be told.
std::string LevelWords(const WornSide& worn);
/// The numbers below it, a line each; none where it can't be told.
std::vector<std::string> LevelLines(const WornSide& worn);
/// The worn shoe on its side photo, to be drawn.
draw::ShoeSideDrawing ShoeSideOf(const FootFit& fit);
/// "a toe angle of 52.0°".
std::string TargetWords(const fit::Target& target);

}  // namespace plumbfoot::report
