// SPDX-License-Identifier: Apache-2.0
/// @file
/// Reports of feet with known shape, measured from points that are where they
/// should be: what `measure` would write of two good photos.
#pragma once

#include <optional>
#include <string>
#include <utility>

#include "measure/foot_model.h"
#include "plumbfoot/measure/measure.h"
#include "report/sample_report.h"

namespace plumbfoot::report {

inline ViewReport MeasuredView(ViewPoints points,
                               const geometry::PlaneEstimate& estimate,
                               const std::string& sha256) {
  ViewReport view = SampleView(points.view);
  view.sha256 = sha256;
  measure::MeasureOptions options;
  options.trials = 400;
  view.measures = measure::MeasureView(points, estimate, options);
  view.points = std::move(points);
  return view;
}

inline geometry::PlaneEstimate GoodPhoto(double distance_mm) {
  geometry::PlaneEstimate estimate =
      measure::LookAt({95, 95}, distance_mm, 3, 40, 10);
  measure::FitCard(estimate, 0.08);
  estimate.scale = geometry::ScaleSource::kCard;
  // A ruler has been at the print: see card::FindCard.
  estimate.doubt.print_sigma = 0.2 / 149.4;
  estimate.doubt.offset_sigma_mm = 1.0;
  return estimate;
}

/// The foot as two photos show it, with noise if there is a `random`.
inline FootReport ReportOf(const measure::Sole& sole,
                           const measure::Side& side,
                           geometry::Random* random = nullptr) {
  FootReport report;
  report.foot = Foot::kLeftFore;
  report.horse = "Juno";
  report.date = "2026-03-14";
  report.software_version = "0.1.0";
  const double far = random != nullptr ? random->Uniform(500, 800) : 600;
  const geometry::PlaneEstimate estimate = GoodPhoto(far);
  const geometry::CardPoint aim{95, 95};
  const geometry::PlaneMap map =
      random != nullptr
          ? geometry::PlaneSampler(estimate, aim).Draw(*random, {0.0})
          : geometry::NominalMap(estimate);
  const double px_per_mm = map.PixelsPerMillimetre(aim);
  const measure::Hand hand{0.4 * px_per_mm, 0.25 * px_per_mm, 4.0 * px_per_mm};
  const auto placed = [&aim](geometry::FootPoint middle, double hand_of) {
    measure::Placed place;
    place.hand = hand_of;
    place.origin = aim;
    place.origin = aim - (place.ToCard(middle) - aim);
    return place;
  };
  std::string sha(64, random != nullptr ? 'b' : 'a');
  report.solar = MeasuredView(
      PhotoOf(sole, placed({sole.length / 2, 0}, -1), map, hand, random),
      estimate,
      sha);
  sha.back() = 'c';
  report.lateral = MeasuredView(
      PhotoOf(side, placed({-side.support / 2, 35}, 1), map, hand, random),
      estimate,
      sha);
  Judge(report);
  return report;
}

}  // namespace plumbfoot::report
