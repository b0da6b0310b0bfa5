// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/shoe_on_foot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "draw/page_style.h"
#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

constexpr double kTimes = 8.0;    ///< CHOSEN: so that half a millimetre shows.
constexpr double kMargin = 30.0;  ///< For bars and numbers.
constexpr double kHead = 22.0;
constexpr double kNumberRoom = 12.0;  ///< Beyond a bar's end.
constexpr Colour kSteel{0.80, 0.83, 0.87};
constexpr Colour kSteelEdge{0.05, 0.07, 0.12};
constexpr Colour kHorn{0.62, 0.30, 0.08};

struct Frame {
  double low_x = std::numeric_limits<double>::infinity();
  double high_x = -std::numeric_limits<double>::infinity();
  double low_y = std::numeric_limits<double>::infinity();
  double high_y = -std::numeric_limits<double>::infinity();

  void Hold(const FootPolyline& line) {
    for (const FootPoint& p : line) {
      low_x = std::min(low_x, p.x);
      high_x = std::max(high_x, p.x);
      low_y = std::min(low_y, p.y);
      high_y = std::max(high_y, p.y);
    }
  }
  double width() const {
    return std::max(high_y - low_y + 2 * kMargin, kPageWidth);
  }
  double height() const { return high_x - low_x + 1.6 * kMargin + kHead; }
  CanvasPoint operator()(FootPoint p) const {
    return {width() / 2 + p.y - (low_y + high_y) / 2,
            kHead + 0.8 * kMargin + high_x - p.x};
  }
};

Frame FrameOf(const ShoeOnFoot& drawing) {
  Frame frame;
  frame.Hold(drawing.gap.shoe);
  frame.Hold(drawing.sole.outline);
  // The bars at the heels run backwards; kMargin is beside them already.
  double rearmost = frame.low_x;
  for (const fit::GapPlace& place : drawing.gap.places) {
    const FootVector out = place.shoe - place.foot;
    rearmost = std::min(
        rearmost, place.foot.x + kTimes * out.x + 0.8 * kMargin - kNumberRoom);
  }
  frame.low_x = rearmost;
  return frame;
}

void Draw(const ShoeOnFoot& drawing, const Frame& frame, Canvas& canvas) {
  const auto on_canvas = [&frame](const FootPolyline& line) {
    std::vector<CanvasPoint> points;
    points.reserve(line.size());
    for (const FootPoint& p : line) points.push_back(frame(p));
    return points;
  };
  canvas.Text(drawing.title, {8, 5}, Ink(5.4, true));
  canvas.Text(
      drawing.subtitle, {8, 12.4}, Wrapped(Quiet(3.0), frame.width() - 16));
  const auto shoe = on_canvas(drawing.gap.shoe);
  canvas.Fill(shoe, kSteel);
  canvas.Polyline(shoe, {.colour = kSteelEdge, .width = 0.3}, true);
  canvas.Polyline(on_canvas(drawing.sole.outline),
                  {.colour = kHorn, .width = 0.4, .dashes = {2.4, 1.2}},
                  true);
  for (const fit::GapPlace& place : drawing.gap.places) {
    // The way out of the foot; nearly no gap has no way of its own.
    FootVector out = place.shoe - place.foot;
    const double length = geometry::Norm(out);
    if (length < 0.05) {
      out = place.foot - FootPoint{drawing.sole.length / 3, 0};
      out = out / geometry::Norm(out);
    } else {
      out = (place.gap_mm < 0 ? -1.0 : 1.0) * out / length;
    }
    const Colour colour = place.gap_mm < 0 ? kVermilion : kBlue;
    const CanvasPoint from = frame(place.foot);
    const CanvasPoint to = frame(place.foot + (kTimes * place.gap_mm) * out);
    canvas.Line(from, to, {.colour = colour, .width = 1.2});
    canvas.Disc(from, 0.7, colour);
    const double beyond = std::max(kTimes * place.gap_mm, 0.0) + 5.5;
    const CanvasPoint at = frame(place.foot + beyond * out);
    // No "-0.0".
    const double shown = std::round(10 * place.gap_mm) / 10 + 0.0;
    const std::string text =
        shown == 0 ? std::string("0.0") : fmt::format("{:+.1f}", shown);
    const TextStyle style{colour, 3.0, std::abs(place.gap_mm) >= 1.0};
    const Box size = canvas.MeasureText(text, style);
    canvas.Text(text, {at.x, at.y - size.height / 2}, style, Anchor::kMiddle);
  }
  // Between the branches.
  const CanvasPoint middle = frame({drawing.sole.length * 0.52, 0});
  double y = middle.y - 12;
  const auto line = [&](const std::string& text, const TextStyle& style) {
    y += canvas.Text(text, {middle.x, y}, style, Anchor::kMiddle).height + 0.6;
  };
  line(fmt::format("+{:.1f} mm", drawing.gap.most_out_mm), {kBlue, 5.6, true});
  line("shoe outside, at most", {kBlue, 3.0, false});
  line(fmt::format("−{:.1f} mm", drawing.gap.most_in_mm),
       {kVermilion, 5.6, true});
  line("foot outside, at most", {kVermilion, 3.0, false});
  y += 2;
  line(fmt::format("bars {:.0f} times as long", kTimes), Quiet(2.8));
  double lowest = std::numeric_limits<double>::infinity();
  for (const FootPoint& p : drawing.gap.shoe) lowest = std::min(lowest, p.x);
  const auto heel = [&](double past, double side) {
    const CanvasPoint at = frame({lowest, side * drawing.sole.width * 0.27});
    canvas.Text(fmt::format("heel {:+.0f} mm", past),
                {at.x, at.y + 2.5},
                Ink(3.0),
                Anchor::kMiddle);
  };
  heel(drawing.gap.heel_left_mm, 1.0);
  heel(drawing.gap.heel_right_mm, -1.0);
}

}  // namespace

std::string ShoeOnFootSvg(const ShoeOnFoot& drawing) {
  const Frame frame = FrameOf(drawing);
  Canvas canvas = Canvas::Svg(frame.width(), frame.height());
  Draw(drawing, frame, canvas);
  return canvas.Finish();
}

std::string ShoeOnFootPng(const ShoeOnFoot& drawing) {
  const Frame frame = FrameOf(drawing);
  Canvas canvas = Canvas::Png(frame.width(), frame.height(), 150.0);
  Draw(drawing, frame, canvas);
  return canvas.Finish();
}

}  // namespace plumbfoot::draw
