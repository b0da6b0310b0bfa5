// SPDX-License-Identifier: Apache-2.0
/// @file
/// Measures over time, many small plots on one page, as one would put them in a
/// letter. Draws plain data: what is plotted and every word is decided by who
/// calls.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/draw/canvas.h"

namespace plumbfoot::draw {

/// Which mark a reading gets.
enum class TimeMark {
  kBefore,  ///< An open ring: before the trim.
  kAfter,   ///< A filled disc: after it.
  kOther,   ///< An open square: at another time.
};

struct TimePoint {
  double day = 0.0;
  double value = 0.0;
  double low = 0.0;  ///< Of its error bar.
  double high = 0.0;
  TimeMark mark = TimeMark::kOther;
  bool unsure = false;  ///< Gets a question mark.
};

/// A straight line through readings of one kind.
struct TimeLine {
  TimeMark mark = TimeMark::kAfter;
  double from_day = 0.0;
  double from = 0.0;
  double to_day = 0.0;
  double to = 0.0;
};

struct TimePanel {
  std::string title;  ///< "Toe angle [°]"
  /// In order of time; a thin line joins them.
  std::vector<TimePoint> points;
  std::vector<TimeLine> lines;
  std::optional<double> target;
  std::string facts;    ///< Small, below the plot; may be two lines long.
  std::string nothing;  ///< Why there is nothing to plot.
};

/// A visit: a number on every time axis, its words below all plots.
struct TimeVisit {
  double day = 0.0;
  std::string label;  ///< "3"
  std::string words;  ///< "2026-03-14: trimmed; steel shoe, 6 nails"
};

struct TimeChart {
  std::string title;
  std::string subtitle;
  std::vector<TimePanel> panels;
  std::vector<TimeVisit> visits;
  std::string bars;                ///< What the error bars are.
  std::vector<std::string> notes;  ///< In small print.
};

/// 180 mm wide, as fits a letter; as high as it needs to be.
std::string TimeChartSvg(const TimeChart& chart);
std::string TimeChartPng(const TimeChart& chart, double dots_per_inch = 200.0);

}  // namespace plumbfoot::draw
