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

/// What a chart says by itself, in the language of whoever calls.
struct TimeWords {
  std::string before = "before the trim";
  std::string after = "after";
  std::string other = "at another time";
  std::string trend_before = "trend before the trim";
  std::string trend_after = "trend after";
  std::string trend_other = "trend at another time";
  std::string target = "target";
  std::string unsure = "? the program isn't sure";
  std::string decimal_mark = ".";
};

struct TimeChart {
  double width_mm = 180.0;  ///< As fits a letter.
  std::size_t columns = 3;  ///< Panels beside each other; at least one.
  TimeWords words;
  std::string title;     ///< May be empty.
  std::string subtitle;  ///< May be empty.
  std::vector<TimePanel> panels;
  std::vector<TimeVisit> visits;
  bool list_visits = true;         ///< Their words, below the plots.
  std::string bars;                ///< What the error bars are.
  std::vector<std::string> notes;  ///< In small print.
};

/// How high it becomes [mm].
double TimeChartHeight(const TimeChart& chart);
/// Draws it at the origin of a canvas that is measured in millimetres.
void DrawTimeChart(Canvas& canvas, const TimeChart& chart);
/// As wide as the chart says, as high as it needs to be.
std::string TimeChartSvg(const TimeChart& chart);
std::string TimeChartPng(const TimeChart& chart, double dots_per_inch = 200.0);
/// The PNG before Canvas::Finish, which packs it: as long as it takes to draw,
/// but it sets no text and so may be called from another thread.
Canvas TimeChartOnPng(const TimeChart& chart, double dots_per_inch = 200.0);

}  // namespace plumbfoot::draw
