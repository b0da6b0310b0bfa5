// SPDX-License-Identifier: Apache-2.0
/// @file
/// What the casebook holds, to be looked at.
#pragma once

#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/judge/figures.h"
#include "plumbfoot/report/visit_feet.h"
#include "plumbfoot/serve/http.h"
#include "plumbfoot/serve/site.h"

namespace plumbfoot::serve {

/// Thread-safe: it only reads.
class Kept {
 public:
  /// @param desk  Of the one thread that sets text.
  Kept(casebook::Casebook casebook,
       const SiteOptions& options,
       report::Desk& desk);

  /// {"today", "unfinished": as given, "due": [...], "horses": [...]}
  Response Day(const nlohmann::json& unfinished) const;
  /// A horse's visits, and which plots there are.
  Response Horse(const std::string& horse) const;
  /// A foot record: its report, its numbers, and those that it is compared
  /// with.
  Response Foot(const std::string& horse,
                const std::string& date,
                const std::string& record) const;
  /// A foot record itself. @return kFileMissing.
  struct Found {
    casebook::History history;
    std::size_t visit = 0;  ///< Of the history.
    casebook::FootRecord record;
  };
  Result<Found> Find(const std::string& horse,
                     const std::string& date,
                     const std::string& record) const;
  /// A photo of a record as it came or as it is drawn on:
  /// "solar-annotated.jpg".
  Response Picture(const std::string& horse,
                   const std::string& date,
                   const std::string& record,
                   const std::string& name) const;
  /// The photo of a view laid into the frame of the foot: two of one foot lie
  /// over each other. Sole: toe up; side: toe left, the ground level.
  Response Aligned(const std::string& horse,
                   const std::string& date,
                   const std::string& record,
                   const std::string& view) const;
  /// What comes next for a recorded foot: see anvil.h.
  Response Fit(const std::string& horse,
               const std::string& date,
               const std::string& record,
               const Request& request) const;
  Response FitFile(const std::string& horse,
                   const std::string& date,
                   const std::string& record,
                   const std::string& name,
                   const Request& request) const;
  /// "LF-lateral"
  Response Plot(const std::string& horse, const std::string& name) const;
  Response OwnersPage(const std::string& horse, const std::string& date) const;

 private:
  Result<casebook::History> HistoryOf(const std::string& horse) const;

  const casebook::Casebook casebook_;
  const SiteOptions& options_;
  report::Desk& desk_;
  const std::vector<judge::Figure> figures_;
};

}  // namespace plumbfoot::serve
