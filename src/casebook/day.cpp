// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {
namespace {

/// The number that `digits` are; -1 if they aren't digits.
int Digits(std::string_view digits) {
  int number = 0;
  for (const char c : digits) {
    if (c < '0' || c > '9') return -1;
    number = number * 10 + (c - '0');
  }
  return number;
}

}  // namespace

std::string DayText(Day day) {
  const std::chrono::year_month_day date(day);
  return fmt::format("{:04}-{:02}-{:02}",
                     static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()),
                     static_cast<unsigned>(date.day()));
}

Result<Day> ParseDay(std::string_view text) {
  if (text.size() == 10 && text[4] == '-' && text[7] == '-') {
    const int year = Digits(text.substr(0, 4));
    const int month = Digits(text.substr(5, 2));
    const int day = Digits(text.substr(8, 2));
    if (year >= 1900 && month > 0 && day > 0) {
      const std::chrono::year_month_day date(
          std::chrono::year(year),
          std::chrono::month(static_cast<unsigned>(month)),
          std::chrono::day(static_cast<unsigned>(day)));
      if (date.ok()) return Day(date);
    }
  }
  return Refusal{RefusalCode::kUsage,
                 fmt::format("'{}' is not a day of the calendar.", text),
                 "Write the date as year-month-day, such as 2026-03-14."};
}

std::optional<Day> NextVisit(Day visit, const Notes& notes) {
  if (notes.no_next_visit) return std::nullopt;
  // Common practice: shod and trimmed horses are seen every six weeks or so.
  return notes.next_visit.value_or(visit + std::chrono::weeks(6));
}

}  // namespace plumbfoot::casebook
