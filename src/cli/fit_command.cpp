// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <memory>
#include <optional>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "cli/commands.h"
#include "cli/scale_words.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/foot_fit.h"

namespace plumbfoot::cli {
namespace {

struct FitWords {
  std::string report;
  std::string other;
  std::string out;
  std::string sizes;
  std::string heels;
  std::string clips = "none";
  std::string material = "steel";
  report::FitOptions options;
  std::optional<double> toe_angle;
  bool align = false;
  std::optional<double> heel_height;
  std::string shoe_photo;
  std::string shoe_points;
  std::string shod_report;
  std::string shod_lateral;
  std::string shod_points;
  std::optional<double> shoe_above;
  bool foot_side_up = false;
  ScaleWords scale;
  bool match = false;
  bool as_json = false;
};

/// As CLI::Range, which lets "nan" through.
CLI::Validator Within(double low, double high) {
  return {[low, high](std::string& text) {
            double value = 0.0;
            const bool number = CLI::detail::lexical_cast(text, value);
            if (number && value >= low && value <= high) return std::string();
            return fmt::format("{} is not in {:g} to {:g}", text, low, high);
          },
          fmt::format("{:g} to {:g}", low, high),
          "within"};
}

Result<std::vector<fit::Size>> LoadSizes(const std::string& path) {
  if (path.empty()) return std::vector<fit::Size>();
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path, ignored)) {
    return Refusal{RefusalCode::kFileMissing,
                   fmt::format("There is no file {}.", path),
                   "Name your table of sizes: demo/shoe-sizes.csv is an "
                   "example."};
  }
  // CHOSEN: a table of sizes is some kilobytes; what is larger is none.
  if (std::filesystem::file_size(path, ignored) > (1U << 20U)) {
    return Refusal{RefusalCode::kNotOurFormat,
                   fmt::format("{} is too large for a table of sizes.", path),
                   "Name your table of sizes: demo/shoe-sizes.csv is an "
                   "example."};
  }
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  if (!file) {
    return Refusal{RefusalCode::kCannotRead,
                   fmt::format("{} can't be read.", path),
                   "Check that you may read it."};
  }
  return fit::ParseSizes(text.str());
}

/// CHOSEN: a card glued to a stiff board, for how far a shoe on the same ground
/// stands above it [mm].
constexpr double kCardBoard = 3.0;

Result<report::LooseShoe> LooseShoeOf(const FitWords& words) {
  report::LooseShoeRequest request;
  request.photo = words.shoe_photo;
  auto scale = ScaleFrom(words.scale);
  if (!scale) return scale.error();
  request.scale = std::move(*scale);
  request.foot_side_up = words.foot_side_up;
  request.above_card_mm =
      words.shoe_above.value_or(words.options.shoe.thickness_mm - kCardBoard);
  if (!words.shoe_points.empty()) {
    const auto points = find::LoadPoints(words.shoe_points);
    if (!points) return points.error();
    if (!points->solar || !points->solar->outline) {
      return Refusal{RefusalCode::kPointMissing,
                     "The points file of the shoe has no solar outline.",
                     "Place the shoe's outer edge as \"outline\" of "
                     "\"solar\"."};
    }
    request.outline = points->solar->outline->px;
  }
  return report::ReadLooseShoe(request);
}

/// The shoe that the foot wears: its outline from the sole, and from the side
/// whether it lies level.
Result<Done> AddWornShoe(const FitWords& words,
                         const report::SavedReport& bare,
                         report::FitOptions& options) {
  const auto shod = report::LoadReport(words.shod_report);
  if (!shod) return shod.error();
  // A side photo alone is enough to ask whether it lies level.
  const bool sole = shod->solar && !shod->solar->outline.empty();
  if (sole || words.shod_lateral.empty()) {
    auto shoe = report::WornShoe(*shod);
    if (!shoe) return shoe.error();
    options.loose_shoe = std::move(*shoe);
  }
  if (words.shod_lateral.empty()) return Done{};
  if (shod->foot != bare.foot) {
    return Refusal{RefusalCode::kUsage,
                   fmt::format("The shod foot is the {}, the bare one the {}.",
                               geometry::FootWords(shod->foot),
                               geometry::FootWords(bare.foot)),
                   "Give two reports of one foot."};
  }
  auto scale = ScaleFrom(words.scale);
  if (!scale) return scale.error();
  std::optional<ViewPoints> given;
  if (!words.shod_points.empty()) {
    auto points = find::LoadPoints(words.shod_points);
    if (!points) return points.error();
    if (!points->lateral) {
      return Refusal{RefusalCode::kPointMissing,
                     "The points file of the worn shoe has no lateral view.",
                     "Place the shoe's edge as \"shoe_ground\" of "
                     "\"lateral\"."};
    }
    given = std::move(points->lateral);
  }
  auto side = report::ReadWornSide({.photo = words.shod_lateral,
                                    .scale = std::move(*scale),
                                    .shod = *shod,
                                    .bare = bare,
                                    .given = std::move(given)});
  if (!side) return side.error();
  options.worn_side = std::move(*side);
  return Done{};
}

Result<report::FitOptions> OptionsOf(const FitWords& words,
                                     const report::SavedReport& bare) {
  report::FitOptions options = words.options;
  auto sizes = LoadSizes(words.sizes);
  if (!sizes) return sizes.error();
  options.sizes = std::move(*sizes);
  if (words.heels == "regular") options.heels = fit::HeelRule::kRegular;
  if (words.heels == "sloping") options.heels = fit::HeelRule::kSloping;
  if (words.heels == "upright") options.heels = fit::HeelRule::kUpright;
  if (words.clips == "toe") options.nails.clips = fit::Clips::kToe;
  if (words.clips == "side") options.nails.clips = fit::Clips::kSide;
  if (words.material == "aluminium") {
    options.bar.material = fit::Material::kAluminium;
  }
  if (!words.shoe_photo.empty()) {
    auto shoe = LooseShoeOf(words);
    if (!shoe) return shoe.error();
    options.loose_shoe = std::move(*shoe);
  }
  if (!words.shod_report.empty()) {
    const auto worn = AddWornShoe(words, bare, options);
    if (!worn) return worn.error();
  }
  using fit::TargetKind;
  if (words.toe_angle) {
    options.trim.target = fit::Target{TargetKind::kToeAngle, *words.toe_angle};
  } else if (words.align) {
    options.trim.target = fit::Target{TargetKind::kAlignment, 0.0};
  } else if (words.heel_height) {
    options.trim.target =
        fit::Target{TargetKind::kHeelHeight, *words.heel_height};
  }
  return options;
}

ExitStatus RunFit(const FitWords& words) {
  auto report = report::LoadReport(words.report);
  if (!report) return Refuse(report.error());
  auto options = OptionsOf(words, *report);
  if (!options) return Refuse(options.error());
  std::optional<report::SavedReport> other;
  if (!words.other.empty()) {
    auto loaded = report::LoadReport(words.other);
    if (!loaded) return Refuse(loaded.error());
    other = std::move(*loaded);
  }
  const auto fit = report::FitPair(
      std::move(*report), std::move(other), words.match, std::move(*options));
  if (!fit) return Refuse(fit.error());
  const auto files = report::FitFiles(*fit);
  const auto written = photo::WriteSet(words.out, files);
  if (!written) return Refuse(written.error());
  if (words.as_json) {
    fmt::print("{}", files.back().bytes);
  } else {
    fmt::print("{}\n", report::FitTable(*fit, isatty(1) != 0));
    for (const auto& file : *written) fmt::print("{}\n", file.string());
  }
  const bool person =
      fit->first.needs_person || (fit->other && fit->other->needs_person);
  return person ? ExitStatus::kNeedsPerson : ExitStatus::kDone;
}

void AddShoeOptions(CLI::App& command, FitWords& words) {
  fit::ShoeOptions& shoe = words.options.shoe;
  command.add_option("--web", shoe.web_mm, "Width of the bar [mm]")
      ->type_name("MM")
      ->check(Within(6.0, 60.0))
      ->capture_default_str();
  command.add_option("--thickness", shoe.thickness_mm, "Of the bar [mm]")
      ->type_name("MM")
      ->check(Within(3.0, 30.0))
      ->capture_default_str();
  command
      .add_option("--fullness",
                  shoe.fullness_mm,
                  "How far the edge stands out of the foot's from the last "
                  "nail to the heel; 1/16 to 1/8 in by the old rule")
      ->type_name("MM")
      ->check(Within(0.0, 15.0))
      ->capture_default_str();
  CLI::Option* length =
      command
          .add_option("--heel-length",
                      shoe.heel_length_mm,
                      "How far the heels reach past the buttress")
          ->type_name("MM")
          ->check(Within(0.0, 60.0));
  command
      .add_option("--heels",
                  words.heels,
                  "Leave them as for a regular foot (the shoe's thickness), a "
                  "sloping one (nearly twice) or an upright one (1/8 in); else "
                  "by the toe angle")
      ->check(CLI::IsMember({"regular", "sloping", "upright"}))
      ->excludes(length);
  command.add_option("--set-back", shoe.set_back_mm, "Set the toe back so far")
      ->type_name("MM")
      ->check(Within(0.0, 25.0));
  command
      .add_option("--rolled",
                  shoe.rolled_mm,
                  "Roll the toe from so far behind its edge")
      ->type_name("MM")
      ->check(Within(0.0, 40.0));
  command
      .add_option(
          "--material", words.material, "Of the bar: steel or aluminium")
      ->check(CLI::IsMember({"steel", "aluminium"}))
      ->capture_default_str();
  command
      .add_option("--clip-allowance",
                  words.options.bar.clip_allowance_mm,
                  "Bar for each clip that is drawn")
      ->type_name("MM")
      ->check(Within(0.0, 40.0))
      ->capture_default_str();
  command
      .add_option("--calks",
                  words.options.bar.calk_height_mm,
                  "Height of the calks below the shoe, for the bar's length")
      ->type_name("MM")
      ->check(Within(0.0, 60.0));
  command
      .add_option("--sizes",
                  words.sizes,
                  "Your table of sizes, for the nearest one (CSV: "
                  "size,width_mm,length_mm,feet)")
      ->type_name("FILE");
}

void AddNailOptions(CLI::App& command, FitWords& words) {
  fit::NailOptions& nails = words.options.nails;
  command
      .add_option(
          "--nails", nails.count, "How many, 0 to 8; else by the foot's width")
      ->type_name("N")
      ->check(CLI::Range(0, 8));
  CLI::Option* wall =
      command
          .add_option("--wall",
                      nails.wall_toe_mm,
                      "Thickness of the wall: how deep the holes lie")
          ->type_name("MM")
          ->check(Within(3.0, 25.0))
          ->capture_default_str();
  command
      .add_option("--wall-quarter",
                  nails.wall_quarter_mm,
                  "The same at the widest part, where it is thinner")
      ->type_name("MM")
      ->check(Within(3.0, 25.0))
      ->needs(wall);
  command.add_option("--clips", words.clips, "none, toe or side")
      ->check(CLI::IsMember({"none", "toe", "side"}))
      ->capture_default_str();
}

void AddLooseShoeOptions(CLI::App& command, FitWords& words) {
  CLI::Option* photo =
      command
          .add_option("--shoe",
                      words.shoe_photo,
                      "A photo of the old or finished shoe, ground side up, on "
                      "one plain, pale ground with the card, two fingers from "
                      "it: where does it fit?")
          ->type_name("PHOTO");
  command
      .add_option("--shoe-points",
                  words.shoe_points,
                  "Its outer edge, placed by hand: a points file with a solar "
                  "outline")
      ->type_name("FILE")
      ->needs(photo);
  command
      .add_option("--shoe-above",
                  words.shoe_above,
                  "How far its upper face stands above the card's; else its "
                  "thickness less 3 mm")
      ->type_name("MM")
      ->check(Within(-30.0, 60.0))
      ->needs(photo);
  command
      .add_flag(
          "--foot-side-up", words.foot_side_up, "It lies with its foot side up")
      ->needs(photo);
  CLI::Option* shod =
      command
          .add_option("--shod-report",
                      words.shod_report,
                      "Or: the shoe that the foot wears in this report.json, "
                      "measured with --shod")
          ->type_name("REPORT")
          ->excludes(photo);
  CLI::Option* side =
      command
          .add_option("--shod-lateral",
                      words.shod_lateral,
                      "The side photo of that report: does the shoe lie level, "
                      "or is it sprung?")
          ->type_name("PHOTO")
          ->needs(shod);
  command
      .add_option("--shod-points",
                  words.shod_points,
                  "Its edges, placed by hand: a points file whose lateral view "
                  "has shoe_ground, and shoe_foot and horn_edge where they are "
                  "seen")
      ->type_name("FILE")
      ->needs(side);
  AddScaleOptions(command, words.scale);
}

void AddTrimOptions(CLI::App& command, FitWords& words) {
  CLI::Option* angle =
      command
          .add_option("--toe-angle",
                      words.toe_angle,
                      "Plan a trim to this toe angle [degrees]")
          ->type_name("DEG")
          ->check(Within(30.0, 80.0));
  CLI::Option* align =
      command
          .add_flag("--align",
                    words.align,
                    "Plan a trim to a straight hoof and pastern")
          ->excludes(angle);
  CLI::Option* height =
      command
          .add_option("--heel-height",
                      words.heel_height,
                      "Plan a trim to this heel height; the toe angle stays")
          ->type_name("MM")
          ->check(Within(5.0, 150.0))
          ->excludes(angle)
          ->excludes(align);
  command
      .add_option("--even-off",
                  words.options.trim.even_off_mm,
                  "Besides, so much off toe and heel alike")
      ->type_name("MM")
      ->check(Within(0.0, 30.0));
  command.add_flag(
      "--whole-trim",
      words.options.trim.whole_at_once,
      "All of it at once, even where it is more than the published "
      "mean of one trim");
  command
      .add_flag("--match",
                words.match,
                "With --other: trim both to the mean of their toe angles")
      ->excludes(angle)
      ->excludes(align)
      ->excludes(height);
}

}  // namespace

void AddFit(CLI::App& program, Action& action) {
  auto words = std::make_shared<FitWords>();
  CLI::App* command = program.add_subcommand(
      "fit",
      "What comes next: the trim that you ask for, the shoe, its bar and "
      "nails, and a template at full size");
  command->add_option("--report", words->report, "report.json of the bare foot")
      ->type_name("REPORT")
      ->required();
  command
      ->add_option(
          "--other", words->other, "report.json of the other foot of the pair")
      ->type_name("REPORT");
  AddTrimOptions(*command, *words);
  AddShoeOptions(*command, *words);
  AddNailOptions(*command, *words);
  AddLooseShoeOptions(*command, *words);
  command->add_flag("--json", words->as_json, "Print fit.json, not a table");
  command->add_option("--out", words->out, "Folder for the results")
      ->type_name("DIR")
      ->required();
  command->callback([words, command, &action] {
    // One thickness that was said is that of the whole wall.
    if (command->count("--wall-quarter") == 0) {
      words->options.nails.wall_quarter_mm = words->options.nails.wall_toe_mm;
    }
    action = [words] { return RunFit(*words); };
  });
}

}  // namespace plumbfoot::cli
