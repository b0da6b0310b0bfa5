// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/fit/shoe_level.h"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <stdexcept>
#include <utility>

#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::fit {
namespace {

using geometry::CardPoint;
using geometry::CardVector;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PlaneMap;

/// CHOSEN: the toe's bend, where the edge runs away from the camera and a
/// breakover may be rolled, is left out [part of the length].
constexpr double kToePart = 0.08;
/// CHOSEN: just before the widest part, where the last nail is: in front of it
/// the shoe is nailed fast, behind it a branch bends.
constexpr double kBendFrom = 0.55;
/// CHOSEN: what is left out at the very end, for its rounding [mm].
constexpr double kEndLeftOut = 3.0;
/// CHOSEN: an edge in a photo isn't known better than this [mm].
constexpr double kLeastScatter = 0.03;
/// CHOSEN: a shoe's side is as high at the heel as in front, but for wear and
/// what one sees of its upper face; on rendered scenes up to 1.1 mm. Where it
/// looks higher by more, the shadow below a heel passed for it [mm].
constexpr double kMostHigher = 1.3;
/// CHOSEN: places of an edge nearer than this err together [mm].
constexpr double kTogether = 6.0;
/// The card leans by this, as geometry::PlaneDoubt has it [mm per mm of depth].
constexpr double kLean = 0.035;
/// CHOSEN: the card's turn about the vertical, geometry::PlaneDoubt's, and the
/// frog's axis against the foot's middle [rad].
constexpr double kTurn = 0.045;
/// CHOSEN: what scatters more about a smooth course, or leaves it more over
/// 5 mm, is no shoe's edge, or not only: on rendered scenes clean edges scatter
/// by 0.03 to 0.07 mm, edges behind gravel and straw by 0.1 and more [mm].
constexpr double kMostScatter = 0.09;
constexpr double kMostAside = 0.28;
constexpr double kTwoSided95 = 1.959963985;

struct Place {
  double back = 0.0;
  double height = 0.0;
};

/// The depth is that of the place, which is known once the depth is: it
/// settles in a few rounds.
std::optional<Place> PlaceOf(const PlaneMap& map,
                             const SideFrame& frame,
                             const BranchDepth& depth,
                             PhotoPoint px) {
  double back = frame.length_mm / 2;
  std::optional<Place> place;
  for (int round = 0; round < 6; ++round) {
    const auto on = map.ApplyNearer(px, depth.At(back / frame.length_mm));
    if (!on) return std::nullopt;
    const CardVector d = *on - frame.toe;
    place = {geometry::Dot(d, frame.back), geometry::Dot(d, frame.up)};
    back = place->back;
  }
  return place;
}

/// An edge at even steps, each place with how sure it is.
struct Course {
  std::vector<Place> places;
  double sigma_mm = 0.0;     ///< Of each place.
  double together_mm = 1.0;  ///< Places nearer than this err alike.
  bool by_person = false;
};

Course CourseOf(const PlaneMap& map,
                const SideFrame& frame,
                const BranchDepth& depth,
                const geometry::PlacedCurve& edge) {
  Course course;
  PhotoPolyline line = edge.px;
  const double px_per_mm = map.PixelsPerMillimetre(frame.toe);
  const double length = geometry::Length(line, geometry::Ends::kOpen);
  constexpr double kStep = 1.0;
  const auto count = static_cast<std::size_t>(
      std::max(3.0, std::round(length / (kStep * px_per_mm))));
  line = geometry::Resample(line, count, geometry::Ends::kOpen);
  for (const PhotoPoint& px : line) {
    if (const auto place = PlaceOf(map, frame, depth, px)) {
      course.places.push_back(*place);
    }
  }
  std::sort(course.places.begin(),
            course.places.end(),
            [](const Place& a, const Place& b) { return a.back < b.back; });
  course.together_mm = std::max(kTogether, edge.correlation_px / px_per_mm);
  course.sigma_mm = std::max(edge.sigma_px / px_per_mm, kLeastScatter);
  course.by_person = edge.placed_by == geometry::PlacedBy::kPerson;
  return course;
}

double Smooth(double t) {
  const double u = std::clamp(t, 0.0, 1.0);
  return u * u * (3 - 2 * u);
}

LevelLength LengthOf(double mm, double sigma) {
  return {mm, sigma, mm - kTwoSided95 * sigma, mm + kTwoSided95 * sigma};
}

/// The unknowns of a branch's edge and their sizes before anything is seen.
struct Model {
  enum Unknown {
    kHeight,  // of the straight line at the toe
    kSlope,
    kLeanOfCard,
    kHeelDepth,
    kShift,
    kTurnOfSole,
    kBend1,
    kBend2,
    kBend3,
    kUnknowns
  };
  using Row = Eigen::Matrix<double, kUnknowns, 1>;

  const SideFrame& frame;
  const BranchDepth& depth;
  double rise_per_depth = 0.0;  ///< Apparent, of a place that is nearer.

  double Bend(double back) const {
    return std::max(0.0,
                    (back / frame.length_mm - kBendFrom) / (1 - kBendFrom));
  }
  Row At(double back) const {
    const double part = back / frame.length_mm;
    constexpr double kDelta = 0.02;
    const double slope = (depth.At(part + kDelta) - depth.At(part - kDelta)) /
                         (2 * kDelta * frame.length_mm);
    const double bend = Bend(back);
    Row row;
    row << 1.0, back / frame.length_mm, depth.At(part),
        rise_per_depth * Smooth((part - 0.5) / 0.5), rise_per_depth * slope,
        rise_per_depth * slope * depth.At(part), bend, bend * bend,
        bend * bend * bend;
    return row;
  }
  Row Prior() const {
    Row sigma;
    sigma << 10.0, 10.0, kLean, depth.sigma_mm, depth.along_sigma_mm, kTurn,
        5.0, 10.0, 5.0;
    return sigma;
  }
  /// What of a row is the shoe's bend and not the photo's.
  static Row OnlyBend(Row row) {
    row.head<kBend1>().setZero();
    return row;
  }
};

struct Fitted {
  Model::Row best;
  Eigen::Matrix<double, Model::kUnknowns, Model::kUnknowns> covariance;
  double scatter_mm = 0.0;
};

Fitted FitCourse(const Model& model, const Course& course) {
  using Matrix = Eigen::Matrix<double, Model::kUnknowns, Model::kUnknowns>;
  const Model::Row prior = model.Prior();
  Fitted fitted;
  std::vector<double> weight(course.places.size(), 1.0);
  for (int round = 0; round < 6; ++round) {
    Matrix squares = Matrix::Zero();
    for (int i = 0; i < Model::kUnknowns; ++i) {
      squares(i, i) = 1 / (prior(i) * prior(i));
    }
    Model::Row right = Model::Row::Zero();
    // Neighbours err together: of so many places, a millimetre apart, one
    // counts. How uneven the edge is, it says itself once there is a course.
    // Not a line between a few corners of a person, of which each errs alone.
    double sigma = course.sigma_mm;
    if (course.by_person) {
      sigma = std::max(sigma, fitted.scatter_mm);
    } else if (round > 0) {
      sigma = std::max(fitted.scatter_mm, kLeastScatter);
    }
    const double per = 1 / (sigma * sigma * course.together_mm);
    for (std::size_t i = 0; i < course.places.size(); ++i) {
      const Model::Row row = model.At(course.places[i].back);
      squares += weight[i] * per * row * row.transpose();
      right += weight[i] * per * course.places[i].height * row;
    }
    const Eigen::LDLT<Matrix> solver(squares);
    fitted.best = solver.solve(right);
    fitted.covariance = solver.solve(Matrix::Identity());
    double sum = 0.0;
    double count = 0.0;
    for (std::size_t i = 0; i < course.places.size(); ++i) {
      const double off = course.places[i].height -
                         fitted.best.dot(model.At(course.places[i].back));
      sum += weight[i] * off * off;
      count += weight[i];
      // Tukey's biweight; a stone before the edge is none of it.
      const double u =
          off /
          (4.685 * std::max(0.15,
                            std::max(course.by_person ? course.sigma_mm : 0.0,
                                     fitted.scatter_mm)));
      weight[i] = std::abs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0.0;
    }
    fitted.scatter_mm = std::sqrt(sum / std::max(1.0, count));
  }
  return fitted;
}

/// How much of a stretch an edge covers [0..1].
double Covered(const Course& course, double from, double to) {
  constexpr int kCells = 20;
  std::array<bool, kCells> seen{};
  for (const Place& place : course.places) {
    const double t = (place.back - from) / (to - from);
    if (t >= 0 && t < 1) seen.at(static_cast<std::size_t>(t * kCells)) = true;
  }
  return static_cast<double>(std::count(seen.begin(), seen.end(), true)) /
         kCells;
}

/// The most that five millimetres of the edge lie off the fitted course [mm].
double Aside(const Model& model, const Fitted& fitted, const Course& course) {
  constexpr std::size_t kFive = 5;
  double most = 0.0;
  for (std::size_t i = 0; i + kFive <= course.places.size(); ++i) {
    double sum = 0.0;
    for (std::size_t k = i; k < i + kFive; ++k) {
      sum += course.places[k].height -
             fitted.best.dot(model.At(course.places[k].back));
    }
    most = std::max(most, std::abs(sum) / kFive);
  }
  return most;
}

std::optional<double> HeightAt(const Course& course, double back) {
  for (std::size_t i = 1; i < course.places.size(); ++i) {
    const Place& a = course.places[i - 1];
    const Place& b = course.places[i];
    if (back < a.back || back > b.back || !(b.back > a.back)) continue;
    return a.height +
           (b.height - a.height) * (back - a.back) / (b.back - a.back);
  }
  return std::nullopt;
}

double Median(std::vector<double> values) {
  const auto middle =
      values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// How much higher the side is at the heel than in front; nothing where one of
/// the two isn't seen.
std::optional<double> HigherAtHeel(const SideFrame& frame,
                                   const Course& ground,
                                   const Course& foot) {
  const auto height = [&](double from, double to) {
    std::vector<double> heights;
    for (double s = from * frame.length_mm; s < to * frame.length_mm;
         s += 1.0) {
      const auto low = HeightAt(ground, s);
      const auto high = HeightAt(foot, s);
      if (low && high) heights.push_back(*high - *low);
    }
    return heights.size() < 6 ? std::optional<double>()
                              : std::optional(Median(heights));
  };
  const auto front = height(0.15, kBendFrom);
  const auto heel = height(0.85, 0.97);
  if (!front || !heel) return std::nullopt;
  return *heel - *front;
}

/// From the shoe's ground edge to another edge, along its front half.
std::optional<LevelLength> ThicknessOf(const SideFrame& frame,
                                       const Course& ground,
                                       const Course& foot) {
  std::vector<double> heights;
  for (double s = 0.15 * frame.length_mm; s < kBendFrom * frame.length_mm;
       s += 1.0) {
    const auto low = HeightAt(ground, s);
    const auto high = HeightAt(foot, s);
    if (low && high) heights.push_back(*high - *low);
  }
  // CHOSEN: a fifth of the length, so that one chip isn't the thickness.
  if (static_cast<double>(heights.size()) < 0.2 * frame.length_mm) {
    return std::nullopt;
  }
  const double mm = Median(heights);
  for (double& height : heights) height = std::abs(height - mm);
  // The scatter about the median, of as many places as err alone; and the
  // steel's rounded edges, which look wider or narrower by the light.
  constexpr double kRounded = 0.2;  // CHOSEN
  const double alone = static_cast<double>(heights.size()) / kTogether;
  const double sigma = std::hypot(
      1.4826 * Median(heights) / std::sqrt(std::max(1.0, alone)), kRounded);
  return LengthOf(mm, sigma);
}

/// Between the shoe's foot edge and the horn's lower edge, at the heel.
std::optional<LevelLength> GapOf(const SideFrame& frame,
                                 const Model& model,
                                 const Course& foot,
                                 const Course& horn) {
  // Behind the middle: the two part with the second order of the way back.
  Eigen::Matrix2d squares = Eigen::Matrix2d::Zero();
  Eigen::Vector2d right = Eigen::Vector2d::Zero();
  const double variance =
      foot.sigma_mm * foot.sigma_mm + horn.sigma_mm * horn.sigma_mm;
  int count = 0;
  double end = 0.0;
  for (const Place& place : horn.places) {
    const double bend = model.Bend(place.back);
    const auto low = HeightAt(foot, place.back);
    if (!(bend > 0) || !low) continue;
    const Eigen::Vector2d row(bend, bend * bend);
    squares += row * row.transpose() / variance;
    right += (place.height - *low) / variance * row;
    end = std::max(end, place.back);
    ++count;
  }
  if (count < 12 || end < 0.85 * frame.length_mm) return std::nullopt;
  squares += 1e-4 * Eigen::Matrix2d::Identity();
  const Eigen::LDLT<Eigen::Matrix2d> solver(squares);
  const Eigen::Vector2d best = solver.solve(right);
  const Eigen::Vector2d at(model.Bend(end), std::pow(model.Bend(end), 2));
  const Eigen::Vector2d spread = solver.solve(at);
  // The horn stands some millimetres inside the shoe: it looks higher by
  // rise_per_depth times that.
  constexpr double kInside = 2.0;  // CHOSEN: give or take as much [mm]
  const double sigma =
      std::hypot(std::sqrt(at.dot(spread)), model.rise_per_depth * kInside);
  return LengthOf(best.dot(at) - model.rise_per_depth * kInside, sigma);
}

/// The lowest and the highest y of a closed outline at an x.
std::optional<std::array<double, 2>> SpanAt(
    const geometry::FootPolyline& outline, double x) {
  std::optional<std::array<double, 2>> span;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const auto& a = outline[i];
    const auto& b = outline[(i + 1) % outline.size()];
    if ((a.x > x) == (b.x > x)) continue;
    const double y = a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x);
    if (!span) span = {y, y};
    span = {std::min(span->at(0), y), std::max(span->at(1), y)};
  }
  return span;
}

LevelVerdict VerdictOf(const LevelLength& rise) {
  if (rise.low95 > kLevelWithin) return LevelVerdict::kSprung;
  if (rise.high95 < -kLevelWithin) return LevelVerdict::kLow;
  if (rise.low95 > -kLevelWithin && rise.high95 < kLevelWithin) {
    return LevelVerdict::kLevel;
  }
  return LevelVerdict::kUnsure;
}

}  // namespace

double BranchDepth::At(double part) const {
  if (places.empty()) return 0.0;
  if (part <= places.front()[0]) return places.front()[1];
  for (std::size_t i = 1; i < places.size(); ++i) {
    if (part > places[i][0]) continue;
    const auto& a = places[i - 1];
    const auto& b = places[i];
    const double span = b[0] - a[0];
    return span > 0 ? a[1] + (b[1] - a[1]) * (part - a[0]) / span : b[1];
  }
  return places.back()[1];
}

Result<BranchDepth> BranchOfSole(const geometry::FootPolyline& outline,
                                 bool left,
                                 bool is_shoes) {
  const Refusal none{RefusalCode::kTooFewPoints,
                     "The sole's outline doesn't show the branch.",
                     "Measure a photo of the shod sole with the card in it."};
  if (outline.size() < 8) return none;
  double toe = -std::numeric_limits<double>::infinity();
  double heel = -toe;
  for (const auto& p : outline) {
    toe = std::max(toe, p.x);
    if ((left ? p.y : -p.y) > 5) heel = std::min(heel, p.x);
  }
  if (!(toe - heel > 40)) return none;
  BranchDepth depth;
  // CHOSEN: an outline of the sole, its axis and the card's plane agree to
  // this, and the two views are laid on each other so well.
  depth.sigma_mm = is_shoes ? 1.5 : 2.5;
  depth.along_sigma_mm = is_shoes ? 1.5 : 2.5;
  constexpr int kSteps = 120;
  for (int k = 0; k <= kSteps; ++k) {
    const double part = static_cast<double>(k) / kSteps;
    // A hair's breadth inside the ends, where there is an outline.
    const auto span =
        SpanAt(outline, toe + std::clamp(part, 0.002, 0.998) * (heel - toe));
    const double most = !span ? 0.0 : left ? span->at(1) : -span->at(0);
    depth.places.push_back({part, std::max(0.0, most)});
  }
  return depth;
}

Result<SideFrame> SideFrameOf(const PlaneMap& map,
                              const BranchDepth& depth,
                              PhotoPoint toe,
                              PhotoPoint heel,
                              geometry::HeelPlane heel_plane,
                              double heel_sigma_mm) {
  const Refusal missing{
      RefusalCode::kPointMissing,
      "Toe and heel on the ground don't lie in the measured plane.",
      "Place toe_ground and heel_ground in the photo of the shod foot."};
  const auto front = map.Apply(toe);
  const bool near = heel_plane == geometry::HeelPlane::kNear;
  const auto back = map.ApplyNearer(heel, near ? depth.At(1.0) : 0.0);
  if (!front || !back) return missing;
  SideFrame frame;
  frame.toe = *front;
  frame.length_mm = geometry::Distance(*front, *back);
  frame.length_sigma_mm = heel_sigma_mm;
  // CHOSEN: from a small pony's to a draught horse's foot.
  if (!(frame.length_mm > 60 && frame.length_mm < 260)) return missing;
  frame.back = (*back - *front) / frame.length_mm;
  frame.up = geometry::Perpendicular(frame.back);
  const PhotoPoint above = map.Inverse(frame.toe + 20.0 * frame.up);
  const PhotoPoint below = map.Inverse(frame.toe - 20.0 * frame.up);
  if (above.y > below.y) frame.up = -frame.up;
  return frame;
}

PhotoPoint OnBranch(const PlaneMap& map,
                    const SideFrame& frame,
                    const BranchDepth& depth,
                    double back_mm,
                    double height_mm) {
  const CardPoint foot =
      frame.toe + back_mm * frame.back + height_mm * frame.up;
  const Eigen::Vector3d eye = map.CameraInPlane();
  const double nearer = depth.At(back_mm / frame.length_mm);
  const CardPoint under{eye.x(), eye.y()};
  return map.Inverse(under + (eye.z() / (eye.z() - nearer)) * (foot - under));
}

std::string_view LevelVerdictName(LevelVerdict verdict) {
  switch (verdict) {
    case LevelVerdict::kLevel:
      return "level";
    case LevelVerdict::kSprung:
      return "sprung";
    case LevelVerdict::kLow:
      return "low";
    case LevelVerdict::kUnsure:
      return "unsure";
  }
  throw std::invalid_argument("LevelVerdictName: not a LevelVerdict");
}

Result<ShoeLevel> LevelOf(const PlaneMap& map,
                          const SideFrame& frame,
                          const BranchDepth& depth,
                          const BranchEdges& edges) {
  const double length = frame.length_mm;
  Course ground = CourseOf(map, frame, depth, edges.ground);
  std::erase_if(ground.places, [length](const Place& place) {
    return place.back < kToePart * length || place.back > length - kEndLeftOut;
  });
  // CHOSEN: what the line is laid through, and what tells of the heel.
  if (Covered(ground, 0.15 * length, kBendFrom * length) < 0.7 ||
      Covered(ground, 0.75 * length, length - kHeelPlace) < 0.7) {
    return Refusal{
        RefusalCode::kTooFewPoints,
        "The shoe's ground edge can't be followed from the toe to the heel.",
        "Photograph the foot on clean, hard ground, or place the edge by hand "
        "(shoe_ground)."};
  }
  const Eigen::Vector3d eye = map.CameraInPlane();
  const Model model{
      frame,
      depth,
      geometry::Dot(CardPoint{eye.x(), eye.y()} - frame.toe, frame.up) /
          eye.z()};
  const Fitted fitted = FitCourse(model, ground);
  // A person sees through mud and straw; a person's corners jump more.
  const bool even = ground.by_person
                        ? fitted.scatter_mm < 3 * ground.sigma_mm
                        : fitted.scatter_mm < kMostScatter &&
                              Aside(model, fitted, ground) < kMostAside;
  if (!even) {
    return Refusal{
        RefusalCode::kImplausible,
        "What was followed is too uneven to be the shoe's ground edge.",
        "Clean the shoe's side, photograph it again on clean, hard ground, or "
        "place the edge by hand (shoe_ground)."};
  }
  if (!ground.by_person) {
    const auto higher =
        edges.foot
            ? HigherAtHeel(
                  frame, ground, CourseOf(map, frame, depth, *edges.foot))
            : std::nullopt;
    if (!higher || std::abs(*higher) > kMostHigher) {
      return Refusal{
          RefusalCode::kImplausible,
          "The shoe's side isn't seen equally high in front and at the heel: "
          "what was followed may be the shadow below the heel.",
          "Photograph it again in even light, without the sun behind the foot, "
          "or place the edge by hand (shoe_ground)."};
    }
  }
  ShoeLevel level;
  level.scatter_mm = fitted.scatter_mm;
  const double at = length - kHeelPlace;
  const Model::Row heel = Model::OnlyBend(model.At(at));
  const double rise = fitted.best.dot(heel);
  // How steep it is there, for where the heel ends is known so far only.
  const double steep =
      rise - fitted.best.dot(Model::OnlyBend(model.At(at - 1.0)));
  const double variance = heel.dot(fitted.covariance * heel) +
                          std::pow(steep * frame.length_sigma_mm, 2);
  level.rise = LengthOf(rise, std::sqrt(variance));
  level.verdict = VerdictOf(level.rise);

  for (double s = 0.04 * length; s <= length; s += length / 60) {
    Model::Row row = model.At(s);
    row.tail<3>().setZero();
    level.level_px.push_back(
        OnBranch(map, frame, depth, s, fitted.best.dot(row)));
  }
  Model::Row end = model.At(at);
  level.shoe_heel_px = OnBranch(map, frame, depth, at, fitted.best.dot(end));
  end.tail<3>().setZero();
  level.line_heel_px = OnBranch(map, frame, depth, at, fitted.best.dot(end));

  if (edges.foot) {
    const Course foot = CourseOf(map, frame, depth, *edges.foot);
    level.thickness = ThicknessOf(frame, ground, foot);
    if (edges.horn) {
      const Course horn = CourseOf(map, frame, depth, *edges.horn);
      level.gap = GapOf(frame, model, foot, horn);
    }
  }
  return level;
}

}  // namespace plumbfoot::fit
