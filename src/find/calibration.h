// SPDX-License-Identifier: Apache-2.0
/// @file
/// What a point's likelihood and spread in the network's map mean.
#pragma once

#include <array>
#include <opencv2/core/matx.hpp>
#include <vector>

#include "find/network.h"

namespace plumbfoot::find {

/// The tables that evaluate.py wrote (calibration.json).
class Calibration {
 public:
  /// A point as one of the two looks sees it.
  struct Row {
    /// Likelihood, and how many of such points lie within 5 mm.
    std::vector<std::array<double, 2>> within_5_mm;
    /// What its spread is to be multiplied with.
    double along = 1.0;
    double across = 1.0;

    double Confidence(double likelihood) const;
    /// The spread, scaled in its own axes.
    cv::Matx22d Covariance(const cv::Matx22d& spread) const;
  };

  Calibration();

  const Row& At(bool close, PointId id) const {
    return rows_[close ? 1 : 0][static_cast<std::size_t>(id)];
  }

 private:
  std::array<std::array<Row, geometry::kPointCount>, 2> rows_;
};

}  // namespace plumbfoot::find
