// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/card_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "draw/strut.h"
#include "plumbfoot/draw/canvas.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::draw {
namespace {

namespace fs = std::filesystem;
using geometry::CardPoint;

/// No printer can print to the paper's edge; 8 mm is within reach of all.
constexpr double kMargin = 8.0;
/// Round the card: room for the crosses and the numbers that are cut away.
constexpr double kAroundLeft = 7.0;
constexpr double kAroundBelow = 10.0;
constexpr double kAround = 3.0;
/// CHOSEN: round the card where it is a picture by itself.
constexpr double kPictureBorder = 12.0;
/// How far the crosses stand below the card's edge, and how long their arms
/// are. CHOSEN: outside the card, since inside it there is no place that is not
/// a tag's white rim.
constexpr double kCrossBelow = 6.0;
constexpr double kCrossArm = 2.5;

constexpr Colour kCut{0.45, 0.45, 0.45};
constexpr Colour kGlue{0.87, 0.87, 0.87};
constexpr Colour kInk{0.15, 0.15, 0.15};

const Pen kCutPen{.colour = kCut, .width = 0.15};
const Pen kFoldPen{.colour = kCut, .width = 0.2, .dashes = {1.6, 1.0}};
const Pen kTickPen{.colour = kBlack, .width = 0.12};
const Pen kCrossPen{.colour = kBlack, .width = 0.12};

/// The box round a card, in its own frame (y up).
struct Bounds {
  double x0 = 1e9;
  double y0 = 1e9;
  double x1 = -1e9;
  double y1 = -1e9;
};

Bounds BoundsOf(const card::Layout& layout) {
  Bounds b;
  for (const CardPoint& p : layout.outline) {
    b = {std::min(b.x0, p.x),
         std::min(b.y0, p.y),
         std::max(b.x1, p.x),
         std::max(b.y1, p.y)};
  }
  return b;
}

/// Where a card lies on the canvas: the only place that turns its y over.
class Place {
 public:
  /// @param corner  Where the card's lower left corner comes to lie.
  Place(const Bounds& bounds, CanvasPoint corner)
      : origin_{corner.x - bounds.x0, corner.y + bounds.y0} {}
  CanvasPoint operator()(double x, double y) const {
    return {origin_.x + x, origin_.y - y};
  }
  CanvasPoint operator()(CardPoint p) const { return (*this)(p.x, p.y); }

 private:
  CanvasPoint origin_;
};

/// The white rim of a tag is one cell wide, an eighth of the black square.
Box RimOf(const card::TagPlace& tag) {
  const double half = tag.side_mm * 5 / 8;
  return {tag.centre.x - half, tag.centre.y - half, 2 * half, 2 * half};
}

void DrawTag(Canvas& canvas, const Place& place, const card::TagPlace& tag) {
  const auto cells = card::TagCells(tag.id);
  const double cell = tag.side_mm / 8;
  const Box rim = RimOf(tag);
  const CanvasPoint top_left = place(rim.x, rim.bottom());
  std::vector<Box> black;
  for (std::size_t row = 0; row < cells.size(); ++row) {
    std::size_t column = 0;
    while (column < cells[row].size()) {
      std::size_t end = column;
      while (end < cells[row].size() && cells[row][end]) ++end;
      if (end > column) {
        black.push_back({top_left.x + cell * static_cast<double>(column),
                         top_left.y + cell * static_cast<double>(row),
                         cell * static_cast<double>(end - column),
                         cell});
      }
      column = end + 1;
    }
  }
  canvas.FillBoxes(black, kBlack);
}

/// How much white there is at the edge of the card at `along` before the first
/// tag's rim begins.
double FreeDepth(const card::Layout& layout,
                 const Bounds& bounds,
                 double along,
                 bool bottom) {
  double depth = 1e9;
  for (const card::TagPlace& tag : layout.tags) {
    const Box rim = RimOf(tag);
    const double from = bottom ? rim.x : rim.y;
    const double size = rim.width;
    if (along > from - 0.1 && along < from + size + 0.1) {
      depth = std::min(depth, bottom ? rim.y - bounds.y0 : rim.x - bounds.x0);
    }
  }
  return depth;
}

/// The parts of the lowest (or leftmost) line that are edges of the card.
bool OnEdge(const card::Layout& layout,
            const Bounds& bounds,
            double along,
            bool bottom) {
  const auto& outline = layout.outline;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const CardPoint a = outline[i];
    const CardPoint b = outline[(i + 1) % outline.size()];
    const double level = bottom ? bounds.y0 : bounds.x0;
    const double la = bottom ? a.y : a.x;
    const double lb = bottom ? b.y : b.x;
    if (std::abs(la - level) > 1e-6 || std::abs(lb - level) > 1e-6) continue;
    const auto [low, high] =
        bottom ? std::minmax(a.x, b.x) : std::minmax(a.y, b.y);
    if (along >= low && along <= high) return true;
  }
  return false;
}

void DrawTicks(Canvas& canvas,
               const Place& place,
               const card::Layout& layout,
               const Bounds& bounds,
               bool bottom) {
  const double start = bottom ? bounds.x0 : bounds.y0;
  const double length = bottom ? bounds.x1 - bounds.x0 : bounds.y1 - bounds.y0;
  const auto at = [&](double along, double deep) {
    return bottom ? place(along, bounds.y0 + deep)
                  : place(bounds.x0 + deep, along);
  };
  const TextStyle number{.colour = kInk, .size = 2.0};
  for (int mm = 0; mm <= static_cast<int>(length + 1e-6); ++mm) {
    const double along = start + mm;
    if (!OnEdge(layout, bounds, along, bottom)) continue;
    const double free = FreeDepth(layout, bounds, along, bottom);
    // CHOSEN: the tags' rims leave 1.5 mm of the standard card's edge.
    const double wanted = mm % 10 == 0 ? 1.5 : (mm % 5 == 0 ? 1.15 : 0.75);
    const double deep = std::min(wanted, free);
    if (deep >= 0.5 && mm > 0 && mm < length) {
      canvas.Line(at(along, 0), at(along, deep), kTickPen);
    }
    if (mm % 10 != 0) continue;
    const std::string text = fmt::format("{}", mm);
    const Box size = canvas.MeasureText(text, number);
    // On the card where there is room, and always beside it, where it helps to
    // check the print and is cut away.
    if (free > wanted + size.width && mm > 0 && mm < length - 5) {
      const CanvasPoint p = at(along, wanted + 0.2 + size.height / 2);
      if (bottom) {
        canvas.Text(
            text, {p.x, p.y - size.height / 2}, number, Anchor::kMiddle);
      } else {
        canvas.TurnedText(text, p, std::numbers::pi / 2, number);
      }
    }
    canvas.Line(at(along, -0.3), at(along, -1.0), kTickPen);
    const CanvasPoint beside = at(along, -1.1);
    if (bottom) {
      canvas.Text(text, beside, number, Anchor::kMiddle);
    } else {
      canvas.Text(
          text, {beside.x, beside.y - size.height / 2}, number, Anchor::kRight);
    }
  }
}

void DrawCross(Canvas& canvas, CanvasPoint at) {
  canvas.Line({at.x - kCrossArm, at.y}, {at.x + kCrossArm, at.y}, kCrossPen);
  canvas.Line({at.x, at.y - kCrossArm}, {at.x, at.y + kCrossArm}, kCrossPen);
}

/// Words on the card itself, where no tag's rim is.
void DrawHint(Canvas& canvas,
              const Place& place,
              const card::Layout& layout,
              const Box& room,
              std::string_view text,
              bool upright) {
  const Bounds bounds = BoundsOf(layout);
  if (!Contains(
          {bounds.x0, bounds.y0, bounds.x1 - bounds.x0, bounds.y1 - bounds.y0},
          room)) {
    return;
  }
  for (const card::TagPlace& tag : layout.tags) {
    if (Overlap(RimOf(tag), room)) return;
  }
  canvas.TurnedText(text,
                    place(room.middle().x, room.middle().y),
                    upright ? 0.0 : -std::numbers::pi / 2,
                    {.colour = kInk, .size = 2.7});
}

void DrawCard(Canvas& canvas,
              const Place& place,
              const card::Layout& layout,
              bool with_strut) {
  const Bounds bounds = BoundsOf(layout);
  std::vector<CanvasPoint> outline;
  outline.reserve(layout.outline.size());
  for (const CardPoint& p : layout.outline) outline.push_back(place(p));
  canvas.Polyline(outline, kCutPen, true);
  for (const card::TagPlace& tag : layout.tags) DrawTag(canvas, place, tag);
  DrawTicks(canvas, place, layout, bounds, true);
  DrawTicks(canvas, place, layout, bounds, false);

  const auto crosses = CrossPlaces(layout);
  for (const CardPoint& cross : crosses) DrawCross(canvas, place(cross));
  const CanvasPoint middle = place(geometry::Midpoint(crosses[0], crosses[1]));
  const TextStyle words{.colour = kInk, .size = 2.7};
  const std::string span =
      fmt::format("{:g} mm from cross to cross", layout.check_span_mm);
  canvas.Text(span,
              {middle.x, middle.y - canvas.MeasureText(span, words).height / 2},
              words,
              Anchor::kMiddle);

  // The gaps between the standard card's rims are 11 mm wide.
  if (!with_strut) return;
  DrawHint(canvas,
           place,
           layout,
           {47.5, 5, 9, 42},
           "▲ outer corner: on the ground",
           false);
  DrawHint(canvas,
           place,
           layout,
           {5, 47.5, 42, 9},
           "▼ outer corner: on the ground",
           true);
  DrawHint(canvas, place, layout, {103.5, 5, 9, 42}, "5 to 155: 150 mm", false);
  DrawHint(
      canvas, place, layout, {5, 103.5, 42, 9}, "Plumbfoot scale card", true);
}

/// Is it the card that the strut is made for?
bool IsStandard(const card::Layout& layout) {
  const card::Layout standard = card::StandardLayout();
  return layout.outline == standard.outline;
}

void DrawNet(Canvas& canvas,
             CanvasPoint at,
             const std::vector<NetPanel>& net,
             double words) {
  const Canvas::Guard guard = canvas.Frame(at);
  for (const NetPanel& panel : net) {
    if (panel.glued) canvas.Fill(panel.corners, kGlue);
  }
  const auto is_fold = [&](CanvasPoint a, CanvasPoint b) {
    return std::any_of(net.begin(), net.end(), [&](const NetPanel& panel) {
      if (panel.parent < 0) return false;
      const auto same = [](CanvasPoint p, CanvasPoint q) {
        return geometry::Distance(p, q) < 1e-6;
      };
      return (same(a, panel.fold_from) && same(b, panel.fold_to)) ||
             (same(b, panel.fold_from) && same(a, panel.fold_to));
    });
  };
  for (const NetPanel& panel : net) {
    for (std::size_t i = 0; i < panel.corners.size(); ++i) {
      const CanvasPoint a = panel.corners[i];
      const CanvasPoint b = panel.corners[(i + 1) % panel.corners.size()];
      if (!is_fold(a, b)) canvas.Line(a, b, kCutPen);
    }
    if (panel.parent >= 0) {
      canvas.Line(panel.fold_from, panel.fold_to, kFoldPen);
    }
    CanvasPoint middle{0, 0};
    for (const CanvasPoint& c : panel.corners) {
      middle.x += c.x / static_cast<double>(panel.corners.size());
      middle.y += c.y / static_cast<double>(panel.corners.size());
    }
    const CanvasVector fold = panel.fold_to - panel.fold_from;
    const bool turned = panel.glued && std::abs(fold.y) > std::abs(fold.x);
    canvas.TurnedText(panel.name,
                      middle,
                      turned ? -std::numbers::pi / 2 : 0.0,
                      {.colour = kInk, .size = words});
  }
}

/// The L of the pictograms, its outer corner at the origin, `side` long.
std::vector<CanvasPoint> SmallCard(double side) {
  const double arm = 0.3 * side;
  return {
      {0, 0}, {side, 0}, {side, -arm}, {arm, -arm}, {arm, -side}, {0, -side}};
}

void DrawSmallCard(Canvas& canvas, double side) {
  canvas.Fill(SmallCard(side), kWhite);
  canvas.Polyline(SmallCard(side), {.colour = kBlack, .width = 0.3}, true);
  const double tag = 0.2 * side;
  const double rim = 0.05 * side;
  const double step = 0.35 * side;
  std::vector<Box> tags;
  for (int i = 0; i < 3; ++i) {
    tags.push_back({rim + i * step, -rim - tag, tag, tag});
    if (i > 0) tags.push_back({rim, -rim - tag - i * step, tag, tag});
  }
  canvas.FillBoxes(tags, kBlack);
}

/// The sole with the card's inner corner round it. 34 mm wide, 34 mm high.
void DrawSolePictogram(Canvas& canvas, CanvasPoint at) {
  const Canvas::Guard guard = canvas.Frame({at.x, at.y + 33});
  DrawSmallCard(canvas, 32);
  // The foot: an ellipse that is cut off at the heels; the toe points up.
  std::vector<CanvasPoint> sole;
  for (int i = -30; i <= 210; i += 6) {
    const double a = i * std::numbers::pi / 180;
    sole.push_back({20.6 + 9.6 * std::cos(a), -20.5 - 10.4 * std::sin(a)});
  }
  canvas.Fill(sole, {0.80, 0.80, 0.80});
  canvas.Polyline(sole, {.colour = kBlack, .width = 0.4}, true);
  const std::vector<CanvasPoint> frog = {
      {20.6, -25.5}, {24.6, -15.6}, {20.6, -17.0}, {16.6, -15.6}};
  canvas.Fill(frog, {0.55, 0.55, 0.55});
}

/// The foot from the side, the card standing before its toe. 52 mm wide.
void DrawSidePictogram(Canvas& canvas, CanvasPoint at) {
  const Canvas::Guard guard = canvas.Frame({at.x, at.y + 33});
  const std::vector<CanvasPoint> limb = {
      {31.5, -13}, {37, -22}, {37.5, -33}, {47, -33}, {46.5, -20}, {49, -8}};
  canvas.Fill(limb, {0.90, 0.90, 0.90});
  canvas.Polyline(limb, {.colour = kBlack, .width = 0.3});
  const std::vector<CanvasPoint> hoof = {
      {21, 0}, {31.5, -13}, {49, -8}, {46, 0}};
  canvas.Fill(hoof, {0.80, 0.80, 0.80});
  canvas.Polyline(hoof, {.colour = kBlack, .width = 0.4}, true);
  {
    const Canvas::Guard card = canvas.Frame({0, 0}, 0, 1);
    // Arm A lies on the ground and ends before the toe.
    DrawSmallCard(canvas, 19);
  }
  canvas.Line({-2, 0.3}, {53, 0.3}, {.colour = kBlack, .width = 0.5});
}

struct PaperSize {
  double width;
  double height;
  std::string_view name;
};

PaperSize SizeOf(Paper paper) {
  return paper == Paper::kA4 ? PaperSize{210.0, 297.0, "A4"}
                             : PaperSize{215.9, 279.4, "Letter"};
}

/// Sets numbered sentences one below the other.
/// @return Where the next would begin.
double Sentences(Canvas& canvas,
                 const std::vector<std::string>& sentences,
                 CanvasPoint at,
                 double width,
                 double size) {
  int number = 1;
  for (const std::string& sentence : sentences) {
    canvas.Text(fmt::format("{}", number++),
                at,
                {.colour = kInk, .size = size, .bold = true});
    const Box box =
        canvas.Text(sentence,
                    {at.x + 1.7 * size, at.y},
                    {.colour = kInk, .size = size, .wrap = width - 1.7 * size});
    at.y = box.bottom() + 0.45 * size;
  }
  return at.y;
}

std::vector<std::string> CardSentences(const card::Layout& layout) {
  return {
      "Print at 100 % (“actual size”), never “fit to page”.",
      fmt::format(
          "Check with a ruler: the two crosses below the card must be {0:g} mm "
          "apart; if they are not, tell Plumbfoot what you measured, for "
          "example:\nplumbfoot card --measured-mm {1:.1f}",
          layout.check_span_mm,
          layout.check_span_mm - 0.6),
      "Glue the card’s part of the sheet to stiff, flat board of 3 mm or more, "
      "without bubbles, and cut the card out along its thin grey line.",
  };
}

const std::vector<std::string>& StrutSentences() {
  static const std::vector<std::string> sentences = {
      "Glue the strut and its lid to thin card and cut them out. Fold the "
      "dashed lines back, print outside; only the flap “out” folds forwards.",
      "Glue the tab behind foot a. Glue the flaps to the back of the card, "
      "with foot a and foot b flush with its two outer edges.",
      "Put a handful of horseshoe nails in, glue the lid in: the card now "
      "stands on either arm.",
  };
  return sentences;
}

/// The box of the card as a picture by itself, crosses and border with it.
Bounds PictureBounds(const card::Layout& layout) {
  const Bounds b = BoundsOf(layout);
  const auto crosses = CrossPlaces(layout);
  const double beside = kCrossArm + 2;
  return {std::min(b.x0 - kPictureBorder, crosses[0].x - beside),
          b.y0 - kPictureBorder,
          std::max(b.x1 + kPictureBorder, crosses[1].x + beside),
          b.y1 + kPictureBorder};
}

std::string CardPicture(const card::Layout& layout, Canvas canvas) {
  const Bounds card = BoundsOf(layout);
  const Bounds picture = PictureBounds(layout);
  const Place place(card, {card.x0 - picture.x0, picture.y1 - card.y0});
  DrawCard(canvas, place, layout, IsStandard(layout));
  return canvas.Finish();
}

}  // namespace

std::array<CardPoint, 2> CrossPlaces(const card::Layout& layout) {
  const Bounds b = BoundsOf(layout);
  const double middle = (b.x0 + b.x1) / 2;
  const double half = layout.check_span_mm / 2;
  return {CardPoint{middle - half, b.y0 - kCrossBelow},
          CardPoint{middle + half, b.y0 - kCrossBelow}};
}

Result<std::string> CardPdf(const card::Layout& layout, Paper paper) {
  const PaperSize size = SizeOf(paper);
  const Bounds bounds = BoundsOf(layout);
  const double width = bounds.x1 - bounds.x0;
  const double height = bounds.y1 - bounds.y0;
  const auto crosses = CrossPlaces(layout);
  const double before =
      std::max(kAroundLeft, bounds.x0 - crosses[0].x + kCrossArm);
  const double after = std::max(kAround, crosses[1].x - bounds.x1 + kCrossArm);
  const double room_x = size.width - 2 * kMargin - before - after;
  const double room_y = size.height - 2 * kMargin - kAround - kAroundBelow;
  if (width > room_x || height > room_y) {
    return Refusal{
        RefusalCode::kCardLayoutInvalid,
        fmt::format("The card \"{}\" is {:.0f} x {:.0f} mm and doesn't fit on "
                    "{} paper, which has room for {:.0f} x {:.0f} mm.",
                    layout.name,
                    width,
                    height,
                    size.name,
                    room_x,
                    room_y),
        "Describe a smaller card, or one with fewer tags."};
  }

  Canvas canvas =
      Canvas::Pdf(size.width,
                  size.height,
                  {"Plumbfoot scale card", "Print at 100 % (actual size)"});
  const bool with_strut = IsStandard(layout);
  const CanvasPoint corner{kMargin + before, kMargin + kAround + height};
  DrawCard(canvas, Place(bounds, corner), layout, with_strut);
  const double below = corner.y + kAroundBelow;
  const double right = size.width - kMargin;

  if (!with_strut) {
    // Words go below the card, or else on a second page.
    const double wanted = 45.0;
    double top = below + 4;
    if (top + wanted > size.height - kMargin) {
      canvas.NextPage();
      top = kMargin + 4;
    }
    canvas.Text("Scale card: " + layout.name,
                {kMargin, top},
                {.colour = kInk, .size = 5, .bold = true});
    Sentences(canvas,
              CardSentences(layout),
              {kMargin, top + 9},
              right - kMargin,
              3.3);
    return canvas.Finish();
  }

  // The standard card: words, lid and pictograms inside the L, strut below.
  const double inner_x = corner.x + 48 + 8;
  double y = kMargin + kAround;
  canvas.Text("Plumbfoot scale card",
              {inner_x, y},
              {.colour = kInk, .size = 6, .bold = true});
  y = Sentences(
      canvas, CardSentences(layout), {inner_x, y + 9.5}, right - inner_x, 3.2);

  const Strut strut;
  const auto lid = LidNet(strut);
  const Box lid_box = NetBox(lid);
  const double inner_bottom = corner.y - 48 - 4;
  // A hair farther in, so that its outline too keeps out of the margin.
  const double lid_x = right - 0.2 - lid_box.right();
  DrawNet(canvas, {lid_x, inner_bottom - lid_box.bottom()}, lid, 3.0);

  const TextStyle small{.colour = kInk, .size = 2.7};
  const double sole_y = inner_bottom - 70;
  DrawSolePictogram(canvas, {inner_x, sole_y});
  TextStyle beside = small;
  beside.wrap = lid_x - inner_x - 38;
  canvas.Text("Sole: the inner corner round the foot, the card flush with it.",
              {inner_x + 36, sole_y + 8},
              beside);
  DrawSidePictogram(canvas, {inner_x + 2, sole_y + 28});
  TextStyle under = small;
  under.wrap = lid_x - inner_x - 2;
  canvas.Text(
      "Side: on the ground in line with the middle of the foot, before the toe "
      "or behind the heels.",
      {inner_x, sole_y + 62.5},
      under);

  const auto tube = TubeNet(strut);
  const Box tube_box = NetBox(tube);
  const CanvasPoint tube_at{corner.x, below + 2};
  DrawNet(canvas, tube_at, tube, 3.0);
  Sentences(canvas,
            StrutSentences(),
            {corner.x, tube_at.y + tube_box.height + 2},
            right - corner.x,
            2.8);
  return canvas.Finish();
}

std::string CardSvg(const card::Layout& layout) {
  const Bounds b = PictureBounds(layout);
  return CardPicture(layout, Canvas::Svg(b.x1 - b.x0, b.y1 - b.y0));
}

std::string CardPng(const card::Layout& layout, double dots_per_inch) {
  const Bounds b = PictureBounds(layout);
  return CardPicture(layout,
                     Canvas::Png(b.x1 - b.x0, b.y1 - b.y0, dots_per_inch));
}

Result<std::vector<fs::path>> WriteCard(const card::Layout& layout,
                                        const fs::path& folder) {
  std::vector<photo::NamedBytes> files;
  std::optional<Refusal> too_large;
  for (const Paper paper : {Paper::kA4, Paper::kLetter}) {
    auto pdf = CardPdf(layout, paper);
    if (!pdf) {
      too_large = pdf.error();
      continue;
    }
    files.push_back({paper == Paper::kA4 ? "card-a4.pdf" : "card-letter.pdf",
                     std::move(pdf).value()});
  }
  if (files.empty()) return *too_large;
  files.push_back({"card.svg", CardSvg(layout)});
  files.push_back({"card.png", CardPng(layout)});
  return photo::WriteSet(folder, files);
}

}  // namespace plumbfoot::draw
