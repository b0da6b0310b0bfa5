// SPDX-License-Identifier: Apache-2.0
/// @file
/// The feet of a visit: joined with what is recorded, measured, ready to be
/// recorded. `plumbfoot visit` and the page do the same here.
#pragma once

#include <condition_variable>
#include <deque>
#include <filesystem>
#include <functional>
#include <future>
#include <map>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/record.h"
#include "plumbfoot/report/measure_foot.h"

namespace plumbfoot::report {

/// The photos of one foot at one stage, as they are given.
struct FootPhotos {
  Foot foot = Foot::kLeftFore;
  Stage stage = Stage::kOther;
  std::map<View, std::filesystem::path> photos;
  /// What a photo was called before it came to lie where it lies, if that isn't
  /// its file's name.
  std::map<View, std::string> original_names;
  find::PointsFile points;
};

/// "LF before the trim".
std::string NameOf(Foot foot, Stage stage);

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
  ScaleRequest scale;
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

/// Work that others have for one thread, such as setting text.
class Desk {
 public:
  /// Waits until the work is done; what it throws is thrown here.
  void Hand(const std::function<void()>& work);
  /// Nobody will hand anything any more.
  void Close();
  /// Does what is handed in until it is closed.
  void Serve();

 private:
  std::mutex lock_;
  std::condition_variable called_;
  std::deque<std::packaged_task<void()>> tasks_;
  bool closed_ = false;
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

/// What came of a visit.
struct VisitDone {
  casebook::Recorded recorded;
  std::vector<std::string> retake;  ///< A line for each photo.
  std::vector<std::string> place;   ///< As FootDone, with the foot's name.
  std::optional<casebook::Day> next;
};

/// Does a foot wear a shoe in these photos? Given what is recorded of it.
using IsShod = std::function<Result<bool>(const FootPhotos&,
                                          const casebook::FootRecord* last)>;

/// Measures the feet and records them with the visit: what isn't recorded yet,
/// all of it or nothing.
/// @param visit      Without its feet.
/// @param options    Its `horse` is set here.
/// @param at_a_time  Feet.
/// @param done       Called with how many of how many feet are measured.
/// @return As ChooseHorse, JobFor, RecordVisit.
Result<VisitDone> RecordFeet(const casebook::Casebook& casebook,
                             casebook::VisitToRecord visit,
                             const std::vector<FootPhotos>& feet,
                             JobOptions options,
                             const IsShod& is_shod,
                             int at_a_time,
                             const std::function<void(int, int)>& done);

}  // namespace plumbfoot::report
