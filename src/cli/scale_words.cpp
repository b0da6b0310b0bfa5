// SPDX-License-Identifier: Apache-2.0
#include "cli/scale_words.h"

#include "cli/settings.h"

namespace plumbfoot::cli {

void AddScaleOptions(CLI::App& command, ScaleWords& words) {
  command
      .add_option("--measured-mm",
                  words.measured_mm,
                  "Span between the card's crosses as a ruler reads it, this "
                  "once (else what \"plumbfoot card\" kept)")
      ->type_name("MM");
  command
      .add_option("--layout", words.layout, "Another card, from a JSON file")
      ->type_name("FILE");
  command
      .add_option("--lens-profile",
                  words.lens,
                  "Lens profile made by \"plumbfoot check --lens\"")
      ->type_name("FILE");
  command.add_flag(
      "--no-card", words.no_card, "There is no card: ratios and angles only");
}

Result<report::ScaleRequest> ScaleFrom(const ScaleWords& words) {
  auto settings = LoadSettings(SettingsPath());
  if (!settings) return settings.error();
  report::ScaleRequest scale;
  scale.no_card = words.no_card;
  scale.measured_mm = settings->card_measured_mm;
  if (words.measured_mm != 0.0) {
    auto span = CheckMeasuredSpan(words.measured_mm);
    if (!span) return span.error();
    scale.measured_mm = *span;
  }
  if (!words.layout.empty()) {
    auto layout = card::LoadLayout(words.layout);
    if (!layout) return layout.error();
    scale.layout = std::move(*layout);
  }
  std::string lens = words.lens;
  if (lens.empty() && settings->lens_profile) lens = *settings->lens_profile;
  if (!lens.empty()) {
    auto profile = card::LoadLens(lens);
    if (!profile) return profile.error();
    scale.lens = std::move(*profile);
  }
  return scale;
}

}  // namespace plumbfoot::cli
