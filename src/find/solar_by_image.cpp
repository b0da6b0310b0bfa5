// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <vector>

#include "find/by_image.h"
#include "find/climb.h"
#include "find/colour_model.h"
#include "find/edge_field.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::CardVector;

/// A sole: the bearing edge of a foot of usual shape, in millimetres. x runs
/// forward from the line of the heels, y to the horse's left.
enum Parameter {
  kX,           ///< The image's place of the middle between the heels [mm].
  kY,           ///< The same, down [mm].
  kTurn,        ///< Of the toe, from the image's +x towards +y [rad].
  kLength,      ///< [mm]
  kLeftHalf,    ///< [mm]
  kRightHalf,   ///< [mm]
  kWidestPart,  ///< Of the length, from the heels [1].
  kHeelPart,    ///< Of the half width [1].
  kParameters,
};
using Sole = std::array<double, kParameters>;

// CHOSEN: places and pieces of the outline; a piece is then about 25 mm long,
// over which what lies outside has one colour.
constexpr int kPieces = 14;
constexpr int kPerPiece = 10;
// CHOSEN: what a millimetre more of size is worth: the edges inside the bearing
// edge lie 10 to 20 mm from it.
constexpr double kOutermost = 0.002;

struct FootPlace {
  double x;
  double y;
  double nx;
  double ny;
};

/// One side of the outline, toe to heel, y to the outside.
void Side(double length,
          double half,
          double widest,
          double heel_part,
          int count,
          std::vector<FootPlace>& out) {
  const double widest_x = widest * length;
  const double heel_y = heel_part * half;
  const double reach = length - widest_x;
  // A quarter of an ellipse before the widest place and a gentler arc behind
  // it, which ends at the heel with its rounding.
  const int front = count * 11 / 20;
  for (int i = 0; i < count; ++i) {
    FootPlace p{};
    if (i < front) {
      const double t = std::numbers::pi / 2 * (i + 0.5) / front;
      p.x = widest_x + reach * std::cos(t);
      p.y = half * std::sin(t);
      p.nx = std::cos(t) / reach;
      p.ny = std::sin(t) / half;
    } else {
      const double t = (i - front + 0.5) / (count - front);
      // y falls from the half width to the heel's as a power of the way: flat
      // first, 30 degrees or so at the heel.
      const double fall = std::pow(t, 2.2);
      p.x = widest_x * (1 - t);
      p.y = half - (half - heel_y) * fall;
      const double dy = -(half - heel_y) * 2.2 * std::pow(t, 1.2);
      p.nx = dy;  // Normal to (-widest_x, dy), outwards.
      p.ny = widest_x;
    }
    const double n = std::hypot(p.nx, p.ny);
    p.nx /= n;
    p.ny /= n;
    out.push_back(p);
  }
}

/// From the left heel round the toe to the right one.
std::vector<FootPlace> Outline(const Sole& sole) {
  constexpr int kSide = kPieces * kPerPiece / 2;
  std::vector<FootPlace> left;
  std::vector<FootPlace> right;
  Side(sole[kLength],
       sole[kLeftHalf],
       sole[kWidestPart],
       sole[kHeelPart],
       kSide,
       left);
  Side(sole[kLength],
       sole[kRightHalf],
       sole[kWidestPart],
       sole[kHeelPart],
       kSide,
       right);
  std::vector<FootPlace> all(left.rbegin(), left.rend());
  for (FootPlace p : right) {
    p.y = -p.y;
    p.ny = -p.ny;
    all.push_back(p);
  }
  return all;
}

/// From the foot's frame to the image.
class Frame {
 public:
  Frame(const Sole& sole, const PlaneImage& image)
      : origin_x_(sole[kX] * image.px_per_mm),
        origin_y_(sole[kY] * image.px_per_mm),
        scale_(image.px_per_mm),
        c_(std::cos(sole[kTurn])),
        s_(std::sin(sole[kTurn])) {}

  // The sole is seen from below: with the toe up the horse's left is right.
  cv::Point2d At(double x, double y) const {
    return {origin_x_ + scale_ * (c_ * x - s_ * y),
            origin_y_ + scale_ * (s_ * x + c_ * y)};
  }
  LinePlace At(const FootPlace& p) const {
    return {cv::Point2f(At(p.x, p.y)),
            cv::Point2f(static_cast<float>(c_ * p.nx - s_ * p.ny),
                        static_cast<float>(s_ * p.nx + c_ * p.ny))};
  }

 private:
  double origin_x_;
  double origin_y_;
  double scale_;
  double c_;
  double s_;
};

/// A usual foot is likelier than an unusual one.
double Unusual(const Sole& s) {
  const auto square = [](double v) { return v * v; };
  const double width = s[kLeftHalf] + s[kRightHalf];
  double d = square((width / s[kLength] - 1.0) / 0.10) +
             square((s[kLeftHalf] - s[kRightHalf]) / width / 0.025) +
             square((s[kWidestPart] - 0.43) / 0.05) +
             square((s[kHeelPart] - 0.62) / 0.06);
  if (width < 85) d += square((85 - width) / 5);
  if (width > 165) d += square((width - 165) / 5);
  return d;
}

class OutlineScore {
 public:
  OutlineScore(const EdgeField& field, const PlaneImage& image)
      : field_(field), image_(image) {}

  double operator()(const Sole& sole) const {
    return Fit(sole) - 0.012 * Unusual(sole);
  }

  double Fit(const Sole& sole) const {
    if (sole[kLength] < 50 || sole[kLeftHalf] < 25 || sole[kRightHalf] < 25 ||
        sole[kWidestPart] < 0.2 || sole[kWidestPart] > 0.7 ||
        sole[kHeelPart] < 0.3 || sole[kHeelPart] > 0.95) {
      return -1;
    }
    const Frame frame(sole, image_);
    const auto outline = Outline(sole);
    std::array<LinePlace, kPerPiece> piece;
    double sum = 0;
    for (int k = 0; k < kPieces; ++k) {
      int seen = 0;
      for (int i = 0; i < kPerPiece; ++i) {
        piece[static_cast<std::size_t>(i)] =
            frame.At(outline[static_cast<std::size_t>(k) * kPerPiece +
                             static_cast<std::size_t>(i)]);
        if (field_.Seen(piece[static_cast<std::size_t>(i)].at)) ++seen;
      }
      // A foot does not lie on the card nor beyond the photo.
      sum += seen < kPerPiece / 2 ? -0.3 : field_.Coherence(piece);
    }
    // Where horn ends and the bulb begins, across each buttress.
    sum += 2 * (Buttress(sole, 1.0) + Buttress(sole, -1.0));
    // The bearing edge is the outermost of several edges that run alongside:
    // the white line, a shoe's inner edge.
    // In width alone: length would pull the heels back along the bulbs.
    return sum / (kPieces + 4) +
           kOutermost * (sole[kLeftHalf] + sole[kRightHalf] - 120);
  }

  /// The edge across one buttress [0..1].
  double Buttress(const Sole& sole, double side) const {
    const Frame frame(sole, image_);
    std::array<LinePlace, kPerPiece> piece;
    const double half = side > 0 ? sole[kLeftHalf] : sole[kRightHalf];
    const double heel = sole[kHeelPart] * half;
    for (int i = 0; i < kPerPiece; ++i) {
      piece[static_cast<std::size_t>(i)] =
          frame.At(FootPlace{-1.0, side * (heel - 1.5 * i), -1.0, 0.0});
    }
    return field_.Coherence(piece);
  }

 private:
  const EdgeField& field_;
  const PlaneImage& image_;
};

/// The frog: a wedge between dark grooves, in the foot's frame [mm].
enum FrogParameter {
  kApexX,
  kApexY,
  kBaseX,
  kBaseY,
  kHalfWidth,
  kFrogParameters,
};
using Frog = std::array<double, kFrogParameters>;

class FrogScore {
 public:
  FrogScore(const EdgeField& field, const PlaneImage& image, const Sole& sole)
      : field_(field), frame_(sole, image), sole_(sole) {}

  double operator()(const Frog& f) const {
    const double length = f[kApexX] - f[kBaseX];
    const double l = sole_[kLength];
    const double usual = sole_[kLeftHalf] + sole_[kRightHalf];
    if (length < 0.35 * l || f[kHalfWidth] < 8 ||
        f[kHalfWidth] > 0.33 * usual || f[kApexX] > 0.88 * l) {
      return -1;
    }
    double sum = 0;
    constexpr int kParts = 4;
    std::array<LinePlace, 8> piece;
    for (const double side : {1.0, -1.0}) {
      for (int part = 0; part < kParts; ++part) {
        for (std::size_t i = 0; i < piece.size(); ++i) {
          const double t =
              (part + (static_cast<double>(i) + 0.5) / 8) / kParts * 0.98;
          const double w = f[kHalfWidth] * std::pow(1 - t, 0.85) *
                           (1 - 0.12 * std::sin(std::numbers::pi * t));
          const double mid = f[kBaseY] + (f[kApexY] - f[kBaseY]) * t;
          const double n = std::hypot(length, f[kHalfWidth]);
          piece[i] = frame_.At(FootPlace{f[kBaseX] + t * length,
                                         mid + side * w,
                                         f[kHalfWidth] / n,
                                         side * length / n});
        }
        // From the frog into its groove it grows darker.
        const double c = field_.Coherence(piece);
        sum += field_.Change(piece)[0] < 0 ? c : -0.5 * c;
      }
    }
    const auto square = [](double v) { return v * v; };
    return sum / (2 * kParts) - 0.01 * square((f[kApexX] / l - 0.67) / 0.06) -
           0.01 * square((f[kBaseX] / l - 0.04) / 0.05) -
           0.01 * square((f[kHalfWidth] / length - 0.30) / 0.05) -
           0.01 * square((f[kApexY] - f[kBaseY]) / 3) -
           0.01 * square(f[kBaseY] / 3);
  }

 private:
  const EdgeField& field_;
  Frame frame_;
  const Sole& sole_;
};

struct FoundFrog {
  Frog frog{};
  double score = -1;
};

FoundFrog FindFrog(const EdgeField& field,
                   const PlaneImage& image,
                   const Sole& sole,
                   int tries,
                   geometry::Random& random) {
  const FrogScore score(field, image, sole);
  FoundFrog best;
  const double l = sole[kLength];
  for (double apex = 0.52; apex < 0.81; apex += 0.03) {
    for (double half = 13; half < 40; half += 3) {
      for (const double base : {-0.02, 0.06}) {
        const Frog f{apex * l, 0, base * l, 0, half};
        const double s = score(f);
        if (s > best.score) best = {f, s};
      }
    }
  }
  if (best.score > -1) {
    best.score = Climb(best.frog, {4, 2, 4, 2, 3}, tries, random, score);
  }
  return best;
}

/// The same sole, turned and moved so that its axis is the frog's.
Sole AlongTheFrog(const Sole& sole, const Frog& frog) {
  Sole out = sole;
  const double turn =
      std::atan2(frog[kApexY] - frog[kBaseY], frog[kApexX] - frog[kBaseX]);
  // Where the frog's axis crosses the line of the heels.
  const double y = frog[kBaseY] - frog[kBaseX] * std::tan(turn);
  out[kX] -= std::sin(sole[kTurn]) * y;
  out[kY] += std::cos(sole[kTurn]) * y;
  out[kTurn] += turn;
  // The sides stay where they are, about the sole's middle.
  const double there = y + sole[kLength] / 2 * std::tan(turn);
  out[kLeftHalf] -= there;
  out[kRightHalf] += there;
  return out;
}

/// Soles that might be, before any is looked at closely.
std::vector<Sole> Guesses(const PlaneImage& image, bool has_card) {
  std::vector<Sole> guesses;
  const double side = image.rgb.cols / image.px_per_mm;
  const auto add = [&](double middle_x,
                       double middle_y,
                       double turn,
                       double width,
                       double length) {
    // The middle of the foot's box lies half a length before the heels.
    guesses.push_back({middle_x - length / 2 * std::cos(turn),
                       middle_y - length / 2 * std::sin(turn),
                       turn,
                       length,
                       width / 2,
                       width / 2,
                       0.43,
                       0.62});
  };
  for (double width = 88; width <= 160; width += 8) {
    for (const double ratio : {0.9, 1.02}) {
      const double length = width / ratio;
      if (!has_card) {
        for (int k = 0; k < 16; ++k) {
          const double turn = 2 * std::numbers::pi * k / 16;
          for (double dx = -30; dx <= 30; dx += 15) {
            for (double dy = -30; dy <= 30; dy += 15) {
              add(side / 2 + dx, side / 2 + dy, turn, width, length);
            }
          }
        }
        continue;
      }
      // The card's inner corner is held round the foot: the toe points along
      // an arm or away from one, give or take, and the foot lies some
      // millimetres from both arms.
      for (int quarter = 0; quarter < 4; ++quarter) {
        const double along_x = quarter % 2 == 0 ? length : width;
        const double along_y = quarter % 2 == 0 ? width : length;
        for (const double off : {-0.2, -0.07, 0.07, 0.2}) {
          const double card_turn = quarter * std::numbers::pi / 2 + off;
          const CardVector toe{std::cos(card_turn), std::sin(card_turn)};
          const double turn =
              std::atan2(Dot(toe, image.down), Dot(toe, image.right));
          for (const double gap_x : {4.0, 12.0, 22.0, 34.0}) {
            for (const double gap_y : {4.0, 12.0, 22.0, 34.0}) {
              // CHOSEN: 48 mm, the arm of the standard card; the window is
              // centred 65 mm beyond its inner corner whatever the card.
              const CardPoint middle =
                  image.centre + CardVector{gap_x + along_x / 2 - 65,
                                            gap_y + along_y / 2 - 65};
              const cv::Point2d m = ImageFromCard(image, middle);
              add(m.x / image.px_per_mm,
                  m.y / image.px_per_mm,
                  turn,
                  width,
                  length);
            }
          }
        }
      }
    }
  }
  return guesses;
}

/// How much more the colours inside the outline are the foot's than those
/// outside it [-1..1].
double Contrast(const EdgeField& field,
                const PlaneImage& image,
                const Sole& sole) {
  const Frame frame(sole, image);
  const auto outline = Outline(sole);
  ColourModel colours(field);
  for (const FootPlace& p : outline) {
    for (const double part : {0.15, 0.3, 0.45, 0.6, 0.75, 0.92}) {
      colours.Add(frame.At(part * (p.x - 50) + 50, part * p.y), true);
    }
    for (const double beyond : {5.0, 9.0, 14.0, 20.0, 27.0}) {
      colours.Add(frame.At(p.x + beyond * p.nx, p.y + beyond * p.ny), false);
    }
  }
  colours.Settle();
  if (colours.feet() < 100 || colours.others() < 100) return -1;
  double sum = 0;
  for (const FootPlace& p : outline) {
    sum += colours.Foot(frame.At(p.x - 4 * p.nx, p.y - 4 * p.ny)) -
           colours.Foot(frame.At(p.x + 5 * p.nx, p.y + 5 * p.ny));
  }
  return sum / static_cast<double>(outline.size());
}

double Ramp(double low, double high, double v) {
  return std::clamp((v - low) / (high - low), 0.0, 1.0);
}

}  // namespace

Sightings FindSoleByImage(const PlaneImage& image) {
  const EdgeField coarse(image, 2.5);
  const EdgeField fine(image, 1.2);
  const OutlineScore coarse_score(coarse, image);
  const OutlineScore score(fine, image);
  geometry::Random random(20);  // Any: the same picture, the same answer.

  struct Candidate {
    Sole sole{};
    double score = -1;
    FoundFrog frog;
    double contrast = -1;
  };
  std::vector<Candidate> candidates;
  const bool has_card = cv::countNonZero(image.card) > 0;
  for (const Sole& s : Guesses(image, has_card)) {
    candidates.push_back({s, coarse_score(s), {}, -1});
  }
  std::sort(
      candidates.begin(),
      candidates.end(),
      [](const Candidate& a, const Candidate& b) { return a.score > b.score; });
  // The best of every direction: toe and heels are told apart by the frog.
  std::vector<Candidate> chosen;
  for (const Candidate& c : candidates) {
    const auto alike =
        std::count_if(chosen.begin(), chosen.end(), [&](const Candidate& o) {
          return std::cos(o.sole[kTurn] - c.sole[kTurn]) > 0.7;
        });
    if (alike < 5) chosen.push_back(c);
    if (chosen.size() >= 20) break;
  }
  const Sole step{5, 5, 0.06, 5, 3, 3, 0.03, 0.03};
  for (Candidate& c : chosen) {
    Climb(c.sole, step, 250, random, coarse_score);
    c.score = score(c.sole);
    c.frog = FindFrog(fine, image, c.sole, 60, random);
    c.contrast = Contrast(coarse, image, c.sole);
  }
  const auto total = [](const Candidate& c) {
    return c.score + 0.5 * c.frog.score + 0.4 * c.contrast;
  };
  std::sort(chosen.begin(),
            chosen.end(),
            [&](const Candidate& a, const Candidate& b) {
              return total(a) > total(b);
            });
  for (std::size_t i = 0; i < std::min<std::size_t>(4, chosen.size()); ++i) {
    Candidate& c = chosen[i];
    const Sole fine_step{2, 2, 0.02, 2, 1.5, 1.5, 0.015, 0.02};
    Climb(c.sole, fine_step, 300, random, score);
    c.frog = FindFrog(fine, image, c.sole, 200, random);
    // An outline alone is nearly an ellipse and says little of its axis; the
    // frog is long and says it well.
    if (c.frog.score > 0.3) c.sole = AlongTheFrog(c.sole, c.frog.frog);
    const Sole last_step{2, 2, 0.004, 2, 1.5, 1.5, 0.015, 0.02};
    c.score = Climb(c.sole, last_step, 300, random, score);
    c.frog = FindFrog(fine, image, c.sole, 300, random);
    c.contrast = Contrast(coarse, image, c.sole);
  }
  std::sort(chosen.begin(),
            chosen.end(),
            [&](const Candidate& a, const Candidate& b) {
              return total(a) > total(b);
            });
  Sightings out;
  if (chosen.empty()) return out;
  const Candidate& best = chosen.front();
  // Another foot elsewhere that fits as well takes the confidence away.
  double rival = -1;
  for (const Candidate& c : chosen) {
    if (std::hypot(c.sole[kX] - best.sole[kX], c.sole[kY] - best.sole[kY]) >
            12 ||
        std::cos(c.sole[kTurn] - best.sole[kTurn]) < 0.94) {
      rival = std::max(rival, total(c));
    }
  }
  const double margin = Ramp(-0.02, 0.06, total(best) - rival);
  // Where no card says how large the foot is and where it lies, there is much
  // more to be taken for one: the next best must be far behind.
  const double trust = has_card ? 0.4 + 0.6 * margin
                                : Ramp(0.13, 0.22, total(best) - rival) *
                                      Ramp(0.45, 0.65, best.frog.score);
  const double sure =
      trust * Ramp(0.40, 0.60, best.score) * Ramp(0.25, 0.55, best.contrast);
  out.foot_confidence = sure;
  out.outline_confidence = sure;

  const Frame frame(best.sole, image);
  const auto sight =
      [&](double x, double y, double sigma_mm, double confidence) {
        return Sighting{frame.At(x, y),
                        RoundCovariance(sigma_mm * image.px_per_mm),
                        confidence};
      };
  for (const FootPlace& p : Outline(best.sole)) {
    out.outline.push_back(frame.At(p.x, p.y));
  }
  const Sole& s = best.sole;
  out.at(PointId::kToe) = sight(s[kLength], 0, 4.0, sure);
  out.at(PointId::kHeelLeft) = sight(0, s[kHeelPart] * s[kLeftHalf], 4.5, sure);
  out.at(PointId::kHeelRight) =
      sight(0,
            -s[kHeelPart] * s[kRightHalf],
            4.5,
            sure * Ramp(0.2, 0.55, score.Buttress(s, -1.0)));
  const double frog_sure = sure * Ramp(0.25, 0.55, best.frog.score);
  const Frog& f = best.frog.frog;
  if (best.frog.score > 0) {
    out.at(PointId::kFrogApex) = sight(f[kApexX], f[kApexY], 2.5, frog_sure);
    out.at(PointId::kFrogLeft) =
        sight(f[kBaseX], f[kBaseY] + f[kHalfWidth], 4.0, frog_sure);
    out.at(PointId::kFrogRight) =
        sight(f[kBaseX], f[kBaseY] - f[kHalfWidth], 4.0, frog_sure);
  }
  return out;
}

Sightings FindByImageProcessing(View view, const PlaneImage& image) {
  return view == View::kSolar ? FindSoleByImage(image) : FindSideByImage(image);
}

}  // namespace plumbfoot::find
