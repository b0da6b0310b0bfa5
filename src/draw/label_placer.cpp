// SPDX-License-Identifier: Apache-2.0
#include "draw/label_placer.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace plumbfoot::draw {
namespace {

// CHOSEN by eye on photos of soles and sides: covering one sample of a line
// counts like standing five gaps farther away, a point like fifty, and lying
// wholly inside the foot like forty, and a leader that runs below another
// label like twenty.
constexpr double kSampleCost = 5.0;
constexpr double kPointCost = 50.0;
constexpr double kInsideCost = 40.0;
constexpr double kCrossingCost = 20.0;

bool Inside(std::span<const CanvasPoint> polygon, CanvasPoint p) {
  bool inside = false;
  for (std::size_t i = 0, j = polygon.size() - 1; i < polygon.size(); j = i++) {
    const CanvasPoint a = polygon[i];
    const CanvasPoint b = polygon[j];
    if ((a.y > p.y) != (b.y > p.y) &&
        p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x) {
      inside = !inside;
    }
  }
  return inside;
}

bool Holds(const Box& box, CanvasPoint p) {
  return p.x > box.x && p.x < box.right() && p.y > box.y && p.y < box.bottom();
}

}  // namespace

CanvasPoint NearestIn(const Box& box, CanvasPoint point) {
  return {std::clamp(point.x, box.x, box.right()),
          std::clamp(point.y, box.y, box.bottom())};
}

LabelPlacer::LabelPlacer(const Box& picture, double gap)
    : picture_(picture), gap_(gap) {}

void LabelPlacer::Avoid(std::span<const CanvasPoint> line, bool closed) {
  const std::size_t pieces =
      line.size() < 2 ? 0 : (closed ? line.size() : line.size() - 1);
  double since = 2 * gap_;
  for (std::size_t i = 0; i < pieces; ++i) {
    const CanvasPoint a = line[i];
    const CanvasPoint b = line[(i + 1) % line.size()];
    const double length = geometry::Distance(a, b);
    if (!(length > 0)) continue;
    double at = std::max(0.0, 2 * gap_ - since);
    for (; at <= length; at += 2 * gap_) {
      samples_.push_back(a + (at / length) * (b - a));
    }
    since = length - (at - 2 * gap_);
  }
}

void LabelPlacer::AvoidPoint(CanvasPoint point) {
  points_.push_back(point);
}

void LabelPlacer::AvoidInside(std::span<const CanvasPoint> polygon) {
  inside_.assign(polygon.begin(), polygon.end());
}

void LabelPlacer::Block(const Box& box) {
  blocked_.push_back(box);
}

bool LabelPlacer::Free(const Box& box) const {
  const Box wide = Grown(box, gap_);
  if (!Contains(picture_, wide)) return false;
  return std::none_of(blocked_.begin(), blocked_.end(), [&](const Box& other) {
    return Overlap(wide, other);
  });
}

double LabelPlacer::Cost(const Box& box) const {
  double cost = 0;
  const Box wide = Grown(box, 0.5 * gap_);
  for (const CanvasPoint& p : samples_)
    cost += Holds(wide, p) ? kSampleCost : 0;
  for (const CanvasPoint& p : points_) cost += Holds(wide, p) ? kPointCost : 0;
  if (!inside_.empty()) {
    const std::array<CanvasPoint, 5> places = {
        box.middle(),
        CanvasPoint{box.x, box.y},
        CanvasPoint{box.right(), box.y},
        CanvasPoint{box.x, box.bottom()},
        CanvasPoint{box.right(), box.bottom()}};
    for (const CanvasPoint& p : places) {
      cost += Inside(inside_, p) ? kInsideCost / 5 : 0;
    }
  }
  return cost;
}

double LabelPlacer::CrossingCost(CanvasPoint from, CanvasPoint to) const {
  double cost = 0;
  for (const Box& other : blocked_) {
    constexpr int kSteps = 12;
    for (int i = 1; i < kSteps; ++i) {
      if (Holds(other,
                from + (static_cast<double>(i) / kSteps) * (to - from))) {
        cost += kCrossingCost;
        break;
      }
    }
  }
  return cost;
}

std::optional<Box> LabelPlacer::Place(double width,
                                      double height,
                                      CanvasPoint anchor,
                                      CanvasVector toward) {
  std::optional<Box> best;
  double best_cost = 0;
  const auto consider = [&](const Box& box, double extra) {
    if (!Free(box)) return;
    double cost =
        geometry::Distance(anchor, NearestIn(box, anchor)) / gap_ + extra;
    // What it would cover costs most of the time, and only ever adds.
    if (best && cost >= best_cost) return;
    cost += Cost(box);
    if (best && cost >= best_cost) return;
    cost += CrossingCost(anchor, NearestIn(box, anchor));
    if (!best || cost < best_cost) {
      best = box;
      best_cost = cost;
    }
  };

  const double n = geometry::Norm(toward);
  constexpr int kDirections = 24;
  for (int ring = 0; ring < 14; ++ring) {
    const double reach = gap_ * (1.5 + 2.5 * ring);
    for (int i = 0; i < kDirections; ++i) {
      const double a = 2 * std::numbers::pi * i / kDirections;
      const CanvasVector d{std::cos(a), std::sin(a)};
      // The label's near side stands `reach` from the anchor: its middle lies
      // farther out by half its size in that direction.
      const CanvasPoint middle =
          anchor +
          CanvasVector{d.x * (reach + width / 2), d.y * (reach + height / 2)};
      const double turned = n > 0 ? 1 - geometry::Dot(d, toward) / n : 0;
      consider({middle.x - width / 2, middle.y - height / 2, width, height},
               6 * turned);
    }
  }
  if (!best) {
    // Crowded: anywhere.
    constexpr int kSteps = 40;
    for (int i = 0; i <= kSteps; ++i) {
      for (int j = 0; j <= kSteps; ++j) {
        consider({picture_.x + (picture_.width - width) * i / kSteps,
                  picture_.y + (picture_.height - height) * j / kSteps,
                  width,
                  height},
                 0);
      }
    }
  }
  if (best) Block(*best);
  return best;
}

std::optional<Box> LabelPlacer::PlaceInCorner(double width, double height) {
  std::optional<Box> best;
  double best_cost = 0;
  const double left = picture_.x + 2 * gap_;
  const double right = picture_.right() - 2 * gap_ - width;
  const double top = picture_.y + 2 * gap_;
  const double bottom = picture_.bottom() - 2 * gap_ - height;
  for (const auto& [x, y] :
       {std::pair{left, bottom}, {right, bottom}, {left, top}, {right, top}}) {
    const Box box{x, y, width, height};
    if (!Free(box)) continue;
    const double cost = Cost(box);
    if (!best || cost < best_cost) {
      best = box;
      best_cost = cost;
    }
  }
  if (best) Block(*best);
  return best;
}

}  // namespace plumbfoot::draw
