// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <unistd.h>

#include <filesystem>
#include <future>
#include <memory>

#include "cli/commands.h"
#include "cli/scale_words.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/drawn_photo.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/report_json.h"
#include "plumbfoot/report/terminal_table.h"

namespace plumbfoot::cli {
namespace {

struct MeasureWords {
  std::string foot;
  std::string solar;
  std::string lateral;
  std::string points;
  std::string stage = "other";
  std::string horse;
  std::string date;
  std::string out;
  std::string heels;
  std::string known_view;
  double known_mm = 0.0;
  std::vector<double> known_points;
  bool shod = false;
  bool as_json = false;
  ScaleWords scale;
};

Result<std::optional<report::KnownLength>> KnownFrom(const MeasureWords& words,
                                                     bool known) {
  if (!known) return std::optional<report::KnownLength>{};
  if (words.known_points.size() != 4) {
    return Refusal{RefusalCode::kUsage,
                   "A known length needs its two ends in the photo.",
                   "Give --known-points X1,Y1,X2,Y2 in photo pixels."};
  }
  if (words.known_view.empty() && !words.solar.empty() &&
      !words.lateral.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "In which of the two photos is the known length?",
                   "Add --known-view solar or --known-view lateral."};
  }
  report::KnownLength length;
  length.view =
      words.known_view.empty()
          ? (words.solar.empty() ? View::kLateral : View::kSolar)
          : (words.known_view == "solar" ? View::kSolar : View::kLateral);
  length.mm = words.known_mm;
  length.from = {words.known_points[0], words.known_points[1]};
  length.to = {words.known_points[2], words.known_points[3]};
  return std::optional<report::KnownLength>(length);
}

Result<report::FootRequest> RequestFrom(const MeasureWords& words, bool known) {
  report::FootRequest request;
  const auto foot = geometry::ParseFoot(words.foot);
  if (!foot) return foot.error();
  request.foot = *foot;
  const auto stage = report::ParseStage(words.stage);
  if (!stage) return stage.error();
  request.stage = *stage;
  if (!words.date.empty()) {
    const auto date = report::ParseDate(words.date);
    if (!date) return date.error();
    request.date = *date;
  }
  if (!words.horse.empty()) request.horse = words.horse;
  request.shod = words.shod;
  if (!words.solar.empty()) request.solar = words.solar;
  if (!words.lateral.empty()) request.lateral = words.lateral;
  auto length = KnownFrom(words, known);
  if (!length) return length.error();
  request.known = *length;
  if (!words.points.empty()) {
    auto points = find::LoadPoints(words.points);
    if (!points) return points.error();
    request.points = std::move(*points);
  }
  if (!words.heels.empty() && request.points.lateral) {
    request.points.lateral->heel_plane = words.heels == "near"
                                             ? geometry::HeelPlane::kNear
                                             : geometry::HeelPlane::kMiddle;
  }
  auto scale = ScaleFrom(words.scale);
  if (!scale) return scale.error();
  request.scale = std::move(*scale);
  return request;
}

ExitStatus RunMeasure(const MeasureWords& words, bool known) {
  const auto request = RequestFrom(words, known);
  if (!request) return Refuse(request.error());
  // Text is set in this thread only, pictures are encoded beside it; the sole
  // is drawn while the side view is still looked at.
  const auto drawn = [](const report::MeasuredFoot& foot, View view) {
    return std::async(std::launch::async,
                      [rgb = report::DrawnPhoto(foot, view)] {
                        return photo::EncodeJpeg(rgb);
                      });
  };
  std::future<std::string> solar;
  const auto measured =
      report::MeasureFoot(*request, [&](const report::MeasuredFoot& foot) {
        solar = drawn(foot, View::kSolar);
      });
  if (!measured) return Refuse(measured.error());
  const report::FootReport& foot = measured->report;

  // Everything is made before anything is written.
  std::vector<photo::NamedBytes> files;
  std::future<std::string> lateral;
  if (foot.lateral) lateral = drawn(*measured, View::kLateral);
  if (foot.solar && !solar.valid()) solar = drawn(*measured, View::kSolar);
  const std::string text = report::ReportText(foot);
  if (foot.lateral) files.push_back({"lateral-annotated.jpg", lateral.get()});
  if (foot.solar) files.push_back({"solar-annotated.jpg", solar.get()});
  files.push_back({"points.json", find::WritePoints(report::PointsOf(foot))});
  files.push_back({"report.json", text});
  const auto written = photo::WriteSet(words.out, files);
  if (!written) return Refuse(written.error());

  if (words.as_json) {
    fmt::print("{}", text);
  } else {
    fmt::print("{}\n", report::TerminalTable(foot, isatty(1) != 0));
    for (const auto& file : *written) fmt::print("{}\n", file.string());
  }
  return report::NeedsAPerson(foot) ? ExitStatus::kNeedsPerson
                                    : ExitStatus::kDone;
}

}  // namespace

void AddMeasure(CLI::App& program, Action& action) {
  auto words = std::make_shared<MeasureWords>();
  CLI::App* command = program.add_subcommand(
      "measure",
      "Measure one foot: photos in, annotated photos and report.json out");
  command
      ->add_option("--foot",
                   words->foot,
                   "LF, RF, LH or RH (NF, OF, NH, OH mean the same)")
      ->type_name("FOOT")
      ->required();
  command->add_option("--solar", words->solar, "Photo of the sole")
      ->type_name("PHOTO");
  command->add_option("--lateral", words->lateral, "Photo of the side")
      ->type_name("PHOTO");
  command
      ->add_option("--points",
                   words->points,
                   "Points placed by a person; the rest is for the finder")
      ->type_name("FILE");
  command
      ->add_option("--heels",
                   words->heels,
                   "The heel points of --points lie on the heel that one sees "
                   "(near) or where the middle plane's would appear (middle, "
                   "as in a points file that says nothing)")
      ->check(CLI::IsMember({"near", "middle"}))
      ->type_name("near|middle");
  command->add_flag("--shod", words->shod, "The foot wears a shoe");
  command->add_option("--horse", words->horse, "The horse's name")
      ->type_name("NAME");
  command->add_option("--date", words->date, "Date of the visit, 2026-03-14")
      ->type_name("DATE");
  command
      ->add_option("--stage",
                   words->stage,
                   "before_trim, after_trim, after_shoeing or other")
      ->type_name("STAGE");
  CLI::Option* known =
      command
          ->add_option("--known-mm",
                       words->known_mm,
                       "Without a card: a length in the photo that you know")
          ->type_name("MM");
  CLI::Option* ends = command
                          ->add_option("--known-points",
                                       words->known_points,
                                       "Its two ends in photo pixels")
                          ->delimiter(',')
                          ->expected(4)
                          ->type_name("X1,Y1,X2,Y2")
                          ->needs(known);
  known->needs(ends);
  command->add_option("--known-view", words->known_view, "Which photo it is in")
      ->check(CLI::IsMember({"solar", "lateral"}))
      ->type_name("VIEW")
      ->needs(known);
  AddScaleOptions(*command, words->scale);
  command->add_flag("--json", words->as_json, "Print report.json, not a table");
  command->add_option("--out", words->out, "Folder for the results")
      ->type_name("DIR")
      ->required();
  command->callback([words, known, &action] {
    action = [words, known] { return RunMeasure(*words, known->count() > 0); };
  });
}

}  // namespace plumbfoot::cli
