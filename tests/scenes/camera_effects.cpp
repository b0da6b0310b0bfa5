// SPDX-License-Identifier: Apache-2.0
#include "scenes/camera_effects.h"

#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "scenes/noise.h"
#include "scenes/parallel.h"

namespace plumbfoot::scenes {
namespace {

// Everything behind the foot goes soft; what is in focus stays as it is, and
// does not bleed into the soft part.
void BlurBackground(cv::Mat& linear, const cv::Mat& background, double sigma) {
  if (background.empty() || sigma < 0.5) return;
  cv::Mat weight3;
  cv::merge(std::vector<cv::Mat>{background, background, background}, weight3);
  cv::Mat soft = linear.mul(weight3);
  cv::Mat soft_weight;
  // Small, blurred, enlarged: the blur is wide and needs no detail.
  const double shrink = std::min(1.0, 2.0 / sigma);
  cv::resize(soft, soft, {}, shrink, shrink, cv::INTER_AREA);
  cv::resize(background, soft_weight, soft.size(), 0, 0, cv::INTER_AREA);
  cv::GaussianBlur(soft, soft, {}, sigma * shrink);
  cv::GaussianBlur(soft_weight, soft_weight, {}, sigma * shrink);
  cv::resize(soft, soft, linear.size(), 0, 0, cv::INTER_LINEAR);
  cv::resize(soft_weight, soft_weight, linear.size(), 0, 0, cv::INTER_LINEAR);
  for (int y = 0; y < linear.rows; ++y) {
    auto* out = linear.ptr<cv::Vec3f>(y);
    const auto* s = soft.ptr<cv::Vec3f>(y);
    const auto* w = soft_weight.ptr<float>(y);
    const auto* b = background.ptr<float>(y);
    for (int x = 0; x < linear.cols; ++x) {
      if (b[x] <= 0.0F || w[x] <= 1e-4F) continue;
      out[x] = out[x] * (1 - b[x]) + s[x] * (b[x] / w[x]);
    }
  }
}

void Smear(cv::Mat& linear, double length, double degrees) {
  if (length < 0.3) return;
  const int half = static_cast<int>(std::ceil(length / 2)) + 1;
  cv::Mat kernel = cv::Mat::zeros(2 * half + 1, 2 * half + 1, CV_32F);
  // A line, sampled finely, symmetric about the middle: it moves no edge.
  constexpr int kSteps = 400;
  const double a = degrees * std::numbers::pi / 180;
  for (int k = 0; k < kSteps; ++k) {
    const double t = ((k + 0.5) / kSteps - 0.5) * length;
    const double x = half + t * std::cos(a);
    const double y = half + t * std::sin(a);
    const int ix = static_cast<int>(x);
    const int iy = static_cast<int>(y);
    const double fx = x - ix;
    const double fy = y - iy;
    kernel.at<float>(iy, ix) += static_cast<float>((1 - fx) * (1 - fy));
    kernel.at<float>(iy, ix + 1) += static_cast<float>(fx * (1 - fy));
    kernel.at<float>(iy + 1, ix) += static_cast<float>((1 - fx) * fy);
    kernel.at<float>(iy + 1, ix + 1) += static_cast<float>(fx * fy);
  }
  kernel /= cv::sum(kernel)[0];
  cv::filter2D(linear, linear, -1, kernel, {-1, -1}, 0, cv::BORDER_REPLICATE);
}

// Mean of the brightness where the camera meters: the middle counts double.
double Metered(const cv::Mat& linear) {
  double sum = 0;
  double weight = 0;
  for (int y = 0; y < linear.rows; y += 7) {
    const auto* p = linear.ptr<cv::Vec3f>(y);
    for (int x = 0; x < linear.cols; x += 7) {
      const double fx = static_cast<double>(x) / linear.cols - 0.5;
      const double fy = static_cast<double>(y) / linear.rows - 0.5;
      const double w = fx * fx + fy * fy < 0.09 ? 2 : 1;
      const double l = 0.21 * p[x][0] + 0.72 * p[x][1] + 0.07 * p[x][2];
      sum += w * std::log(std::min(l, 1.5) + 0.01);
      weight += w;
    }
  }
  return std::exp(sum / weight);
}

// A normal deviate's stand-in from a pixel's place: a sum of four uniforms,
// whose tails are short but which costs next to nothing.
double Grain(std::uint32_t x, std::uint32_t y, std::uint32_t seed) {
  const std::uint32_t a = Hash(x, y, seed);
  const std::uint32_t b = Hash(a);
  const double sum = (a & 0xffffU) + (a >> 16) + (b & 0xffffU) + (b >> 16);
  return (sum / 65536.0 - 2.0) * std::numbers::sqrt3;
}

}  // namespace

cv::Mat DevelopPhoto(cv::Mat linear,
                     const cv::Mat& background,
                     const CameraEffects& e,
                     std::uint64_t seed,
                     int threads) {
  const double scale = linear.cols / 1600.0;
  BlurBackground(linear, background, 3.0 * e.background_blur * scale);
  if (e.motion_px > 0) Smear(linear, e.motion_px * scale, e.motion_deg);
  // A larger photo of the same scene is sharper by its pixels, but not by all
  // of its enlargement.
  const double blur = e.blur_px * std::pow(scale, 0.6);
  if (blur > 0.05) cv::GaussianBlur(linear, linear, {}, blur);

  // Exposure: the metered mean comes to a middle grey.
  const double gain =
      std::clamp(0.155 / Metered(linear), 0.25, 4.0) * e.exposure;
  constexpr int kLevels = 4096;
  std::array<float, kLevels + 1> tone{};
  for (int i = 0; i <= kLevels; ++i) {
    // sRGB (IEC 61966-2-1), with the highlights rolled off as phones do.
    const double v = 1.6 * i / kLevels;
    const double rolled =
        v < 0.75 ? v : 0.75 + 0.25 * (1 - std::exp(-(v - 0.75) / 0.25));
    const double s = rolled <= 0.0031308
                         ? 12.92 * rolled
                         : 1.055 * std::pow(rolled, 1 / 2.4) - 0.055;
    tone[static_cast<std::size_t>(i)] = static_cast<float>(255 * s);
  }
  const double white[3] = {
      e.white_balance.x, e.white_balance.y, e.white_balance.z};
  const double cx = linear.cols / 2.0;
  const double cy = linear.rows / 2.0;
  const double corner = cx * cx + cy * cy;
  const auto base = static_cast<std::uint32_t>(seed);
  Parallel(threads, linear.rows, [&](int y) {
    auto* p = linear.ptr<cv::Vec3f>(y);
    for (int x = 0; x < linear.cols; ++x) {
      const double r2 = ((x - cx) * (x - cx) + (y - cy) * (y - cy)) / corner;
      const double light = gain * (1 - e.vignette * r2 * (0.6 + 0.4 * r2));
      for (int k = 0; k < 3; ++k) {
        double v = p[x][k] * light * white[k];
        if (e.electrons > 0) {
          // Shot noise goes with the root of the light; a floor for reading.
          const double sigma = std::sqrt(std::max(0.0, v) / e.electrons +
                                         9.0 / (e.electrons * e.electrons));
          v += sigma * Grain(static_cast<std::uint32_t>(x),
                             static_cast<std::uint32_t>(y),
                             base + 1013U * static_cast<std::uint32_t>(k));
        }
        const double at = std::clamp(v / 1.6, 0.0, 1.0) * kLevels;
        const auto i = std::min(static_cast<std::size_t>(at),
                                static_cast<std::size_t>(kLevels - 1));
        const auto f = static_cast<float>(at - static_cast<double>(i));
        p[x][k] = tone[i] + f * (tone[i + 1] - tone[i]);
      }
    }
  });
  if (e.sharpen > 0) {
    cv::Mat soft;
    cv::GaussianBlur(linear, soft, {}, 1.1);
    cv::addWeighted(linear, 1 + e.sharpen, soft, -e.sharpen, 0, linear);
  }
  cv::Mat out;
  linear.convertTo(out, CV_8UC3);
  return out;
}

}  // namespace plumbfoot::scenes
