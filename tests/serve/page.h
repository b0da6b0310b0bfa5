// SPDX-License-Identifier: Apache-2.0
/// @file
/// A page on a casebook of its own, and a browser that is let in.
#pragma once

#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>

#include "plumbfoot/serve/site.h"
#include "serve/serving.h"

namespace plumbfoot::serve {

inline constexpr const char* kHost = "127.0.0.1:8437";

/// A new empty folder for one test.
std::filesystem::path FreshFolder(const std::string& name);
void WriteFile(const std::filesystem::path& path, const std::string& bytes);

/// The photos that were rendered when the tests were built: one foot.
std::filesystem::path Photos();

/// `plumbfoot measure`, run as a person would.
struct Measured {
  std::string table;  ///< What it printed.
  std::filesystem::path report;
};
/// Of the pair of Photos() with that points file; writes below `folder`.
Measured MeasurePair(const std::filesystem::path& points,
                     const std::filesystem::path& folder);

class Page {
 public:
  /// @param folder  The casebook's; made if missing.
  explicit Page(const std::filesystem::path& folder);

  Site& site() { return *site_; }
  const std::string& cookie() const { return cookie_; }
  std::filesystem::path folder() const { return folder_; }

  /// As the page's own script asks.
  Request MakeGet(const std::string& path) const;
  Request MakePost(const std::string& path, const std::string& body) const;
  Response Get(const std::string& path);
  Response Post(const std::string& path, const nlohmann::json& what);
  Response Upload(const std::string& visit,
                  const std::string& name,
                  const std::string& bytes);
  /// The answer's JSON, where it is of that status.
  nlohmann::json Got(const std::string& path, int status = 200);
  nlohmann::json Posted(const std::string& path,
                        const nlohmann::json& what,
                        int status = 200);

  /// A visit of Bramble with both photos: its id.
  std::string BeginWithPair();

 private:
  std::filesystem::path folder_;
  std::unique_ptr<Site> site_;
  std::string cookie_;
};

}  // namespace plumbfoot::serve
