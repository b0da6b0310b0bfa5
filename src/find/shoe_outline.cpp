// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/shoe_outline.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "plumbfoot/find/plane_image.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::find {
namespace {

/// CHOSEN: 300 mm at 4 px/mm; a photo of 12 megapixels has about 6.
constexpr int kSidePx = 1200;
/// CHOSEN: what a shoe can be, from a small pony's to a draught horse's.
constexpr double kLeastLong = 70.0;
constexpr double kMostLong = 280.0;
constexpr double kLeastArea = 1500.0;  // [mm2]
/// CHOSEN: a shoe fills from a quarter to three quarters of its convex hull: it
/// is a bar, open at the heels.
constexpr double kLeastFill = 0.25;
constexpr double kMostFill = 0.75;
/// CHOSEN: how far to either side of the threshold's edge is looked [mm].
constexpr double kLook = 2.5;
constexpr double kLookStep = 0.1;
/// CHOSEN: the profile is smoothed by this before its steepest place is taken
/// [mm].
constexpr double kProfileSigma = 0.3;

struct Blob {
  std::vector<cv::Point> contour;
  double area_px = 0.0;
};

/// The largest part of the mask that could be a shoe.
std::optional<Blob> ShoeIn(const cv::Mat& mask, double px_per_mm) {
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  std::optional<Blob> best;
  for (auto& contour : contours) {
    const cv::Rect box = cv::boundingRect(contour);
    const double longest = std::max(box.width, box.height) / px_per_mm;
    const double shortest = std::min(box.width, box.height) / px_per_mm;
    if (shortest < kLeastLong || longest > kMostLong) continue;
    // What runs out of the picture is not whole.
    if (box.x <= 1 || box.y <= 1 || box.x + box.width >= mask.cols - 1 ||
        box.y + box.height >= mask.rows - 1) {
      continue;
    }
    const double area = cv::contourArea(contour);
    if (area < kLeastArea * px_per_mm * px_per_mm) continue;
    std::vector<cv::Point> hull;
    cv::convexHull(contour, hull);
    const double fill = area / cv::contourArea(hull);
    if (fill < kLeastFill || fill > kMostFill) continue;
    if (!best || area > best->area_px) best = Blob{std::move(contour), area};
  }
  return best;
}

double At(const cv::Mat& grey, double x, double y) {
  const double u = std::clamp(x - 0.5, 0.0, grey.cols - 1.001);
  const double v = std::clamp(y - 0.5, 0.0, grey.rows - 1.001);
  const int c = static_cast<int>(u);
  const int r = static_cast<int>(v);
  const double a = u - c;
  const double b = v - r;
  const auto value = [&grey](int row, int column) {
    return static_cast<double>(grey.at<unsigned char>(row, column));
  };
  return (1 - b) * ((1 - a) * value(r, c) + a * value(r, c + 1)) +
         b * ((1 - a) * value(r + 1, c) + a * value(r + 1, c + 1));
}

/// How far along the normal the picture changes most, in the way that the
/// shoe's edge does; nothing where it doesn't.
std::optional<double> Steepest(const cv::Mat& grey,
                               cv::Point2d at,
                               cv::Point2d normal,
                               double px_per_mm,
                               double sign) {
  constexpr int kReach = static_cast<int>(kLook / kLookStep);
  constexpr int kWide = static_cast<int>(3 * kProfileSigma / kLookStep);
  const auto sample = [&](int i) {
    const double d = i * kLookStep * px_per_mm;
    return At(grey, at.x + d * normal.x, at.y + d * normal.y);
  };
  std::array<double, 2 * std::size_t{kReach} + 1> slope{};
  for (int i = -kReach; i <= kReach; ++i) {
    // The derivative of a Gaussian.
    double sum = 0.0;
    for (int k = -kWide; k <= kWide; ++k) {
      const double t = k * kLookStep / kProfileSigma;
      sum += t * std::exp(-t * t / 2) * sample(i + k);
    }
    const int place = i + kReach;
    slope[static_cast<std::size_t>(place)] = sign * sum;
  }
  const auto top = std::max_element(slope.begin() + 1, slope.end() - 1);
  if (top == slope.begin() + 1 || top == slope.end() - 2) return std::nullopt;
  if (!(*top > 0)) return std::nullopt;
  const double before = *(top - 1);
  const double after = *(top + 1);
  const double bend = before - 2 * *top + after;
  const double part = bend < 0 ? 0.5 * (before - after) / bend : 0.0;
  return (static_cast<double>(top - slope.begin()) - kReach + part) * kLookStep;
}

using ImageLine = geometry::PhotoPolyline;

/// The contour, each of its places where the picture changes most.
ImageLine Refined(const cv::Mat& grey,
                  const Blob& blob,
                  double px_per_mm,
                  bool dark) {
  ImageLine line;
  line.reserve(blob.contour.size());
  for (const cv::Point& p : blob.contour)
    line.push_back({p.x + 0.5, p.y + 0.5});
  const double length = geometry::Length(line, geometry::Ends::kClosed);
  const auto count =
      static_cast<std::size_t>(std::max(40.0, length / px_per_mm));
  line = geometry::Resample(
      geometry::Smooth(line, 0.7 * px_per_mm, geometry::Ends::kClosed),
      count,
      geometry::Ends::kClosed);
  const auto normals = geometry::Normals(line, geometry::Ends::kClosed);
  // findContours runs the same way round for every outer contour; which way
  // the normals point is seen by the area.
  double twice = 0.0;
  for (std::size_t i = 1; i + 1 < line.size(); ++i) {
    twice += geometry::Cross(line[i] - line[0], line[i + 1] - line[0]);
  }
  const double outwards = twice > 0 ? -1.0 : 1.0;
  std::vector<double> moves(count, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    const auto move =
        Steepest(grey,
                 {line[i].x, line[i].y},
                 {outwards * normals[i].x, outwards * normals[i].y},
                 px_per_mm,
                 dark ? 1.0 : -1.0);
    moves[i] = move.value_or(0.0);
  }
  // A scratch or a nail hole draws single places aside: the median of five.
  ImageLine refined = line;
  for (std::size_t i = 0; i < count; ++i) {
    std::array<double, 5> five{};
    for (std::size_t k = 0; k < 5; ++k) {
      five[k] = moves[(i + count + k - 2) % count];
    }
    std::nth_element(five.begin(), five.begin() + 2, five.end());
    const double by = outwards * five[2] * px_per_mm;
    refined[i] = line[i] + by * normals[i];
  }
  return refined;
}

}  // namespace

Result<geometry::PhotoPolyline> FindShoeOutline(const cv::Mat& rgb,
                                                const geometry::PlaneMap& map,
                                                const card::Layout* layout) {
  for (const PlaneWindow& window :
       ExpectedWindows(View::kSolar, rgb.size(), map, layout)) {
    const PlaneImage image = ResampleToPlane(rgb, map, window, kSidePx, layout);
    cv::Mat grey;
    cv::cvtColor(image.rgb, grey, cv::COLOR_RGB2GRAY);
    // The card's tags and what lies beyond the photo don't count; the card's
    // white rim is ground like any other, so that a shoe may lie close to it.
    cv::Mat card;
    const int rim = 2 * static_cast<int>(2 * image.px_per_mm) + 1;
    cv::erode(image.card,
              card,
              cv::getStructuringElement(cv::MORPH_RECT, cv::Size(rim, rim)));
    cv::Mat counts;
    cv::bitwise_and(image.known, ~card, counts);
    cv::Mat smooth;
    cv::GaussianBlur(grey, smooth, {}, 0.4 * image.px_per_mm);
    std::vector<unsigned char> values;
    for (int r = 0; r < smooth.rows; ++r) {
      for (int c = 0; c < smooth.cols; ++c) {
        if (counts.at<unsigned char>(r, c) != 0) {
          values.push_back(smooth.at<unsigned char>(r, c));
        }
      }
    }
    if (values.empty()) continue;
    cv::Mat ignored;
    const double threshold = cv::threshold(cv::Mat(values, false),
                                           ignored,
                                           0,
                                           255,
                                           cv::THRESH_BINARY | cv::THRESH_OTSU);
    const cv::Mat ellipse = cv::getStructuringElement(
        cv::MORPH_ELLIPSE,
        cv::Size(2 * static_cast<int>(image.px_per_mm) + 1,
                 2 * static_cast<int>(image.px_per_mm) + 1));
    std::optional<Blob> best;
    bool best_dark = true;
    for (const bool dark : {true, false}) {
      cv::Mat mask =
          dark ? cv::Mat(smooth <= threshold) : cv::Mat(smooth > threshold);
      cv::bitwise_and(mask, counts, mask);
      cv::morphologyEx(mask, mask, cv::MORPH_OPEN, ellipse);
      cv::morphologyEx(mask, mask, cv::MORPH_CLOSE, ellipse);
      auto blob = ShoeIn(mask, image.px_per_mm);
      if (blob && (!best || blob->area_px > best->area_px)) {
        best = std::move(blob);
        best_dark = dark;
      }
    }
    if (!best) continue;
    geometry::PhotoPolyline outline;
    for (const auto& p : Refined(grey, *best, image.px_per_mm, best_dark)) {
      outline.push_back(map.Inverse(CardFromImage(image, p.x, p.y)));
    }
    return outline;
  }
  return Refusal{
      RefusalCode::kNoFoot,
      "No shoe was found beside the card.",
      "Lay the loose shoe in the card's corner, two fingers from it, on a "
      "plain "
      "ground that is much lighter or darker than it, in even light without a "
      "hard shadow; or "
      "place its outline by hand (--shoe-points)."};
}

}  // namespace plumbfoot::find
