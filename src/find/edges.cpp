// SPDX-License-Identifier: Apache-2.0
#include "find/edges.h"

#include <Eigen/SparseCholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <vector>

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PhotoVector;

// Along the normal [px]. CHOSEN: half a pixel holds all that bilinear sampling
// can tell.
constexpr double kStepPx = 0.5;
// Sigma of the Gaussian under which the change is looked at [px]. CHOSEN: about
// the blur of a sharp phone photo; a wider one would mix neighbouring edges.
constexpr double kAcrossPx = 1.2;
// CHOSEN: nodes further apart than this would leave parts of the edge unused.
constexpr double kNodePx = 1.5;
constexpr int kMostNodes = 1600;

/// Linear light of an sRGB byte (IEC 61966-2-1:1999, 5.2).
const std::array<float, 256>& LinearLight() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> t{};
    for (std::size_t i = 0; i < t.size(); ++i) {
      const double v = static_cast<double>(i) / 255.0;
      t[i] = static_cast<float>(
          v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    return t;
  }();
  return table;
}

cv::Vec3f Sample(const cv::Mat& rgb, PhotoPoint p) {
  // The photo's (0, 0) is a pixel's corner, its centre is (0.5, 0.5).
  const double x = std::clamp(p.x - 0.5, 0.0, rgb.cols - 1.0);
  const double y = std::clamp(p.y - 0.5, 0.0, rgb.rows - 1.0);
  const int x0 = std::min(static_cast<int>(x), std::max(0, rgb.cols - 2));
  const int y0 = std::min(static_cast<int>(y), std::max(0, rgb.rows - 2));
  const int x1 = std::min(x0 + 1, rgb.cols - 1);
  const int y1 = std::min(y0 + 1, rgb.rows - 1);
  const auto fx = static_cast<float>(x - x0);
  const auto fy = static_cast<float>(y - y0);
  const auto& light = LinearLight();
  const cv::Vec3b a = rgb.at<cv::Vec3b>(y0, x0);
  const cv::Vec3b b = rgb.at<cv::Vec3b>(y0, x1);
  const cv::Vec3b c = rgb.at<cv::Vec3b>(y1, x0);
  const cv::Vec3b d = rgb.at<cv::Vec3b>(y1, x1);
  cv::Vec3f out;
  for (int k = 0; k < 3; ++k) {
    out[k] = (1 - fy) * ((1 - fx) * light[a[k]] + fx * light[b[k]]) +
             fy * ((1 - fx) * light[c[k]] + fx * light[d[k]]);
  }
  return out;
}

/// Places at equal steps along a curve, with the unit normal (to the left of
/// the way in a frame whose y runs down).
struct Nodes {
  std::vector<PhotoPoint> at;
  std::vector<PhotoVector> normal;
  double step_px = 0.0;
};

Nodes PlaceNodes(PhotoPolyline curve, bool closed) {
  if (closed) curve.push_back(curve.front());
  std::vector<double> way{0.0};
  for (std::size_t i = 1; i < curve.size(); ++i) {
    way.push_back(way.back() + Distance(curve[i - 1], curve[i]));
  }
  const double length = way.back();
  const int count =
      std::clamp(static_cast<int>(length / kNodePx), 8, kMostNodes);
  Nodes nodes;
  nodes.step_px = length / (closed ? count : count - 1);
  std::size_t k = 0;
  for (int i = 0; i < count; ++i) {
    const double s = std::min(length, i * nodes.step_px);
    while (k + 2 < way.size() && way[k + 1] < s) ++k;
    const double span = way[k + 1] - way[k];
    const double t = span > 0 ? (s - way[k]) / span : 0.0;
    nodes.at.push_back(curve[k] + t * (curve[k + 1] - curve[k]));
  }
  // The normal of the curve's general course: over some nodes, so that the
  // corners of a coarse curve do not splay the profiles.
  const int reach = std::max(2, static_cast<int>(6.0 / nodes.step_px));
  for (int i = 0; i < count; ++i) {
    const int back =
        closed ? (i - reach + count) % count : std::max(0, i - reach);
    const int ahead =
        closed ? (i + reach) % count : std::min(count - 1, i + reach);
    const PhotoVector along = nodes.at[static_cast<std::size_t>(ahead)] -
                              nodes.at[static_cast<std::size_t>(back)];
    const double n = Norm(along);
    nodes.normal.push_back(n > 1e-9 ? Perpendicular(along) / n
                                    : PhotoVector{0, 1});
  }
  return nodes;
}

/// Dynamic programming: the row that gains most, one column a node.
std::vector<int> BestPath(const cv::Mat& gain, double bend, bool closed) {
  const int n = gain.rows;
  const int m = gain.cols;
  constexpr int kJump = 4;  // Columns from node to node.
  const auto run = [&](int rounds) {
    const int total = n * rounds;
    std::vector<float> score(static_cast<std::size_t>(m));
    std::vector<float> next(score.size());
    cv::Mat from(total, m, CV_8S);
    for (int i = 0; i < total; ++i) {
      const auto* g = gain.ptr<float>(i % n);
      for (int j = 0; j < m; ++j) {
        float best = -std::numeric_limits<float>::infinity();
        int step = 0;
        for (int d = -kJump; d <= kJump; ++d) {
          const int q = j + d;
          if (q < 0 || q >= m) continue;
          const float s = score[static_cast<std::size_t>(q)] -
                          static_cast<float>(bend * d * d);
          if (s > best) {
            best = s;
            step = d;
          }
        }
        next[static_cast<std::size_t>(j)] = best + g[j];
        from.at<signed char>(i, j) = static_cast<signed char>(step);
      }
      std::swap(score, next);
    }
    std::vector<int> path(static_cast<std::size_t>(total));
    int j = static_cast<int>(std::max_element(score.begin(), score.end()) -
                             score.begin());
    for (int i = total - 1; i >= 0; --i) {
      path[static_cast<std::size_t>(i)] = j;
      j += from.at<signed char>(i, j);
    }
    return path;
  };
  if (!closed) return run(1);
  // Round the curve three times: the middle round has forgotten its ends.
  const std::vector<int> path = run(3);
  const auto round = static_cast<std::ptrdiff_t>(n);
  return {path.begin() + round, path.begin() + 2 * round};
}

/// Smoothing spline on equal steps (E. T. Whittaker, "On a new method of
/// graduation", Proc. Edinburgh Math. Soc. 41, 1923, with second differences).
std::vector<double> Smooth(const std::vector<double>& y,
                           const std::vector<double>& weight,
                           double length_nodes,
                           bool closed) {
  const auto n = static_cast<int>(y.size());
  // Second differences pass half of a wave whose length is 2 pi lambda^(1/4).
  const double lambda = std::pow(length_nodes, 4);
  std::vector<Eigen::Triplet<double>> entries;
  entries.reserve(10 * y.size());
  for (int i = 0; i < n; ++i) {
    entries.emplace_back(i, i, weight[static_cast<std::size_t>(i)] + 1e-9);
  }
  const std::array<double, 3> d = {1, -2, 1};
  for (int i = closed ? 0 : 1; i < (closed ? n : n - 1); ++i) {
    const std::array<int, 3> at = {(i - 1 + n) % n, i, (i + 1) % n};
    for (std::size_t a = 0; a < 3; ++a) {
      for (std::size_t b = 0; b < 3; ++b) {
        entries.emplace_back(at[a], at[b], lambda * d[a] * d[b]);
      }
    }
  }
  Eigen::SparseMatrix<double> matrix(n, n);
  matrix.setFromTriplets(entries.begin(), entries.end());
  Eigen::VectorXd right(n);
  for (int i = 0; i < n; ++i) {
    right(i) =
        weight[static_cast<std::size_t>(i)] * y[static_cast<std::size_t>(i)];
  }
  const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solver(matrix);
  const Eigen::VectorXd x = solver.solve(right);
  return {x.data(), x.data() + n};
}

double Median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle =
      values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

std::optional<EdgeCurve> FollowEdge(const cv::Mat& rgb,
                                    const PhotoPolyline& coarse,
                                    const EdgeOptions& options) {
  if (rgb.type() != CV_8UC3 || rgb.empty()) {
    throw std::invalid_argument("FollowEdge: rgb is not CV_8UC3");
  }
  if (coarse.size() < (options.closed ? 3U : 2U)) {
    throw std::invalid_argument("FollowEdge: too few corners");
  }
  const Nodes nodes = PlaceNodes(coarse, options.closed);
  if (!(nodes.step_px > 0)) return std::nullopt;
  const auto n = static_cast<int>(nodes.at.size());
  // Some columns more than the reach, for the Gaussian's sake.
  const int half =
      static_cast<int>(std::ceil((options.reach_px + 3 * kAcrossPx) / kStepPx));
  const int margin = static_cast<int>(std::ceil(3 * kAcrossPx / kStepPx));
  const int m = 2 * half + 1;
  cv::Mat strip(n, m, CV_32FC3);
  for (int i = 0; i < n; ++i) {
    auto* row = strip.ptr<cv::Vec3f>(i);
    const auto k = static_cast<std::size_t>(i);
    for (int j = 0; j < m; ++j) {
      row[j] =
          Sample(rgb, nodes.at[k] + ((j - half) * kStepPx) * nodes.normal[k]);
    }
  }
  // Along the edge some nodes are taken together: less noise, no bias, since
  // the strip already follows the curve.
  const double along = std::clamp(options.smooth_px / 8, 1.0, 4.0);
  cv::Mat wrapped = strip;
  const int wrap = options.closed ? std::min(n, 16) : 0;
  if (options.closed) {
    cv::vconcat(
        std::vector<cv::Mat>{
            strip.rowRange(n - wrap, n), strip, strip.rowRange(0, wrap)},
        wrapped);
  }
  cv::Mat soft;
  cv::GaussianBlur(wrapped,
                   soft,
                   {0, 0},
                   kAcrossPx / kStepPx,
                   along / nodes.step_px,
                   cv::BORDER_REPLICATE);
  soft = soft.rowRange(wrap, wrap + n);

  // Change across the edge [linear light / px].
  cv::Mat slope(n, m, CV_32FC3, cv::Scalar::all(0));
  cv::Mat strength(n, m, CV_32F, cv::Scalar(0));
  std::vector<double> all;
  for (int i = 0; i < n; ++i) {
    const auto* s = soft.ptr<cv::Vec3f>(i);
    auto* g = slope.ptr<cv::Vec3f>(i);
    auto* e = strength.ptr<float>(i);
    for (int j = 1; j + 1 < m; ++j) {
      g[j] = (s[j + 1] - s[j - 1]) * static_cast<float>(0.5 / kStepPx);
      e[j] = static_cast<float>(cv::norm(g[j]));
      if (j % 3 == 0) all.push_back(e[j]);
    }
  }
  const double noise = std::max(Median(all), 1e-5);

  // Strong edges gain more, but one that is very strong does not drown what
  // stands nearer: the gain saturates.
  cv::Mat gain(n, m, CV_32F, cv::Scalar(-1e3F));
  for (int i = 0; i < n; ++i) {
    double peak = 0.0;
    const auto* e = strength.ptr<float>(i);
    for (int j = margin; j < m - margin; ++j) {
      peak = std::max(peak, static_cast<double>(e[j]));
    }
    const double knee = std::max(peak / 2, 2 * noise);
    auto* row = gain.ptr<float>(i);
    for (int j = margin; j < m - margin; ++j) {
      const double away = (j - half) * kStepPx / options.coarse_sigma_px;
      row[j] = static_cast<float>(e[j] / (e[j] + knee) - 0.04 * away * away);
    }
  }
  const std::vector<int> path = BestPath(gain, 0.03, options.closed);

  std::vector<double> place(path.size());
  std::vector<double> weight(path.size());
  std::vector<double> width;
  int seen = 0;
  for (int i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    const auto* g = slope.ptr<cv::Vec3f>(i);
    const auto* e = strength.ptr<float>(i);
    int j = std::clamp(path[k], 2, m - 3);
    // Uphill to the top of this edge.
    for (int t = 0; t < 6 && j > 2 && j < m - 3; ++t) {
      if (e[j + 1] > e[j]) {
        ++j;
      } else if (e[j - 1] > e[j]) {
        --j;
      } else {
        break;
      }
    }
    // The change in the direction of this edge's own colours, so that a
    // neighbour of another colour does not pull.
    const cv::Vec3f d = g[j] * (1.0F / std::max(e[j], 1e-9F));
    const double a = g[j - 1].dot(d);
    const double b = g[j].dot(d);
    const double c = g[j + 1].dot(d);
    const double bend = a - 2 * b + c;
    double part = bend < -1e-12 ? 0.5 * (a - c) / bend : 0.0;
    part = std::clamp(part, -1.0, 1.0);
    place[k] = (j - half + part) * kStepPx;
    const bool at_rim = j <= margin || j >= m - 1 - margin;
    weight[k] = at_rim ? 0.0 : std::clamp((e[j] / noise - 1.5) / 3, 0.0, 1.0);
    if (weight[k] > 0.2) {
      ++seen;
      // A Gaussian's second difference at its top is -(step / sigma)^2.
      if (bend < 0) width.push_back(kStepPx * std::sqrt(-b / bend));
    }
  }
  EdgeCurve out;
  out.seen = static_cast<double>(seen) / n;
  if (out.seen < 0.5) return std::nullopt;

  const double length_nodes =
      std::max(1.0, options.smooth_px / nodes.step_px / 2);
  std::vector<double> smooth;
  std::vector<double> robust = weight;
  double scatter = 0.0;
  for (int round = 0; round < 5; ++round) {
    smooth = Smooth(place, robust, length_nodes, options.closed);
    std::vector<double> away;
    for (std::size_t i = 0; i < place.size(); ++i) {
      if (weight[i] > 0.2) away.push_back(std::abs(place[i] - smooth[i]));
    }
    scatter = std::max(1.4826 * Median(away), 0.02);
    // Tukey's biweight, 4.685 sigma.
    for (std::size_t i = 0; i < place.size(); ++i) {
      const double u = (place[i] - smooth[i]) / (4.685 * scatter);
      const double w = std::abs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0.0;
      robust[i] = weight[i] * w;
    }
  }
  const double seen_blur = Median(width);
  out.blur_px =
      std::sqrt(std::max(0.01, seen_blur * seen_blur - kAcrossPx * kAcrossPx));
  // CHOSEN: 0.02 px for what sampling on a grid leaves; a twentieth of the blur
  // because a real blur is not symmetric to better than that.
  out.sigma_px = std::hypot(scatter, std::max(0.02, 0.05 * out.blur_px));
  out.correlation_px = options.smooth_px;
  const std::size_t thin =
      std::max<std::size_t>(1, static_cast<std::size_t>(length_nodes / 3));
  for (std::size_t i = 0; i < place.size(); i += thin) {
    out.px.push_back(nodes.at[i] + smooth[i] * nodes.normal[i]);
  }
  if (!options.closed && (place.size() - 1) % thin != 0) {
    out.px.push_back(nodes.at.back() + smooth.back() * nodes.normal.back());
  }
  return out;
}

OnCurve NearestOn(const PhotoPolyline& curve, bool closed, PhotoPoint point) {
  if (curve.size() < 2) throw std::invalid_argument("NearestOn: no curve");
  OnCurve best;
  best.distance_px = std::numeric_limits<double>::infinity();
  double least = best.distance_px;  // Squared.
  const std::size_t pieces = closed ? curve.size() : curve.size() - 1;
  for (std::size_t i = 0; i < pieces; ++i) {
    const PhotoPoint a = curve[i];
    const PhotoVector along = curve[i + 1 < curve.size() ? i + 1 : 0] - a;
    const double length2 = Dot(along, along);
    if (!(length2 > 0)) continue;
    const double t = std::clamp(Dot(point - a, along) / length2, 0.0, 1.0);
    const PhotoPoint p = a + t * along;
    const double squared = Dot(p - point, p - point);
    if (squared < least) {
      least = squared;
      best = {p, along / std::sqrt(length2), std::sqrt(squared)};
    }
  }
  return best;
}

}  // namespace plumbfoot::find
