// SPDX-License-Identifier: Apache-2.0
/// @file
/// The report for a person at a terminal.
#pragma once

#include <string>

#include "plumbfoot/report/foot_report.h"

namespace plumbfoot::report {

/// A table of the measures and what there is to say about them: UTF-8, no line
/// wider than 80 columns.
/// @param colour  With ANSI colours (ECMA-48 SGR), for a terminal.
std::string TerminalTable(const FootReport& report, bool colour);

}  // namespace plumbfoot::report
