// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdio>

#include "studies/studies.h"
#include "trend/change_study.h"

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
  bool corners_only = false;
  coverage->add_flag("--corners-only",
                     corners_only,
                     "Take the card's corners from the truth, with noise, "
                     "instead of rendering photos");
  CLI::App* found = add("points-found", "What the finder finds", found_pairs);
  bool as_seen = false;
  found->add_flag("--as-seen",
                  as_seen,
                  "Points and curves as the network saw them, not put on the "
                  "photo's edges");
  found->add_flag(
      "--held-by-hand",
      options.held_by_hand,
      "As if the card were off the plane, turned and misprinted, as "
      "a person's are");
  bool each = false;
  found->add_flag("--each", each, "A line for every point, not only the wrong");
  found->add_option("--draw",
                    options.draw_in,
                    "An existing directory for the photos on which something "
                    "is wrong and not said so, with the points drawn");
  plumbfoot::trend::ChangeStudyOptions change_options;
  CLI::App* change = program.add_subcommand(
      "change",
      "How often a change is found, and one called that is none, with the "
      "points given and noise");
  change->add_option("--pairs", change_options.pairs, "Feet")
      ->capture_default_str();
  change->add_option("--seed", change_options.seed, "Of everything random");
  change->add_option("--trials", change_options.trials, "Of each Monte Carlo")
      ->capture_default_str();
  change
      ->add_option("--changes",
                   change_options.changes_each,
                   "In so many measures of each foot a change is made")
      ->capture_default_str();
  CLI11_PARSE(program, argc, argv);

  if (given->parsed()) {
    options.pairs = given_pairs;
    fmt::print("{}", Table(StudyPointsGiven(tags, options)));
  }
  if (coverage->parsed()) {
    options.pairs = coverage_pairs;
    options.rendered = !corners_only;
    fmt::print("{}", Table(StudyCoverage(options)));
  }
  if (found->parsed()) {
    options.pairs = found_pairs;
    options.on_edges = !as_seen;
    const PointsFound study = StudyPointsFound(options);
    if (each) fmt::print("{}", Each(study));
    fmt::print("{}\n{}", Table(study), Intervals(study));
  }
  if (change->parsed()) {
    fmt::print(
        "{}",
        plumbfoot::trend::Table(plumbfoot::trend::StudyChange(change_options)));
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
