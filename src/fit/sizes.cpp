// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/sizes.h"

#include <charconv>
#include <cmath>

namespace plumbfoot::fit {
namespace {

constexpr std::string_view kHeader = "size,width_mm,length_mm";

std::string_view Trimmed(std::string_view text) {
  constexpr std::string_view kBlank = " \t\r";
  const auto from = text.find_first_not_of(kBlank);
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(kBlank) - from + 1);
}

std::vector<std::string_view> Split(std::string_view line) {
  std::vector<std::string_view> cells;
  while (true) {
    const auto comma = line.find(',');
    cells.push_back(Trimmed(line.substr(0, comma)));
    if (comma == std::string_view::npos) return cells;
    line.remove_prefix(comma + 1);
  }
}

std::optional<double> NumberOf(std::string_view text) {
  double value = 0.0;
  const auto [end, fault] =
      std::from_chars(text.data(), text.data() + text.size(), value);
  // CHOSEN: no shoe is half a metre wide.
  if (fault != std::errc() || end != text.data() + text.size() ||
      !(value > 0) || !(value < 500)) {
    return std::nullopt;
  }
  return value;
}

Refusal Bad(RefusalCode code, int line, const std::string& what) {
  return {code,
          "The table of sizes, line " + std::to_string(line) + ": " + what,
          "Write lines such as \"2,127,130,fore\" below the header \"" +
              std::string(kHeader) + ",feet\"."};
}

}  // namespace

Result<std::vector<Size>> ParseSizes(std::string_view text) {
  std::vector<Size> sizes;
  bool header = false;
  for (int number = 1; !text.empty(); ++number) {
    const auto end = text.find('\n');
    const std::string_view line = Trimmed(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (line.empty() || line.front() == '#') continue;
    if (!header) {
      if (line.substr(0, kHeader.size()) != kHeader) {
        return Bad(
            RefusalCode::kNotOurFormat, number, "the header is missing.");
      }
      header = true;
      continue;
    }
    const auto cells = Split(line);
    if (cells.size() < 3 || cells.size() > 4 || cells[0].empty()) {
      return Bad(RefusalCode::kNotOurFormat,
                 number,
                 "it does not have a size, a width and a length.");
    }
    const auto width = NumberOf(cells[1]);
    const auto length = NumberOf(cells[2]);
    if (!width || !length) {
      return Bad(RefusalCode::kBadNumber,
                 number,
                 "width or length is no number of millimetres.");
    }
    Size size{std::string(cells[0]), *width, *length, std::nullopt};
    if (cells.size() == 4 && !cells[3].empty()) {
      if (cells[3] != "fore" && cells[3] != "hind") {
        return Bad(RefusalCode::kNotOurFormat,
                   number,
                   "feet is neither fore nor hind.");
      }
      size.fore = cells[3] == "fore";
    }
    sizes.push_back(std::move(size));
  }
  if (sizes.empty()) {
    return Refusal{RefusalCode::kNotOurFormat,
                   "The table of sizes holds no size.",
                   "Write lines such as \"2,127,130,fore\" below the header "
                   "\"size,width_mm,length_mm,feet\"."};
  }
  return sizes;
}

std::optional<NearestSize> NearestOf(const std::vector<Size>& sizes,
                                     geometry::Foot foot,
                                     double width_mm,
                                     double length_mm) {
  std::optional<NearestSize> nearest;
  for (const Size& size : sizes) {
    if (size.fore && *size.fore != geometry::IsFore(foot)) continue;
    const NearestSize this_one{
        size, size.width_mm - width_mm, size.length_mm - length_mm};
    if (!nearest ||
        std::hypot(this_one.width_off_mm, this_one.length_off_mm) <
            std::hypot(nearest->width_off_mm, nearest->length_off_mm)) {
      nearest = this_one;
    }
  }
  return nearest;
}

}  // namespace plumbfoot::fit
