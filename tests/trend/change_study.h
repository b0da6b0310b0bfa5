// SPDX-License-Identifier: Apache-2.0
/// @file
/// How often a change is called one, and a change that is none: pairs of photos
/// of feet with known truth, through `measure`, with the points given and
/// noise. A study (tests/studies/run change) and, smaller, a test.
#pragma once

#include <cstdint>
#include <map>
#include <string>

#include "plumbfoot/measure/measures.h"

namespace plumbfoot::trend {

struct ChangeStudyOptions {
  int pairs = 300;   ///< Feet; each photographed twice without a change.
  int trials = 400;  ///< Of each measurement's Monte Carlo.
  std::uint64_t seed = 1;
  /// True changes of twice the smallest visible one are made in so many of the
  /// measures of each foot, one at a time, in turn; 30: in every one.
  int changes_each = 30;
  int threads = 2;
};

struct ChangeStudy {
  int feet = 0;
  int feet_called_changed = 0;  ///< Unchanged, and called changed anywhere.
  double factor = 0.0;
  struct Row {
    int unchanged = 0;       ///< Pairs without a change.
    int called_changed = 0;  ///< Of those.
    int changed = 0;         ///< Pairs with a change of twice the visible.
    int found = 0;           ///< Of those.
    /// Feet whose shape can't change so far: a heel of 90 degrees.
    int impossible = 0;
    double smallest_visible = 0.0;  ///< Mean.
    double repeat_sd = 0.0;         ///< Within a foot, same card: the SEM.
    double icc = 0.0;               ///< (3,1), over the feet of the study.
    double limits = 0.0;            ///< Half width of the limits of agreement.
  };
  std::map<measure::MeasureId, Row> rows;
};

ChangeStudy StudyChange(const ChangeStudyOptions& options);
std::string Table(const ChangeStudy& study);

}  // namespace plumbfoot::trend
