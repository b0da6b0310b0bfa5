// SPDX-License-Identifier: Apache-2.0
#include "casebook/names.h"

#include <glib.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <memory>

namespace plumbfoot::casebook {
namespace {

struct Free {
  void operator()(char* text) const { g_free(text); }
};
using Text = std::unique_ptr<char, Free>;

bool IsUtf8(std::string_view text) {
  return g_utf8_validate(
             text.data(), static_cast<gssize>(text.size()), nullptr) != 0;
}

bool IsSpace(gunichar c) {
  return g_unichar_isspace(c) != 0;
}

bool IsSmallLetter(char c) {
  return c >= 'a' && c <= 'z';
}
bool IsDigit(char c) {
  return c >= '0' && c <= '9';
}

/// MS-DOS devices, which Windows finds in every folder.
bool IsDevice(std::string_view name) {
  constexpr std::array<std::string_view, 4> kDevices = {
      "con", "prn", "aux", "nul"};
  if (std::find(kDevices.begin(), kDevices.end(), name) != kDevices.end()) {
    return true;
  }
  return name.size() == 4 && IsDigit(name[3]) &&
         (name.substr(0, 3) == "com" || name.substr(0, 3) == "lpt");
}

}  // namespace

std::string NameKey(std::string_view name) {
  if (!IsUtf8(name)) return std::string(name);
  const auto size = static_cast<gssize>(name.size());
  const Text folded(g_utf8_casefold(name.data(), size));
  // After folding: its results are not all composed.
  const Text composed(
      g_utf8_normalize(folded.get(), -1, G_NORMALIZE_ALL_COMPOSE));
  std::string key;
  bool space = false;
  for (const char* c = composed.get(); *c != '\0'; c = g_utf8_next_char(c)) {
    if (IsSpace(g_utf8_get_char(c))) {
      space = !key.empty();
      continue;
    }
    if (space) key += ' ';
    space = false;
    key.append(c, static_cast<std::size_t>(g_utf8_next_char(c) - c));
  }
  return key;
}

bool IsName(std::string_view name) {
  // CHOSEN: far longer than any horse's name.
  if (name.size() > 200 || !IsUtf8(name)) return false;
  bool alnum = false;
  const char* const end = name.data() + name.size();
  for (const char* c = name.data(); c < end; c = g_utf8_next_char(c)) {
    const gunichar letter = g_utf8_get_char(c);
    if (g_unichar_iscntrl(letter) != 0) return false;
    alnum = alnum || g_unichar_isalnum(letter) != 0;
  }
  return alnum;
}

std::string FolderName(std::string_view name) {
  const std::string text(name);
  // "C": the same folder whatever language the machine speaks.
  const Text ascii(IsUtf8(text) ? g_str_to_ascii(text.c_str(), "C")
                                : g_strdup(""));
  std::string folder;
  for (const char* p = ascii.get(); *p != '\0'; ++p) {
    const char c = g_ascii_tolower(*p);
    // CHOSEN: paths stay below the 260 characters that Windows likes.
    if (folder.size() == 40) break;
    if (IsSmallLetter(c) || IsDigit(c)) {
      folder += c;
    } else if (c != '\'' && !folder.empty() && folder.back() != '-') {
      folder += '-';
    }
  }
  while (!folder.empty() && folder.back() == '-') folder.pop_back();
  if (folder.empty()) return "horse";
  return IsDevice(folder) ? "horse-" + folder : folder;
}

std::string SafeEnding(std::string_view file_name) {
  std::string ending =
      std::filesystem::path(file_name).extension().string().substr(0, 7);
  for (char& c : ending) c = g_ascii_tolower(c);
  const bool safe = ending.size() >= 2 && ending.size() <= 6 &&
                    std::all_of(ending.begin() + 1, ending.end(), [](char c) {
                      return IsSmallLetter(c) || IsDigit(c);
                    });
  return safe ? ending : ".img";
}

}  // namespace plumbfoot::casebook
