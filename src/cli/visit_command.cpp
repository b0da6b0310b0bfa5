// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <functional>
#include <memory>
#include <nlohmann/json.hpp>

#include "cli/clock.h"
#include "cli/commands.h"
#include "cli/scale_words.h"
#include "cli/visit_photos.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/casebook/record.h"
#include "plumbfoot/casebook/sort_photos.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/report/due.h"
#include "plumbfoot/report/visit_feet.h"

namespace plumbfoot::cli {
namespace {

namespace fs = std::filesystem;
using casebook::Casebook;
using casebook::Day;
using casebook::Notes;
using casebook::Work;
using nlohmann::json;
using report::JobOptions;

struct VisitWords {
  std::string casebook;
  PhotoWords photos;
  std::string horse;
  std::string date;
  std::string yard;
  bool yard_told = false;
  bool new_horse = false;
  std::vector<std::string> shod;
  bool keep_retakes = false;
  int jobs = 0;
  // Notes.
  std::vector<std::string> feet;
  Work work;
  std::optional<std::string> by;
  std::optional<std::string> remarks;
  std::optional<std::string> vet;
  std::string next;
  bool as_json = false;
  ScaleWords scale;
};

/// What the command line says of the visit's notes; the rest stays.
Result<std::function<void(Notes&)>> NotesFrom(const VisitWords& words) {
  Work work = words.work;
  for (const std::string& name : words.feet) {
    const auto foot = geometry::ParseFoot(name);
    if (!foot) return foot.error();
    work.feet.push_back(*foot);
  }
  std::sort(work.feet.begin(), work.feet.end());
  Work nothing;
  nothing.feet = work.feet;
  const bool worked = work != nothing;
  if (!words.feet.empty() && !worked) {
    return Refusal{
        RefusalCode::kUsage,
        "--feet says which feet something was done to, but not what.",
        "Add --trimmed, --shoe, --nails, ..."};
  }
  std::optional<Day> next;
  if (!words.next.empty() && words.next != "none") {
    const auto day = casebook::ParseDay(words.next);
    if (!day) return day.error();
    next = *day;
  }
  if (!worked && !words.by && !words.remarks && !words.vet &&
      words.next.empty()) {
    return std::function<void(Notes&)>();
  }
  return std::function<void(Notes&)>([=](Notes& notes) {
    if (worked) {
      // Said again of the same feet, it is put right.
      const auto same = std::find_if(
          notes.work.begin(), notes.work.end(), [&](const Work& other) {
            return other.feet == work.feet;
          });
      if (same != notes.work.end()) {
        *same = work;
      } else {
        notes.work.push_back(work);
      }
    }
    if (words.by) notes.by = *words.by;
    if (words.remarks) notes.remarks = *words.remarks;
    if (words.vet) notes.vet = *words.vet;
    if (!words.next.empty()) {
      notes.next_visit = next;
      notes.no_next_visit = words.next == "none";
    }
  });
}

/// Does a foot wear a shoe in these photos: what --shod says, else what was
/// said when they were recorded, else after shoeing.
Result<bool> IsShod(const VisitWords& words,
                    const FootPhotos& foot,
                    const casebook::FootRecord* last) {
  for (const std::string& which : words.shod) {
    if (which == "all") return true;
    if (which == "none") continue;
    const casebook::PhotoPlace place = casebook::ReadPlace(which);
    if (!place.foot && !place.stage) {
      return Refusal{RefusalCode::kUsage,
                     "--shod \"" + which + "\" names no foot and no stage.",
                     "Write all, none, before, LF, or LF-before."};
    }
    if ((!place.foot || place.foot == foot.foot) &&
        (!place.stage || place.stage == foot.stage)) {
      return true;
    }
  }
  if (foot.stage == Stage::kAfterShoeing) return true;
  if (!words.shod.empty() || last == nullptr) return false;
  return last->summary.value("shod", false);
}

void ShowProgress(int done, std::size_t all) {
  constexpr int kWidth = 30;
  const int filled = kWidth * done / std::max(1, static_cast<int>(all));
  fmt::print(stderr,
             "\r[{}{}] {} of {} feet",
             std::string(static_cast<std::size_t>(filled), '#'),
             std::string(static_cast<std::size_t>(kWidth - filled), '.'),
             done,
             all);
  if (done == static_cast<int>(all)) fmt::print(stderr, "\n");
  std::fflush(stderr);
}

/// All that the command tells.
struct Told {
  fs::path casebook;
  bool made = false;
  casebook::Recorded recorded;
  Day day;
  std::optional<Day> next;
  std::vector<std::string> retake;
  std::vector<std::string> place;
};

json ToJson(const Told& told) {
  const fs::path visit = told.casebook / "horses" / told.recorded.horse.folder /
                         "visits" / casebook::DayText(told.day);
  return {
      {"casebook", told.casebook.string()},
      {"casebook_made", told.made},
      {"horse",
       {{"name", told.recorded.horse.name},
        {"yard", told.recorded.horse.yard},
        {"folder", told.recorded.horse.folder},
        {"new", told.recorded.horse_is_new}}},
      {"visit", visit.string()},
      {"visit_new", told.recorded.visit_is_new},
      {"notes_changed", told.recorded.notes_changed},
      {"recorded", told.recorded.added},
      {"recorded_already", told.recorded.known},
      {"retake", told.retake},
      {"place_by_hand", told.place},
      {"next_visit", told.next ? json(casebook::DayText(*told.next)) : json()}};
}

std::string Joined(const std::vector<std::string>& words) {
  return fmt::format("{}", fmt::join(words, ", "));
}

void Print(const Told& told) {
  const casebook::Recorded& recorded = told.recorded;
  if (told.made) {
    fmt::print("A new casebook was made: {}\n", told.casebook.string());
  }
  fmt::print(
      "{}{}: visit of {}{}\n",
      recorded.horse.name,
      recorded.horse.yard.empty() ? "" : " (" + recorded.horse.yard + ")",
      casebook::DayText(told.day),
      recorded.horse_is_new ? ", a new horse in the casebook" : "");
  if (!recorded.added.empty()) {
    fmt::print("Recorded: {}\n", Joined(recorded.added));
  }
  if (!recorded.known.empty()) {
    fmt::print("Recorded already: {}\n", Joined(recorded.known));
  }
  if (recorded.notes_changed) fmt::print("The notes were recorded.\n");
  if (!told.retake.empty()) {
    fmt::print("Not recorded, retake:\n");
    for (const std::string& line : told.retake) fmt::print("  {}\n", line);
  }
  if (!told.place.empty()) {
    fmt::print("Look at these points and place them by hand:\n");
    for (const std::string& line : told.place) fmt::print("  {}\n", line);
    fmt::print(
        "(Put a copy of the record's points.json right and run the command "
        "with\n--points LF-before=FILE.)\n");
  }
  if (told.next) {
    fmt::print("Next visit: {}\n", casebook::DayText(*told.next));
  }
}

/// Everything but the printing.
Result<Told> DoVisit(const VisitWords& words) {
  const auto day = casebook::ParseDay(words.date);
  if (!day) return day.error();
  casebook::VisitToRecord visit;
  visit.horse = words.horse;
  if (words.yard_told) visit.yard = words.yard;
  visit.new_horse = words.new_horse;
  visit.day = *day;
  visit.now = Now();
  auto notes = NotesFrom(words);
  if (!notes) return notes.error();
  visit.change_notes = std::move(*notes);

  JobOptions options;
  options.day = *day;
  options.now = visit.now;
  options.keep_retakes = words.keep_retakes;
  auto scale = ScaleFrom(words.scale);
  if (!scale) return scale.error();
  options.scale = std::move(*scale);
  if (!words.scale.layout.empty()) {
    const auto layout = photo::ReadBytes(words.scale.layout);
    if (!layout) return layout.error();
    options.layout_sha256 = photo::Sha256(*layout);
  }
  const auto feet = SortPhotos(words.photos);
  if (!feet) return feet.error();
  if (feet->empty() && !visit.change_notes) {
    return Refusal{RefusalCode::kUsage,
                   "There is nothing to record: no photo, no notes.",
                   "Give the day's photos, or say what was done."};
  }

  Told told;
  told.casebook = words.casebook;
  told.day = *day;
  auto opened = casebook::OpenCasebook(words.casebook);
  if (!opened && opened.error().code == RefusalCode::kFileMissing) {
    opened = casebook::MakeCasebook(words.casebook);
    told.made = opened.has_value();
  }
  if (!opened) return opened.error();
  const bool bar = ::isatty(STDERR_FILENO) != 0;
  auto done = report::RecordFeet(
      *opened,
      visit,
      *feet,
      options,
      [&words](const FootPhotos& foot, const casebook::FootRecord* last) {
        return IsShod(words, foot, last);
      },
      words.jobs > 0 ? words.jobs : report::FeetAtATime(),
      [bar](int count, int all) {
        if (bar) ShowProgress(count, static_cast<std::size_t>(all));
      });
  if (!done) return done.error();
  told.recorded = std::move(done->recorded);
  if (!told.recorded.added.empty() || told.recorded.notes_changed) {
    report::KeepDue(*opened, told.recorded.horse);
  }
  told.retake = std::move(done->retake);
  told.place = std::move(done->place);
  told.next = done->next;
  return told;
}

ExitStatus RunVisit(const VisitWords& words) {
  const auto told = DoVisit(words);
  if (!told) return Refuse(told.error());
  if (words.as_json) {
    fmt::print(
        "{}\n",
        ToJson(*told).dump(2, ' ', false, json::error_handler_t::replace));
  } else {
    Print(*told);
  }
  return told->retake.empty() && told->place.empty() ? ExitStatus::kDone
                                                     : ExitStatus::kNeedsPerson;
}

void AddNotes(CLI::App& command, VisitWords& words) {
  const char* group = "What was done (each run adds to the visit's notes)";
  command.add_flag("--trimmed", words.work.trimmed, "The feet were trimmed")
      ->group(group);
  command.add_option("--shoe", words.work.shoe, "The shoe, or none")
      ->type_name("WORDS")
      ->group(group);
  command.add_option("--size", words.work.size, "The shoe's size")
      ->type_name("WORDS")
      ->group(group);
  command.add_option("--nails", words.work.nails, "How many, or how else")
      ->type_name("WORDS")
      ->group(group);
  command.add_option("--pads", words.work.pads, "Pads")
      ->type_name("WORDS")
      ->group(group);
  command.add_option("--wedges", words.work.wedges, "Wedges")
      ->type_name("WORDS")
      ->group(group);
  command
      .add_option("--feet",
                  words.feet,
                  "The feet that the above was done to: LF,RF (else all four)")
      ->delimiter(',')
      ->type_name("FEET")
      ->group(group);
  command.add_option("--by", words.by, "Who did it")
      ->type_name("NAME")
      ->group(group);
  command.add_option("--remarks", words.remarks, "Whatever else is to be kept")
      ->type_name("WORDS")
      ->group(group);
  command.add_option("--vet", words.vet, "The vet's instructions")
      ->type_name("WORDS")
      ->group(group);
  command
      .add_option("--next",
                  words.next,
                  "The next visit's date, or none (else in six weeks)")
      ->type_name("DATE")
      ->group(group);
}

}  // namespace

void AddVisit(CLI::App& program, Action& action) {
  auto words = std::make_shared<VisitWords>();
  CLI::App* command = program.add_subcommand(
      "visit",
      "Record a visit in the casebook: the day's photos, measured, and notes");
  command
      ->add_option("CASEBOOK", words->casebook, "Its folder; made if missing")
      ->required();
  command->add_option(
      "PHOTO",
      words->photos.files,
      "The day's photos in any order, named like LF-solar-before.jpg; points "
      "files too (LF-before.json)");
  command->add_option("--horse", words->horse, "The horse's name")
      ->type_name("NAME")
      ->required();
  command->add_option("--date", words->date, "The day of the visit, 2026-03-14")
      ->type_name("DATE")
      ->required();
  CLI::Option* yard =
      command
          ->add_option("--yard",
                       words->yard,
                       "The horse's yard, which tells horses of one name apart")
          ->type_name("NAME");
  command->add_flag("--new-horse",
                    words->new_horse,
                    "Another horse of that name is known: this is a new one");
  command
      ->add_option("--table",
                   words->photos.table,
                   "CSV that says what each photo shows: photo,foot,view,stage "
                   "and points")
      ->type_name("FILE");
  command
      ->add_option("--stage",
                   words->photos.stage,
                   "Stage of the photos that don't tell theirs: before_trim, "
                   "after_trim, after_shoeing or other")
      ->type_name("STAGE");
  command
      ->add_option("--points",
                   words->photos.points,
                   "Points that a person placed: LF-before=FILE (a photo's own "
                   "may lie beside it: LF-solar-before.points.json)")
      ->type_name("FOOT=FILE");
  command
      ->add_option("--shod",
                   words->shod,
                   "The feet that wear shoes in the photos: all, none, before, "
                   "LF, LF-before (after shoeing they do)")
      ->delimiter(',')
      ->type_name("WHICH");
  command->add_flag("--keep",
                    words->keep_retakes,
                    "Record photos that should be retaken, too");
  command
      ->add_option("--jobs",
                   words->jobs,
                   "Feet measured at a time (else as many as there are "
                   "processors, and 500 MB of memory for each)")
      ->check(CLI::Range(1, 64))
      ->type_name("N");
  AddNotes(*command, *words);
  AddScaleOptions(*command, words->scale);
  command->add_flag("--json", words->as_json, "Print JSON");
  command->callback([words, yard, &action] {
    words->yard_told = yard->count() > 0;
    action = [words] { return RunVisit(*words); };
  });
}

}  // namespace plumbfoot::cli
