// SPDX-License-Identifier: Apache-2.0
#include "find/network.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <string_view>
#include <vector>

namespace plumbfoot::find {

extern const std::string_view kNetwork;

namespace {

constexpr double kLeastDisc = 0.7;  // [cells]
constexpr double kGreatestDisc = 12.0;

/// How much of a cell lies within the radius [cells].
double DiscShare(double distance, double radius) {
  return std::clamp(radius - distance + 0.5, 0.0, 1.0);
}

/// Of what lies within a disc of the map [cells].
struct Moments {
  double mass = 0.0;
  cv::Point2d middle;
  cv::Matx22d about_at;  ///< Second moments about the disc's middle.
};

Moments MomentsIn(const cv::Mat& weight, cv::Point2d at, double radius) {
  const int reach = static_cast<int>(std::ceil(radius + 0.5)) + 1;
  const cv::Rect near = cv::Rect(static_cast<int>(std::floor(at.x)) - reach,
                                 static_cast<int>(std::floor(at.y)) - reach,
                                 2 * reach + 1,
                                 2 * reach + 1) &
                        cv::Rect(0, 0, weight.cols, weight.rows);
  Moments out;
  double xx = 0, xy = 0, yy = 0;
  for (int y = near.y; y < near.y + near.height; ++y) {
    for (int x = near.x; x < near.x + near.width; ++x) {
      const cv::Point2d d(x + 0.5 - at.x, y + 0.5 - at.y);
      const double w = static_cast<double>(weight.at<float>(y, x)) *
                       DiscShare(std::hypot(d.x, d.y), radius);
      out.mass += w;
      out.middle += w * d;
      xx += w * d.x * d.x;
      xy += w * d.x * d.y;
      yy += w * d.y * d.y;
    }
  }
  if (!(out.mass > 0)) return out;
  out.middle = at + out.middle / out.mass;
  out.about_at = cv::Matx22d(xx, xy, xy, yy) * (1 / out.mass);
  return out;
}

/// Over the map's cells and one more, "not seen", whose logit is 0.
cv::Mat Softmax(const cv::Mat& map) {
  double top = 0;
  cv::minMaxLoc(map, nullptr, &top);
  const double shift = std::max(top, 0.0);
  cv::Mat weight;
  cv::exp(map - shift, weight);
  weight /= cv::sum(weight)[0] + std::exp(-shift);
  return weight;
}

/// Of the disc of kNearMm [cells].
double RadiusOfDisc(double mm_per_px) {
  return std::clamp(kNearMm / (kStride * mm_per_px), kLeastDisc, kGreatestDisc);
}

}  // namespace

cv::dnn::Net LoadNetwork() {
  cv::dnn::Net network =
      cv::dnn::readNetFromONNX(kNetwork.data(), kNetwork.size());
  network.setPreferableBackend(cv::dnn::DNN_BACKEND_OPENCV);
  network.setPreferableTarget(cv::dnn::DNN_TARGET_CPU);
  return network;
}

NetworkAnswer AskNetwork(cv::dnn::Net& network,
                         View view,
                         const cv::Mat& rgb,
                         const cv::Mat& known,
                         const cv::Mat& card) {
  const std::array<int, 4> shape = {1, 5, rgb.rows, rgb.cols};
  cv::Mat blob(4, shape.data(), CV_32F);
  const auto plane = [&](int k) {
    return cv::Mat(rgb.rows, rgb.cols, CV_32F, blob.ptr<float>(0, k));
  };
  const cv::Mat unknown = known == 0;
  for (int k = 0; k < 3; ++k) {
    cv::Mat channel;
    cv::extractChannel(rgb, channel, k);
    cv::Mat to = plane(k);
    channel.convertTo(to, CV_32F, 1.0 / 255);
    to.setTo(0.5F, unknown);
  }
  cv::Mat mask = plane(3);
  card.convertTo(mask, CV_32F, 1.0 / 255);
  mask.setTo(0.0F, unknown);
  plane(4).setTo(view == View::kLateral ? 1.0F : 0.0F);
  network.setInput(blob);
  std::vector<cv::Mat> outputs;
  network.forward(outputs, std::vector<cv::String>{"maps", "foot"});
  const cv::Mat& maps = outputs[0];
  NetworkAnswer answer;
  const auto map = [&](std::size_t k) {
    return cv::Mat(maps.size[2],
                   maps.size[3],
                   CV_32F,
                   const_cast<float*>(maps.ptr<float>(0, static_cast<int>(k))))
        .clone();
  };
  for (std::size_t k = 0; k < answer.points.size(); ++k) {
    answer.points[k] = map(k);
  }
  for (std::size_t k = 0; k < answer.masks.size(); ++k) {
    answer.masks[k] = map(answer.points.size() + k);
  }
  answer.foot =
      1 / (1 + std::exp(-static_cast<double>(*outputs[1].ptr<float>())));
  return answer;
}

PointReading ReadPoint(const cv::Mat& map, double mm_per_px) {
  const cv::Mat weight = Softmax(map);
  const double radius = RadiusOfDisc(mm_per_px);
  const int reach = static_cast<int>(std::ceil(radius + 0.5));
  cv::Mat disc(2 * reach + 1, 2 * reach + 1, CV_32F);
  for (int y = -reach; y <= reach; ++y) {
    for (int x = -reach; x <= reach; ++x) {
      disc.at<float>(y + reach, x + reach) =
          static_cast<float>(DiscShare(std::hypot(x, y), radius));
    }
  }
  cv::Mat inside;
  cv::filter2D(weight, inside, CV_32F, disc, {-1, -1}, 0, cv::BORDER_CONSTANT);
  cv::Point cell;
  cv::minMaxLoc(inside, nullptr, nullptr, nullptr, &cell);
  cv::Point2d at(cell.x + 0.5, cell.y + 0.5);
  Moments near = MomentsIn(weight, at, radius);
  PointReading out;
  if (!(near.mass > 0)) return out;
  // CHOSEN: three steps settle the disc in the middle of what it holds.
  for (int i = 0; i < 3; ++i) {
    at = near.middle;
    near = MomentsIn(weight, at, radius);
    if (!(near.mass > 0)) return out;
  }
  out.at = at * kStride;
  out.likelihood = near.mass;
  out.spread = MomentsIn(weight, at, radius * kAroundMm / kNearMm).about_at *
               (1.0 * kStride * kStride);
  return out;
}

PointReading ReadSecond(const cv::Mat& map,
                        const PointReading& first,
                        double mm_per_px) {
  cv::Mat rest = map.clone();
  // CHOSEN: a logit that is never.
  cv::circle(rest,
             {static_cast<int>(first.at.x / kStride),
              static_cast<int>(first.at.y / kStride)},
             static_cast<int>(std::lround(RadiusOfDisc(mm_per_px))),
             cv::Scalar(-50),
             cv::FILLED);
  PointReading second = ReadPoint(rest, mm_per_px);
  second.likelihood = LikelihoodAt(map, second.at, mm_per_px);
  return second;
}

double LikelihoodAt(const cv::Mat& map, cv::Point2d at, double mm_per_px) {
  return MomentsIn(Softmax(map), at * (1.0 / kStride), RadiusOfDisc(mm_per_px))
      .mass;
}

}  // namespace plumbfoot::find
