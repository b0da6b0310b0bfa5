// SPDX-License-Identifier: Apache-2.0
/// @file
/// Which colours belong to the foot and which to what is around it, learnt from
/// one picture.
#pragma once

#include <opencv2/core/types.hpp>
#include <vector>

#include "find/edge_field.h"

namespace plumbfoot::find {

/// Two histograms of colour.
class ColourModel {
 public:
  explicit ColourModel(const EdgeField& field);

  /// Takes the colour of a place as an example; places without a picture, and
  /// the card, are passed over.
  void Add(cv::Point2d at, bool foot);
  /// To be called once, after all examples.
  void Settle();
  /// How likely a colour as there belongs to the foot [0..1]; 0.5 where there
  /// is no picture.
  double Foot(cv::Point2d at) const;
  /// Examples that were taken.
  int feet() const { return feet_; }
  int others() const { return others_; }

 private:
  std::size_t Bin(cv::Point2d at) const;

  const EdgeField& field_;
  std::vector<float> foot_;
  std::vector<float> other_;
  int feet_ = 0;
  int others_ = 0;
};

}  // namespace plumbfoot::find
