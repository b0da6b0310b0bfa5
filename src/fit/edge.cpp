// SPDX-License-Identifier: Apache-2.0
#include "fit/edge.h"

#include <algorithm>
#include <limits>
#include <stdexcept>

namespace plumbfoot::fit {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

std::vector<double> LengthsTo(const FootPolyline& line) {
  std::vector<double> lengths;
  lengths.reserve(line.size());
  double sum = 0.0;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (i > 0) sum += geometry::Distance(line[i - 1], line[i]);
    lengths.push_back(sum);
  }
  return lengths;
}

Walk::Walk(FootPolyline line)
    : line_(std::move(line)), lengths_(LengthsTo(line_)) {
  if (line_.size() < 2 || !(lengths_.back() > 0)) {
    throw std::invalid_argument("Walk: a line without length");
  }
}

FootPoint Walk::At(double along) const {
  along = std::clamp(along, 0.0, length());
  const auto next = std::lower_bound(lengths_.begin(), lengths_.end(), along);
  const auto i = static_cast<std::size_t>(
      std::max<std::ptrdiff_t>(1, next - lengths_.begin()));
  const double step = lengths_[i] - lengths_[i - 1];
  const double part = step > 0 ? (along - lengths_[i - 1]) / step : 0.0;
  return line_[i - 1] + part * (line_[i] - line_[i - 1]);
}

FootVector Walk::Direction(double along, double reach) const {
  const FootVector way = At(along + reach) - At(along - reach);
  return way / geometry::Norm(way);
}

FootVector Walk::Outwards(double along, double reach) const {
  return geometry::Perpendicular(Direction(along, reach));
}

FootPoint NearestOnSegment(FootPoint a, FootPoint b, FootPoint p) {
  const FootVector way = b - a;
  const double square = geometry::Dot(way, way);
  if (!(square > 0)) return a;
  return a + std::clamp(geometry::Dot(p - a, way) / square, 0.0, 1.0) * way;
}

double Walk::Nearest(FootPoint point) const {
  double least = std::numeric_limits<double>::infinity();
  double along = 0.0;
  for (std::size_t i = 1; i < line_.size(); ++i) {
    const FootPoint on = NearestOnSegment(line_[i - 1], line_[i], point);
    const double off = geometry::Distance(on, point);
    if (off < least) {
      least = off;
      along = lengths_[i - 1] + geometry::Distance(line_[i - 1], on);
    }
  }
  return along;
}

double ToeCentre(const Sole& sole, const Walk& wall) {
  const FootPolyline& line = wall.line();
  const std::vector<double> lengths = LengthsTo(line);
  double foremost = -std::numeric_limits<double>::infinity();
  double along = 0.0;
  for (std::size_t i = 1; i < line.size(); ++i) {
    const double a = line[i - 1].y - sole.axis_y;
    const double b = line[i].y - sole.axis_y;
    if ((a > 0) == (b > 0)) continue;
    const double part = a / (a - b);
    const FootPoint at = line[i - 1] + part * (line[i] - line[i - 1]);
    if (at.x > foremost) {
      foremost = at.x;
      along = lengths[i - 1] + part * (lengths[i] - lengths[i - 1]);
    }
  }
  return along;
}

}  // namespace plumbfoot::fit
