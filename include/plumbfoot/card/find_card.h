// SPDX-License-Identifier: Apache-2.0
/// @file
/// The card in a photo: its tags, the camera that saw it, and the map from
/// photo to millimetres with its uncertainty.
#pragma once

#include <array>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <vector>

#include "plumbfoot/card/layout.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/geometry/units.h"

namespace plumbfoot::card {

/// A tag as it is seen, its corners fitted again on the full photo.
struct SeenTag {
  int id = 0;
  /// Corners of the black square in the order bottom left, bottom right, top
  /// right, top left of the upright tag.
  std::array<geometry::PhotoPoint, 4> corners;
  std::array<geometry::PhotoCovariance, 4> covariance;  ///< [px^2]
  double blur_px = 0.0;   ///< Sigma of the edges' blur [px].
  double contrast = 0.0;  ///< White less black at the edges [0..1], linear.
};

/// What is known of the camera before the photo is looked at.
struct CameraPrior {
  std::optional<double> focal_px;  ///< From EXIF or a lens profile.
  double focal_relative_sigma = 0.05;
  std::optional<geometry::LensDistortion> lens;   ///< From a lens profile.
  std::optional<geometry::PhotoPoint> principal;  ///< From a lens profile.
};

struct CardOptions {
  Layout layout = StandardLayout();
  /// What a ruler says of the span between the crosses [mm]; nothing if nobody
  /// measured it.
  std::optional<double> measured_mm;
  CameraPrior camera;
};

/// The card, found.
struct SeenCard {
  std::vector<SeenTag> tags;  ///< By rising id.
  geometry::PlaneEstimate plane;
  double residual_px = 0.0;    ///< RMS of the corners about the fit.
  double distance_mm = 0.0;    ///< Lens to the middle of the tags.
  geometry::Degrees tilt;      ///< Optical axis against the card's normal.
  double px_per_mm = 0.0;      ///< At the middle of the tags.
  double blur_px = 0.0;        ///< Median over the tags.
  double print_gain_mm = 0.0;  ///< How far black has grown at its edges.
  /// How far it is bent out of its plane at the tag farthest from its origin.
  double bend_mm = 0.0;
  bool focal_assumed = false;  ///< No EXIF: a phone's usual lens was assumed.
};

/// Finds the card.
///
/// Tags: libapriltag 3.3, family 36h11. Their edges are then fitted again on
/// the full photo in linear light (its own refinement is biased by 0.125 px).
/// Camera, pose, k1, print gain and a bend of the card come from all corners
/// at once, by non-linear least squares with priors (focal length from EXIF or
/// a usual phone's; principal point near the middle; small k1, gain and bend);
/// the covariance is that of the fit, widened where the residual is larger than
/// the corners' own uncertainty explains.
///
/// @param rgb  CV_8UC3, red first.
/// @return The card; or kNoCard, kCardTooFewTags (one tag of a layout that has
///   more), kTwoCards (an id is seen twice), kCardMirrored, kCardBent (by
///   more than 4 mm, or the tags are not where the layout says).
Result<SeenCard> FindCard(const cv::Mat& rgb, const CardOptions& options = {});

/// A plane through a length that a person knows: the photo is taken to look
/// squarely at it, with the doubt of a picture taken by eye.
/// @return kKnownLength; or kBadNumber if the points coincide or mm <= 0.
Result<geometry::PlaneEstimate> PlaneFromKnownLength(
    cv::Size size,
    geometry::PhotoPoint from,
    geometry::PhotoPoint to,
    double mm,
    const CameraPrior& camera = {});

/// A plane for a photo with no scale at all: only ratios and angles of what is
/// mapped with it mean anything.
geometry::PlaneEstimate PlaneWithoutScale(cv::Size size,
                                          const CameraPrior& camera = {});

}  // namespace plumbfoot::card
