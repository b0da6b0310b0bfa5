// SPDX-License-Identifier: Apache-2.0
/// @file
/// Visits on their way into the casebook: their photos, whose they are, and
/// their points as a person checks them.
///
/// What is said of one stands in its visit.json (casebook/unfinished.h):
///
/// {"format": "plumbfoot-unfinished", "version": 1, "revision": 7,
///  "horse", "yard": "..." | null, "new_horse", "date", "begun",
///  "photos": [{"id": SHA-256, "file", "name", "foot", "view", "stage",
///     "told": does the name say so, "out": left out, "size", "check"}],
///  "feet": {"LF-before_trim": {"revision": 3, "shod": false,
///     "points": {a points file, all of it a person's}}}}
#pragma once

#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <semaphore>
#include <string>
#include <vector>

#include "plumbfoot/casebook/unfinished.h"
#include "plumbfoot/judge/figures.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/visit_feet.h"
#include "plumbfoot/serve/http.h"
#include "plumbfoot/serve/site.h"

namespace plumbfoot::serve {

/// Thread-safe, as everything that it changes is on the disk.
class Visits {
 public:
  /// @param desk  Of the one thread that sets text.
  Visits(casebook::Casebook casebook,
         const SiteOptions& options,
         report::Desk& desk);

  /// What the day's list says of those that there are.
  nlohmann::json List() const;

  Response Begin(const nlohmann::json& asked);
  /// Takes a recorded foot out again to be put right: its photos and points
  /// become part of an unfinished visit of that day. The record stays.
  Response Reopen(const casebook::Horse& horse,
                  casebook::Day day,
                  const casebook::FootRecord& record);
  Response Show(const std::string& id) const;
  Response AddPhoto(const std::string& id,
                    const std::string& name,
                    const std::string& bytes);
  /// Says which foot, view and stage a photo shows, or leaves it out.
  Response PlacePhoto(const std::string& id, const nlohmann::json& asked);
  Response Record(const std::string& id, const nlohmann::json& asked);

  Response ShowFoot(const std::string& id, const std::string& key);
  /// The numbers while a point is on its way; nothing is kept.
  Response Follow(const std::string& id,
                  const std::string& key,
                  const nlohmann::json& asked);
  /// Keeps a person's points.
  Response KeepPoints(const std::string& id,
                      const std::string& key,
                      const nlohmann::json& asked);
  /// A photo as a screen shows it: upright, at most `width` wide.
  Response Photo(const std::string& id, const std::string& photo, int width);

 private:
  /// The unfinished visit of a horse on a day; begun where there is none.
  Result<casebook::Unfinished> Of(const std::string& horse,
                                  const std::string& yard,
                                  bool new_horse,
                                  casebook::Day day,
                                  bool& begun);
  struct Live {
    std::mutex lock;
    std::optional<report::OpenedFoot> foot;
    bool measured = false;
  };
  std::shared_ptr<Live> LiveFoot(const std::string& key);
  Result<nlohmann::json> FootState(const casebook::Unfinished& visit,
                                   const std::string& key);
  Result<Done> OpenLive(const casebook::Unfinished& visit,
                        const std::string& key,
                        Live& live);
  std::string LiveKey(const casebook::Unfinished& visit,
                      const std::string& key) const;

  const casebook::Casebook casebook_;
  const SiteOptions& options_;
  report::Desk& desk_;
  const std::vector<judge::Figure> figures_;
  std::mutex lock_;
  /// Those used last come first.
  std::list<std::pair<std::string, std::shared_ptr<Live>>> live_;
  /// CHOSEN: so many photos are opened at a time: the largest that is accepted
  /// takes some 450 MB.
  std::counting_semaphore<2> opening_{2};
  std::mutex recording_;
  std::mutex beginning_;
};

}  // namespace plumbfoot::serve
