// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <span>
#include <vector>

#include "find/by_image.h"
#include "find/climb.h"
#include "find/edge_field.h"

namespace plumbfoot::find {
namespace {

/// A foot from the side, in millimetres. Along the ground from where it meets
/// the image's left side, and up from it.
enum Parameter {
  kGround,      ///< The ground, below where it is thought to be.
  kToe,         ///< Where the toe meets the ground.
  kToeAngle,    ///< Of the dorsal wall, from the ground, backwards [rad].
  kToeLength,   ///< Ground to hairline along the dorsal wall.
  kSupport,     ///< Toe to heel along the ground.
  kHeelDrop,    ///< How far below the ground the near heel appears.
  kHeelAngle,   ///< [rad]
  kHeelLength,  ///< Ground to hairline along the heel.
  kSag,         ///< The hairline's dip between its ends.
  kPastern,     ///< Angle of the dorsal pastern [rad].
  kParameters,
};
using Side = std::array<double, kParameters>;

constexpr double kDegree = std::numbers::pi / 180;
constexpr int kPerPiece = 16;
using Piece = std::array<LinePlace, kPerPiece>;

double Square(double v) {
  return v * v;
}

double Ramp(double low, double high, double v) {
  return std::clamp((v - low) / (high - low), 0.0, 1.0);
}

/// The ground and which way the foot faces.
class Frame {
 public:
  Frame(const PlaneImage& image, double left_px, double right_px, int facing)
      : scale_(image.px_per_mm), facing_(facing) {
    const double slope = (right_px - left_px) / image.rgb.cols;
    const double n = std::hypot(1.0, slope);
    along_ = {1 / n, slope / n};
    up_ = {slope / n, -1 / n};
    // Toe to the left: counted from the right side, backwards.
    if (facing_ < 0) along_ = -along_;
    origin_ = facing_ > 0 ? cv::Point2d(0, left_px)
                          : cv::Point2d(image.rgb.cols, right_px);
    reach_mm_ = image.rgb.cols / scale_;
  }

  cv::Point2d At(double u, double v) const {
    return origin_ + scale_ * (u * along_ + v * up_);
  }
  double reach_mm() const { return reach_mm_; }

  /// Equal steps between two places, with a sag across in the middle.
  void Lay(cv::Point2d a,
           cv::Point2d b,
           std::span<LinePlace> out,
           double from = 0.0,
           double to = 1.0,
           double sag = 0.0) const {
    const cv::Point2d d = b - a;
    const double n = std::max(1e-6, std::hypot(d.x, d.y));
    const cv::Point2d across(-d.y / n, d.x / n);
    for (std::size_t i = 0; i < out.size(); ++i) {
      const double t = from + (to - from) * (static_cast<double>(i) + 0.5) /
                                  static_cast<double>(out.size());
      const cv::Point2d p = a + t * d - (4 * sag * scale_ * t * (1 - t)) * up_;
      out[i] = {cv::Point2f(p), cv::Point2f(across)};
    }
  }

 private:
  double scale_;
  int facing_;
  cv::Point2d origin_;
  cv::Point2d along_;
  cv::Point2d up_;
  double reach_mm_ = 0.0;
};

/// The places that the parameters stand for.
struct Places {
  cv::Point2d toe_ground;
  cv::Point2d toe_hairline;
  cv::Point2d heel_ground;
  cv::Point2d heel_hairline;
  cv::Point2d pastern_low;
  cv::Point2d pastern_high;
};

// CHOSEN: for a foot of 125 mm the dorsal pastern is straight from about 20 to
// 65 mm above the hairline.
constexpr double kPasternLowMm = 22.0;
constexpr double kPasternHighMm = 64.0;

Places PlacesOf(const Side& s, const Frame& frame) {
  const double g = -s[kGround];
  const double toe = s[kToe];
  const double size = s[kSupport] / 118.0;
  const auto back = [&](double u, double v, double angle, double length) {
    return std::pair{u - length * std::cos(angle),
                     v + length * std::sin(angle)};
  };
  const auto [top_u, top_v] = back(toe, g, s[kToeAngle], s[kToeLength]);
  const double heel = toe - s[kSupport];
  const auto [heel_u, heel_v] =
      back(heel, g - s[kHeelDrop], s[kHeelAngle], s[kHeelLength]);
  // The skin stands a little before the horn.
  const double before = 2.0;
  const double start_u = top_u + before * std::sin(s[kPastern]);
  const double start_v = top_v + before * std::cos(s[kPastern]);
  const auto [low_u, low_v] =
      back(start_u, start_v, s[kPastern], kPasternLowMm * size);
  const auto [high_u, high_v] =
      back(start_u, start_v, s[kPastern], kPasternHighMm * size);
  return {frame.At(toe, g),
          frame.At(top_u, top_v),
          frame.At(heel, g - s[kHeelDrop]),
          frame.At(heel_u, heel_v),
          frame.At(low_u, low_v),
          frame.At(high_u, high_v)};
}

/// How well each part of the foot lies on edges.
struct Fit {
  double wall = -1;
  double heel = -1;
  double hairline = -1;
  double pastern = -1;
  double ground = -1;
  double total() const {
    return 0.40 * wall + 0.18 * heel + 0.20 * hairline + 0.12 * pastern +
           0.10 * ground;
  }
};

class SideScore {
 public:
  SideScore(const EdgeField& field, const Frame& frame)
      : field_(field), frame_(frame) {}

  double Wall(double ground, double toe, double angle, double length) const {
    const cv::Point2d a = frame_.At(toe, -ground);
    const cv::Point2d b = frame_.At(toe - length * std::cos(angle),
                                    -ground + length * std::sin(angle));
    return Along(a, b, 0.04, 0.95, 3, 0.0);
  }

  double Heel(double ground, double heel, double angle, double length) const {
    const cv::Point2d a = frame_.At(heel, -ground);
    const cv::Point2d b = frame_.At(heel - length * std::cos(angle),
                                    -ground + length * std::sin(angle));
    return Along(a, b, 0.05, 0.9, 2, 0.0);
  }

  Fit Parts(const Side& s) const {
    const Places p = PlacesOf(s, frame_);
    Fit fit;
    fit.wall = Along(p.toe_ground, p.toe_hairline, 0.04, 0.96, 3, 0.0);
    fit.heel = Along(p.heel_ground, p.heel_hairline, 0.05, 0.9, 2, 0.0);
    fit.hairline =
        Along(p.toe_hairline, p.heel_hairline, 0.06, 0.9, 4, s[kSag]);
    fit.pastern = Along(p.pastern_low, p.pastern_high, 0.0, 1.0, 2, 0.0);
    fit.ground = Along(p.toe_ground, p.heel_ground, 0.05, 0.95, 3, 0.0);
    return fit;
  }

  double operator()(const Side& s) const {
    if (s[kToeAngle] < 32 * kDegree || s[kToeAngle] > 70 * kDegree ||
        s[kHeelAngle] < 20 * kDegree || s[kHeelAngle] > 80 * kDegree ||
        s[kToeLength] < 40 || s[kToeLength] > 140 || s[kHeelLength] < 15 ||
        s[kHeelLength] > 80 || s[kSupport] < 70 || s[kSupport] > 175 ||
        s[kPastern] < 30 * kDegree || s[kPastern] > 80 * kDegree) {
      return -1;
    }
    return Parts(s).total() - 0.012 * Unusual(s);
  }

  static double Unusual(const Side& s) {
    return Square(s[kGround] / 3.0) + Square((s[kHeelDrop] - 2) / 3.0) +
           Square((s[kToeAngle] - 51 * kDegree) / (6 * kDegree)) +
           Square((s[kHeelAngle] - s[kToeAngle] + 4 * kDegree) /
                  (6 * kDegree)) +
           Square((s[kToeLength] / s[kSupport] - 0.70) / 0.07) +
           Square((s[kHeelLength] / s[kToeLength] - 0.48) / 0.08) +
           Square((s[kSag] - 2) / 3) +
           Square((s[kPastern] - s[kToeAngle] - 1 * kDegree) / (6 * kDegree));
  }

 private:
  double Along(cv::Point2d a,
               cv::Point2d b,
               double from,
               double to,
               int pieces,
               double sag) const {
    Piece piece;
    double sum = 0;
    for (int k = 0; k < pieces; ++k) {
      const double t0 = from + (to - from) * k / pieces;
      const double t1 = from + (to - from) * (k + 1) / pieces;
      frame_.Lay(a, b, piece, t0, t1, sag);
      int seen = 0;
      for (const LinePlace& p : piece) seen += field_.Seen(p.at) ? 1 : 0;
      sum += seen < kPerPiece / 2 ? -0.3 : field_.Coherence(piece);
    }
    return sum / pieces;
  }

  const EdgeField& field_;
  const Frame& frame_;
};

struct Candidate {
  Side side{};
  int facing = 1;
  double left_px = 0;   ///< The ground.
  double right_px = 0;  ///< The ground.
  double score = -1;
  Fit fit;
};

/// Dorsal walls that might be: long straight edges that rise from the ground.
std::vector<Candidate> Walls(const EdgeField& field,
                             const PlaneImage& image,
                             double left_px,
                             double right_px) {
  std::vector<Candidate> all;
  for (const int facing : {1, -1}) {
    const Frame frame(image, left_px, right_px, facing);
    const SideScore score(field, frame);
    for (double toe = 60; toe < frame.reach_mm() - 5; toe += 2) {
      for (double angle = 36; angle <= 66; angle += 2) {
        Candidate c;
        c.facing = facing;
        c.left_px = left_px;
        c.right_px = right_px;
        c.side[kToe] = toe;
        c.side[kToeAngle] = angle * kDegree;
        c.score = score.Wall(0, toe, angle * kDegree, 72);
        all.push_back(c);
      }
    }
  }
  std::sort(all.begin(), all.end(), [](const Candidate& a, const Candidate& b) {
    return a.score > b.score;
  });
  std::vector<Candidate> chosen;
  for (const Candidate& c : all) {
    const bool alike =
        std::any_of(chosen.begin(), chosen.end(), [&](const Candidate& o) {
          return o.facing == c.facing &&
                 std::abs(o.side[kToe] - c.side[kToe]) < 7 &&
                 std::abs(o.side[kToeAngle] - c.side[kToeAngle]) < 5 * kDegree;
        });
    if (!alike) chosen.push_back(c);
    if (chosen.size() >= 24) break;
  }
  return chosen;
}

/// The rest of the foot behind a wall.
void Complete(const EdgeField& field, const PlaneImage& image, Candidate& c) {
  const Frame frame(image, c.left_px, c.right_px, c.facing);
  const SideScore score(field, frame);
  Side& s = c.side;
  s[kGround] = 0;
  s[kHeelDrop] = 2;
  s[kPastern] = s[kToeAngle] + 1 * kDegree;
  s[kSag] = 2;
  struct Heel {
    double support;
    double angle;
    double score;
  };
  std::vector<Heel> heels;
  for (double support = 84; support <= 156; support += 3) {
    for (double angle = 34; angle <= 62; angle += 4) {
      const double length = 0.33 * support;
      heels.push_back(
          {support,
           angle * kDegree,
           score.Heel(2, s[kToe] - support, angle * kDegree, length) -
               0.01 * Square((angle * kDegree - s[kToeAngle] + 4 * kDegree) /
                             (6 * kDegree))});
    }
  }
  std::sort(heels.begin(), heels.end(), [](const Heel& a, const Heel& b) {
    return a.score > b.score;
  });
  Side best = s;
  double best_score = -2;
  for (std::size_t i = 0; i < std::min<std::size_t>(8, heels.size()); ++i) {
    s[kSupport] = heels[i].support;
    s[kHeelAngle] = heels[i].angle;
    for (const double part : {0.60, 0.66, 0.72, 0.78}) {
      s[kToeLength] = part * s[kSupport];
      for (const double heel : {0.40, 0.48, 0.56}) {
        s[kHeelLength] = heel * s[kToeLength];
        const double t = score(s);
        if (t > best_score) {
          best_score = t;
          best = s;
        }
      }
    }
  }
  s = best;
  c.score = best_score;
}

}  // namespace

Sightings FindSideByImage(const PlaneImage& image) {
  const EdgeField coarse(image, 2.5);
  const EdgeField fine(image, 1.2);
  geometry::Random random(21);  // Any: the same picture, the same answer.

  std::vector<Candidate> candidates;
  const double height = image.rgb.rows;
  if (image.ground_left_px >= 0 && image.ground_right_px >= 0 &&
      cv::countNonZero(image.card) > 0) {
    candidates =
        Walls(coarse, image, image.ground_left_px, image.ground_right_px);
  } else {
    // No card: the ground may be anywhere in the lower half.
    for (double part = 0.5; part < 0.97; part += 0.03) {
      const auto some = Walls(coarse, image, part * height, part * height);
      const std::size_t count = std::min<std::size_t>(some.size(), 4);
      candidates.insert(candidates.end(),
                        some.begin(),
                        some.begin() + static_cast<std::ptrdiff_t>(count));
    }
  }
  const auto by_score = [](const Candidate& a, const Candidate& b) {
    return a.score > b.score;
  };
  for (Candidate& c : candidates) Complete(coarse, image, c);
  std::sort(candidates.begin(), candidates.end(), by_score);
  if (candidates.size() > 8) candidates.resize(8);
  const bool has_ground = image.ground_left_px >= 0;
  const double ground_step = has_ground ? 1.0 : 4.0;
  for (Candidate& c : candidates) {
    const Frame frame(image, c.left_px, c.right_px, c.facing);
    Climb(
        c.side,
        {ground_step, 4, 3 * kDegree, 6, 6, 2, 5 * kDegree, 5, 2, 4 * kDegree},
        400,
        random,
        SideScore(coarse, frame));
    const SideScore score(fine, frame);
    c.score = Climb(c.side,
                    {ground_step / 2,
                     1.5,
                     1 * kDegree,
                     3,
                     2.5,
                     1,
                     2 * kDegree,
                     2.5,
                     1,
                     2 * kDegree},
                    400,
                    random,
                    score);
    c.fit = score.Parts(c.side);
  }
  std::sort(candidates.begin(), candidates.end(), by_score);

  Sightings out;
  if (candidates.empty()) return out;
  const Candidate& best = candidates.front();
  const Side& s = best.side;
  double rival = -1;
  for (const Candidate& c : candidates) {
    if (c.facing != best.facing || std::abs(c.side[kToe] - s[kToe]) > 8 ||
        std::abs(c.side[kToeAngle] - s[kToeAngle]) > 5 * kDegree) {
      rival = std::max(rival, c.score);
    }
  }
  const double margin = Ramp(0.0, 0.06, best.score - rival);
  const double sure = Ramp(0.2, 0.42, best.fit.total()) * (0.4 + 0.6 * margin);
  const double wall_sure = sure * Ramp(0.2, 0.5, best.fit.wall);
  const double heel_sure = sure * Ramp(0.1, 0.4, best.fit.heel);
  const double hair_sure = sure * Ramp(0.1, 0.35, best.fit.hairline);
  const double pastern_sure = sure * Ramp(0.1, 0.4, best.fit.pastern);
  const Frame frame(image, best.left_px, best.right_px, best.facing);
  const Places p = PlacesOf(s, frame);
  const auto sight = [&](cv::Point2d at, double sigma_mm, double confidence) {
    return Sighting{at, sigma_mm * image.px_per_mm, confidence};
  };
  out.foot_confidence = sure;
  out.wall_confidence = wall_sure;
  out.dorsal_wall = {p.toe_hairline, p.toe_ground};
  out.at(PointId::kToeGround) = sight(p.toe_ground, 2.0, wall_sure);
  out.at(PointId::kToeHairline) =
      sight(p.toe_hairline, 3.0, std::min(wall_sure, hair_sure));
  out.at(PointId::kHeelGround) = sight(p.heel_ground, 3.0, heel_sure);
  out.at(PointId::kHeelHairline) =
      sight(p.heel_hairline, 3.0, std::min(heel_sure, hair_sure));
  out.at(PointId::kPasternLower) = sight(p.pastern_low, 3.0, pastern_sure);
  out.at(PointId::kPasternUpper) = sight(p.pastern_high, 3.0, pastern_sure);
  return out;
}

}  // namespace plumbfoot::find
