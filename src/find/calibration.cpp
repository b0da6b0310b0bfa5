// SPDX-License-Identifier: Apache-2.0
#include "find/calibration.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

namespace plumbfoot::find {

extern const std::string_view kCalibration;

double Calibration::Row::Confidence(double likelihood) const {
  std::array<double, 2> before = {0.0, 0.0};
  for (const auto& knot : within_5_mm) {
    if (likelihood <= knot[0]) {
      const double gap = knot[0] - before[0];
      const double t = gap > 0 ? (likelihood - before[0]) / gap : 1.0;
      return before[1] + t * (knot[1] - before[1]);
    }
    before = knot;
  }
  return before[1];
}

cv::Matx22d Calibration::Row::Covariance(const cv::Matx22d& spread) const {
  const double turn =
      0.5 * std::atan2(2 * spread(0, 1), spread(0, 0) - spread(1, 1));
  const double c = std::cos(turn);
  const double s = std::sin(turn);
  const cv::Matx22d axes(c, -s, s, c);
  cv::Matx22d own = axes.t() * spread * axes;
  own = cv::Matx22d(std::max(own(0, 0), 0.0) * along * along,
                    0,
                    0,
                    std::max(own(1, 1), 0.0) * across * across);
  return axes * own * axes.t();
}

Calibration::Calibration() {
  const nlohmann::json json = nlohmann::json::parse(kCalibration);
  for (std::size_t look = 0; look < 2; ++look) {
    const auto& table = json.at(std::to_string(look == 0 ? kWidePx : kClosePx));
    for (std::size_t k = 0; k < geometry::kPointCount; ++k) {
      const auto& row =
          table.at(std::string(geometry::PointName(static_cast<PointId>(k))));
      rows_[look][k] = {
          row.at("within_5_mm").get<std::vector<std::array<double, 2>>>(),
          row.at("along").get<double>(),
          row.at("across").get<double>()};
    }
  }
}

}  // namespace plumbfoot::find
