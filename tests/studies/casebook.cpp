// SPDX-License-Identifier: Apache-2.0
// The casebook while programs are killed, disks are full, two programs write.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <filesystem>

#include "casebook/invented.h"
#include "casebook/torture.h"

namespace {

namespace fs = std::filesystem;
using namespace plumbfoot::casebook;  // NOLINT(google-build-using-namespace)

int Run(int argc, char** argv) {
  CLI::App program("The casebook while everything goes wrong");
  program.require_subcommand(1);
  int times = 1000;
  double seconds = 60.0;
  std::uint64_t seed = 20261125;
  program.add_option("--seed", seed, "Of everything random");
  CLI::App* killed = program.add_subcommand(
      "casebook-killed", "kill -9 at random moments of recording");
  CLI::App* limited = program.add_subcommand(
      "casebook-limited", "Files that can't grow beyond a random size");
  CLI::App* full =
      program.add_subcommand("casebook-full", "A small disk that is filled");
  for (CLI::App* command : {killed, limited, full}) {
    command->add_option("--times", times, "How often")->capture_default_str();
  }
  CLI::App* together =
      program.add_subcommand("casebook-together", "Two programs at once");
  together->add_option("--seconds", seconds, "How long")->capture_default_str();
  program.fallthrough();
  CLI11_PARSE(program, argc, argv);

  const fs::path folder = FreshFolder("study");
  Outcome outcome;
  std::string what;
  if (killed->parsed()) {
    what = "killed";
    outcome = KillWhileRecording(CASEBOOK_RECORDER, folder, times, seed);
  } else if (limited->parsed()) {
    what = "files limited";
    outcome = LimitFilesWhileRecording(CASEBOOK_RECORDER, folder, times, seed);
  } else if (full->parsed()) {
    what = "disk full";
    const auto filled = FillDiskWhileRecording(folder, times, seed);
    if (!filled) {
      fmt::print(stderr, "This system allows no disk of one's own.\n");
      return 4;
    }
    outcome = *filled;
  } else {
    what = "two at once";
    outcome = RecordTogether(CASEBOOK_RECORDER, folder, seconds, seed);
  }
  fmt::print("{}", Table(what, outcome));
  fs::remove_all(folder);
  return outcome.faults.empty() ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return Run(argc, argv);
  } catch (const std::exception& fault) {
    fmt::print(stderr, "study: {}\n", fault.what());
  }
  return 70;
}
