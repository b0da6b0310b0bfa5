// SPDX-License-Identifier: Apache-2.0
/// @file
/// The owner's page in any language: all of its texts come from one file.
#pragma once

#include <map>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::report {

/// The texts of one language. A text may hold places for values, "{date}".
class OwnerWords {
 public:
  using Values = std::vector<std::pair<std::string_view, std::string>>;

  OwnerWords(std::string language, std::map<std::string, std::string> texts)
      : language_(std::move(language)), texts_(std::move(texts)) {}

  /// BCP 47: "en".
  const std::string& language() const { return language_; }
  bool Has(std::string_view key) const;
  /// The text with its places filled.
  /// @throws std::out_of_range for a key that the file lacks: a fault of ours,
  ///   as ParseOwnerWords looks for all of them.
  std::string Say(std::string_view key, const Values& values = {}) const;
  /// A number as the language writes it; "50.2" becomes "50,2".
  std::string Number(std::string number) const;
  /// "2026-03-14" as the language writes it.
  std::string Date(std::string_view iso) const;
  const std::map<std::string, std::string>& texts() const { return texts_; }

 private:
  std::string language_;
  std::map<std::string, std::string> texts_;
};

/// The languages that are built in: "en", "de".
std::span<const std::string_view> OwnerLanguages();

/// @return kUsage for another language, naming those that are there.
Result<OwnerWords> OwnerWordsOf(std::string_view language);

/// A file of another language ("format": "plumbfoot-words").
/// @return kNotJson, kNotOurFormat, kVersionUnknown; kNotOurFormat naming what
///   is missing or whose places differ from the English ones.
Result<OwnerWords> ParseOwnerWords(std::string_view json);

}  // namespace plumbfoot::report
