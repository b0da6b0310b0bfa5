// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/plane_image.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <stdexcept>
#include <utility>

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::CardVector;
using geometry::PhotoPoint;

// CHOSEN: a foot of 180 mm with its heels and some ground on every side.
constexpr double kSolarSideMm = 300.0;
// CHOSEN: a foot of 180 mm length with the pastern above it, and room for
// the gap between it and the card.
constexpr double kLateralSideMm = 420.0;
// CHOSEN: a hoof's middle lies about this far from both arms when the inner
// corner is held round it; half of a foot of 130 mm.
constexpr double kFootFromInnerCornerMm = 65.0;
// CHOSEN: from the card's rim to the middle of the lateral window: the window
// then reaches from 50 mm over the card to 370 mm beyond it.
constexpr double kLateralBesideMm = 160.0;
// CHOSEN: of the lateral window lies below the ground line.
constexpr double kLateralBelowGround = 0.2;

CardVector Unit(CardVector v) {
  return v / Norm(v);
}

/// The window's axes at a place, so that the photo's up is up.
struct Axes {
  CardVector right;
  CardVector down;
};

Axes PhotoAxes(const geometry::PlaneMap& map, CardPoint at) {
  const PhotoPoint p = map.Inverse(at);
  const auto below = map.Apply({p.x, p.y + 1});
  const auto beside = map.Apply({p.x + 1, p.y});
  if (!below || !beside) return {{1, 0}, {0, -1}};
  const CardVector down = Unit(*below - at);
  CardVector right = Perpendicular(down);
  if (Dot(right, *beside - at) < 0) right = -right;
  return {right, down};
}

CardPoint MiddleOf(const geometry::CardPolyline& outline) {
  CardVector sum;
  for (const CardPoint p : outline) sum = sum + (p - CardPoint{});
  return CardPoint{} + sum / static_cast<double>(outline.size());
}

/// The concave corner of the outline, and the direction out of the card there.
std::optional<std::pair<CardPoint, CardVector>> InnerCorner(
    const geometry::CardPolyline& outline) {
  const std::size_t n = outline.size();
  for (std::size_t i = 0; n >= 5 && i < n; ++i) {
    const CardVector in = outline[i] - outline[(i + n - 1) % n];
    const CardVector out = outline[(i + 1) % n] - outline[i];
    // Anticlockwise: a turn to the right is concave.
    if (Cross(in, out) < -1e-9) {
      return std::pair{outline[i], Unit(out) - Unit(in)};
    }
  }
  return std::nullopt;
}

/// The edge of the outline on which a standing card stands.
struct Edge {
  CardPoint a;
  CardPoint b;
};

std::optional<Edge> LowerEdge(const geometry::CardPolyline& outline,
                              const Axes& axes) {
  std::optional<Edge> lowest;
  double best = -std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const CardPoint a = outline[i];
    const CardPoint b = outline[(i + 1) % outline.size()];
    if (Distance(a, b) < 1e-9) continue;
    if (std::abs(Dot(b - a, axes.down)) > std::abs(Dot(b - a, axes.right))) {
      continue;
    }
    const double depth = Dot(Midpoint(a, b) - CardPoint{}, axes.down);
    if (depth > best) {
      best = depth;
      lowest = Edge{a, b};
    }
  }
  if (lowest && Dot(lowest->b - lowest->a, axes.right) < 0) {
    std::swap(lowest->a, lowest->b);
  }
  return lowest;
}

bool Inside(PhotoPoint p, cv::Size size) {
  return p.x > 0 && p.y > 0 && p.x < size.width && p.y < size.height;
}

/// How much of a window the photo shows [0..1].
double ShareSeen(const PlaneWindow& window,
                 const geometry::PlaneMap& map,
                 cv::Size photo_size) {
  int seen = 0;
  constexpr int kGrid = 9;
  for (int i = 0; i < kGrid; ++i) {
    for (int j = 0; j < kGrid; ++j) {
      const double u = ((i + 0.5) / kGrid - 0.5) * window.side_mm;
      const double v = ((j + 0.5) / kGrid - 0.5) * window.side_mm;
      if (Inside(
              map.Inverse(window.centre + u * window.right + v * window.down),
              photo_size)) {
        ++seen;
      }
    }
  }
  return seen / static_cast<double>(kGrid * kGrid);
}

PlaneWindow MiddleWindow(View view,
                         cv::Size photo_size,
                         const geometry::PlaneMap& map) {
  const CardPoint centre =
      map.Apply({photo_size.width / 2.0, photo_size.height / 2.0})
          .value_or(CardPoint{});
  const Axes axes = PhotoAxes(map, centre);
  return {centre,
          axes.right,
          axes.down,
          view == View::kSolar ? kSolarSideMm : kLateralSideMm};
}

std::vector<PlaneWindow> BesideTheCard(cv::Size photo_size,
                                       const geometry::PlaneMap& map,
                                       const geometry::CardPolyline& outline) {
  const Axes axes = PhotoAxes(map, MiddleOf(outline));
  const auto edge = LowerEdge(outline, axes);
  if (!edge) return {MiddleWindow(View::kLateral, photo_size, map)};
  const CardVector along = Unit(edge->b - edge->a);
  CardVector down = Perpendicular(along);
  if (Dot(down, axes.down) < 0) down = -down;
  double low = std::numeric_limits<double>::infinity();
  double high = -low;
  for (const CardPoint p : outline) {
    low = std::min(low, Dot(p - edge->a, along));
    high = std::max(high, Dot(p - edge->a, along));
  }
  const double up = (0.5 - kLateralBelowGround) * kLateralSideMm;
  std::vector<PlaneWindow> windows;
  for (const double beside :
       {high + kLateralBesideMm, low - kLateralBesideMm}) {
    windows.push_back({edge->a + beside * along - up * down,
                       axes.right,
                       axes.down,
                       kLateralSideMm});
  }
  if (ShareSeen(windows[0], map, photo_size) <
      ShareSeen(windows[1], map, photo_size)) {
    std::swap(windows[0], windows[1]);
  }
  return windows;
}

}  // namespace

CardPoint CardFromImage(const PlaneImage& image, double x, double y) {
  const double u = (x - image.rgb.cols / 2.0) / image.px_per_mm;
  const double v = (y - image.rgb.rows / 2.0) / image.px_per_mm;
  return image.centre + u * image.right + v * image.down;
}

cv::Point2d ImageFromCard(const PlaneImage& image, CardPoint point) {
  const CardVector d = point - image.centre;
  return {image.rgb.cols / 2.0 + image.px_per_mm * Dot(d, image.right),
          image.rgb.rows / 2.0 + image.px_per_mm * Dot(d, image.down)};
}

std::vector<PlaneWindow> ExpectedWindows(View view,
                                         cv::Size photo_size,
                                         const geometry::PlaneMap& map,
                                         const card::Layout* layout) {
  if (layout == nullptr || layout->outline.size() < 3) {
    return {MiddleWindow(view, photo_size, map)};
  }
  if (view == View::kLateral) {
    return BesideTheCard(photo_size, map, layout->outline);
  }
  const auto corner = InnerCorner(layout->outline);
  if (!corner) return {MiddleWindow(view, photo_size, map)};
  const CardPoint centre =
      corner->first + kFootFromInnerCornerMm * corner->second;
  const Axes axes = PhotoAxes(map, centre);
  return {{centre, axes.right, axes.down, kSolarSideMm}};
}

PlaneImage ResampleToPlane(const cv::Mat& rgb,
                           const geometry::PlaneMap& map,
                           const PlaneWindow& window,
                           int side_px,
                           const card::Layout* layout) {
  if (rgb.type() != CV_8UC3 || rgb.empty()) {
    throw std::invalid_argument("ResampleToPlane: rgb is not CV_8UC3");
  }
  if (side_px < 16) throw std::invalid_argument("ResampleToPlane: side_px");
  if (!(window.side_mm > 0)) {
    throw std::invalid_argument("ResampleToPlane: side_mm <= 0");
  }
  PlaneImage image;
  image.rgb = cv::Mat(side_px, side_px, CV_8UC3, cv::Scalar::all(0));
  image.known = cv::Mat(side_px, side_px, CV_8U, cv::Scalar(0));
  image.card = cv::Mat(side_px, side_px, CV_8U, cv::Scalar(0));
  image.px_per_mm = side_px / window.side_mm;
  image.centre = window.centre;
  image.right = window.right;
  image.down = window.down;

  // Where each pixel's centre lies in the photo. Pixels whose ray misses the
  // photo widely are told by the pinhole alone: far outside, the lens formula
  // folds back into the picture.
  const geometry::Camera& camera = map.camera();
  const geometry::Pose& pose = map.camera_from_plane();
  const double margin_x = 0.15 * rgb.cols;
  const double margin_y = 0.15 * rgb.rows;
  cv::Mat xs(side_px, side_px, CV_32F);
  cv::Mat ys(side_px, side_px, CV_32F);
  double left = rgb.cols;
  double right = 0;
  double top = rgb.rows;
  double bottom = 0;
  // A step of a pixel is the same step in the camera's frame everywhere.
  const auto in_camera_frame = [&](double x, double y) -> Eigen::Vector3d {
    const CardPoint at = CardFromImage(image, x, y);
    return pose.rotation.col(0) * (at.x / map.scale()) +
           pose.rotation.col(1) * (at.y / map.scale()) + pose.translation;
  };
  const Eigen::Vector3d column_step =
      in_camera_frame(1.0, 0.0) - in_camera_frame(0.0, 0.0);
  for (int j = 0; j < side_px; ++j) {
    const Eigen::Vector3d row_start = in_camera_frame(0.0, j + 0.5);
    auto* x_row = xs.ptr<float>(j);
    auto* y_row = ys.ptr<float>(j);
    auto* known_row = image.known.ptr<unsigned char>(j);
    for (int i = 0; i < side_px; ++i) {
      x_row[i] = -1e4F;
      y_row[i] = -1e4F;
      const Eigen::Vector3d in_camera = row_start + (i + 0.5) * column_step;
      if (!(in_camera.z() > 1.0)) continue;
      const PhotoPoint straight{
          camera.principal.x + camera.focal_px * in_camera.x() / in_camera.z(),
          camera.principal.y + camera.focal_px * in_camera.y() / in_camera.z()};
      if (!(straight.x > -margin_x && straight.y > -margin_y &&
            straight.x < rgb.cols + margin_x &&
            straight.y < rgb.rows + margin_y)) {
        continue;
      }
      const PhotoPoint p = Project(camera, in_camera);
      if (!Inside(p, rgb.size())) continue;
      x_row[i] = static_cast<float>(p.x);
      y_row[i] = static_cast<float>(p.y);
      known_row[i] = 255;
      left = std::min(left, p.x);
      right = std::max(right, p.x);
      top = std::min(top, p.y);
      bottom = std::max(bottom, p.y);
    }
  }
  if (left < right && top < bottom) {
    // Only the piece of the photo that is needed, reduced by a whole number of
    // pixels to about the image's resolution: INTER_AREA is fast and exact
    // there, and what is left to the bilinear step is less than 1.5.
    const cv::Rect piece = cv::Rect(cv::Point(static_cast<int>(left) - 4,
                                              static_cast<int>(top) - 4),
                                    cv::Point(static_cast<int>(right) + 5,
                                              static_cast<int>(bottom) + 5)) &
                           cv::Rect(0, 0, rgb.cols, rgb.rows);
    const double ratio =
        map.PixelsPerMillimetre(window.centre) / image.px_per_mm;
    const int reduce = std::clamp(static_cast<int>(std::lround(ratio)), 1, 64);
    const int width = std::max(1, piece.width / reduce);
    const int height = std::max(1, piece.height / reduce);
    const cv::Mat whole =
        rgb(piece)(cv::Rect(0,
                            0,
                            std::min(piece.width, width * reduce),
                            std::min(piece.height, height * reduce)));
    cv::Mat reduced;
    if (reduce == 1) {
      reduced = whole;
    } else {
      cv::resize(whole, reduced, {width, height}, 0, 0, cv::INTER_AREA);
    }
    const double shrink_x = static_cast<double>(reduced.cols) / whole.cols;
    const double shrink_y = static_cast<double>(reduced.rows) / whole.rows;
    // OpenCV puts (0, 0) at the pixel's centre.
    xs = (xs - piece.x) * shrink_x - 0.5;
    ys = (ys - piece.y) * shrink_y - 0.5;
    cv::remap(
        reduced, image.rgb, xs, ys, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    image.rgb.setTo(cv::Scalar::all(0), image.known == 0);
  }

  if (layout != nullptr && layout->outline.size() >= 3) {
    constexpr int kShift = 4;
    std::vector<cv::Point> corners;
    for (const CardPoint p : layout->outline) {
      const cv::Point2d at = ImageFromCard(image, p);
      corners.emplace_back(
          static_cast<int>(std::lround((at.x - 0.5) * (1 << kShift))),
          static_cast<int>(std::lround((at.y - 0.5) * (1 << kShift))));
    }
    cv::fillPoly(image.card,
                 std::vector<std::vector<cv::Point>>{corners},
                 cv::Scalar(255),
                 cv::LINE_8,
                 kShift);
    if (const auto edge =
            LowerEdge(layout->outline, {image.right, image.down})) {
      const cv::Point2d a = ImageFromCard(image, edge->a);
      const cv::Point2d b = ImageFromCard(image, edge->b);
      const double slope = (b.y - a.y) / (b.x - a.x);
      image.ground_left_px = a.y - slope * a.x;
      image.ground_right_px = image.ground_left_px + slope * side_px;
    }
  }
  return image;
}

}  // namespace plumbfoot::find
