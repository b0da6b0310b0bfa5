// SPDX-License-Identifier: Apache-2.0
/// @file
/// How well it measures: rendered photos with known truth through the product's
/// own rooms. Each study is a command (tests/studies/run) and, with few photos,
/// a test.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/measure/measures.h"

namespace plumbfoot::studies {

struct StudyOptions {
  int pairs = 200;
  std::uint64_t seed = 1;
  int width_px = 1600;
  int height_px = 1200;
  int threads = 2;
  /// For StudyPointsFound: put on the photo's edges, or as the finder saw them?
  bool on_edges = true;
  /// For StudyPointsFound: as if the card were held off the measured plane and
  /// turned, and its print off, by what a person's are (geometry::PlaneDoubt).
  /// Only what the card says of the plane is changed, not the photo.
  bool held_by_hand = false;
  /// For StudyPointsFound: a directory for the photos on which something is
  /// wrong and not said so, with the points found and the true ones; empty for
  /// none.
  std::string draw_in;
  /// Coverage only: false takes the tags' corners from the truth, with noise,
  /// instead of looking for them in a rendered photo. Everything else is the
  /// same, and a thousand pairs take a minute.
  bool rendered = true;
  /// Called after each pair, with how many are done.
  std::function<void(int)> progress;
};

/// A percentile (0..1) by linear interpolation between the order statistics;
/// NaN of nothing.
double Percentile(std::vector<double> values, double part);

/// Errors of a measure: value less truth, in per cent of the truth for lengths
/// and areas, in the measure's own unit otherwise.
struct PointsGiven {
  int tags = 5;
  int pairs = 0;
  int card_refused = 0;  ///< Photos whose card was not found.
  std::map<measure::MeasureId, std::vector<double>> errors;
};

/// The exact points are given, the card lies in the measured plane: what is
/// left is the card's own error. Width 90 to 160 mm, toe 38 to 62 degrees,
/// camera 0.35 to 1.2 m, tilt to 15 degrees, focal lengths of phones. One study
/// for each number of tags, on the same photos.
std::vector<PointsGiven> StudyPointsGiven(const std::vector<int>& tags,
                                          const StudyOptions& options);

/// How often intervals of 95 % held the truth.
struct Held {
  int measured = 0;
  int held = 0;
  double mean_uncertainty = 0.0;  ///< Stated.
  double rms_error = 0.0;
};

struct Coverage {
  int pairs = 0;
  int card_refused = 0;
  std::map<measure::MeasureId, Held> rows;
};

/// A person places the points with his usual error; the card is held off the
/// plane and turned, the print is off and the lens bends, all as a person's
/// would (geometry::PlaneDoubt). How often do the intervals hold the truth?
Coverage StudyCoverage(const StudyOptions& options);

/// A point or the toe angle as the finder's points have it.
struct Found {
  int pair = 0;
  View view = View::kSolar;
  std::string what;         ///< Of the points file, or "toe_angle".
  double error = 0.0;       ///< As used [mm], or signed [deg].
  double confidence = 0.0;  ///< The least of what it rests on.
  bool sure = false;        ///< find::IsSure, of all that it rests on.
  bool wrong = false;       ///< Off by more than 5 mm, or 2 degrees.
};

/// What became of the finder's points on photos it has never seen.
struct PointsFound {
  int photos = 0;  ///< Of each view.
  int solar_refused = 0;
  int lateral_refused = 0;
  struct Row {
    int visible = 0;  ///< Photos that show the point.
    int found = 0;
    std::vector<double> errors_mm;
    int wrong = 0;       ///< More than 5 mm off in what it is used for.
    int sure = 0;        ///< Called sure (find::IsSure).
    int sure_wrong = 0;  ///< Both.
  };
  std::map<PointId, Row> points;
  std::vector<double> outline_iou;
  /// Of the frog before its widest places.
  std::vector<double> frog_iou;
  std::vector<double> toe_angle_errors;   ///< [deg], signed.
  std::vector<double> heel_angle_errors;  ///< [deg], signed.
  std::vector<double> width_errors;       ///< [%], signed.
  std::vector<double> length_errors;      ///< [%], signed.
  int toe_angles_sure = 0;  ///< Those whose wall, toe and heel are sure.
  /// Photos with a point that is called sure and wrong, or a toe angle more
  /// than 2 degrees off whose wall, toe and heel are called sure.
  int silent_solar = 0;
  int silent_lateral = 0;
  std::vector<Found> each;  ///< In the order in which they were looked at.
  /// Of the measures from those points, by whether all that a measure rests on
  /// is sure. In these scenes the card lies in the measured plane and is
  /// printed true: `points` are intervals that know so, and stand or fall with
  /// the points; `report` are those that a report gives, for a card held by
  /// hand.
  struct Intervals {
    Held points;
    Held report;
  };
  std::map<measure::MeasureId, Intervals> sure;
  std::map<measure::MeasureId, Intervals> unsure;
};

PointsFound StudyPointsFound(const StudyOptions& options);

// The tables that the command prints.
std::string Table(const std::vector<PointsGiven>& rows);
std::string Table(const Coverage& coverage);
std::string Table(const PointsFound& found);
/// How often the intervals of the measures held the truth.
std::string Intervals(const PointsFound& found);
/// A line for each point and toe angle that was found.
std::string Each(const PointsFound& found);

}  // namespace plumbfoot::studies
