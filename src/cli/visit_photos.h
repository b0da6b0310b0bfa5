// SPDX-License-Identifier: Apache-2.0
/// @file
/// The photos of `plumbfoot visit`: which foot, view and stage each shows.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "plumbfoot/find/points_file.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/report/visit_feet.h"

namespace plumbfoot::cli {

/// What was said of the photos on the command line.
struct PhotoWords {
  std::vector<std::string> files;  ///< Photos, and points files (*.json).
  std::string table;
  std::string stage;                ///< Of photos that don't tell theirs.
  std::vector<std::string> points;  ///< "LF-before=FILE"
};

using report::FootPhotos;

/// Sorts the photos: by the table, by their names, by the times they were
/// taken, by --stage, and by asking, if stdin is a terminal.
/// @return The feet, in the order of Foot and Stage; or kUsage, kFileMissing,
///   kUnsorted naming all that can't be sorted, and what LoadPoints refuses.
Result<std::vector<FootPhotos>> SortPhotos(const PhotoWords& words);

}  // namespace plumbfoot::cli
