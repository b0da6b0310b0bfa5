// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "measure/in_foot.h"

namespace plumbfoot::measure {
namespace {

using geometry::Degrees;
using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

// CHOSEN: the coronet bulges over about a centimetre of a wall of 85 mm.
constexpr double kTopLeftOut = 0.12;
// CHOSEN: growth rings of a sixth of a millimetre on a wall of 85 mm.
constexpr double kRingsOverLength = 0.002;
// CHOSEN: a departure of 5 mm on a wall of 85 mm is usual among those that
// have one.
constexpr double kDepartureOverLength = 0.06;
// CHOSEN: two feet in five have a straight wall; each place of departure is as
// likely as the next.
constexpr std::array<double, 9> kDepartsFrom = {
    0.25, 0.325, 0.40, 0.475, 0.55, 0.625, 0.70, 0.775, 0.85};
constexpr double kPriorStraight = 0.4;
constexpr double kPriorEach =
    (1 - kPriorStraight) / static_cast<double>(kDepartsFrom.size());

/// Degrees between a direction that points up and the bearing line, opening
/// backwards.
double OpeningBackwards(FootVector up) {
  return Degrees::FromRadians(std::atan2(up.y, -up.x)).value();
}

/// A place of the wall: how far down it lies [1] and how far out [mm].
struct WallPlace {
  double t;
  double out;
};

/// The shape of a departure from place `from` on; 1 at the ground.
double Departs(double from, double t) {
  const double u = std::max(0.0, (t - from) / (1 - from));
  return u * u;
}

/// Outwards is towards the toe, where x rises.
FootVector Outwards(FootVector down) {
  const FootVector out = geometry::Perpendicular(down);
  return out.x < 0 ? -out : out;
}

/// Largest gap of the places from out = level + slope t, of a straight line
/// fitted within 6 % of the wall on either side of each: smooth, and without
/// lag where the wall ends.
double LargestGap(const std::vector<WallPlace>& places,
                  double level,
                  double slope) {
  constexpr double kReach = 0.06;
  double largest = 0.0;
  for (std::size_t i = 0; i < places.size(); ++i) {
    double n = 0.0;
    double sum_t = 0.0;
    double sum_g = 0.0;
    double sum_tt = 0.0;
    double sum_tg = 0.0;
    const auto add = [&](const WallPlace& p) {
      const double t = p.t - places[i].t;
      if (std::abs(t) > kReach) return false;
      const double gap = p.out - level - slope * p.t;
      n += 1;
      sum_t += t;
      sum_g += gap;
      sum_tt += t * t;
      sum_tg += t * gap;
      return true;
    };
    for (std::size_t k = i; k < places.size() && add(places[k]);) ++k;
    for (std::size_t k = i; k > 0 && add(places[k - 1]);) --k;
    const double det = n * sum_tt - sum_t * sum_t;
    const double gap =
        det > 1e-12 ? (sum_tt * sum_g - sum_t * sum_tg) / det : sum_g / n;
    if (std::abs(gap) > std::abs(largest)) largest = gap;
  }
  return largest;
}

}  // namespace

std::optional<WallFit> FitWall(const FootPolyline& wall,
                               double sigma,
                               double correlation,
                               WallWants wants) {
  if (wall.size() < 8) return std::nullopt;
  const auto chord = geometry::LineThrough(wall.front(), wall.back());
  if (!chord) return std::nullopt;
  const double length = geometry::Distance(wall.front(), wall.back());
  const FootVector out = Outwards(chord->direction);

  std::vector<WallPlace> places;
  std::vector<std::size_t> corners;
  places.reserve(wall.size());
  corners.reserve(wall.size());
  for (std::size_t i = 0; i < wall.size(); ++i) {
    const double t = geometry::Along(*chord, wall[i]) / length;
    if (t >= kTopLeftOut) {
      places.push_back({t, geometry::Dot(out, wall[i] - chord->at)});
      corners.push_back(i);
    }
  }
  if (places.size() < 6) return std::nullopt;
  const auto n = static_cast<double>(places.size());

  // The straight line: out = level + slope t.
  double mean_t = 0.0;
  double mean_out = 0.0;
  for (const WallPlace& p : places) {
    mean_t += p.t / n;
    mean_out += p.out / n;
  }
  double tt = 0.0;
  double to = 0.0;
  for (const WallPlace& p : places) {
    tt += (p.t - mean_t) * (p.t - mean_t);
    to += (p.t - mean_t) * (p.out - mean_out);
  }
  const double straight = to / tt;

  // Errors that go together over a length are fewer than the places are: the
  // variance is multiplied by the integral of their correlation
  // exp(-d^2 / 2 c^2) over the spacing.
  const double spacing = length * (1 - kTopLeftOut) / n;
  const double together =
      std::max(1.0, std::sqrt(2 * std::numbers::pi) * correlation / spacing);
  const double rings = kRingsOverLength * length;
  const double variance = (sigma * sigma + rings * rings) * together;
  const double prior_variance = std::pow(kDepartureOverLength * length, 2);

  // Every model's logarithm of prior times likelihood (over that of the
  // straight line without its prior), and its line.
  struct Candidate {
    double log_weight;
    double slope;
    double level;
    double departure;
  };
  std::array<Candidate, kDepartsFrom.size() + 1> candidates;
  candidates.fill({-std::numeric_limits<double>::infinity(), 0.0, 0.0, 0.0});
  candidates[0] = {
      std::log(kPriorStraight), straight, mean_out - straight * mean_t, 0.0};
  for (std::size_t k = 0; k < kDepartsFrom.size(); ++k) {
    // What of the departure's shape a straight line can't follow, and how much
    // of it the wall shows (Frisch-Waugh: partial regression).
    double sum_h = 0.0;
    double th = 0.0;
    double hh = 0.0;
    double ho = 0.0;
    for (const WallPlace& p : places) {
      const double h = Departs(kDepartsFrom[k], p.t);
      sum_h += h;
      th += (p.t - mean_t) * h;
      hh += h * h;
      ho += h * (p.out - mean_out);
    }
    // About its mean, which changes nothing of the products with what is about
    // its own.
    const double mean_h = sum_h / n;
    hh -= n * mean_h * mean_h;
    const double h_slope = th / tt;
    const double rest = hh - h_slope * th;
    if (!(rest > 1e-9)) continue;
    const double size = (ho - h_slope * to) / rest;
    const double size_variance = variance / rest;
    const double trust = prior_variance / (prior_variance + size_variance);
    // Bayes factor of a normal mean with a normal prior, against zero.
    const double log_factor =
        0.5 * trust * size * size / size_variance +
        0.5 * std::log(size_variance / (prior_variance + size_variance));
    const double its_slope = straight - trust * size * h_slope;
    candidates[k + 1] = {std::log(kPriorEach) + log_factor,
                         its_slope,
                         mean_out - trust * size * mean_h - its_slope * mean_t,
                         trust * size};
  }
  double best = candidates[0].log_weight;
  for (const Candidate& c : candidates) best = std::max(best, c.log_weight);
  double weights = 0.0;
  double slope = 0.0;
  double level = 0.0;
  for (Candidate& c : candidates) {
    // Against the best, so that no exponential overflows.
    const double weight = std::exp(c.log_weight - best);
    weights += weight;
    slope += weight * c.slope;
    level += weight * c.level;
    c.departure *= weight;
  }
  slope /= weights;
  level /= weights;
  // Back from the chord's frame; the line runs down, so it is turned.
  const auto place = [&](double t) {
    return chord->at + (t * length) * chord->direction +
           (level + slope * t) * out;
  };
  const auto line = geometry::LineThrough(place(1.0), place(0.0));
  if (!line) return std::nullopt;
  if (wants == WallWants::kLine) return WallFit{*line, 0.0, {}};
  const double departure =
      LargestGap(places, level, slope) / std::hypot(1.0, slope / length);
  if (wants == WallWants::kDeparture) return WallFit{*line, departure, {}};

  std::vector<double> noise(wall.size(), 0.0);
  for (std::size_t i = 0; i < places.size(); ++i) {
    double on_wall = level + slope * places[i].t;
    for (std::size_t k = 0; k < kDepartsFrom.size(); ++k) {
      on_wall += candidates[k + 1].departure / weights *
                 Departs(kDepartsFrom[k], places[i].t);
    }
    noise[corners[i]] = places[i].out - on_wall;
  }
  return WallFit{*line, departure, std::move(noise)};
}

FootPolyline WithoutNoise(const FootPolyline& wall,
                          const std::vector<double>& noise) {
  const auto chord = geometry::LineThrough(wall.front(), wall.back());
  if (!chord || noise.size() != wall.size()) return wall;
  const FootVector out = Outwards(chord->direction);
  FootPolyline clean = wall;
  for (std::size_t i = 0; i < clean.size(); ++i) {
    clean[i] = clean[i] - noise[i] * out;
  }
  return clean;
}

void TakeLateral(const Layout& layout, InFoot& foot) {
  const auto& toe_ground = foot.at(PointId::kToeGround);
  const auto& toe_hairline = foot.at(PointId::kToeHairline);
  const auto& heel_ground = foot.at(PointId::kHeelGround);
  const auto& heel_hairline = foot.at(PointId::kHeelHairline);
  const auto& pastern_low = foot.at(PointId::kPasternLower);
  const auto& pastern_high = foot.at(PointId::kPasternUpper);

  foot.toe_line.reset();
  foot.wall_noise.clear();
  const auto fit_wall = [&layout](const FootPolyline& wall, WallWants wants) {
    return FitWall(wall, layout.wall_sigma, layout.wall_correlation, wants);
  };
  const bool is_trial = !layout.wall_noise.empty();
  if (auto fit = fit_wall(foot.dorsal_wall,
                          is_trial ? WallWants::kLine : WallWants::kNoise)) {
    foot.toe_line = fit->line;
    if (is_trial) {
      fit = fit_wall(WithoutNoise(foot.dorsal_wall, layout.wall_noise),
                     WallWants::kDeparture);
    }
    if (fit) {
      foot.number(MeasureId::kDorsalWallDeparture) =
          fit->departure + foot.departs_further;
      foot.wall_noise = std::move(fit->noise);
    }
  } else if (toe_ground && toe_hairline) {
    foot.toe_line = geometry::LineThrough(*toe_ground, *toe_hairline);
  }

  if (foot.toe_line) {
    foot.number(MeasureId::kToeAngle) =
        OpeningBackwards(foot.toe_line->direction);
  }
  if (heel_ground && heel_hairline) {
    foot.number(MeasureId::kHeelAngle) =
        OpeningBackwards(*heel_hairline - *heel_ground);
  }
  if (pastern_low && pastern_high) {
    foot.number(MeasureId::kPasternAngle) =
        OpeningBackwards(*pastern_high - *pastern_low);
  }
  if (toe_hairline && heel_hairline) {
    foot.number(MeasureId::kHairlineAngle) =
        -OpeningBackwards(*heel_hairline - *toe_hairline);
  }
  foot.number(MeasureId::kToeHeelDifference) =
      foot.number(MeasureId::kToeAngle) - foot.number(MeasureId::kHeelAngle);
  foot.number(MeasureId::kHoofPasternDifference) =
      foot.number(MeasureId::kToeAngle) - foot.number(MeasureId::kPasternAngle);
  // The bearing line is y = 0.
  if (toe_hairline) foot.number(MeasureId::kToeHeight) = toe_hairline->y;
  if (heel_hairline) foot.number(MeasureId::kHeelHeight) = heel_hairline->y;
  foot.number(MeasureId::kHeelToToeHeight) =
      foot.number(MeasureId::kHeelHeight) / foot.number(MeasureId::kToeHeight);
}

}  // namespace plumbfoot::measure
