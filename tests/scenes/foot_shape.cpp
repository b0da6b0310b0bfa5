// SPDX-License-Identifier: Apache-2.0
#include "scenes/foot_shape.h"

#include <numbers>

#include "plumbfoot/geometry/units.h"
#include "scenes/vec.h"

namespace plumbfoot::scenes {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using geometry::Random;

// CHOSEN: 240 columns a side are 0.6 to 0.9 mm apart; the chord's sagitta at
// the buttress's radius of 8 mm is then below 0.01 mm.
constexpr std::size_t kSideSegments = 240;
constexpr std::size_t kRearSegments = 72;
// The wall is straight from the hairline down to this part of its length.
constexpr double kStraightPart = 0.6;

double Radians(double degrees) {
  return geometry::Degrees(degrees).radians();
}
double Cot(double degrees) {
  return 1.0 / std::tan(Radians(degrees));
}

// From the toe to the heel's rearmost point, y counted away from the middle.
std::vector<Vector2d> SideCurve(const FootShape& shape, const FootSide& side) {
  std::vector<Vector2d> curve;
  constexpr int kFine = 1500;
  const double reach = shape.length - side.widest_x;
  for (int i = 0; i < kFine; ++i) {
    const double t = std::numbers::pi / 2 * i / kFine;
    const double corner = std::sin(2 * t);
    curve.emplace_back(
        side.widest_x +
            reach * (std::cos(t) - shape.toe_point * corner * corner),
        side.half_width * std::sin(t));
  }
  // A cubic from the widest place to where the buttress's rounding starts.
  const double slope = Radians(side.heel_slope);
  const Vector2d centre(side.heel_x + side.heel_radius, side.heel_y);
  const Vector2d start(side.widest_x, side.half_width);
  const Vector2d end =
      centre + side.heel_radius * Vector2d(-std::sin(slope), std::cos(slope));
  const double speed = 0.9 * (end - start).norm();
  const Vector2d v0(-speed, 0.0);
  const Vector2d v1(-speed * std::cos(slope), -speed * std::sin(slope));
  for (int i = 0; i < kFine; ++i) {
    const double t = static_cast<double>(i) / kFine;
    const double t2 = t * t;
    const double t3 = t2 * t;
    curve.emplace_back((2 * t3 - 3 * t2 + 1) * start + (t3 - 2 * t2 + t) * v0 +
                       (3 * t2 - 2 * t3) * end + (t3 - t2) * v1);
  }
  for (int i = 0; i <= kFine / 3; ++i) {
    const double turn =
        slope + (std::numbers::pi / 2 - slope) * i / (kFine / 3.0);
    curve.emplace_back(centre + side.heel_radius *
                                    Vector2d(-std::sin(turn), std::cos(turn)));
  }
  return curve;
}

// The same curve in kSideSegments equal steps, uneven by `ripple` mm. The
// toe and the heel stay where they are.
std::vector<Vector2d> EvenSteps(const std::vector<Vector2d>& fine,
                                double ripple,
                                Random& random) {
  std::vector<double> along(fine.size(), 0.0);
  for (std::size_t i = 1; i < fine.size(); ++i) {
    along[i] = along[i - 1] + (fine[i] - fine[i - 1]).norm();
  }
  const double phase1 = random.Uniform(0, 6.28);
  const double phase2 = random.Uniform(0, 6.28);
  std::vector<Vector2d> even;
  std::size_t at = 0;
  for (std::size_t i = 0; i <= kSideSegments; ++i) {
    const double part = static_cast<double>(i) / kSideSegments;
    const double want = part * along.back();
    while (at + 2 < fine.size() && along[at + 1] < want) ++at;
    const double t = Clamp01((want - along[at]) / (along[at + 1] - along[at]));
    const Vector2d step = fine[at + 1] - fine[at];
    const Vector2d normal = Vector2d(-step.y(), step.x()).normalized();
    const double window =
        SmoothStep(0.03, 0.12, part) * (1 - SmoothStep(0.84, 0.94, part));
    const double wave =
        ripple * window *
        (std::sin(18 * part + phase1) + 0.6 * std::sin(41 * part + phase2));
    even.emplace_back(fine[at] + t * step + wave * normal);
  }
  return even;
}

}  // namespace

FootShape RandomFootShape(Random& random, geometry::Foot foot) {
  const bool fore = geometry::IsFore(foot);
  FootShape s;
  s.foot = foot;
  s.seed = static_cast<std::uint64_t>(random.Below(1 << 30));
  const double width = random.Uniform(92, 158);
  const double ratio =
      fore ? random.Uniform(0.94, 1.10) : random.Uniform(0.86, 1.02);
  s.length = width / ratio;
  const double size = s.length / 125.0;
  s.toe_point =
      fore ? random.Uniform(-0.035, 0.03) : random.Uniform(0.0, 0.035);

  const double left_more = random.Normal(0, 0.012);
  const double lateral = geometry::IsLeft(foot) ? 0.008 : -0.008;
  const auto side = [&](double sign) {
    FootSide f;
    f.half_width = width * (0.5 + sign * (left_more + lateral));
    f.widest_x = s.length * (fore ? random.Uniform(0.40, 0.49)
                                  : random.Uniform(0.34, 0.42));
    f.heel_x = random.Normal(0, 0.9);
    f.heel_y = f.half_width * random.Uniform(0.54, 0.70);
    f.heel_radius = random.Uniform(6, 9) * size;
    f.heel_slope = random.Uniform(20, 38);
    f.flare = random.Chance(0.35) ? random.Uniform(0, 5) : 0.0;
    return f;
  };
  s.left = side(1);
  s.right = side(-1);
  s.ripple = random.Uniform(0.1, 0.45);

  s.toe_angle = std::clamp(random.Normal(fore ? 50.0 : 52.5, 4.2), 38.0, 62.0);
  s.heel_angle =
      std::clamp(s.toe_angle - std::max(0.0, random.Normal(4.5, 3.5)),
                 std::max(30.0, s.toe_angle - 12),
                 s.toe_angle);
  s.quarter_angle = random.Uniform(74, 83);
  s.dorsal_length = s.length * random.Uniform(0.60, 0.76);
  s.heel_length = s.dorsal_length * random.Uniform(0.38, 0.58);
  s.toe_flare = random.Chance(0.4) ? random.Uniform(-1.0, 6.5) : 0.0;
  s.coronet_sag = random.Uniform(-1, 4);
  s.bulb = random.Uniform(10, 18) * size;

  s.pastern_angle = std::clamp(s.toe_angle + random.Normal(1, 4), 40.0, 65.0);
  s.pastern_width = 56 * size * random.Uniform(0.92, 1.08);
  s.pastern_depth = 60 * size * random.Uniform(0.92, 1.08);
  s.pastern_lower = random.Uniform(20, 26) * size;
  s.pastern_upper = random.Uniform(58, 72) * size;

  s.wall_toe = random.Uniform(9, 12) * std::sqrt(size);
  s.wall_heel = random.Uniform(7, 9) * std::sqrt(size);
  s.white_line = random.Uniform(1.6, 3.2);
  s.sole_depth = random.Uniform(3, 15);
  s.frog_base_x = random.Uniform(-4, 14) * size;
  s.frog_length = s.length * random.Uniform(0.58, 0.68);
  s.frog_width = std::min(s.frog_length * random.Uniform(0.48, 0.70),
                          1.75 * std::min(s.left.heel_y, s.right.heel_y));
  s.frog_y = (s.left.heel_y - s.right.heel_y) / 2 + random.Normal(0, 0.8);
  s.frog_turn = random.Normal(0, 1.2);
  s.frog_height = random.Uniform(1.5, 6);
  s.sulcus_depth = std::max(s.sole_depth + 4, random.Uniform(11, 19));
  s.central_sulcus = random.Uniform(3, 11);

  s.shod = random.Chance(0.35);
  s.shoe_thickness = random.Uniform(8, 11);
  s.shoe_web = random.Uniform(18, 24) * std::sqrt(size);
  s.shoe_toe_fit = random.Uniform(0, 0.8);
  s.shoe_heel_fit = random.Uniform(1, 5);
  s.shoe_fullered = random.Chance(0.6);
  s.nails = random.Chance(0.6) ? 6 : random.Chance(0.5) ? 7 : 8;
  return s;
}

FootGeometry::FootGeometry(const FootShape& shape) : shape_(shape) {
  BuildOutline();
  BuildWall();
  BuildRear();
}

void FootGeometry::BuildOutline() {
  Random random(shape_.seed);
  const auto left =
      EvenSteps(SideCurve(shape_, shape_.left), shape_.ripple, random);
  const auto right =
      EvenSteps(SideCurve(shape_, shape_.right), shape_.ripple, random);
  columns_.resize(2 * kSideSegments + 1);
  for (std::size_t i = 0; i <= kSideSegments; ++i) {
    columns_[kSideSegments - i].ground = left[i];
    columns_[kSideSegments + i].ground = {right[i].x(), -right[i].y()};
  }
  const std::size_t last = columns_.size() - 1;
  for (std::size_t i = 0; i <= last; ++i) {
    Vector2d tangent = columns_[std::min(i + 1, last)].ground -
                       columns_[i > 0 ? i - 1 : 0].ground;
    // At the ends and the toe the tangent runs straight across by
    // construction; differences would see only one side of it.
    if (i == 0 || i == last) tangent = {0, 1};
    if (i == kSideSegments) tangent = {0, -1};
    columns_[i].outward = Vector2d(-tangent.y(), tangent.x()).normalized();
    if (i > 0) {
      columns_[i].along = columns_[i - 1].along +
                          (columns_[i].ground - columns_[i - 1].ground).norm();
    }
  }
  for (std::size_t i = 0; i <= last; ++i) {
    bearing_.push_back(columns_[i].ground + ShoeFit(i) * columns_[i].outward);
  }
}

double FootGeometry::ShoeFit(std::size_t column) const {
  if (!shape_.shod) return 0.0;
  const double back =
      1 - SmoothStep(0.0, 0.75 * shape_.length, columns_[column].ground.x());
  return Mix(shape_.shoe_toe_fit, shape_.shoe_heel_fit, back);
}

double FootGeometry::HeelBend(double x) const {
  const double from = 0.45 * shape_.length;
  const double end = std::min(bearing_.front().x(), bearing_.back().x());
  const double part = Clamp01((from - x) / (from - end));
  return part * part;
}

double FootGeometry::ShoeRise(double x) const {
  return shape_.shod ? shape_.shoe_rise * HeelBend(x) : 0.0;
}

double FootGeometry::HornRise(double x) const {
  return shape_.shod ? (shape_.shoe_rise + shape_.shoe_gap) * HeelBend(x) : 0.0;
}

void FootGeometry::BuildWall() {
  const double lift = shape_.lift();
  const double toe_x = shape_.length - shape_.toe_flare;
  const double toe_height =
      shape_.dorsal_length * std::sin(Radians(shape_.toe_angle));
  const double heel_height =
      shape_.heel_length * std::sin(Radians(shape_.heel_angle));
  const double toe_top = toe_x - toe_height * Cot(shape_.toe_angle);
  for (WallColumn& c : columns_) {
    const FootSide& side = c.ground.y() >= 0 ? shape_.left : shape_.right;
    const double frontness = SmoothStep(
        0.0, 1.0, (c.ground.x() - side.heel_x) / (shape_.length - side.heel_x));
    const double at_toe =
        Bump(0.8 * side.half_width, c.ground.y()) *
        SmoothStep(0.6 * shape_.length, 0.9 * shape_.length, c.ground.x());
    const double at_quarter =
        Bump(0.45 * shape_.length, c.ground.x() - 0.55 * shape_.length) *
        std::abs(c.outward.y());
    c.flare = shape_.toe_flare * at_toe + side.flare * at_quarter;
    const Vector2d base = c.ground - c.flare * c.outward;
    c.base = {base.x(), base.y(), lift};

    const double back =
        Mix(Cot(shape_.heel_angle), Cot(shape_.toe_angle), frontness);
    const double inward = Cot(shape_.quarter_angle) * c.outward.y() *
                          SmoothStep(0.0, 0.25, frontness);
    // The hairline is a line in the side view, from the toe's hairline to
    // this side's heel's, with a slight sag.
    const double heel_top = side.heel_x - heel_height * Cot(shape_.heel_angle);
    const double slope = (heel_height - toe_height) / (toe_top - heel_top);
    double height =
        (toe_height + slope * (toe_top - base.x())) / (1 - slope * back);
    const double part =
        Clamp01((toe_top - (base.x() - height * back)) / (toe_top - heel_top));
    height -= 4 * shape_.coronet_sag * part * (1 - part);
    c.top = c.base + height * Vector3d(-back, -inward, 1.0);
  }
}

Vector3d FootGeometry::WallPoint(const WallColumn& column, double down) const {
  const double bend =
      std::max(0.0, (down - kStraightPart) / (1 - kStraightPart));
  const Vector3d straight = column.top + down * (column.base - column.top);
  return straight + column.flare * bend * bend *
                        Vector3d(column.outward.x(), column.outward.y(), 0.0);
}

double FootGeometry::RearReach(double across) const {
  const double edge = std::sin(std::numbers::pi * Clamp01(across));
  return -0.9 * shape_.bulb * std::pow(std::max(0.0, edge), 0.8);
}

void FootGeometry::BuildRear() {
  const Vector3d from = right_heel().top;
  const Vector3d to = left_heel().top;
  const Vector2d low_from = right_heel().ground;
  const Vector2d low_to = left_heel().ground;
  for (std::size_t j = 1; j < kRearSegments; ++j) {
    const double t = static_cast<double>(j) / kRearSegments;
    // Two bulbs with a cleft between them.
    const double bulbs = std::pow(std::sin(std::numbers::pi * t), 0.6) *
                         (1 - 0.6 * std::exp(-std::pow((t - 0.5) / 0.11, 2)));
    rear_top_.emplace_back(from + t * (to - from) +
                           Vector3d(-shape_.bulb * bulbs, 0.0, -2.0 * bulbs));
    rear_edge_.emplace_back(low_from + t * (low_to - low_from) +
                            Vector2d(RearReach(t), 0.0));
  }
}

Vector2d FootGeometry::FrogFromShape(double x, double y) const {
  const double turn = Radians(shape_.frog_turn);
  const double dx = x - shape_.frog_base_x;
  const double dy = y - shape_.frog_y;
  return {dx * std::cos(turn) + dy * std::sin(turn),
          -dx * std::sin(turn) + dy * std::cos(turn)};
}

Vector2d FootGeometry::ShapeFromFrog(double along, double across) const {
  const double turn = Radians(shape_.frog_turn);
  return {shape_.frog_base_x + along * std::cos(turn) - across * std::sin(turn),
          shape_.frog_y + along * std::sin(turn) + across * std::cos(turn)};
}

double FootGeometry::FrogHalfWidth(double along) const {
  const double half = shape_.frog_width / 2;
  if (along < 0) {
    // Behind the widest place the frog draws in between the bulbs.
    const double t = -along / (0.45 * shape_.frog_width);
    return half * std::max(0.0, 1 - 0.25 * t * t);
  }
  const double t = along / shape_.frog_length;
  if (t >= 1) return 0.0;
  // A wedge with nearly straight sides and a blunt tip.
  return half * std::pow(1 - t, 0.85) *
         (1 - 0.12 * std::sin(std::numbers::pi * t));
}

SolarPlace FootGeometry::SolarAt(double x, double y) const {
  SolarPlace p;
  // Distance inside the outer edge, and how far towards the toe that edge is.
  double best = 1e9;
  std::size_t nearest = 0;
  for (std::size_t i = 0; i < columns_.size(); i += 2) {
    const double d = (columns_[i].ground - Vector2d(x, y)).squaredNorm();
    if (d < best) {
      best = d;
      nearest = i;
    }
  }
  const WallColumn& edge = columns_[nearest];
  p.wall = std::max(0.0, (edge.ground - Vector2d(x, y)).dot(edge.outward));
  if (best > p.wall * p.wall) p.wall = std::sqrt(best);
  const double toeness = SmoothStep(0.0, shape_.length, edge.ground.x());
  const double wall = Mix(shape_.wall_heel, shape_.wall_toe, toeness);

  const Vector2d frog = FrogFromShape(x, y);
  const double half = FrogHalfWidth(frog.x());
  p.frog = std::abs(frog.y()) - half;
  if (frog.x() > shape_.frog_length) {
    p.frog = std::hypot(frog.x() - shape_.frog_length, frog.y());
  }
  const double frog_part = Clamp01(frog.x() / shape_.frog_length);

  // The sole: from the white line up into its hollow.
  const double inside = p.wall - wall - shape_.white_line;
  double z = shape_.sole_depth * SmoothStep(-1.0, 0.30 * shape_.length, inside);
  const double white = Bump(shape_.white_line, inside + shape_.white_line / 2);
  z += 0.9 * white;
  if (inside < -shape_.white_line) z = 0.0;

  // The bars run from the buttresses beside the frog.
  const double bar_axis = 9.0 + 5.0 * (1 - frog_part);
  const double bar = inside > -2 ? Bump(4.5, p.frog - bar_axis) *
                                       (1 - SmoothStep(0.25, 0.62, frog_part))
                                 : 0.0;
  p.bar = bar;
  z = Mix(z, std::min(z, 1.5 + 6 * frog_part), bar);

  // The side grooves and the frog between them.
  const double groove_depth =
      Mix(shape_.sulcus_depth, shape_.sole_depth + 1.5, frog_part * frog_part);
  const double groove = Bump(9.0 - 3.0 * frog_part, p.frog - 3.2) *
                        (frog.x() < shape_.frog_length + 2 ? 1.0 : 0.0) *
                        SmoothStep(-1.0, 3.0, inside);
  z = Mix(z, std::max(z, groove_depth), groove);
  p.sulcus = groove;
  const double apex_height = Mix(shape_.frog_height,
                                 std::max(1.5, shape_.sole_depth - 3.5),
                                 SmoothStep(0.35, 1.0, frog_part));
  double surface = apex_height - Bump(half + 1, frog.y());
  if (frog.x() < 0) surface += 0.012 * frog.x() * frog.x();
  const double cleft = std::exp(-std::pow(frog.y() / 3.4, 2)) *
                       (1 - SmoothStep(0.10, 0.50, frog_part));
  surface += shape_.central_sulcus * cleft;
  if (frog_part < 0.5 && std::abs(frog.y()) < 6) {
    p.sulcus = std::max(p.sulcus, cleft);
  }
  // CHOSEN: the frog's edge falls into its groove over 2.5 mm.
  const double on_frog = 1 - SmoothStep(-1.6, 2.0, p.frog);
  z = Mix(z, surface, on_frog);
  // Behind the heels the surface rolls up into the bulbs.
  const double across =
      Clamp01((y - right_heel().ground.y()) /
              (left_heel().ground.y() - right_heel().ground.y()));
  const double to_edge =
      x - Mix(right_heel().ground.x(), left_heel().ground.x(), across) -
      RearReach(across);
  const double roll = Clamp01(1 - to_edge / 11.0);
  z += 8.0 * roll * roll * SmoothStep(0.0, 0.12, across) *
       SmoothStep(1.0, 0.88, across);
  p.z = z + shape_.lift();
  return p;
}

Vector3d FootGeometry::FrogApex() const {
  const Vector2d p = ShapeFromFrog(shape_.frog_length, 0.0);
  return {p.x(), p.y(), SolarAt(p.x(), p.y()).z};
}

Vector3d FootGeometry::FrogWidest(bool left) const {
  const double half = shape_.frog_width / 2;
  const Vector2d p = ShapeFromFrog(0.0, left ? half : -half);
  return {p.x(), p.y(), SolarAt(p.x(), p.y()).z};
}

std::vector<Vector3d> FootGeometry::FrogEdge() const {
  std::vector<Vector3d> edge;
  constexpr int kSteps = 40;
  for (int i = -kSteps; i <= kSteps; ++i) {
    const double along =
        shape_.frog_length * (1 - std::abs(i) / static_cast<double>(kSteps));
    const double half = FrogHalfWidth(along);
    const Vector2d p = ShapeFromFrog(along, i < 0 ? half : -half);
    edge.emplace_back(p.x(), p.y(), SolarAt(p.x(), p.y()).z);
  }
  return edge;
}

Vector3d FootGeometry::PasternAxis() const {
  const double a = Radians(shape_.pastern_angle);
  return {-std::cos(a), 0.0, std::sin(a)};
}

Vector3d FootGeometry::DorsalPastern(double along) const {
  const Vector3d forward(std::sin(Radians(shape_.pastern_angle)),
                         0.0,
                         std::cos(Radians(shape_.pastern_angle)));
  // CHOSEN: the skin stands 2 mm before the horn at the hairline.
  return toe().top + 2.0 * forward + along * PasternAxis();
}

}  // namespace plumbfoot::scenes
