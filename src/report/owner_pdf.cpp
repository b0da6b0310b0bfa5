// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/canvas.h"
#include "plumbfoot/report/owner_page.h"

namespace plumbfoot::report {
namespace {

using draw::Anchor;
using draw::Box;
using draw::Canvas;
using draw::CanvasPoint;
using draw::Colour;
using draw::Pen;
using draw::TextStyle;

// ISO 216, in millimetres.
constexpr double kWidth = 210.0;
constexpr double kHeight = 297.0;
// CHOSEN: any printer's margin, and room for a thumb.
constexpr double kMargin = 14.0;
constexpr double kInside = kWidth - 2 * kMargin;
constexpr double kGap = 2.5;

constexpr Colour kInk{0.13, 0.125, 0.11};
constexpr Colour kSoft{0.35, 0.33, 0.29};
constexpr Colour kMark{0.043, 0.353, 0.322};
constexpr Colour kLook{0.604, 0.204, 0.071};
constexpr Colour kLineColour{0.85, 0.815, 0.757};
constexpr Colour kHorn{0.937, 0.902, 0.839};

TextStyle Plain(double size = 3.1, Colour colour = kInk) {
  TextStyle style;
  style.colour = colour;
  style.size = size;
  return style;
}

TextStyle Bold(double size = 3.1, Colour colour = kInk) {
  TextStyle style = Plain(size, colour);
  style.bold = true;
  return style;
}

/// Blocks of text that go below each other in a column.
class Column {
 public:
  Column(Canvas& canvas, double x, double y, double width)
      : canvas_(canvas), x_(x), y_(y), width_(width) {}

  double y() const { return y_; }
  void Skip(double mm) { y_ += mm; }

  void Text(std::string_view text, TextStyle style) {
    if (text.empty()) return;
    style.wrap = width_;
    y_ = canvas_.Text(text, {x_, y_}, style).bottom() + 0.6;
  }
  void Heading(std::string_view text) {
    Skip(kGap);
    Text(text, Bold(3.9, kMark));
    Skip(0.3);
  }
  void Item(std::string_view text, TextStyle style) {
    canvas_.Text("\u2022", {x_, y_}, style);
    style.wrap = width_ - 3.5;
    y_ = canvas_.Text(text, {x_ + 3.5, y_}, style).bottom() + 0.5;
  }
  void Items(const std::vector<std::string>& texts, const TextStyle& style) {
    for (const std::string& text : texts) Item(text, style);
  }

 private:
  Canvas& canvas_;
  double x_;
  double y_;
  double width_;
};

/// Text in a box of a fixed width, made smaller until it is one line.
void OneLine(Canvas& canvas,
             std::string_view text,
             CanvasPoint at,
             double width,
             TextStyle style,
             Anchor anchor = Anchor::kLeft) {
  const double needs = canvas.MeasureText(text, style).width;
  if (needs > width) style.size *= width / needs;
  canvas.Text(text, at, style, anchor);
}

void DrawOutline(Canvas& canvas,
                 const std::vector<geometry::FootPoint>& outline,
                 const Box& box,
                 double middle_mm,
                 double scale,
                 bool earlier) {
  std::vector<CanvasPoint> points;
  points.reserve(outline.size());
  const CanvasPoint centre = box.middle();
  for (const auto& p : outline) {
    // From below, toe up, the horse's left is on the right.
    points.push_back(
        {centre.x + scale * p.y, centre.y - scale * (p.x - middle_mm)});
  }
  Pen pen;
  pen.colour = earlier ? kMark : kInk;
  pen.width = earlier ? 0.3 : 0.45;
  if (earlier) pen.dashes = {1.2, 0.9};
  if (!earlier) canvas.Fill(points, kHorn);
  canvas.Polyline(points, pen, true);
}

/// The feet, in a row.
double DrawGlance(Canvas& canvas, const OwnerPage& page, double y) {
  const auto n =
      static_cast<double>(std::max<std::size_t>(page.feet.size(), 4));
  const double width = (kInside - (n - 1) * kGap) / n;
  constexpr double kDrawing = 34.0;
  // CHOSEN: the largest of them fills the drawing; all to one scale.
  double largest = 100.0;
  for (const OwnerFoot& foot : page.feet) {
    for (const auto* outline : {&foot.outline, &foot.earlier_outline}) {
      for (const auto& p : *outline) {
        largest = std::max({largest, 2 * std::abs(p.y), p.x});
      }
    }
  }
  const double scale = kDrawing / (1.12 * largest);
  double bottom = y;
  double x = kMargin;
  std::vector<double> bottoms;
  for (const OwnerFoot& foot : page.feet) {
    Column column(canvas, x + 2, y + 1.8, width - 4);
    column.Text(foot.name, Bold(3.4));
    const Box box{x + 2, column.y(), width - 4, kDrawing};
    double low = 0.0;
    double high = 0.0;
    for (const auto& p : foot.outline) {
      low = std::min(low, p.x);
      high = std::max(high, p.x);
    }
    if (!foot.outline.empty()) {
      DrawOutline(canvas, foot.outline, box, (low + high) / 2, scale, false);
    }
    if (!foot.earlier_outline.empty()) {
      DrawOutline(
          canvas, foot.earlier_outline, box, (low + high) / 2, scale, true);
    }
    column.Skip(kDrawing + 1);
    for (const std::string& number : foot.numbers) {
      column.Text(number, Plain());
    }
    column.Text(
        foot.verdict_words,
        foot.verdict == OwnerVerdict::kChanged ? Bold(3.0) : Plain(3.0, kSoft));
    bottom = std::max(bottom, column.y() + 1.2);
    x += width + kGap;
  }
  x = kMargin;
  Pen pen;
  pen.colour = kLineColour;
  pen.width = 0.25;
  for (std::size_t i = 0; i < page.feet.size(); ++i) {
    const Box box{x, y, width, bottom - y};
    canvas.Polyline(std::array{CanvasPoint{box.x, box.y},
                               CanvasPoint{box.right(), box.y},
                               CanvasPoint{box.right(), box.bottom()},
                               CanvasPoint{box.x, box.bottom()}},
                    pen,
                    true);
    x += width + kGap;
  }
  return bottom;
}

/// The pictures in rows, as high as there is room for.
void DrawPictures(Canvas& canvas,
                  const OwnerPage& page,
                  double top,
                  double bottom) {
  std::vector<const OwnerPicture*> pictures;
  for (const OwnerFoot& foot : page.feet) {
    for (const OwnerPicture& picture : foot.pictures) {
      pictures.push_back(&picture);
    }
  }
  if (pictures.empty()) return;
  const double height = bottom - top;
  // The number of columns that makes them largest.
  std::size_t best = 1;
  double best_area = 0.0;
  for (std::size_t columns = 1; columns <= pictures.size(); ++columns) {
    const std::size_t rows = (pictures.size() + columns - 1) / columns;
    const double w = (kInside - static_cast<double>(columns - 1) * kGap) /
                     static_cast<double>(columns);
    const double h = (height - static_cast<double>(rows - 1) * kGap) /
                     static_cast<double>(rows);
    if (!(h > 0)) continue;
    double area = 0.0;
    for (const OwnerPicture* p : pictures) {
      const double s = std::min(w / p->rgb.cols, h / p->rgb.rows);
      area += s * s * p->rgb.cols * p->rgb.rows;
    }
    if (area > best_area) {
      best_area = area;
      best = columns;
    }
  }
  const std::size_t rows = (pictures.size() + best - 1) / best;
  const double w = (kInside - static_cast<double>(best - 1) * kGap) /
                   static_cast<double>(best);
  const double room = (height - static_cast<double>(rows - 1) * kGap) /
                      static_cast<double>(rows);
  // No higher than the highest of them, so that no gap is left between rows.
  double h = 0.0;
  for (const OwnerPicture* p : pictures) {
    h = std::max(h, std::min(room, w * p->rgb.rows / p->rgb.cols));
  }
  for (std::size_t i = 0; i < pictures.size(); ++i) {
    const std::size_t row = i / best;
    const Box box{kMargin + static_cast<double>(i % best) * (w + kGap),
                  top + static_cast<double>(row) * (h + kGap),
                  w,
                  h};
    canvas.PlacePicture(pictures[i]->rgb, box, pictures[i]->jpeg);
  }
}

void DrawTop(Canvas& canvas, const OwnerPage& page, Column& column) {
  if (!page.practice.empty() || !page.telephone.empty()) {
    const double y = column.y();
    OneLine(
        canvas, page.practice, {kMargin, y}, 0.65 * kInside, Bold(3.8, kMark));
    OneLine(canvas,
            page.telephone,
            {kWidth - kMargin, y},
            0.33 * kInside,
            Plain(3.8, kMark),
            Anchor::kRight);
    column.Skip(5.6);
    Pen pen;
    pen.colour = kMark;
    pen.width = 0.6;
    canvas.Line({kMargin, column.y()}, {kWidth - kMargin, column.y()}, pen);
    column.Skip(2.2);
  }
  column.Text(page.title, Bold(6.2));
  column.Text(page.yard, Plain(3.1, kSoft));
}

/// The second sheet: plots two by two, what they say, the visits.
void DrawCase(Canvas& canvas, const OwnerPage& page, const OwnerWords& words) {
  canvas.NextPage();
  Column column(canvas, kMargin, kMargin - 2, kInside);
  DrawTop(canvas, page, column);
  column.Heading(words.Say("heading.case"));
  const double top = column.y() + 1.0;
  const double half = (kInside - 6.0) / 2;
  const auto x_of = [&](std::size_t i) {
    return kMargin + static_cast<double>(i % 2) * (half + 6.0);
  };

  // What is below the plots, first out of sight to see how high it is.
  const auto below = [&](double y) {
    Column text(canvas, kMargin, y, kInside);
    for (const std::string& line : page.case_words) {
      text.Text(line, Plain(2.7, kSoft));
    }
    text.Heading(words.Say("case.visits"));
    const std::size_t rows = (page.visits.size() + 1) / 2;
    std::array<double, 2> ends = {text.y(), text.y()};
    for (std::size_t i = 0; i < page.visits.size(); ++i) {
      const OwnerVisit& visit = page.visits[i];
      double& end = ends.at(i / rows);
      Column at(canvas, x_of(i / rows), end, half);
      at.Text(visit.number + ": " + visit.date +
                  (visit.done.empty() ? "" : ". " + visit.done),
              Plain(2.9));
      end = at.y() + 0.4;
    }
    return std::max(ends[0], ends[1]) - y;
  };
  const double room = kHeight - kMargin + 4.0 - below(2 * kHeight) - 2.0 - top;

  // Each row is as high as its charts and sentences; the charts are drawn
  // smaller where the rows would not fit.
  const auto facts = [&](std::size_t i, double y) {
    Column text(canvas, x_of(i), y, half);
    text.Items(page.plots[i].facts, Plain(2.9));
    return text.y() - y;
  };
  constexpr double kName = 5.5;
  std::vector<double> charts;
  std::vector<double> sentences;
  for (std::size_t i = 0; i < page.plots.size(); ++i) {
    const std::size_t row = i / 2;
    charts.resize(row + 1, 0.0);
    sentences.resize(row + 1, 0.0);
    const draw::TimeChart& chart = page.plots[i].chart;
    charts[row] = std::max(
        charts[row], half / chart.width_mm * draw::TimeChartHeight(chart));
    sentences[row] = std::max(sentences[row], facts(i, 2 * kHeight));
  }
  double fixed = 0.0;
  double drawn = 0.0;
  for (std::size_t row = 0; row < charts.size(); ++row) {
    fixed += sentences[row] + kName + kGap;
    drawn += charts[row];
  }
  const double shrink = std::clamp((room - fixed) / drawn, 0.2, 1.0);
  double y = top;
  for (std::size_t row = 0; row < charts.size(); ++row) {
    for (std::size_t i = 2 * row; i < std::min(2 * row + 2, page.plots.size());
         ++i) {
      const OwnerPlot& plot = page.plots[i];
      canvas.Text(plot.name, {x_of(i), y}, Bold(3.4));
      const double stretch = shrink * half / plot.chart.width_mm;
      {
        const auto guard = canvas.Frame({x_of(i), y + kName}, 0.0, stretch);
        draw::DrawTimeChart(canvas, plot.chart);
      }
      facts(i, y + kName + shrink * charts[row]);
    }
    y += kName + shrink * charts[row] + sentences[row] + kGap;
  }
  below(y);
}

}  // namespace

std::string OwnerPdf(const OwnerPage& page, const OwnerWords& words) {
  Canvas canvas = Canvas::Pdf(kWidth, kHeight, {page.title, page.practice});
  Column top(canvas, kMargin, kMargin - 2, kInside);
  DrawTop(canvas, page, top);
  top.Skip(0.8);
  for (const std::string& line : page.summary) top.Text(line, Plain(3.5));
  top.Skip(1.6);
  top.Skip(DrawGlance(canvas, page, top.y()) - top.y() + 1.2);
  for (const std::string& line : page.outline_words) {
    top.Text(line, Plain(2.6, kSoft));
  }
  for (const OwnerFoot& foot : page.feet) {
    for (const std::string& line : foot.stands_out) {
      top.Text(foot.name + ": " + line, Plain(3.0));
    }
  }

  // What is below the pictures stands at the foot of the sheet. How high it is
  // is only known once it is set, so it is set twice: first out of sight.
  const double half = (kInside - 6.0) / 2;
  const auto below = [&](double y) {
    Column left(canvas, kMargin, y, half);
    left.Heading(words.Say("heading.done"));
    left.Items(page.done, Plain());
    if (!page.vet.empty()) {
      left.Heading(words.Say("heading.vet"));
      left.Text(page.vet, Plain());
    }
    if (!page.next_visit.empty()) {
      left.Heading(words.Say("heading.next"));
      left.Text(page.next_visit, Plain());
    }
    left.Heading(words.Say("heading.terms"));
    for (const OwnerTerm& term : page.terms) {
      if (!SaidAtAGlance(page, term)) continue;
      left.Text(term.term + ": " + term.meaning, Plain(2.7));
    }
    Column right(canvas, kMargin + half + 6.0, y, half);
    right.Heading(words.Say("heading.call_the_vet"));
    for (const std::string& line : page.call_the_vet) {
      right.Text(line, Plain(3.1, kLook));
    }
    right.Heading(words.Say("heading.cautions"));
    right.Items(page.cautions, Plain(2.7));
    Column small(canvas, kMargin, std::max(left.y(), right.y()) + 2.0, kInside);
    for (const std::string& source : page.sources) {
      small.Text(source, Plain(2.2, kSoft));
    }
    small.Text(page.made_with, Plain(2.2, kSoft));
    return small.y() - y;
  };
  const double high = below(2 * kHeight);
  const double from = std::max(kHeight - kMargin + 4.0 - high, top.y() + 2.0);
  below(from);
  DrawPictures(canvas, page, top.y() + 2.0, from - 1.0);

  if (!page.plots.empty()) DrawCase(canvas, page, words);
  return canvas.Finish();
}

}  // namespace plumbfoot::report
