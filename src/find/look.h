// SPDX-License-Identifier: Apache-2.0
/// @file
/// Where on the plane to look for a foot, and from what was seen there back to
/// the photo.
#pragma once

#include <array>
#include <opencv2/core/types.hpp>
#include <optional>
#include <vector>

#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {

/// What a finder saw, and in which picture.
struct Look {
  Sightings seen;
  PlaneImage image;
  geometry::PlaneMap map;
  /// Points that several looks saw in different places (find/agreement.h).
  std::array<bool, geometry::kPointCount> apart{};
  /// Too hard to read for one look to be enough: without a scale always.
  bool hard = false;
};

/// How large a foot is taken to be where there is no scale.
// CHOSEN: about the middle of the published tables (reference/measures.md).
inline constexpr double kUsualFootMm = 125.0;

/// The likeliest look of those at the windows in which a foot may be. Without a
/// scale: over sizes and places, and then in `map`'s millimetres the foot is
/// about as large as feet are.
std::optional<Look> LookEverywhere(const FindRequest& request,
                                   const Finder& finder);

/// The plane of a request without a scale, as if the photo's shorter side
/// showed so much.
geometry::PlaneEstimate ShowingMm(const FindRequest& request, double mm);

/// From the image's pixels to the photo's.
geometry::PhotoPoint ToPhoto(const Look& look, cv::Point2d at);
geometry::PhotoPolyline ToPhoto(const Look& look,
                                const std::vector<cv::Point2d>& line);
/// With its covariance.
geometry::PlacedPoint ToPhoto(const Look& look, const Sighting& sighting);

/// Photo pixels per millimetre there; 1 where the plane isn't seen.
double PxPerMm(const geometry::PlaneMap& map, geometry::PhotoPoint near);

bool InPhoto(geometry::PhotoPoint p, cv::Size size);
/// So near the photo's border that a foot there may go on beyond it.
bool AtBorder(geometry::PhotoPoint p, cv::Size size);

}  // namespace plumbfoot::find
