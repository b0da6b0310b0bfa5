// SPDX-License-Identifier: Apache-2.0
#include "cli/visit_feet.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <condition_variable>
#include <deque>
#include <exception>
#include <fstream>
#include <future>
#include <mutex>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <thread>

#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/report/drawn_photo.h"
#include "plumbfoot/report/report_json.h"

namespace plumbfoot::cli {
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

const std::optional<report::ViewReport>& ViewOf(
    const report::FootReport& report, View view) {
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

report::FootRequest RequestFor(const FootJob& job,
                               const JobOptions& options,
                               const std::vector<View>& views) {
  report::FootRequest request;
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
std::string Reasons(const report::ViewReport& view) {
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
                              report::MeasuredFoot& foot,
                              std::vector<std::string>& retake) {
  while (!views.empty()) {
    auto measured = report::MeasureFoot(RequestFor(job, options, views));
    if (!measured && views.size() > 1) {
      // Which of the two it is, only each alone tells.
      std::vector<View> good;
      for (const View view : views) {
        if (const auto alone =
                report::MeasureFoot(RequestFor(job, options, {view}))) {
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
      const report::ViewReport& seen = *ViewOf(measured->report, view);
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
    job.photos[view] = {path,
                        path.filename().string(),
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
  report::MeasuredFoot foot;
  report::FootReport& report = foot.report;
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
  record.report_json = report::ReportText(report);
  done.place = ToPlace(done.name, json::parse(record.report_json));
  record.points_json = find::WritePoints(report::PointsOf(report));
  if (HasPoints(used.points))
    record.given_json = find::WritePoints(used.points);
  for (auto& [view, source] : used.photos) {
    record.photos[view] = {source.original_name, std::move(source.bytes)};
    cv::Mat drawn;
    draw([&] { drawn = report::DrawnPhoto(foot, view); });
    record.drawn[view] = photo::EncodeJpeg(drawn);
  }
  done.record = std::move(record);
  return done;
}

namespace {

/// Work that others have for one thread.
class Desk {
 public:
  /// Waits until the work is done.
  void Hand(const std::function<void()>& work) {
    std::packaged_task<void()> task(work);
    auto done = task.get_future();
    {
      const std::lock_guard<std::mutex> guard(lock_);
      tasks_.push_back(std::move(task));
    }
    called_.notify_one();
    done.get();
  }
  /// Nobody will hand anything any more.
  void Close() {
    {
      const std::lock_guard<std::mutex> guard(lock_);
      closed_ = true;
    }
    called_.notify_one();
  }
  /// Does what is handed in until it is closed.
  void Serve() {
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

 private:
  std::mutex lock_;
  std::condition_variable called_;
  std::deque<std::packaged_task<void()>> tasks_;
  bool closed_ = false;
};

}  // namespace

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

}  // namespace plumbfoot::cli
