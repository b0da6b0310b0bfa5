// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/shoe_template.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>

#include "draw/page_style.h"
#include "draw/template_shapes.h"
#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {
namespace {

using fit::Nail;
using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

constexpr double kMargin = 8.0;   ///< No printer prints to the paper's edge.
constexpr double kHead = 19.0;    ///< For the title.
constexpr double kFoot = 17.0;    ///< For the line of 100 mm.
constexpr double kShared = 16.0;  ///< Of two sheets, to be glued.
constexpr double kCheck = 100.0;

constexpr Colour kSteel{0.80, 0.83, 0.87};
constexpr Colour kSteelEdge{0.05, 0.07, 0.12};
constexpr Colour kHorn{0.62, 0.30, 0.08};
constexpr Colour kGridFine{0.93, 0.93, 0.93};
constexpr Colour kGridFive{0.86, 0.86, 0.86};
constexpr Colour kGridTen{0.74, 0.74, 0.76};

struct Size {
  double width;
  double height;
};
Size SizeOf(Paper paper) {
  return paper == Paper::kA4 ? Size{210, 297} : Size{8.5 * 25.4, 11 * 25.4};
}

/// One sheet's window onto the drawing.
struct Window {
  Box paper;     ///< On the sheet.
  double left;   ///< Of the drawing: the horse's left is to the right.
  double front;  ///< Of the drawing: the foot's x at the window's top.

  CanvasPoint operator()(FootPoint p) const {
    return {paper.x + p.y - left, paper.y + front - p.x};
  }
  bool Shows(FootPoint p) const {
    const CanvasPoint c = (*this)(p);
    return c.x >= paper.x && c.x <= paper.right() && c.y >= paper.y &&
           c.y <= paper.bottom();
  }
};

struct Sheets {
  Size size;
  std::vector<Window> windows;
  int columns = 1;
  int rows = 1;
  double step_x = 0.0;  ///< From one column's window to the next.
  double step_y = 0.0;
  /// Room for the table below the drawing; nothing on tiled sheets.
  Box table;
};

constexpr double kTableLine = 4.1;
constexpr double kTableText = 2.9;

/// How high the table gets [mm]. CHOSEN: a line of the notes holds a hundred
/// letters at least.
double TableHeight(const ShoeTemplate& t) {
  double lines = static_cast<double>(std::max<std::size_t>(
      t.facts.size(), static_cast<std::size_t>(t.nails.placed()) + 1));
  double height = lines * kTableLine + 1;
  for (const std::string& note : t.notes) {
    height += 0.8 + 3.5 * std::ceil(static_cast<double>(note.size()) / 100.0);
  }
  return height;
}

Sheets Lay(const ShoeTemplate& t, Paper paper) {
  Sheets sheets;
  sheets.size = SizeOf(paper);
  const FootBounds bounds = BoundsOf(t);
  const double wide = bounds.high_y - bounds.low_y;
  const double high = bounds.high_x - bounds.low_x;
  const double room_x = sheets.size.width - 2 * kMargin;
  const double room_y = sheets.size.height - 2 * kMargin - kHead - kFoot;
  const auto tiles = [](double drawn, double room) {
    if (drawn <= room) return 1;
    return static_cast<int>(std::ceil((drawn - kShared) / (room - kShared)));
  };
  sheets.columns = tiles(wide, room_x);
  sheets.rows = tiles(high, room_y);
  const bool one = sheets.columns == 1 && sheets.rows == 1;
  // A single sheet's window is as high as the drawing, others' are whole.
  const double window_x = one ? wide : room_x;
  const double window_y = one ? high : room_y;
  // Several share what there is evenly: each shows as much as it can.
  if (sheets.columns > 1) {
    sheets.step_x = (wide - room_x) / (sheets.columns - 1);
  }
  if (sheets.rows > 1) sheets.step_y = (high - room_y) / (sheets.rows - 1);
  const double centred = sheets.columns == 1 ? (window_x - wide) / 2 : 0.0;
  for (int row = 0; row < sheets.rows; ++row) {
    for (int column = 0; column < sheets.columns; ++column) {
      sheets.windows.push_back({{kMargin + (room_x - window_x) / 2,
                                 kMargin + kHead,
                                 window_x,
                                 window_y},
                                bounds.low_y - centred + column * sheets.step_x,
                                bounds.high_x - row * sheets.step_y});
    }
  }
  if (one) {
    const double top = kMargin + kHead + high + 3;
    sheets.table = {
        kMargin, top, room_x, sheets.size.height - kMargin - kFoot - top};
  }
  return sheets;
}

void DrawGrid(Canvas& canvas, const Window& window) {
  const FootPoint corner{window.front, window.left};
  const auto lines = [&](int step, int unless, Colour colour, double width) {
    std::vector<std::array<CanvasPoint, 2>> drawn;
    const auto wanted = [step, unless](int mm) {
      return mm % step == 0 && (unless == 0 || mm % unless != 0);
    };
    for (int mm = static_cast<int>(std::ceil(corner.y));
         mm <= corner.y + window.paper.width;
         ++mm) {
      if (!wanted(mm)) continue;
      const double x = window.paper.x + mm - corner.y;
      drawn.push_back({CanvasPoint{x, window.paper.y},
                       CanvasPoint{x, window.paper.bottom()}});
    }
    for (int mm = static_cast<int>(std::ceil(corner.x - window.paper.height));
         mm <= corner.x;
         ++mm) {
      if (!wanted(mm)) continue;
      const double y = window.paper.y + corner.x - mm;
      drawn.push_back({CanvasPoint{window.paper.x, y},
                       CanvasPoint{window.paper.right(), y}});
    }
    canvas.Lines(drawn, {.colour = colour, .width = width});
  };
  lines(1, 5, kGridFine, 0.06);
  lines(5, 10, kGridFive, 0.08);
  lines(10, 0, kGridTen, 0.10);
}

std::vector<CanvasPoint> OnPaper(const Window& window,
                                 std::span<const FootPoint> line) {
  std::vector<CanvasPoint> points;
  points.reserve(line.size());
  for (const FootPoint& p : line) points.push_back(window(p));
  return points;
}

/// A label in a white box, so that the grid doesn't cross its letters.
void Label(Canvas& canvas,
           std::string_view text,
           CanvasPoint middle,
           const TextStyle& style) {
  const Box size = canvas.MeasureText(text, style);
  canvas.FillRounded({middle.x - size.width / 2 - 0.6,
                      middle.y - size.height / 2,
                      size.width + 1.2,
                      size.height},
                     0.8,
                     Faded(kWhite, 0.85));
  canvas.Text(
      text, {middle.x, middle.y - size.height / 2}, style, Anchor::kMiddle);
}

void DrawNails(Canvas& canvas, const Window& window, const ShoeTemplate& t) {
  for (const fit::Slot& slot : t.nails.slots) {
    const Nail* nail = slot.nail();
    if (nail == nullptr) continue;
    const auto corners = fit::HoleCorners(*nail);
    const auto drawn = OnPaper(window, corners);
    canvas.Fill(drawn, kWhite);
    canvas.Polyline(drawn, {.colour = kSteelEdge, .width = 0.25}, true);
    // The middle of the hole, for the punch.
    canvas.Disc(window(nail->at), 0.35, kSteelEdge);
    // Outwards, where the white line's normal points.
    FootVector out = geometry::Perpendicular(nail->along);
    if (out.y * fit::SignOf(slot.side) < 0) out = -out;
    const CanvasPoint beside = window(nail->at + (nail->depth_mm + 8.5) * out);
    Label(canvas,
          fmt::format("{}", slot.number),
          {beside.x, beside.y - 1.9},
          Ink(3.8, true));
    Label(canvas,
          fmt::format("{:.0f} mm", nail->from_toe_mm),
          {beside.x, beside.y + 1.9},
          Ink(2.7));
  }
}

void DrawClips(Canvas& canvas, const Window& window, const ShoeTemplate& t) {
  for (const fit::Clip& clip : t.nails.clips) {
    const auto drawn = OnPaper(window, ClipShape(clip));
    canvas.Fill(drawn, kSteel);
    canvas.Polyline(drawn, {.colour = kSteelEdge, .width = 0.25}, true);
  }
}

/// What is read at the anvil, where nothing else stands: between the branches.
void DrawHeart(Canvas& canvas, const Window& window, const ShoeTemplate& t) {
  const double widest = (t.sole.widest_left.x + t.sole.widest_right.x) / 2;
  const double room =
      t.sole.width - 2 * t.shoe.options.web_mm - 2 * t.shoe.options.fullness_mm;
  double y = window({widest, t.sole.axis_y}).y - 19;
  const double x =
      window({widest, (t.sole.widest_left.y + t.sole.widest_right.y) / 2}).x;
  double size = 7.4;
  for (const std::string& line : t.heart) {
    TextStyle style = Ink(size, true);
    Box box = canvas.MeasureText(line, style);
    // On a pony's foot as large as there is room.
    if (box.width > 0.86 * room) {
      style.size *= 0.86 * room / box.width;
      box = canvas.MeasureText(line, style);
    }
    Label(canvas, line, {x, y + box.height / 2}, style);
    y += box.height + 1.2;
    size = size > 6 ? 5.6 : 4.4;
  }
}

void DrawFoot(Canvas& canvas, const Window& window, const ShoeTemplate& t) {
  const auto body = OnPaper(window, t.shoe.body);
  canvas.Fill(body, Faded(kSteel, 0.75));
  DrawClips(canvas, window, t);
  canvas.Polyline(body, {.colour = kSteelEdge, .width = 0.3}, true);
  const auto foot = OnPaper(window, t.sole.outline);
  canvas.Polyline(
      foot, {.colour = kHorn, .width = 0.3, .dashes = {2.4, 1.2}}, true);
  if (!t.shoe.roll.empty()) {
    canvas.Polyline(
        OnPaper(window, t.shoe.roll),
        {.colour = kSteelEdge, .width = 0.25, .dashes = {0.8, 0.8}});
    const FootPoint middle = t.shoe.roll[t.shoe.roll.size() / 2];
    Label(canvas,
          "rolled from here",
          window(middle - FootVector{3.0, 0}),
          Ink(2.7));
  }
  const FootBounds bounds = BoundsOf(t);
  const Pen centre{
      .colour = kBlue, .width = 0.2, .dashes = {6.0, 1.2, 1.2, 1.2}};
  canvas.Line(window({bounds.low_x + 2, t.sole.axis_y}),
              window({bounds.high_x - 2, t.sole.axis_y}),
              centre);
  const double widest = (t.sole.widest_left.x + t.sole.widest_right.x) / 2;
  const Pen thin{.colour = kBlue, .width = 0.15, .dashes = {2.0, 1.6}};
  canvas.Line(window({widest, bounds.low_y + 2}),
              window({widest, bounds.high_y - 2}),
              thin);
  const double heels = (t.sole.heel_left.x + t.sole.heel_right.x) / 2;
  canvas.Line(window({heels, bounds.low_y + 2}),
              window({heels, bounds.high_y - 2}),
              thin);
  const auto beside = [&](double x, std::string_view text) {
    // Above its line, at the sheet's left, where no nail's number stands.
    const Box size = canvas.MeasureText(text, Ink(2.6));
    Label(canvas,
          text,
          window({x + 2.2, bounds.low_y + 2 + size.width / 2}),
          {kBlue, 2.6, false});
  };
  beside(widest, "widest");
  beside(heels, "heels");
  DrawNails(canvas, window, t);
  DrawHeart(canvas, window, t);
  const bool left_outside = fit::OuterSide(t.sole.foot) == fit::Side::kLeft;
  // On the steel, behind the nails, where it covers no edge.
  const auto on_branch = [&](bool left, std::string_view words) {
    const FootPolyline& line = t.shoe.middle;
    const std::size_t at = left ? line.size() / 6 : line.size() * 5 / 6;
    const std::size_t reach = line.size() / 30 + 1;
    const CanvasPoint back = window(line[at - reach]);
    const CanvasPoint on = window(line[at + reach]);
    double angle = std::atan2(on.y - back.y, on.x - back.x);
    // Never upside down.
    if (std::abs(angle) > std::numbers::pi / 2) angle -= std::numbers::pi;
    canvas.TurnedText(words, window(line[at]), angle, Ink(4.2, true));
  };
  on_branch(true, left_outside ? t.outside : t.inside);
  on_branch(false, left_outside ? t.inside : t.outside);
}

/// A ring with a cross at each 40 mm of the foot inside the strips that two
/// sheets share: the same places on both.
void DrawMarks(Canvas& canvas, const Sheets& sheets, std::size_t sheet) {
  const Window& window = sheets.windows[sheet];
  const auto column = static_cast<int>(sheet) % sheets.columns;
  const auto row = static_cast<int>(sheet) / sheets.columns;
  constexpr double kMark = 40.0;
  const Pen pen{.colour = kVermilion, .width = 0.15};
  const auto mark = [&](CanvasPoint at) {
    canvas.Circle(at, 2.0, pen);
    canvas.Line({at.x - 3.5, at.y}, {at.x + 3.5, at.y}, pen);
    canvas.Line({at.x, at.y - 3.5}, {at.x, at.y + 3.5}, pen);
  };
  const auto down = [&](double x) {
    for (double y = window.paper.y + kMark / 2; y < window.paper.bottom();
         y += kMark) {
      mark({x, y});
    }
  };
  const auto across = [&](double y) {
    for (double x = window.paper.x + kMark / 2; x < window.paper.right();
         x += kMark) {
      mark({x, y});
    }
  };
  // In the middle of what two sheets share, so that one foot's place gets one
  // mark on both.
  const double shared_x = (window.paper.width - sheets.step_x) / 2;
  const double shared_y = (window.paper.height - sheets.step_y) / 2;
  if (column > 0) down(window.paper.x + shared_x);
  if (column + 1 < sheets.columns) down(window.paper.right() - shared_x);
  if (row > 0) across(window.paper.y + shared_y);
  if (row + 1 < sheets.rows) across(window.paper.bottom() - shared_y);
  canvas.Polyline(
      std::array<CanvasPoint, 4>{
          CanvasPoint{window.paper.x, window.paper.y},
          CanvasPoint{window.paper.right(), window.paper.y},
          CanvasPoint{window.paper.right(), window.paper.bottom()},
          CanvasPoint{window.paper.x, window.paper.bottom()}},
      {.colour = kGridTen, .width = 0.15, .dashes = {1.5, 1.5}},
      true);
}

void DrawCheck(Canvas& canvas, const Sheets& sheets) {
  const double y = sheets.size.height - kMargin - 9.0;
  const double x = (sheets.size.width - kCheck) / 2;
  const Pen pen{.colour = kBlack, .width = 0.2};
  canvas.Line({x, y}, {x + kCheck, y}, pen);
  for (int mm = 0; mm <= 100; mm += 10) {
    const double half = mm % 100 == 0 ? 3.0 : 1.2;
    canvas.Line({x + mm, y - half}, {x + mm, y + half}, pen);
  }
  canvas.Text(
      "Lay a ruler on this line: 100 mm. If it is not, print again at "
      "100 %, not fitted to the page.",
      {sheets.size.width / 2, y + 3.8},
      Ink(2.9),
      Anchor::kMiddle);
}

void DrawHead(Canvas& canvas,
              const Sheets& sheets,
              const ShoeTemplate& t,
              std::string_view which) {
  canvas.Text(t.title, {kMargin, kMargin}, Ink(5.4, true));
  canvas.Text(t.subtitle, {kMargin, kMargin + 7.2}, Quiet(3.0));
  canvas.Text(
      "Seen as you look at the sole, ground side up. Turned over, it "
      "is the foot side.",
      {kMargin, kMargin + 11.6},
      Quiet(3.0));
  const double right = sheets.size.width - kMargin;
  canvas.Text("1 : 1", {right, kMargin}, Ink(5.4, true), Anchor::kRight);
  canvas.Text(which, {right, kMargin + 7.2}, Quiet(3.0), Anchor::kRight);
}

void DrawTable(Canvas& canvas, const Box& box, const ShoeTemplate& t) {
  constexpr double kLine = kTableLine;
  constexpr double kSize = kTableText;
  const double gap = 8.0;
  const double half = (box.width - gap) * 0.52;
  double y = box.y;
  for (const auto& [what, much] : t.facts) {
    canvas.Text(what, {box.x, y}, Quiet(kSize));
    canvas.Text(much, {box.x + 31, y}, Ink(kSize, true));
    y += kLine;
  }
  const double facts_end = y;
  const double x = box.x + half + gap;
  const std::array<double, 4> columns = {x, x + 26, x + 47, x + 64};
  y = box.y;
  const std::array<std::string_view, 4> head = {
      "Nail", "from toe", "deep", "lean in"};
  for (std::size_t i = 0; i < head.size(); ++i) {
    canvas.Text(head[i], {columns[i], y}, Quiet(kSize));
  }
  y += kLine;
  canvas.Line({x, y - 0.4},
              {box.right(), y - 0.4},
              {.colour = kPageQuiet, .width = 0.15});
  for (const fit::Slot& slot : t.nails.slots) {
    const Nail* nail = slot.nail();
    if (nail == nullptr) continue;
    const bool outer = slot.side == fit::OuterSide(t.sole.foot);
    const std::array<std::string, 4> row = {
        fmt::format("{} {}", outer ? t.outside : t.inside, slot.number),
        fmt::format("{:.0f} mm", nail->from_toe_mm),
        fmt::format("{:.1f} mm", nail->depth_mm),
        nail->lean_deg < 0.5 ? std::string("straight")
                             : fmt::format("{:.0f}°", nail->lean_deg)};
    for (std::size_t i = 0; i < row.size(); ++i) {
      canvas.Text(row[i], {columns[i], y}, Ink(kSize, i == 0));
    }
    y += kLine;
  }
  y = std::max(y, facts_end) + 1.0;
  for (const std::string& note : t.notes) {
    const TextStyle style = Wrapped(Ink(2.9), box.width);
    const Box size = canvas.MeasureText(note, style);
    if (y + size.height > box.bottom()) break;
    canvas.Text(note, {box.x, y}, style);
    y += size.height + 0.8;
  }
}

}  // namespace

ShoeTemplate Mirrored(const ShoeTemplate& shoe_template) {
  ShoeTemplate other = shoe_template;
  const auto turned = [](FootPoint p) { return FootPoint{p.x, -p.y}; };
  const auto mirror = [&turned](FootPolyline& line) {
    for (FootPoint& p : line) p = turned(p);
    std::reverse(line.begin(), line.end());
  };
  other.sole = fit::Mirrored(shoe_template.sole);
  mirror(other.shoe.outer);
  mirror(other.shoe.inner);
  mirror(other.shoe.middle);
  mirror(other.shoe.body);
  mirror(other.shoe.roll);
  for (std::size_t i = 0; i < other.nails.slots.size(); ++i) {
    fit::Slot& slot = other.nails.slots[i];
    slot = shoe_template.nails
               .slots[(i + fit::kSlotsABranch) % other.nails.slots.size()];
    slot.side =
        slot.side == fit::Side::kLeft ? fit::Side::kRight : fit::Side::kLeft;
    if (auto* nail = std::get_if<Nail>(&slot.outcome)) {
      nail->at = turned(nail->at);
      nail->along.y = -nail->along.y;
    }
  }
  for (fit::Clip& clip : other.nails.clips) {
    clip.at = turned(clip.at);
    clip.along = {-clip.along.x, clip.along.y};
  }
  return other;
}

std::string TemplatePdf(const ShoeTemplate& t, Paper paper) {
  const Sheets sheets = Lay(t, paper);
  Canvas canvas = Canvas::Pdf(
      sheets.size.width, sheets.size.height, {t.title, "Shoe template at 1:1"});
  const bool tiled = sheets.windows.size() > 1;
  const bool table_below = !tiled && sheets.table.height >= TableHeight(t);
  const std::size_t pages =
      sheets.windows.size() + (table_below ? std::size_t{0} : 1);
  for (std::size_t i = 0; i < sheets.windows.size(); ++i) {
    if (i > 0) canvas.NextPage();
    const Window& window = sheets.windows[i];
    const std::string which =
        pages == 1 ? std::string("one sheet")
        : tiled    ? fmt::format("sheet {} of {}: row {}, column {}",
                              i + 1,
                              pages,
                              i / static_cast<std::size_t>(sheets.columns) + 1,
                              i % static_cast<std::size_t>(sheets.columns) + 1)
                   : fmt::format("sheet {} of {}", i + 1, pages);
    DrawHead(canvas, sheets, t, which);
    {
      const Box& b = window.paper;
      const auto clip = canvas.Clip(
          std::array<CanvasPoint, 4>{CanvasPoint{b.x, b.y},
                                     CanvasPoint{b.right(), b.y},
                                     CanvasPoint{b.right(), b.bottom()},
                                     CanvasPoint{b.x, b.bottom()}});
      DrawGrid(canvas, window);
      DrawFoot(canvas, window, t);
    }
    if (tiled) DrawMarks(canvas, sheets, i);
    if (table_below) DrawTable(canvas, sheets.table, t);
    DrawCheck(canvas, sheets);
  }
  if (!table_below) {
    canvas.NextPage();
    DrawHead(
        canvas, sheets, t, fmt::format("sheet {} of {}: table", pages, pages));
    DrawTable(canvas,
              {kMargin,
               kMargin + kHead + 4,
               sheets.size.width - 2 * kMargin,
               sheets.size.height - 2 * kMargin - kHead - kFoot},
              t);
    DrawCheck(canvas, sheets);
  }
  return canvas.Finish();
}

SheetPlace PlaceOnSheet(const ShoeTemplate& shoe_template,
                        Paper paper,
                        geometry::FootPoint place) {
  const Sheets sheets = Lay(shoe_template, paper);
  for (std::size_t i = 0; i < sheets.windows.size(); ++i) {
    if (!sheets.windows[i].Shows(place)) continue;
    const CanvasPoint at = sheets.windows[i](place);
    return {static_cast<int>(i), at.x, at.y};
  }
  throw std::invalid_argument("PlaceOnSheet: no sheet shows it");
}

}  // namespace plumbfoot::draw
