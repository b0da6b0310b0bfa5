// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <unistd.h>

#include <memory>
#include <string>
#include <utility>

#include "cli/commands.h"
#include "plumbfoot/draw/overlay.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/comparison.h"

namespace plumbfoot::cli {
namespace {

struct CompareWords {
  std::string before;
  std::string after;
  std::string out;
  bool same_card = false;
  bool as_json = false;
};

ExitStatus RunCompare(const CompareWords& words) {
  auto before = report::LoadReport(words.before);
  if (!before) return Refuse(before.error());
  auto after = report::LoadReport(words.after);
  if (!after) return Refuse(after.error());
  report::ComparisonOptions options;
  options.same_card = words.same_card;
  const auto comparison =
      report::CompareReports(std::move(*before), std::move(*after), options);
  if (!comparison) return Refuse(comparison.error());

  // Everything is made before anything is written.
  const draw::Overlay overlay = report::OverlayOf(*comparison);
  const std::string text = report::ComparisonText(*comparison);
  const auto written =
      photo::WriteSet(words.out,
                      {{"compare.png", draw::OverlayPng(overlay)},
                       {"compare.svg", draw::OverlaySvg(overlay)},
                       {"compare.json", text}});
  if (!written) return Refuse(written.error());
  if (words.as_json) {
    fmt::print("{}", text);
  } else {
    fmt::print("{}\n", report::ComparisonTable(*comparison, isatty(1) != 0));
    for (const auto& file : *written) fmt::print("{}\n", file.string());
  }
  return comparison->needs_person ? ExitStatus::kNeedsPerson
                                  : ExitStatus::kDone;
}

}  // namespace

void AddCompare(CLI::App& program, Action& action) {
  auto words = std::make_shared<CompareWords>();
  CLI::App* command = program.add_subcommand(
      "compare",
      "Compare two reports: before with after, left with right; says what "
      "changed and what these photos can't tell");
  command->add_option("--before", words->before, "The first report.json")
      ->type_name("REPORT")
      ->required();
  command->add_option("--after", words->after, "The second report.json")
      ->type_name("REPORT")
      ->required();
  command->add_flag("--same-card",
                    words->same_card,
                    "All photos show the same printed card, though nobody "
                    "measured its print");
  command->add_flag(
      "--json", words->as_json, "Print compare.json, not a table");
  command->add_option("--out", words->out, "Folder for the results")
      ->type_name("DIR")
      ->required();
  command->callback(
      [words, &action] { action = [words] { return RunCompare(*words); }; });
}

}  // namespace plumbfoot::cli
