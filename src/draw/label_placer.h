// SPDX-License-Identifier: Apache-2.0
/// @file
/// Finds places for labels: inside the picture, over no other label, and over
/// as few lines as can be.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {

class LabelPlacer {
 public:
  /// @param picture  No label leaves it.
  /// @param gap      Between two labels, and from the picture's edge.
  LabelPlacer(const Box& picture, double gap);

  /// A label that covers a part of this line pays for it.
  void Avoid(std::span<const CanvasPoint> line, bool closed = false);
  /// A label that covers this place pays much.
  void AvoidPoint(CanvasPoint point);
  /// A label that would rather not lie inside this polygon.
  void AvoidInside(std::span<const CanvasPoint> polygon);
  /// No label may cover it.
  void Block(const Box& box);

  /// A place for a label of that size, as near to its anchor as can be, on the
  /// side of `toward` where there is a choice. It is then blocked.
  /// @return Nothing if there is no room left.
  std::optional<Box> Place(double width,
                           double height,
                           CanvasPoint anchor,
                           CanvasVector toward);
  /// A place in one of the picture's corners, the lower ones first.
  std::optional<Box> PlaceInCorner(double width, double height);

 private:
  bool Free(const Box& box) const;
  double Cost(const Box& box) const;
  double CrossingCost(CanvasPoint from, CanvasPoint to) const;

  Box picture_;
  double gap_;
  std::vector<CanvasPoint> samples_;
  std::vector<CanvasPoint> points_;
  std::vector<CanvasPoint> inside_;
  std::vector<Box> blocked_;
};

/// The place of `box` that is nearest to `point`.
CanvasPoint NearestIn(const Box& box, CanvasPoint point);

}  // namespace plumbfoot::draw
