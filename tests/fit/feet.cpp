// SPDX-License-Identifier: Apache-2.0
#include "fit/feet.h"

#include <cmath>
#include <numbers>
#include <utility>

namespace plumbfoot::fit {

using geometry::FootPoint;
using measure::PlainView;

PlainView ViewOf(const measure::Sole& model, int corners) {
  PlainView view;
  view.view = View::kSolar;
  view.outline = model.Outline(corners);
  for (const PointId id : geometry::PointsOf(View::kSolar)) {
    view.at(id) = model.At(id);
  }
  return measure::MeasurePlain(view).foot;
}

PlainView ViewOf(const measure::Side& model, int corners) {
  PlainView view;
  view.view = View::kLateral;
  view.dorsal_wall = model.Wall(corners);
  for (const PointId id : geometry::PointsOf(View::kLateral)) {
    view.at(id) = model.At(id);
  }
  return measure::MeasurePlain(view).foot;
}

Sole SoleOf(const PlainView& view, geometry::Foot foot) {
  return MakeSole(foot, view).value();
}

Sole RandomFoot(geometry::Random& random) {
  using enum geometry::Foot;
  constexpr std::array<geometry::Foot, 4> kFeet = {
      kLeftFore, kRightFore, kLeftHind, kRightHind};
  const measure::Sole model = measure::RandomSole(random);
  return SoleOf(ViewOf(model),
                kFeet[static_cast<std::size_t>(random.Below(4))]);
}

PlainView ViewOf(geometry::FootPolyline outline,
                 FootPoint heel_left,
                 FootPoint heel_right,
                 FootPoint toe) {
  PlainView view;
  view.view = View::kSolar;
  view.outline = std::move(outline);
  view.at(PointId::kHeelLeft) = heel_left;
  view.at(PointId::kHeelRight) = heel_right;
  view.at(PointId::kToe) = toe;
  return view;
}

PlainView HalfCircleWithBranches(double radius, double branches) {
  geometry::FootPolyline outline;
  const int steps = static_cast<int>(std::ceil(branches / 0.2));
  for (int i = 0; i < steps; ++i) {
    outline.push_back({branches * i / steps, radius});
  }
  const int arc = static_cast<int>(std::ceil(std::numbers::pi * radius / 0.2));
  for (int i = 0; i <= arc; ++i) {
    const double t = std::numbers::pi * (0.5 - static_cast<double>(i) / arc);
    outline.push_back({branches + radius * std::cos(t), radius * std::sin(t)});
  }
  for (int i = steps - 1; i >= 0; --i) {
    outline.push_back({branches * i / steps, -radius});
  }
  return ViewOf(
      std::move(outline), {0, radius}, {0, -radius}, {branches + radius, 0});
}

FootToTrim FootOf(const measure::Side& side,
                  const measure::Sole& sole,
                  double angle_sigma,
                  double mm_sigma) {
  FootToTrim foot;
  foot.lateral = ViewOf(side);
  foot.solar = ViewOf(sole);
  for (const PlainView* view : {&*foot.lateral, &*foot.solar}) {
    const auto measures = measure::MeasurePlain(*view);
    for (const measure::MeasureInfo& info : measure::AllMeasures()) {
      if (info.view != view->view) continue;
      measure::Measured m;
      m.value = measures.value(info.id);
      m.standard_uncertainty = info.unit == measure::Unit::kDegree ? angle_sigma
                               : info.unit == measure::Unit::kMillimetre
                                   ? mm_sigma
                                   : 0.0;
      m.low95 = m.value - 1.96 * m.standard_uncertainty;
      m.high95 = m.value + 1.96 * m.standard_uncertainty;
      foot.outcomes.emplace(info.id, m);
    }
  }
  return foot;
}

}  // namespace plumbfoot::fit
