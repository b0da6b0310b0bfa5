// SPDX-License-Identifier: Apache-2.0
#include "table.h"

#include <fmt/core.h>

#include <algorithm>

namespace plumbfoot::bench {
namespace {

// The bars of "How good is good".
constexpr double kMostDecodes = 4.0;
constexpr double kMostMegabytes = 500.0;
constexpr double kMostCheckSeconds = 1.0;

const char* Verdict(bool cleared) {
  return cleared ? "met" : "MISSED";
}

}  // namespace

bool Table::ReportContext(const Context& context) {
  fmt::print(
      "{} processors. Each row is for a pair of 12-megapixel photos, but for\n"
      "\"check\" and \"started\". wall: what a person waits; cpu: what all "
      "threads\ncompute, which a busy machine changes less. x decode: in times "
      "of only\ndecoding the two JPEGs. The commands are processes of their "
      "own "
      "and keep\nfreed memory; the steps run in this one, which does not: "
      "their "
      "sum is larger.\n\n",
      context.cpu_info.num_cpus);
  return true;
}

void Table::ReportRuns(const std::vector<Run>& runs) {
  for (const Run& run : runs) {
    const std::string name = run.run_name.function_name;
    if (run.error_occurred) {
      failures_.push_back(name + ": " + run.error_message);
      continue;
    }
    const auto cpu = run.counters.find(kCpu);
    rows_.push_back({name,
                     run.GetAdjustedRealTime(),
                     cpu != run.counters.end() ? cpu->second.value
                                               : run.GetAdjustedCPUTime()});
    const auto peak = run.counters.find(kPeak);
    if (peak != run.counters.end()) {
      peak_mb_ = std::max(peak_mb_, peak->second.value);
    }
  }
}

const Table::Row* Table::Find(const char* name) const {
  for (const Row& row : rows_) {
    if (row.name == name) return &row;
  }
  return nullptr;
}

void Table::Finalize() {
  const Row* decode = Find(kDecode);
  fmt::print("{:<28}{:>10}{:>10}{:>12}{:>10}\n",
             "step",
             "wall ms",
             "x decode",
             "cpu ms",
             "x decode");
  for (const Row& row : rows_) {
    fmt::print("{:<28}{:>10.1f}{:>10.2f}{:>12.1f}{:>10.2f}\n",
               row.name,
               row.wall_ms,
               decode != nullptr ? row.wall_ms / decode->wall_ms : 0.0,
               row.cpu_ms,
               decode != nullptr ? row.cpu_ms / decode->cpu_ms : 0.0);
  }
  fmt::print("\n");
  const auto bar = [](const char* what, double is, int digits, double most) {
    fmt::print("{:<58}{:>7.{}f}   at most {:g}: {}\n",
               what,
               is,
               digits,
               most,
               Verdict(is <= most));
  };
  const Row* pair = Find(kPair);
  const Row* rest = Find(kRest);
  if (decode != nullptr && rest != nullptr) {
    bar("pair without its network, in times of decoding (wall)",
        rest->wall_ms / decode->wall_ms,
        2,
        kMostDecodes);
    bar("pair without its network, in times of decoding (cpu)",
        rest->cpu_ms / decode->cpu_ms,
        2,
        kMostDecodes);
  }
  if (pair != nullptr) {
    bar("pair, peak memory [MB]", peak_mb_, 0, kMostMegabytes);
  }
  if (const Row* check = Find(kCheck)) {
    bar("check, one photo, cpu [s]", check->cpu_ms / 1e3, 2, kMostCheckSeconds);
  }
  for (const std::string& failure : failures_) {
    fmt::print(stderr, "not measured: {}\n", failure);
  }
}

}  // namespace plumbfoot::bench
