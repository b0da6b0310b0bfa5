// SPDX-License-Identifier: Apache-2.0
/// @file
/// The photo with its measures drawn on: what a farrier reads at a glance and
/// an owner can be sent.
#pragma once

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

struct AnnotateOptions {
  /// The photo is reduced until its longer side is at most this [px].
  int longest_px = 2048;
  /// A smaller photo is enlarged to this, so that the words can be read [px].
  int shortest_longest_px = 1280;
  /// The plane of the foot, for the millimetre bar; without it, or without a
  /// scale, there is none.
  std::optional<geometry::PlaneEstimate> plane;
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
