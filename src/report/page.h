// SPDX-License-Identifier: Apache-2.0
/// @file
/// Lines for a terminal, at most 80 columns wide.
#pragma once

#include <string>
#include <string_view>
#include <utility>

namespace plumbfoot::report {

inline constexpr int kPageColumns = 80;

enum class Ink { kPlain, kStrong, kLook, kFaint };

/// Lines that go below each other. Colour is put round whole lines, so that it
/// never counts as width.
class Page {
 public:
  explicit Page(bool colour) : colour_(colour) {}

  void Line(std::string_view line, Ink ink = Ink::kPlain);
  /// After an empty line.
  void Heading(std::string_view words);
  /// Text that is broken to fit, its first line after `lead` and the others
  /// below the text.
  void Wrapped(std::string_view words,
               std::string_view lead,
               Ink ink = Ink::kPlain);
  std::string Take() && { return std::move(text_); }

 private:
  bool colour_;
  std::string text_;
};

enum class Align { kLeft, kRight };

/// With blanks to so many columns.
std::string Padded(std::string_view text, int columns, Align align);

}  // namespace plumbfoot::report
