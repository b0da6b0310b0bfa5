// SPDX-License-Identifier: Apache-2.0
#include "table.h"

#include <fmt/core.h>

#include <algorithm>

namespace plumbfoot::bench {
namespace {

// The bars of "How good is good".
constexpr double kMostDecodes = 4.0;
constexpr double kMostMegabytes = 500.0;

const char* Verdict(bool cleared) {
  return cleared ? "met" : "MISSED";
}

}  // namespace

bool Table::ReportContext(const Context& context) {
  fmt::print("{} processors; wall and processor time of a pair of photos\n\n",
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

void Table::Finalize() {
  const auto find = [this](const char* name) {
    return std::find_if(rows_.begin(), rows_.end(), [name](const Row& row) {
      return row.name == name;
    });
  };
  const auto decode = find(kDecode);
  const bool compares = decode != rows_.end();
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
               compares ? row.wall_ms / decode->wall_ms : 0.0,
               row.cpu_ms,
               compares ? row.cpu_ms / decode->cpu_ms : 0.0);
  }
  const auto pair = find(kPair);
  if (compares && pair != rows_.end()) {
    const double ratio = pair->wall_ms / decode->wall_ms;
    fmt::print("\n{:<44}{:>6.2f}   at most {:.0f}: {}\n",
               "whole command, in times of decoding (wall)",
               ratio,
               kMostDecodes,
               Verdict(ratio <= kMostDecodes));
    fmt::print("{:<44}{:>6.0f}   at most {:.0f}: {}\n",
               "whole command, peak memory [MB]",
               peak_mb_,
               kMostMegabytes,
               Verdict(peak_mb_ <= kMostMegabytes));
  }
  for (const std::string& failure : failures_) {
    fmt::print(stderr, "not measured: {}\n", failure);
  }
}

}  // namespace plumbfoot::bench
