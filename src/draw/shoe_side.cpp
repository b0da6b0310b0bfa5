// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/shoe_side.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;

constexpr int kWidth = 1600;  ///< CHOSEN: as wide as a screen [px].
constexpr Colour kBandInk{0.10, 0.10, 0.12};

cv::Rect Around(const ShoeSideDrawing& drawing) {
  std::vector<cv::Point2f> places;
  for (const PhotoPolyline* line :
       {&drawing.ground, &drawing.foot, &drawing.horn, &drawing.looked}) {
    for (const PhotoPoint& p : *line) {
      places.emplace_back(static_cast<float>(p.x), static_cast<float>(p.y));
    }
  }
  if (places.empty()) {
    throw std::invalid_argument("DrawShoeSide: there is no line");
  }
  cv::Rect box = cv::boundingRect(places);
  const int width = box.width;
  // CHOSEN: room for the horn above, a little ground below.
  box.x -= width / 8;
  box.width += width / 4;
  box.y -= width / 4;
  box.height += width * 2 / 5;
  return box & cv::Rect(0, 0, drawing.rgb.cols, drawing.rgb.rows);
}

}  // namespace

cv::Mat DrawShoeSide(const ShoeSideDrawing& drawing) {
  if (drawing.rgb.type() != CV_8UC3 || drawing.rgb.empty()) {
    throw std::invalid_argument("DrawShoeSide: there is no photo");
  }
  const cv::Rect part = Around(drawing);
  if (part.area() < 100) {
    throw std::invalid_argument("DrawShoeSide: the lines lie off the photo");
  }
  const double scale = static_cast<double>(kWidth) / part.width;
  cv::Mat enlarged;
  cv::resize(
      drawing.rgb(part),
      enlarged,
      cv::Size(kWidth, static_cast<int>(std::lround(scale * part.height))),
      0,
      0,
      scale > 1 ? cv::INTER_CUBIC : cv::INTER_AREA);
  const auto at = [&](PhotoPoint p) {
    return CanvasPoint{scale * (p.x - part.x), scale * (p.y - part.y)};
  };
  const auto points = [&](const PhotoPolyline& line) {
    std::vector<CanvasPoint> on;
    on.reserve(line.size());
    for (const PhotoPoint& p : line) on.push_back(at(p));
    return on;
  };
  Canvas canvas = Canvas::OnPicture(enlarged);
  const double em = 26.0;
  const auto stroke = [&](const PhotoPolyline& line,
                          Colour colour,
                          std::vector<double> dashes) {
    if (line.size() < 2) return;
    canvas.Polyline(points(line),
                    {.colour = colour,
                     .width = 3.0,
                     .dashes = std::move(dashes),
                     .halo = 2.0});
  };
  stroke(drawing.looked, kWhite, {4, 10});
  stroke(drawing.foot, kBluishGreen, {});
  stroke(drawing.horn, kOrange, {});
  stroke(drawing.ground, kSkyBlue, {});
  if (drawing.level) {
    const fit::ShoeLevel& level = *drawing.level;
    stroke(level.level_px, kYellow, {14, 8});
    // The rise itself is a few pixels high: a bar shows where, an arrow from
    // each side how much.
    const CanvasPoint low = at(level.line_heel_px);
    const CanvasPoint high = at(level.shoe_heel_px);
    canvas.Line(low, high, {.colour = kVermilion, .width = 7, .halo = 2});
    const std::string text =
        fmt::format("{:+.1f} mm", std::round(10 * level.rise.mm) / 10 + 0.0);
    const TextStyle style{kWhite, 1.3 * em, true, 0.0, 5.0};
    const Box box = canvas.MeasureText(text, style);
    const double x = std::clamp(
        low.x, box.width / 2 + 8, canvas.width() - box.width / 2 - 8);
    canvas.Text(text,
                {x, std::min(low.y + 0.6 * em, canvas.height() - box.height)},
                style,
                Anchor::kMiddle);
  }

  // The band of words.
  struct Row {
    std::string text;
    TextStyle style;
  };
  std::vector<Row> rows = {
      {drawing.title, {kBandInk, em, true, kWidth - 2 * em}},
      {drawing.verdict, {kBandInk, 1.5 * em, true, kWidth - 2 * em}}};
  for (const std::string& line : drawing.lines) {
    rows.push_back({line, {kBandInk, em, false, kWidth - 2 * em}});
  }
  double height = 0.7 * em;
  for (const Row& row : rows) {
    height += canvas.MeasureText(row.text, row.style).height + 0.35 * em;
  }
  // What each line is, in its own colour.
  struct Key {
    const char* words;
    Colour colour;
    bool drawn;
  };
  const std::array<Key, 5> keys = {
      {{"shoe on the ground", kSkyBlue, drawing.ground.size() > 1},
       {"if it were level", kYellow, drawing.level.has_value()},
       {"shoe to the foot", kBluishGreen, drawing.foot.size() > 1},
       {"horn's edge", kOrange, drawing.horn.size() > 1},
       {"looked for here", kWhite, drawing.looked.size() > 1}}};
  const double key_height = 1.6 * em;
  cv::Mat band(static_cast<int>(std::ceil(height + key_height + 0.6 * em)),
               kWidth,
               CV_8UC3,
               cv::Scalar(246, 245, 241));
  Canvas words = Canvas::OnPicture(band);
  double y = 0.7 * em;
  for (const Row& row : rows) {
    y += words.Text(row.text, {em, y}, row.style).height + 0.35 * em;
  }
  double x = em;
  for (const Key& key : keys) {
    if (!key.drawn) continue;
    words.Line({x, y + 0.7 * em},
               {x + 2 * em, y + 0.7 * em},
               {.colour = key.colour, .width = 5, .halo = 2});
    x += 2.4 * em;
    x += words.Text(key.words, {x, y}, {kBandInk, 0.9 * em}).width + 1.6 * em;
  }
  cv::Mat whole(enlarged.rows + band.rows, kWidth, CV_8UC3);
  canvas.PictureInto(whole.rowRange(0, enlarged.rows));
  words.PictureInto(whole.rowRange(enlarged.rows, whole.rows));
  return whole;
}

}  // namespace plumbfoot::draw
