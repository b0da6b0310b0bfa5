// SPDX-License-Identifier: Apache-2.0
/// @file
/// The day's photos, sorted to foot, view and stage: by their names, by the
/// times they were taken, by a table.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::casebook {

/// Where in the visit a photo belongs, as far as it is known.
struct PhotoPlace {
  std::optional<Foot> foot;
  std::optional<View> view;
  std::optional<Stage> stage;
  friend bool operator==(const PhotoPlace&, const PhotoPlace&) = default;
};

/// What a file's name tells, such as "LF-solar-before.jpg": words in any order
/// and case, run together ("leftFore") or apart. Feet as LF or FL, NF, left or
/// near, fore or front, hind or back; views as solar, sole, lateral, side;
/// stages as before, pre, after, post, trimmed, shod, shoeing. What the name
/// says in two ways is left open.
PhotoPlace ReadPlace(std::string_view file_name);

/// A row of a table.
struct TableRow {
  std::string photo;
  PhotoPlace place;
  std::optional<std::string> points;  ///< A points file.
};

/// A table as a spreadsheet saves it: CSV (RFC 4180) with commas, semicolons or
/// tabs, UTF-8. The first line names the columns: photo, and any of foot, view,
/// stage and points. A field that is left empty is not told; foot, view and
/// stage are read as in a file's name, and the names of files too.
/// @return kNotOurFormat, naming the line.
Result<std::vector<TableRow>> ParseTable(std::string_view text);

/// A photo to be sorted, and when it was taken.
struct TimedPhoto {
  PhotoPlace place;
  std::optional<std::string> taken;  ///< "2026-03-14T09:30:00"
};

/// Of two photos of one foot and view whose stage isn't told, the earlier was
/// taken before the trim and the later after; of one, beside another that is
/// told to be before or after, likewise. Only where at least two minutes lie
/// between: two photos one after the other are two tries of the same.
void TellStagesByTime(std::vector<TimedPhoto>& photos);

}  // namespace plumbfoot::casebook
