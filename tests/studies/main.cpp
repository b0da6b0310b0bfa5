// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdio>

#include "studies/studies.h"

namespace {

using namespace plumbfoot::studies;  // NOLINT(google-build-using-namespace)

int Run(int argc, char** argv) {
  CLI::App program("How well Plumbfoot measures, on rendered photos");
  program.require_subcommand(1);
  StudyOptions options;
  options.progress = [](int done) {
    if (done % 20 == 0) fmt::print(stderr, "{} pairs\n", done);
  };
  int given_pairs = 200;
  int coverage_pairs = 500;
  int found_pairs = 100;
  const auto add = [&](const char* name, const char* words, int& pairs) {
    CLI::App* command = program.add_subcommand(name, words);
    command->add_option("--pairs", pairs, "Pairs of photos")
        ->capture_default_str();
    command->add_option("--seed", options.seed, "Of everything random");
    command->add_option("--width", options.width_px, "Of the photos [px]");
    command->add_option("--height", options.height_px, "Of the photos [px]");
    return command;
  };
  std::vector<int> tags = {5, 4, 3, 2};
  CLI::App* given =
      add("points-given", "Errors with the exact points given", given_pairs);
  given->add_option("--tags", tags, "How many tags the card shows");
  CLI::App* coverage = add("coverage",
                           "How often the 95 % intervals hold the truth",
                           coverage_pairs);
  CLI::App* found = add("points-found", "What the finder finds", found_pairs);
  CLI11_PARSE(program, argc, argv);

  if (given->parsed()) {
    options.pairs = given_pairs;
    fmt::print("{}", Table(StudyPointsGiven(tags, options)));
  }
  if (coverage->parsed()) {
    options.pairs = coverage_pairs;
    fmt::print("{}", Table(StudyCoverage(options)));
  }
  if (found->parsed()) {
    options.pairs = found_pairs;
    fmt::print("{}", Table(StudyPointsFound(options)));
  }
  return 0;
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
