// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/overlay.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include "draw/page_style.h"

namespace plumbfoot::draw {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;

// CHOSEN: the whole layout. All in millimetres on paper.
constexpr double kWidth = kPageWidth;
constexpr double kMargin = 4.0;
constexpr double kPanelHeight = 92.0;
constexpr double kGap = 6.0;
constexpr double kMostScale = 0.75;  // Of paper to foot.

constexpr Colour kInk = kPageInk;
constexpr Colour kPaperEdge{0.80, 0.80, 0.82};
constexpr Colour kBeforeInk = kBlue;
constexpr Colour kLost = kVermilion;
constexpr Colour kGained = kBluishGreen;

const Pen kBeforePen{kBeforeInk, 0.45, {1.8, 1.1}};
const Pen kAfterPen{kInk, 0.55};

const TextStyle kTitle = Ink(4.6, true);
const TextStyle kSubtitle = Quiet(3.4);
const TextStyle kPanelTitle = Ink(3.6, true);
const TextStyle kBody = Ink(3.2);
const TextStyle kSmall = Quiet(2.7);

/// Parallel lines all over a box, `step` apart, rising or falling.
void Hatch(
    Canvas& canvas, const Box& box, double step, bool rising, const Pen& pen) {
  const double reach = box.height;
  for (double x = box.x - reach; x < box.right() + reach; x += step) {
    const CanvasPoint foot{x, rising ? box.bottom() : box.y};
    const CanvasPoint head{x + reach, rising ? box.y : box.bottom()};
    canvas.Line(foot, head, pen);
  }
}

void Dots(Canvas& canvas, const Box& box, double step) {
  bool shifted = false;
  for (double y = box.y; y < box.bottom() + step; y += 0.87 * step) {
    for (double x = box.x - (shifted ? step / 2 : 0); x < box.right() + step;
         x += step) {
      canvas.Disc({x, y}, 0.26, kGained);
    }
    shifted = !shifted;
  }
}

void ShadeLost(Canvas& canvas, const Box& box) {
  canvas.FillBoxes(std::array{box}, Faded(kLost, 0.22));
  Hatch(canvas, box, 1.5, true, {kLost, 0.3});
}

void ShadeGained(Canvas& canvas, const Box& box) {
  canvas.FillBoxes(std::array{box}, Faded(kGained, 0.16));
  Dots(canvas, box, 1.3);
}

/// From foot millimetres to the paper.
struct Place {
  Box box;       ///< What may be drawn in.
  FootPoint at;  ///< What lies in the middle of it.
  double scale = 1.0;
  bool toe_up = false;

  CanvasPoint operator()(FootPoint p) const {
    const double x = p.x - at.x;
    const double y = p.y - at.y;
    const CanvasPoint middle = box.middle();
    return toe_up ? CanvasPoint{middle.x + scale * y, middle.y - scale * x}
                  : CanvasPoint{middle.x + scale * x, middle.y - scale * y};
  }
  std::vector<CanvasPoint> operator()(const FootPolyline& line) const {
    std::vector<CanvasPoint> points;
    points.reserve(line.size());
    for (const FootPoint& p : line) points.push_back((*this)(p));
    return points;
  }
};

Place PlaceOf(const OverlayPanel& panel, const Box& box) {
  FootPoint low{std::numeric_limits<double>::infinity(),
                std::numeric_limits<double>::infinity()};
  FootPoint high{-low.x, -low.y};
  const auto add = [&](FootPoint p) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  };
  for (const OverlayShape* shape : {&panel.before, &panel.after}) {
    for (const FootPoint& p : shape->region) add(p);
    for (const auto& line : shape->lines) {
      for (const FootPoint& p : line) add(p);
    }
  }
  for (const auto& axis : panel.axes) {
    for (const FootPoint& p : axis) add(p);
  }
  Place place;
  place.box = box;
  place.toe_up = panel.toe_up;
  place.at = geometry::Midpoint(low, high);
  const double wide = panel.toe_up ? high.y - low.y : high.x - low.x;
  const double tall = panel.toe_up ? high.x - low.x : high.y - low.y;
  place.scale = std::min({kMostScale,
                          box.width / std::max(1.0, wide),
                          box.height / std::max(1.0, tall)});
  return place;
}

/// Each region less the other is shaded; what both have stays white.
void Shade(Canvas& canvas, const OverlayPanel& panel, const Place& place) {
  const auto before = place(panel.before.region);
  const auto after = place(panel.after.region);
  if (before.size() < 3 || after.size() < 3) return;
  {
    const auto guard = canvas.Clip(after);
    ShadeGained(canvas, place.box);
  }
  canvas.Fill(before, kWhite);
  {
    const auto guard = canvas.Clip(before);
    ShadeLost(canvas, place.box);
    canvas.Fill(after, kWhite);
  }
}

void DrawShape(Canvas& canvas,
               const OverlayShape& shape,
               const Place& place,
               const Pen& pen) {
  if (shape.region.size() >= 3) {
    canvas.Polyline(place(shape.region), pen, true);
  }
  Pen thin = pen;
  thin.width *= 0.7;
  for (const auto& [from, to] : shape.lines) {
    canvas.Line(place(from), place(to), thin);
  }
}

/// A bar of whole centimetres, the length beside it.
void DrawScale(Canvas& canvas, CanvasPoint right, double scale) {
  const int blocks = scale * 50 < 22 ? 5 : 4;
  const double block = 10 * scale;
  CanvasPoint at{right.x - blocks * block, right.y};
  for (int i = 0; i < blocks; ++i) {
    const Box box{at.x + i * block, at.y, block, 1.5};
    canvas.FillBoxes(std::array{box}, i % 2 == 0 ? kInk : kWhite);
    canvas.Polyline(std::array{CanvasPoint{box.x, box.y},
                               CanvasPoint{box.right(), box.y},
                               CanvasPoint{box.right(), box.bottom()},
                               CanvasPoint{box.x, box.bottom()}},
                    {kInk, 0.2},
                    true);
  }
  canvas.Text(fmt::format("{} mm", 10 * blocks),
              {right.x, at.y + 1.9},
              kSmall,
              Anchor::kRight);
}

void DrawPanel(Canvas& canvas, const OverlayPanel& panel, const Box& box) {
  canvas.Polyline(std::array{CanvasPoint{box.x, box.y},
                             CanvasPoint{box.right(), box.y},
                             CanvasPoint{box.right(), box.bottom()},
                             CanvasPoint{box.x, box.bottom()}},
                  {kPaperEdge, 0.25},
                  true);
  canvas.Text(panel.title, {box.x + 2.5, box.y + 1.6}, kPanelTitle);
  if (!panel.nothing.empty()) {
    canvas.Text(
        panel.nothing, {box.x + 2.5, box.y + 9}, Wrapped(kBody, box.width - 5));
    return;
  }
  const Box inside{box.x + 6, box.y + 11, box.width - 12, box.height - 24};
  const Place place = PlaceOf(panel, inside);
  {
    const auto guard =
        canvas.Clip(std::array{CanvasPoint{box.x, box.y},
                               CanvasPoint{box.right(), box.y},
                               CanvasPoint{box.right(), box.bottom()},
                               CanvasPoint{box.x, box.bottom()}});
    Place shaded = place;
    shaded.box = inside;
    Shade(canvas, panel, shaded);
    for (const auto& [from, to] : panel.axes) {
      canvas.Line(
          place(from), place(to), {kPageQuiet, 0.2, {3, 0.8, 0.5, 0.8}});
    }
    DrawShape(canvas, panel.before, place, kBeforePen);
    DrawShape(canvas, panel.after, place, kAfterPen);
    for (const FootPoint& p : panel.fixed) {
      const CanvasPoint c = place(p);
      canvas.Line({c.x - 1.6, c.y}, {c.x + 1.6, c.y}, {kInk, 0.3});
      canvas.Line({c.x, c.y - 1.6}, {c.x, c.y + 1.6}, {kInk, 0.3});
      canvas.Circle(c, 0.9, {kInk, 0.3});
    }
  }
  const double middle = inside.middle().y;
  if (!panel.edges[0].empty()) {
    canvas.TurnedText(
        panel.edges[0], {box.x + 3.2, middle}, -1.5707963, kSmall);
  }
  if (!panel.edges[1].empty()) {
    canvas.TurnedText(
        panel.edges[1], {box.right() - 3.2, middle}, 1.5707963, kSmall);
  }
  if (!panel.edges[2].empty()) {
    canvas.Text(panel.edges[2],
                {inside.middle().x, box.y + 7.2},
                kSmall,
                Anchor::kMiddle);
  }
  if (!panel.edges[3].empty()) {
    canvas.Text(panel.edges[3],
                {inside.middle().x, inside.bottom() + 0.8},
                kSmall,
                Anchor::kMiddle);
  }
  const double foot = box.bottom() - 8.0;
  canvas.Text(
      panel.aligned, {box.x + 2.5, foot}, Wrapped(kSmall, box.width - 44));
  DrawScale(canvas, {box.right() - 3, foot}, place.scale);
}

/// One entry of the legend; returns where the next begins.
double Entry(Canvas& canvas,
             double x,
             double y,
             const std::string& words,
             const std::function<void(const Box&)>& sample) {
  if (words.empty()) return x;
  sample({x, y, 9, 3.6});
  const Box text = canvas.Text(words, {x + 10.5, y - 0.3}, kBody);
  return text.right() + 6;
}

void DrawLegend(Canvas& canvas, const Overlay& overlay, double y) {
  const auto line = [&canvas](const Pen& pen) {
    return [&canvas, pen](const Box& box) {
      canvas.Line({box.x, box.middle().y}, {box.right(), box.middle().y}, pen);
    };
  };
  const auto patch = [&canvas](auto&& shade) {
    return [&canvas, shade](const Box& box) {
      const std::array corners{CanvasPoint{box.x, box.y},
                               CanvasPoint{box.right(), box.y},
                               CanvasPoint{box.right(), box.bottom()},
                               CanvasPoint{box.x, box.bottom()}};
      const auto guard = canvas.Clip(corners);
      shade(canvas, box);
    };
  };
  double x = kMargin;
  x = Entry(canvas, x, y, overlay.before, line(kBeforePen));
  x = Entry(canvas, x, y, overlay.after, line(kAfterPen));
  y += 5.4;
  x = kMargin;
  x = Entry(canvas, x, y, overlay.lost, patch(ShadeLost));
  Entry(canvas, x, y, overlay.gained, patch(ShadeGained));
}

/// Draws it all; returns how high it is. On a canvas that is high enough.
double DrawAll(Canvas& canvas, const Overlay& overlay) {
  const double wide = kWidth - 2 * kMargin;
  double y = kMargin;
  y = canvas.Text(overlay.title, {kMargin, y}, Wrapped(kTitle, wide)).bottom();
  if (!overlay.subtitle.empty()) {
    y = canvas
            .Text(
                overlay.subtitle, {kMargin, y + 0.8}, Wrapped(kSubtitle, wide))
            .bottom();
  }
  y += 3.5;
  DrawLegend(canvas, overlay, y);
  y += 12.5;
  if (!overlay.panels.empty()) {
    const auto n = static_cast<double>(overlay.panels.size());
    const double panel = (wide - (n - 1) * kGap) / n;
    double x = kMargin;
    for (const OverlayPanel& each : overlay.panels) {
      DrawPanel(canvas, each, {x, y, panel, kPanelHeight});
      x += panel + kGap;
    }
    y += kPanelHeight + 4;
  }
  if (!overlay.facts_title.empty()) {
    y = canvas
            .Text(overlay.facts_title, {kMargin, y}, Wrapped(kPanelTitle, wide))
            .bottom() +
        1.2;
  }
  // In two columns, down the first and then down the second.
  const std::size_t half = (overlay.facts.size() + 1) / 2;
  const double column = (wide - kGap) / 2;
  for (std::size_t i = 0; i < half; ++i) {
    double next = y;
    for (const std::size_t k : {i, i + half}) {
      if (k >= overlay.facts.size()) continue;
      const double x = k < half ? kMargin : kMargin + column + kGap;
      next =
          std::max(next,
                   canvas.Text(overlay.facts[k], {x, y}, Wrapped(kBody, column))
                           .bottom() +
                       0.7);
    }
    y = next;
  }
  if (!overlay.notes.empty()) y += 1.5;
  for (const std::string& note : overlay.notes) {
    y = canvas.Text(note, {kMargin, y}, Wrapped(kSmall, wide)).bottom() + 0.6;
  }
  return y + kMargin;
}

double HeightOf(const Overlay& overlay) {
  constexpr double kHighEnough = 400.0;
  Canvas canvas = Canvas::Svg(kWidth, kHighEnough);
  return DrawAll(canvas, overlay);
}

}  // namespace

std::string OverlaySvg(const Overlay& overlay) {
  Canvas canvas = Canvas::Svg(kWidth, HeightOf(overlay));
  // Who looks at it on a dark ground must still see it.
  canvas.FillBoxes(std::array{Box{0, 0, canvas.width(), canvas.height()}},
                   kWhite);
  DrawAll(canvas, overlay);
  return canvas.Finish();
}

std::string OverlayPng(const Overlay& overlay, double dots_per_inch) {
  Canvas canvas = Canvas::Png(kWidth, HeightOf(overlay), dots_per_inch);
  DrawAll(canvas, overlay);
  return canvas.Finish();
}

}  // namespace plumbfoot::draw
