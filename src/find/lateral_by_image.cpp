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
#include "find/colour_model.h"
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
constexpr int kPerPiece = 10;
// CHOSEN: what a millimetre more of length is worth: stripes and flares of the
// wall are edges too, inside the foot's own.
constexpr double kOutermost = 0.004;
// CHOSEN: colours are compared this far on either side of a line [mm].
constexpr double kBesideMm = 5.0;
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
  double scale() const { return scale_; }

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
  double contrast = 0;       ///< Foot's colours inside, others outside [-1..1].
  double heel_contrast = 0;  ///< The same along the heel alone.
  double total() const {
    return 0.35 * wall + 0.15 * heel + 0.20 * hairline + 0.15 * pastern +
           0.15 * ground + 0.5 * contrast;
  }
};

class SideScore {
 public:
  /// @param colours  May be null: edges alone.
  SideScore(const EdgeField& field,
            const Frame& frame,
            const ColourModel* colours = nullptr,
            double ground_sigma_mm = 3.0)
      : field_(field),
        frame_(frame),
        colours_(colours),
        ground_sigma_mm_(ground_sigma_mm) {}

  double Wall(double ground, double toe, double angle, double length) const {
    const cv::Point2d a = frame_.At(toe, -ground);
    const cv::Point2d b = frame_.At(toe - length * std::cos(angle),
                                    -ground + length * std::sin(angle));
    return Along(a, b, 0.04, 0.95, 3, 0.0);
  }

  Fit Parts(const Side& s) const {
    const Places p = PlacesOf(s, frame_);
    Fit fit;
    fit.wall = Along(p.toe_ground, p.toe_hairline, 0.04, 0.96, 3, 0.0);
    fit.heel = Along(p.heel_ground, p.heel_hairline, 0.05, 0.9, 2, 0.0);
    fit.hairline =
        Along(p.toe_hairline, p.heel_hairline, 0.06, 0.9, 4, s[kSag]);
    fit.pastern = Along(p.pastern_low, p.pastern_high, 0.0, 1.0, 2, 0.0);
    // The near quarter bulges towards the camera, further than the heel.
    const double bulge = 1.3 * s[kHeelDrop];
    fit.ground = Along(p.toe_ground, p.heel_ground, 0.05, 0.95, 3, bulge);
    if (colours_ != nullptr) {
      const cv::Point2d inside = 0.25 * (p.toe_ground + p.heel_ground +
                                         p.toe_hairline + p.heel_hairline);
      // Far behind the heel too: stripes of the wall are narrower.
      for (const double beyond : {1.0, 2.5, 4.0}) {
        fit.heel_contrast +=
            Contrast(
                p.heel_ground, p.heel_hairline, 0, 0.6, 0, inside, beyond) /
            3;
      }
      fit.contrast =
          0.35 * Contrast(p.toe_ground, p.toe_hairline, 0.05, 0.95, 0, inside) +
          0.40 * fit.heel_contrast +
          0.25 *
              Contrast(p.toe_ground, p.heel_ground, 0.05, 0.95, bulge, inside);
    }
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
    return Parts(s).total() - 0.012 * Unusual(s) +
           kOutermost * (s[kSupport] - 120);
  }

  double Unusual(const Side& s) const {
    return Square(s[kGround] / ground_sigma_mm_) +
           Square((s[kHeelDrop] - 2) / 3.0) +
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

  /// How much more the foot's colours lie on the inner side of a line.
  double Contrast(cv::Point2d a,
                  cv::Point2d b,
                  double from,
                  double to,
                  double sag,
                  cv::Point2d inside,
                  double beyond = 1.0) const {
    Piece piece;
    frame_.Lay(a, b, piece, from, to, sag);
    const cv::Point2d d = b - a;
    const cv::Point2d n(-d.y, d.x);
    const double length = std::max(1e-6, std::hypot(n.x, n.y));
    const double side = n.dot(inside - a) > 0 ? 1.0 : -1.0;
    const cv::Point2d inwards =
        (side * kBesideMm * frame_.scale() / length) * n;
    double sum = 0;
    for (const LinePlace& p : piece) {
      const cv::Point2d at(p.at);
      sum +=
          colours_->Foot(at + inwards) - colours_->Foot(at - beyond * inwards);
    }
    return sum / kPerPiece;
  }

  const EdgeField& field_;
  const Frame& frame_;
  const ColourModel* colours_;
  double ground_sigma_mm_;
};

struct Candidate {
  Side side{};
  int facing = 1;
  double left_px = 0;   ///< The ground.
  double right_px = 0;  ///< The ground.
  double score = -1;
  double unusual = 0;
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
    if (chosen.size() >= 26) break;
  }
  return chosen;
}

/// The colours of horn and hair behind a wall, and of what is before and below
/// it.
ColourModel ColoursBeside(const EdgeField& field,
                          const Frame& frame,
                          const Side& s,
                          double depth_mm) {
  ColourModel colours(field);
  const double slope = 1 / std::tan(s[kToeAngle]);
  for (double v = 2; v <= 120; v += 3) {
    const double edge = s[kToe] - v * slope;
    // The leg is not much thicker than 50 mm; the hoof goes on further back.
    const double depth = v < 40 ? depth_mm : 35;
    for (double in = 5; in <= depth; in += 5) {
      colours.Add(frame.At(edge - in, v), true);
    }
    for (double out = 7; out <= 42; out += 5) {
      colours.Add(frame.At(edge + out, v), false);
    }
  }
  // The ground, well below where a near quarter may bulge.
  for (double below = 16; below <= 34; below += 6) {
    for (double u = s[kToe] - 190; u <= s[kToe] + 40; u += 3) {
      colours.Add(frame.At(u, -below), false);
    }
  }
  colours.Settle();
  return colours;
}

/// The rest of the foot behind a wall.
void Complete(const EdgeField& field, const PlaneImage& image, Candidate& c) {
  const Frame frame(image, c.left_px, c.right_px, c.facing);
  Side& s = c.side;
  const ColourModel colours = ColoursBeside(field, frame, s, 50);
  const SideScore score(field, frame, &colours);
  s[kGround] = 0;
  s[kHeelDrop] = 2;
  s[kPastern] = s[kToeAngle] + 1 * kDegree;
  s[kSag] = 2;
  Side best = s;
  double best_score = -2;
  for (double support = 82; support <= 164; support += 8) {
    s[kSupport] = support;
    for (const double behind : {-8.0, -3.0, 2.0}) {
      s[kHeelAngle] = s[kToeAngle] + behind * kDegree;
      for (const double part : {0.62, 0.73}) {
        s[kToeLength] = part * s[kSupport];
        for (const double heel : {0.42, 0.54}) {
          s[kHeelLength] = heel * s[kToeLength];
          for (const double drop : {0.0, 4.0}) {
            s[kHeelDrop] = drop;
            const double t = score(s);
            if (t > best_score) {
              best_score = t;
              best = s;
            }
          }
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
  if (candidates.size() > 6) candidates.resize(6);
  const bool has_ground = image.ground_left_px >= 0;
  // CHOSEN: a card stands on the ground within a millimetre or so.
  const double ground_sigma = has_ground ? 0.8 : 6.0;
  const double ground_step = has_ground ? 0.5 : 4.0;
  for (Candidate& c : candidates) {
    const Frame frame(image, c.left_px, c.right_px, c.facing);
    const ColourModel colours =
        ColoursBeside(coarse, frame, c.side, 0.7 * c.side[kSupport]);
    Climb(
        c.side,
        {ground_step, 4, 3 * kDegree, 6, 6, 2, 5 * kDegree, 5, 2, 4 * kDegree},
        300,
        random,
        SideScore(coarse, frame, &colours, ground_sigma));
    const SideScore score(fine, frame, &colours, ground_sigma);
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
                    300,
                    random,
                    score);
    c.fit = score.Parts(c.side);
    c.unusual = score.Unusual(c.side);
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
  const double margin = Ramp(0.03, 0.10, best.score - rival);
  // Without a card the ground is a guess, and so is all that stands on it:
  // left to a person.
  const double trust = has_ground ? 1.0 : 0.45;
  const double sure = trust * Ramp(0.55, 0.85, best.fit.total()) * margin *
                      (1 - Ramp(8.0, 12.0, best.unusual));
  const double wall_sure = sure * Ramp(0.55, 0.72, best.fit.wall);
  // Of all points the heel is hidden most often: by bulbs, hair and shadow.
  const double heel_sure = sure * Ramp(0.5, 0.7, best.fit.heel) *
                           Ramp(0.45, 0.65, best.fit.ground) *
                           Ramp(0.6, 0.8, best.fit.heel_contrast);
  const double hair_sure = sure * Ramp(0.52, 0.68, best.fit.hairline);
  const double pastern_sure = sure * Ramp(0.4, 0.7, best.fit.pastern);
  const Frame frame(image, best.left_px, best.right_px, best.facing);
  const Places p = PlacesOf(s, frame);
  const auto sight = [&](cv::Point2d at, double sigma_mm, double confidence) {
    return Sighting{
        at, RoundCovariance(sigma_mm * image.px_per_mm), confidence};
  };
  out.foot_confidence = sure;
  // A wall that is taken too long runs on along the pastern.
  out.wall_confidence = std::min(wall_sure, hair_sure);
  out.dorsal_wall = {p.toe_hairline, p.toe_ground};
  out.at(PointId::kToeGround) = sight(p.toe_ground, 4.0, wall_sure);
  out.at(PointId::kToeHairline) =
      sight(p.toe_hairline, 4.0, std::min(wall_sure, hair_sure));
  out.at(PointId::kHeelGround) = sight(p.heel_ground, 4.0, heel_sure);
  out.at(PointId::kHeelHairline) =
      sight(p.heel_hairline, 5.0, std::min(heel_sure, hair_sure));
  out.at(PointId::kPasternLower) = sight(p.pastern_low, 3.0, pastern_sure);
  out.at(PointId::kPasternUpper) = sight(p.pastern_high, 3.0, pastern_sure);
  return out;
}

}  // namespace plumbfoot::find
