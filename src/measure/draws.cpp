// SPDX-License-Identifier: Apache-2.0
#include "measure/draws.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>

namespace plumbfoot::measure {
namespace {

using geometry::CardPoint;
using geometry::Ends;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;
using geometry::PlacedCurve;
using geometry::PlaneMap;
using geometry::Random;

// CHOSEN: chords of 3 mm on an outline of 430 mm lose 0.03 % of its area, and
// of 1.3 mm on a wall of 85 mm nothing.
constexpr std::size_t kOutlineCorners = 144;
constexpr std::size_t kWallCorners = 64;

// CHOSEN: usual lengths, to guess at millimetres where there are none.
constexpr double kUsualSupportMm = 120.0;
constexpr double kUsualFrogMm = 80.0;
// How far a side's widest place is from where a smooth outline has it, standard
// uncertainty, as a share of the length. CHOSEN: a wave of 0.12 mm, 25 mm long
// (a rasp's work), has a slope of 0.021 (root mean square) and moves the widest
// place of a side that is round with a radius of 65 mm by 1.4 mm.
constexpr double kWidestSigma = 0.011;

// What a finder's wall may miss of a flare or dish, where the edge goes on
// another way: at any confidence, and more the less of it there is, standard
// uncertainty [mm]. CHOSEN: with these the intervals of 259 walls on rendered
// photos held their departure 96 times in 100; without, 87.
constexpr double kFlareSigma = 0.4;
constexpr double kUnsureFlareSigma = 2.0;

// How much a finder's errors at both heels of a sole, or at two points of one
// heel, go together: what misleads it at one often does at the other.
// Coefficients of correlation. CHOSEN: on 127 rendered bare soles both of whose
// heels were unsure, inwards 0.39 and along the sole 0.50; on 184 rendered
// sides, across the heel's wall 0.4 to 0.8 from one seed to the next, along it
// next to nothing.
constexpr double kHeelsTogether = 0.45;
constexpr double kHeelWallTogether = 0.5;

/// Evenly spaced corners; a curve set with few clicks gets its bends back.
PhotoPolyline Even(const PlacedCurve& curve, std::size_t count, Ends ends) {
  const std::size_t least = ends == Ends::kClosed ? 3 : 2;
  if (curve.px.size() < least || !(geometry::Length(curve.px, ends) > 0)) {
    return {};
  }
  if (2 * curve.px.size() >= count) {
    return geometry::Resample(curve.px, count, ends);
  }
  return geometry::Resample(geometry::Rounded(curve.px, 8, ends), count, ends);
}

/// Steele, Lea and Flood's SplitMix64 step (OOPSLA 2014): spreads a change of
/// any bit over all.
std::uint64_t Mixed(std::uint64_t seed, double with) {
  std::uint64_t z =
      seed + 0x9e3779b97f4a7c15U + std::bit_cast<std::uint64_t>(with);
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
  return z ^ (z >> 31U);
}

std::uint64_t OwnSeed(std::uint64_t seed, const ViewPoints& points) {
  std::uint64_t own = Mixed(seed, points.view == View::kSolar ? 1.0 : 2.0);
  const auto mix = [&own](PhotoPoint p) { own = Mixed(Mixed(own, p.x), p.y); };
  for (const auto& point : points.points) {
    if (point) mix(point->px);
  }
  for (const auto* curve : {&points.outline, &points.dorsal_wall}) {
    if (!*curve) continue;
    for (const PhotoPoint& p : (*curve)->px) mix(p);
  }
  return own;
}

/// How much each corner of a closed outline that ends at the heels moves with
/// them: the straight line between them, which closes it, altogether; the walls
/// less and less over `falloff`.
/// @param outline Evenly spaced [px].
std::vector<std::array<double, 2>> WithHeels(const PhotoPolyline& outline,
                                             PhotoPoint left,
                                             PhotoPoint right,
                                             double falloff) {
  const std::size_t n = outline.size();
  const auto nearest = [&](PhotoPoint p) {
    const auto at = std::min_element(
        outline.begin(), outline.end(), [&](PhotoPoint a, PhotoPoint b) {
          return geometry::Distance(a, p) < geometry::Distance(b, p);
        });
    return static_cast<std::size_t>(at - outline.begin());
  };
  const double spacing = geometry::Length(outline, Ends::kClosed) /
                         static_cast<double>(outline.size());
  // So that the way from `first` on to `last` is the short one.
  std::size_t first = nearest(left);
  std::size_t last = nearest(right);
  const auto steps = [n](std::size_t from, std::size_t to) {
    return (to + n - from) % n;
  };
  const bool turned = steps(first, last) > steps(last, first);
  if (turned) std::swap(first, last);
  const std::size_t between = steps(first, last);
  std::vector<std::array<double, 2>> with(n);
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t on = steps(first, i);
    double of_first = 0.0;
    double of_last = 0.0;
    if (on <= between) {
      of_last = between == 0
                    ? 1.0
                    : static_cast<double>(on) / static_cast<double>(between);
      of_first = 1.0 - of_last;
    } else {
      const auto left_over = [&](std::size_t away) {
        return std::max(0.0,
                        1.0 - static_cast<double>(away) * spacing / falloff);
      };
      of_last = left_over(on - between);
      of_first = left_over(n - on);
    }
    with[i] = {turned ? of_last : of_first, turned ? of_first : of_last};
  }
  return with;
}

/// The point's place for two independent standard normal numbers.
/// @param axis The first one's displacement lies along it, at least.
PhotoPoint Noisy(const geometry::PlacedPoint& point,
                 PhotoVector axis,
                 double u,
                 double v) {
  const auto& c = point.covariance;
  const PhotoVector other = geometry::Perpendicular(axis);
  const auto covariance = [&c](PhotoVector p, PhotoVector q) {
    return c.xx * p.x * q.x + c.xy * (p.x * q.y + p.y * q.x) + c.yy * p.y * q.y;
  };
  // Cholesky's factor by hand; a covariance may be flat.
  const double a = std::sqrt(std::max(0.0, covariance(axis, axis)));
  const double b = a > 0 ? covariance(axis, other) / a : 0.0;
  const double d = std::sqrt(std::max(0.0, covariance(other, other) - b * b));
  return point.px + (a * u) * axis + (b * u + d * v) * other;
}

PhotoPoint Noisy(const geometry::PlacedPoint& point, Random& random) {
  const double u = random.Normal();
  const double v = random.Normal();
  return Noisy(point, {1.0, 0.0}, u, v);
}

/// Middle of everything that lies on the plane.
CardPoint PivotOf(const OnPlane& plane) {
  CardPoint sum;
  double n = 0.0;
  const auto add = [&](CardPoint p) {
    sum = {sum.x + p.x, sum.y + p.y};
    n += 1;
  };
  if (!plane.outline.empty()) {
    for (const CardPoint& p : plane.outline) add(p);
  } else {
    for (const auto& p : plane.points) {
      if (p) add(*p);
    }
    for (const CardPoint& p : plane.dorsal_wall) add(p);
  }
  return n > 0 ? CardPoint{sum.x / n, sum.y / n} : CardPoint{};
}

}  // namespace

CurveNoise::CurveNoise(const PhotoPolyline& corners,
                       Ends ends,
                       double sigma,
                       double correlation)
    : corners_(corners), normals_(geometry::Normals(corners, ends)) {
  const std::size_t n = corners.size();
  const double length = geometry::Length(corners, ends);
  const bool closed = ends == Ends::kClosed;
  const double spacing = length / static_cast<double>(closed ? n : n - 1);
  // A series repeats itself: an open curve gets a gap after which its end no
  // longer knows of its beginning.
  const double period = closed ? length : length + 4 * correlation;
  const double wave = 2 * std::numbers::pi / period;
  // Variances of the modes: the process' spectrum exp(-(k c)^2 / 2).
  std::vector<double> variances;
  double sum = 0.0;
  for (std::size_t m = 0; m <= n / 2; ++m) {
    const double kc = wave * static_cast<double>(m) * correlation;
    if (kc > 3.5) break;  // what is left out is below 0.1 % of the variance
    variances.push_back((m == 0 ? 1.0 : 2.0) * std::exp(-kc * kc / 2));
    sum += variances.back();
  }
  const std::size_t modes = variances.size();
  modes_.resize(static_cast<Eigen::Index>(n),
                static_cast<Eigen::Index>(2 * modes - 1));
  for (std::size_t i = 0; i < n; ++i) {
    const auto row = static_cast<Eigen::Index>(i);
    const double at = wave * spacing * static_cast<double>(i);
    for (std::size_t m = 0; m < modes; ++m) {
      const double size = sigma * std::sqrt(variances[m] / sum);
      const double phase = at * static_cast<double>(m);
      const auto column = static_cast<Eigen::Index>(2 * m);
      modes_(row, column) = size * std::cos(phase);
      if (m > 0) modes_(row, column - 1) = size * std::sin(phase);
    }
  }
}

void CurveNoise::Draw(Random& random, PhotoPolyline& displaced) const {
  Eigen::VectorXd z(modes_.cols());
  for (double& coefficient : z) coefficient = random.Normal();
  const Eigen::VectorXd by = modes_ * z;
  displaced.resize(corners_.size());
  for (std::size_t i = 0; i < corners_.size(); ++i) {
    displaced[i] = corners_[i] + by(static_cast<Eigen::Index>(i)) * normals_[i];
  }
}

Draws::Draws(const ViewPoints& points,
             const geometry::PlaneEstimate& plane,
             const MeasureOptions& options)
    : points_(points),
      map_(geometry::NominalMap(plane)),
      print_sigma_(plane.doubt.print_sigma),
      print_(options.seed),
      seed_(OwnSeed(options.seed, points)) {
  for (std::size_t i = 0; i < points.points.size(); ++i) {
    if (points.points[i]) px_[i] = points.points[i]->px;
  }
  if (points.outline) {
    outline_px_ = Even(*points.outline, kOutlineCorners, Ends::kClosed);
  }
  if (points.dorsal_wall) {
    wall_px_ = Even(*points.dorsal_wall, kWallCorners, Ends::kOpen);
  }
  if (!outline_px_.empty()) {
    outline_noise_.emplace(outline_px_,
                           Ends::kClosed,
                           points.outline->sigma_px,
                           points.outline->correlation_px);
  }
  // An outline that the finder followed ends at its heels; a person draws it
  // by itself.
  const auto& heel_left = points.at(PointId::kHeelLeft);
  const auto& heel_right = points.at(PointId::kHeelRight);
  if (!outline_px_.empty() && heel_left && heel_right &&
      points.outline->placed_by == geometry::PlacedBy::kFinder) {
    with_heels_ = WithHeels(outline_px_,
                            heel_left->px,
                            heel_right->px,
                            2 * points.outline->correlation_px);
  }
  const auto together = [&](PointId one,
                            PointId other,
                            bool along_line,
                            double along_axis,
                            double across_axis) {
    const auto& a = points.at(one);
    const auto& b = points.at(other);
    if (!a || !b || a->placed_by != geometry::PlacedBy::kFinder ||
        b->placed_by != geometry::PlacedBy::kFinder) {
      return;
    }
    const PhotoVector line = b->px - a->px;
    const double length = Norm(line);
    if (!(length > 0)) return;
    const PhotoVector axis = along_line ? line : geometry::Perpendicular(line);
    together_.push_back({one, other, axis / length, along_axis, across_axis});
  };
  // The other heel's inwards is the other way.
  together(PointId::kHeelLeft,
           PointId::kHeelRight,
           true,
           -kHeelsTogether,
           kHeelsTogether);
  together(PointId::kHeelGround,
           PointId::kHeelHairline,
           false,
           kHeelWallTogether,
           0.0);
  if (!wall_px_.empty()) {
    wall_noise_.emplace(wall_px_,
                        Ends::kOpen,
                        points.dorsal_wall->sigma_px,
                        points.dorsal_wall->correlation_px);
  }
  const bool has_scale = plane.scale != geometry::ScaleSource::kNone;
  // Without scale a depth is in proportion to a length of the foot.
  const auto unit = [&](PointId from, PointId to, double usual_mm) {
    if (has_scale) return 1.0;
    if (!points.at(from) || !points.at(to)) return 0.0;
    const auto a = map_.Apply(points.at(from)->px);
    const auto b = map_.Apply(points.at(to)->px);
    return a && b ? geometry::Distance(*a, *b) / usual_mm : 0.0;
  };
  if (points.heel_plane == geometry::HeelPlane::kNear) {
    const double mm =
        unit(PointId::kToeGround, PointId::kHeelGround, kUsualSupportMm);
    depths_.heel = mm * options.half_heel_width_mm;
    heel_sigma_ = mm * options.half_heel_width_sigma_mm;
  }
  if (points.dorsal_wall &&
      points.dorsal_wall->placed_by == geometry::PlacedBy::kFinder) {
    const double doubt =
        std::clamp(1.0 - points.dorsal_wall->confidence, 0.0, 1.0);
    departs_sigma_ =
        unit(PointId::kToeGround, PointId::kHeelGround, kUsualSupportMm) *
        std::hypot(kFlareSigma, kUnsureFlareSigma * std::sqrt(doubt));
  }
  const double mm = unit(PointId::kFrogApex, PointId::kFrogLeft, kUsualFrogMm);
  const double shoe = options.shod ? options.shoe_thickness_mm : 0.0;
  const double shoe_sigma =
      options.shod ? options.shoe_thickness_sigma_mm : 0.0;
  depths_.frog_sides = -mm * (options.frog_depth_mm + shoe);
  depths_.frog_apex = depths_.frog_sides;
  frog_sigma_ = mm * std::hypot(options.frog_depth_sigma_mm, shoe_sigma);

  Map(map_, depths_, nominal_);
  const CardPoint pivot = PivotOf(nominal_);
  sampler_.emplace(plane, pivot);
  px_per_mm_ = map_.PixelsPerMillimetre(pivot);
}

void Draws::Map(const PlaneMap& map, const Depths& depths, OnPlane& to) const {
  const auto nearer = [&](PointId id) {
    switch (id) {
      case PointId::kHeelGround:
      case PointId::kHeelHairline:
        return depths.heel;
      case PointId::kFrogLeft:
      case PointId::kFrogRight:
        return depths.frog_sides;
      case PointId::kFrogApex:
        return depths.frog_apex;
      default:
        return 0.0;
    }
  };
  for (std::size_t i = 0; i < px_.size(); ++i) {
    to.points[i].reset();
    if (px_[i]) {
      to.points[i] = map.ApplyNearer(*px_[i], nearer(static_cast<PointId>(i)));
    }
  }
  const auto map_line = [&map](const PhotoPolyline& from,
                               geometry::CardPolyline& line) {
    line.clear();
    for (const PhotoPoint& p : from) {
      const auto on_plane = map.Apply(p);
      // A curve with a hole is none.
      if (!on_plane) {
        line.clear();
        return;
      }
      line.push_back(*on_plane);
    }
  };
  map_line(outline_px_, to.outline);
  map_line(wall_px_, to.dorsal_wall);
}

OnPlane Draws::WithPrint(double sigmas) const {
  OnPlane plane;
  Map({map_.camera(), map_.camera_from_plane(), 1.0 + print_sigma_ * sigmas},
      depths_,
      plane);
  return plane;
}

const OnPlane& Draws::Draw(Random& random) {
  const PlaneMap map = sampler_->Draw(random, {print_.Normal()});
  for (std::size_t i = 0; i < px_.size(); ++i) {
    if (px_[i]) px_[i] = Noisy(*points_.points[i], random);
  }
  for (const Together& pair : together_) {
    const double u = random.Normal();
    const double v = random.Normal();
    const auto other = [&random](double z, double correlation) {
      return correlation * z +
             std::sqrt(1 - correlation * correlation) * random.Normal();
    };
    const double other_u = other(u, pair.along_axis);
    const double other_v = other(v, pair.across_axis);
    px_[static_cast<std::size_t>(pair.one)] =
        Noisy(*points_.at(pair.one), pair.axis, u, v);
    px_[static_cast<std::size_t>(pair.other)] =
        Noisy(*points_.at(pair.other), pair.axis, other_u, other_v);
  }
  if (outline_noise_) outline_noise_->Draw(random, outline_px_);
  if (!with_heels_.empty()) {
    const auto moved = [&](PointId id) {
      return *px_[static_cast<std::size_t>(id)] - points_.at(id)->px;
    };
    const PhotoVector left = moved(PointId::kHeelLeft);
    const PhotoVector right = moved(PointId::kHeelRight);
    for (std::size_t i = 0; i < outline_px_.size(); ++i) {
      outline_px_[i] =
          outline_px_[i] + with_heels_[i][0] * left + with_heels_[i][1] * right;
    }
  }
  if (wall_noise_) wall_noise_->Draw(random, wall_px_);
  Depths depths = depths_;
  depths.heel += heel_sigma_ * random.Normal();
  // Half of the variance is the whole frog's, half its point's or its base's.
  const double half = frog_sigma_ / std::numbers::sqrt2;
  const double whole_frog = half * random.Normal();
  depths.frog_sides += whole_frog + half * random.Normal();
  depths.frog_apex += whole_frog + half * random.Normal();
  Map(map, depths, drawn_);
  for (double& forward : drawn_.widest_forward) {
    forward = kWidestSigma * random.Normal();
  }
  if (departs_sigma_ > 0) {
    drawn_.departs_further = departs_sigma_ * random.Normal();
  }
  return drawn_;
}

}  // namespace plumbfoot::measure
