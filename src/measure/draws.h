// SPDX-License-Identifier: Apache-2.0
/// @file
/// The ways that the placed points of one photo may truly lie, drawn trial by
/// trial.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "measure/in_foot.h"
#include "plumbfoot/geometry/camera.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/polyline.h"
#include "plumbfoot/geometry/random.h"
#include "plumbfoot/measure/measure.h"

namespace plumbfoot::measure {

/// A curve with a smooth random displacement across itself: a stationary normal
/// process along its length with the correlation exp(-d^2 / 2 c^2), as a
/// Fourier series whose coefficients have the process' spectrum (M. Shinozuka
/// and G. Deodatis, Appl. Mech. Rev. 44(4), 1991).
class CurveNoise {
 public:
  /// @param corners      Evenly spaced [px].
  /// @param sigma        Across the curve [px].
  /// @param correlation  c [px].
  CurveNoise(const geometry::PhotoPolyline& corners,
             geometry::Ends ends,
             double sigma,
             double correlation);
  /// Writes a displaced curve into `displaced`.
  void Draw(geometry::Random& random, geometry::PhotoPolyline& displaced) const;

 private:
  geometry::PhotoPolyline corners_;
  std::vector<geometry::PhotoVector> normals_;
  /// One row for each corner, one column for each coefficient [px].
  Eigen::MatrixXd modes_;
};

/// Maps a view's points to the plane: the nominal one, and one for each trial.
class Draws {
 public:
  Draws(const ViewPoints& points,
        const geometry::PlaneEstimate& plane,
        const MeasureOptions& options);

  const OnPlane& nominal() const { return nominal_; }
  const geometry::PlaneMap& nominal_map() const { return map_; }
  /// The nominal points if the scale were off by so many of its standard
  /// uncertainties.
  OnPlane WithPrint(double sigmas) const;
  /// The next trial's points. Valid until the next call.
  const OnPlane& Draw(geometry::Random& random);
  /// A seed that differs from photo to photo.
  std::uint64_t seed() const { return seed_; }
  /// Photo pixels to the millimetre amid the points.
  double px_per_mm() const { return px_per_mm_; }

 private:
  /// How far what is off the plane lies nearer the camera than it [mm].
  struct Depths {
    double heel = 0.0;
    double frog_sides = 0.0;
    double frog_apex = 0.0;
  };
  /// Two points whose errors are correlated.
  struct Together {
    PointId one;
    PointId other;
    geometry::PhotoVector axis;  ///< Of length 1.
    double along_axis;           ///< Coefficient of correlation.
    double across_axis;          ///< Likewise.
  };
  void Map(const geometry::PlaneMap& map,
           const Depths& depths,
           OnPlane& to) const;

  const ViewPoints& points_;
  geometry::PlaneMap map_;
  double print_sigma_ = 0.0;
  std::optional<geometry::PlaneSampler> sampler_;
  geometry::Random print_;  ///< Seeded by the option alone.
  std::uint64_t seed_ = 0;
  double px_per_mm_ = 1.0;
  Depths depths_;
  double heel_sigma_ = 0.0;
  double frog_sigma_ = 0.0;
  double departs_sigma_ = 0.0;
  std::vector<Together> together_;
  std::optional<CurveNoise> outline_noise_;
  /// How much each corner of the outline goes with the left and with the right
  /// heel, 0 to 1; empty: with none.
  std::vector<std::array<double, 2>> with_heels_;
  std::optional<CurveNoise> wall_noise_;
  // The photo points of the trial in hand.
  std::array<std::optional<geometry::PhotoPoint>, geometry::kPointCount> px_;
  geometry::PhotoPolyline outline_px_;
  geometry::PhotoPolyline wall_px_;
  OnPlane nominal_;
  OnPlane drawn_;
};

}  // namespace plumbfoot::measure
