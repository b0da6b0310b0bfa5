// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/sort_photos.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <set>
#include <utility>

namespace plumbfoot::casebook {
namespace {

bool IsUpper(char c) {
  return c >= 'A' && c <= 'Z';
}
bool IsLower(char c) {
  return c >= 'a' && c <= 'z';
}

/// The words of a name, in small letters; digits and signs part them, and so
/// does a capital after a small letter.
std::vector<std::string> WordsOf(std::string_view name) {
  std::vector<std::string> words(1);
  char before = ' ';
  for (const char c : name) {
    const bool letter = IsUpper(c) || IsLower(c);
    if (!letter || (IsUpper(c) && IsLower(before))) words.emplace_back();
    if (letter) words.back() += static_cast<char>(IsUpper(c) ? c + 32 : c);
    before = c;
  }
  std::erase(words, "");
  return words;
}

enum class Side { kLeft, kRight };
enum class End { kFore, kHind };

/// All that the words of a name speak of.
struct Told {
  std::set<Foot> feet;
  std::set<Side> sides;
  std::set<End> ends;
  std::set<View> views;
  bool before = false;
  bool after = false;
  bool trim = false;
  bool shoeing = false;
  bool other = false;
  bool of = false;
  /// "near side": the side that is near, or the view of it.
  bool near_side = false;
};

struct Word {
  std::string_view text;
  void (*tell)(Told&);
};

// What the words mean. Longer ones first: a run of letters is taken apart from
// the left.
constexpr std::array kWords = {
    Word{"nearside", [](Told& t) { t.sides.insert(Side::kLeft); }},
    Word{"offside", [](Told& t) { t.sides.insert(Side::kRight); }},
    Word{"forefoot", [](Told& t) { t.ends.insert(End::kFore); }},
    Word{"hindfoot", [](Told& t) { t.ends.insert(End::kHind); }},
    Word{"lateral", [](Told& t) { t.views.insert(View::kLateral); }},
    Word{"profile", [](Told& t) { t.views.insert(View::kLateral); }},
    Word{"shoeing", [](Told& t) { t.shoeing = true; }},
    Word{"trimmed", [](Told& t) { t.after = t.trim = true; }},
    Word{"trimming", [](Told& t) { t.trim = true; }},
    Word{"bottom", [](Told& t) { t.views.insert(View::kSolar); }},
    Word{"before", [](Told& t) { t.before = true; }},
    Word{"right", [](Told& t) { t.sides.insert(Side::kRight); }},
    Word{"front", [](Told& t) { t.ends.insert(End::kFore); }},
    Word{"other", [](Told& t) { t.other = true; }},
    Word{"after", [](Told& t) { t.after = true; }},
    Word{"solar", [](Told& t) { t.views.insert(View::kSolar); }},
    Word{"left", [](Told& t) { t.sides.insert(Side::kLeft); }},
    Word{"near", [](Told& t) { t.sides.insert(Side::kLeft); }},
    Word{"fore", [](Told& t) { t.ends.insert(End::kFore); }},
    Word{"hind", [](Told& t) { t.ends.insert(End::kHind); }},
    Word{"back", [](Told& t) { t.ends.insert(End::kHind); }},
    Word{"rear", [](Told& t) { t.ends.insert(End::kHind); }},
    Word{"sole", [](Told& t) { t.views.insert(View::kSolar); }},
    Word{"side", [](Told& t) { t.views.insert(View::kLateral); }},
    Word{"shod", [](Told& t) { t.shoeing = true; }},
    Word{"trim", [](Told& t) { t.trim = true; }},
    Word{"post", [](Told& t) { t.after = true; }},
    Word{"off", [](Told& t) { t.sides.insert(Side::kRight); }},
    Word{"pre", [](Told& t) { t.before = true; }},
    Word{"lat", [](Told& t) { t.views.insert(View::kLateral); }},
};

// Only as a word of their own: "lf" is in "self".
constexpr std::array kShort = {
    Word{"lf", [](Told& t) { t.feet.insert(Foot::kLeftFore); }},
    Word{"fl", [](Told& t) { t.feet.insert(Foot::kLeftFore); }},
    Word{"nf", [](Told& t) { t.feet.insert(Foot::kLeftFore); }},
    Word{"rf", [](Told& t) { t.feet.insert(Foot::kRightFore); }},
    Word{"fr", [](Told& t) { t.feet.insert(Foot::kRightFore); }},
    Word{"of", [](Told& t) { t.of = true; }},
    Word{"lh", [](Told& t) { t.feet.insert(Foot::kLeftHind); }},
    Word{"hl", [](Told& t) { t.feet.insert(Foot::kLeftHind); }},
    Word{"nh", [](Told& t) { t.feet.insert(Foot::kLeftHind); }},
    Word{"rh", [](Told& t) { t.feet.insert(Foot::kRightHind); }},
    Word{"hr", [](Told& t) { t.feet.insert(Foot::kRightHind); }},
    Word{"oh", [](Told& t) { t.feet.insert(Foot::kRightHind); }},
    Word{"l", [](Told& t) { t.sides.insert(Side::kLeft); }},
    Word{"r", [](Told& t) { t.sides.insert(Side::kRight); }},
};

/// Takes a word apart into known ones; tells nothing where letters are left
/// ("beforehand", a horse called "Nearly").
void TellWord(std::string_view word, Told& told) {
  for (const Word& known : kShort) {
    if (word == known.text) return known.tell(told);
  }
  Told with = told;
  while (!word.empty()) {
    const auto* const known =
        std::find_if(kWords.begin(), kWords.end(), [&](const Word& w) {
          return word.starts_with(w.text);
        });
    if (known == kWords.end()) return;
    known->tell(with);
    word.remove_prefix(known->text.size());
  }
  told = std::move(with);
}

template <typename T>
std::optional<T> OnlyOne(const std::set<T>& values) {
  if (values.size() != 1) return std::nullopt;
  return *values.begin();
}

std::optional<Foot> FootOf(Told told) {
  const auto side = OnlyOne(told.sides);
  const auto end = OnlyOne(told.ends);
  if (side && end) {
    told.feet.insert(
        *side == Side::kLeft
            ? (*end == End::kFore ? Foot::kLeftFore : Foot::kLeftHind)
            : (*end == End::kFore ? Foot::kRightFore : Foot::kRightHind));
  }
  // "photo of the near hind": OF is the off fore only where nothing else is.
  if (told.feet.empty() && told.of && told.sides.empty() && told.ends.empty()) {
    return Foot::kRightFore;
  }
  return OnlyOne(told.feet);
}

std::optional<Stage> StageOf(const Told& told) {
  if (told.before && told.after) return std::nullopt;
  if (told.other) {
    return told.before || told.after ? std::nullopt
                                     : std::optional(Stage::kOther);
  }
  if (told.before) {
    // Before shoeing is before or after the trim.
    return told.shoeing && !told.trim ? std::nullopt
                                      : std::optional(Stage::kBeforeTrim);
  }
  if (told.shoeing) return Stage::kAfterShoeing;
  if (told.after) return Stage::kAfterTrim;
  return std::nullopt;
}

PhotoPlace PlaceOf(std::string_view text) {
  Told told;
  std::string_view last;
  const std::vector<std::string> words = WordsOf(text);
  for (const std::string& word : words) {
    if (word == "side" && (last == "near" || last == "off" || last == "left" ||
                           last == "right")) {
      told.near_side = true;
    } else {
      TellWord(word, told);
    }
    last = word;
  }
  if (told.views.empty() && told.near_side) told.views.insert(View::kLateral);
  return {FootOf(told), OnlyOne(told.views), StageOf(told)};
}

/// The fields of a table, line by line (RFC 4180); nothing where a quotation
/// mark stays open.
std::optional<std::vector<std::vector<std::string>>> FieldsOf(
    std::string_view text, char separator) {
  std::vector<std::vector<std::string>> lines;
  std::vector<std::string> fields(1);
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (quoted) {
      if (c != '"') {
        fields.back() += c;
      } else if (i + 1 < text.size() && text[i + 1] == '"') {
        fields.back() += '"';
        ++i;
      } else {
        quoted = false;
      }
    } else if (c == '"') {
      quoted = true;
    } else if (c == separator) {
      fields.emplace_back();
    } else if (c == '\n') {
      lines.push_back(std::exchange(fields, std::vector<std::string>(1)));
    } else if (c != '\r') {
      fields.back() += c;
    }
  }
  if (quoted) return std::nullopt;
  lines.push_back(std::move(fields));
  std::erase(lines, std::vector<std::string>(1));
  return lines;
}

std::string Trimmed(std::string_view text) {
  const std::size_t first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return "";
  return std::string(
      text.substr(first, text.find_last_not_of(" \t") - first + 1));
}

std::string Small(std::string text) {
  for (char& c : text) c = static_cast<char>(IsUpper(c) ? c + 32 : c);
  return text;
}

Refusal BadLine(std::size_t line, const std::string& what) {
  return {
      RefusalCode::kNotOurFormat,
      fmt::format("Line {} of the table: {}.", line, what),
      "The first line names the columns (photo, foot, view, stage, points); "
      "each other line tells of one photo, such as "
      "IMG_1.jpg,LF,solar,before."};
}

/// A field that tells one thing.
template <typename T>
bool ReadField(const std::string& field,
               std::optional<T> PhotoPlace::*member,
               PhotoPlace& place) {
  if (field.empty()) return true;
  const PhotoPlace told = PlaceOf(field);
  place.*member = told.*member;
  return (told.*member).has_value();
}

using Time = std::chrono::sys_seconds;

std::optional<Time> TimeOf(const std::optional<std::string>& taken) {
  constexpr std::string_view kShape = "0000-00-00T00:00:00";
  if (!taken || taken->size() != kShape.size()) return std::nullopt;
  for (std::size_t i = 0; i < kShape.size(); ++i) {
    const char c = (*taken)[i];
    if (kShape[i] == '0' ? c < '0' || c > '9' : c != kShape[i]) {
      return std::nullopt;
    }
  }
  const auto number = [&](std::size_t at, std::size_t digits) {
    return std::stoi(taken->substr(at, digits));
  };
  const std::chrono::year_month_day date(
      std::chrono::year(number(0, 4)),
      std::chrono::month(static_cast<unsigned>(number(5, 2))),
      std::chrono::day(static_cast<unsigned>(number(8, 2))));
  if (!date.ok()) return std::nullopt;
  return std::chrono::sys_days(date) + std::chrono::hours(number(11, 2)) +
         std::chrono::minutes(number(14, 2)) +
         std::chrono::seconds(number(17, 2));
}

/// CHOSEN: a foot isn't trimmed in two minutes; a second try is taken in less.
constexpr std::chrono::minutes kLeastApart(2);

/// Two photos of one foot and view, of which at least one has no stage.
void TellByTime(TimedPhoto& one, TimedPhoto& two) {
  const auto time_one = TimeOf(one.taken);
  const auto time_two = TimeOf(two.taken);
  if (!time_one || !time_two) return;
  TimedPhoto& earlier = *time_one < *time_two ? one : two;
  TimedPhoto& later = *time_one < *time_two ? two : one;
  const auto apart =
      std::max(*time_one, *time_two) - std::min(*time_one, *time_two);
  if (apart < kLeastApart) return;
  const auto is = [](const TimedPhoto& photo, Stage stage) {
    return !photo.place.stage || photo.place.stage == stage;
  };
  const bool after_shoeing = later.place.stage == Stage::kAfterShoeing;
  if (!is(earlier, Stage::kBeforeTrim) ||
      (!is(later, Stage::kAfterTrim) && !after_shoeing)) {
    return;
  }
  earlier.place.stage = Stage::kBeforeTrim;
  if (!later.place.stage) later.place.stage = Stage::kAfterTrim;
}

}  // namespace

PhotoPlace ReadPlace(std::string_view file_name) {
  const std::size_t dot = file_name.rfind('.');
  return PlaceOf(file_name.substr(0, dot));
}

Result<std::vector<TableRow>> ParseTable(std::string_view text) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  const std::string_view head = text.substr(0, text.find('\n'));
  char separator = ',';
  for (const char c : {';', '\t'}) {
    if (head.find(c) != std::string_view::npos) separator = c;
  }
  const auto lines = FieldsOf(text, separator);
  if (!lines) return BadLine(1, "a quotation mark is not closed");
  if (lines->empty()) return BadLine(1, "the table is empty");

  constexpr std::array<std::string_view, 5> kColumns = {
      "photo", "foot", "view", "stage", "points"};
  std::array<std::size_t, 5> column{};
  column.fill(std::string::npos);
  for (std::size_t i = 0; i < lines->front().size(); ++i) {
    const std::string name = Small(Trimmed(lines->front()[i]));
    const auto* const it = std::find(kColumns.begin(), kColumns.end(), name);
    if (it == kColumns.end()) {
      return BadLine(1, fmt::format("there is no column \"{}\"", name));
    }
    column.at(static_cast<std::size_t>(it - kColumns.begin())) = i;
  }
  if (column[0] == std::string::npos) {
    return BadLine(1, "the column \"photo\" is missing");
  }

  std::vector<TableRow> rows;
  for (std::size_t i = 1; i < lines->size(); ++i) {
    const std::vector<std::string>& fields = (*lines)[i];
    const auto field = [&](std::size_t which) {
      const std::size_t at = column.at(which);
      return at < fields.size() ? Trimmed(fields[at]) : std::string();
    };
    TableRow row;
    row.photo = field(0);
    if (row.photo.empty()) return BadLine(i + 1, "it names no photo");
    const auto unknown = [&](std::size_t which) {
      return BadLine(
          i + 1,
          fmt::format("\"{}\" is no {}", field(which), kColumns.at(which)));
    };
    if (!ReadField(field(1), &PhotoPlace::foot, row.place)) return unknown(1);
    if (!ReadField(field(2), &PhotoPlace::view, row.place)) return unknown(2);
    if (!ReadField(field(3), &PhotoPlace::stage, row.place)) return unknown(3);
    if (!field(4).empty()) row.points = field(4);
    const PhotoPlace named = ReadPlace(row.photo);
    if (!row.place.foot) row.place.foot = named.foot;
    if (!row.place.view) row.place.view = named.view;
    if (!row.place.stage) row.place.stage = named.stage;
    rows.push_back(std::move(row));
  }
  return rows;
}

void TellStagesByTime(std::vector<TimedPhoto>& photos) {
  for (TimedPhoto& photo : photos) {
    if (photo.place.stage || !photo.place.foot || !photo.place.view) continue;
    // With three or more there is no telling which is which.
    std::vector<TimedPhoto*> same;
    for (TimedPhoto& other : photos) {
      if (other.place.foot == photo.place.foot &&
          other.place.view == photo.place.view) {
        same.push_back(&other);
      }
    }
    if (same.size() == 2) TellByTime(*same[0], *same[1]);
  }
}

}  // namespace plumbfoot::casebook
