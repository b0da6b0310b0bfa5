// SPDX-License-Identifier: Apache-2.0
#include "casebook/writer.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <system_error>
#include <thread>
#include <utility>

#include "casebook/stored.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* kPlanFile = "plan.json";

fs::path StagingFolder(const fs::path& top) {
  return top / kHidden / "staging";
}

Refusal CannotWrite(const fs::path& path, int error) {
  return {RefusalCode::kCannotWrite,
          "The casebook can't be written (" + path.string() + "): " +
              std::error_code(error, std::generic_category()).message() + ".",
          error == ENOSPC || error == EDQUOT
              ? "Make room on the disk and run it again."
              : "Allow writing there, or copy the casebook to where you may."};
}

bool IsPart(const fs::path& path) {
  return path.filename().string().find(".part") != std::string::npos;
}

/// Half-written files of photo::WriteWhole in a folder.
void RemoveParts(const fs::path& folder) {
  std::error_code ignored;
  std::vector<fs::path> parts;
  for (fs::directory_iterator it(folder, ignored), end; it != end;
       it.increment(ignored)) {
    if (IsPart(it->path())) parts.push_back(it->path());
  }
  for (const fs::path& part : parts) fs::remove(part, ignored);
}

Refusal BadPlan(const fs::path& folder) {
  return {RefusalCode::kDamaged,
          "What was being recorded can't be finished: the plan in " +
              folder.string() + " is damaged.",
          "Look for the photos in that folder, then delete it."};
}

/// The path that a plan names, if it stays below its folder: a casebook may
/// come from somebody else.
std::optional<fs::path> Below(const fs::path& folder, const json& name) {
  if (!name.is_string()) return std::nullopt;
  const fs::path path(name.get<std::string>());
  if (path.empty() || path.is_absolute()) return std::nullopt;
  for (const fs::path& step : path) {
    if (step == "..") return std::nullopt;
  }
  return folder / path;
}

/// Does the steps of a plan that haven't been done.
Result<Done> DoPlan(const fs::path& top,
                    const fs::path& staging,
                    const json& plan) {
  if (!plan.is_object()) return BadPlan(staging);
  for (const json& step : plan.value("steps", json::array())) {
    if (!step.is_object()) return BadPlan(staging);
    const auto source = Below(staging, step.value("from", json()));
    const auto target = Below(top, step.value("to", json()));
    if (!source || !target) return BadPlan(staging);
    const fs::path& from = *source;
    const fs::path& to = *target;
    std::error_code ignored;
    if (!fs::exists(fs::symlink_status(from, ignored))) continue;
    if (auto made = photo::MakeFolders(to.parent_path()); !made) return made;
    if (auto moved = photo::MoveInto(from, to); !moved) return moved;
  }
  return Done{};
}

}  // namespace

Result<WriterLock> WriterLock::Take(const Casebook& casebook,
                                    std::chrono::milliseconds patience) {
  const fs::path hidden = casebook.folder / kHidden;
  if (auto made = photo::MakeFolders(hidden); !made) return made.error();
  const fs::path path = hidden / "lock";
  const int file = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  if (file < 0) return CannotWrite(path, errno);
  const auto until = std::chrono::steady_clock::now() + patience;
  while (::flock(file, LOCK_EX | LOCK_NB) != 0) {
    const int error = errno;
    if (error == EINTR) continue;
    if (error != EWOULDBLOCK) {
      ::close(file);
      return CannotWrite(path, error);
    }
    if (std::chrono::steady_clock::now() >= until) {
      ::close(file);
      return Refusal{RefusalCode::kCannotWrite,
                     "Another Plumbfoot is writing in this casebook.",
                     "Wait until it is done and run it again."};
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  return WriterLock(file);
}

WriterLock::WriterLock(WriterLock&& other) noexcept
    : file_(std::exchange(other.file_, -1)) {}

WriterLock::~WriterLock() {
  if (file_ >= 0) ::close(file_);
}

bool HasLeftovers(const Casebook& casebook) {
  std::error_code ignored;
  const fs::path staging = StagingFolder(casebook.folder);
  return fs::exists(staging, ignored) && !fs::is_empty(staging, ignored);
}

Result<Done> ClearLeftovers(const Casebook& casebook,
                            const WriterLock& /*lock*/) {
  RemoveParts(casebook.folder);
  RemoveParts(casebook.folder / kHidden / "index");
  std::error_code failed;
  std::vector<fs::path> left;
  for (fs::directory_iterator it(StagingFolder(casebook.folder), failed), end;
       it != end;
       it.increment(failed)) {
    left.push_back(it->path());
  }
  for (const fs::path& folder : left) {
    // Written whole or not at all: no plan, no decision.
    if (const auto plan = ReadJson(folder / kPlanFile)) {
      if (auto done = DoPlan(casebook.folder, folder, plan->root); !done) {
        return done;
      }
    }
    fs::remove_all(folder, failed);
    if (failed) return CannotWrite(folder, failed.value());
  }
  return Done{};
}

Result<Staging> Staging::Begin(const Casebook& casebook,
                               const WriterLock& /*lock*/) {
  const fs::path staging = StagingFolder(casebook.folder);
  if (auto made = photo::MakeFolders(staging); !made) return made.error();
  // Never a name that a plan which is half thrown away could mean.
  std::string folder = (staging / "XXXXXX").string();
  if (::mkdtemp(folder.data()) == nullptr) return CannotWrite(staging, errno);
  // Or the plan in it could be lost after some of its renames were done.
  photo::SyncFolder(staging);
  return Staging(casebook.folder, folder);
}

Staging::Staging(Staging&& other) noexcept
    : top_(std::move(other.top_)),
      folder_(std::exchange(other.folder_, fs::path())),
      steps_(std::move(other.steps_)) {}

Staging::~Staging() {
  std::error_code ignored;
  if (!folder_.empty()) fs::remove_all(folder_, ignored);
}

Result<Done> Staging::Write(const fs::path& folder,
                            const std::vector<photo::NamedBytes>& files) {
  const auto written = photo::WriteSet(folder_ / folder, files);
  if (!written) return written.error();
  return Done{};
}

void Staging::Move(const std::string& from, const fs::path& to) {
  steps_.push_back({from, to});
}

Result<Done> Staging::Commit() {
  json plan = {{"format", "plumbfoot-plan"}, {"steps", json::array()}};
  for (const Step& step : steps_) {
    plan["steps"].push_back(
        {{"from", step.from}, {"to", step.to.generic_string()}});
    // What can fail for want of room is done before the plan is.
    if (auto made = photo::MakeFolders((top_ / step.to).parent_path()); !made) {
      return made;
    }
  }
  if (auto decided = photo::WriteWhole(folder_ / kPlanFile, plan.dump());
      !decided) {
    return decided;
  }
  const fs::path folder = std::exchange(folder_, fs::path());
  if (auto done = DoPlan(top_, folder, plan); !done) {
    return Refusal{done.error().code,
                   done.error().message +
                       " The visit is kept and will be put in its place when "
                       "the casebook can be written again.",
                   done.error().remedy};
  }
  std::error_code ignored;
  fs::remove_all(folder, ignored);
  return Done{};
}

}  // namespace plumbfoot::casebook
