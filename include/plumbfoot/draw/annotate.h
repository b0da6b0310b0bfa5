// SPDX-License-Identifier: Apache-2.0
/// @file
/// The photo with its measures drawn on: what a farrier reads at a glance and
/// an owner can be sent.
#pragma once

#include <map>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/draw/canvas.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/measure/measure.h"
#include "plumbfoot/measure/measures.h"
#include "plumbfoot/photo/photo.h"

namespace plumbfoot::draw {

/// What stands in the band below the picture. Empty parts are left out.
struct Caption {
  std::string foot;                ///< "left fore"
  std::string horse;               ///< "Juno"
  std::string date;                ///< "2026-03-14"
  std::string stage;               ///< "before the trim"
  std::vector<std::string> lines;  ///< More, each on its own line.
};

/// The words that are drawn on the photo and below it; English unless told
/// otherwise. "{points}" stands for names of points.
struct AnnotateWords {
  std::map<PointId, std::string> points;  ///< Missing ones: in English.
  std::map<measure::MeasureId, std::string> measures;  ///< Likewise.
  std::string outline = "outline";
  std::string dorsal_wall = "front of the wall";
  std::string found = "found by Plumbfoot";
  std::string placed = "placed by hand";
  std::string interval = "± is half of the 95 % interval";
  std::string no_scale =
      "No scale in this photo: only angles and ratios are measured.";
  std::string missing = "Not found: {points} (place by hand)";
  std::string unsure = "? Not sure, look and put right: {points}";
  std::string hidden = "Can't be seen: {points}";
  std::string decimal_mark = ".";
};

struct AnnotateOptions {
  AnnotateWords words;
  /// The photo is reduced until its longer side is at most this [px].
  int longest_px = 2048;
  /// A smaller photo is enlarged to this, so that the words can be read [px].
  int shortest_longest_px = 1280;
  /// The plane of the foot, for the millimetre bar; without it, or without a
  /// scale, there is none.
  std::optional<geometry::PlaneEstimate> plane;
  /// Where no plane is given: photo pixels per millimetre in the foot's middle.
  std::optional<double> px_per_mm;
};

/// One label and where it ended up.
struct PlacedLabel {
  std::string text;
  Box box;             ///< In the pixels of the annotated picture.
  CanvasPoint anchor;  ///< What it names.
};

/// An annotated photo.
struct Annotated {
  cv::Mat rgb;  ///< The photo, reduced, with the band of words below it.
  Box photo;    ///< The part that is the photo; the band is the rest [px].
  double picture_from_photo = 1.0;  ///< Annotated pixels per photo pixel.
  std::vector<PlacedLabel> labels;  ///< None overlaps another.
  /// The blocks of 10 mm in the corner, if there is a scale.
  std::optional<Box> bar;
  std::vector<std::string> missing;  ///< Points that are not placed, in words.
};

/// Draws the measures of one view on its photo. The photo is not altered. For
/// the file: photo::EncodeJpeg(annotated.rgb) and photo::WriteWhole.
/// @param photo     The upright photo that the points were placed on.
/// @param measures  Of the same points.
/// @throws std::invalid_argument if the photo is empty or the views differ.
Annotated DrawAnnotated(const photo::Photo& photo,
                        const ViewPoints& points,
                        const measure::ViewMeasures& measures,
                        const Caption& caption = {},
                        const AnnotateOptions& options = {});

}  // namespace plumbfoot::draw
