// SPDX-License-Identifier: Apache-2.0
#include "measure/foot_model.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/polyline.h"

namespace plumbfoot::measure {
namespace {

using geometry::CardPoint;
using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PlaneEstimate;
using geometry::PlaneMap;
using geometry::Random;

double Rad(double deg) {
  return deg * std::numbers::pi / 180;
}

/// White noise, smoothed by a Gaussian of c / sqrt(2) along the line: its
/// correlation is exp(-d^2 / 2 c^2). Another way than the one under test.
PhotoPolyline Displaced(const PhotoPolyline& line,
                        geometry::Ends ends,
                        const Hand& hand,
                        Random& random) {
  const auto normals = geometry::Normals(line, ends);
  const std::size_t n = line.size();
  const bool closed = ends == geometry::Ends::kClosed;
  const double spacing =
      geometry::Length(line, ends) / static_cast<double>(closed ? n : n - 1);
  const double width = hand.correlation_px / std::numbers::sqrt2 / spacing;
  const auto reach = static_cast<std::size_t>(std::ceil(4 * width) + 1);
  std::vector<double> white(n + 2 * reach);
  for (double& w : white) w = random.Normal();
  if (closed) {
    for (std::size_t k = 0; k < 2 * reach; ++k) white[n + k] = white[k % n];
  }
  std::vector<double> kernel;
  double squares = 0.0;
  for (std::size_t k = 0; k <= 2 * reach; ++k) {
    const double d = static_cast<double>(k) - static_cast<double>(reach);
    kernel.push_back(std::exp(-d * d / (2 * width * width)));
    squares += kernel.back() * kernel.back();
  }
  PhotoPolyline displaced;
  for (std::size_t i = 0; i < n; ++i) {
    double off = 0.0;
    for (std::size_t k = 0; k < kernel.size(); ++k) {
      off += kernel[k] * white[i + k];
    }
    off *= hand.curve_sigma_px / std::sqrt(squares);
    displaced.push_back(line[i] + off * normals[i]);
  }
  return displaced;
}

template <typename Foot>
void PutPoints(const Foot& foot,
               const Placed& placed,
               const PlaneMap& map,
               const Hand& hand,
               Random* random,
               ViewPoints& points) {
  for (const PointId id : geometry::PointsOf(points.view)) {
    geometry::PlacedPoint point;
    point.px = map.Inverse(placed.ToCard(foot.At(id)));
    point.covariance = geometry::PhotoCovariance::Round(hand.point_sigma_px);
    point.confidence = 1.0;
    if (random != nullptr) {
      // Errors that know nothing of each other are a person's.
      point.placed_by = geometry::PlacedBy::kPerson;
      point.px.x += random->Normal(0, hand.point_sigma_px);
      point.px.y += random->Normal(0, hand.point_sigma_px);
    }
    points.at(id) = point;
  }
}

geometry::PlacedCurve PutCurve(const FootPolyline& line,
                               geometry::Ends ends,
                               const Placed& placed,
                               const PlaneMap& map,
                               const Hand& hand,
                               Random* random) {
  geometry::PlacedCurve curve;
  for (const FootPoint& p : line) {
    curve.px.push_back(map.Inverse(placed.ToCard(p)));
  }
  if (random != nullptr && hand.curve_sigma_px > 0) {
    curve.px = Displaced(curve.px, ends, hand, *random);
    // It errs as its hand does, not as a finder may.
    curve.placed_by = PlacedBy::kPerson;
  }
  curve.sigma_px = hand.curve_sigma_px;
  curve.correlation_px = hand.correlation_px;
  curve.confidence = 1.0;
  return curve;
}

}  // namespace

FootPolyline Sole::Outline(int corners) const {
  // Anticlockwise from the right heel: toe as half an ellipse, then a cubic to
  // each buttress that begins with the ellipse's curvature, and a notch between
  // the heels.
  FootPolyline outline;
  const auto side = [this](double x, double y) {
    const double even = y > 0 ? y * (1 + lopsided) : y * (1 - lopsided);
    constexpr double kWaveMm = 25.0;
    const double phase = 2 * std::numbers::pi * (x - widest_at) / kWaveMm;
    // None at the toe and at the heels.
    const double part =
        std::clamp(4 * x * (length - x) / (length * length), 0.0, 1.0);
    const double wave =
        uneven * part * std::sin(phase + (y > 0 ? uneven_left : uneven_right));
    return even + (y > 0 ? wave : -wave);
  };
  const int part = corners / 3;
  const double half = width / 2;
  const double bend =
      rear_curvature * half / 2 * std::pow(widest_at / (length - widest_at), 2);
  const auto rear = [&](double x) {
    const double u = (widest_at - x) / widest_at;
    return half - bend * u * u - (half - heel_half_width - bend) * u * u * u;
  };
  for (int i = 0; i < part; ++i) {
    const double x = widest_at * i / part;
    outline.push_back({x, side(x, -rear(x))});
  }
  for (int i = 0; i < part; ++i) {
    const double t = std::numbers::pi * (static_cast<double>(i) / part - 0.5);
    const double x = widest_at + (length - widest_at) * std::cos(t);
    outline.push_back({x, side(x, half * std::sin(t))});
  }
  for (int i = 0; i < part; ++i) {
    const double x = widest_at * (part - i) / part;
    outline.push_back({x, side(x, rear(x))});
  }
  const double heel = heel_half_width;
  for (int i = 0; i < 10; ++i) {
    outline.push_back({1.2 * i, side(0.0, heel) * (1 - 0.06 * i)});
  }
  for (int i = 10; i > 0; --i) {
    outline.push_back({1.2 * i, side(0.0, -heel) * (1 - 0.06 * i)});
  }
  return outline;
}

FootPoint Sole::At(PointId id) const {
  // The buttresses stand alike about the origin, whatever the sides do.
  switch (id) {
    case PointId::kToe:
      return {length, 0.0};
    case PointId::kHeelLeft:
      return {0.0, heel_half_width};
    case PointId::kHeelRight:
      return {0.0, -heel_half_width};
    case PointId::kFrogApex:
      return {frog_back + frog_length, axis_y};
    case PointId::kFrogLeft:
      return {frog_back, axis_y + frog_width / 2};
    case PointId::kFrogRight:
      return {frog_back, axis_y - frog_width / 2};
    default:
      throw std::invalid_argument("Sole::At: not a point of the sole");
  }
}

double Sole::Truth(MeasureId id) const {
  const FootPolyline outline = Outline(6000);
  const auto [right_end, left_end] = std::minmax_element(
      outline.begin(), outline.end(), [](auto a, auto b) { return a.y < b.y; });
  const double left = left_end->y - axis_y;
  const double right = axis_y - right_end->y;
  const double widest_x = (left_end->x + right_end->x) / 2;
  switch (id) {
    case MeasureId::kBearingWidth:
      return left + right;
    case MeasureId::kBearingLength:
      return length;
    case MeasureId::kWidthToLength:
      return (left + right) / length;
    case MeasureId::kHeelWidth:
      return 2 * heel_half_width;
    case MeasureId::kFrogLength:
      return frog_length;
    case MeasureId::kFrogWidth:
      return frog_width;
    case MeasureId::kFrogWidthToLength:
      return frog_width / frog_length;
    case MeasureId::kToeToFrogApex:
      return length - frog_back - frog_length;
    case MeasureId::kWidestToToe:
      return length - widest_x;
    case MeasureId::kWidestToHeel:
      return widest_x;
    case MeasureId::kToeShare:
      return 100 * (length - widest_x) / length;
    case MeasureId::kLeftHalfWidth:
      return left;
    case MeasureId::kRightHalfWidth:
      return right;
    case MeasureId::kHalfWidthDifference:
      return left - right;
    case MeasureId::kOutlineAsymmetry: {
      const geometry::Line<geometry::FootFrame> axis{{0, axis_y}, {1, 0}};
      return 100 *
             geometry::DifferenceArea(outline,
                                      geometry::Mirrored(outline, axis)) /
             std::abs(geometry::SignedArea(outline));
    }
    case MeasureId::kBearingArea:
      return std::abs(geometry::SignedArea(outline));
    default:
      throw std::invalid_argument("Sole::Truth: not a measure of the sole");
  }
}

FootPolyline Side::Wall(int corners) const {
  // t from the hairline (0) to the ground (1); `out` square to the wall. The
  // ground end, departure included, is the origin.
  const double c = std::cos(Rad(toe_angle));
  const double s = std::sin(Rad(toe_angle));
  FootPolyline wall;
  for (int i = 0; i < corners; ++i) {
    const double t = static_cast<double>(i) / (corners - 1);
    const double u = std::max(0.0, (t - departs_from) / (1 - departs_from));
    const double up = toe_length * (1 - t);
    const double out = departure * (u * u - 1);
    wall.push_back({-c * up + s * out, s * up + c * out});
  }
  return wall;
}

FootPoint Side::At(PointId id) const {
  const FootPoint heel{-support, 0.0};
  const FootPoint hairline = Wall(2).front();
  switch (id) {
    case PointId::kToeGround:
      return {0.0, 0.0};
    case PointId::kToeHairline:
      return hairline;
    case PointId::kHeelGround:
      return heel;
    case PointId::kHeelHairline:
      return {heel.x - heel_length * std::cos(Rad(heel_angle)),
              heel_length * std::sin(Rad(heel_angle))};
    case PointId::kPasternLower:
      return {hairline.x - 8, hairline.y + 14};
    case PointId::kPasternUpper:
      return {hairline.x - 8 - 75 * std::cos(Rad(pastern_angle)),
              hairline.y + 14 + 75 * std::sin(Rad(pastern_angle))};
    default:
      throw std::invalid_argument("Side::At: not a point of the side");
  }
}

double Side::Truth(MeasureId id) const {
  const FootPoint toe = At(PointId::kToeHairline);
  const FootPoint heel = At(PointId::kHeelHairline);
  const double toe_straight = std::hypot(toe.x, toe.y);
  switch (id) {
    case MeasureId::kToeAngle:
      return toe_angle;
    case MeasureId::kHeelAngle:
      return heel_angle;
    case MeasureId::kToeHeelDifference:
      return toe_angle - heel_angle;
    case MeasureId::kDorsalWallLength:
      return toe_straight;
    case MeasureId::kHeelWallLength:
      return heel_length;
    case MeasureId::kToeToHeelLength:
      return toe_straight / heel_length;
    case MeasureId::kToeHeight:
      return toe.y;
    case MeasureId::kHeelHeight:
      return heel.y;
    case MeasureId::kHeelToToeHeight:
      return heel.y / toe.y;
    case MeasureId::kHairlineAngle:
      return std::atan2(toe.y - heel.y, toe.x - heel.x) * 180 /
             std::numbers::pi;
    case MeasureId::kSupportLength:
      return support;
    case MeasureId::kPasternAngle:
      return pastern_angle;
    case MeasureId::kHoofPasternDifference:
      return toe_angle - pastern_angle;
    case MeasureId::kDorsalWallDeparture:
      return departure;
    default:
      throw std::invalid_argument("Side::Truth: not a measure of the side");
  }
}

CardPoint Placed::ToCard(FootPoint p) const {
  const double c = std::cos(turn);
  const double s = std::sin(turn);
  const double y = hand * p.y;
  return {origin.x + c * p.x - s * y, origin.y + s * p.x + c * y};
}

PlaneEstimate LookAt(CardPoint aim,
                     double distance_mm,
                     double tilt_deg,
                     double tilt_towards_deg,
                     double spin_deg,
                     double focal_px) {
  PlaneEstimate estimate;
  estimate.camera.focal_px = focal_px;
  estimate.camera.principal = {2000, 1500};
  // Squarely: the photo's x is the card's x, its y runs down, z into the card.
  Eigen::Matrix3d squarely;
  squarely << 1, 0, 0, 0, -1, 0, 0, 0, -1;
  const double towards = Rad(tilt_towards_deg);
  const Eigen::Matrix3d tilt = geometry::RotationFromVector(
      Rad(tilt_deg) *
      Eigen::Vector3d(std::cos(towards), std::sin(towards), 0.0));
  const Eigen::Matrix3d spin =
      geometry::RotationFromVector({0, 0, Rad(spin_deg)});
  estimate.camera_from_card.rotation = tilt * spin * squarely;
  estimate.camera_from_card.translation =
      Eigen::Vector3d(0, 0, distance_mm) -
      estimate.camera_from_card.rotation * Eigen::Vector3d(aim.x, aim.y, 0);
  estimate.scale = geometry::ScaleSource::kCard;
  estimate.doubt = {0.0, 0.0, 0.0};
  return estimate;
}

void FitCard(PlaneEstimate& estimate, double corner_sigma_px) {
  std::vector<Eigen::Vector3d> corners;
  constexpr double kTags[5][2] = {
      {24, 24}, {80, 24}, {136, 24}, {24, 80}, {24, 136}};
  for (const auto& tag : kTags) {
    for (const double dx : {-18.0, 18.0}) {
      for (const double dy : {-18.0, 18.0}) {
        corners.emplace_back(tag[0] + dx, tag[1] + dy, 0.0);
      }
    }
  }
  const Eigen::Vector<double, 10> steps{
      1e-5, 1e-5, 1e-5, 0.01, 0.01, 0.01, 0.1, 0.1, 0.1, 1e-4};
  const auto see = [&](const Eigen::Vector<double, 10>& d,
                       const Eigen::Vector3d& corner) {
    geometry::Camera camera = estimate.camera;
    camera.focal_px += d(6);
    camera.principal.x += d(7);
    camera.principal.y += d(8);
    camera.lens.k1 += d(9);
    return geometry::Project(
        camera,
        geometry::RotationFromVector(d.head<3>()) *
                estimate.camera_from_card.rotation * corner +
            estimate.camera_from_card.translation + d.segment<3>(3));
  };
  PlaneEstimate::Covariance information = PlaneEstimate::Covariance::Zero();
  for (const auto& corner : corners) {
    Eigen::Matrix<double, 2, 10> jacobian;
    for (int k = 0; k < 10; ++k) {
      Eigen::Vector<double, 10> d = Eigen::Vector<double, 10>::Zero();
      d(k) = steps(k);
      const PhotoPoint up = see(d, corner);
      const PhotoPoint down = see(-d, corner);
      jacobian(0, k) = (up.x - down.x) / (2 * steps(k));
      jacobian(1, k) = (up.y - down.y) / (2 * steps(k));
    }
    information +=
        jacobian.transpose() * jacobian / (corner_sigma_px * corner_sigma_px);
  }
  // Priors: focal length 5 %, principal point 1 % of the photo, small k1.
  information(6, 6) += 1 / std::pow(0.05 * estimate.camera.focal_px, 2);
  information(7, 7) += 1 / (40.0 * 40.0);
  information(8, 8) += 1 / (40.0 * 40.0);
  information(9, 9) += 1 / (0.02 * 0.02);
  estimate.covariance = information.inverse();
}

Sole RandomSole(Random& random) {
  Sole sole;
  sole.width = random.Uniform(95, 155);
  sole.length = sole.width * random.Uniform(0.92, 1.1);
  sole.widest_at = sole.length * random.Uniform(0.42, 0.55);
  sole.heel_half_width = sole.width * random.Uniform(0.27, 0.36);
  sole.lopsided = random.Uniform(-0.04, 0.04);
  sole.frog_length = sole.length * random.Uniform(0.6, 0.7);
  sole.frog_width = sole.frog_length * random.Uniform(0.45, 0.7);
  sole.axis_y = random.Uniform(-3, 3);
  sole.uneven = 0.12;
  sole.rear_curvature = random.Uniform(0.3, 1.0);
  return sole;
}

Side RandomSide(Random& random, bool departs) {
  Side side;
  side.support = random.Uniform(90, 140);
  side.toe_angle = random.Uniform(42, 60);
  side.heel_angle = side.toe_angle - random.Uniform(-3, 12);
  side.toe_length = side.support * random.Uniform(0.65, 0.8);
  side.heel_length = side.toe_length * random.Uniform(0.4, 0.6);
  side.pastern_angle = side.toe_angle + random.Uniform(-6, 6);
  if (departs) {
    side.departure = random.Uniform(2.0, 7.0) * (random.Chance(0.5) ? 1 : -1);
    side.departs_from = random.Uniform(0.4, 0.75);
  }
  return side;
}

PlaneEstimate RandomPhoto(Random& random, CardPoint aim) {
  PlaneEstimate estimate =
      LookAt({aim.x + random.Uniform(-20, 20), aim.y + random.Uniform(-20, 20)},
             random.Uniform(350, 1200),
             random.Uniform(0, 15),
             random.Uniform(0, 360),
             random.Uniform(-180, 180),
             random.Uniform(2600, 3400));
  FitCard(estimate, 0.08);
  estimate.doubt = geometry::PlaneDoubt{};
  return estimate;
}

Hand RandomHand(Random& random, const PlaneMap& map, CardPoint aim) {
  const double px_per_mm = map.PixelsPerMillimetre(aim);
  const double much = random.Uniform(0.5, 1.5);
  return {0.5 * much * px_per_mm,
          0.3 * much * px_per_mm,
          random.Uniform(2.0, 8.0) * px_per_mm};
}

ViewPoints PhotoOf(const Sole& sole,
                   const Placed& placed,
                   const PlaneMap& map,
                   const Hand& hand,
                   Random* random) {
  ViewPoints points;
  points.view = View::kSolar;
  PutPoints(sole, placed, map, hand, random, points);
  points.outline = PutCurve(
      sole.Outline(330), geometry::Ends::kClosed, placed, map, hand, random);
  return points;
}

ViewPoints PhotoOf(const Side& side,
                   const Placed& placed,
                   const PlaneMap& map,
                   const Hand& hand,
                   Random* random) {
  ViewPoints points;
  points.view = View::kLateral;
  PutPoints(side, placed, map, hand, random, points);
  points.dorsal_wall = PutCurve(
      side.Wall(160), geometry::Ends::kOpen, placed, map, hand, random);
  return points;
}

void SeeNearer(PointId id,
               FootPoint at,
               double depth_mm,
               const Placed& placed,
               const PlaneMap& map,
               ViewPoints& points) {
  const auto& pose = map.camera_from_plane();
  const CardPoint on_plane = placed.ToCard(at);
  const Eigen::Vector3d nearer(on_plane.x, on_plane.y, depth_mm);
  const PhotoPoint seen = geometry::Project(
      map.camera(), pose.rotation * (nearer / map.scale()) + pose.translation);
  // What the hand erred stays.
  points.at(id)->px = points.at(id)->px + (seen - map.Inverse(on_plane));
}

void SeeNearHeel(const Side& side,
                 double depth_mm,
                 const Placed& placed,
                 const PlaneMap& map,
                 ViewPoints& points) {
  points.heel_plane = geometry::HeelPlane::kNear;
  for (const PointId id : {PointId::kHeelGround, PointId::kHeelHairline}) {
    SeeNearer(id, side.At(id), depth_mm, placed, map, points);
  }
}

void SeeDeepFrog(const Sole& sole,
                 double sides_mm,
                 double apex_mm,
                 const Placed& placed,
                 const PlaneMap& map,
                 ViewPoints& points) {
  for (const PointId id : {PointId::kFrogLeft, PointId::kFrogRight}) {
    SeeNearer(id, sole.At(id), -sides_mm, placed, map, points);
  }
  SeeNearer(PointId::kFrogApex,
            sole.At(PointId::kFrogApex),
            -apex_mm,
            placed,
            map,
            points);
}

}  // namespace plumbfoot::measure
