// SPDX-License-Identifier: Apache-2.0
// Uses the installed library as a stranger would: measures a lateral photo of
// which only three points are known.
#include <cmath>
#include <cstdio>
#include <variant>

#include "plumbfoot/card/find_card.h"
#include "plumbfoot/measure/measure.h"

int main() {
  using plumbfoot::PointId;
  plumbfoot::ViewPoints points;
  points.view = plumbfoot::View::kLateral;
  const auto place = [&](PointId id, double x, double y) {
    points.at(id) = plumbfoot::geometry::PlacedPoint{
        {x, y},
        plumbfoot::geometry::PhotoCovariance::Round(1.0),
        plumbfoot::PlacedBy::kPerson,
        1.0};
  };
  // A wall that rises 300 px over 300 px: 45 degrees.
  place(PointId::kToeGround, 500, 1000);
  place(PointId::kToeHairline, 800, 700);
  place(PointId::kHeelGround, 1100, 1000);
  const auto measures = plumbfoot::measure::MeasureView(
      points, plumbfoot::card::PlaneWithoutScale({1600, 1200}));
  const auto* angle = std::get_if<plumbfoot::measure::Measured>(
      &measures.outcomes.at(plumbfoot::measure::MeasureId::kToeAngle));
  if (angle == nullptr || std::abs(angle->value - 45.0) > 0.01) return 1;
  std::printf("toe angle %.2f deg\n", angle->value);
  return 0;
}
