// SPDX-License-Identifier: Apache-2.0
#include "casebook/torture.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sched.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <functional>
#include <map>
#include <sstream>
#include <stdexcept>
#include <thread>
#include <utility>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

// Large enough that a photo isn't written in one moment.
constexpr InventOptions kLarge{.photo_bytes = 30'000, .outline_points = 20};

std::string HorseOf(int day) {
  return "Horse " + std::to_string(day / 4);
}

std::vector<Foot> FeetOf(const std::string& which) {
  return which == "fore" ? std::vector{Foot::kLeftFore, Foot::kRightFore}
                         : std::vector{Foot::kLeftHind, Foot::kRightHind};
}

/// "\n7 fore" in the remarks says that these were recorded with them.
std::string Mark(int day, const std::string& which) {
  return fmt::format("\n{} {}", day, which);
}

VisitToRecord VisitOf(std::uint64_t seed, int day, const std::string& which) {
  VisitToRecord visit;
  visit.horse = HorseOf(day);
  visit.day = DayNumber(day);
  visit.now = "2026-03-14T18:00:00Z";
  visit.change_notes = [day, which](Notes& notes) {
    notes.remarks += Mark(day, which);
  };
  for (const Foot foot : FeetOf(which)) {
    visit.feet.push_back(InventFoot(foot,
                                    Stage::kBeforeTrim,
                                    seed + static_cast<std::uint64_t>(day),
                                    kLarge));
  }
  return visit;
}

/// A process and what it says.
struct Child {
  pid_t pid = -1;
  int out = -1;
};

Child Start(const std::vector<std::string>& words,
            const std::function<void()>& before = {}) {
  std::array<int, 2> pipe{};
  if (::pipe2(pipe.data(), O_CLOEXEC) != 0) throw std::runtime_error("pipe");
  std::vector<char*> argv;
  argv.reserve(words.size() + 1);
  for (const std::string& word : words) {
    argv.push_back(const_cast<char*>(word.c_str()));
  }
  argv.push_back(nullptr);
  const pid_t pid = ::fork();
  if (pid < 0) throw std::runtime_error("fork");
  if (pid == 0) {
    ::dup2(pipe[1], STDOUT_FILENO);
    if (before) before();
    ::execv(argv[0], argv.data());
    ::_exit(127);
  }
  ::close(pipe[1]);
  return {pid, pipe[0]};
}

/// What the child says until so many lines are there.
std::string AwaitLines(const Child& child, int lines) {
  std::string said;
  while (lines > 0) {
    char c = 0;
    const ssize_t read = ::read(child.out, &c, 1);
    if (read < 0 && errno == EINTR) continue;
    if (read <= 0) break;
    said += c;
    if (c == '\n') --lines;
  }
  return said;
}

/// What the child has said since it was last asked; waits a little for it.
std::string WhatIsSaid(const Child& child) {
  pollfd waiting{child.out, POLLIN, 0};
  // CHOSEN: so that the reader doesn't keep a processor to itself.
  if (::poll(&waiting, 1, 50) <= 0) return {};
  std::array<char, 4096> some{};
  const ssize_t read = ::read(child.out, some.data(), some.size());
  if (read <= 0) return {};
  return {some.data(), static_cast<std::size_t>(read)};
}

/// The day of the last whole line that was said.
std::optional<int> LastDay(const std::string& said) {
  const std::size_t end = said.rfind('\n');
  if (end == std::string::npos || end == 0) return std::nullopt;
  const std::size_t before = said.rfind('\n', end - 1);
  return std::stoi(said.substr(before == std::string::npos ? 0 : before + 1));
}

/// All that the child has said, and its end.
int Finish(const Child& child,
           Acknowledged& acknowledged,
           std::string said = {}) {
  std::array<char, 4096> some{};
  while (true) {
    const ssize_t read = ::read(child.out, some.data(), some.size());
    if (read < 0 && errno == EINTR) continue;
    if (read <= 0) break;
    said.append(some.data(), static_cast<std::size_t>(read));
  }
  ::close(child.out);
  std::istringstream lines(said);
  for (std::string line; std::getline(lines, line);) acknowledged.insert(line);
  int status = 0;
  while (::waitpid(child.pid, &status, 0) < 0 && errno == EINTR) {
  }
  return status;
}

std::vector<std::string> Words(const fs::path& recorder,
                               const Recording& recording) {
  return {recorder.string(),
          recording.book.string(),
          std::to_string(recording.seed),
          std::to_string(recording.first),
          std::to_string(recording.count),
          recording.feet};
}

/// Which recordings a visit holds, if each that it holds is whole.
std::optional<std::set<std::string>> HeldBy(const Visit& visit,
                                            std::uint64_t seed,
                                            int day) {
  std::set<std::string> held;
  std::size_t feet = 0;
  for (const std::string which : {"fore", "hind"}) {
    std::size_t there = 0;
    for (const Foot foot : FeetOf(which)) {
      const FootToRecord invented =
          InventFoot(foot,
                     Stage::kBeforeTrim,
                     seed + static_cast<std::uint64_t>(day),
                     kLarge);
      for (const FootRecord& record : visit.feet) {
        if (record.foot == foot && IsInvented(record, invented)) ++there;
      }
    }
    const bool noted =
        visit.notes.remarks.find(Mark(day, which)) != std::string::npos;
    if (there != (noted ? 2U : 0U)) return std::nullopt;
    if (noted) held.insert(fmt::format("{} {}", day, which));
    feet += there;
  }
  if (feet != visit.feet.size() || !visit.replaced.empty() || feet == 0) {
    return std::nullopt;
  }
  return held;
}

/// Checks one horse; what it holds is put into `held`.
void CheckHorse(const Casebook& book,
                const Horse& horse,
                std::uint64_t seed,
                const std::string& when,
                std::set<std::string>& held,
                std::vector<std::string>& faults) {
  const History history = ReadHistory(book, horse);
  for (const Damage& damage : history.set_aside) {
    faults.push_back(fmt::format(
        "{}: {}: {}", when, damage.where.string(), damage.refusal.message));
  }
  for (const Visit& visit : history.visits) {
    const int day = static_cast<int>((visit.day - DayNumber(0)).count());
    const auto holds = HeldBy(visit, seed, day);
    if (!holds || horse.name != HorseOf(day)) {
      faults.push_back(fmt::format("{}: day {} is half there", when, day));
      continue;
    }
    held.insert(holds->begin(), holds->end());
  }
}

void CheckHistories(const Casebook& book,
                    std::uint64_t seed,
                    const Acknowledged& acknowledged,
                    const std::string& when,
                    std::set<std::string>& held,
                    std::vector<std::string>& faults) {
  const HorseList list = ListHorses(book);
  for (const Damage& damage : list.set_aside) {
    faults.push_back(fmt::format("{}: {}", when, damage.where.string()));
  }
  for (const Horse& horse : list.horses) {
    CheckHorse(book, horse, seed, when, held, faults);
  }
  for (const std::string& line : acknowledged) {
    if (!held.contains(line))
      faults.push_back(fmt::format("{}: lost: {}", when, line));
  }
}

/// Recordings begin in a book that is there, and go on in it.
constexpr int kRunsOfABook = 8;
constexpr int kDaysOfARun = 40;

Outcome Interrupt(const fs::path& folder,
                  int times,
                  std::uint64_t seed,
                  const std::function<int(const Recording&, Acknowledged&)>&
                      run_interrupted) {
  Outcome outcome;
  Acknowledged acknowledged;
  fs::path book;
  // A round whose program is through before it is interrupted doesn't count;
  // CHOSEN: every other one may be such.
  for (int i = 0; outcome.interruptions < times && i < 2 * times; ++i) {
    const int run = i % kRunsOfABook;
    if (run == 0) {
      if (!book.empty()) fs::remove_all(book);
      book = folder / fmt::format("book{}", i / kRunsOfABook);
      outcome.acknowledged += static_cast<int>(acknowledged.size());
      acknowledged.clear();
    }
    // The first run of a book is interrupted while the book is made, too.
    outcome.interruptions += run_interrupted(
        {book, seed, run * kDaysOfARun, kDaysOfARun, "both"}, acknowledged);
    if (fs::exists(book / "casebook.json")) {
      Check(book, seed, acknowledged, outcome);
    } else if (!acknowledged.empty()) {
      outcome.faults.emplace_back("the casebook is gone");
    }
    if (i % 100 == 99) fmt::print(stderr, "{} times\n", i + 1);
  }
  outcome.acknowledged += static_cast<int>(acknowledged.size());
  if (!book.empty()) fs::remove_all(book);
  return outcome;
}

bool WriteText(const char* path, const std::string& text) {
  const int file = ::open(path, O_WRONLY | O_CLOEXEC);
  if (file < 0) return false;
  const bool written = ::write(file, text.data(), text.size()) ==
                       static_cast<ssize_t>(text.size());
  ::close(file);
  return written;
}

/// A disk of `bytes` at `folder`, that only this process sees.
bool MountSmallDisk(const fs::path& folder, int bytes) {
  const uid_t user = ::geteuid();
  const gid_t group = ::getegid();
  if (::unshare(user == 0 ? CLONE_NEWNS : CLONE_NEWUSER | CLONE_NEWNS) != 0) {
    return false;
  }
  if (user != 0 &&
      (!WriteText("/proc/self/setgroups", "deny") ||
       !WriteText("/proc/self/uid_map", fmt::format("0 {} 1", user)) ||
       !WriteText("/proc/self/gid_map", fmt::format("0 {} 1", group)))) {
    return false;
  }
  if (::mount("none", "/", nullptr, MS_REC | MS_PRIVATE, nullptr) != 0) {
    return false;
  }
  return ::mount("tmpfs",
                 folder.c_str(),
                 "tmpfs",
                 0,
                 fmt::format("size={}", bytes).c_str()) == 0;
}

/// In the child: fills and frees the disk.
Outcome FillOften(const fs::path& disk, int fills, std::uint64_t seed) {
  Outcome outcome;
  geometry::Random random(seed);
  const fs::path book = disk / "book";
  Acknowledged acknowledged;
  int day = 0;
  for (int i = 0; i < fills; ++i) {
    // Something else takes a random part of what is free.
    const auto free = static_cast<double>(fs::space(disk).available);
    WriteFile(
        disk / "filler",
        std::string(static_cast<std::size_t>(free * random.Uniform()), 'x'));
    const auto made = fs::exists(book / "casebook.json") ? OpenCasebook(book)
                                                         : MakeCasebook(book);
    bool refused = !made;
    while (!refused) {
      const std::string which = day % 2 == 0 ? "fore" : "hind";
      const auto recorded = RecordVisit(*made, VisitOf(seed, day / 2, which));
      if (recorded) {
        acknowledged.insert(fmt::format("{} {}", day / 2, which));
        ++day;
        continue;
      }
      refused = true;
      if (recorded.error().code != RefusalCode::kCannotWrite) {
        outcome.faults.push_back("refused otherwise: " +
                                 recorded.error().message);
      }
    }
    ++outcome.interruptions;
    fs::remove(disk / "filler");
    if (fs::exists(book / "casebook.json")) {
      Check(book, seed, acknowledged, outcome);
    }
    // A new disk before this one has no room left at all.
    if (fs::space(disk).available < fs::space(disk).capacity / 3) {
      outcome.acknowledged += static_cast<int>(acknowledged.size());
      acknowledged.clear();
      fs::remove_all(book);
      day = 0;
    }
  }
  outcome.acknowledged += static_cast<int>(acknowledged.size());
  return outcome;
}

}  // namespace

int RecordUntilKilled(const Recording& recording, int acknowledge) {
  auto book = MakeCasebook(recording.book);
  if (!book) book = OpenCasebook(recording.book);
  if (!book) return 4;
  const std::vector<std::string> feet =
      recording.feet == "both" ? std::vector<std::string>{"fore", "hind"}
                               : std::vector<std::string>{recording.feet};
  for (int i = 0; i < recording.count; ++i) {
    const int day = recording.first + i;
    for (const std::string& which : feet) {
      const auto recorded =
          RecordVisit(*book, VisitOf(recording.seed, day, which));
      if (!recorded) {
        fmt::print(stderr, "{}\n", recorded.error().message);
        return 4;
      }
      const std::string line = fmt::format("{} {}\n", day, which);
      if (::write(acknowledge, line.data(), line.size()) < 0) return 70;
    }
  }
  return 0;
}

void Check(const fs::path& book,
           std::uint64_t seed,
           const Acknowledged& acknowledged,
           Outcome& outcome) {
  std::set<std::string> held;
  CheckHistories(
      {book}, seed, acknowledged, "as it lies", held, outcome.faults);
  const auto opened = OpenCasebook(book);
  if (!opened) {
    outcome.faults.push_back("can't be opened: " + opened.error().message);
    return;
  }
  std::set<std::string> after;
  CheckHistories(*opened, seed, acknowledged, "opened", after, outcome.faults);
  for (const std::string& line : held) {
    if (!after.contains(line)) {
      outcome.faults.push_back("gone at opening: " + line);
    }
  }
  for (const Damage& damage : VerifyCasebook(*opened).damage) {
    outcome.faults.push_back("verify: " + damage.where.string() + ": " +
                             damage.refusal.message);
  }
  const fs::path staging = book / ".plumbfoot" / "staging";
  if (fs::exists(staging) && !fs::is_empty(staging)) {
    outcome.faults.emplace_back("something was left over");
  }
  for (const auto& entry : fs::directory_iterator(book)) {
    if (entry.path().filename().string().find(".part") != std::string::npos) {
      outcome.faults.push_back("left over: " + entry.path().string());
    }
  }
  for (const std::string& line : after) {
    if (!acknowledged.contains(line)) ++outcome.finished;
  }
}

Outcome KillWhileRecording(const fs::path& recorder,
                           const fs::path& folder,
                           int kills,
                           std::uint64_t seed) {
  geometry::Random random(seed);
  return Interrupt(
      folder,
      kills,
      seed,
      [&](const Recording& recording, Acknowledged& acknowledged) {
        const Child child = Start(Words(recorder, recording));
        // Whatever the disk's speed, at any moment of the first
        // four
        // recordings. CHOSEN: on a slow one, one takes a tenth of
        // a second.
        std::string said = AwaitLines(child, random.Below(4));
        std::this_thread::sleep_for(std::chrono::microseconds(
            static_cast<int>(random.Uniform(0, 100'000))));
        ::kill(child.pid, SIGKILL);
        const int status = Finish(child, acknowledged, std::move(said));
        // It may have done all its days before; it mustn't have refused.
        if (WIFEXITED(status) && WEXITSTATUS(status) != 0) {
          throw std::runtime_error("the recorder failed otherwise");
        }
        return WIFSIGNALED(status) ? 1 : 0;
      });
}

Outcome LimitFilesWhileRecording(const fs::path& recorder,
                                 const fs::path& folder,
                                 int limits,
                                 std::uint64_t seed) {
  geometry::Random random(seed);
  return Interrupt(
      folder,
      limits,
      seed,
      [&](const Recording& recording, Acknowledged& acknowledged) {
        const auto most = static_cast<rlim_t>(random.Uniform(0, 48'000));
        Recording few = recording;
        few.count = 3;
        const Child child = Start(Words(recorder, few), [most] {
          const rlimit limit{most, most};
          ::setrlimit(RLIMIT_FSIZE, &limit);
          // Its refusals are expected.
          ::dup2(::open("/dev/null", O_WRONLY | O_CLOEXEC), STDERR_FILENO);
        });
        const int status = Finish(child, acknowledged);
        if (!WIFEXITED(status) ||
            (WEXITSTATUS(status) != 4 && WEXITSTATUS(status) != 0)) {
          throw std::runtime_error("the recorder failed otherwise");
        }
        return WEXITSTATUS(status) == 4 ? 1 : 0;
      });
}

std::optional<Outcome> FillDiskWhileRecording(const fs::path& folder,
                                              int fills,
                                              std::uint64_t seed) {
  const fs::path disk = folder / "disk";
  fs::create_directories(disk);
  std::array<int, 2> pipe{};
  if (::pipe2(pipe.data(), O_CLOEXEC) != 0) throw std::runtime_error("pipe");
  const pid_t pid = ::fork();
  if (pid < 0) throw std::runtime_error("fork");
  if (pid == 0) {
    // CHOSEN: room for some six visits.
    if (!MountSmallDisk(disk, 1'500'000)) ::_exit(77);
    std::string text;
    try {
      const Outcome outcome = FillOften(disk, fills, seed);
      text = fmt::format("{} {} {}\n",
                         outcome.interruptions,
                         outcome.acknowledged,
                         outcome.finished);
      for (const std::string& fault : outcome.faults) text += fault + "\n";
    } catch (const std::exception& trouble) {
      text = std::string("0 0 0\n") + trouble.what() + "\n";
    }
    const bool said = ::write(pipe[1], text.data(), text.size()) ==
                      static_cast<ssize_t>(text.size());
    ::_exit(said ? 0 : 70);
  }
  ::close(pipe[1]);
  std::string said;
  std::array<char, 4096> some{};
  for (ssize_t read = 0;
       (read = ::read(pipe[0], some.data(), some.size())) > 0;) {
    said.append(some.data(), static_cast<std::size_t>(read));
  }
  ::close(pipe[0]);
  int status = 0;
  ::waitpid(pid, &status, 0);
  if (WIFEXITED(status) && WEXITSTATUS(status) == 77) return std::nullopt;
  Outcome outcome;
  std::istringstream lines(said);
  lines >> outcome.interruptions >> outcome.acknowledged >> outcome.finished;
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) outcome.faults.push_back(line);
  if (status != 0) outcome.faults.emplace_back("the child failed");
  return outcome;
}

Outcome RecordTogether(const fs::path& recorder,
                       const fs::path& folder,
                       double seconds,
                       std::uint64_t seed) {
  const fs::path book = folder / "book";
  const auto made = MakeCasebook(book);
  if (!made) throw std::runtime_error(made.error().message);
  std::vector<Child> children;
  for (const char* feet : {"fore", "hind"}) {
    children.push_back(
        Start(Words(recorder, {book, seed, 0, 1'000'000, feet})));
  }
  Outcome outcome;
  std::vector<std::string> said(children.size());
  const auto until =
      steady_clock::now() + milliseconds(static_cast<int>(seconds * 1000));
  while (steady_clock::now() < until) {
    for (std::size_t i = 0; i < children.size(); ++i) {
      said[i] += WhatIsSaid(children[i]);
    }
    // A reader beside them never sees anything half done: it looks at the horse
    // that they are at.
    const auto day = LastDay(said[0]);
    if (!day) continue;
    std::set<std::string> held;
    if (const auto horse = FindHorse(*made, HorseOf(*day))) {
      CheckHorse(*made, *horse, seed, "meanwhile", held, outcome.faults);
    }
    if (!held.contains(fmt::format("{} fore", *day))) {
      outcome.faults.push_back(fmt::format("meanwhile: lost: {} fore", *day));
    }
  }
  Acknowledged acknowledged;
  for (const Child& child : children) ::kill(child.pid, SIGTERM);
  for (std::size_t i = 0; i < children.size(); ++i) {
    if (!WIFSIGNALED(Finish(children[i], acknowledged, std::move(said[i])))) {
      outcome.faults.emplace_back("a recorder gave up");
    }
  }
  Check(book, seed, acknowledged, outcome);
  outcome.interruptions = 2;
  outcome.acknowledged = static_cast<int>(acknowledged.size());
  fs::remove_all(book);
  return outcome;
}

std::string Table(const std::string& what, const Outcome& outcome) {
  std::string text = fmt::format(
      "{}: {} interruptions, {} recordings acknowledged, {} more found whole, "
      "{} faults\n",
      what,
      outcome.interruptions,
      outcome.acknowledged,
      outcome.finished,
      outcome.faults.size());
  for (std::size_t i = 0; i < outcome.faults.size() && i < 20; ++i) {
    text += "  " + outcome.faults[i] + "\n";
  }
  return text;
}

}  // namespace plumbfoot::casebook
