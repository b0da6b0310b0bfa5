// SPDX-License-Identifier: Apache-2.0
// How long a large casebook takes to open: 300 horses, ten years, four feet.
//   casebook_bench FOLDER
// makes it there where it is missing (some 5 GB), and prints a table.
#include "plumbfoot/casebook/casebook.h"

#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <ctime>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>
#include <vector>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace {

namespace fs = std::filesystem;
using namespace plumbfoot::casebook;  // NOLINT(google-build-using-namespace)

constexpr int kHorses = 300;
constexpr int kVisits = 87;  // Ten years, every six weeks.
// A report of both views has some 70 kB, most of it outlines.
constexpr InventOptions kReal{.photo_bytes = 2000, .outline_points = 900};

/// One horse with all its visits.
void MakeHorse(const Casebook& book, const std::string& name) {
  for (int i = 0; i < kVisits; ++i) {
    // The last visit is about six weeks ago.
    const Day day = DayNumber((i - kVisits) * 42);
    const auto seed = static_cast<std::uint64_t>(i);
    const auto recorded =
        RecordVisit(book, InventVisit(name, day, seed, kReal));
    if (!recorded) throw std::runtime_error(recorded.error().message);
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

/// The median of some runs [ms]: on the wall, and of the processor alone, which
/// other programs disturb less.
void Time(const char* what, int runs, const std::function<void(int)>& run) {
  std::vector<double> wall;
  std::vector<double> processor;
  for (int i = 0; i < runs; ++i) {
    const auto start = std::chrono::steady_clock::now();
    const std::clock_t clock = std::clock();
    run(i);
    processor.push_back(1000.0 * static_cast<double>(std::clock() - clock) /
                        CLOCKS_PER_SEC);
    wall.push_back(std::chrono::duration<double, std::milli>(
                       std::chrono::steady_clock::now() - start)
                       .count());
  }
  std::sort(wall.begin(), wall.end());
  std::sort(processor.begin(), processor.end());
  fmt::print("{:<38} {:8.1f} ms, of the processor {:8.1f} ms\n",
             what,
             wall[wall.size() / 2],
             processor[processor.size() / 2]);
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
    fs::remove_all(path / ".plumbfoot");
    fmt::print("{} horses, {} visits each, {} foot records\n",
               kHorses,
               kVisits,
               kHorses * Records(Open(path), 1));
    constexpr int kRuns = 11;
    Time("open a horse, no index (it is made)", kRuns, [&](int i) {
      Records(Open(path), 2 + i);
    });
    Time("open a horse", kRuns, [&](int i) { Records(Open(path), 2 + i); });
    Time("who is due", kRuns, [&](int) {
      if (WhoIsDue(Open(path), DayNumber(7)).due.size() != kHorses) {
        throw std::runtime_error("not everybody is due");
      }
    });
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "casebook_bench: {}\n", trouble.what());
    return 70;
  }
  return 0;
}
