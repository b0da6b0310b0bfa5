// SPDX-License-Identifier: Apache-2.0
#include "card/paint.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "plumbfoot/geometry/random.h"

namespace plumbfoot::card {
namespace {

using geometry::CardPoint;
using geometry::PhotoPoint;

double Coded(double linear) {
  const double v = std::clamp(linear, 0.0, 1.0);
  return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
}

bool Inside(const geometry::CardPolyline& outline, CardPoint p) {
  bool inside = false;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const CardPoint a = outline[i];
    const CardPoint b = outline[j];
    if ((a.y > p.y) != (b.y > p.y) &&
        p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x) {
      inside = !inside;
    }
  }
  return inside;
}

/// What is printed on a card: 0 ground, 1 white, 2 black.
class Print {
 public:
  Print(const Layout& layout, double gain) : layout_(layout), gain_(gain) {
    for (const TagPlace& tag : layout.tags) cells_.push_back(TagCells(tag.id));
  }

  int At(CardPoint p) const {
    for (std::size_t i = 0; i < layout_.tags.size(); ++i) {
      const TagPlace& tag = layout_.tags[i];
      const double cell = tag.side_mm / 8;
      const double x = (p.x - tag.centre.x) / cell + 5;
      const double y = 5 - (p.y - tag.centre.y) / cell;
      if (x < -1 || y < -1 || x > 11 || y > 11) continue;
      // Black grows by `gain` on every side of a black cell.
      const double g = gain_ / cell;
      for (const double dx : {-g, g}) {
        for (const double dy : {-g, g}) {
          // Shrinking black (g < 0) needs all four, growing needs one.
          if (Black(i, x + dx, y + dy) == (gain_ >= 0)) {
            return gain_ >= 0 ? 2 : 1;
          }
        }
      }
      return gain_ >= 0 ? 1 : 2;
    }
    return Inside(layout_.outline, p) ? 1 : 0;
  }

 private:
  bool Black(std::size_t tag, double x, double y) const {
    if (x < 0 || y < 0 || x >= 10 || y >= 10) return false;
    return cells_[tag][static_cast<std::size_t>(y)]
                 [static_cast<std::size_t>(x)];
  }

  const Layout& layout_;
  double gain_;
  std::vector<std::vector<std::vector<bool>>> cells_;
};

}  // namespace

geometry::Pose LookAt(CardPoint look_at,
                      double distance_mm,
                      double tilt_deg,
                      double axis_deg,
                      double roll_deg) {
  const double radian = std::numbers::pi / 180;
  const Eigen::Vector3d axis(
      std::cos(axis_deg * radian), std::sin(axis_deg * radian), 0);
  const Eigen::Matrix3d facing =
      Eigen::Vector3d(1, -1, -1).asDiagonal().toDenseMatrix();
  geometry::Pose pose;
  pose.rotation = geometry::RotationFromVector({0, 0, roll_deg * radian}) *
                  facing *
                  geometry::RotationFromVector(tilt_deg * radian * axis);
  pose.translation = Eigen::Vector3d(0, 0, distance_mm) -
                     pose.rotation * Eigen::Vector3d(look_at.x, look_at.y, 0);
  return pose;
}

cv::Mat PaintCard(const Layout& layout,
                  const geometry::Camera& camera,
                  const geometry::Pose& camera_from_card,
                  cv::Size size,
                  const PaintOptions& options) {
  const int fine = options.fine;
  geometry::Camera finer = camera;
  finer.focal_px *= fine;
  finer.principal = {fine * camera.principal.x, fine * camera.principal.y};
  const geometry::PlaneMap map(finer, camera_from_card);
  const Print print(layout, options.gain_mm);
  geometry::Random random(options.seed);

  // Only where the card is, with a rim for the blur.
  double left = INFINITY;
  double right = -INFINITY;
  double top = INFINITY;
  double bottom = -INFINITY;
  for (const CardPoint& p : layout.outline) {
    const PhotoPoint at = map.Inverse(p);
    left = std::min(left, at.x / fine);
    right = std::max(right, at.x / fine);
    top = std::min(top, at.y / fine);
    bottom = std::max(bottom, at.y / fine);
  }
  const double rim = 3 + 5 * options.blur_px;
  const cv::Rect box = cv::Rect(cv::Point(static_cast<int>(left - rim),
                                          static_cast<int>(top - rim)),
                                cv::Point(static_cast<int>(right + rim) + 1,
                                          static_cast<int>(bottom + rim) + 1)) &
                       cv::Rect({0, 0}, size);
  const std::array<float, 3> shades = {static_cast<float>(options.ground),
                                       static_cast<float>(options.white),
                                       static_cast<float>(options.black)};
  const auto shade_at = [&](double x, double y) {
    const auto p = map.Apply({x, y});
    return static_cast<std::size_t>(p ? print.At(*p) : 0);
  };
  const int x0 = fine * box.x;
  const int y0 = fine * box.y;
  cv::Mat_<float> part(fine * box.height, fine * box.width);
  std::vector<std::size_t> above(static_cast<std::size_t>(part.cols) + 1);
  std::vector<std::size_t> below(above.size());
  const auto fill = [&](std::vector<std::size_t>& row, int y) {
    for (std::size_t i = 0; i < row.size(); ++i) {
      row[i] = shade_at(x0 + static_cast<double>(i), y);
    }
  };
  fill(above, y0);
  const int parts = std::max(4, 12 / fine);
  for (int y = 0; y < part.rows; ++y) {
    fill(below, y0 + y + 1);
    for (int x = 0; x < part.cols; ++x) {
      const auto i = static_cast<std::size_t>(x);
      const std::size_t shade = above[i];
      if (above[i + 1] == shade && below[i] == shade && below[i + 1] == shade) {
        part(y, x) = shades[shade];
        continue;
      }
      float sum = 0;
      for (int v = 0; v < parts; ++v) {
        for (int u = 0; u < parts; ++u) {
          sum += shades[shade_at(x0 + x + (u + random.Uniform()) / parts,
                                 y0 + y + (v + random.Uniform()) / parts)];
        }
      }
      part(y, x) = sum / static_cast<float>(parts * parts);
    }
    above.swap(below);
  }
  // Blurred on the finer grid: on the pixels' own, a Gaussian of half a pixel
  // would be three numbers and none of it a Gaussian.
  if (options.blur_px > 0) {
    cv::GaussianBlur(part,
                     part,
                     cv::Size(),
                     fine * options.blur_px,
                     fine * options.blur_px,
                     cv::BORDER_REPLICATE);
  }
  cv::Mat_<float> light(size, shades[0]);
  cv::Mat reduced;
  cv::resize(part, reduced, box.size(), 0, 0, cv::INTER_AREA);
  reduced.copyTo(light(box));

  cv::Mat photo(size, CV_8UC3);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double dim =
          1 - options.shading * (x + 0.5) / static_cast<double>(size.width);
      const double value = Coded(dim * static_cast<double>(light(y, x)));
      cv::Vec3b& pixel = photo.at<cv::Vec3b>(y, x);
      // Grey noise: the three channels of a photo are far from independent.
      const double noise =
          options.noise > 0 ? options.noise * random.Normal() : 0.0;
      const double code = 255 * (value + noise);
      const auto byte =
          static_cast<std::uint8_t>(std::clamp(std::lround(code), 0L, 255L));
      pixel = {byte, byte, byte};
    }
  }
  return photo;
}

std::array<PhotoPoint, 4> TrueCorners(const TagPlace& place,
                                      const geometry::PlaneMap& map) {
  const double h = place.side_mm / 2;
  const CardPoint c = place.centre;
  return {map.Inverse({c.x - h, c.y - h}),
          map.Inverse({c.x + h, c.y - h}),
          map.Inverse({c.x + h, c.y + h}),
          map.Inverse({c.x - h, c.y + h})};
}

}  // namespace plumbfoot::card
