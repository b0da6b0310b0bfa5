// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/annotate.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <utility>

#include "draw/label_placer.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/judge/words.h"

namespace plumbfoot::draw {
namespace {

using geometry::PhotoPoint;
using geometry::PlacedPoint;
using measure::Measured;
using measure::MeasureId;
using measure::ViewMeasures;

// What has which colour. One colour is one thing in both views where it can be.
constexpr Colour kGroundColour = kSkyBlue;      // outline; bearing line
constexpr Colour kFirstColour = kOrange;        // width; toe
constexpr Colour kHeelColour = kReddishPurple;  // heels
constexpr Colour kAxisColour = kYellow;         // length; pastern
constexpr Colour kInnerColour = kBluishGreen;   // frog; hairline
constexpr Colour kPlate{0.09, 0.09, 0.11, 0.84};
constexpr Colour kDark{0.05, 0.05, 0.07};
constexpr Colour kBand{0.965, 0.96, 0.945};
constexpr Colour kBandInk{0.10, 0.10, 0.12};

std::string_view PointWords(PointId id) {
  switch (id) {
    case PointId::kToe:
      return "toe";
    case PointId::kHeelLeft:
      return "left heel";
    case PointId::kHeelRight:
      return "right heel";
    case PointId::kFrogApex:
      return "frog tip";
    case PointId::kFrogLeft:
      return "frog left";
    case PointId::kFrogRight:
      return "frog right";
    case PointId::kToeGround:
      return "toe";
    case PointId::kToeHairline:
      return "toe hairline";
    case PointId::kHeelGround:
      return "heel";
    case PointId::kHeelHairline:
      return "heel hairline";
    case PointId::kPasternUpper:
      return "upper pastern";
    case PointId::kPasternLower:
      return "lower pastern";
  }
  throw std::invalid_argument("PointWords: not a PointId");
}

const Measured* Find(const ViewMeasures& measures, MeasureId id) {
  const auto found = measures.outcomes.find(id);
  return found == measures.outcomes.end()
             ? nullptr
             : std::get_if<Measured>(&found->second);
}

std::string NameOf(PointId id, const AnnotateWords& words) {
  const auto told = words.points.find(id);
  return told != words.points.end() ? told->second
                                    : std::string(PointWords(id));
}

/// One line for each measure that was taken: "Width 128.4 ± 1.2 mm".
std::string LinesOf(const ViewMeasures& measures,
                    const AnnotateWords& words,
                    std::initializer_list<MeasureId> ids) {
  std::string text;
  for (const MeasureId id : ids) {
    const Measured* measured = Find(measures, id);
    if (measured == nullptr) continue;
    const measure::MeasureInfo& info = measure::InfoOf(id);
    const auto told = words.measures.find(id);
    std::string numbers = judge::ShowInLine(*measured, info.unit);
    for (std::size_t at = numbers.find('.'); at != std::string::npos;
         at = numbers.find('.', at + words.decimal_mark.size())) {
      numbers.replace(at, 1, words.decimal_mark);
    }
    text += fmt::format("{}{} {}",
                        text.empty() ? "" : "\n",
                        told != words.measures.end()
                            ? std::string_view(told->second)
                            : info.name,
                        numbers);
  }
  return text;
}

/// A label that waits for its place.
struct Wish {
  std::string text;
  CanvasPoint anchor;
  CanvasVector toward;
  Colour colour;
  bool value = true;  ///< A measure on a plate; else a point's name.
};

/// A ring for the finder's points, a disc for a person's.
void DrawMarker(Canvas& canvas, CanvasPoint at, PlacedBy placed_by, double em) {
  const double r = 0.25 * em;
  canvas.Circle(at, r, {.colour = kDark, .width = 0.3 * em});
  if (placed_by == PlacedBy::kPerson) canvas.Disc(at, r, kVermilion);
  canvas.Circle(at, r, {.colour = kWhite, .width = 0.13 * em});
}

/// The photo's place of a point: where it was seen.
PhotoPoint SeenAt(const PlacedPoint& point) {
  return point.seen_px.value_or(point.px);
}

/// What is drawn on one photo, in the annotated picture's pixels.
class Sketch {
 public:
  Sketch(Canvas& canvas,
         const Box& photo,
         double scale,
         const AnnotateWords& words)
      : canvas_(canvas),
        words_(words),
        photo_(photo),
        scale_(scale),
        em_(photo.width * kLetter),
        placer_(photo, 0.25 * em_) {}

  /// CHOSEN: 46 px where the picture is 2048 px wide, so 9 px on a phone's
  /// screen of 390 px, the smallest that is read without effort.
  static constexpr double kLetter = 0.0225;

  double em() const { return em_; }
  std::string Lines(const ViewMeasures& measures,
                    std::initializer_list<MeasureId> ids) const {
    return LinesOf(measures, words_, ids);
  }
  LabelPlacer& placer() { return placer_; }
  CanvasPoint At(PhotoPoint p) const { return {scale_ * p.x, scale_ * p.y}; }

  /// Of two places, the one on the side where the picture has more room.
  CanvasPoint Roomier(CanvasPoint a, CanvasPoint b, CanvasPoint middle) const {
    const bool right = middle.x < photo_.middle().x;
    return (a.x > b.x) == right ? a : b;
  }

  Pen ThePen(Colour colour, double weight = 1.0) const {
    return {.colour = colour,
            .width = 0.15 * em_ * weight,
            .dashes = {},
            .halo = 0.06 * em_};
  }
  Pen Dashed(Colour colour, double weight = 0.8) const {
    Pen pen = ThePen(colour, weight);
    pen.dashes = {0.45 * em_, 0.3 * em_};
    return pen;
  }

  void Stroke(const std::vector<CanvasPoint>& line,
              const Pen& pen,
              bool closed = false) {
    canvas_.Polyline(line, pen, closed);
    placer_.Avoid(line, closed);
  }

  /// A length: a line with a short bar across each end.
  void Dimension(CanvasPoint a, CanvasPoint b, const Pen& pen) {
    const double length = geometry::Distance(a, b);
    if (!(length > 0)) return;
    const CanvasVector across =
        (0.32 * em_ / length) * geometry::Perpendicular(b - a);
    canvas_.Line(a - across, a + across, pen);
    canvas_.Line(b - across, b + across, pen);
    Stroke({a, b}, pen);
  }

  /// The arc from one direction to another, the short way round.
  /// @return The middle of the arc.
  CanvasPoint AngleArc(CanvasPoint centre,
                       CanvasVector from,
                       CanvasVector to,
                       double radius,
                       Colour colour) {
    double a = std::atan2(from.y, from.x);
    double turn =
        std::atan2(geometry::Cross(from, to), geometry::Dot(from, to));
    if (turn < 0) {
      a += turn;
      turn = -turn;
    }
    canvas_.Arc(centre, radius, a, a + turn, ThePen(colour, 1.25));
    std::vector<CanvasPoint> line;
    for (int i = 0; i <= 8; ++i) {
      const double b = a + turn * i / 8;
      line.push_back(
          {centre.x + radius * std::cos(b), centre.y + radius * std::sin(b)});
    }
    placer_.Avoid(line);
    return line[4];
  }

  void Label(std::string text,
             CanvasPoint anchor,
             CanvasVector toward,
             Colour colour) {
    if (!text.empty()) {
      wishes_.push_back({std::move(text), anchor, toward, colour, true});
    }
  }

  void Point(PointId id, const PlacedPoint& point, CanvasVector toward) {
    const CanvasPoint at = At(SeenAt(point));
    DrawMarker(canvas_, at, point.placed_by, em_);
    placer_.AvoidPoint(at);
    std::string name = NameOf(id, words_);
    if (!find::IsSure(point)) name += "?";
    names_.push_back({std::move(name), at, toward, kWhite, false});
  }

  /// Blocks of 10 mm in a corner.
  /// @return Where they are; nothing if there is no room.
  std::optional<Box> MillimetreBar(double px_per_mm) {
    int blocks = 5;
    while (blocks > 1 && 10 * blocks * px_per_mm > 0.45 * photo_.width)
      --blocks;
    const double length = 10 * blocks * px_per_mm;
    const double height = 0.42 * em_;
    const TextStyle style{.colour = kWhite,
                          .size = em_,
                          .bold = true,
                          .wrap = 0,
                          .halo = 0.12 * em_};
    const std::string text = fmt::format("{} mm", 10 * blocks);
    const Box words = canvas_.MeasureText(text, style);
    const double pad = 0.35 * em_;
    const auto place =
        placer_.PlaceInCorner(std::max(length, words.width) + 2 * pad,
                              height + words.height + 2 * pad);
    if (!place) return std::nullopt;
    canvas_.FillRounded(*place, 0.3 * em_, kPlate);
    canvas_.Text(text, {place->x + pad, place->y + pad * 0.6}, style);
    const double x = place->x + pad;
    const double y = place->bottom() - pad - height;
    canvas_.FillBoxes(std::array{Grown({x, y, length, height}, 0.05 * em_)},
                      kWhite);
    for (int i = 0; i < blocks; i += 2) {
      canvas_.FillBoxes(
          std::array{Box{x + 10 * i * px_per_mm, y, 10 * px_per_mm, height}},
          kBlack);
    }
    return Box{x, y, length, height};
  }

  /// Finds places for all labels and draws them.
  /// @return The texts that found none.
  std::vector<std::string> PlaceLabels(std::vector<PlacedLabel>& placed) {
    std::vector<std::string> left_over;
    std::vector<std::pair<Wish, Box>> boxes;
    // What was drawn last lies on top, matters most and chooses first.
    std::reverse(wishes_.begin(), wishes_.end());
    for (const auto* list : {&wishes_, &names_}) {
      for (const Wish& wish : *list) {
        const Box size = canvas_.MeasureText(wish.text, StyleOf(wish));
        const double width = size.width + (wish.value ? 1.15 : 0.1) * em_;
        const double height = size.height + (wish.value ? 0.4 : 0.0) * em_;
        const auto box = placer_.Place(width, height, wish.anchor, wish.toward);
        if (box) {
          boxes.emplace_back(wish, *box);
        } else {
          left_over.push_back(wish.text);
        }
      }
    }
    for (const auto& [wish, box] : boxes) DrawLeader(wish, box);
    for (const auto& [wish, box] : boxes) {
      DrawLabel(wish, box);
      placed.push_back({wish.text, box, wish.anchor});
    }
    return left_over;
  }

 private:
  TextStyle StyleOf(const Wish& wish) const {
    return {.colour = kWhite,
            .size = wish.value ? em_ : 0.96 * em_,
            .bold = wish.value,
            .wrap = 0,
            .halo = wish.value ? 0.0 : 0.13 * em_};
  }

  void DrawLeader(const Wish& wish, const Box& box) {
    const CanvasPoint end = NearestIn(box, wish.anchor);
    const double length = geometry::Distance(wish.anchor, end);
    // Beside its point, a name needs none.
    if (length < (wish.value ? 0.3 : 1.0) * em_) return;
    canvas_.Line(wish.anchor, end, ThePen(wish.colour, 0.55));
    if (wish.value) canvas_.Disc(wish.anchor, 0.13 * em_, wish.colour);
  }

  void DrawLabel(const Wish& wish, const Box& box) {
    if (!wish.value) {
      canvas_.Text(wish.text, {box.x + 0.05 * em_, box.y}, StyleOf(wish));
      return;
    }
    canvas_.FillRounded(box, 0.25 * em_, kPlate);
    canvas_.FillRounded({box.x + 0.2 * em_,
                         box.y + 0.25 * em_,
                         0.28 * em_,
                         box.height - 0.5 * em_},
                        0.14 * em_,
                        wish.colour);
    canvas_.Text(
        wish.text, {box.x + 0.75 * em_, box.y + 0.2 * em_}, StyleOf(wish));
  }

  Canvas& canvas_;
  const AnnotateWords& words_;
  Box photo_;
  double scale_;
  double em_;
  LabelPlacer placer_;
  std::vector<Wish> wishes_;
  std::vector<Wish> names_;
};

CanvasPoint Along(CanvasPoint a, CanvasPoint b, double part) {
  return a + part * (b - a);
}

std::vector<CanvasPoint> AllAt(const Sketch& sketch,
                               const geometry::PhotoPolyline& line) {
  std::vector<CanvasPoint> points;
  points.reserve(line.size());
  for (const PhotoPoint& p : line) points.push_back(sketch.At(p));
  return points;
}

/// The middle of what is placed, in the photo; nothing if nothing is.
std::optional<PhotoPoint> MiddleOf(const ViewPoints& points) {
  double x = 0;
  double y = 0;
  double n = 0;
  const auto add = [&](PhotoPoint p) {
    x += p.x;
    y += p.y;
    n += 1;
  };
  if (points.outline && !points.outline->px.empty()) {
    for (const PhotoPoint& p : points.outline->px) add(p);
  } else {
    for (const auto& point : points.points) {
      if (point) add(point->px);
    }
  }
  if (n == 0) return std::nullopt;
  return PhotoPoint{x / n, y / n};
}

void DrawSolar(Sketch& sketch,
               const ViewPoints& points,
               const ViewMeasures& measures,
               CanvasPoint middle) {
  const measure::Construction& c = measures.construction;
  if (points.outline) {
    const auto outline = AllAt(sketch, points.outline->px);
    sketch.Stroke(outline, sketch.ThePen(kGroundColour), true);
    sketch.placer().AvoidInside(outline);
  }

  const auto& apex = points.at(PointId::kFrogApex);
  const auto& frog_left = points.at(PointId::kFrogLeft);
  const auto& frog_right = points.at(PointId::kFrogRight);
  std::vector<CanvasPoint> frog;
  for (const auto* point : {&frog_left, &apex, &frog_right}) {
    if (*point) frog.push_back(sketch.At((*point)->px));
  }
  if (frog.size() >= 2) {
    sketch.Stroke(frog, sketch.ThePen(kInnerColour), frog.size() == 3);
    const CanvasPoint side = sketch.Roomier(
        Along(frog[0], frog[1], 0.4), Along(frog.back(), frog[1], 0.4), middle);
    sketch.Label(sketch.Lines(measures,
                              {MeasureId::kFrogLength,
                               MeasureId::kFrogWidth,
                               MeasureId::kFrogWidthToLength}),
                 side,
                 side - middle,
                 kInnerColour);
  }

  if (c.frog_axis) {
    const CanvasPoint heel = sketch.At((*c.frog_axis)[0]);
    const CanvasPoint toe = sketch.At((*c.frog_axis)[1]);
    sketch.Stroke({Along(heel, toe, -0.12), heel}, sketch.Dashed(kAxisColour));
    sketch.Stroke({toe, Along(heel, toe, 1.12)}, sketch.Dashed(kAxisColour));
    sketch.Dimension(heel, toe, sketch.ThePen(kAxisColour));
    sketch.Label(sketch.Lines(measures, {MeasureId::kBearingLength}),
                 Along(heel, toe, 0.97),
                 toe - heel,
                 kAxisColour);
  }
  const auto& heel_left = points.at(PointId::kHeelLeft);
  const auto& heel_right = points.at(PointId::kHeelRight);
  if (heel_left && heel_right) {
    const CanvasPoint a = sketch.At(heel_left->px);
    const CanvasPoint b = sketch.At(heel_right->px);
    sketch.Dimension(a, b, sketch.ThePen(kHeelColour));
    sketch.Label(sketch.Lines(measures, {MeasureId::kHeelWidth}),
                 Along(a, b, 0.65),
                 Along(a, b, 0.5) - middle,
                 kHeelColour);
  }
  if (c.widest_line) {
    const CanvasPoint a = sketch.At((*c.widest_line)[0]);
    const CanvasPoint b = sketch.At((*c.widest_line)[1]);
    sketch.Dimension(a, b, sketch.ThePen(kFirstColour, 1.2));
    const CanvasPoint end = sketch.Roomier(a, b, middle);
    sketch.Label(
        sketch.Lines(measures,
                     {MeasureId::kBearingWidth, MeasureId::kWidthToLength}),
        end,
        end - middle,
        kFirstColour);
  }
}

void DrawLateral(Sketch& sketch,
                 const ViewPoints& points,
                 const ViewMeasures& measures,
                 CanvasPoint middle) {
  const measure::Construction& c = measures.construction;
  const auto is_measured = [&](MeasureId id) {
    return Find(measures, id) != nullptr;
  };
  // Backwards along the ground, as far as the foot is long.
  std::optional<CanvasVector> back;
  if (c.bearing_line) {
    const CanvasPoint toe = sketch.At((*c.bearing_line)[0]);
    const CanvasPoint heel = sketch.At((*c.bearing_line)[1]);
    back = heel - toe;
    sketch.Stroke({Along(toe, heel, -0.25), Along(toe, heel, 1.55)},
                  sketch.ThePen(kGroundColour));
    sketch.Label(sketch.Lines(measures, {MeasureId::kSupportLength}),
                 Along(toe, heel, 0.5),
                 {0, 1},
                 kGroundColour);
  }
  const double arc =
      back ? std::max(0.2 * geometry::Norm(*back), 1.6 * sketch.em()) : 0.0;

  std::vector<CanvasPoint> foot;
  for (const PointId id : {PointId::kToeGround,
                           PointId::kToeHairline,
                           PointId::kPasternLower,
                           PointId::kPasternUpper,
                           PointId::kHeelHairline,
                           PointId::kHeelGround}) {
    if (points.at(id)) foot.push_back(sketch.At(SeenAt(*points.at(id))));
  }
  if (foot.size() >= 3) sketch.placer().AvoidInside(foot);

  if (points.dorsal_wall) {
    sketch.Stroke(AllAt(sketch, points.dorsal_wall->px),
                  sketch.ThePen(kWhite, 0.7));
  }

  const auto& toe_hairline = points.at(PointId::kToeHairline);
  const auto& heel_hairline = points.at(PointId::kHeelHairline);
  if (toe_hairline && heel_hairline) {
    const CanvasPoint a = sketch.At(SeenAt(*toe_hairline));
    const CanvasPoint b = sketch.At(SeenAt(*heel_hairline));
    sketch.Stroke({a, b}, sketch.ThePen(kInnerColour));
    if (back && is_measured(MeasureId::kHairlineAngle)) {
      sketch.Stroke({b, b - 0.55 * *back}, sketch.Dashed(kInnerColour, 0.6));
      const CanvasPoint at =
          sketch.AngleArc(b, -*back, a - b, 1.6 * arc, kInnerColour);
      sketch.Label(sketch.Lines(measures, {MeasureId::kHairlineAngle}),
                   at,
                   *back + (a - middle),
                   kInnerColour);
    }
  }

  // Heights, square to the ground.
  const auto height = [&](const std::optional<PlacedPoint>& point,
                          const std::optional<PlacedPoint>& on_ground,
                          MeasureId id,
                          Colour colour) {
    if (!point || !on_ground || !back || !is_measured(id)) return;
    const CanvasPoint top = sketch.At(SeenAt(*point));
    const CanvasPoint ground = sketch.At(SeenAt(*on_ground));
    const double part =
        geometry::Dot(top - ground, *back) / geometry::Dot(*back, *back);
    sketch.Stroke({top, ground + part * *back}, sketch.Dashed(colour, 0.6));
  };
  const auto& heel_ground = points.at(PointId::kHeelGround);
  height(toe_hairline,
         points.at(PointId::kToeGround),
         MeasureId::kToeHeight,
         kFirstColour);
  height(heel_hairline, heel_ground, MeasureId::kHeelHeight, kHeelColour);

  if (heel_ground && heel_hairline) {
    const CanvasPoint ground = sketch.At(SeenAt(*heel_ground));
    const CanvasPoint top = sketch.At(SeenAt(*heel_hairline));
    sketch.Stroke({top, Along(ground, top, 1.5)}, sketch.Dashed(kHeelColour));
    sketch.Stroke({ground, top}, sketch.ThePen(kHeelColour));
    CanvasPoint anchor = Along(ground, top, 0.6);
    if (back && is_measured(MeasureId::kHeelAngle)) {
      anchor = sketch.AngleArc(ground, *back, top - ground, arc, kHeelColour);
    }
    sketch.Label(sketch.Lines(measures,
                              {MeasureId::kHeelAngle,
                               MeasureId::kHeelWallLength,
                               MeasureId::kHeelHeight}),
                 anchor,
                 back.value_or(CanvasVector{}),
                 kHeelColour);
  }
  // Below the pastern's line, with which it falls together on a straight foot.
  if (c.toe_line) {
    const CanvasPoint ground = sketch.At((*c.toe_line)[0]);
    const CanvasPoint top = sketch.At((*c.toe_line)[1]);
    sketch.Stroke({top, Along(ground, top, 1.75)}, sketch.Dashed(kFirstColour));
  }
  if (c.pastern_line) {
    const CanvasPoint low = sketch.At((*c.pastern_line)[0]);
    const CanvasPoint high = sketch.At((*c.pastern_line)[1]);
    sketch.Stroke({Along(low, high, -0.35), low}, sketch.Dashed(kAxisColour));
    sketch.Stroke({high, Along(low, high, 1.3)}, sketch.Dashed(kAxisColour));
    sketch.Stroke({low, high}, sketch.ThePen(kAxisColour));
    CanvasPoint anchor = Along(low, high, 0.6);
    if (back && is_measured(MeasureId::kPasternAngle)) {
      sketch.Stroke({low, low + 0.42 * *back}, sketch.Dashed(kAxisColour, 0.6));
      anchor = sketch.AngleArc(low, *back, high - low, 1.2 * arc, kAxisColour);
    }
    sketch.Label(sketch.Lines(measures,
                              {MeasureId::kPasternAngle,
                               MeasureId::kHoofPasternDifference}),
                 anchor,
                 back.value_or(CanvasVector{}) + (high - low),
                 kAxisColour);
  }
  if (c.toe_line) {
    const CanvasPoint ground = sketch.At((*c.toe_line)[0]);
    const CanvasPoint top = sketch.At((*c.toe_line)[1]);
    sketch.Stroke({ground, top}, sketch.ThePen(kFirstColour, 1.2));
    if (back && is_measured(MeasureId::kToeAngle)) {
      sketch.AngleArc(ground, *back, top - ground, 1.5 * arc, kFirstColour);
    }
    sketch.Label(sketch.Lines(measures,
                              {MeasureId::kToeAngle,
                               MeasureId::kDorsalWallLength,
                               MeasureId::kToeHeight}),
                 Along(ground, top, 0.5),
                 back ? -*back : CanvasVector{},
                 kFirstColour);
  }
}

/// Photo pixels per millimetre of the plane, along the photo's rows.
std::optional<double> PixelsPerMillimetre(const AnnotateOptions& options,
                                          const ViewMeasures& measures,
                                          PhotoPoint at) {
  if (!measures.has_scale) return std::nullopt;
  if (!options.plane) return options.px_per_mm;
  if (options.plane->scale == geometry::ScaleSource::kNone) {
    return std::nullopt;
  }
  const geometry::PlaneMap map = geometry::NominalMap(*options.plane);
  constexpr double kStep = 4.0;  // px
  const auto a = map.Apply({at.x - kStep, at.y});
  const auto b = map.Apply({at.x + kStep, at.y});
  if (!a || !b) return std::nullopt;
  const double mm = geometry::Distance(*a, *b);
  if (!(mm > 0)) return std::nullopt;
  return 2 * kStep / mm;
}

std::vector<std::string> MissingWords(const ViewPoints& points,
                                      const AnnotateWords& say,
                                      bool hidden) {
  std::vector<std::string> words;
  for (const PointId id : geometry::PointsOf(points.view)) {
    if (!points.at(id) && points.is_hidden(id) == hidden) {
      words.push_back(NameOf(id, say));
    }
  }
  if (!hidden && points.view == View::kSolar && !points.outline) {
    words.push_back(say.outline);
  }
  return words;
}

std::vector<std::string> UnsureWords(const ViewPoints& points,
                                     const AnnotateWords& say) {
  std::vector<std::string> words;
  for (const PointId id : geometry::PointsOf(points.view)) {
    if (points.at(id) && !find::IsSure(*points.at(id))) {
      words.push_back(NameOf(id, say));
    }
  }
  if (points.outline && !find::IsSure(*points.outline)) {
    words.push_back(say.outline);
  }
  if (points.dorsal_wall && !find::IsSure(*points.dorsal_wall)) {
    words.push_back(say.dorsal_wall);
  }
  return words;
}

/// The words below the picture.
class BandOfWords {
 public:
  BandOfWords(double width, double em, const AnnotateWords& say)
      : width_(width), em_(em), say_(say) {}

  void Title(const std::string& text) { Add({text, 1.3, true, false}); }
  void Words(const std::string& text) { Add({text, 1.0, false, false}); }
  /// The line that says what the marks mean.
  void Marks() { Add({" ", 1.0, false, true}); }

  cv::Mat Draw() const {
    cv::Mat paper(1, 1, CV_8UC3);
    {
      Canvas trial = Canvas::OnPicture(paper);
      paper.create(static_cast<int>(std::ceil(DrawOn(trial))),
                   static_cast<int>(width_),
                   CV_8UC3);
    }
    paper.setTo(
        cv::Scalar(255 * kBand.red, 255 * kBand.green, 255 * kBand.blue));
    Canvas canvas = Canvas::OnPicture(paper);
    DrawOn(canvas);
    return canvas.Picture();
  }

 private:
  struct Row {
    std::string text;
    double size;
    bool bold;
    bool marks;
  };

  void Add(Row row) {
    if (!row.text.empty()) rows_.push_back(std::move(row));
  }

  /// @return Where the words end.
  double DrawOn(Canvas& canvas) const {
    const double left = 0.8 * em_;
    double y = 0.6 * em_;
    for (const Row& row : rows_) {
      const TextStyle style{.colour = kBandInk,
                            .size = row.size * em_,
                            .bold = row.bold,
                            .wrap = width_ - 2 * left,
                            .halo = 0.0};
      y = row.marks ? DrawMarks(canvas, {left, y}, style)
                    : canvas.Text(row.text, {left, y}, style).bottom();
      y += 0.3 * em_;
    }
    return y + 0.4 * em_;
  }

  double DrawMarks(Canvas& canvas, CanvasPoint at, TextStyle style) const {
    style.wrap = 0;
    const double left = at.x;
    double bottom = at.y;
    const auto set = [&](std::optional<PlacedBy> mark, std::string_view words) {
      const double room = mark ? em_ : 0.0;
      const Box size = canvas.MeasureText(words, style);
      if (at.x > left && at.x + room + size.width > width_ - left) {
        at = {left, bottom + 0.3 * em_};
      }
      if (mark) {
        DrawMarker(
            canvas, {at.x + 0.4 * em_, at.y + size.height / 2}, *mark, em_);
      }
      bottom = canvas.Text(words, {at.x + room, at.y}, style).bottom();
      at.x += room + size.width + 1.3 * em_;
    };
    set(PlacedBy::kFinder, say_.found);
    set(PlacedBy::kPerson, say_.placed);
    set(std::nullopt, say_.interval);
    return bottom;
  }

  double width_;
  double em_;
  const AnnotateWords& say_;
  std::vector<Row> rows_;
};

cv::Size ReducedSize(const cv::Mat& photo, const AnnotateOptions& options) {
  const int longest = std::max(photo.cols, photo.rows);
  const int wanted =
      std::clamp(longest,
                 std::min(options.shortest_longest_px, options.longest_px),
                 options.longest_px);
  const double scale = static_cast<double>(wanted) / longest;
  return {std::max(1, static_cast<int>(std::lround(photo.cols * scale))),
          std::max(1, static_cast<int>(std::lround(photo.rows * scale)))};
}

/// Whole blocks of pixels are averaged first and the rest, less than a factor
/// of two, is interpolated: on a photo of 12 megapixels this takes a sixth of
/// the time of averaging by a broken factor, and looks the same.
cv::Mat Resized(const cv::Mat& photo, cv::Size size) {
  if (size == photo.size()) return photo;
  cv::Mat picture = photo;
  const int blocks = photo.cols / size.width;
  if (blocks >= 2) {
    const cv::Rect whole(
        0, 0, photo.cols / blocks * blocks, photo.rows / blocks * blocks);
    cv::resize(
        photo(whole), picture, {}, 1.0 / blocks, 1.0 / blocks, cv::INTER_AREA);
  }
  cv::Mat resized;
  cv::resize(picture,
             resized,
             size,
             0,
             0,
             photo.cols < size.width ? cv::INTER_CUBIC : cv::INTER_LINEAR);
  return resized;
}

}  // namespace

Annotated DrawAnnotated(const photo::Photo& photo,
                        const ViewPoints& points,
                        const ViewMeasures& measures,
                        const Caption& caption,
                        const AnnotateOptions& options) {
  if (photo.rgb.empty()) {
    throw std::invalid_argument("DrawAnnotated: the photo is empty");
  }
  if (points.view != measures.view) {
    throw std::invalid_argument("DrawAnnotated: the views differ");
  }
  const cv::Size size = ReducedSize(photo.rgb, options);
  const double scale = static_cast<double>(size.width) / photo.rgb.cols;

  Annotated result;
  result.photo = {
      0, 0, static_cast<double>(size.width), static_cast<double>(size.height)};
  result.picture_from_photo = scale;
  const AnnotateWords& say = options.words;
  result.missing = MissingWords(points, say, false);

  // Not kept: its memory goes to what is drawn next.
  Canvas canvas = Canvas::OnPicture(Resized(photo.rgb, size));
  Sketch sketch(canvas, result.photo, scale, say);
  if (const auto photo_middle = MiddleOf(points)) {
    const CanvasPoint middle = sketch.At(*photo_middle);
    if (points.view == View::kSolar) {
      DrawSolar(sketch, points, measures, middle);
    } else {
      DrawLateral(sketch, points, measures, middle);
    }
    for (const PointId id : geometry::PointsOf(points.view)) {
      const auto& point = points.at(id);
      if (!point) continue;
      sketch.Point(id, *point, sketch.At(SeenAt(*point)) - middle);
    }
    if (const auto px_per_mm =
            PixelsPerMillimetre(options, measures, *photo_middle)) {
      result.bar = sketch.MillimetreBar(scale * *px_per_mm);
    }
  }
  const std::vector<std::string> left_over = sketch.PlaceLabels(result.labels);

  BandOfWords band(result.photo.width, sketch.em(), say);
  std::string title;
  for (const std::string* part :
       {&caption.horse, &caption.foot, &caption.date, &caption.stage}) {
    if (part->empty()) continue;
    title += (title.empty() ? "" : "  ·  ") + *part;
  }
  band.Title(title);
  for (const std::string& line : caption.lines) band.Words(line);
  for (const std::string& text : left_over) band.Words(text);
  band.Marks();
  if (!measures.has_scale) band.Words(say.no_scale);
  const auto name = [&band](const std::string& text,
                            const std::vector<std::string>& names) {
    if (names.empty()) return;
    band.Words(fmt::format(
        fmt::runtime(text),
        fmt::arg("points", fmt::format("{}", fmt::join(names, ", ")))));
  };
  name(say.missing, result.missing);
  name(say.unsure, UnsureWords(points, say));
  name(say.hidden, MissingWords(points, say, true));
  const cv::Mat words = band.Draw();
  result.rgb.create(size.height + words.rows, size.width, CV_8UC3);
  canvas.PictureInto(result.rgb.rowRange(0, size.height));
  words.copyTo(result.rgb.rowRange(size.height, result.rgb.rows));
  return result;
}

}  // namespace plumbfoot::draw
