// SPDX-License-Identifier: Apache-2.0
/// @file
/// The results as a table, beside the bars that they have to clear.
#pragma once

#include <benchmark/benchmark.h>

#include <map>
#include <string>
#include <vector>

namespace plumbfoot::bench {

// The names that the table looks for.
inline constexpr const char* kDecode = "decode";
inline constexpr const char* kPair = "whole command";
inline constexpr const char* kRest = "  its network's answers ready";
inline constexpr const char* kCheck = "check, one photo";
// Counters of the command, which is a process of its own.
inline constexpr const char* kPeak = "peak_mb";
inline constexpr const char* kCpu = "cpu_ms";

/// Keeps the runs and prints them all at the end.
class Table : public benchmark::BenchmarkReporter {
 public:
  bool ReportContext(const Context& context) override;
  void ReportRuns(const std::vector<Run>& runs) override;
  void Finalize() override;

 private:
  struct Row {
    std::string name;
    double wall_ms = 0.0;
    double cpu_ms = 0.0;
  };
  /// Null if it was not measured.
  const Row* Find(const char* name) const;

  std::vector<Row> rows_;
  std::vector<std::string> failures_;
  double peak_mb_ = 0.0;
};

}  // namespace plumbfoot::bench
