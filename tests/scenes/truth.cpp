// SPDX-License-Identifier: Apache-2.0
#include "scenes/truth.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace plumbfoot::scenes {
namespace {

using Eigen::Vector3d;
using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::PhotoPoint;
using geometry::PointId;
using geometry::View;

constexpr double kDegrees = 180 / std::numbers::pi;

Vec3 ToVec(const Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}
Vector3d ToEigen(Vec3 v) {
  return {v.x, v.y, v.z};
}

PhotoPoint InPhoto(const Truth& t, const Layout& layout, const Vector3d& p) {
  return geometry::Project(t.camera,
                           layout.camera_from_shape.rotation * p +
                               layout.camera_from_shape.translation);
}

bool Inside(const Truth& t, PhotoPoint p) {
  return p.x >= 0 && p.y >= 0 && p.x <= t.width_px && p.y <= t.height_px;
}

double Area(const FootPolyline& outline) {
  double twice = 0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const FootPoint a = outline[i];
    const FootPoint b = outline[(i + 1) % outline.size()];
    twice += a.x * b.y - a.y * b.x;
  }
  return std::abs(twice) / 2;
}

// Where the outline crosses x = at: the highest and the lowest y.
struct Span {
  double low = 0;
  double high = 0;
  bool any = false;
};
Span SpanAt(const FootPolyline& outline, double at) {
  Span s;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const FootPoint a = outline[i];
    const FootPoint b = outline[(i + 1) % outline.size()];
    if ((a.x <= at) == (b.x <= at)) continue;
    const double y = a.y + (b.y - a.y) * (at - a.x) / (b.x - a.x);
    if (!s.any) s = {y, y, true};
    s.low = std::min(s.low, y);
    s.high = std::max(s.high, y);
  }
  return s;
}

// Area of the outline that its mirror image in y = axis does not cover. Every
// slice of a hoof's outline across the axis is one piece.
double Uncovered(const FootPolyline& outline, double axis) {
  double low = outline.front().x;
  double high = low;
  for (const FootPoint p : outline) {
    low = std::min(low, p.x);
    high = std::max(high, p.x);
  }
  constexpr int kSlices = 4000;
  const double step = (high - low) / kSlices;
  double area = 0;
  for (int k = 0; k < kSlices; ++k) {
    const Span s = SpanAt(outline, low + (k + 0.5) * step);
    if (!s.any) continue;
    const double covered_low = std::max(s.low, 2 * axis - s.high);
    const double covered_high = std::min(s.high, 2 * axis - s.low);
    area +=
        step * ((s.high - s.low) - std::max(0.0, covered_high - covered_low));
  }
  return area;
}

FootPoint Mm(const Truth& t, PointId id) {
  return t.at(id)->mm;
}

void AddSolar(const FootGeometry& foot, const Layout& layout, Truth& t) {
  const auto& outline = foot.bearing_outline();
  const auto& left = outline.front();
  const auto& right = outline.back();
  const Vector3d apex = foot.FrogApex();
  const Vector3d frog_left = foot.FrogWidest(true);
  const Vector3d frog_right = foot.FrogWidest(false);
  const Eigen::Vector2d origin = (left + right) / 2;
  const Eigen::Vector2d axis =
      (apex - (frog_left + frog_right) / 2).head<2>().normalized();
  const auto to_foot = [&](const Eigen::Vector2d& p) {
    const Eigen::Vector2d d = p - origin;
    return FootPoint{d.dot(axis), d.dot(Eigen::Vector2d(-axis.y(), axis.x()))};
  };
  const auto add = [&](PointId id, const Vector3d& p) {
    TruthPoint point;
    point.place = ToVec(p);
    point.mm = to_foot(p.head<2>());
    point.depth_mm = p.z();
    point.px = InPhoto(t, layout, p);
    point.visible = Inside(t, point.px);
    t.points[static_cast<std::size_t>(id)] = point;
  };
  std::size_t toe = 0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vector3d p(outline[i].x(), outline[i].y(), 0);
    t.outline_mm.push_back(to_foot(outline[i]));
    t.outline_px.push_back(InPhoto(t, layout, p));
    t.outline_visible.push_back(Inside(t, t.outline_px.back()));
    if (t.outline_mm[i].x > t.outline_mm[toe].x) toe = i;
  }
  for (const Vector3d& p : foot.FrogEdge()) {
    t.frog_px.push_back(InPhoto(t, layout, p));
  }
  add(PointId::kToe, {outline[toe].x(), outline[toe].y(), 0});
  add(PointId::kHeelLeft, {left.x(), left.y(), 0});
  add(PointId::kHeelRight, {right.x(), right.y(), 0});
  add(PointId::kFrogApex, apex);
  add(PointId::kFrogLeft, frog_left);
  add(PointId::kFrogRight, frog_right);
  t.measures = SolarMeasures(t);
}

void AddLateral(const SceneOptions& o,
                const FootGeometry& foot,
                const Layout& layout,
                Truth& t) {
  const auto& outline = foot.bearing_outline();
  const double toe_x = outline[outline.size() / 2].x();
  const WallColumn& heel = o.from_left ? foot.left_heel() : foot.right_heel();
  const auto heel_ground = o.from_left ? outline.front() : outline.back();
  const auto to_foot = [&](const Vector3d& p) {
    return FootPoint{p.x() - toe_x, p.z()};
  };
  const auto add = [&](PointId id, const Vector3d& p) {
    TruthPoint point;
    const Vector3d middle(p.x(), 0, p.z());
    point.place = ToVec(middle);
    point.mm = to_foot(p);
    point.px = InPhoto(t, layout, middle);
    point.visible = Inside(t, point.px);
    if (p.y() != 0) {
      point.near_place = ToVec(p);
      point.near_depth_mm = std::abs(p.y());
      point.px_near = InPhoto(t, layout, p);
      point.visible = Inside(t, *point.px_near);
    }
    t.points[static_cast<std::size_t>(id)] = point;
  };
  add(PointId::kToeGround, {toe_x, 0, 0});
  Vector3d hairline = foot.toe().top;
  hairline.y() = 0;
  add(PointId::kToeHairline, hairline);
  add(PointId::kHeelGround,
      {heel_ground.x(), heel_ground.y(), foot.ShoeRise(heel_ground.x())});
  add(PointId::kHeelHairline, heel.top);
  add(PointId::kPasternUpper, foot.DorsalPastern(o.shape.pastern_upper));
  add(PointId::kPasternLower, foot.DorsalPastern(o.shape.pastern_lower));
  constexpr std::size_t kSteps = 60;
  for (std::size_t k = 0; k <= kSteps; ++k) {
    Vector3d p = foot.WallPoint(foot.toe(), static_cast<double>(k) / kSteps);
    p.y() = 0;
    t.dorsal_mm.push_back(to_foot(p));
    t.dorsal_px.push_back(InPhoto(t, layout, p));
    t.dorsal_visible.push_back(Inside(t, t.dorsal_px.back()));
  }
  if (o.shape.shod) {
    TruthShoe shoe;
    shoe.rise_mm = foot.ShoeRise(heel_ground.x() + 5.0);
    shoe.gap_mm =
        foot.HornRise(heel.ground.x()) - foot.ShoeRise(heel_ground.x());
    shoe.thickness_mm = o.shape.shoe_thickness;
    const std::size_t toe = outline.size() / 2;
    for (std::size_t k = 0; k <= toe; ++k) {
      const std::size_t i = o.from_left ? toe - k : toe + k;
      const double x = outline[i].x();
      const double y = outline[i].y();
      const double rise = foot.ShoeRise(x);
      const auto& horn = foot.columns()[i].ground;
      shoe.ground_px.push_back(InPhoto(t, layout, {x, y, rise}));
      shoe.foot_px.push_back(
          InPhoto(t, layout, {x, y, rise + o.shape.shoe_thickness}));
      shoe.horn_px.push_back(InPhoto(
          t,
          layout,
          {horn.x(), horn.y(), o.shape.lift() + foot.HornRise(horn.x())}));
    }
    t.shoe = std::move(shoe);
  }
  // foot_shape.cpp keeps the upper 0.6 of the wall straight.
  t.measures = LateralMeasures(t, 37);
}

}  // namespace

std::map<std::string, double> SolarMeasures(const Truth& t) {
  const FootPolyline& outline = t.outline_mm;
  std::map<std::string, double> m;
  FootPoint widest_left = outline.front();
  FootPoint widest_right = outline.front();
  double toe_x = outline.front().x;
  for (const FootPoint p : outline) {
    if (p.y > widest_left.y) widest_left = p;
    if (p.y < widest_right.y) widest_right = p;
    toe_x = std::max(toe_x, p.x);
  }
  const FootPoint apex = Mm(t, PointId::kFrogApex);
  const FootPoint frog_left = Mm(t, PointId::kFrogLeft);
  const FootPoint frog_right = Mm(t, PointId::kFrogRight);
  const FootPoint base = geometry::Midpoint(frog_left, frog_right);
  const double area = Area(outline);
  m["bearing_width"] = widest_left.y - widest_right.y;
  // The frame's origin is the heels' middle and its x the frog axis.
  m["bearing_length"] = toe_x;
  m["width_to_length"] = m["bearing_width"] / m["bearing_length"];
  m["heel_width"] = Mm(t, PointId::kHeelLeft).y - Mm(t, PointId::kHeelRight).y;
  m["frog_length"] = apex.x - base.x;
  m["frog_width"] = frog_left.y - frog_right.y;
  m["frog_width_to_length"] = m["frog_width"] / m["frog_length"];
  m["toe_to_frog_apex"] = toe_x - apex.x;
  const double widest_x = (widest_left.x + widest_right.x) / 2;
  m["widest_to_toe"] = toe_x - widest_x;
  m["widest_to_heel"] = widest_x;
  m["toe_share"] = 100 * m["widest_to_toe"] / m["bearing_length"];
  // The axis runs through the frog, not through the heels' middle.
  const double axis_y = base.y;
  m["left_half_width"] = widest_left.y - axis_y;
  m["right_half_width"] = axis_y - widest_right.y;
  m["half_width_difference"] = m["left_half_width"] - m["right_half_width"];
  m["outline_asymmetry"] = 100 * Uncovered(outline, axis_y) / area;
  m["bearing_area"] = area;
  return m;
}

std::map<std::string, double> LateralMeasures(const Truth& t,
                                              std::size_t straight_part) {
  std::map<std::string, double> m;
  const FootPoint toe = Mm(t, PointId::kToeGround);
  const FootPoint toe_top = Mm(t, PointId::kToeHairline);
  const FootPoint heel = Mm(t, PointId::kHeelGround);
  const FootPoint heel_top = Mm(t, PointId::kHeelHairline);
  const FootPoint pastern_up = Mm(t, PointId::kPasternUpper);
  const FootPoint pastern_low = Mm(t, PointId::kPasternLower);
  // The angle of a line against the bearing line, opening backwards.
  const double ground = std::atan2(heel.y - toe.y, heel.x - toe.x);
  const auto angle = [&](FootPoint low, FootPoint high) {
    const double a = std::atan2(high.y - low.y, high.x - low.x);
    return std::remainder(ground - a, 2 * std::numbers::pi) * kDegrees;
  };
  // Height over the bearing line.
  const double length = geometry::Distance(toe, heel);
  const auto height = [&](FootPoint p) {
    return std::abs((heel.x - toe.x) * (p.y - toe.y) -
                    (heel.y - toe.y) * (p.x - toe.x)) /
           length;
  };
  const FootPoint straight_low = t.dorsal_mm[straight_part - 1];
  m["toe_angle"] = angle(straight_low, toe_top);
  m["heel_angle"] = angle(heel, heel_top);
  m["toe_heel_difference"] = m["toe_angle"] - m["heel_angle"];
  m["dorsal_wall_length"] = geometry::Distance(toe, toe_top);
  m["heel_wall_length"] = geometry::Distance(heel, heel_top);
  m["toe_to_heel_length"] = m["dorsal_wall_length"] / m["heel_wall_length"];
  m["toe_height"] = height(toe_top);
  m["heel_height"] = height(heel_top);
  m["heel_to_toe_height"] = m["heel_height"] / m["toe_height"];
  // Positive when the heel's end is lower: measured from the toe backwards.
  const double hairline =
      std::atan2(toe_top.y - heel_top.y, toe_top.x - heel_top.x);
  const double bearing = std::atan2(toe.y - heel.y, toe.x - heel.x);
  m["hairline_angle"] = (hairline - bearing) * kDegrees;
  m["support_length"] = length;
  m["pastern_angle"] = angle(pastern_low, pastern_up);
  m["hoof_pastern_difference"] = m["toe_angle"] - m["pastern_angle"];
  double departure = 0;
  const double dx = toe_top.x - straight_low.x;
  const double dy = toe_top.y - straight_low.y;
  const double n = std::hypot(dx, dy);
  for (const FootPoint p : t.dorsal_mm) {
    // Outwards is to the front of the toe line.
    const double gap =
        ((p.x - straight_low.x) * dy - (p.y - straight_low.y) * dx) / n;
    if (std::abs(gap) > std::abs(departure)) departure = gap;
  }
  m["dorsal_wall_departure"] = departure;
  return m;
}

Truth ComputeTruth(const SceneOptions& o, int width_px, int height_px) {
  const FootGeometry foot(o.shape);
  const Layout layout = ComputeLayout(o, foot, width_px, height_px);
  Truth t;
  t.view = o.view;
  t.foot = o.foot;
  t.shod = o.shape.shod;
  t.width_px = width_px;
  t.height_px = height_px;
  t.seed = o.seed;
  t.focal_35mm = o.camera.focal_35mm;
  t.print_scale = o.card.print_scale;
  t.camera = layout.camera;
  t.camera_from_measured = layout.camera_from_measured;
  t.camera_from_card = layout.camera_from_card;
  t.pivot = layout.pivot;
  const Vector3d centre =
      layout.shape_from_measured.rotation * Vector3d(t.pivot.x, t.pivot.y, 0) +
      layout.shape_from_measured.translation;
  t.distance_mm = (centre - ToEigen(layout.lens)).norm();
  if (o.view == View::kSolar) {
    AddSolar(foot, layout, t);
  } else {
    AddLateral(o, foot, layout, t);
  }
  if (o.card.present) {
    for (int id = 0; id < 5; ++id) {
      const auto i = static_cast<std::size_t>(id);
      TruthTag tag;
      tag.id = id;
      tag.shown = o.card.tags[i];
      const double half = kTagSide / 2 + o.card.gain_mm;
      const std::array<std::array<double, 2>, 4> corners = {
          {{-half, -half}, {half, -half}, {half, half}, {-half, half}}};
      for (std::size_t k = 0; k < 4; ++k) {
        const Vec3 p = OnCard(o,
                              layout,
                              kTagCentres[i][0] + corners[k][0],
                              kTagCentres[i][1] + corners[k][1]);
        tag.corners[k] = InPhoto(t, layout, ToEigen(p));
        tag.shown = tag.shown && Inside(t, tag.corners[k]);
      }
      tag.visible = tag.shown;
      t.tags.push_back(tag);
    }
  }
  return t;
}

namespace {

nlohmann::json Pair(double x, double y) {
  return nlohmann::json::array({x, y});
}

nlohmann::json ToJson(const geometry::Pose& pose) {
  nlohmann::json rotation = nlohmann::json::array();
  for (int r = 0; r < 3; ++r) {
    rotation.push_back(
        {pose.rotation(r, 0), pose.rotation(r, 1), pose.rotation(r, 2)});
  }
  return {{"rotation", rotation},
          {"translation",
           {pose.translation.x(), pose.translation.y(), pose.translation.z()}}};
}

template <typename Polyline>
nlohmann::json ToJson(const Polyline& line) {
  nlohmann::json out = nlohmann::json::array();
  for (const auto& p : line) out.push_back(Pair(p.x, p.y));
  return out;
}

}  // namespace

nlohmann::json ToJson(const Truth& t) {
  nlohmann::json j;
  j["format"] = "plumbfoot-scene-truth";
  j["version"] = 1;
  j["view"] = geometry::ViewName(t.view);
  j["foot"] = geometry::FootName(t.foot);
  j["shod"] = t.shod;
  j["seed"] = t.seed;
  j["width_px"] = t.width_px;
  j["height_px"] = t.height_px;
  j["focal_35mm"] = t.focal_35mm;
  j["distance_mm"] = t.distance_mm;
  j["print_scale"] = t.print_scale;
  j["camera"] = {
      {"focal_px", t.camera.focal_px},
      {"principal_px", Pair(t.camera.principal.x, t.camera.principal.y)},
      {"k1", t.camera.lens.k1},
      {"k2", t.camera.lens.k2}};
  j["camera_from_measured"] = ToJson(t.camera_from_measured);
  j["camera_from_card"] = ToJson(t.camera_from_card);
  j["pivot_mm"] = Pair(t.pivot.x, t.pivot.y);
  for (const PointId id : geometry::PointsOf(t.view)) {
    const auto& p = t.at(id);
    if (!p) continue;
    nlohmann::json point = {{"px", Pair(p->px.x, p->px.y)},
                            {"mm", Pair(p->mm.x, p->mm.y)},
                            {"depth_mm", p->depth_mm},
                            {"visible", p->visible}};
    if (p->px_near) {
      point["px_near"] = Pair(p->px_near->x, p->px_near->y);
      point["near_depth_mm"] = p->near_depth_mm;
    }
    j["points"][std::string(geometry::PointName(id))] = point;
  }
  if (!t.outline_px.empty()) {
    j["outline"] = {{"px", ToJson(t.outline_px)},
                    {"mm", ToJson(t.outline_mm)},
                    {"visible", t.outline_visible}};
  }
  if (t.shoe) {
    j["shoe"] = {{"rise_mm", t.shoe->rise_mm},
                 {"gap_mm", t.shoe->gap_mm},
                 {"thickness_mm", t.shoe->thickness_mm},
                 {"ground_px", ToJson(t.shoe->ground_px)},
                 {"foot_px", ToJson(t.shoe->foot_px)},
                 {"horn_px", ToJson(t.shoe->horn_px)}};
  }
  if (!t.dorsal_px.empty()) {
    j["dorsal_wall"] = {{"px", ToJson(t.dorsal_px)},
                        {"mm", ToJson(t.dorsal_mm)},
                        {"visible", t.dorsal_visible}};
  }
  j["tags"] = nlohmann::json::array();
  for (const TruthTag& tag : t.tags) {
    nlohmann::json corners = nlohmann::json::array();
    for (const PhotoPoint p : tag.corners) corners.push_back(Pair(p.x, p.y));
    j["tags"].push_back({{"id", tag.id},
                         {"corners_px", corners},
                         {"shown", tag.shown},
                         {"visible", tag.visible}});
  }
  j["measures"] = t.measures;
  return j;
}

nlohmann::json PointsOf(const Truth& t) {
  nlohmann::json j = nlohmann::json::object();
  for (const PointId id : geometry::PointsOf(t.view)) {
    const auto& p = t.at(id);
    if (!p) continue;
    const std::string name(geometry::PointName(id));
    if (p->visible) {
      j[name] = Pair(p->px.x, p->px.y);
    } else {
      j[name] = nullptr;
    }
  }
  if (!t.outline_px.empty()) j["outline"] = ToJson(t.outline_px);
  if (!t.dorsal_px.empty()) j["dorsal_wall"] = ToJson(t.dorsal_px);
  return j;
}

}  // namespace plumbfoot::scenes
