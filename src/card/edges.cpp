// SPDX-License-Identifier: Apache-2.0
#include "card/edges.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <stdexcept>
#include <vector>

#include "plumbfoot/card/layout.h"

namespace plumbfoot::card {
namespace {

using geometry::PhotoPoint;
using geometry::PhotoVector;

// CHOSEN: the part of an edge that is used; its ends are rounded by blur and
// by the printer.
constexpr double kUsedFrom = 0.11;
constexpr double kUsedTo = 0.89;
// CHOSEN: how far from the edge pixels are looked at, in cells (the frame and
// the white rim are one cell wide) and in sigmas of the blur.
constexpr double kReachInside = 0.8;
constexpr double kReachOutside = 0.7;
constexpr double kReachSigmas = 3.0;
// CHOSEN: what is left of an edge's place when noise is averaged away: sensor
// grid, demosaicing, the photo's tone curve. Measured on painted edges without
// noise: 0.003 px, and three times that where the photo is so sharp that a
// pixel holds the whole edge [px].
constexpr double kFloorPx = 0.004;
constexpr double kFloorSharpPx = 0.012;
// CHOSEN: beyond a blur of this part of a cell the edges next to it take part
// in what a pixel sees, and the place is doubtful by half of the excess.
constexpr double kMuddyFrom = 0.4;
constexpr double kMuddyPart = 0.5;
// CHOSEN: a step of a fit that is smaller ends it; the next one would be some
// thirty times smaller [px].
constexpr double kSettledPx = 2e-4;
// CHOSEN: below this contrast (linear light) an edge is not an edge.
constexpr double kLeastContrast = 0.01;

/// The normal distribution's density and integral from a table: they are needed
/// some million times a photo.
class NormalTable {
 public:
  struct Entry {
    double cdf;
    double pdf;
  };
  NormalTable() {
    for (std::size_t i = 0; i < kSize; ++i) {
      const double z = -kEnd + static_cast<double>(i) / kPerUnit;
      entries_[i] = {0.5 * std::erfc(-z / std::numbers::sqrt2),
                     std::exp(-z * z / 2) / std::sqrt(2 * std::numbers::pi)};
    }
  }
  Entry At(double z) const {
    // Beyond the ends the table's last entries: 1e-9.
    const double at = std::clamp((z + kEnd) * kPerUnit, 0.0, kLast);
    const auto i = static_cast<std::size_t>(at);
    const double part = at - static_cast<double>(i);
    const Entry& a = entries_[i];
    const Entry& b = entries_[i + 1];
    return {a.cdf + part * (b.cdf - a.cdf), a.pdf + part * (b.pdf - a.pdf)};
  }

 private:
  static constexpr double kEnd = 6.0;
  static constexpr double kPerUnit = 512.0;
  static constexpr std::size_t kSize = 2 * 6 * 512 + 2;
  static constexpr double kLast = static_cast<double>(kSize - 2);

  std::array<Entry, kSize> entries_{};
};

const NormalTable& Normal() {
  static const NormalTable table;
  return table;
}

/// A unit step at 0, blurred by a Gaussian and by a pixel of width 1, at x; and
/// its derivatives.
struct BlurredStep {
  double value;
  double by_x;
  double by_sigma;
};

inline BlurredStep StepAt(const NormalTable& n, double x, double sigma) {
  // The integral of Phi is R(z) = z Phi(z) + phi(z), and the step
  // sigma (R(a / sigma) - R(b / sigma)) with a, b = x +- 1/2. By sigma the
  // terms in Phi cancel.
  const double per_sigma = 1 / sigma;
  const double a = (x + 0.5) * per_sigma;
  const double b = (x - 0.5) * per_sigma;
  const NormalTable::Entry at_a = n.At(a);
  const NormalTable::Entry at_b = n.At(b);
  return {sigma * (a * at_a.cdf + at_a.pdf - b * at_b.cdf - at_b.pdf),
          at_a.cdf - at_b.cdf,
          at_a.pdf - at_b.pdf};
}

/// Grey in linear light [0..1] of 8-bit sRGB: IEC 61966-2-1.
class Linear {
 public:
  Linear() {
    for (std::size_t i = 0; i < 256; ++i) {
      const double v = static_cast<double>(i) / 255.0;
      curve_[i] = v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
    }
  }
  double Of(const cv::Vec3b& rgb) const {
    return 0.2126 * curve_[rgb[0]] + 0.7152 * curve_[rgb[1]] +
           0.0722 * curve_[rgb[2]];
  }

 private:
  std::array<double, 256> curve_{};
};

const Linear& ToLinear() {
  static const Linear linear;
  return linear;
}

/// The homography of (0,0) (8,0) (8,8) (0,8) to four points.
Eigen::Matrix3d FromCells(const std::array<PhotoPoint, 4>& to) {
  constexpr std::array<double, 4> kS = {0, 8, 8, 0};
  constexpr std::array<double, 4> kQ = {0, 0, 8, 8};
  Eigen::Matrix<double, 8, 8> a = Eigen::Matrix<double, 8, 8>::Zero();
  Eigen::Matrix<double, 8, 1> b;
  for (Eigen::Index i = 0; i < 4; ++i) {
    const auto k = static_cast<std::size_t>(i);
    a.row(2 * i) << kS[k], kQ[k], 1, 0, 0, 0, -kS[k] * to[k].x,
        -kQ[k] * to[k].x;
    a.row(2 * i + 1) << 0, 0, 0, kS[k], kQ[k], 1, -kS[k] * to[k].y,
        -kQ[k] * to[k].y;
    b(2 * i) = to[k].x;
    b(2 * i + 1) = to[k].y;
  }
  const Eigen::Matrix<double, 8, 1> h = a.partialPivLu().solve(b);
  Eigen::Matrix3d m;
  m << h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), 1;
  return m;
}

PhotoPoint Through(const Eigen::Matrix3d& h, double s, double q) {
  const Eigen::Vector3d p = h * Eigen::Vector3d(s, q, 1);
  return {p.x() / p.z(), p.y() / p.z()};
}

/// A pixel near an edge.
struct Sample {
  double outward = 0.0;  ///< Of the edge as it is known so far [px].
  double white = 0.0;    ///< How white the code is behind the frame [0..1].
  double frame = 0.0;    ///< Width of the frame here [px].
  double value = 0.0;    ///< Linear grey.
  bool clipped = false;  ///< The true value is this or more.
};

/// What one station or a whole edge is fitted with.
struct StepFit {
  double offset = 0.0;  ///< Edge outward of where it was thought to be [px].
  double black = 0.0;
  double contrast = 0.0;
  double sigma = 1.0;       ///< Of the Gaussian, without the pixel [px].
  double cost = 0.0;        ///< Sum of weighted squared residuals.
  double offset_var = 0.0;  ///< For residuals of unit variance [px^2].
  int count = 0;
  bool ok = false;
};

/// What a pixel sees of an edge of no black and a contrast of one; `by_x` is
/// against the pixel's place.
inline BlurredStep Shape(const NormalTable& n,
                         const Sample& s,
                         double offset,
                         double sigma) {
  const double x = s.outward - offset;
  BlurredStep f = StepAt(n, x, sigma);
  if (s.white > 0) {
    const BlurredStep code = StepAt(n, x + s.frame, sigma);
    f.value += s.white * (1 - code.value);
    f.by_x -= s.white * code.by_x;
    f.by_sigma -= s.white * code.by_sigma;
  }
  return f;
}

/// Photon noise grows with the light, and the sRGB curve spreads the grey
/// levels of bright pixels: either way the variance is about as the value.
/// The model's value and not the pixel's: weights that follow the noise bias
/// the fit.
double Weight(double model) {
  return 1.0 / (std::max(model, 0.0) + 0.03);
}

/// Best black and contrast for a given offset and sigma.
StepFit Levels(const std::vector<Sample>& samples,
               double offset,
               double sigma,
               std::size_t stride) {
  const NormalTable& table = Normal();
  StepFit fit;
  fit.offset = offset;
  fit.sigma = sigma;
  double n = 0;
  double f1 = 0;
  double f2 = 0;
  double v1 = 0;
  double fv = 0;
  double v2 = 0;
  for (std::size_t i = 0; i < samples.size(); i += stride) {
    const double f = Shape(table, samples[i], offset, sigma).value;
    const double v = samples[i].value;
    n += 1;
    f1 += f;
    f2 += f * f;
    v1 += v;
    fv += f * v;
    v2 += v * v;
  }
  const double det = n * f2 - f1 * f1;
  if (!(det > 1e-9 * n * n)) return fit;
  fit.contrast = (n * fv - f1 * v1) / det;
  fit.black = (v1 - fit.contrast * f1) / n;
  fit.cost = v2 - fit.black * v1 - fit.contrast * fv;
  fit.count = static_cast<int>(n);
  fit.ok = fit.contrast > 0;
  return fit;
}

/// Levenberg-Marquardt from `start`, over N parameters: offset, black, contrast
/// and, if there are four, sigma.
template <int N>
StepFit Refine(const std::vector<Sample>& samples, const StepFit& start) {
  static_assert(N == 3 || N == 4);
  using Square = Eigen::Matrix<double, N, N>;
  using Vector = Eigen::Matrix<double, N, 1>;
  const NormalTable& table = Normal();
  const double contrast_start = start.contrast;
  std::size_t clipped = 0;
  for (const Sample& s : samples) clipped += s.clipped ? 1 : 0;
  // Where white is clipped its level is not seen; it is then held near what
  // can be seen. CHOSEN: to 15 %, against pixel noise of 2 %.
  const double hold = clipped * 5 > samples.size()
                          ? std::pow(0.02 / (0.15 * contrast_start), 2)
                          : 0.0;

  // A step is judged by the weights that it was found with: by weights of its
  // own, a model that is too bright everywhere would look better than it is,
  // and at the end every step but the smallest would be refused. So the fit
  // ends where the sum of weight times residual times derivative is nothing
  // (quasi-likelihood: R. W. M. Wedderburn, Biometrika 61(3), 1974).
  std::vector<double> weights(samples.size(), 0.0);
  std::vector<double> next_weights(samples.size(), 0.0);
  struct Costs {
    double by_weights_before = 0.0;
    double by_own = 0.0;
  };
  // A copy of `at`: of a reference the compiler can't know that the weights
  // aren't written over it, and divides by the same sigma at each pixel.
  const auto evaluate =
      [&](const StepFit at, Square& normal, Vector& gradient) {
        normal.setZero();
        gradient.setZero();
        const double away = at.contrast - contrast_start;
        Costs cost{hold * away * away, hold * away * away};
        normal(2, 2) = hold;
        gradient(2) = -hold * away;
        for (std::size_t i = 0; i < samples.size(); ++i) {
          const Sample& s = samples[i];
          const BlurredStep f = Shape(table, s, at.offset, at.sigma);
          const double model = at.black + at.contrast * f.value;
          const double w = Weight(model);
          next_weights[i] = w;
          if (s.clipped && model >= s.value) continue;
          const double r = s.value - model;
          cost.by_weights_before += weights[i] * r * r;
          cost.by_own += w * r * r;
          Vector j;
          j(0) = -at.contrast * f.by_x;
          j(1) = 1.0;
          j(2) = f.value;
          if constexpr (N == 4) j(3) = at.contrast * f.by_sigma;
          const Vector wj = w * j;
          normal += wj * j.transpose();
          gradient += r * wj;
        }
        return cost;
      };

  StepFit best = start;
  best.ok = false;
  Square normal;
  Vector gradient;
  best.cost = evaluate(best, normal, gradient).by_own;
  weights.swap(next_weights);
  double damping = 1e-3;
  for (int i = 0; i < 20; ++i) {
    Square a = normal;
    a.diagonal() *= 1 + damping;
    a.diagonal().array() += 1e-12;
    const Vector step = a.ldlt().solve(gradient);
    StepFit next = best;
    next.offset += std::clamp(step(0), -2.0, 2.0);
    next.black += step(1);
    next.contrast += step(2);
    if constexpr (N == 4) {
      next.sigma = std::clamp(next.sigma + step(3), 0.1, 2 * next.sigma);
    }
    Square next_normal;
    Vector next_gradient;
    const Costs cost = evaluate(next, next_normal, next_gradient);
    const double moved =
        std::abs(next.offset - best.offset) + std::abs(next.sigma - best.sigma);
    if (!std::isfinite(cost.by_own) || cost.by_weights_before > best.cost) {
      // At the end the weights move the cost by more than the step does.
      if (moved < kSettledPx) break;
      damping *= 10;
      if (damping > 1e6) break;
      continue;
    }
    next.cost = cost.by_own;
    best = next;
    weights.swap(next_weights);
    normal = next_normal;
    gradient = next_gradient;
    damping = std::max(damping / 10, 1e-6);
    if (moved < kSettledPx) break;
  }
  const Square inverse = normal.inverse();
  best.offset_var = inverse(0, 0);
  best.count = static_cast<int>(samples.size());
  best.ok = std::isfinite(best.offset_var) && best.offset_var > 0 &&
            best.contrast > kLeastContrast;
  return best;
}

/// One edge of the tag as it is known so far.
class Edge {
 public:
  Edge(const std::array<PhotoPoint, 4>& corners,
       const std::vector<std::vector<bool>>& cells,
       std::size_t which)
      : from_(corners[which]),
        cell_from_photo_(Eigen::Matrix3d::Identity()),
        photo_from_cell_(FromCells({corners[which],
                                    corners[(which + 1) % 4],
                                    corners[(which + 2) % 4],
                                    corners[(which + 3) % 4]})) {
    const PhotoVector v = corners[(which + 1) % 4] - from_;
    length_ = Norm(v);
    along_ = v / length_;
    // The corners run round the tag so that this points out of it.
    out_ = Perpendicular(along_);
    cell_from_photo_ = photo_from_cell_.inverse();
    // The first row of the code behind this edge, from its start to its end;
    // cells has the rim as well.
    for (std::size_t k = 0; k < 8; ++k) {
      const bool black = which == 0   ? cells[7][1 + k]
                         : which == 1 ? cells[8 - k][7]
                         : which == 2 ? cells[2][8 - k]
                                      : cells[1 + k][2];
      white_[k] = black ? 0.0 : 1.0;
    }
    narrowest_ = std::min(FrameAt(1.0), FrameAt(7.0));
    // Long edges have more stations, and more pixels in each.
    stations_ = std::clamp(
        static_cast<int>(length_ * (kUsedTo - kUsedFrom) / 5), 6, 20);
  }

  double length() const { return length_; }
  double narrowest() const { return narrowest_; }
  int stations() const { return stations_; }
  PhotoVector along() const { return along_; }
  PhotoVector out() const { return out_; }
  PhotoPoint from() const { return from_; }
  /// Where station k lies along the edge [px].
  double StationAt(int k) const {
    return length_ *
           (kUsedFrom + (kUsedTo - kUsedFrom) * (k + 0.5) / stations_);
  }

  /// The pixels near the edge, by station: about `most` of them, spread evenly.
  /// `sigma` is the blur as far as it is known.
  std::vector<std::vector<Sample>> Collect(const cv::Mat& rgb,
                                           double sigma,
                                           int most) const {
    const double reach = kReachSigmas * sigma + 1.5;
    const double inside = std::min(kReachInside * narrowest_, reach);
    const double outside = std::min(kReachOutside * narrowest_, reach);
    std::vector<std::vector<Sample>> samples(
        static_cast<std::size_t>(stations_));

    // White cells of the code, blurred along the edge: per half cell step.
    std::array<double, 161> white{};
    const double sigma_cells = std::max(0.02, sigma / (length_ / 8));
    for (std::size_t i = 0; i < white.size(); ++i) {
      const double s = static_cast<double>(i) / 20;
      for (std::size_t k = 0; k < 8; ++k) {
        const double at = static_cast<double>(k);
        white[i] += white_[k] * (Normal().At((s - at) / sigma_cells).cdf -
                                 Normal().At((s - at - 1) / sigma_cells).cdf);
      }
    }

    const PhotoPoint a = from_ + kUsedFrom * length_ * along_;
    const PhotoPoint b = from_ + kUsedTo * length_ * along_;
    const std::array<PhotoPoint, 4> box = {a - inside * out_,
                                           a + outside * out_,
                                           b - inside * out_,
                                           b + outside * out_};
    double low = INFINITY;
    double high = -INFINITY;
    for (const PhotoPoint& p : box) {
      low = std::min(low, p.y);
      high = std::max(high, p.y);
    }
    const int top = std::max(0, static_cast<int>(std::floor(low)));
    const int bottom =
        std::min(rgb.rows - 1, static_cast<int>(std::floor(high)));
    const double area = (kUsedTo - kUsedFrom) * length_ * (inside + outside);
    const auto thin =
        static_cast<std::uint32_t>(std::max(1.0, std::ceil(area / most)));
    const Linear& linear = ToLinear();
    for (int row = top; row <= bottom; ++row) {
      // The span of x for which the pixel's centre lies in the box.
      double left = 0.5;
      double right = rgb.cols - 0.5;
      const double y = row + 0.5 - from_.y;
      const auto narrow = [&](double slope, double at, double lo, double hi) {
        // lo <= slope * x + at <= hi
        if (std::abs(slope) < 1e-12) {
          if (at < lo || at > hi) right = left - 1;
          return;
        }
        const double x0 = (lo - at) / slope;
        const double x1 = (hi - at) / slope;
        left = std::max(left, std::min(x0, x1));
        right = std::min(right, std::max(x0, x1));
      };
      narrow(along_.x,
             along_.y * y - along_.x * from_.x,
             kUsedFrom * length_,
             kUsedTo * length_ - 1e-9);
      narrow(out_.x, out_.y * y - out_.x * from_.x, -inside, outside);
      const auto* pixels = rgb.ptr<cv::Vec3b>(row);
      for (int col = static_cast<int>(std::ceil(left - 0.5));
           col + 0.5 <= right;
           ++col) {
        // A hash and not every n-th column: an upright edge must be seen at
        // all its phases against the pixels.
        if (thin > 1 && ((static_cast<std::uint32_t>(col) * 73856093U ^
                          static_cast<std::uint32_t>(row) * 19349663U) >>
                         7U) % thin !=
                            0) {
          continue;
        }
        const PhotoVector v{col + 0.5 - from_.x, y};
        const double t = Dot(v, along_);
        const auto station = static_cast<std::size_t>(
            std::clamp(static_cast<int>((t / length_ - kUsedFrom) /
                                        (kUsedTo - kUsedFrom) * stations_),
                       0,
                       stations_ - 1));
        const Eigen::Vector3d cell =
            cell_from_photo_ * Eigen::Vector3d(col + 0.5, row + 0.5, 1);
        const double s = std::clamp(cell.x() / cell.z(), 0.0, 8.0);
        Sample sample;
        sample.outward = Dot(v, out_);
        sample.white = white[static_cast<std::size_t>(std::lround(s * 20))];
        sample.frame =
            frame_at_start_ + (frame_at_end_ - frame_at_start_) * s / 8;
        const cv::Vec3b& rgb_here = pixels[col];
        sample.value = linear.Of(rgb_here);
        // CHOSEN: 254 and not 255, since JPEG ripples near white.
        sample.clipped =
            std::max({rgb_here[0], rgb_here[1], rgb_here[2]}) >= 254;
        samples[station].push_back(sample);
      }
    }
    return samples;
  }

 private:
  /// Width of the black frame at s cells along the edge [px].
  double FrameAt(double s) {
    const double at = -Dot(Through(photo_from_cell_, s, 1.0) - from_, out_);
    if (s < 4) {
      frame_at_start_ = at;
    } else {
      frame_at_end_ = at;
    }
    return at;
  }

  PhotoPoint from_;
  PhotoVector along_;
  PhotoVector out_;
  double length_ = 0.0;
  double narrowest_ = 0.0;
  double frame_at_start_ = 0.0;
  double frame_at_end_ = 0.0;
  int stations_ = 0;
  std::array<double, 8> white_{};
  Eigen::Matrix3d cell_from_photo_;
  Eigen::Matrix3d photo_from_cell_;
};

/// Offset and slope of a fitted edge against the edge as it was known.
struct EdgeLine {
  double offset = 0.0;      ///< At the middle of the used part [px].
  double slope = 0.0;       ///< Outward px per px along.
  double middle = 0.0;      ///< Where the middle is along the edge [px].
  double offset_var = 0.0;  ///< [px^2], for stations as sure as they say.
  double slope_var = 0.0;   ///< [1].
  double contrast = 0.0;
  double sigma = 0.0;  ///< [px]
  double cell = 0.0;   ///< [px]
  double chi2 = 0.0;   ///< Of the stations about the line.
  int dof = 0;
};

double Median(std::vector<double> values) {
  const auto middle =
      values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// The straight line through the stations' offsets; stations that lie far off
/// (dirt, a finger, a scratch) lose their weight.
std::optional<EdgeLine> LineThrough(const Edge& edge,
                                    const std::vector<StepFit>& fits,
                                    const std::vector<double>& at) {
  const std::size_t n = fits.size();
  // CHOSEN: half of the stations must have been seen.
  if (n < 4 || 2 * n < static_cast<std::size_t>(edge.stations())) {
    return std::nullopt;
  }
  EdgeLine line;
  std::vector<double> trust(n, 1.0);
  std::vector<double> residual(n, 0.0);
  Eigen::Matrix2d normal;
  for (int round = 0; round < 6; ++round) {
    double w0 = 0;
    double wt = 0;
    for (std::size_t k = 0; k < n; ++k) {
      w0 += trust[k] / fits[k].offset_var;
      wt += trust[k] / fits[k].offset_var * at[k];
    }
    line.middle = wt / w0;
    normal.setZero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    for (std::size_t k = 0; k < n; ++k) {
      const double w = trust[k] / fits[k].offset_var;
      const Eigen::Vector2d j(1, at[k] - line.middle);
      normal += w * j * j.transpose();
      right += w * fits[k].offset * j;
    }
    const Eigen::Vector2d x = normal.inverse() * right;
    line.offset = x(0);
    line.slope = x(1);
    std::vector<double> relative(n);
    for (std::size_t k = 0; k < n; ++k) {
      residual[k] =
          fits[k].offset - line.offset - line.slope * (at[k] - line.middle);
      relative[k] = std::abs(residual[k]) / std::sqrt(fits[k].offset_var);
    }
    // 1.4826: median of |z| to sigma of a normal distribution. At least 1:
    // stations never count as outliers within what their pixels explain.
    const double scale = std::max(1.0, 1.4826 * Median(relative));
    for (std::size_t k = 0; k < n; ++k) {
      const double z = relative[k] / scale;
      // CHOSEN: Huber at 2.5 sigma (a loss of 1 % on clean edges), nothing
      // beyond 6.
      trust[k] = z > 6 ? 0.0 : z > 2.5 ? 2.5 / z : 1.0;
    }
  }
  const auto kept = static_cast<std::size_t>(std::count_if(
      trust.begin(), trust.end(), [](double t) { return t > 0; }));
  if (kept < 4 || 2 * kept < static_cast<std::size_t>(edge.stations())) {
    return std::nullopt;
  }
  const Eigen::Matrix2d inverse = normal.inverse();
  line.offset_var = inverse(0, 0);
  line.slope_var = inverse(1, 1);
  double contrast = 0;
  for (std::size_t k = 0; k < n; ++k) {
    line.chi2 += trust[k] * residual[k] * residual[k] / fits[k].offset_var;
    contrast += fits[k].contrast;
  }
  line.contrast = contrast / static_cast<double>(n);
  line.dof = static_cast<int>(kept) - 2;
  return line;
}

/// Fits blur, levels and offset of a whole edge.
StepFit WholeEdge(const Edge& edge,
                  const std::vector<std::vector<Sample>>& stations,
                  const std::optional<double>& known_sigma) {
  std::vector<Sample> all;
  for (const auto& station : stations) {
    all.insert(all.end(), station.begin(), station.end());
  }
  if (all.size() < 40) return {};
  // CHOSEN: 100 pixels are plenty to find the start of the fit.
  const std::size_t stride = std::max<std::size_t>(1, all.size() / 100);
  StepFit best;
  if (known_sigma) {
    best = Levels(all, 0.0, *known_sigma, stride);
  } else {
    const double cell = edge.narrowest();
    for (const double sigma :
         {0.06 * cell, 0.12 * cell, 0.22 * cell, 0.35 * cell}) {
      for (double offset = -0.4; offset <= 0.41; offset += 0.1) {
        const StepFit fit =
            Levels(all, offset * cell, std::max(0.3, sigma), stride);
        if (fit.ok && (!best.ok || fit.cost < best.cost)) best = fit;
      }
    }
  }
  if (!best.ok) return {};
  // CHOSEN: 600 pixels say the blur to a hundredth of it.
  std::vector<Sample> some;
  const std::size_t thin = std::max<std::size_t>(1, all.size() / 600);
  for (std::size_t i = 0; i < all.size(); i += thin) some.push_back(all[i]);
  return Refine<4>(some, best);
}

/// One round on one edge, with about `most` pixels.
std::optional<EdgeLine> FitEdge(const cv::Mat& rgb,
                                const Edge& edge,
                                std::optional<double> known_sigma,
                                int most) {
  // Nothing known: look as far as one may.
  const double look = known_sigma.value_or(edge.narrowest());
  const auto stations = edge.Collect(rgb, look, most);
  const StepFit whole = WholeEdge(edge, stations, known_sigma);
  if (!whole.ok) return std::nullopt;

  std::vector<StepFit> fits;
  std::vector<double> at;
  double cost = 0;
  int dof = 0;
  for (std::size_t k = 0; k < stations.size(); ++k) {
    if (stations[k].size() < 8) continue;
    StepFit fit = Refine<3>(stations[k], whole);
    // CHOSEN: an offset beyond half a cell is another edge.
    if (!fit.ok || std::abs(fit.offset) > 0.5 * edge.narrowest()) continue;
    cost += fit.cost;
    dof += fit.count - 3;
    fits.push_back(fit);
    at.push_back(edge.StationAt(static_cast<int>(k)));
  }
  if (dof <= 0) return std::nullopt;
  // The pixels' scatter about their models, over the whole edge.
  // CHOSEN: at least that of a quarter grey level, for pictures without noise.
  const double variance = std::max(cost / dof, 1e-6);
  for (StepFit& fit : fits) fit.offset_var *= variance;
  auto line = LineThrough(edge, fits, at);
  if (line) {
    line->sigma = whole.sigma;
    line->cell = edge.narrowest();
  }
  return line;
}

/// Where two lines meet, each given by a point and a direction.
PhotoPoint Meet(PhotoPoint p, PhotoVector u, PhotoPoint q, PhotoVector v) {
  const double t = Cross(q - p, v) / Cross(u, v);
  return p + t * u;
}

bool IsConvex(const std::array<PhotoPoint, 4>& c) {
  for (std::size_t i = 0; i < 4; ++i) {
    const PhotoVector a = c[(i + 1) % 4] - c[i];
    const PhotoVector b = c[(i + 2) % 4] - c[(i + 1) % 4];
    // y runs down: anticlockwise to the eye is a negative cross product.
    if (!(Cross(a, b) < 0)) return false;
  }
  return true;
}

}  // namespace

std::optional<FittedTag> FitEdges(const cv::Mat& rgb, const RoughTag& rough) {
  if (rgb.type() != CV_8UC3) throw std::invalid_argument("FitEdges: not rgb");
  const auto cells = TagCells(rough.id);
  std::array<PhotoPoint, 4> corners = rough.corners;
  std::array<std::optional<double>, 4> sigma;
  std::array<EdgeLine, 4> lines;
  std::array<PhotoPoint, 4> froms;
  std::array<PhotoVector, 4> alongs;
  std::array<PhotoVector, 4> outs;

  const auto corners_of = [&](const std::array<EdgeLine, 4>& from_lines) {
    std::array<PhotoPoint, 4> points;
    std::array<PhotoVector, 4> directions;
    for (std::size_t e = 0; e < 4; ++e) {
      const EdgeLine& l = from_lines[e];
      points[e] = froms[e] + l.middle * alongs[e] + l.offset * outs[e];
      directions[e] = alongs[e] + l.slope * outs[e];
    }
    std::array<PhotoPoint, 4> meet;
    for (std::size_t c = 0; c < 4; ++c) {
      const std::size_t before = (c + 3) % 4;
      meet[c] =
          Meet(points[before], directions[before], points[c], directions[c]);
    }
    return meet;
  };

  // CHOSEN: four rounds; the first finds the blur, and the window and the code
  // cells follow the corners in the others. 800 pixels find the blur and the
  // window; with 1600 an edge of a photo with 1 % noise is right to some
  // thousandths of a pixel.
  for (int round = 0; round < 4; ++round) {
    if (!IsConvex(corners)) return std::nullopt;
    const int most = round < 2 ? 800 : 1600;
    for (std::size_t e = 0; e < 4; ++e) {
      const Edge edge(corners, cells, e);
      // CHOSEN: below 1.5 px a cell no edge can be told from the next.
      if (!(edge.narrowest() > 1.5)) return std::nullopt;
      froms[e] = edge.from();
      alongs[e] = edge.along();
      outs[e] = edge.out();
      const auto line = FitEdge(rgb, edge, sigma[e], most);
      if (!line) return std::nullopt;
      lines[e] = *line;
      sigma[e] = line->sigma;
    }
    const auto next = corners_of(lines);
    double moved = 0;
    for (std::size_t c = 0; c < 4; ++c) {
      moved = std::max(moved, Distance(next[c], corners[c]));
    }
    corners = next;
    if (round >= 2 && moved < 0.02) break;
  }

  FittedTag tag;
  tag.seen.id = rough.id;
  tag.seen.corners = corners;

  // The stations' scatter about their lines, over all four edges, widens what
  // the pixels say of themselves.
  double chi2 = 0;
  int dof = 0;
  double blur = 0;
  for (const EdgeLine& line : lines) {
    chi2 += line.chi2;
    dof += line.dof;
    tag.seen.contrast += line.contrast / 4;
    // With the pixel's own width: the variance of a box of 1 px is 1/12.
    blur += std::sqrt(line.sigma * line.sigma + 1.0 / 12) / 4;
  }
  tag.seen.blur_px = blur;
  const double widen = std::max(1.0, chi2 / std::max(1, dof));

  // Corners against the eight line parameters, by differences.
  Eigen::Matrix<double, 8, 8> jacobian;
  Eigen::Matrix<double, 8, 1> variance;
  for (std::size_t e = 0; e < 4; ++e) {
    const double s = lines[e].sigma;
    const double sharp = kFloorSharpPx * std::exp(-4 * s * s);
    const double muddy =
        kMuddyPart * std::max(0.0, s / lines[e].cell - kMuddyFrom) * s;
    const double floor = kFloorPx * kFloorPx + sharp * sharp + muddy * muddy;
    const double half = Distance(corners[e], corners[(e + 1) % 4]) / 2;
    const auto i = static_cast<Eigen::Index>(2 * e);
    variance(i) = widen * lines[e].offset_var + floor;
    variance(i + 1) = widen * lines[e].slope_var + floor / (half * half);
    for (int which = 0; which < 2; ++which) {
      const double step = which == 0 ? 1e-3 : 1e-3 / half;
      auto up = lines;
      auto down = lines;
      (which == 0 ? up[e].offset : up[e].slope) += step;
      (which == 0 ? down[e].offset : down[e].slope) -= step;
      const auto a = corners_of(up);
      const auto b = corners_of(down);
      for (std::size_t c = 0; c < 4; ++c) {
        const auto row = static_cast<Eigen::Index>(2 * c);
        jacobian(row, i + which) = (a[c].x - b[c].x) / (2 * step);
        jacobian(row + 1, i + which) = (a[c].y - b[c].y) / (2 * step);
      }
    }
  }
  tag.covariance = jacobian * variance.asDiagonal() * jacobian.transpose();
  for (std::size_t c = 0; c < 4; ++c) {
    const auto i = static_cast<Eigen::Index>(2 * c);
    tag.seen.covariance[c] = {tag.covariance(i, i),
                              tag.covariance(i, i + 1),
                              tag.covariance(i + 1, i + 1)};
  }
  return tag;
}

}  // namespace plumbfoot::card
