// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <unistd.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "cli/commands.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/draw/overlay.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/comparison.h"

namespace plumbfoot::cli {
namespace {

struct CompareWords {
  std::string before;
  std::string after;
  std::string casebook;
  std::string horse;
  std::string yard;
  std::vector<std::string> dates;
  std::vector<std::string> stages;
  std::string foot;
  std::string out;
  bool same_card = false;
  bool as_json = false;
};

/// One comparison that was asked for, and where its files go.
struct Pair {
  report::SavedReport before;
  report::SavedReport after;
  std::filesystem::path out;
};

Result<std::vector<Pair>> PairOfFiles(const CompareWords& words) {
  auto before = report::LoadReport(words.before);
  if (!before) return before.error();
  auto after = report::LoadReport(words.after);
  if (!after) return after.error();
  std::vector<Pair> pairs;
  pairs.push_back({std::move(*before), std::move(*after), words.out});
  return pairs;
}

const casebook::Visit* VisitOn(const casebook::History& history,
                               casebook::Day day) {
  for (const casebook::Visit& visit : history.visits) {
    if (visit.day == day) return &visit;
  }
  return nullptr;
}

const casebook::FootRecord* RecordOf(const casebook::Visit& visit,
                                     Foot foot,
                                     Stage stage) {
  for (const casebook::FootRecord& record : visit.feet) {
    if (record.foot == foot && record.stage == stage) return &record;
  }
  return nullptr;
}

using Records =
    std::pair<const casebook::FootRecord*, const casebook::FootRecord*>;

/// Of one day: before the trim with after it. Of two days: like with like, as
/// late in the visit as both have it.
Records RecordsOf(const casebook::Visit& first,
                  const casebook::Visit& second,
                  Foot foot,
                  const std::optional<std::pair<Stage, Stage>>& stages) {
  if (stages) {
    return {RecordOf(first, foot, stages->first),
            RecordOf(second, foot, stages->second)};
  }
  if (first.day == second.day) {
    const auto* last = RecordOf(second, foot, Stage::kAfterTrim);
    if (last == nullptr) last = RecordOf(second, foot, Stage::kAfterShoeing);
    return {RecordOf(first, foot, Stage::kBeforeTrim), last};
  }
  for (const Stage stage : {Stage::kAfterTrim,
                            Stage::kAfterShoeing,
                            Stage::kBeforeTrim,
                            Stage::kOther}) {
    const Records records = {RecordOf(first, foot, stage),
                             RecordOf(second, foot, stage)};
    if (records.first != nullptr && records.second != nullptr) return records;
  }
  return {nullptr, nullptr};
}

Result<report::SavedReport> SavedOf(const casebook::FootRecord& record,
                                    const std::string& date) {
  const auto json = casebook::LoadReport(record);
  if (!json) return json.error();
  auto report = report::ReadReport(*json);
  if (!report) return report;
  // Where a report doesn't say it, the casebook does.
  report->date = date;
  return report;
}

Result<std::vector<Pair>> PairsOfCasebook(const CompareWords& words) {
  if (words.dates.size() != 2 || words.horse.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "Which visits of which horse?",
                   "Say --horse NAME and --dates D1 D2; the same day twice "
                   "compares before the trim with after it."};
  }
  const auto first_day = casebook::ParseDay(words.dates[0]);
  if (!first_day) return first_day.error();
  const auto second_day = casebook::ParseDay(words.dates[1]);
  if (!second_day) return second_day.error();
  std::optional<std::pair<Stage, Stage>> stages;
  if (words.stages.size() == 2) {
    const auto a = geometry::ParseStage(words.stages[0]);
    if (!a) return a.error();
    const auto b = geometry::ParseStage(words.stages[1]);
    if (!b) return b.error();
    stages = std::pair{*a, *b};
  }
  std::vector<Foot> feet = {
      Foot::kLeftFore, Foot::kRightFore, Foot::kLeftHind, Foot::kRightHind};
  if (!words.foot.empty()) {
    const auto foot = geometry::ParseFoot(words.foot);
    if (!foot) return foot.error();
    feet = {*foot};
  }
  const auto casebook = casebook::OpenCasebook(words.casebook);
  if (!casebook) return casebook.error();
  const auto horse = casebook::FindHorse(
      *casebook,
      words.horse,
      words.yard.empty() ? std::optional<std::string>() : words.yard);
  if (!horse) return horse.error();
  const casebook::History history = casebook::ReadHistory(*casebook, *horse);
  const auto* first = VisitOn(history, *first_day);
  const auto* second = VisitOn(history, *second_day);
  if (first == nullptr || second == nullptr) {
    return Refusal{
        RefusalCode::kUsage,
        fmt::format("{} was not visited on {}.",
                    horse->name,
                    words.dates[first == nullptr ? 0 : 1]),
        "\"plumbfoot history CASEBOOK --horse NAME\" lists the visits."};
  }
  std::vector<Pair> pairs;
  for (const Foot foot : feet) {
    const auto [a, b] = RecordsOf(*first, *second, foot, stages);
    if (a == nullptr || b == nullptr) continue;
    auto before = SavedOf(*a, words.dates[0]);
    if (!before) return before.error();
    auto after = SavedOf(*b, words.dates[1]);
    if (!after) return after.error();
    pairs.push_back(
        {std::move(*before),
         std::move(*after),
         std::filesystem::path(words.out) / geometry::FootName(foot)});
  }
  if (pairs.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "No foot was photographed at both of these.",
                   "Say other --dates, or two --stages that were recorded."};
  }
  return pairs;
}

ExitStatus RunCompare(const CompareWords& words) {
  const bool files = !words.before.empty() && !words.after.empty();
  if (files == !words.casebook.empty()) {
    return Refuse({RefusalCode::kUsage,
                   "What is to be compared?",
                   "Give two reports (--before and --after), or a casebook "
                   "with --horse and --dates."});
  }
  auto pairs = files ? PairOfFiles(words) : PairsOfCasebook(words);
  if (!pairs) return Refuse(pairs.error());
  report::ComparisonOptions options;
  options.same_card = words.same_card;
  std::vector<std::pair<std::filesystem::path, report::Comparison>> compared;
  for (Pair& pair : *pairs) {
    auto comparison = report::CompareReports(
        std::move(pair.before), std::move(pair.after), options);
    if (!comparison) return Refuse(comparison.error());
    compared.emplace_back(pair.out, std::move(*comparison));
  }
  // Everything is made before anything is written.
  std::vector<std::vector<photo::NamedBytes>> sets;
  for (const auto& [out, comparison] : compared) {
    const draw::Overlay overlay = report::OverlayOf(comparison);
    sets.push_back({{"compare.png", draw::OverlayPng(overlay)},
                    {"compare.svg", draw::OverlaySvg(overlay)},
                    {"compare.json", report::ComparisonText(comparison)}});
  }
  bool needs_person = false;
  for (std::size_t i = 0; i < compared.size(); ++i) {
    const auto& [out, comparison] = compared[i];
    const auto written = photo::WriteSet(out, sets[i]);
    if (!written) return Refuse(written.error());
    needs_person = needs_person || comparison.needs_person;
    if (words.as_json) {
      fmt::print("{}", sets[i].back().bytes);
      continue;
    }
    fmt::print("{}\n", report::ComparisonTable(comparison, isatty(1) != 0));
    for (const auto& file : *written) fmt::print("{}\n", file.string());
    if (i + 1 < compared.size()) fmt::print("\n");
  }
  return needs_person ? ExitStatus::kNeedsPerson : ExitStatus::kDone;
}

}  // namespace

void AddCompare(CLI::App& program, Action& action) {
  auto words = std::make_shared<CompareWords>();
  CLI::App* command = program.add_subcommand(
      "compare",
      "Compare before with after, left with right, a visit with another: what "
      "changed, and what these photos can't tell");
  CLI::Option* before =
      command->add_option("--before", words->before, "The first report.json")
          ->type_name("REPORT");
  CLI::Option* after =
      command->add_option("--after", words->after, "The second report.json")
          ->type_name("REPORT");
  before->needs(after);
  after->needs(before);
  CLI::Option* casebook =
      command
          ->add_option(
              "CASEBOOK", words->casebook, "Or: visits of this casebook")
          ->type_name("")
          ->excludes(before);
  command->add_option("--horse", words->horse, "In the casebook")
      ->type_name("NAME")
      ->needs(casebook);
  command->add_option("--yard", words->yard, "Of two horses of one name")
      ->type_name("NAME")
      ->needs(casebook);
  command
      ->add_option("--dates",
                   words->dates,
                   "Two visits; one day twice: before the trim with after it")
      ->expected(2)
      ->type_name("D1 D2")
      ->needs(casebook);
  command
      ->add_option("--stages",
                   words->stages,
                   "Which photos of the two visits: before_trim, after_trim, "
                   "after_shoeing or other")
      ->expected(2)
      ->type_name("S1 S2")
      ->needs(casebook);
  command->add_option("--foot", words->foot, "This foot only")
      ->type_name("FOOT")
      ->needs(casebook);
  command->add_flag("--same-card",
                    words->same_card,
                    "All photos show the same printed card, though nobody "
                    "measured its print");
  command->add_flag(
      "--json", words->as_json, "Print compare.json, not a table");
  command
      ->add_option("--out",
                   words->out,
                   "Folder for the results; of a casebook, one in it for each "
                   "foot")
      ->type_name("DIR")
      ->required();
  command->callback(
      [words, &action] { action = [words] { return RunCompare(*words); }; });
}

}  // namespace plumbfoot::cli
