// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <cctype>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "cli/commands.h"
#include "cli/scale_words.h"
#include "cli/settings.h"
#include "plumbfoot/card/lens.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/measure_foot.h"

namespace plumbfoot::cli {
namespace {

using nlohmann::json;

struct CheckWords {
  std::vector<std::string> photos;
  std::string view;
  std::string lens;
  std::string board = "9x6";
  double square_mm = 25.0;
  bool as_json = false;
  ScaleWords scale;
};

/// The view that the file's name tells, as in "LF-solar-before.jpg".
std::optional<View> ViewFromName(const std::filesystem::path& path) {
  std::string name = path.filename().string();
  std::transform(name.begin(), name.end(), name.begin(), [](unsigned char c) {
    return static_cast<char>(std::tolower(c));
  });
  const auto has = [&](std::string_view word) {
    return name.find(word) != std::string::npos;
  };
  const bool solar = has("solar") || has("sole");
  const bool lateral = has("lateral") || has("side");
  if (solar == lateral) return std::nullopt;
  return solar ? View::kSolar : View::kLateral;
}

ExitStatus RunLens(const CheckWords& words) {
  int across = 0;
  int down = 0;
  char rest = 0;
  // NOLINTNEXTLINE(cert-err34-c): the count of conversions is checked.
  if (std::sscanf(words.board.c_str(), "%dx%d%c", &across, &down, &rest) != 2 ||
      across < 3 || down < 3 || across > 50 || down > 50) {
    return Refuse({RefusalCode::kUsage,
                   fmt::format("\"{}\" is not a chessboard.", words.board),
                   "Count its inner corners, across and down, as in 9x6."});
  }
  if (!(words.square_mm > 0)) {
    return Refuse({RefusalCode::kUsage,
                   "The chessboard's squares need a size above 0 mm.",
                   "Measure one with a ruler and give --square-mm."});
  }
  std::vector<cv::Mat> photos;
  std::string camera;
  for (const std::string& path : words.photos) {
    auto photo = photo::LoadPhoto(path);
    if (!photo) return Refuse(photo.error());
    if (camera.empty() && photo->exif.camera) camera = *photo->exif.camera;
    photos.push_back(photo->rgb);
  }
  auto profile = card::CalibrateLens(photos, {across, down}, words.square_mm);
  if (!profile) return Refuse(profile.error());
  profile->camera_name = camera;
  if (auto saved = card::SaveLens(*profile, words.lens); !saved) {
    return Refuse(saved.error());
  }
  const auto settings_path = SettingsPath();
  auto settings = LoadSettings(settings_path);
  if (!settings) return Refuse(settings.error());
  settings->lens_profile =
      std::filesystem::absolute(words.lens).lexically_normal().string();
  if (auto saved = SaveSettings(*settings, settings_path); !saved) {
    return Refuse(saved.error());
  }
  fmt::print(
      "{}: {} of {} photos used, {:.2f} px left over. Used for every later "
      "photo of\nthe same size.\n",
      words.lens,
      profile->photos_used,
      photos.size(),
      profile->rms_px);
  return ExitStatus::kDone;
}

json ToJson(const std::string& path,
            const report::ReadPhoto& read,
            std::optional<View> view,
            const judge::PhotoQuality& quality) {
  json out = {
      {"file", path},
      {"quality", judge::GradeName(quality.grade)},
      {"reasons", json::array()},
      {"size",
       {{"width", read.photo.rgb.cols}, {"height", read.photo.rgb.rows}}},
      {"view", nullptr},
      {"card", nullptr}};
  if (view) out["view"] = geometry::ViewName(*view);
  for (const auto& reason : quality.reasons) {
    out["reasons"].push_back({{"code", reason.code},
                              {"quality", judge::GradeName(reason.grade)},
                              {"words", reason.words},
                              {"remedy", reason.remedy}});
  }
  if (read.card) {
    out["card"] = {{"tags", read.card->tags.size()},
                   {"residual_px", read.card->residual_px},
                   {"distance_mm", read.card->distance_mm},
                   {"tilt_deg", read.card->tilt.value()},
                   {"px_per_mm", read.card->px_per_mm},
                   {"blur_px", read.card->blur_px}};
  }
  return out;
}

void Print(const std::string& path,
           const report::ReadPhoto& read,
           std::optional<View> view,
           const judge::PhotoQuality& quality) {
  fmt::print("{}: {}", path, judge::GradeName(quality.grade));
  if (view) fmt::print(", {} view", geometry::ViewName(*view));
  if (read.card) {
    fmt::print(", {} tags, {:.0f} mm away, {:.0f}° tilt, {:.1f} px per mm",
               read.card->tags.size(),
               read.card->distance_mm,
               read.card->tilt.value(),
               read.card->px_per_mm);
  }
  fmt::print("\n");
  for (const auto& reason : quality.reasons) {
    fmt::print("  {} {}\n", reason.words, reason.remedy);
  }
}

ExitStatus RunCheck(const CheckWords& words) {
  if (!words.lens.empty()) return RunLens(words);
  const auto scale = ScaleFrom(words.scale);
  if (!scale) return Refuse(scale.error());

  ExitStatus status = ExitStatus::kDone;
  const find::Finder finder = find::NetworkFinder();
  json photos = json::array();
  for (const std::string& path : words.photos) {
    auto read = report::OpenPhoto(path, *scale);
    if (!read) {
      // The other photos are still worth a look.
      const Refusal& refusal = read.error();
      if (words.as_json) {
        photos.push_back({{"file", path},
                          {"refused",
                           {{"code", geometry::CodeName(refusal.code)},
                            {"words", refusal.message},
                            {"remedy", refusal.remedy}}}});
        status = StatusOf(refusal.code);
      } else {
        status = Refuse(refusal);
      }
      continue;
    }
    std::optional<View> view;
    if (words.view == "solar") view = View::kSolar;
    if (words.view == "lateral") view = View::kLateral;
    if (!view) view = ViewFromName(path);
    const auto look = report::LookForFoot(*read, *scale, view, finder);
    if (!view && look.finding.foot_confidence > 0) view = look.view;
    const auto quality = report::QualityOf(*read, *scale, view, look.finding);
    if (quality.grade == judge::Grade::kRetake && status == ExitStatus::kDone) {
      status = ExitStatus::kNeedsPerson;
    }
    if (words.as_json) {
      photos.push_back(ToJson(path, *read, view, quality));
    } else {
      Print(path, *read, view, quality);
    }
  }
  if (words.as_json) {
    const json document = {
        {"format", "plumbfoot-check"}, {"version", 1}, {"photos", photos}};
    fmt::print("{}\n", document.dump(2));
  }
  return status;
}

}  // namespace

void AddCheck(CLI::App& program, Action& action) {
  auto words = std::make_shared<CheckWords>();
  CLI::App* command = program.add_subcommand(
      "check",
      "Is this photo good enough? Ask in the yard, foot still in hand");
  command->add_option("photos", words->photos, "Photos to look at")
      ->type_name("PHOTO...")
      ->required();
  command
      ->add_option("--view",
                   words->view,
                   "solar or lateral (else told from the name or the picture)")
      ->check(CLI::IsMember({"solar", "lateral"}))
      ->type_name("VIEW");
  command->add_flag("--json", words->as_json, "Answer in JSON");
  AddScaleOptions(*command, words->scale);
  CLI::Option* lens =
      command
          ->add_option("--lens",
                       words->lens,
                       "Make a lens profile instead: the photos show a "
                       "chessboard, from at least five sides")
          ->type_name("FILE");
  command
      ->add_option("--board", words->board, "Inner corners of the chessboard")
      ->type_name("9x6")
      ->needs(lens);
  command->add_option("--square-mm", words->square_mm, "One square of it (25)")
      ->type_name("MM")
      ->needs(lens);
  command->callback(
      [words, &action] { action = [words] { return RunCheck(*words); }; });
}

}  // namespace plumbfoot::cli
