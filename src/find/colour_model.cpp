// SPDX-License-Identifier: Apache-2.0
#include "find/colour_model.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace plumbfoot::find {
namespace {

// CHOSEN: steps of colour that an eye tells apart easily, in CIE units.
constexpr float kLightStep = 5.0F;
constexpr float kHueStep = 3.5F;
constexpr int kLight = 21;
constexpr int kHue = 24;

std::size_t Index(int l, int a, int b) {
  return (static_cast<std::size_t>(l) * kHue + static_cast<std::size_t>(a)) *
             kHue +
         static_cast<std::size_t>(b);
}

/// (1, 2, 1) / 4 along each direction.
void Soften(std::vector<float>& h) {
  std::vector<float> out(h.size());
  for (int axis = 0; axis < 3; ++axis) {
    for (int l = 0; l < kLight; ++l) {
      for (int a = 0; a < kHue; ++a) {
        for (int b = 0; b < kHue; ++b) {
          std::array<int, 3> low = {l, a, b};
          std::array<int, 3> high = low;
          const auto k = static_cast<std::size_t>(axis);
          low[k] = std::max(0, low[k] - 1);
          high[k] = std::min((axis == 0 ? kLight : kHue) - 1, high[k] + 1);
          out[Index(l, a, b)] = 0.5F * h[Index(l, a, b)] +
                                0.25F * h[Index(low[0], low[1], low[2])] +
                                0.25F * h[Index(high[0], high[1], high[2])];
        }
      }
    }
    std::swap(h, out);
  }
}

}  // namespace

ColourModel::ColourModel(const EdgeField& field)
    : field_(field),
      foot_(Index(kLight - 1, kHue - 1, kHue - 1) + 1),
      other_(foot_.size()) {}

std::size_t ColourModel::Bin(cv::Point2d at) const {
  const cv::Vec3f c = field_.Colour(cv::Point2f(at));
  const auto bin = [](float v, int count) {
    return std::clamp(static_cast<int>(std::floor(v)), 0, count - 1);
  };
  return Index(bin(c[0] / kLightStep, kLight),
               bin(c[1] / kHueStep + kHue / 2.0F, kHue),
               bin(c[2] / kHueStep + kHue / 2.0F, kHue));
}

void ColourModel::Add(cv::Point2d at, bool foot) {
  if (!field_.Seen(cv::Point2f(at))) return;
  (foot ? foot_ : other_)[Bin(at)] += 1;
  ++(foot ? feet_ : others_);
}

void ColourModel::Settle() {
  Soften(foot_);
  Soften(other_);
  for (float& v : foot_) v /= static_cast<float>(std::max(1, feet_));
  for (float& v : other_) v /= static_cast<float>(std::max(1, others_));
}

double ColourModel::Foot(cv::Point2d at) const {
  if (!field_.Seen(cv::Point2f(at))) return 0.5;
  const std::size_t bin = Bin(at);
  // CHOSEN: what was never seen is rather the foot's, of which less is known.
  constexpr double kUnseenFoot = 6e-4;
  constexpr double kUnseenOther = 3e-4;
  return (foot_[bin] + kUnseenFoot) /
         (foot_[bin] + other_[bin] + kUnseenFoot + kUnseenOther);
}

}  // namespace plumbfoot::find
