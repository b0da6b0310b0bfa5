// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/owner_words.h"

#include <fmt/args.h>
#include <fmt/core.h>
#include <fmt/format.h>

#include <array>
#include <nlohmann/json.hpp>
#include <set>
#include <stdexcept>

namespace plumbfoot::report {

extern const std::string_view kOwnerWordsEn;
extern const std::string_view kOwnerWordsDe;

namespace {

using nlohmann::json;

constexpr std::array<std::string_view, 2> kLanguages = {"en", "de"};

/// The places for values in a text.
std::set<std::string> PlacesIn(const std::string& text) {
  std::set<std::string> places;
  for (std::size_t open = text.find('{'); open != std::string::npos;
       open = text.find('{', open + 1)) {
    const std::size_t close = text.find('}', open);
    if (close == std::string::npos) break;
    places.insert(text.substr(open + 1, close - open - 1));
  }
  return places;
}

Refusal NotWords(std::string message) {
  return {RefusalCode::kNotOurFormat,
          std::move(message),
          "Start from src/report/owner/en.json and translate its texts."};
}

Result<std::map<std::string, std::string>> ReadTexts(const json& file) {
  if (!file.is_object() || file.value("format", "") != "plumbfoot-words" ||
      !file.contains("texts") || !file["texts"].is_object() ||
      !file.contains("language") || !file["language"].is_string()) {
    return NotWords("This is not a file of the owner's page's words.");
  }
  if (file.value("version", 0) != 1) {
    return Refusal{RefusalCode::kVersionUnknown,
                   "These words are of a version that this Plumbfoot does not "
                   "know.",
                   "Use the words that came with it."};
  }
  std::map<std::string, std::string> texts;
  for (const auto& [key, text] : file["texts"].items()) {
    if (!text.is_string()) {
      return NotWords(fmt::format("The text \"{}\" is not a text.", key));
    }
    texts[key] = text.get<std::string>();
  }
  return texts;
}

}  // namespace

bool OwnerWords::Has(std::string_view key) const {
  return texts_.contains(std::string(key));
}

std::string OwnerWords::Say(std::string_view key, const Values& values) const {
  const std::string& text = texts_.at(std::string(key));
  fmt::dynamic_format_arg_store<fmt::format_context> store;
  for (const auto& [name, value] : values) {
    store.push_back(fmt::arg(std::string(name).c_str(), value));
  }
  return fmt::vformat(text, store);
}

std::string OwnerWords::Number(std::string number) const {
  const std::string& mark = texts_.at("decimal_mark");
  for (std::size_t at = number.find('.'); at != std::string::npos;
       at = number.find('.', at + mark.size())) {
    number.replace(at, 1, mark);
  }
  return number;
}

std::string OwnerWords::Date(std::string_view iso) const {
  if (iso.size() != 10) return std::string(iso);
  const auto whole = [](std::string_view digits) {
    return std::to_string(std::stoi(std::string(digits)));
  };
  return Say("date",
             {{"year", std::string(iso.substr(0, 4))},
              {"month", Say("month." + whole(iso.substr(5, 2)))},
              {"day", whole(iso.substr(8, 2))}});
}

std::span<const std::string_view> OwnerLanguages() {
  return kLanguages;
}

Result<OwnerWords> ParseOwnerWords(std::string_view text) {
  const json file = json::parse(text, nullptr, false);
  if (file.is_discarded()) {
    return Refusal{RefusalCode::kNotJson,
                   "The file of words is not JSON.",
                   "Start from src/report/owner/en.json."};
  }
  auto texts = ReadTexts(file);
  if (!texts) return texts.error();
  const auto english = ReadTexts(json::parse(kOwnerWordsEn));
  for (const auto& [key, model] : *english) {
    const auto found = texts->find(key);
    if (found == texts->end()) {
      return NotWords(fmt::format("The text \"{}\" is missing.", key));
    }
    if (PlacesIn(found->second) != PlacesIn(model)) {
      return NotWords(fmt::format(
          "The text \"{}\" has other places for values than the English one.",
          key));
    }
  }
  return OwnerWords(file["language"].get<std::string>(), std::move(*texts));
}

Result<OwnerWords> OwnerWordsOf(std::string_view language) {
  if (language == "en") return ParseOwnerWords(kOwnerWordsEn);
  if (language == "de") return ParseOwnerWords(kOwnerWordsDe);
  return Refusal{
      RefusalCode::kUsage,
      fmt::format("There are no words in the language \"{}\".", language),
      fmt::format("Take one of: {}.", fmt::join(kLanguages, ", "))};
}

}  // namespace plumbfoot::report
