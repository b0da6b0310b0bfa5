// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <memory>

#include "cli/commands.h"
#include "cli/settings.h"
#include "plumbfoot/draw/card_sheet.h"

namespace plumbfoot::cli {
namespace {

struct CardWords {
  std::string out;
  std::string layout;
  double measured_mm = 0.0;
};

ExitStatus RunCard(const CardWords& words, bool measured) {
  if (words.out.empty() && !measured) {
    return Refuse({RefusalCode::kUsage,
                   "Nothing to do.",
                   "Give --out DIR to print the card, or --measured-mm with "
                   "what the ruler said."});
  }
  if (measured) {
    const auto span = CheckMeasuredSpan(words.measured_mm);
    if (!span) return Refuse(span.error());
    const auto path = SettingsPath();
    auto settings = LoadSettings(path);
    if (!settings) return Refuse(settings.error());
    settings->card_measured_mm = *span;
    if (auto saved = SaveSettings(*settings, path); !saved) {
      return Refuse(saved.error());
    }
    fmt::print(
        "The card's crosses are {} mm apart: kept in {}, and used by every "
        "later measurement.\n",
        *span,
        path.string());
  }
  if (words.out.empty()) return ExitStatus::kDone;

  card::Layout layout = card::StandardLayout();
  if (!words.layout.empty()) {
    auto loaded = card::LoadLayout(words.layout);
    if (!loaded) return Refuse(loaded.error());
    layout = std::move(*loaded);
  }
  const auto files = draw::WriteCard(layout, words.out);
  if (!files) return Refuse(files.error());
  for (const auto& file : *files) fmt::print("{}\n", file.string());
  fmt::print(
      "Print at 100 % (\"actual size\"), glue it to stiff board, measure from "
      "cross to\ncross with a steel ruler, and say what it reads:\n"
      "  plumbfoot card --measured-mm 149.4\n");
  return ExitStatus::kDone;
}

}  // namespace

void AddCard(CLI::App& program, Action& action) {
  auto words = std::make_shared<CardWords>();
  CLI::App* command = program.add_subcommand(
      "card",
      "Write the scale card to print, and keep what a ruler says of it");
  command->add_option("--out", words->out, "Folder for the PDF, SVG and PNG")
      ->type_name("DIR");
  CLI::Option* measured =
      command
          ->add_option("--measured-mm",
                       words->measured_mm,
                       "Span between the two crosses as a ruler reads it "
                       "(meant to be 150)")
          ->type_name("MM");
  command
      ->add_option("--layout", words->layout, "Another card, from a JSON file")
      ->type_name("FILE");
  command->callback([words, measured, &action] {
    action = [words, measured] {
      return RunCard(*words, measured->count() > 0);
    };
  });
}

}  // namespace plumbfoot::cli
