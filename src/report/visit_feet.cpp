// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/visit_feet.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <exception>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <thread>

#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/report/drawn_photo.h"
#include "plumbfoot/report/report_json.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* kGivenFile = "given.json";

std::optional<ViewPoints>& PointsIn(find::PointsFile& file, View view) {
  return view == View::kSolar ? file.solar : file.lateral;
}

bool HasPoints(const find::PointsFile& file) {
  return file.solar || file.lateral;
}

const std::optional<ViewReport>& ViewOf(const FootReport& report, View view) {
  return view == View::kSolar ? report.solar : report.lateral;
}

/// The last record's photo of a view that isn't given now, and the points that
/// a person gave on photos that are still the same.
Result<Done> TakeOver(const casebook::FootRecord& last, FootJob& job) {
  for (const auto& [view, photo] : last.photos) {
    if (job.photos.contains(view)) continue;
    const fs::path path = last.folder / photo.file;
    auto bytes = photo::ReadBytes(path);
    if (!bytes) return bytes.error();
    job.photos[view] = {
        path, photo.original_name, std::move(*bytes), photo.sha256, true};
  }
  std::error_code ignored;
  if (!fs::exists(last.folder / kGivenFile, ignored)) return Done{};
  auto given = find::LoadPoints(last.folder / kGivenFile);
  if (!given) return given.error();
  for (auto& [view, source] : job.photos) {
    const auto recorded = last.photos.find(view);
    auto& points = PointsIn(job.points, view);
    if (!points && recorded != last.photos.end() &&
        recorded->second.sha256 == source.sha256) {
      points = PointsIn(*given, view);
    }
  }
  return Done{};
}

FootRequest RequestFor(const FootJob& job,
                       const JobOptions& options,
                       const std::vector<View>& views) {
  FootRequest request;
  request.foot = job.foot;
  request.stage = job.stage;
  request.shod = job.shod;
  request.horse = options.horse;
  request.date = casebook::DayText(options.day);
  request.scale = options.scale;
  for (const View view : views) {
    const auto it = job.photos.find(view);
    (view == View::kSolar ? request.solar : request.lateral) = it->second.path;
    find::PointsFile points = job.points;
    PointsIn(request.points, view) = PointsIn(points, view);
  }
  return request;
}

std::vector<View> ViewsOf(const FootJob& job) {
  std::vector<View> views;
  for (const auto& [view, source] : job.photos) views.push_back(view);
  return views;
}

std::string Words(const Refusal& refusal) {
  return refusal.message + (refusal.remedy.empty() ? "" : " " + refusal.remedy);
}

/// "IMG_7.jpg (LF before the trim, solar)"
std::string PhotoName(const FootJob& job, View view) {
  return fmt::format("{} ({}, {})",
                     job.photos.at(view).original_name,
                     NameOf(job.foot, job.stage),
                     geometry::ViewName(view));
}

/// What the photo's judge says, with what to do.
std::string Reasons(const ViewReport& view) {
  std::string words;
  for (const judge::Reason& reason : view.quality.reasons) {
    if (reason.grade != judge::Grade::kRetake) continue;
    words += (words.empty() ? "" : " ") + reason.words + " " + reason.remedy;
  }
  return words;
}

/// Views that can be measured, and why the others can't.
std::vector<View> UsableViews(const FootJob& job,
                              const JobOptions& options,
                              std::vector<View> views,
                              MeasuredFoot& foot,
                              std::vector<std::string>& retake) {
  while (!views.empty()) {
    auto measured = MeasureFoot(RequestFor(job, options, views));
    if (!measured && views.size() > 1) {
      // Which of the two it is, only each alone tells.
      std::vector<View> good;
      for (const View view : views) {
        if (const auto alone = MeasureFoot(RequestFor(job, options, {view}))) {
          good.push_back(view);
        } else {
          retake.push_back(PhotoName(job, view) + ": " + Words(alone.error()));
        }
      }
      // They must not be refused together for ever.
      if (good.size() == views.size()) {
        retake.push_back(PhotoName(job, views.back()) + ": " +
                         Words(measured.error()));
        good.pop_back();
      }
      views = std::move(good);
      continue;
    }
    if (!measured) {
      retake.push_back(PhotoName(job, views.front()) + ": " +
                       Words(measured.error()));
      return {};
    }
    std::vector<View> good;
    for (const View view : views) {
      const ViewReport& seen = *ViewOf(measured->report, view);
      if (seen.sha256 != job.photos.at(view).sha256) {
        retake.push_back(PhotoName(job, view) +
                         ": The file changed while it was measured. Run it "
                         "again.");
        continue;
      }
      if (seen.quality.grade == judge::Grade::kRetake) {
        retake.push_back(PhotoName(job, view) + ": " + Reasons(seen));
        if (!options.keep_retakes) continue;
      }
      good.push_back(view);
    }
    if (good.size() == views.size()) {
      foot = std::move(*measured);
      return views;
    }
    // What is measured from both photos mustn't rest on a bad one.
    views = std::move(good);
  }
  return views;
}

}  // namespace

std::string NameOf(Foot foot, Stage stage) {
  return fmt::format(
      "{} {}", geometry::FootName(foot), geometry::StageWords(stage));
}

Result<FootJob> JobFor(const FootPhotos& foot,
                       const casebook::FootRecord* last) {
  FootJob job;
  job.foot = foot.foot;
  job.stage = foot.stage;
  job.points = foot.points;
  for (const auto& [view, path] : foot.photos) {
    auto bytes = photo::ReadBytes(path);
    if (!bytes) return bytes.error();
    std::string sha256 = photo::Sha256(*bytes);
    const auto name = foot.original_names.find(view);
    job.photos[view] = {path,
                        name != foot.original_names.end()
                            ? name->second
                            : path.filename().string(),
                        std::move(*bytes),
                        std::move(sha256),
                        false};
  }
  if (last != nullptr) {
    if (auto taken = TakeOver(*last, job); !taken) return taken.error();
  }
  if (job.photos.empty()) {
    return Refusal{RefusalCode::kFileMissing,
                   "There is no photo of " + NameOf(job.foot, job.stage) +
                       ", neither given nor in the casebook.",
                   "Give its photos together with its points."};
  }
  return job;
}

std::vector<std::string> ToPlace(const std::string& name, const json& report) {
  std::vector<std::string> lines;
  const json points = report.value("points", json::object());
  for (const auto& [view, placed] : points.items()) {
    std::string names;
    for (const auto& [point, value] : placed.items()) {
      if (!value.is_object()) continue;
      if (value.contains("not_found") || !value.value("sure", true)) {
        names += (names.empty() ? "" : ", ") + point;
      }
    }
    if (!names.empty()) {
      lines.push_back(fmt::format("{}, {}: {}", name, view, names));
    }
  }
  return lines;
}

std::string MadeFrom(const FootJob& job, const JobOptions& options) {
  json made = {{"shod", job.shod}, {"card", !options.scale.no_card}};
  if (options.scale.measured_mm) {
    made["measured_mm"] = *options.scale.measured_mm;
  }
  if (options.scale.lens) {
    made["lens"] = {options.scale.lens->camera_name,
                    options.scale.lens->camera.focal_px};
  }
  if (!options.layout_sha256.empty()) made["layout"] = options.layout_sha256;
  if (HasPoints(job.points)) {
    made["given"] = photo::Sha256(find::WritePoints(job.points));
  }
  return made.dump();
}

bool IsRecorded(const FootJob& job,
                const JobOptions& options,
                const casebook::FootRecord* last) {
  if (last == nullptr || last->made_from != MadeFrom(job, options) ||
      last->photos.size() != job.photos.size()) {
    return false;
  }
  return std::all_of(
      job.photos.begin(), job.photos.end(), [&](const auto& photo) {
        const auto recorded = last->photos.find(photo.first);
        return recorded != last->photos.end() &&
               recorded->second.sha256 == photo.second.sha256;
      });
}

FootDone MeasureJob(const FootJob& job,
                    const JobOptions& options,
                    const InDrawingThread& draw) {
  FootDone done;
  done.name = NameOf(job.foot, job.stage);
  MeasuredFoot foot;
  FootReport& report = foot.report;
  const std::vector<View> views =
      UsableViews(job, options, ViewsOf(job), foot, done.retake);
  const bool news = std::any_of(views.begin(), views.end(), [&](View view) {
    return !job.photos.at(view).recorded;
  });
  // Of a bad photo nothing is left but what is recorded already.
  if (views.empty() || (!news && views.size() != job.photos.size())) {
    return done;
  }
  for (auto* view : {&report.solar, &report.lateral}) {
    if (!*view) continue;
    // A photo that is in the casebook goes by the name it came with.
    (*view)->file = job.photos.at((*view)->points.view).original_name;
  }

  FootJob used = job;
  std::erase_if(used.photos, [&](const auto& photo) {
    return std::find(views.begin(), views.end(), photo.first) == views.end();
  });
  for (const View view : {View::kSolar, View::kLateral}) {
    if (!used.photos.contains(view)) PointsIn(used.points, view).reset();
  }
  casebook::FootToRecord record;
  record.foot = job.foot;
  record.stage = job.stage;
  record.made_from = MadeFrom(used, options);
  record.report_json = ReportText(report);
  done.place = ToPlace(done.name, json::parse(record.report_json));
  record.points_json = find::WritePoints(PointsOf(report));
  if (HasPoints(used.points))
    record.given_json = find::WritePoints(used.points);
  for (auto& [view, source] : used.photos) {
    record.photos[view] = {source.original_name, std::move(source.bytes)};
    cv::Mat drawn;
    draw([&] { drawn = DrawnPhoto(foot, view); });
    record.drawn[view] = photo::EncodeJpeg(drawn);
  }
  done.record = std::move(record);
  return done;
}

void Desk::Hand(const std::function<void()>& work) {
  std::packaged_task<void()> task(work);
  auto done = task.get_future();
  {
    const std::lock_guard<std::mutex> guard(lock_);
    tasks_.push_back(std::move(task));
  }
  called_.notify_one();
  done.get();
}

void Desk::Close() {
  {
    const std::lock_guard<std::mutex> guard(lock_);
    closed_ = true;
  }
  called_.notify_one();
}

void Desk::Serve() {
  std::unique_lock<std::mutex> guard(lock_);
  while (true) {
    called_.wait(guard, [&] { return closed_ || !tasks_.empty(); });
    if (tasks_.empty()) return;
    std::packaged_task<void()> task = std::move(tasks_.front());
    tasks_.pop_front();
    guard.unlock();
    task();
    guard.lock();
  }
}

std::vector<FootDone> MeasureJobs(const std::vector<FootJob>& jobs,
                                  const JobOptions& options,
                                  int at_a_time,
                                  const std::function<void(int)>& done) {
  std::vector<FootDone> results(jobs.size());
  const int processors =
      std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  const int workers =
      std::clamp(at_a_time, 1, std::max(1, static_cast<int>(jobs.size())));
  // Else every worker has as many threads of OpenCV's as there are processors.
  const int usual = cv::getNumThreads();
  if (workers > 1) cv::setNumThreads(std::max(1, processors / workers));
  std::atomic<std::size_t> next{0};
  std::mutex lock;
  int finished = 0;
  int working = workers;
  std::exception_ptr fault;
  Desk desk;
  const auto measure = [&] {
    for (std::size_t i = next++; i < jobs.size(); i = next++) {
      try {
        results[i] = MeasureJob(
            jobs[i], options, [&](const auto& drawing) { desk.Hand(drawing); });
      } catch (...) {
        const std::lock_guard<std::mutex> guard(lock);
        fault = std::current_exception();
        return;
      }
      const std::lock_guard<std::mutex> guard(lock);
      done(++finished);
    }
  };
  const auto work = [&] {
    measure();
    const std::lock_guard<std::mutex> guard(lock);
    if (--working == 0) desk.Close();
  };
  std::vector<std::thread> threads;
  threads.reserve(static_cast<std::size_t>(workers));
  for (int i = 0; i < workers; ++i) threads.emplace_back(work);
  desk.Serve();
  for (std::thread& thread : threads) thread.join();
  cv::setNumThreads(usual);
  if (fault) std::rethrow_exception(fault);
  return results;
}

int FeetAtATime() {
  const int processors =
      std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  std::ifstream info("/proc/meminfo");
  for (std::string key; info >> key;) {
    double kilobytes = 0.0;
    if (key != "MemAvailable:") {
      std::getline(info, key);
      continue;
    }
    if (!(info >> kilobytes)) break;
    // design.md: a pair of photos in at most 500 MB.
    return std::clamp(static_cast<int>(kilobytes / 500e3), 1, processors);
  }
  return processors;
}

namespace {

/// The visit of that day as it is recorded, if there is one.
std::optional<casebook::Visit> RecordedVisit(const casebook::Casebook& casebook,
                                             const casebook::ChosenHorse& horse,
                                             casebook::Day day) {
  if (horse.is_new) return std::nullopt;
  casebook::History history = casebook::ReadHistory(casebook, horse.horse);
  for (casebook::Visit& visit : history.visits) {
    if (visit.day == day) return std::move(visit);
  }
  return std::nullopt;
}

const casebook::FootRecord* LastOf(const std::optional<casebook::Visit>& visit,
                                   Foot foot,
                                   Stage stage) {
  if (!visit) return nullptr;
  for (const casebook::FootRecord& record : visit->feet) {
    if (record.foot == foot && record.stage == stage) return &record;
  }
  return nullptr;
}

}  // namespace

Result<VisitDone> RecordFeet(const casebook::Casebook& casebook,
                             casebook::VisitToRecord visit,
                             const std::vector<FootPhotos>& feet,
                             JobOptions options,
                             const IsShod& is_shod,
                             int at_a_time,
                             const std::function<void(int, int)>& done) {
  // Asked before the long work: which horse is meant.
  const auto horse = casebook::ChooseHorse(casebook, visit);
  if (!horse) return horse.error();
  options.horse = horse->horse.name;
  const auto before = RecordedVisit(casebook, *horse, visit.day);

  VisitDone all;
  std::vector<FootJob> jobs;
  std::vector<std::string> known;
  for (const FootPhotos& foot : feet) {
    const casebook::FootRecord* last = LastOf(before, foot.foot, foot.stage);
    auto job = JobFor(foot, last);
    if (!job) return job.error();
    const auto shod = is_shod(foot, last);
    if (!shod) return shod.error();
    job->shod = *shod;
    if (!IsRecorded(*job, options, last)) {
      jobs.push_back(std::move(*job));
      continue;
    }
    known.push_back(last->folder.filename().string());
    if (const auto report = casebook::LoadReport(*last)) {
      for (std::string& line :
           ToPlace(NameOf(foot.foot, foot.stage), *report)) {
        all.place.push_back(std::move(line));
      }
    }
  }
  const int count = static_cast<int>(jobs.size());
  if (count > 0) done(0, count);
  auto measured = MeasureJobs(
      jobs, options, at_a_time, [&](int so_far) { done(so_far, count); });
  for (FootDone& foot : measured) {
    all.retake.insert(all.retake.end(), foot.retake.begin(), foot.retake.end());
    all.place.insert(all.place.end(), foot.place.begin(), foot.place.end());
    if (foot.record) visit.feet.push_back(std::move(*foot.record));
  }
  all.recorded.horse = horse->horse;
  all.recorded.horse_is_new = horse->is_new;
  if (!visit.feet.empty() || visit.change_notes) {
    auto recorded = casebook::RecordVisit(casebook, visit);
    if (!recorded) return recorded.error();
    all.recorded = std::move(*recorded);
  }
  known.insert(
      known.end(), all.recorded.known.begin(), all.recorded.known.end());
  all.recorded.known = std::move(known);
  if (const auto after =
          RecordedVisit(casebook, {all.recorded.horse, false}, visit.day)) {
    all.next = casebook::NextVisit(visit.day, after->notes);
  }
  return all;
}

}  // namespace plumbfoot::report
