// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/time_chart.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "draw/page_style.h"

namespace plumbfoot::draw {
namespace {

// CHOSEN: the whole layout. All in millimetres on paper.
constexpr double kMargin = 3.0;
constexpr double kGap = 5.0;
constexpr double kPlotHeight = 22.0;
constexpr double kTitleRoom = 5.0;
constexpr double kTickRoom = 3.6;
constexpr double kRowGap = 2.6;
constexpr double kAxisRoom = 8.5;  // For the numbers at the left.
constexpr double kApart = 0.75;    // Before and after of one day.

constexpr Colour kInk = kPageInk;
constexpr Colour kGrid{0.86, 0.86, 0.88};
constexpr Colour kJoin{0.62, 0.62, 0.66};

const TextStyle kTitle = Ink(4.6, true);
const TextStyle kSubtitle = Quiet(3.2);
const TextStyle kPanelTitle = Ink(2.9, true);
const TextStyle kBody = Ink(2.9);
const TextStyle kSmall = Quiet(2.4);

Colour ColourOf(TimeMark mark) {
  switch (mark) {
    case TimeMark::kBefore:
      return kBlue;
    case TimeMark::kAfter:
      return kVermilion;
    case TimeMark::kOther:
      return kInk;
  }
  return kInk;
}

double ShiftOf(TimeMark mark) {
  switch (mark) {
    case TimeMark::kBefore:
      return -kApart;
    case TimeMark::kAfter:
      return kApart;
    case TimeMark::kOther:
      return 0.0;
  }
  return 0.0;
}

void DrawMark(Canvas& canvas, CanvasPoint at, TimeMark mark) {
  const Colour colour = ColourOf(mark);
  switch (mark) {
    case TimeMark::kBefore:
      canvas.Disc(at, 0.85, kWhite);
      canvas.Circle(at, 0.85, {colour, 0.4});
      return;
    case TimeMark::kAfter:
      canvas.Disc(at, 0.95, colour);
      return;
    case TimeMark::kOther: {
      const std::array corners{CanvasPoint{at.x - 0.8, at.y - 0.8},
                               CanvasPoint{at.x + 0.8, at.y - 0.8},
                               CanvasPoint{at.x + 0.8, at.y + 0.8},
                               CanvasPoint{at.x - 0.8, at.y + 0.8}};
      canvas.Fill(corners, kWhite);
      canvas.Polyline(corners, {colour, 0.4}, true);
      return;
    }
  }
}

/// A range of values with round ticks.
struct Scale {
  double low = 0.0;
  double high = 1.0;
  double step = 1.0;
  int decimals = 0;
};

/// Ticks of 1, 2 or 5 times a power of ten, six steps at most.
Scale ScaleOf(double low, double high) {
  const double least = std::max({1e-9, 1e-6 * std::abs(low)});
  double span = std::max(high - low, least);
  const double pad = 0.06 * span;
  low -= pad;
  high += pad;
  span = high - low;
  Scale scale{low, high};
  scale.step = std::pow(10.0, std::floor(std::log10(span / 4)));
  for (const double times : {2.0, 5.0, 10.0}) {
    if (span / scale.step <= 6) break;
    scale.step = times * std::pow(10.0, std::floor(std::log10(span / 4)));
  }
  scale.decimals =
      std::max(0, -static_cast<int>(std::floor(std::log10(scale.step) + 1e-9)));
  return scale;
}

/// The days that all panels show.
struct Days {
  double low = 0.0;
  double high = 1.0;
};

Days DaysOf(const TimeChart& chart) {
  Days days{std::numeric_limits<double>::infinity(),
            -std::numeric_limits<double>::infinity()};
  const auto add = [&days](double day) {
    days.low = std::min(days.low, day);
    days.high = std::max(days.high, day);
  };
  for (const TimeVisit& visit : chart.visits) add(visit.day);
  for (const TimePanel& panel : chart.panels) {
    for (const TimePoint& point : panel.points) add(point.day);
  }
  if (!(days.low <= days.high)) return {};
  if (days.high - days.low < 1) days = {days.low - 1, days.high + 1};
  return days;
}

void DrawPanel(Canvas& canvas,
               const TimePanel& panel,
               const TimeChart& chart,
               const Days& days,
               const Box& box) {
  canvas.Text(panel.title, {box.x, box.y}, kPanelTitle);
  const Box plot{box.x + kAxisRoom,
                 box.y + kTitleRoom,
                 box.width - kAxisRoom - 1.0,
                 kPlotHeight};
  const double below = plot.bottom() + kTickRoom;
  if (!panel.facts.empty()) {
    canvas.Text(panel.facts, {box.x, below}, Wrapped(kSmall, box.width));
  }
  if (!panel.nothing.empty() || panel.points.empty()) {
    canvas.Text(panel.nothing, {box.x, plot.y + 1}, Wrapped(kSmall, box.width));
    return;
  }
  double low = std::numeric_limits<double>::infinity();
  double high = -low;
  for (const TimePoint& p : panel.points) {
    low = std::min({low, p.value, p.low});
    high = std::max({high, p.value, p.high});
  }
  if (panel.target) {
    low = std::min(low, *panel.target);
    high = std::max(high, *panel.target);
  }
  const Scale scale = ScaleOf(low, high);
  // Room at both ends for what stands a little apart.
  const double inset = 2.2;
  const auto x = [&](double day) {
    return plot.x + inset +
           (plot.width - 2 * inset) * (day - days.low) / (days.high - days.low);
  };
  const auto y = [&](double value) {
    return plot.bottom() -
           plot.height * (value - scale.low) / (scale.high - scale.low);
  };

  for (double tick = std::ceil(scale.low / scale.step) * scale.step;
       tick <= scale.high;
       tick += scale.step) {
    canvas.Line({plot.x, y(tick)}, {plot.right(), y(tick)}, {kGrid, 0.2});
    std::string words = fmt::format("{:.{}f}", tick, scale.decimals);
    if (words.find_first_of("123456789") == std::string::npos &&
        words.front() == '-') {
      words.erase(0, 1);
    }
    if (const auto dot = words.find('.'); dot != std::string::npos) {
      words.replace(dot, 1, chart.words.decimal_mark);
    }
    canvas.Text(words, {plot.x - 1.0, y(tick) - 1.45}, kSmall, Anchor::kRight);
  }
  // The visits: a number each, as many as have room.
  double free_from = -1e9;
  std::vector<std::array<CanvasPoint, 2>> upright;
  std::vector<std::array<CanvasPoint, 2>> ticks;
  for (const TimeVisit& visit : chart.visits) {
    const double at = x(visit.day);
    upright.push_back({CanvasPoint{at, plot.y}, {at, plot.bottom()}});
    ticks.push_back(
        {CanvasPoint{at, plot.bottom()}, {at, plot.bottom() + 0.8}});
  }
  canvas.Lines(upright, {kGrid, 0.2, {0.6, 0.6}});
  canvas.Lines(ticks, {kInk, 0.2});
  for (const TimeVisit& visit : chart.visits) {
    const double at = x(visit.day);
    // Digits of DejaVu Sans are 0.64 of the letters' height wide; to lay out
    // every label only to leave it out takes its time.
    const double half =
        0.32 * kSmall.size * static_cast<double>(visit.label.size()) + 0.4;
    if (at - half < free_from) continue;
    canvas.Text(
        visit.label, {at, plot.bottom() + 0.7}, kSmall, Anchor::kMiddle);
    free_from = at + half;
  }
  canvas.Line(
      {plot.x, plot.bottom()}, {plot.right(), plot.bottom()}, {kInk, 0.25});
  canvas.Line({plot.x, plot.y}, {plot.x, plot.bottom()}, {kInk, 0.25});

  if (panel.target) {
    canvas.Line({plot.x, y(*panel.target)},
                {plot.right(), y(*panel.target)},
                {kBluishGreen, 0.45, {2.4, 0.9, 0.6, 0.9}});
  }
  const std::array corners{CanvasPoint{plot.x, plot.y},
                           CanvasPoint{plot.right(), plot.y},
                           CanvasPoint{plot.right(), plot.bottom()},
                           CanvasPoint{plot.x, plot.bottom()}};
  {
    const auto guard = canvas.Clip(corners);
    for (const TimeLine& line : panel.lines) {
      const double shift = ShiftOf(line.mark);
      Pen pen{Faded(ColourOf(line.mark), 0.85), 0.35};
      if (line.mark == TimeMark::kBefore) pen.dashes = {1.4, 0.8};
      canvas.Line({x(line.from_day) + shift, y(line.from)},
                  {x(line.to_day) + shift, y(line.to)},
                  pen);
    }
  }
  std::vector<CanvasPoint> joined;
  for (const TimePoint& p : panel.points) {
    joined.push_back({x(p.day) + ShiftOf(p.mark), y(p.value)});
  }
  canvas.Polyline(joined, {kJoin, 0.2});
  for (const TimeMark mark :
       {TimeMark::kBefore, TimeMark::kAfter, TimeMark::kOther}) {
    std::vector<std::array<CanvasPoint, 2>> bars;
    for (std::size_t i = 0; i < joined.size(); ++i) {
      const TimePoint& p = panel.points[i];
      if (p.mark != mark) continue;
      const double at = joined[i].x;
      bars.push_back({CanvasPoint{at, y(p.low)}, {at, y(p.high)}});
      for (const double end : {p.low, p.high}) {
        bars.push_back({CanvasPoint{at - 0.5, y(end)}, {at + 0.5, y(end)}});
      }
    }
    canvas.Lines(bars, {ColourOf(mark), 0.25});
  }
  for (std::size_t i = 0; i < joined.size(); ++i) {
    DrawMark(canvas, joined[i], panel.points[i].mark);
    if (panel.points[i].unsure) {
      canvas.Text("?", {joined[i].x + 1.0, joined[i].y - 2.6}, kSmall);
    }
  }
}

/// @return Where it ends. What has no room in the line goes into the next.
double DrawLegend(Canvas& canvas, const TimeChart& chart, double top) {
  bool target = false;
  bool unsure = false;
  std::array<bool, 3> seen{};
  std::array<bool, 3> trend{};
  for (const TimePanel& panel : chart.panels) {
    target = target || panel.target.has_value();
    for (const TimePoint& p : panel.points) {
      seen.at(static_cast<std::size_t>(p.mark)) = true;
      unsure = unsure || p.unsure;
    }
    for (const TimeLine& line : panel.lines) {
      trend.at(static_cast<std::size_t>(line.mark)) = true;
    }
  }
  double x = kMargin;
  /// Where a symbol so wide may begin; its words go after it.
  const auto begin = [&](double symbol, const std::string& text) {
    const double needs = symbol + 1.6 + canvas.MeasureText(text, kBody).width;
    if (x > kMargin && x + needs > chart.width_mm - kMargin) {
      x = kMargin;
      top += 4.4;
    }
    return CanvasPoint{x, top + 1.8};
  };
  const auto words = [&](double symbol, const std::string& text) {
    x = canvas.Text(text, {x + symbol + 1.6, top}, kBody).right() + 4.5;
  };
  const TimeWords& say = chart.words;
  struct Kind {
    TimeMark mark;
    const std::string& name;
    const std::string& trend;
  };
  const std::array kinds = {
      Kind{TimeMark::kBefore, say.before, say.trend_before},
      Kind{TimeMark::kAfter, say.after, say.trend_after},
      Kind{TimeMark::kOther, say.other, say.trend_other}};
  for (const Kind& kind : kinds) {
    if (!seen.at(static_cast<std::size_t>(kind.mark))) continue;
    const CanvasPoint at = begin(2, kind.name);
    canvas.Line({at.x + 1, at.y - 1.7},
                {at.x + 1, at.y + 1.7},
                {ColourOf(kind.mark), 0.25});
    DrawMark(canvas, {at.x + 1, at.y}, kind.mark);
    words(2, kind.name);
  }
  for (const Kind& kind : kinds) {
    if (!trend.at(static_cast<std::size_t>(kind.mark))) continue;
    Pen pen{ColourOf(kind.mark), 0.35};
    if (kind.mark == TimeMark::kBefore) pen.dashes = {1.4, 0.8};
    const CanvasPoint at = begin(6, kind.trend);
    canvas.Line(at, {at.x + 6, at.y}, pen);
    words(6, kind.trend);
  }
  if (target) {
    const CanvasPoint at = begin(7, say.target);
    canvas.Line(
        at, {at.x + 7, at.y}, {kBluishGreen, 0.45, {2.4, 0.9, 0.6, 0.9}});
    words(7, say.target);
  }
  if (unsure) {
    begin(0, say.unsure);
    words(0, say.unsure);
  }
  return top + 3.8;
}

/// Draws the page, or only finds how high it becomes.
double DrawAll(Canvas& canvas, const TimeChart& chart, bool panels_too) {
  const double wide = chart.width_mm - 2 * kMargin;
  double y = kMargin;
  if (!chart.title.empty()) {
    y = canvas.Text(chart.title, {kMargin, y}, Wrapped(kTitle, wide)).bottom();
  }
  if (!chart.subtitle.empty()) {
    y = canvas
            .Text(chart.subtitle, {kMargin, y + 0.6}, Wrapped(kSubtitle, wide))
            .bottom();
  }
  if (y > kMargin) y += 2.6;
  y = DrawLegend(canvas, chart, y) + 3.2;
  const Days days = DaysOf(chart);
  const auto columns = static_cast<double>(chart.columns);
  const double panel = (wide - (columns - 1) * kGap) / columns;
  for (std::size_t first = 0; first < chart.panels.size();
       first += chart.columns) {
    const std::size_t end =
        std::min(first + chart.columns, chart.panels.size());
    double facts = 0.0;
    for (std::size_t i = first; i < end; ++i) {
      if (chart.panels[i].facts.empty()) continue;
      const Box box =
          canvas.MeasureText(chart.panels[i].facts, Wrapped(kSmall, panel));
      facts = std::max(facts, box.height);
    }
    const double height = kTitleRoom + kPlotHeight + kTickRoom + facts;
    for (std::size_t i = first; panels_too && i < end; ++i) {
      const auto column = static_cast<double>(i - first);
      DrawPanel(canvas,
                chart.panels[i],
                chart,
                days,
                {kMargin + column * (panel + kGap), y, panel, height});
    }
    y += height + kRowGap;
  }
  // The visits in two columns, down the first and then down the second.
  const std::size_t half =
      chart.list_visits ? (chart.visits.size() + 1) / 2 : 0;
  const double column = (wide - kGap) / 2;
  for (std::size_t i = 0; i < half; ++i) {
    double next = y;
    for (const std::size_t k : {i, i + half}) {
      if (k >= chart.visits.size()) continue;
      const double x = k < half ? kMargin : kMargin + column + kGap;
      canvas.Text(chart.visits[k].label,
                  {x + 4.0, y},
                  {kInk, kBody.size, true},
                  Anchor::kRight);
      next = std::max(next,
                      canvas.Text(chart.visits[k].words,
                                  {x + 5.5, y},
                                  Wrapped(kBody, column - 5.5))
                              .bottom() +
                          0.4);
    }
    y = next;
  }
  y += 1.6;
  if (!chart.bars.empty()) {
    y = canvas.Text(chart.bars, {kMargin, y}, Wrapped(kSmall, wide)).bottom() +
        0.5;
  }
  for (const std::string& note : chart.notes) {
    y = canvas.Text(note, {kMargin, y}, Wrapped(kSmall, wide)).bottom() + 0.5;
  }
  return y + kMargin;
}

}  // namespace

double TimeChartHeight(const TimeChart& chart) {
  constexpr double kHighEnough = 2000.0;
  Canvas canvas = Canvas::Svg(chart.width_mm, kHighEnough);
  return DrawAll(canvas, chart, false);
}

void DrawTimeChart(Canvas& canvas, const TimeChart& chart) {
  DrawAll(canvas, chart, true);
}

std::string TimeChartSvg(const TimeChart& chart) {
  Canvas canvas = Canvas::Svg(chart.width_mm, TimeChartHeight(chart));
  canvas.FillBoxes(std::array{Box{0, 0, canvas.width(), canvas.height()}},
                   kWhite);
  DrawAll(canvas, chart, true);
  return canvas.Finish();
}

Canvas TimeChartOnPng(const TimeChart& chart, double dots_per_inch) {
  Canvas canvas =
      Canvas::Png(chart.width_mm, TimeChartHeight(chart), dots_per_inch);
  DrawAll(canvas, chart, true);
  return canvas;
}

std::string TimeChartPng(const TimeChart& chart, double dots_per_inch) {
  return TimeChartOnPng(chart, dots_per_inch).Finish();
}

}  // namespace plumbfoot::draw
