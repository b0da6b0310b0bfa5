// SPDX-License-Identifier: Apache-2.0
/// @file
/// An owner's page with something in every place.
#pragma once

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/report/owner_page.h"

namespace plumbfoot::report {

/// An oval of this size, the heels at x = 0.
inline std::vector<geometry::FootPoint> OvalOutline(double width_mm,
                                                    double length_mm) {
  std::vector<geometry::FootPoint> outline;
  for (int i = 0; i < 72; ++i) {
    const double a = i * std::numbers::pi / 36;
    outline.push_back(
        {length_mm / 2 * (1 + std::cos(a)), width_mm / 2 * std::sin(a)});
  }
  return outline;
}

inline OwnerPicture SamplePicture(const std::string& words) {
  OwnerPicture picture;
  picture.rgb = cv::Mat(480, 640, CV_8UC3, cv::Scalar(190, 180, 160));
  cv::circle(picture.rgb, {320, 240}, 150, {90, 80, 70}, -1);
  picture.jpeg = photo::EncodeJpeg(picture.rgb);
  picture.words = words;
  return picture;
}

inline OwnerPage SampleOwnerPage(const OwnerWords& words) {
  OwnerPage page;
  page.practice = "Hollin & Daughter, farriers";
  page.telephone = "+44 (0)1632 960 123";
  page.title = words.Say(
      "title", {{"horse", "Juno"}, {"date", words.Date("2026-03-14")}});
  page.yard = "Low Beck";
  page.summary = {words.Say("summary.changed",
                            {{"earlier", words.Say("stage.before_trim")},
                             {"feet", words.Say("foot.LF")}}),
                  words.Say("summary.unsure")};
  const auto row = [&](const std::string& key,
                       const std::string& now,
                       const std::string& earlier,
                       const std::string& more) {
    OwnerRow out;
    out.name = words.Say("measure." + key);
    out.now = words.Number(now);
    out.earlier = words.Number(earlier);
    out.changed = !more.empty();
    out.change = more.empty() ? words.Say("no_change")
                              : words.Say(more + "." + key,
                                          {{"amount", words.Number("1.4°")}});
    page.terms.push_back({out.name, words.Say("term." + key)});
    return out;
  };
  for (const auto& [foot, code] :
       {std::pair{geometry::Foot::kLeftFore, "LF"},
        std::pair{geometry::Foot::kRightFore, "RF"},
        std::pair{geometry::Foot::kLeftHind, "LH"},
        std::pair{geometry::Foot::kRightHind, "RH"}}) {
    OwnerFoot shown;
    shown.foot = foot;
    shown.name = words.Say(std::string("foot.") + code);
    shown.numbers = {
        words.Number("128.4") + " × " + words.Number("131.0 mm"),
        words.Say("measure.toe_angle") + " " + words.Number("50.2°")};
    shown.outline = OvalOutline(128, 131);
    const bool changed = foot == geometry::Foot::kLeftFore;
    shown.earlier_outline = OvalOutline(130, changed ? 138 : 132);
    shown.verdict = changed ? OwnerVerdict::kChanged : OwnerVerdict::kNoChange;
    shown.verdict_words =
        changed ? words.Say("verdict.changed",
                            {{"what", words.Say("measure.toe_angle")}})
                : words.Say("verdict.no_change");
    page.terms.clear();
    shown.rows = {
        row("toe_angle", "50.2° ± 0.6°", "48.8° ± 0.6°", changed ? "more" : ""),
        row("bearing_width", "128.4 ± 0.5 mm", "130.0 ± 0.5 mm", ""),
        row("dorsal_wall_length", "88.1 ± 0.7 mm", "", "")};
    shown.pictures = {
        SamplePicture(words.Say(
            "picture.solar",
            {{"foot", shown.name}, {"stage", words.Say("stage.after_trim")}})),
        SamplePicture(words.Say(
            "picture.lateral",
            {{"foot", shown.name}, {"stage", words.Say("stage.after_trim")}}))};
    page.feet.push_back(shown);
  }
  page.feet[1].stands_out = {words.Say("stands_out.pastern_tolerance.above",
                                       {{"number", words.Number("4.2°")}})};
  page.outline_words = {
      words.Say("outline.earlier",
                {{"now", words.Say("stage.after_trim")},
                 {"earlier", words.Say("stage.before_trim")}})};
  page.done = {words.Say("done.line",
                         {{"feet", words.Say("all_feet")},
                          {"what", words.Say("done.trimmed")}}),
               words.Say("done.line",
                         {{"feet", words.Say("foot.LF")},
                          {"what", words.Say("done.nails", {{"what", "6"}})}}),
               words.Say("done.by", {{"who", "A. Hollin"}})};
  page.vet = "Keep the heels; look again in three weeks.";
  page.next_visit =
      words.Say("next_visit", {{"date", words.Date("2026-04-25")}});
  page.call_the_vet = {words.Say("vet.signs"), words.Say("vet.law")};
  for (const char* key : {"not_a_diagnosis", "uncertainty", "change", "sole"}) {
    page.cautions.push_back(words.Say(std::string("caution.") + key));
  }
  page.sources = {words.Say("source.pastern_tolerance")};
  page.made_with = words.Say("made_with", {{"version", "0.1.0"}});
  return page;
}

}  // namespace plumbfoot::report
