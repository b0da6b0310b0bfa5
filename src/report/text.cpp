// SPDX-License-Identifier: Apache-2.0
#include "report/text.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <utility>

namespace plumbfoot::report {
namespace {

/// The bytes of the character that begins with `lead` in valid UTF-8.
std::size_t Length(char lead) {
  const auto byte = static_cast<unsigned char>(lead);
  if (byte < 0x80) return 1;
  if (byte < 0xE0) return 2;
  return byte < 0xF0 ? 3 : 4;
}

std::uint32_t CodePoint(std::string_view character) {
  auto code =
      static_cast<std::uint32_t>(static_cast<unsigned char>(character.front()));
  if (character.size() > 1) code &= 0x7FU >> character.size();
  for (const char c : character.substr(1)) {
    code = (code << 6U) | (static_cast<unsigned char>(c) & 0x3FU);
  }
  return code;
}

int ColumnsOf(std::uint32_t code) {
  using Range = std::pair<std::uint32_t, std::uint32_t>;
  // Combining marks take no column, East Asian wide characters (Unicode Annex
  // 11) and pictographs two. CHOSEN: the blocks that a name may hold, not the
  // whole table.
  constexpr std::array<Range, 3> kNone = {
      Range{0x300, 0x36F}, Range{0x200B, 0x200F}, Range{0xFE00, 0xFE0F}};
  constexpr std::array<Range, 8> kWide = {Range{0x1100, 0x115F},
                                          Range{0x2E80, 0xA4CF},
                                          Range{0xAC00, 0xD7A3},
                                          Range{0xF900, 0xFAFF},
                                          Range{0xFE30, 0xFE6F},
                                          Range{0xFF00, 0xFF60},
                                          Range{0x1F300, 0x1FAFF},
                                          Range{0x20000, 0x3FFFD}};
  const auto within = [code](Range range) {
    return code >= range.first && code <= range.second;
  };
  if (std::any_of(kNone.begin(), kNone.end(), within)) return 0;
  return std::any_of(kWide.begin(), kWide.end(), within) ? 2 : 1;
}

}  // namespace

std::string CleanUtf8(std::string_view text) {
  const nlohmann::json quoted = std::string(text);
  return nlohmann::json::parse(
             quoted.dump(
                 -1, ' ', false, nlohmann::json::error_handler_t::replace))
      .get<std::string>();
}

std::string CleanForTerminal(std::string_view text) {
  const std::string clean = CleanUtf8(text);
  std::string shown;
  for (std::size_t i = 0; i < clean.size();) {
    const std::size_t length = Length(clean[i]);
    const std::string_view character(clean.data() + i, length);
    const std::uint32_t code = CodePoint(character);
    // C0, delete, C1.
    const bool control = code < 0x20 || (code >= 0x7F && code < 0xA0);
    shown += control ? "?" : character;
    i += length;
  }
  return shown;
}

int Columns(std::string_view text) {
  int columns = 0;
  for (std::size_t i = 0; i < text.size();) {
    const std::size_t length = Length(text[i]);
    columns += ColumnsOf(CodePoint(text.substr(i, length)));
    i += length;
  }
  return columns;
}

std::vector<std::string> Wrap(std::string_view text, int columns) {
  std::vector<std::string> lines(1);
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find(' ', begin), text.size());
    std::string_view word = text.substr(begin, end - begin);
    begin = end + 1;
    const int room = columns - Columns(lines.back());
    if (lines.back().empty()) {
      // The word begins this line.
    } else if (Columns(word) + 1 <= room) {
      lines.back() += ' ';
    } else {
      lines.emplace_back();
    }
    while (!word.empty()) {
      const std::size_t length = Length(word.front());
      const std::string_view character = word.substr(0, length);
      if (Columns(lines.back()) + Columns(character) > columns) {
        lines.emplace_back();
      }
      lines.back() += character;
      word.remove_prefix(length);
    }
  }
  return lines;
}

}  // namespace plumbfoot::report
