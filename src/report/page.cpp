// SPDX-License-Identifier: Apache-2.0
#include "report/page.h"

#include <algorithm>

#include "report/text.h"

namespace plumbfoot::report {
namespace {

/// ECMA-48, Select Graphic Rendition.
std::string_view Code(Ink ink) {
  switch (ink) {
    case Ink::kStrong:
      return "\x1b[1m";
    case Ink::kLook:
      return "\x1b[33m";
    case Ink::kFaint:
      return "\x1b[2m";
    case Ink::kPlain:
      return "";
  }
  return "";
}

}  // namespace

void Page::Line(std::string_view line, Ink ink) {
  const bool dress = colour_ && ink != Ink::kPlain;
  if (dress) text_ += Code(ink);
  text_ += line;
  if (dress) text_ += "\x1b[0m";
  text_ += "\n";
}

void Page::Heading(std::string_view words) {
  Line("");
  Wrapped(words, "", Ink::kStrong);
}

void Page::Wrapped(std::string_view words, std::string_view lead, Ink ink) {
  const int indent = Columns(lead);
  std::string before(lead);
  for (const std::string& line : Wrap(words, kPageColumns - indent)) {
    Line(before + line, ink);
    before.assign(static_cast<std::size_t>(indent), ' ');
  }
}

std::string Padded(std::string_view text, int columns, Align align) {
  const auto blank =
      static_cast<std::size_t>(std::max(0, columns - Columns(text)));
  const std::string space(blank, ' ');
  return align == Align::kLeft ? std::string(text) + space
                               : space + std::string(text);
}

}  // namespace plumbfoot::report
