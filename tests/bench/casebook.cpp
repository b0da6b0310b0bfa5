// SPDX-License-Identifier: Apache-2.0
// How long a large casebook takes to open: 300 horses, ten years, four feet.
//   casebook_bench FOLDER
// makes it there where it is missing (some 10 GB), and prints a table.
#include "plumbfoot/casebook/casebook.h"

#include <fmt/core.h>
#include <sys/resource.h>
#include <sys/time.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"
#include "report/invented_case.h"
#include "support/command.h"

namespace {

namespace fs = std::filesystem;
using namespace plumbfoot::casebook;  // NOLINT(google-build-using-namespace)

constexpr int kHorses = 300;
constexpr int kVisits = 87;  // Ten years, every six weeks.
// A report of both views has some 70 kB, most of it outlines.
constexpr std::size_t kReportBytes = 70'000;
constexpr std::size_t kPhotoBytes = 2000;

/// An invented foot's report as long as one of real photos: `points` is what
/// opening a horse leaves unread.
std::string LongReport(const plumbfoot::report::FootReport& report) {
  nlohmann::json root = nlohmann::json::parse(ReportText(report));
  const std::string text = root.dump(2);
  if (text.size() < kReportBytes) {
    root["points"]["more"] =
        std::vector<int>((kReportBytes - text.size()) / 8, 1000);
  }
  return root.dump(2) + "\n";
}

/// One horse with all its visits: before and after the trim, the fore feet in
/// the first five years, then the hind feet, so that each visit has four
/// records and an angle that drifts.
void MakeHorse(const Casebook& book, const std::string& name) {
  using plumbfoot::Foot;
  const auto reports = plumbfoot::report::InventedReports(kVisits);
  for (int i = 0; i < kVisits; ++i) {
    VisitToRecord visit;
    visit.horse = name;
    // The last visit is about six weeks ago.
    visit.day = DayNumber((i - kVisits) * 42);
    visit.now = DayText(visit.day) + "T18:00:00Z";
    for (std::size_t k = 0; k < 4; ++k) {
      plumbfoot::report::FootReport report =
          reports.at(4 * static_cast<std::size_t>(i) + k);
      if (i > kVisits / 2) {
        report.foot =
            report.foot == Foot::kLeftFore ? Foot::kLeftHind : Foot::kRightHind;
      }
      report.date = DayText(visit.day);
      FootToRecord foot = InventFoot(report.foot,
                                     report.stage,
                                     static_cast<std::uint64_t>(i),
                                     {.photo_bytes = kPhotoBytes});
      foot.report_json = LongReport(report);
      visit.feet.push_back(std::move(foot));
    }
    const auto recorded = RecordVisit(book, visit);
    if (!recorded) throw std::runtime_error(recorded.error().message);
  }
  // The worst case for who is due: the angle may not drift, so that the day
  // follows from every visit.
  Aim drift;
  drift.what = kAllowedDrift;
  drift.value = 0.5;
  drift.by = "the bench";
  drift.set_on = DayNumber(0);
  const auto horse = FindHorse(book, name);
  if (!horse || !RecordAims(book, *horse, {drift})) {
    throw std::runtime_error("no aim");
  }
}

/// The first horse through the room; the others are copies of it, which is what
/// a casebook's folders allow, and a hundred times faster.
void MakeBook(const fs::path& folder) {
  const auto book = MakeCasebook(folder);
  if (!book) throw std::runtime_error(book.error().message);
  MakeHorse(*book, "Horse 1");
  const fs::path first = folder / "horses" / "horse-1";
  for (int i = 2; i <= kHorses; ++i) {
    const std::string number = std::to_string(i);
    const fs::path copy = folder / "horses" / ("horse-" + number);
    fs::copy(first, copy, fs::copy_options::recursive);
    std::string horse = ReadFile(copy / "horse.json");
    horse.replace(horse.find("Horse 1"), 7, "Horse " + number);
    WriteFile(copy / "horse.json", horse);
    if (i % 50 == 0) fmt::print(stderr, "{} horses\n", i);
  }
}

double Seconds(const timeval& time) {
  return static_cast<double>(time.tv_sec) +
         1e-6 * static_cast<double>(time.tv_usec);
}

/// What this program and those that it has called have computed [s].
double ProcessorSeconds() {
  double seconds = 0.0;
  for (const int who : {RUSAGE_SELF, RUSAGE_CHILDREN}) {
    rusage used{};
    ::getrusage(who, &used);
    seconds += Seconds(used.ru_utime) + Seconds(used.ru_stime);
  }
  return seconds;
}

/// The median and the worst of some runs [ms]: on the wall, and the median of
/// the processors alone, which other programs disturb less.
void Time(const char* what, int runs, const std::function<void(int)>& run) {
  std::vector<double> wall;
  std::vector<double> processor;
  for (int i = 0; i < runs; ++i) {
    const auto start = std::chrono::steady_clock::now();
    const double used = ProcessorSeconds();
    run(i);
    processor.push_back(1000.0 * (ProcessorSeconds() - used));
    wall.push_back(std::chrono::duration<double, std::milli>(
                       std::chrono::steady_clock::now() - start)
                       .count());
  }
  std::sort(wall.begin(), wall.end());
  std::sort(processor.begin(), processor.end());
  fmt::print("{:<46} {:8.1f} ms (worst {:8.1f}), of the processors {:8.1f}\n",
             what,
             wall[wall.size() / 2],
             wall.back(),
             processor[processor.size() / 2]);
  std::fflush(stdout);
}

/// `plumbfoot history BOOK ...`: what it prints.
std::string Ask(const fs::path& book, std::vector<std::string> more) {
  more.insert(more.begin(), {PLUMBFOOT_COMMAND, "history", book.string()});
  const auto said = plumbfoot::tests::RunCommand(more);
  if (said.status != 0) throw std::runtime_error(said.err);
  return said.out;
}

/// Asks who is due, all of whom are.
void AskWhoIsDue(const fs::path& book) {
  const std::string said =
      Ask(book, {"--due", "--until", DayText(DayNumber(7)), "--json"});
  if (nlohmann::json::parse(said).at("due").size() != kHorses) {
    throw std::runtime_error("not everybody is due");
  }
}

Casebook Open(const fs::path& folder) {
  auto book = OpenCasebook(folder);
  if (!book) throw std::runtime_error(book.error().message);
  return *book;
}

std::size_t Records(const Casebook& book, int horse) {
  const auto found = FindHorse(book, "Horse " + std::to_string(horse));
  if (!found) throw std::runtime_error(found.error().message);
  const History history = ReadHistory(book, *found);
  if (!history.set_aside.empty() || history.visits.size() != kVisits) {
    throw std::runtime_error("the casebook isn't whole");
  }
  std::size_t records = 0;
  for (const Visit& visit : history.visits) records += visit.feet.size();
  return records;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) return 1;
  try {
    const fs::path folder = argv[1];
    if (!fs::exists(folder / "made")) {
      fs::remove_all(folder);
      MakeBook(folder / "book");
      WriteFile(folder / "made", "");
    }
    const fs::path path = folder / "book";
    const fs::path index = path / ".plumbfoot" / "index";
    for (int i = 0; i < 12; ++i) {
      fs::remove(index / ("horse-" + std::to_string(2 + i) + ".cbor"));
    }
    fmt::print("{} horses, {} visits each, {} foot records\n",
               kHorses,
               kVisits,
               kHorses * Records(Open(path), 1));
    constexpr int kRuns = 11;
    Time("open a horse, no index (it is made)", kRuns, [&](int i) {
      Records(Open(path), 2 + i);
    });
    Time("open a horse", kRuns, [&](int i) { Records(Open(path), 2 + i); });
    // Some minutes the first time, when there is no index at all.
    AskWhoIsDue(path);
    Time("--due, nothing kept of ten horses", 3, [&](int run) {
      for (int i = 1; i <= 10; ++i) {
        fs::remove(index /
                   ("horse-" + std::to_string(20 + 10 * run + i) + ".due"));
      }
      AskWhoIsDue(path);
    });
    Time("--due, each horse may drift", kRuns, [&](int) { AskWhoIsDue(path); });
    Time("--due, one horse's notes were changed", kRuns, [&](int i) {
      VisitToRecord more;
      more.horse = "Horse 100";
      more.day = DayNumber(-42);
      more.now = "2026-01-01T18:00:00Z";
      more.change_notes = [](Notes& notes) { notes.remarks += "."; };
      if (!RecordVisit(Open(path), more)) throw std::runtime_error("no visit");
      AskWhoIsDue(path);
      (void)i;
    });
    const fs::path out = folder / "out";
    Time("--horse, one foot: 2 pages, JSON, CSV", kRuns, [&](int i) {
      const std::string horse = "Horse " + std::to_string(i + 1);
      Ask(path, {"--horse", horse, "--foot", "LF", "--out", out.string()});
    });
    Time("--horse, four feet: 8 pages, JSON, CSV", kRuns, [&](int i) {
      const std::string horse = "Horse " + std::to_string(i + 1);
      Ask(path, {"--horse", horse, "--out", out.string()});
    });
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "casebook_bench: {}\n", trouble.what());
    return 70;
  }
  return 0;
}
