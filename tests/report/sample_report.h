// SPDX-License-Identifier: Apache-2.0
/// @file
/// An invented foot with everything that a report can hold.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>

#include "plumbfoot/judge/judge_foot.h"
#include "plumbfoot/report/foot_report.h"

namespace plumbfoot::report {

inline measure::Measured SampleValue(const measure::MeasureInfo& info) {
  double value = 80.0;
  if (info.unit == measure::Unit::kSquareMillimetre) value = 13311.123456789;
  if (info.unit == measure::Unit::kDegree) value = 51.25;
  if (info.unit == measure::Unit::kPercent) value = 49.0;
  if (info.unit == measure::Unit::kRatio) value = 0.66;
  if (info.id == measure::MeasureId::kToeHeelDifference) value = 12.3;
  if (info.id == measure::MeasureId::kHoofPasternDifference) value = -3.2;
  double u = 0.008 * std::abs(value);
  if (info.unit == measure::Unit::kDegree) u = std::max(u, 0.3);
  return {value, u, value - 1.96 * u, value + 1.96 * u, PlacedBy::kFinder};
}

inline ViewReport SampleView(View view) {
  ViewReport r;
  r.file = view == View::kSolar ? "sole.jpg" : "side.jpg";
  r.sha256 = std::string(64, 'a');
  r.width_px = 4000;
  r.height_px = 3000;
  r.taken = "2026-03-14T09:30:00";
  r.scale = geometry::ScaleSource::kCard;
  r.card = CardFacts{5, 5, 0.21, 612.5, 6.25, 5.75, 1.1, false, 149.4};
  r.points.view = view;
  r.measures.view = view;
  r.measures.has_scale = true;
  double x = 100;
  for (const PointId id : geometry::PointsOf(view)) {
    r.points.at(id) =
        geometry::PlacedPoint{{x, 200.5},
                              geometry::PhotoCovariance::Round(1.5),
                              PlacedBy::kFinder,
                              0.98};
    r.measures.points.at(static_cast<std::size_t>(id)) = measure::PointInFoot{
        {x / 7, -3.25}, geometry::Covariance<geometry::FootFrame>::Round(0.3)};
    x += 37;
  }
  geometry::PlacedCurve curve;
  geometry::FootPolyline mm;
  for (int i = 0; i < 20; ++i) {
    curve.px.push_back({100.0 + i, 50.0 + i * i});
    mm.push_back({i / 3.0, i * i / 7.0});
  }
  curve.confidence = 0.98;
  if (view == View::kSolar) {
    r.points.outline = curve;
    r.measures.outline = mm;
    r.measures.widest_left = r.measures.points.at(1);
    r.measures.widest_right = r.measures.points.at(2);
  } else {
    r.points.dorsal_wall = curve;
    r.measures.dorsal_wall = mm;
  }
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    if (info.view == view) {
      r.measures.outcomes[info.id] = SampleValue(info);
    }
  }
  return r;
}

inline void Judge(FootReport& report) {
  std::optional<judge::ViewToJudge> solar;
  std::optional<judge::ViewToJudge> lateral;
  if (report.solar) solar = ToJudge(*report.solar);
  if (report.lateral) lateral = ToJudge(*report.lateral);
  report.verdict = judge::JudgeFoot(report.foot, report.shod, solar, lateral);
}

inline FootReport SampleReport() {
  FootReport report;
  report.foot = Foot::kLeftFore;
  report.horse = "Bella";
  report.date = "2026-03-14";
  report.stage = Stage::kBeforeTrim;
  report.software_version = "0.1.0";
  report.solar = SampleView(View::kSolar);
  report.lateral = SampleView(View::kLateral);
  report.solar->quality.grade = judge::Grade::kUsable;
  report.solar->quality.reasons = {{"not_square",
                                    judge::Grade::kUsable,
                                    "The phone looks at the sole from 18° off "
                                    "square.",
                                    "Hold the phone squarer to the card."}};
  Judge(report);
  return report;
}

/// What can be missing is missing.
inline FootReport BareReport() {
  FootReport report;
  report.foot = Foot::kRightHind;
  report.shod = true;
  report.software_version = "0.1.0";
  ViewReport view = SampleView(View::kLateral);
  view.taken.reset();
  view.card.reset();
  view.scale = geometry::ScaleSource::kNone;
  view.measures.has_scale = false;
  view.points.at(PointId::kPasternUpper).reset();
  view.points.at(PointId::kPasternLower).reset();
  view.points.hidden.at(static_cast<std::size_t>(PointId::kPasternLower)) =
      true;
  view.points.dorsal_wall.reset();
  view.points.heel_plane = geometry::HeelPlane::kNear;
  for (auto& [id, outcome] : view.measures.outcomes) {
    if (measure::InfoOf(id).needs_scale) {
      outcome = measure::NotMeasured{"no scale"};
    }
  }
  view.measures.outcomes[measure::MeasureId::kPasternAngle] =
      measure::NotMeasured{"pastern_upper is missing"};
  report.lateral = view;
  Judge(report);
  return report;
}

}  // namespace plumbfoot::report
