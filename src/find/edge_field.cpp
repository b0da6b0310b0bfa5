// SPDX-License-Identifier: Apache-2.0
#include "find/edge_field.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace plumbfoot::find {
namespace {

// CHOSEN: below this change a plain surface's noise would look like an edge
// [CIE units / mm].
constexpr double kFloorPerMm = 0.8;

}  // namespace

EdgeField::EdgeField(const PlaneImage& image, double sigma_mm)
    : px_per_mm_(image.px_per_mm) {
  cv::Mat rgb;
  image.rgb.convertTo(rgb, CV_32FC3, 1.0 / 255);
  cv::cvtColor(rgb, lab_, cv::COLOR_RGB2Lab);
  // Not reflected into what is not there: the card's white and the black
  // beyond the photo end where they end, and count for nothing around it.
  cv::Mat covered = (image.known == 0) | (image.card != 0);
  const double sigma_px = std::max(0.7, sigma_mm * px_per_mm_);
  cv::GaussianBlur(lab_, lab_, {0, 0}, sigma_px);
  const int grow = 2 * static_cast<int>(std::ceil(2 * sigma_px)) + 1;
  cv::dilate(covered,
             covered,
             cv::getStructuringElement(cv::MORPH_ELLIPSE, {grow, grow}));
  free_ = covered == 0;
  floor_ = static_cast<float>(kFloorPerMm / px_per_mm_);
  gradients_.resize(lab_.total());
  const int rows = lab_.rows;
  const int cols = lab_.cols;
  for (int y = 0; y < rows; ++y) {
    for (int x = 0; x < cols; ++x) {
      Gradient& g = gradients_[static_cast<std::size_t>(y) *
                                   static_cast<std::size_t>(cols) +
                               static_cast<std::size_t>(x)];
      if (x == 0 || y == 0 || x + 1 == cols || y + 1 == rows ||
          free_.at<unsigned char>(y, x) == 0) {
        g = {{0, 0, 0}, {0, 0, 0}, 0};
        continue;
      }
      g.x =
          0.5F * (lab_.at<cv::Vec3f>(y, x + 1) - lab_.at<cv::Vec3f>(y, x - 1));
      g.y =
          0.5F * (lab_.at<cv::Vec3f>(y + 1, x) - lab_.at<cv::Vec3f>(y - 1, x));
      g.size = std::sqrt(g.x.dot(g.x) + g.y.dot(g.y));
    }
  }
}

const EdgeField::Gradient* EdgeField::At(cv::Point2f at) const {
  const int x = static_cast<int>(std::floor(at.x));
  const int y = static_cast<int>(std::floor(at.y));
  if (x < 0 || y < 0 || x >= lab_.cols || y >= lab_.rows) return nullptr;
  return &gradients_[static_cast<std::size_t>(y) *
                         static_cast<std::size_t>(lab_.cols) +
                     static_cast<std::size_t>(x)];
}

double EdgeField::Coherence(std::span<const LinePlace> piece) const {
  cv::Vec3f across(0, 0, 0);
  float all = 0;
  for (const LinePlace& p : piece) {
    all += floor_;
    const Gradient* g = At(p.at);
    if (g == nullptr) continue;
    across += g->x * p.normal.x + g->y * p.normal.y;
    all += g->size;
  }
  return all > 0 ? std::sqrt(across.dot(across)) / all : 0.0;
}

cv::Vec3d EdgeField::Change(std::span<const LinePlace> piece) const {
  cv::Vec3d across(0, 0, 0);
  for (const LinePlace& p : piece) {
    const Gradient* g = At(p.at);
    if (g == nullptr) continue;
    across += cv::Vec3d(g->x * p.normal.x + g->y * p.normal.y);
  }
  return across * (px_per_mm_ /
                   std::max<double>(1.0, static_cast<double>(piece.size())));
}

cv::Vec3f EdgeField::Colour(cv::Point2f at) const {
  const int x =
      std::clamp(static_cast<int>(std::floor(at.x)), 0, lab_.cols - 1);
  const int y =
      std::clamp(static_cast<int>(std::floor(at.y)), 0, lab_.rows - 1);
  return lab_.at<cv::Vec3f>(y, x);
}

bool EdgeField::Seen(cv::Point2f at) const {
  const int x = static_cast<int>(std::floor(at.x));
  const int y = static_cast<int>(std::floor(at.y));
  return x >= 0 && y >= 0 && x < free_.cols && y < free_.rows &&
         free_.at<unsigned char>(y, x) != 0;
}

}  // namespace plumbfoot::find
