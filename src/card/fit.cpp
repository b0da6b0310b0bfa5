// SPDX-License-Identifier: Apache-2.0
#include "card/fit.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <stdexcept>

namespace plumbfoot::card {
namespace {

using geometry::Camera;
using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneEstimate;
using geometry::Pose;

// The order of PlaneEstimate, and the print gain behind it.
constexpr int kFocal = 6;
constexpr int kPrincipal = 7;
constexpr int kK1 = 9;
constexpr int kGain = 10;
constexpr int kBend = 11;
constexpr int kUnknowns = PlaneEstimate::kParameters + 4;
constexpr int kPriors = 8;
// CHOSEN: ink grows and toner spreads by up to a quarter of a millimetre.
constexpr double kGainSigma = 0.25;

// CHOSEN: how far a card glued to a board leaves its plane at the tag that is
// farthest from the card's origin, for each of the three ways to bend [mm].
constexpr double kBendSigma = 0.3;
// CHOSEN: a bend of 2.5 sigma is one that somebody has made; it is then fitted
// with this much room, so that not the focal length has to bend instead [mm].
constexpr double kFreeBendFrom = 0.75;
constexpr double kFreeBendSigma = 3.0;

struct State {
  Camera camera;
  Pose pose;
  double gain = 0.0;
  Eigen::Vector3d bend = Eigen::Vector3d::Zero();  // Along x, y, and twist.
};

using Unknowns = Eigen::Matrix<double, kUnknowns, 1>;

State Moved(const State& state, const Unknowns& by) {
  State moved = state;
  moved.pose.rotation =
      geometry::RotationFromVector(by.head<3>()) * state.pose.rotation;
  moved.pose.translation += by.segment<3>(3);
  moved.camera.focal_px += by(kFocal);
  moved.camera.principal.x += by(kPrincipal);
  moved.camera.principal.y += by(kPrincipal + 1);
  moved.camera.lens.k1 += by(kK1);
  moved.gain += by(kGain);
  moved.bend += by.segment<3>(kBend);
  return moved;
}

const TagPlace& PlaceOf(const Layout& layout, int id) {
  for (const TagPlace& place : layout.tags) {
    if (place.id == id) return place;
  }
  throw std::invalid_argument("FitPlane: a tag that the layout lacks");
}

/// Bottom left, bottom right, top right, top left.
std::array<CardPoint, 4> CornersOf(const TagPlace& place, double gain) {
  const double h = place.side_mm / 2 + gain;
  const CardPoint c = place.centre;
  return {CardPoint{c.x - h, c.y - h},
          CardPoint{c.x + h, c.y - h},
          CardPoint{c.x + h, c.y + h},
          CardPoint{c.x - h, c.y + h}};
}

class Problem {
 public:
  Problem(const Layout& layout,
          const std::vector<FittedTag>& tags,
          const CameraBelief& belief,
          double bend_sigma)
      : belief_(belief) {
    for (const TagPlace& place : layout.tags) {
      reach_ = std::max(reach_, Distance(place.centre, CardPoint{0, 0}));
    }
    // A single tag is taken as flat.
    bend_sigma_ = layout.tags.size() > 1 ? bend_sigma : 1e-6;
    reach_ = std::max(reach_, layout.tags.front().side_mm);
    for (const FittedTag& tag : tags) {
      places_.push_back(PlaceOf(layout, tag.seen.id));
      Eigen::Matrix<double, 8, 1> seen;
      for (std::size_t c = 0; c < 4; ++c) {
        seen(static_cast<Eigen::Index>(2 * c)) = tag.seen.corners[c].x;
        seen(static_cast<Eigen::Index>(2 * c + 1)) = tag.seen.corners[c].y;
      }
      seen_.push_back(seen);
      const Eigen::LLT<CornerCovariance> factor(tag.covariance);
      if (factor.info() != Eigen::Success) {
        throw std::invalid_argument("FitPlane: a covariance that is none");
      }
      whiten_.emplace_back(factor.matrixL());
    }
  }

  int corner_residuals() const { return static_cast<int>(8 * seen_.size()); }

  /// Seen less predicted [px]; not finite if a corner is behind the camera.
  Eigen::VectorXd Differences(const State& state) const {
    Eigen::VectorXd r(corner_residuals());
    for (std::size_t i = 0; i < seen_.size(); ++i) {
      const auto corners = CornersOf(places_[i], state.gain);
      for (std::size_t c = 0; c < 4; ++c) {
        const Eigen::Vector3d at =
            state.pose.rotation * Eigen::Vector3d(corners[c].x,
                                                  corners[c].y,
                                                  Height(state, corners[c])) +
            state.pose.translation;
        const auto row = static_cast<Eigen::Index>(8 * i + 2 * c);
        if (!(at.z() > 1e-6)) {
          r.setConstant(std::nan(""));
          return r;
        }
        const PhotoPoint p = Project(state.camera, at);
        r(row) = seen_[i](row % 8) - p.x;
        r(row + 1) = seen_[i](row % 8 + 1) - p.y;
      }
    }
    return r;
  }

  /// The same in units of the corners' own uncertainty, times `1 / widen`, and
  /// rows for the priors.
  Eigen::VectorXd Residuals(const State& state, double widen) const {
    Eigen::VectorXd r(corner_residuals() + kPriors);
    r.head(corner_residuals()) = Differences(state);
    for (std::size_t i = 0; i < seen_.size(); ++i) {
      const auto at = static_cast<Eigen::Index>(8 * i);
      r.segment<8>(at) = whiten_[i].triangularView<Eigen::Lower>().solve(
                             Eigen::VectorXd(r.segment<8>(at))) /
                         widen;
    }
    const Camera& prior = belief_.camera;
    const Camera& now = state.camera;
    const auto p = static_cast<Eigen::Index>(corner_residuals());
    r(p) = (prior.focal_px - now.focal_px) / belief_.focal_sigma;
    r(p + 1) = (prior.principal.x - now.principal.x) / belief_.principal_sigma;
    r(p + 2) = (prior.principal.y - now.principal.y) / belief_.principal_sigma;
    r(p + 3) = (prior.lens.k1 - now.lens.k1) / belief_.k1_sigma;
    r(p + 4) = (0 - state.gain) / kGainSigma;
    r.segment<3>(p + 5) = -state.bend / bend_sigma_;
    return r;
  }

  /// Of -Residuals, by central differences.
  Eigen::MatrixXd Jacobian(const State& state, double widen) const {
    // Steps that move a corner by about a thousandth of a pixel.
    const double depth = state.pose.translation.norm();
    const double f = state.camera.focal_px;
    const double angle = 1e-3 / f;
    const double length = 1e-3 * depth / f;
    Unknowns step;
    step << angle, angle, angle, length, length, length, 1e-5 * f, 1e-2, 1e-2,
        1e-5, length, 1e-2, 1e-2, 1e-2;
    Eigen::MatrixXd j(corner_residuals() + kPriors, kUnknowns);
    for (int k = 0; k < kUnknowns; ++k) {
      Unknowns by = Unknowns::Zero();
      by(k) = step(k);
      j.col(k) = (Residuals(Moved(state, -by), widen) -
                  Residuals(Moved(state, by), widen)) /
                 (2 * step(k));
    }
    return j;
  }

 private:
  /// How far a bent card stands off its plane, out of the print [mm]: any
  /// parabola that is flat at the card's origin.
  double Height(const State& state, CardPoint at) const {
    const double x = at.x / reach_;
    const double y = at.y / reach_;
    return state.bend.x() * x * x + state.bend.y() * y * y +
           state.bend.z() * 2 * x * y;
  }

  CameraBelief belief_;
  double reach_ = 0.0;
  double bend_sigma_ = 0.0;
  std::vector<TagPlace> places_;
  std::vector<Eigen::Matrix<double, 8, 1>> seen_;
  std::vector<Eigen::MatrixXd> whiten_;
};

struct Minimum {
  State state;
  double cost = INFINITY;
};

/// Levenberg-Marquardt.
Minimum Minimise(const Problem& problem, const State& start, double widen) {
  Minimum best{start, problem.Residuals(start, widen).squaredNorm()};
  if (!std::isfinite(best.cost)) return {start, INFINITY};
  double damping = 1e-3;
  for (int round = 0; round < 60; ++round) {
    const Eigen::MatrixXd j = problem.Jacobian(best.state, widen);
    const Eigen::VectorXd r = problem.Residuals(best.state, widen);
    const Eigen::MatrixXd normal = j.transpose() * j;
    const Eigen::VectorXd right = j.transpose() * r;
    if (!normal.allFinite() || !right.allFinite()) break;
    bool better = false;
    double gained = 0;
    while (!better && damping < 1e10) {
      Eigen::MatrixXd a = normal;
      a.diagonal() *= 1 + damping;
      const Unknowns by = a.ldlt().solve(right);
      const State next = Moved(best.state, by);
      const double cost = next.camera.focal_px > 0
                              ? problem.Residuals(next, widen).squaredNorm()
                              : INFINITY;
      if (std::isfinite(cost) && cost <= best.cost) {
        gained = best.cost - cost;
        best = {next, cost};
        damping = std::max(damping / 10, 1e-9);
        better = true;
      } else {
        damping *= 10;
      }
    }
    if (!better || gained < 1e-9 * (1 + best.cost)) break;
  }
  return best;
}

/// Both poses that a plane may have for a camera as it is believed
/// (T. Collins, A. Bartoli, "Infinitesimal plane-based pose estimation", IJCV
/// 109, 2014, as in OpenCV).
std::vector<State> Starts(const Layout& layout,
                          const std::vector<FittedTag>& tags,
                          const Camera& camera) {
  std::vector<cv::Point3d> places;
  std::vector<cv::Point2d> rays;
  for (const FittedTag& tag : tags) {
    const auto corners = CornersOf(PlaceOf(layout, tag.seen.id), 0.0);
    for (std::size_t c = 0; c < 4; ++c) {
      places.emplace_back(corners[c].x, corners[c].y, 0.0);
      const Eigen::Vector3d ray = RayThrough(camera, tag.seen.corners[c]);
      rays.emplace_back(ray.x(), ray.y());
    }
  }
  std::vector<cv::Mat> rotations;
  std::vector<cv::Mat> translations;
  cv::solvePnPGeneric(places,
                      rays,
                      cv::Mat::eye(3, 3, CV_64F),
                      cv::noArray(),
                      rotations,
                      translations,
                      false,
                      cv::SOLVEPNP_IPPE);
  std::vector<State> starts;
  for (std::size_t i = 0; i < rotations.size(); ++i) {
    const cv::Mat& w = rotations[i];
    const cv::Mat& t = translations[i];
    State start;
    start.camera = camera;
    start.pose.rotation = geometry::RotationFromVector(
        {w.at<double>(0), w.at<double>(1), w.at<double>(2)});
    start.pose.translation = {
        t.at<double>(0), t.at<double>(1), t.at<double>(2)};
    // The print faces the camera: its normal runs against the line of sight.
    if (start.pose.translation.z() > 0 &&
        start.pose.rotation.col(2).dot(start.pose.translation) < 0) {
      starts.push_back(start);
    }
  }
  return starts;
}

}  // namespace

CameraBelief Believe(cv::Size size, const CameraPrior& prior) {
  const double diagonal = std::hypot(size.width, size.height);
  CameraBelief belief;
  if (prior.focal_px) {
    belief.camera.focal_px = *prior.focal_px;
    belief.focal_sigma = prior.focal_relative_sigma * *prior.focal_px;
  } else {
    // CHOSEN: the main camera of phones has the view of a 24 to 28 mm lens on
    // a frame of 36 x 24 mm (common practice), whose diagonal is 43.27 mm;
    // other lenses and crops of a third lie within a quarter or two of it.
    belief.camera.focal_px = 27.0 / 43.27 * diagonal;
    belief.focal_sigma = 0.25 * belief.camera.focal_px;
    belief.focal_assumed = true;
  }
  belief.camera.principal =
      prior.principal.value_or(PhotoPoint{size.width / 2.0, size.height / 2.0});
  belief.camera.lens = prior.lens.value_or(geometry::LensDistortion{});
  // CHOSEN: makers centre a lens to about 1 % of the diagonal; one that was
  // calibrated still moves a little with autofocus and image stabilising.
  belief.principal_sigma = (prior.principal ? 0.003 : 0.01) * diagonal;
  // CHOSEN: phones straighten their photos; 0.02 bends the corner of the view
  // (r about 0.7) by 1 %. With a profile only its last digit is open.
  belief.k1_sigma = prior.lens ? 1e-4 : 0.02;
  return belief;
}

namespace {

std::optional<PlaneFit> FitWith(const Layout& layout,
                                const std::vector<FittedTag>& tags,
                                const CameraBelief& belief,
                                double bend_sigma) {
  const Problem problem(layout, tags, belief, bend_sigma);
  Minimum best;
  for (const State& start : Starts(layout, tags, belief.camera)) {
    const Minimum end = Minimise(problem, start, 1.0);
    if (end.cost < best.cost) best = end;
  }
  if (!std::isfinite(best.cost)) return std::nullopt;

  // Six of the unknowns have no prior and cost a residual each.
  const int dof = std::max(2, problem.corner_residuals() - 6);
  const auto misfit_at = [&](const State& state) {
    const Eigen::VectorXd r = problem.Residuals(state, 1.0);
    return r.head(problem.corner_residuals()).squaredNorm() / dof;
  };
  PlaneFit fit;
  fit.misfit = misfit_at(best.state);
  double widen = 1.0;
  for (int round = 0; round < 3; ++round) {
    const double now = std::sqrt(std::max(1.0, misfit_at(best.state)));
    if (std::abs(now / widen - 1) < 0.01) break;
    widen = now;
    best = Minimise(problem, best.state, widen);
  }

  fit.camera = best.state.camera;
  fit.camera_from_card = best.state.pose;
  fit.print_gain_mm = best.state.gain;
  fit.bend_mm = best.state.bend.cwiseAbs().maxCoeff();
  const Eigen::VectorXd differences = problem.Differences(best.state);
  fit.residual_px = std::sqrt(differences.squaredNorm() /
                              static_cast<double>(differences.size()));

  // The inverse of the scaled normal matrix: its unknowns differ by ten orders
  // of magnitude.
  const Eigen::MatrixXd j = problem.Jacobian(best.state, widen);
  Eigen::MatrixXd normal = j.transpose() * j;
  const Eigen::VectorXd scale = normal.diagonal().cwiseSqrt().cwiseInverse();
  normal = scale.asDiagonal() * normal * scale.asDiagonal();
  const Eigen::MatrixXd all =
      scale.asDiagonal() * normal.inverse() * scale.asDiagonal();
  fit.covariance = all.topLeftCorner<PlaneEstimate::kParameters,
                                     PlaneEstimate::kParameters>();
  fit.covariance = (fit.covariance + fit.covariance.transpose().eval()) / 2;
  return fit;
}

}  // namespace

std::optional<PlaneFit> FitPlane(const Layout& layout,
                                 const std::vector<FittedTag>& tags,
                                 const CameraBelief& belief) {
  auto flat = FitWith(layout, tags, belief, kBendSigma);
  if (!flat || flat->bend_mm < kFreeBendFrom) return flat;
  return FitWith(layout, tags, belief, kFreeBendSigma);
}

}  // namespace plumbfoot::card
