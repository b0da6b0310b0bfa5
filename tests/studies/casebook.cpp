// SPDX-License-Identifier: Apache-2.0
// The casebook while programs are killed, disks are full, two programs write,
// the power fails.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <filesystem>

#include "casebook/invented.h"
#include "casebook/power_cut.h"
#include "casebook/torture.h"

namespace {

namespace fs = std::filesystem;
using namespace plumbfoot::casebook;  // NOLINT(google-build-using-namespace)

int RunPower(const fs::path& folder, int states, std::uint64_t seed) {
  const fs::path book = folder / "book";
  const auto calls =
      Trace({CASEBOOK_RECORDER, book.string(), "7", "0", "2", "both"}, folder);
  if (!calls) {
    fmt::print(stderr, "strace isn't installed, or may not trace here.\n");
    return 4;
  }
  CutOptions options{.seed = seed, .random_states = states};
  const auto tell = [&](const char* what) {
    const PowerCuts cuts =
        CutPower(folder / "none", book, *calls, folder / what, options);
    fmt::print(
        "{}: {} recordings acknowledged, {} moments, {} different states of "
        "the disk, {} faults\n",
        what,
        cuts.acknowledged,
        cuts.moments,
        cuts.states,
        cuts.faults.size());
    return cuts.faults.size();
  };
  const std::size_t faults = tell("as it is");
  // So that one sees that the replay finds what is wrong.
  options.sync_files = false;
  tell("if it synced no file (until ten faults)");
  options.sync_files = true;
  options.sync_folders = false;
  tell("if it synced no folder (until ten faults)");
  return faults == 0 ? 0 : 1;
}

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
  CLI::App* power = program.add_subcommand(
      "casebook-power", "The power cut after each call to the file system");
  int states = 20;
  power->add_option("--states", states, "Random ones of each moment")
      ->capture_default_str();
  program.fallthrough();
  CLI11_PARSE(program, argc, argv);

  const fs::path folder = FreshFolder("study");
  if (power->parsed()) {
    const int status = RunPower(folder, states, seed);
    fs::remove_all(folder);
    return status;
  }
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
