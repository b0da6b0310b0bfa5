// SPDX-License-Identifier: Apache-2.0
#include "scenes/meshes.h"

#include <numbers>

namespace plumbfoot::scenes {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using geometry::Random;

Vec3 ToVec(const Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}

std::uint32_t Index(std::size_t i) {
  return static_cast<std::uint32_t>(i);
}

// The closed hairline: the wall's tops, then round the bulbs.
std::vector<Vec3> Coronet(const FootGeometry& foot) {
  std::vector<Vec3> ring;
  for (const WallColumn& c : foot.columns()) ring.push_back(ToVec(c.top));
  for (const Vector3d& p : foot.rear_top()) ring.push_back(ToVec(p));
  return ring;
}

// One ring of the leg: `along` the pastern's dorsal line [mm].
Vec3 LegPoint(const FootGeometry& foot, double along, double turn) {
  const FootShape& s = foot.shape();
  const Vec3 axis = ToVec(foot.PasternAxis());
  const Vec3 forward{axis.z, 0.0, -axis.x};
  const Vec3 dorsal = ToVec(foot.DorsalPastern(along));
  // The fetlock swells towards its joint.
  const double fetlock =
      SmoothStep(s.pastern_upper + 8, s.pastern_upper + 55, along);
  const double depth = s.pastern_depth * (1 + 0.30 * fetlock);
  const double width = s.pastern_width * (1 + 0.18 * fetlock);
  const Vec3 centre = dorsal - 0.5 * depth * forward;
  return centre + 0.5 * depth * std::cos(turn) * forward +
         Vec3{0, 0.5 * width * std::sin(turn), 0};
}

void AddWall(const FootGeometry& foot, Things& things) {
  Mesh mesh;
  mesh.material = Material::kWall;
  constexpr int kRows = 28;
  const auto& columns = foot.columns();
  for (const WallColumn& c : columns) {
    for (int r = 0; r <= kRows; ++r) {
      // Eased heels: the wall ends higher.
      const double ends =
          1 - foot.HornRise(c.ground.x()) / (c.top.z() - c.base.z());
      const double down = ends * static_cast<double>(r) / kRows;
      const Vec3 p = ToVec(foot.WallPoint(c, down));
      mesh.Add(p, {c.along, down, p.z, 0});
    }
  }
  const std::size_t stride = kRows + 1;
  for (std::size_t i = 0; i + 1 < columns.size(); ++i) {
    for (std::size_t r = 0; r < kRows; ++r) {
      mesh.Quad(Index(i * stride + r),
                Index(i * stride + r + 1),
                Index((i + 1) * stride + r + 1),
                Index((i + 1) * stride + r));
    }
  }
  things.meshes.push_back(std::move(mesh));
}

void AddSolarSurface(const FootGeometry& foot, Things& things) {
  Mesh mesh;
  mesh.material = Material::kSolar;
  std::vector<Vector2d> rim;
  for (std::size_t i = 0; i < foot.columns().size(); i += 2) {
    rim.push_back(foot.columns()[i].ground);
  }
  const std::size_t wall_count = rim.size();
  for (const Vector2d& p : foot.rear_edge()) rim.push_back(p);
  const Vector2d centre(0.45 * foot.shape().length, 0.0);
  // Rows are denser near the wall, where the white line runs.
  constexpr int kRows = 110;
  for (std::size_t i = 0; i < rim.size(); ++i) {
    for (int r = 0; r <= kRows; ++r) {
      const double t = static_cast<double>(r) / kRows;
      const double part = 0.65 * t + 0.35 * t * t;
      const Vector2d p = rim[i] + part * (centre - rim[i]);
      const SolarPlace place = foot.SolarAt(p.x(), p.y());
      double z = place.z;
      if (r == 0 && i < wall_count) z = foot.shape().lift();
      z = std::max(z, foot.shape().lift() + foot.HornRise(p.x()));
      mesh.Add({p.x(), p.y(), z},
               {place.wall, place.frog, place.bar, place.sulcus});
    }
  }
  const std::size_t stride = kRows + 1;
  for (std::size_t i = 0; i < rim.size(); ++i) {
    const std::size_t next = (i + 1) % rim.size();
    for (std::size_t r = 0; r < kRows; ++r) {
      mesh.Quad(Index(i * stride + r),
                Index(next * stride + r),
                Index(next * stride + r + 1),
                Index(i * stride + r + 1));
    }
  }
  things.meshes.push_back(std::move(mesh));

  // From the solar surface's rear edge up to the hairline: the bulbs' lower
  // part.
  Mesh bulbs;
  bulbs.material = Material::kBulb;
  std::vector<Vec3> low;
  std::vector<Vec3> high;
  const auto add = [&](const Vector2d& p, const Vec3& top, bool heel) {
    low.push_back(
        {p.x(),
         p.y(),
         std::max(heel ? foot.shape().lift() : foot.SolarAt(p.x(), p.y()).z,
                  foot.shape().lift() + foot.HornRise(p.x()))});
    high.push_back(top);
  };
  add(foot.right_heel().ground, ToVec(foot.right_heel().top), true);
  for (std::size_t j = 0; j < foot.rear_edge().size(); ++j) {
    add(foot.rear_edge()[j], ToVec(foot.rear_top()[j]), false);
  }
  add(foot.left_heel().ground, ToVec(foot.left_heel().top), true);
  constexpr int kBulbRows = 20;
  for (std::size_t i = 0; i < low.size(); ++i) {
    const double across =
        static_cast<double>(i) / static_cast<double>(low.size() - 1);
    const double swell =
        9.0 * std::pow(std::sin(std::numbers::pi * across), 0.6) *
        (1 - 0.8 * std::exp(-std::pow((across - 0.5) / 0.11, 2)));
    for (int r = 0; r <= kBulbRows; ++r) {
      const double t = static_cast<double>(r) / kBulbRows;
      const Vec3 p = Mix(low[i], high[i], t) +
                     swell * std::pow(std::sin(std::numbers::pi * t), 0.7) *
                         Vec3{-0.85, 0, -0.45};
      bulbs.Add(p, {p.y, t, p.z, 0});
    }
  }
  const std::size_t bulb_stride = kBulbRows + 1;
  for (std::size_t i = 0; i + 1 < low.size(); ++i) {
    for (std::size_t r = 0; r < kBulbRows; ++r) {
      bulbs.Quad(Index(i * bulb_stride + r),
                 Index((i + 1) * bulb_stride + r),
                 Index((i + 1) * bulb_stride + r + 1),
                 Index(i * bulb_stride + r + 1));
    }
  }
  things.meshes.push_back(std::move(bulbs));
}

// The leg's rings above the coronet; row 0 is the hairline itself.
std::vector<std::vector<Vec3>> LegRings(const FootGeometry& foot) {
  const FootShape& s = foot.shape();
  const std::vector<Vec3> coronet = Coronet(foot);
  Vec3 centre;
  for (const Vec3& p : coronet) centre += p;
  centre = (1.0 / static_cast<double>(coronet.size())) * centre;
  std::vector<double> turns;
  turns.reserve(coronet.size());
  for (const Vec3& p : coronet) {
    turns.push_back(std::atan2(p.y - centre.y, p.x - centre.x));
  }
  std::vector<std::vector<Vec3>> rings;
  rings.push_back(coronet);
  const double end = s.pastern_upper + 62;
  // CHOSEN: the leg is its own oval from 0.8 of the way to the lower pastern
  // point, so that the dorsal pastern is straight where it is measured.
  const double blend_end = 0.8 * s.pastern_lower;
  for (double along = 1.5; along < end; along += along < 30 ? 1.5 : 4.0) {
    const double t = SmoothStep(0.0, 1.0, along / blend_end);
    std::vector<Vec3> ring;
    for (std::size_t i = 0; i < coronet.size(); ++i) {
      const Vec3 leg = LegPoint(foot, along, turns[i]);
      // Near the hairline the skin carries on upwards with a small roll.
      const Vec3 out = Normalised(coronet[i] - centre);
      const double front = SmoothStep(-0.2, 0.9, std::cos(turns[i]));
      const double back = SmoothStep(-0.3, -0.9, std::cos(turns[i]));
      const Vec3 skin =
          coronet[i] +
          (2.2 * SmoothStep(0, 3, along)) * Vec3{out.x, out.y, 0.2} +
          along * Mix(ToVec(foot.PasternAxis()), Vec3{-0.15, 0, 1}, back);
      // Behind, the bulbs reach higher before the pastern starts.
      const double t_here =
          SmoothStep(0.0, 1.0, along / Mix(blend_end, 48.0, 1 - front));
      ring.push_back(Mix(skin, leg, std::min(t, t_here)));
    }
    rings.push_back(std::move(ring));
  }
  // The cannon goes straight up from the fetlock.
  const std::vector<Vec3> last = rings.back();
  Vec3 middle;
  for (const Vec3& p : last) middle += p;
  middle = (1.0 / static_cast<double>(last.size())) * middle;
  for (int k = 1; k <= 24; ++k) {
    const double rise = 14.0 * k;
    const double slim = Mix(1.0, 0.62, SmoothStep(10, 130, rise));
    const double lean = 30 * (1 - std::exp(-rise / 60));
    std::vector<Vec3> ring;
    for (const Vec3& p : last) {
      const Vec3 d = p - middle;
      const Vec3 flat{
          d.x + 0.4 * d.z * (1 - slim), d.y, d.z * (2.0 * slim - 1.0)};
      ring.push_back(middle + slim * flat + Vec3{-lean, 0, rise});
    }
    rings.push_back(std::move(ring));
  }
  return rings;
}

void AddLeg(const std::vector<std::vector<Vec3>>& rings, Things& things) {
  Mesh mesh;
  mesh.material = Material::kSkinCoat;
  const std::size_t count = rings.front().size();
  // Running lengths round the leg and up it, for the lie of the coat.
  double along = 0;
  for (std::size_t k = 0; k < rings.size(); ++k) {
    if (k > 0) along += Length(rings[k][count / 4] - rings[k - 1][count / 4]);
    for (std::size_t i = 0; i < count; ++i) {
      const double around =
          190.0 * static_cast<double>(i) / static_cast<double>(count);
      mesh.Add(rings[k][i], {around, along, 0, 0});
    }
  }
  for (std::size_t k = 0; k + 1 < rings.size(); ++k) {
    for (std::size_t i = 0; i < count; ++i) {
      const std::size_t next = (i + 1) % count;
      mesh.Quad(Index(k * count + i),
                Index(k * count + next),
                Index((k + 1) * count + next),
                Index((k + 1) * count + i));
    }
  }
  things.meshes.push_back(std::move(mesh));
}

/// The inner edge of the shoe's bar, at each place of the outer one.
std::vector<Vector2d> ShoeInner(const FootGeometry& foot) {
  const FootShape& s = foot.shape();
  std::vector<Vector2d> inner;
  for (const Vector2d& o : foot.bearing_outline()) {
    // The bar's inner edge: towards the middle in front, straight across at
    // the branches.
    const double anchor = 0.35 * s.length;
    Vector2d in(std::min(0.0, anchor - o.x()), -o.y());
    if (o.x() < anchor) in.x() = 0;
    const double branch = SmoothStep(0.45 * s.length, -2.0, o.x());
    inner.push_back(o + s.shoe_web * (1 - 0.35 * branch) * in.normalized());
  }
  return inner;
}

void AddShoeBar(const FootGeometry& foot, Things& things) {
  const FootShape& s = foot.shape();
  const auto& outer = foot.bearing_outline();
  const std::vector<Vector2d> inner = ShoeInner(foot);
  Mesh mesh;
  mesh.material = Material::kShoe;
  mesh.smooth = false;
  // The cross-section: ground face with a crease, then round to the top.
  struct Corner {
    double part;  // From the outer edge to the inner.
    double z;
  };
  const double top = s.shoe_thickness;
  std::vector<Corner> section;
  if (s.shoe_fullered) {
    section = {{0, top},
               {0, 0},
               {0.30, 0},
               {0.34, 4.0},
               {0.43, 4.0},
               {0.49, 0},
               {0.94, 0},
               {1, 1.2},
               {1, top},
               {0, top}};
  } else {
    section = {{0, top}, {0, 0}, {0.94, 0}, {1, 1.2}, {1, top}, {0, top}};
  }
  double along = 0;
  for (std::size_t i = 0; i < outer.size(); ++i) {
    if (i > 0) along += (outer[i] - outer[i - 1]).norm();
    // The crease stops before the toe's middle and the heels.
    const double place =
        static_cast<double>(i) / static_cast<double>(outer.size() - 1);
    const double crease = SmoothStep(0.10, 0.13, place) *
                          (1 - SmoothStep(0.87, 0.90, place)) *
                          SmoothStep(0.012, 0.03, std::abs(place - 0.5));
    for (const Corner& c : section) {
      const bool in_crease = c.z == 4.0;
      const Vector2d p = outer[i] + c.part * (inner[i] - outer[i]);
      const double rise = foot.ShoeRise(outer[i].x());
      mesh.Add({p.x(), p.y(), rise + (in_crease ? c.z * crease : c.z)},
               {along, c.part * s.shoe_web, in_crease ? 1.0 : 0.0, 0});
    }
  }
  const std::size_t stride = section.size();
  for (std::size_t i = 0; i + 1 < outer.size(); ++i) {
    for (std::size_t k = 0; k + 1 < stride; ++k) {
      mesh.Quad(Index(i * stride + k),
                Index((i + 1) * stride + k),
                Index((i + 1) * stride + k + 1),
                Index(i * stride + k + 1));
    }
  }
  // The ends of the branches.
  for (const std::size_t end : {std::size_t{0}, outer.size() - 1}) {
    const Vector2d& o = outer[end];
    const Vector2d& n = inner[end];
    const double rise = foot.ShoeRise(o.x());
    const auto a = mesh.Add({o.x(), o.y(), rise});
    const auto b = mesh.Add({n.x(), n.y(), rise});
    const auto c = mesh.Add({n.x(), n.y(), rise + top});
    const auto d = mesh.Add({o.x(), o.y(), rise + top});
    mesh.Quad(a, b, c, d);
  }
  things.meshes.push_back(std::move(mesh));
}

/// Heads in the crease, clinches a third of the way up the wall.
void AddNails(const FootGeometry& foot, Things& things) {
  const FootShape& s = foot.shape();
  const auto& outer = foot.bearing_outline();
  const std::vector<Vector2d> inner = ShoeInner(foot);
  const int left = s.nails / 2;
  const int right = s.nails - left;
  for (int n = 0; n < s.nails; ++n) {
    const bool on_left = n < left;
    const int k = on_left ? n : n - left;
    const int of = on_left ? left : right;
    const double step = of > 1 ? static_cast<double>(k) / (of - 1) : 0.5;
    const double place =
        on_left ? Mix(0.20, 0.42, step) : Mix(0.58, 0.80, step);
    const auto i =
        static_cast<std::size_t>(place * static_cast<double>(outer.size() - 1));
    const Vector2d p = outer[i] + 0.385 * (inner[i] - outer[i]);
    const Vector2d tangent = (outer[i + 1] - outer[i - 1]).normalized();
    const Vec3 t{tangent.x(), tangent.y(), 0};
    const Vec3 across{-tangent.y(), tangent.x(), 0};
    things.meshes.push_back(Box({p.x(), p.y(), foot.ShoeRise(p.x()) + 1.2},
                                3.4 * t,
                                1.5 * across,
                                {0, 0, 2.0},
                                Material::kNail));
    const WallColumn& column = foot.columns()[i];
    const Vec3 up = ToVec(foot.WallPoint(column, 0.72));
    const Vec3 rise = Normalised(ToVec(foot.WallPoint(column, 0.68)) - up);
    const Vec3 out{column.outward.x(), column.outward.y(), 0.2};
    things.meshes.push_back(Box(up + 0.2 * out,
                                2.0 * t,
                                1.8 * rise,
                                0.5 * Normalised(out),
                                Material::kNail));
  }
}

}  // namespace

void Mesh::ComputeNormals() {
  normals.assign(places.size(), {0, 0, 0});
  for (const auto& t : triangles) {
    const Vec3 n =
        Cross(places[t[1]] - places[t[0]], places[t[2]] - places[t[0]]);
    for (const auto i : t) normals[i] += n;
  }
  for (Vec3& n : normals) n = Normalised(n);
}

void Strands::AddStrand(const std::vector<Vec3>& chain,
                        double radius,
                        double tip,
                        double shade_of_strand) {
  for (std::size_t i = 0; i < chain.size(); ++i) {
    const double t =
        static_cast<double>(i) / static_cast<double>(chain.size() - 1);
    if (i + 1 < chain.size()) {
      starts.push_back(static_cast<std::uint32_t>(knots.size()));
      shade.push_back(static_cast<float>(shade_of_strand));
    }
    knots.push_back({chain[i], Mix(radius, tip, t)});
  }
}

void AddLooseShoe(const FootGeometry& foot, Things& things) {
  AddShoeBar(foot, things);
  // The papered board that it lies on, ground side up.
  const FootShape& s = foot.shape();
  constexpr double kHalf = 400;
  constexpr double kThick = 8;
  things.meshes.push_back(Box({s.length / 2, 0, s.shoe_thickness + kThick},
                              {kHalf, 0, 0},
                              {0, kHalf, 0},
                              {0, 0, kThick},
                              Material::kPaper));
}

void AddFoot(const FootGeometry& foot, Things& things) {
  AddWall(foot, things);
  AddSolarSurface(foot, things);
  AddLeg(LegRings(foot), things);
  if (foot.shape().shod) {
    AddShoeBar(foot, things);
    AddNails(foot, things);
  }
}

void AddHair(const FootGeometry& foot,
             const HairStyle& style,
             Random& random,
             Things& things) {
  const auto rings = LegRings(foot);
  const std::size_t count = rings.front().size();
  Strands hair;
  const Vec3 down = -ToVec(foot.PasternAxis());
  const auto grow = [&](std::size_t k,
                        std::size_t i,
                        double length,
                        double lift,
                        double radius,
                        int pieces) {
    const std::size_t next = (i + 1) % count;
    const double s = random.Uniform();
    const double t = random.Uniform();
    const Vec3 a = Mix(rings[k][i], rings[k][next], s);
    const Vec3 b = Mix(rings[k + 1][i], rings[k + 1][next], s);
    const Vec3 root = Mix(a, b, t);
    const Vec3 along = Normalised(a - b);
    const Vec3 normal = Normalised(Cross(rings[k][next] - rings[k][i], b - a));
    const Vec3 stray{
        random.Normal(0, 0.12), random.Normal(0, 0.12), random.Normal(0, 0.08)};
    Vec3 way = Normalised(0.75 * along + 0.25 * down + lift * normal + stray);
    std::vector<Vec3> chain{root};
    const double step = length / pieces;
    for (int p = 0; p < pieces; ++p) {
      chain.push_back(chain.back() + step * way);
      way = Normalised(way + 0.10 * Vec3{0, 0, -1} - 0.12 * lift * normal);
    }
    hair.AddStrand(chain, radius, 0.3 * radius, random.Uniform());
  };
  const auto pick = [&](std::size_t n) {
    return static_cast<std::size_t>(random.Below(static_cast<int>(n)));
  };
  if (style.coat_mm > 0) {
    const int hairs = static_cast<int>(24000 * style.density);
    const std::size_t last = rings.size() - 2;
    for (int h = 0; h < hairs; ++h) {
      // Twice as many low on the pastern, where one looks.
      const double t = random.Uniform();
      const std::size_t k =
          1 + static_cast<std::size_t>(t * t * static_cast<double>(last - 1));
      grow(k,
           pick(count),
           style.coat_mm * random.Uniform(0.7, 1.3),
           0.10,
           0.17,
           2);
    }
  }
  if (style.fringe_mm > 0) {
    const int hairs = static_cast<int>(5200 * style.density);
    for (int h = 0; h < hairs; ++h) {
      grow(pick(3),
           pick(count),
           style.fringe_mm * random.Uniform(0.5, 1.2),
           0.25,
           0.14,
           2);
    }
  }
  if (style.feather_mm > 0) {
    const int hairs = static_cast<int>(2600 * style.density);
    for (int h = 0; h < hairs; ++h) {
      // Behind only: the ring starts at the left heel, runs round the toe, and
      // ends with the bulbs.
      const std::size_t behind = pick(count / 3);
      const std::size_t i = (count - count / 5 + behind) % count;
      grow(2 + pick(34),
           i,
           style.feather_mm * random.Uniform(0.5, 1.2),
           0.45,
           0.15,
           5);
    }
  }
  things.strands.push_back(std::move(hair));
}

std::vector<Vec3> SmoothPath(const std::vector<Vec3>& points, int steps) {
  std::vector<Vec3> path;
  const std::size_t n = points.size();
  for (std::size_t i = 0; i + 1 < n; ++i) {
    const Vec3 p0 = points[i > 0 ? i - 1 : 0];
    const Vec3 p1 = points[i];
    const Vec3 p2 = points[i + 1];
    const Vec3 p3 = points[std::min(i + 2, n - 1)];
    for (int k = 0; k < steps; ++k) {
      const double t = static_cast<double>(k) / steps;
      path.push_back(0.5 * (2.0 * p1 + t * (p2 - p0) +
                            t * t * (2.0 * p0 - 5.0 * p1 + 4.0 * p2 - p3) +
                            t * t * t * (3.0 * p1 - p0 - 3.0 * p2 + p3)));
    }
  }
  path.push_back(points.back());
  return path;
}

Mesh Tube(const std::vector<Vec3>& path,
          const std::vector<double>& radii,
          Material material,
          int sides) {
  // Half spheres at both ends, as extra rings of shrinking radius.
  std::vector<Vec3> centres;
  std::vector<double> sizes;
  std::vector<Vec3> ways;
  const auto way_at = [&](std::size_t i) {
    return Normalised(path[std::min(i + 1, path.size() - 1)] -
                      path[i > 0 ? i - 1 : 0]);
  };
  constexpr int kCap = 5;
  for (int k = 0; k < kCap; ++k) {
    const double a = std::numbers::pi / 2 * k / kCap;
    centres.push_back(path.front() - radii.front() * std::cos(a) * way_at(0));
    sizes.push_back(std::max(1e-3, radii.front() * std::sin(a)));
    ways.push_back(way_at(0));
  }
  for (std::size_t i = 0; i < path.size(); ++i) {
    centres.push_back(path[i]);
    sizes.push_back(radii[std::min(i, radii.size() - 1)]);
    ways.push_back(way_at(i));
  }
  for (int k = kCap - 1; k >= 0; --k) {
    const double a = std::numbers::pi / 2 * k / kCap;
    const Vec3 way = way_at(path.size() - 1);
    centres.push_back(path.back() + radii.back() * std::cos(a) * way);
    sizes.push_back(std::max(1e-3, radii.back() * std::sin(a)));
    ways.push_back(way);
  }
  Mesh mesh;
  mesh.material = material;
  Vec3 side = Normalised(
      Cross(ways.front(),
            std::abs(ways.front().z) < 0.8 ? Vec3{0, 0, 1} : Vec3{1, 0, 0}));
  double along = 0;
  for (std::size_t i = 0; i < centres.size(); ++i) {
    if (i > 0) along += Length(centres[i] - centres[i - 1]);
    side = Normalised(side - Dot(side, ways[i]) * ways[i]);
    const Vec3 other = Cross(ways[i], side);
    for (int s = 0; s < sides; ++s) {
      const double a = 2 * std::numbers::pi * s / sides;
      mesh.Add(
          centres[i] + sizes[i] * (std::cos(a) * side + std::sin(a) * other),
          {along, a * sizes[i], a, 0});
    }
  }
  for (Attributes& a : mesh.attributes) a[3] = along - a[0];
  const auto n = static_cast<std::size_t>(sides);
  for (std::size_t i = 0; i + 1 < centres.size(); ++i) {
    for (std::size_t s = 0; s < n; ++s) {
      const std::size_t next = (s + 1) % n;
      mesh.Quad(Index(i * n + s),
                Index(i * n + next),
                Index((i + 1) * n + next),
                Index((i + 1) * n + s));
    }
  }
  return mesh;
}

Mesh Box(Vec3 centre, Vec3 a, Vec3 b, Vec3 c, Material material) {
  Mesh mesh;
  mesh.material = material;
  mesh.smooth = false;
  const auto face = [&](Vec3 out, Vec3 u, Vec3 v) {
    const double lu = Length(u);
    const double lv = Length(v);
    const auto p0 = mesh.Add(centre + out - u - v, {-lu, -lv, 0, 0});
    const auto p1 = mesh.Add(centre + out + u - v, {lu, -lv, 0, 0});
    const auto p2 = mesh.Add(centre + out + u + v, {lu, lv, 0, 0});
    const auto p3 = mesh.Add(centre + out - u + v, {-lu, lv, 0, 0});
    mesh.Quad(p0, p1, p2, p3);
  };
  face(a, b, c);
  face(-a, b, c);
  face(b, a, c);
  face(-b, a, c);
  face(c, a, b);
  face(-c, a, b);
  return mesh;
}

Mesh Pebble(Vec3 centre, Vec3 radii, Material material, Random& random) {
  Mesh mesh;
  mesh.material = material;
  constexpr int kRings = 7;
  constexpr int kSides = 10;
  const double f1 = random.Uniform(0, 6);
  const double f2 = random.Uniform(0, 6);
  const double turn = random.Uniform(0, 6);
  for (int r = 0; r <= kRings; ++r) {
    const double a = std::numbers::pi * r / kRings;
    for (int s = 0; s < kSides; ++s) {
      const double b = 2 * std::numbers::pi * s / kSides;
      const double rough = 1 + 0.14 * std::sin(2 * a + f1) * std::cos(b + f2) +
                           0.10 * std::cos(3 * b + f1);
      const Vec3 p{radii.x * rough * std::sin(a) * std::cos(b),
                   radii.y * rough * std::sin(a) * std::sin(b),
                   radii.z * rough * std::cos(a)};
      mesh.Add(centre + Vec3{p.x * std::cos(turn) - p.y * std::sin(turn),
                             p.x * std::sin(turn) + p.y * std::cos(turn),
                             p.z},
               {a * radii.x, b * radii.x, 0, 0});
    }
  }
  for (std::size_t r = 0; r < kRings; ++r) {
    for (std::size_t s = 0; s < kSides; ++s) {
      const std::size_t next = (s + 1) % kSides;
      mesh.Quad(Index(r * kSides + s),
                Index((r + 1) * kSides + s),
                Index((r + 1) * kSides + next),
                Index(r * kSides + next));
    }
  }
  return mesh;
}

}  // namespace plumbfoot::scenes
