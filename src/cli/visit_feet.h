// SPDX-License-Identifier: Apache-2.0
/// @file
/// The feet of `plumbfoot visit`: joined with what is recorded, measured.
#pragma once

#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "cli/visit_photos.h"
#include "plumbfoot/casebook/record.h"
#include "plumbfoot/report/measure_foot.h"

namespace plumbfoot::cli {

/// One foot as it is to be measured.
struct FootJob {
  Foot foot = Foot::kLeftFore;
  Stage stage = Stage::kOther;
  struct Source {
    std::filesystem::path path;
    std::string original_name;
    std::string bytes;
    std::string sha256;
    bool recorded = false;  ///< It is in the casebook already.
  };
  std::map<View, Source> photos;
  find::PointsFile points;
  bool shod = false;
};

struct JobOptions {
  std::string horse;
  casebook::Day day;
  report::ScaleRequest scale;
  std::string layout_sha256;  ///< Of the card's own layout file; may be empty.
  std::string now;            ///< See casebook::VisitToRecord.
  bool keep_retakes = false;
};

/// Joins the photos of a foot with those of its last record: a view that isn't
/// given now is taken from there, and so are a person's points on the same
/// photo. @return what ReadBytes and LoadPoints refuse; kFileMissing where
/// there
///   is no photo at all.
Result<FootJob> JobFor(const FootPhotos& foot,
                       const casebook::FootRecord* last);

/// What it is made from, as FootRecord::made_from.
std::string MadeFrom(const FootJob& job, const JobOptions& options);

/// Is that what the record was made from, photos and all?
bool IsRecorded(const FootJob& job,
                const JobOptions& options,
                const casebook::FootRecord* last);

/// The points of a report (report.json) that a person has to place: those that
/// weren't found, and those that the finder isn't sure of. A line for each
/// view.
std::vector<std::string> ToPlace(const std::string& name,
                                 const nlohmann::json& report);

/// What came of a foot.
struct FootDone {
  std::string name;  ///< "LF before the trim"
  /// Nothing if there is nothing to record.
  std::optional<casebook::FootToRecord> record;
  std::vector<std::string> retake;  ///< A line for each photo.
  std::vector<std::string> place;   ///< "solar: heel_left, heel_right".
};

/// Does some work in the one thread that draws, and returns when it is done.
using InDrawingThread = std::function<void(const std::function<void()>&)>;

/// Measures one foot. A photo that can't be used is left out, and the other one
/// measured alone.
FootDone MeasureJob(const FootJob& job,
                    const JobOptions& options,
                    const InDrawingThread& draw);

/// Measures all of them, several at a time.
/// @param done  Called after each with how many are done, one call at a time.
std::vector<FootDone> MeasureJobs(const std::vector<FootJob>& jobs,
                                  const JobOptions& options,
                                  int at_a_time,
                                  const std::function<void(int)>& done);

/// How many feet can be measured at a time: a processor and 500 MB for each.
int FeetAtATime();

}  // namespace plumbfoot::cli
