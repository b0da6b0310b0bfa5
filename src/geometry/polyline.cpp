// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/polyline.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

namespace plumbfoot::geometry {
namespace {

/// Distance along the line of every corner; closed: one more, the whole way
/// round.
template <typename Frame>
std::vector<double> ArcLengths(const Polyline<Frame>& line, Ends ends) {
  std::vector<double> lengths(1, 0.0);
  const std::size_t n = line.size();
  const std::size_t edges = ends == Ends::kClosed ? n : n - 1;
  lengths.reserve(edges + 1);
  for (std::size_t i = 0; i < edges; ++i) {
    lengths.push_back(lengths.back() + Distance(line[i], line[(i + 1) % n]));
  }
  return lengths;
}

}  // namespace

template <typename Frame>
double Length(const Polyline<Frame>& line, Ends ends) {
  if (line.size() < 2) return 0.0;
  return ArcLengths(line, ends).back();
}

template <typename Frame>
Polyline<Frame> Resample(const Polyline<Frame>& line,
                         std::size_t count,
                         Ends ends) {
  const bool closed = ends == Ends::kClosed;
  if (count < (closed ? 3U : 2U) || line.size() < 2) {
    throw std::invalid_argument("Resample: too few corners");
  }
  const std::vector<double> lengths = ArcLengths(line, ends);
  const double whole = lengths.back();
  if (!(whole > 0)) throw std::invalid_argument("Resample: no length");
  Polyline<Frame> even;
  even.reserve(count);
  const double step = whole / static_cast<double>(closed ? count : count - 1);
  std::size_t edge = 0;
  for (std::size_t i = 0; i < count; ++i) {
    const double at = std::min(whole, step * static_cast<double>(i));
    while (edge + 2 < lengths.size() && lengths[edge + 1] < at) ++edge;
    const double span = lengths[edge + 1] - lengths[edge];
    const double part = span > 0 ? (at - lengths[edge]) / span : 0.0;
    const Point<Frame>& a = line[edge];
    const Point<Frame>& b = line[(edge + 1) % line.size()];
    even.push_back(a + part * (b - a));
  }
  return even;
}

template <typename Frame>
Polyline<Frame> Rounded(const Polyline<Frame>& line, int pieces, Ends ends) {
  const std::size_t n = line.size();
  const bool closed = ends == Ends::kClosed;
  if (pieces < 1 || n < (closed ? 3U : 2U)) {
    throw std::invalid_argument("Rounded: too few corners or pieces");
  }
  const std::size_t edges = closed ? n : n - 1;
  Polyline<Frame> curve;
  curve.reserve(edges * static_cast<std::size_t>(pieces) + 1);
  for (std::size_t i = 0; i < edges; ++i) {
    const Point<Frame> b = line[i];
    const Point<Frame> c = line[(i + 1) % n];
    // At an open end the neighbour beyond is the mirror image of the one
    // before.
    const Point<Frame> a =
        closed ? line[(i + n - 1) % n] : (i > 0 ? line[i - 1] : b - (c - b));
    const Point<Frame> d =
        closed ? line[(i + 2) % n] : (i + 2 < n ? line[i + 2] : c + (c - b));
    const double ab = std::sqrt(Distance(a, b));
    const double bc = std::sqrt(Distance(b, c));
    const double cd = std::sqrt(Distance(c, d));
    curve.push_back(b);
    if (!(ab > 0 && bc > 0 && cd > 0)) continue;
    // Tangents at b and c, as long as the knots from b to c.
    const Vector<Frame> at_b =
        (bc / ab) * (b - a) - (bc / (ab + bc)) * (c - a) + (c - b);
    const Vector<Frame> at_c =
        (c - b) - (bc / (bc + cd)) * (d - b) + (bc / cd) * (d - c);
    for (int k = 1; k < pieces; ++k) {
      const double t = static_cast<double>(k) / pieces;
      const double h = t * t * (3 - 2 * t);
      curve.push_back(b + h * (c - b) + (t * (1 - t) * (1 - t)) * at_b -
                      (t * t * (1 - t)) * at_c);
    }
  }
  if (!closed) curve.push_back(line.back());
  return curve;
}

template <typename Frame>
std::vector<Vector<Frame>> Normals(const Polyline<Frame>& line, Ends ends) {
  const std::size_t n = line.size();
  if (n < 2) throw std::invalid_argument("Normals: fewer than two corners");
  std::vector<Vector<Frame>> normals;
  normals.reserve(n);
  for (std::size_t i = 0; i < n; ++i) {
    const bool closed = ends == Ends::kClosed;
    const std::size_t before = i > 0 ? i - 1 : (closed ? n - 1 : 0);
    const std::size_t after = i + 1 < n ? i + 1 : (closed ? 0 : n - 1);
    const Vector<Frame> chord = line[after] - line[before];
    const double length = Norm(chord);
    normals.push_back(length > 0 ? Perpendicular(chord) / length
                                 : Vector<Frame>{});
  }
  return normals;
}

template <typename Frame>
Polyline<Frame> Smooth(const Polyline<Frame>& line, double sigma, Ends ends) {
  const std::size_t n = line.size();
  if (!(sigma > 0) || n < 3) return line;
  const bool closed = ends == Ends::kClosed;
  const std::vector<double> lengths = ArcLengths(line, ends);
  const double whole = lengths.back();
  if (!(whole > 0)) return line;
  // The length of line that a corner stands for.
  std::vector<double> share(n);
  for (std::size_t i = 0; i < n; ++i) {
    const double before = i > 0 ? lengths[i] - lengths[i - 1]
                                : (closed ? whole - lengths[n - 1] : 0.0);
    const double after =
        i + 1 < lengths.size() ? lengths[i + 1] - lengths[i] : 0.0;
    share[i] = (before + after) / 2;
  }
  Polyline<Frame> smooth;
  smooth.reserve(n);
  for (std::size_t i = 0; i < n; ++i) {
    double reach = std::min(3 * sigma, whole / 2);
    if (!closed) {
      reach = std::min({reach, lengths[i], whole - lengths[i]});
    }
    Vector<Frame> shift;
    double weights = share[i];
    const auto add = [&](std::size_t j, double way) {
      const double part = way / sigma;
      const double weight = share[j] * std::exp(-part * part / 2);
      shift = shift + weight * (line[j] - line[i]);
      weights += weight;
    };
    for (std::size_t k = 1; k < n; ++k) {  // onwards
      if (!closed && i + k >= n) break;
      const std::size_t j = (i + k) % n;
      double way = lengths[j] - lengths[i];
      if (way < 0) way += whole;
      if (way > reach) break;
      add(j, way);
    }
    for (std::size_t k = 1; k < n; ++k) {  // backwards
      if (!closed && k > i) break;
      const std::size_t j = (i + n - k) % n;
      double way = lengths[i] - lengths[j];
      if (way < 0) way += whole;
      if (way > reach) break;
      add(j, way);
    }
    smooth.push_back(weights > 0 ? line[i] + shift / weights : line[i]);
  }
  return smooth;
}

// A type can't stand in parentheses.
// NOLINTBEGIN(bugprone-macro-parentheses)
#define PLUMBFOOT_POLYLINE(Frame)                                            \
  template double Length(const Polyline<Frame>&, Ends);                      \
  template Polyline<Frame> Resample(                                         \
      const Polyline<Frame>&, std::size_t, Ends);                            \
  template Polyline<Frame> Rounded(const Polyline<Frame>&, int, Ends);       \
  template std::vector<Vector<Frame>> Normals(const Polyline<Frame>&, Ends); \
  template Polyline<Frame> Smooth(const Polyline<Frame>&, double, Ends);
PLUMBFOOT_POLYLINE(PhotoFrame)
PLUMBFOOT_POLYLINE(CardFrame)
PLUMBFOOT_POLYLINE(FootFrame)
#undef PLUMBFOOT_POLYLINE
// NOLINTEND(bugprone-macro-parentheses)

}  // namespace plumbfoot::geometry
