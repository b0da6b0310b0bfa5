// SPDX-License-Identifier: Apache-2.0
/// @file
/// Text that came from outside, made safe to print, and lines that fit.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace plumbfoot::report {

/// Valid UTF-8: what isn't becomes U+FFFD.
std::string CleanUtf8(std::string_view text);

/// As CleanUtf8, and control characters become '?': a file name can't move the
/// cursor or colour the terminal.
std::string CleanForTerminal(std::string_view text);

/// How many columns a terminal gives to valid UTF-8.
int Columns(std::string_view text);

/// Lines of at most `columns`, broken at spaces, or within a word that is
/// longer than a line. At least one line.
std::vector<std::string> Wrap(std::string_view text, int columns);

}  // namespace plumbfoot::report
