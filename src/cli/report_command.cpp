// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "cli/commands.h"
#include "cli/settings.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/owner_case.h"
#include "plumbfoot/report/recorded_case.h"
#include "plumbfoot/report/zip_files.h"

namespace plumbfoot::cli {
namespace {

namespace fs = std::filesystem;
using casebook::Visit;

struct ReportWords {
  std::string casebook;
  std::string horse;
  std::optional<std::string> yard;
  std::string date;
  std::string language = "en";
  std::string words;
  std::string practice;
  std::string telephone;
  bool zip = false;
  std::string out;
};

Result<report::Practice> PracticeFrom(const ReportWords& words) {
  auto settings = LoadSettings(SettingsPath());
  if (!settings) return settings.error();
  const bool told = !words.practice.empty() || !words.telephone.empty();
  if (!words.practice.empty()) settings->practice = words.practice;
  if (!words.telephone.empty()) settings->telephone = words.telephone;
  if (told) {
    const auto saved = SaveSettings(*settings, SettingsPath());
    if (!saved) return saved.error();
  }
  return report::Practice{settings->practice, settings->telephone};
}

Result<report::OwnerWords> WordsFrom(const ReportWords& words) {
  if (words.words.empty()) return report::OwnerWordsOf(words.language);
  auto bytes = photo::ReadBytes(words.words);
  if (!bytes) return bytes.error();
  return report::ParseOwnerWords(*bytes);
}

/// Every file of a visit, as it lies in the casebook.
Result<Done> AddVisitFiles(const Visit& visit,
                           std::vector<photo::NamedBytes>& files) {
  std::error_code failed;
  std::vector<fs::path> paths;
  for (const auto& entry :
       fs::recursive_directory_iterator(visit.folder, failed)) {
    if (entry.is_regular_file()) paths.push_back(entry.path());
  }
  if (failed) {
    return Refusal{RefusalCode::kCannotRead,
                   fmt::format("\"{}\" can't be read: {}.",
                               visit.folder.string(),
                               failed.message()),
                   "Check that you may read the casebook."};
  }
  std::sort(paths.begin(), paths.end());
  for (const fs::path& path : paths) {
    auto bytes = photo::ReadBytes(path);
    if (!bytes) return bytes.error();
    files.push_back(
        {fs::relative(path, visit.folder).generic_string(), std::move(*bytes)});
  }
  return Done{};
}

Refusal NoSuchVisit(const casebook::History& history, const std::string& date) {
  std::string days;
  for (const Visit& visit : history.visits) {
    days += (days.empty() ? "" : ", ") + casebook::DayText(visit.day);
  }
  return {RefusalCode::kUsage,
          fmt::format("{} was not visited on {}.", history.horse.name, date),
          days.empty() ? "Record a visit with `plumbfoot visit`."
                       : fmt::format("Choose one of: {}.", days)};
}

ExitStatus RunReport(const ReportWords& words) {
  const auto book = casebook::OpenCasebook(words.casebook);
  if (!book) return Refuse(book.error());
  const auto horse = casebook::FindHorse(*book, words.horse, words.yard);
  if (!horse) return Refuse(horse.error());
  const auto day = casebook::ParseDay(words.date);
  if (!day) return Refuse(day.error());
  const casebook::History history = casebook::ReadHistory(*book, *horse);
  const auto visit = std::find_if(
      history.visits.begin(), history.visits.end(), [&](const Visit& v) {
        return v.day == *day;
      });
  if (visit == history.visits.end()) {
    return Refuse(NoSuchVisit(history, words.date));
  }
  for (const casebook::Damage& damage : history.set_aside) {
    fmt::print(stderr,
               "{}: {} {}\n",
               damage.where.generic_string(),
               damage.refusal.message,
               damage.refusal.remedy);
  }
  if (visit->feet.empty() && !history.set_aside.empty()) {
    return Refuse(
        {RefusalCode::kDamaged,
         fmt::format("Nothing of the visit of {} can be used.", words.date),
         "See above what is damaged."});
  }
  const auto texts = WordsFrom(words);
  if (!texts) return Refuse(texts.error());
  const auto practice = PracticeFrom(words);
  if (!practice) return Refuse(practice.error());

  bool damaged = !history.set_aside.empty();
  std::vector<casebook::Damage> unreadable;
  auto owner_case = report::OwnerCaseOf(
      history,
      static_cast<std::size_t>(visit - history.visits.begin()),
      *practice,
      *texts,
      unreadable);
  for (const casebook::Damage& d : unreadable) {
    fmt::print(stderr, "{}: {}\n", d.where.generic_string(), d.refusal.message);
    damaged = true;
  }
  if (!owner_case) return Refuse(owner_case.error());
  const auto page = report::MakeOwnerPage(*owner_case, *texts);
  if (!page) return Refuse(page.error());

  std::vector<photo::NamedBytes> files = {
      {"owner.html", report::OwnerHtml(*page, *texts)},
      {"owner.pdf", report::OwnerPdf(*page, *texts)}};
  if (words.zip) {
    std::vector<photo::NamedBytes> packed = files;
    const auto added = AddVisitFiles(*visit, packed);
    if (!added) return Refuse(added.error());
    files.push_back({"visit.zip", report::ZipOf(packed)});
  }
  const auto written = photo::WriteSet(words.out, files);
  if (!written) return Refuse(written.error());
  for (const std::string& line : page->summary) fmt::print("{}\n", line);
  for (const auto& file : *written) fmt::print("{}\n", file.string());
  return damaged ? ExitStatus::kNeedsPerson : ExitStatus::kDone;
}

}  // namespace

void AddReport(CLI::App& program, Action& action) {
  auto words = std::make_shared<ReportWords>();
  CLI::App* command = program.add_subcommand(
      "report",
      "The owner's page of one visit: HTML for a phone, PDF for print; with a "
      "second sheet of the case from the second visit on");
  command->add_option("CASEBOOK", words->casebook, "The casebook's folder")
      ->type_name("")
      ->required();
  command->add_option("--horse", words->horse, "The horse's name")
      ->type_name("NAME")
      ->required();
  command->add_option(
      "--yard", words->yard, "Its yard, where two horses have that name");
  command->add_option("--date", words->date, "Day of the visit, 2026-03-14")
      ->type_name("DATE")
      ->required();
  CLI::Option* language =
      command->add_option("--language", words->language, "en or de")
          ->type_name("LANGUAGE");
  command
      ->add_option("--words",
                   words->words,
                   "Another language's words: a translated copy of en.json")
      ->type_name("FILE")
      ->excludes(language);
  command
      ->add_option("--practice",
                   words->practice,
                   "Your name on the page; kept for the next ones")
      ->type_name("NAME");
  command
      ->add_option("--telephone",
                   words->telephone,
                   "Your number on the page; kept for the next ones")
      ->type_name("NUMBER");
  command->add_flag("--zip",
                    words->zip,
                    "Also visit.zip: the page, photos, points and reports, to "
                    "send to a vet");
  command
      ->add_option("--out", words->out, "Folder for owner.html and owner.pdf")
      ->type_name("DIR")
      ->required();
  command->callback(
      [words, &action] { action = [words] { return RunReport(*words); }; });
}

}  // namespace plumbfoot::cli
