// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <memory>
#include <nlohmann/json.hpp>

#include "cli/commands.h"
#include "cli/horse_history.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/report/due.h"

namespace plumbfoot::cli {
namespace {

using casebook::Casebook;
using casebook::Damage;
using casebook::Day;
using nlohmann::json;

struct HistoryWords {
  std::string casebook;
  bool due = false;
  std::string until;
  bool verify = false;
  HorseHistoryWords horse;
};

void PrintJson(const json& root) {
  fmt::print("{}\n", root.dump(2, ' ', false, json::error_handler_t::replace));
}

json ToJson(const std::vector<Damage>& damage) {
  json list = json::array();
  for (const Damage& d : damage) {
    list.push_back({{"where", d.where.generic_string()},
                    {"code", geometry::CodeName(d.refusal.code)},
                    {"message", d.refusal.message},
                    {"remedy", d.refusal.remedy}});
  }
  return list;
}

void Print(const std::vector<Damage>& damage, std::FILE* to) {
  for (const Damage& d : damage) {
    fmt::print(to,
               "{}: {}\n  {}\n",
               d.where.generic_string(),
               d.refusal.message,
               d.refusal.remedy);
  }
}

ExitStatus RunDue(const Casebook& casebook, const HistoryWords& words) {
  const Day today = Today();
  // CHOSEN: a week ahead is what one plans.
  Day until = today + std::chrono::weeks(1);
  if (!words.until.empty()) {
    const auto day = casebook::ParseDay(words.until);
    if (!day) return Refuse(day.error());
    until = *day;
  }
  const casebook::DueList list = report::DueUntil(casebook, until);
  if (words.horse.as_json) {
    json due = json::array();
    for (const casebook::Due& d : list.due) {
      due.push_back({{"horse", d.horse.name},
                     {"yard", d.horse.yard},
                     {"folder", d.horse.folder},
                     {"last_visit", casebook::DayText(d.last_visit)},
                     {"next_visit", casebook::DayText(d.next_visit)}});
    }
    PrintJson({{"until", casebook::DayText(until)},
               {"due", std::move(due)},
               {"damage", ToJson(list.set_aside)}});
  } else {
    for (const casebook::Due& d : list.due) {
      fmt::print("{}  {}{}  (last visit {}{})\n",
                 casebook::DayText(d.next_visit),
                 d.horse.name,
                 d.horse.yard.empty() ? "" : ", " + d.horse.yard,
                 casebook::DayText(d.last_visit),
                 d.next_visit < today ? ", overdue" : "");
    }
    if (list.due.empty()) {
      fmt::print("No horse is due until {}.\n", casebook::DayText(until));
    }
    Print(list.set_aside, stderr);
  }
  return list.set_aside.empty() ? ExitStatus::kDone : ExitStatus::kNeedsPerson;
}

ExitStatus RunVerify(const Casebook& casebook, const HistoryWords& words) {
  const casebook::Verified verified = casebook::VerifyCasebook(casebook);
  if (words.horse.as_json) {
    PrintJson({{"horses", verified.horses},
               {"visits", verified.visits},
               {"records", verified.records},
               {"files", verified.files},
               {"unfinished", verified.unfinished},
               {"damage", ToJson(verified.damage)}});
  } else {
    Print(verified.damage, stdout);
    fmt::print(
        "{} horses, {} visits, {} records whole, {} files whole, "
        "{} damaged\n",
        verified.horses,
        verified.visits,
        verified.records,
        verified.files,
        verified.damage.size());
    if (verified.unfinished > 0) {
      fmt::print("{} visits are unfinished: go on with \"plumbfoot serve\".\n",
                 verified.unfinished);
    }
  }
  return verified.damage.empty() ? ExitStatus::kDone : ExitStatus::kNeedsPerson;
}

ExitStatus RunHistory(const HistoryWords& words) {
  const auto casebook = casebook::OpenCasebook(words.casebook);
  if (!casebook) return Refuse(casebook.error());
  if (words.verify) return RunVerify(*casebook, words);
  if (words.due) return RunDue(*casebook, words);
  if (!words.horse.horse.empty()) {
    return RunHorseHistory(*casebook, words.horse);
  }
  return Refuse({RefusalCode::kUsage,
                 "What of the casebook's history is wanted?",
                 "Say --horse NAME with --out DIR, --due, or --verify."});
}

}  // namespace

void AddHistory(CLI::App& program, Action& action) {
  auto words = std::make_shared<HistoryWords>();
  CLI::App* command = program.add_subcommand(
      "history", "A horse's case over months, who is due, is everything whole");
  command->add_option("CASEBOOK", words->casebook, "The casebook's folder")
      ->type_name("")
      ->required();
  CLI::Option* due =
      command->add_flag("--due", words->due, "Which horses are due");
  command
      ->add_option("--until",
                   words->until,
                   "With --due: on or before this day (else a week from today)")
      ->type_name("DATE")
      ->needs(due);
  command
      ->add_flag("--verify",
                 words->verify,
                 "Compare every file with its SHA-256 and name what is "
                 "damaged")
      ->excludes(due);
  CLI::Option* out =
      command
          ->add_option("--out",
                       words->horse.out,
                       "Folder for the plots (PNG, SVG), history.json and "
                       "history.csv")
          ->type_name("DIR");
  CLI::Option* horse =
      command
          ->add_option("--horse",
                       words->horse.horse,
                       "Plots and tables of this horse's visits")
          ->type_name("NAME")
          ->needs(out)
          ->excludes(due);
  out->needs(horse);
  command->add_option("--yard", words->horse.yard, "Of two horses of one name")
      ->type_name("NAME")
      ->needs(horse);
  command->add_option("--foot", words->horse.foot, "This foot only")
      ->type_name("FOOT")
      ->needs(horse);
  command
      ->add_option("--since",
                   words->horse.since,
                   "Only visits from this day on; else all")
      ->type_name("DATE")
      ->needs(horse);
  command
      ->add_option("--target",
                   words->horse.targets,
                   "What a measure is to become: toe_angle=52, or "
                   "LF:toe_angle=52; more than once. Kept with the horse "
                   "for every later command; toe_angle=none takes it back")
      ->type_name("MEASURE=VALUE")
      ->needs(horse);
  command
      ->add_option("--allowed-drift",
                   words->horse.allowed_drift,
                   "How far the toe angle may drift from one visit to the "
                   "next; if it does so sooner, the next visit is due "
                   "earlier. Kept with the horse; \"none\" takes it back")
      ->type_name("DEGREES")
      ->needs(horse);
  command
      ->add_option("--by",
                   words->horse.by,
                   "Who sets the target or the drift; else your practice")
      ->type_name("NAME")
      ->needs(horse);
  command->add_flag("--json", words->horse.as_json, "Print JSON");
  command->callback(
      [words, &action] { action = [words] { return RunHistory(*words); }; });
}

}  // namespace plumbfoot::cli
