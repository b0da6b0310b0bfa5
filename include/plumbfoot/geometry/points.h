// SPDX-License-Identifier: Apache-2.0
/// @file
/// Points of the three frames of Plumbfoot. A point knows its frame by type:
/// a photo point can't be used where a card point is meant.
///
/// - photo frame [px]: origin at the outer corner of the top-left pixel, whose
///   centre is (0.5, 0.5); x right, y down; after the EXIF orientation.
/// - card frame [mm]: origin at the card's outer corner, x along arm A, y
///   along arm B, z out of the print.
/// - foot frame [mm], solar: origin midway between the heel buttresses, x
///   forward to the toe along the frog axis, y to the horse's left.
/// - foot frame [mm], lateral: origin at the toe's ground contact, x towards
///   the toe (so that the heel has negative x), y up.
///
/// Libraries that put (0, 0) at the centre of a pixel (OpenCV) are corrected
/// by half a pixel where they are called, and nowhere else.
#pragma once

#include <cmath>
#include <vector>

namespace plumbfoot::geometry {

struct PhotoFrame {};
struct CardFrame {};
struct FootFrame {};

/// A difference of two points of one frame, in the frame's unit.
template <typename Frame>
struct Vector {
  double x = 0.0;
  double y = 0.0;

  friend constexpr bool operator==(const Vector&, const Vector&) = default;
  friend constexpr Vector operator+(Vector a, Vector b) {
    return {a.x + b.x, a.y + b.y};
  }
  friend constexpr Vector operator-(Vector a, Vector b) {
    return {a.x - b.x, a.y - b.y};
  }
  friend constexpr Vector operator-(Vector a) { return {-a.x, -a.y}; }
  friend constexpr Vector operator*(double s, Vector a) {
    return {s * a.x, s * a.y};
  }
  friend constexpr Vector operator/(Vector a, double s) {
    return {a.x / s, a.y / s};
  }
};

/// A place in one frame, in the frame's unit.
template <typename Frame>
struct Point {
  double x = 0.0;
  double y = 0.0;

  friend constexpr bool operator==(const Point&, const Point&) = default;
  friend constexpr Vector<Frame> operator-(Point a, Point b) {
    return {a.x - b.x, a.y - b.y};
  }
  friend constexpr Point operator+(Point a, Vector<Frame> v) {
    return {a.x + v.x, a.y + v.y};
  }
  friend constexpr Point operator-(Point a, Vector<Frame> v) {
    return {a.x - v.x, a.y - v.y};
  }
};

using PhotoPoint = Point<PhotoFrame>;
using CardPoint = Point<CardFrame>;
using FootPoint = Point<FootFrame>;
using PhotoVector = Vector<PhotoFrame>;
using CardVector = Vector<CardFrame>;
using FootVector = Vector<FootFrame>;

/// The corners of a closed or open line, in order.
template <typename Frame>
using Polyline = std::vector<Point<Frame>>;
using PhotoPolyline = Polyline<PhotoFrame>;
using CardPolyline = Polyline<CardFrame>;
using FootPolyline = Polyline<FootFrame>;

template <typename Frame>
constexpr double Dot(Vector<Frame> a, Vector<Frame> b) {
  return a.x * b.x + a.y * b.y;
}

/// z of the cross product: above zero when b lies anticlockwise of a in a
/// frame whose y runs up, clockwise where y runs down.
template <typename Frame>
constexpr double Cross(Vector<Frame> a, Vector<Frame> b) {
  return a.x * b.y - a.y * b.x;
}

template <typename Frame>
double Norm(Vector<Frame> v) {
  return std::hypot(v.x, v.y);
}

template <typename Frame>
double Distance(Point<Frame> a, Point<Frame> b) {
  return Norm(a - b);
}

template <typename Frame>
constexpr Point<Frame> Midpoint(Point<Frame> a, Point<Frame> b) {
  return {(a.x + b.x) / 2, (a.y + b.y) / 2};
}

/// A turned by +90 degrees (x axis onto y axis).
template <typename Frame>
constexpr Vector<Frame> Perpendicular(Vector<Frame> a) {
  return {-a.y, a.x};
}

/// How sure a point is: the covariance of its two coordinates, in the square
/// of the frame's unit. Need not be round: a point on an edge slides along it.
template <typename Frame>
struct Covariance {
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;

  /// The same standard uncertainty in every direction.
  static constexpr Covariance Round(double sigma) {
    return {sigma * sigma, 0.0, sigma * sigma};
  }
  /// Standard uncertainty `along` the direction and `across` it.
  static Covariance Along(Vector<Frame> direction,
                          double along,
                          double across) {
    const double n = Norm(direction);
    const double c = direction.x / n;
    const double s = direction.y / n;
    const double a = along * along;
    const double b = across * across;
    return {a * c * c + b * s * s, (a - b) * c * s, a * s * s + b * c * c};
  }
};

using PhotoCovariance = Covariance<PhotoFrame>;
using CardCovariance = Covariance<CardFrame>;

}  // namespace plumbfoot::geometry
