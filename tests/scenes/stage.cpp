// SPDX-License-Identifier: Apache-2.0
#include "scenes/stage.h"

#include <numbers>

namespace plumbfoot::scenes {
namespace {

using geometry::Random;
using geometry::View;

Vec3 ToVec(const Eigen::Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}

// A floor through `centre` whose normal is `up`.
struct FloorPlane {
  Vec3 centre;
  Vec3 up;
  Vec3 along;
  Vec3 across;
  Vec3 At(double a, double b, double rise = 0) const {
    return centre + a * along + b * across + rise * up;
  }
};

FloorPlane FloorOf(const SceneOptions& o, const Layout& layout) {
  FloorPlane f;
  f.up = o.view == View::kSolar ? o.light.up : Vec3{0, 0, 1};
  const Vec3 middle{o.shape.length / 2, 0, 0};
  // CHOSEN: a lifted foot is held at knee height.
  f.centre = o.view == View::kSolar ? middle - 430.0 * f.up : middle;
  f.along =
      Normalised(layout.photo_right - Dot(layout.photo_right, f.up) * f.up);
  f.across = Cross(f.up, f.along);
  return f;
}

void AddFloor(const FloorPlane& f, Things& things) {
  Mesh mesh;
  mesh.material = Material::kGround;
  constexpr double kHalf = 6000;
  const auto a = mesh.Add(f.At(-kHalf, -kHalf));
  const auto b = mesh.Add(f.At(kHalf, -kHalf));
  const auto c = mesh.Add(f.At(kHalf, kHalf));
  const auto d = mesh.Add(f.At(-kHalf, kHalf));
  mesh.Quad(a, b, c, d);
  things.meshes.push_back(std::move(mesh));
}

void AddCard(const SceneOptions& o, const Layout& layout, Things& things) {
  Mesh front;
  front.material = Material::kCardFront;
  Mesh board;
  board.material = Material::kBoard;
  board.smooth = false;
  const Vec3 back =
      -o.card.board_mm * ToVec(layout.shape_from_card.rotation.col(2));
  // A flat card needs three rectangles; a bent one a grid.
  const double step = o.card.bend_mm == 0 ? 16.0 : 4.0;
  const auto on = [&](double x, double y) { return OnCard(o, layout, x, y); };
  const auto cell = [&](double x, double y, double w, double h) {
    const auto a = front.Add(on(x, y), {x, y, 0, 0});
    const auto b = front.Add(on(x + w, y), {x + w, y, 0, 0});
    const auto c = front.Add(on(x + w, y + h), {x + w, y + h, 0, 0});
    const auto d = front.Add(on(x, y + h), {x, y + h, 0, 0});
    front.Quad(a, b, c, d);
    const auto e = board.Add(on(x, y) + back, {x, y, 0, 0});
    const auto f = board.Add(on(x + w, y) + back, {x + w, y, 0, 0});
    const auto g = board.Add(on(x + w, y + h) + back, {x + w, y + h, 0, 0});
    const auto i = board.Add(on(x, y + h) + back, {x, y + h, 0, 0});
    board.Quad(e, i, g, f);
  };
  for (double y = 0; y < kCardSide; y += step) {
    for (double x = 0; x < kCardSide; x += step) {
      if (x < kCardArm || y < kCardArm) cell(x, y, step, step);
    }
  }
  const auto edge = [&](double x0, double y0, double x1, double y1) {
    const double length = std::hypot(x1 - x0, y1 - y0);
    const int pieces = static_cast<int>(std::lround(length / step));
    for (int k = 0; k < pieces; ++k) {
      const double s = static_cast<double>(k) / pieces;
      const double t = static_cast<double>(k + 1) / pieces;
      const Vec3 p = on(Mix(x0, x1, s), Mix(y0, y1, s));
      const Vec3 q = on(Mix(x0, x1, t), Mix(y0, y1, t));
      const auto a = board.Add(p, {s * length, 0, 0, 0});
      const auto b = board.Add(q, {t * length, 0, 0, 0});
      const auto c = board.Add(q + back, {t * length, o.card.board_mm, 0, 0});
      const auto d = board.Add(p + back, {s * length, o.card.board_mm, 0, 0});
      board.Quad(a, b, c, d);
    }
  };
  edge(0, 0, kCardSide, 0);
  edge(kCardSide, 0, kCardSide, kCardArm);
  edge(kCardSide, kCardArm, kCardArm, kCardArm);
  edge(kCardArm, kCardArm, kCardArm, kCardSide);
  edge(kCardArm, kCardSide, 0, kCardSide);
  edge(0, kCardSide, 0, 0);
  things.meshes.push_back(std::move(front));
  things.meshes.push_back(std::move(board));
}

void AddMudOnTags(const SceneOptions& o,
                  const Layout& layout,
                  Random& random,
                  Things& things) {
  if (!o.card.muddy) return;
  for (std::size_t id = 0; id < 5; ++id) {
    if (o.card.tags[id]) continue;
    for (int k = 0; k < 7; ++k) {
      const Vec3 at = OnCard(o,
                             layout,
                             kTagCentres[id][0] + random.Normal(0, 7),
                             kTagCentres[id][1] + random.Normal(0, 7));
      Mesh blob = Pebble({0, 0, 0},
                         {random.Uniform(7, 15),
                          random.Uniform(7, 15),
                          random.Uniform(0.8, 2.5)},
                         Material::kMud,
                         random);
      for (Vec3& p : blob.places) {
        const auto& r = layout.shape_from_card.rotation;
        p = at + ToVec(r * Eigen::Vector3d(p.x, p.y, p.z));
      }
      things.meshes.push_back(std::move(blob));
    }
  }
}

// A finger or thumb along `knuckles`, the tip last.
void AddFinger(const std::vector<Vec3>& knuckles,
               double radius,
               Material material,
               std::uint32_t tint,
               Things& things) {
  const auto path = SmoothPath(knuckles, 8);
  std::vector<double> radii;
  for (std::size_t i = 0; i < path.size(); ++i) {
    const double t =
        static_cast<double>(i) / static_cast<double>(path.size() - 1);
    // Thicker at the joints, tapering to the tip.
    radii.push_back(radius * (1.08 - 0.28 * t * t) *
                    (1 + 0.05 * std::cos(t * 6 * std::numbers::pi)));
  }
  Mesh mesh = Tube(path, radii, material, 18);
  mesh.tint = tint;
  things.meshes.push_back(std::move(mesh));
}

// A hand round the side of the wall that is away from the card.
void AddFootHand(const SceneOptions& o,
                 const FootGeometry& foot,
                 const Layout& layout,
                 Random& random,
                 Things& things) {
  const Material skin =
      o.hold == Hold::kGlove ? Material::kGlove : Material::kHand;
  const double radius =
      o.hold == Hold::kGlove ? random.Uniform(10, 12) : random.Uniform(8, 10);
  // Which side is free: the card's corner points away from it.
  const Vec3 card_corner = OnCard(o, layout, 0, 0);
  const bool right_side = card_corner.y > 0;
  const double around = random.Uniform(0.30, 0.40);
  const auto& columns = foot.columns();
  const bool over_edge = random.Chance(0.35);
  Vec3 palm_from;
  Vec3 palm_to;
  for (int f = 0; f < 4; ++f) {
    const double place =
        right_side ? 1 - around + 0.065 * f : around - 0.065 * f;
    const auto i = static_cast<std::size_t>(
        place * static_cast<double>(columns.size() - 1));
    const WallColumn& c = columns[i];
    const Vec3 out{c.outward.x(), c.outward.y(), 0};
    const auto at = [&](double down, double off) {
      return ToVec(foot.WallPoint(c, down)) + (radius + off) * out;
    };
    const double tip = random.Uniform(0.75, 1.0);
    std::vector<Vec3> knuckles{at(-0.5, 14), at(0.0, 8), at(0.45, 2.5)};
    knuckles.push_back(at(tip, 0.5));
    if (over_edge) {
      knuckles.back() = at(1.0, 0.2) + Vec3{0, 0, -2};
      knuckles.push_back(ToVec(foot.WallPoint(c, 1.0)) - 5.0 * out +
                         Vec3{0, 0, -0.85 * radius});
    }
    AddFinger(knuckles, radius, skin, static_cast<std::uint32_t>(f), things);
    if (f == 0) palm_from = knuckles.front();
    if (f == 3) palm_to = knuckles.front();
  }
  const Vec3 side = right_side ? Vec3{0, -1, 0} : Vec3{0, 1, 0};
  const Vec3 middle = Mix(palm_from, palm_to, 0.5);
  const Vec3 palm = middle + 18.0 * side + Vec3{-10, 0, 32};
  const Vec3 wrist = palm + 45.0 * side + Vec3{-30, 0, 20};
  // The back of the hand: four bones close together, spread to the knuckles.
  for (int f = 0; f < 4; ++f) {
    const Vec3 knuckle = Mix(palm_from, palm_to, f / 3.0);
    AddFinger({wrist + 0.35 * (knuckle - middle),
               palm + 0.75 * (knuckle - middle),
               knuckle},
              1.45 * radius,
              skin,
              static_cast<std::uint32_t>(7 + f),
              things);
  }
  // The forearm goes off to the side, in a sleeve.
  AddFinger({wrist + 12.0 * side, palm}, 2.4 * radius, skin, 12, things);
  const Vec3 elbow = wrist + 260.0 * Normalised(side + Vec3{-0.5, 0, 0.25});
  AddFinger({elbow, Mix(wrist, elbow, 0.5), wrist},
            4.0 * radius,
            Material::kCloth,
            9,
            things);
}

// A thumb before and fingers behind an outer edge of the card.
void AddCardHand(const SceneOptions& o,
                 const Layout& layout,
                 Random& random,
                 Things& things) {
  const Material skin =
      o.hold == Hold::kGlove ? Material::kGlove : Material::kHand;
  const double radius = o.hold == Hold::kGlove ? 11.0 : 9.5;
  const bool arm_a = random.Chance(0.5);
  const double along = random.Uniform(60, 118);
  const auto at = [&](double a, double off, double rise) {
    const Vec3 p =
        arm_a ? OnCard(o, layout, a, off) : OnCard(o, layout, off, a);
    return p + rise * ToVec(layout.shape_from_card.rotation.col(2));
  };
  // CHOSEN: the thumb reaches 4 mm onto the print, which leaves the tags'
  // white rim free.
  AddFinger({at(along + 16, -62, 4),
             at(along + 9, -36, 9),
             at(along + 2, -14, 7),
             at(along, -3.0 - 0.4 * radius + 4, 0.72 * radius)},
            radius,
            skin,
            20,
            things);
  for (int f = 0; f < 3; ++f) {
    const double a = along - 22 + 19 * f;
    const double behind = -o.card.board_mm - radius;
    AddFinger({at(a + 8, -66, -26),
               at(a + 4, -38, behind - 4),
               at(a, -10, behind),
               at(a, 14, behind)},
              radius,
              skin,
              static_cast<std::uint32_t>(21 + f),
              things);
  }
  const Vec3 wrist = at(along + 26, -138, -24);
  for (int f = 0; f < 4; ++f) {
    const double a = along - 22 + 19 * f;
    AddFinger({at(along + 10 + 8 * f, -130, -24),
               at(a + 10, -96, -22),
               at(a + 8, -62, -24)},
              14,
              skin,
              static_cast<std::uint32_t>(30 + f),
              things);
  }
  // The ball of the thumb.
  AddFinger({at(along + 26, -122, -14),
             at(along + 22, -88, -4),
             at(along + 15, -58, 4)},
            17,
            skin,
            25,
            things);
  AddFinger({at(along + 40, -180, -28), wrist, at(along + 18, -110, -20)},
            25,
            skin,
            26,
            things);
  AddFinger({at(along + 110, -470, -60), at(along + 44, -178, -30)},
            40,
            Material::kCloth,
            27,
            things);
}

// What stands behind a lifted foot.
void AddBehind(const SceneOptions& o,
               const FootGeometry& foot,
               const Layout& layout,
               Random& random,
               Things& things) {
  const Vec3 away = -layout.towards_camera;
  const Vec3 middle{o.shape.length * 0.4, 0, 0};
  if (o.behind == Behind::kChaps) {
    // Two thighs, in leather, either side of the foot and behind it.
    const Material cover =
        random.Chance(0.75) ? Material::kLeather : Material::kCloth;
    for (const double side : {-1.0, 1.0}) {
      // CHOSEN: a thigh is 91 mm thick at most; its axis runs beside the
      // wall, far enough behind the bearing plane not to come before it.
      const Vec3 start = middle +
                         (side * random.Uniform(85, 120)) * layout.photo_right +
                         random.Uniform(170, 210) * away;
      const Vec3 way =
          Normalised(layout.photo_up + 0.3 * side * layout.photo_right);
      AddFinger({start - 420.0 * way, start, start + 420.0 * way},
                84,
                cover,
                static_cast<std::uint32_t>(side > 0 ? 30 : 31),
                things);
    }
  } else if (o.behind == Behind::kStand) {
    const Vec3 dorsal = ToVec(foot.WallPoint(foot.toe(), 0.45));
    Mesh cup = Tube({dorsal + Vec3{22, -34, 18},
                     dorsal + Vec3{14, 0, 14},
                     dorsal + Vec3{22, 34, 18}},
                    {13, 13, 13},
                    Material::kPlastic,
                    16);
    cup.tint = 2;
    things.meshes.push_back(std::move(cup));
    const Vec3 top = dorsal + Vec3{24, 0, 20};
    things.meshes.push_back(
        Tube({top, top - 520.0 * o.light.up}, {17, 17}, Material::kSteel, 18));
  }
}

void AddTool(int kind,
             Vec3 at,
             Vec3 way,
             Vec3 up,
             std::uint32_t tint,
             Random& random,
             Things& things) {
  const Vec3 across = Cross(up, way);
  const auto add = [&](Mesh mesh) {
    mesh.tint = tint;
    things.meshes.push_back(std::move(mesh));
  };
  switch (kind) {
    case 0:  // A rasp.
      add(Box(at + 3.0 * up,
              175.0 * way,
              20.0 * across,
              2.5 * up,
              Material::kSteel));
      add(Tube({at + 175.0 * way + 6.0 * up, at + 290.0 * way + 9.0 * up},
               {6, 13},
               Material::kWood));
      break;
    case 1:  // A hoof pick.
      add(Tube(SmoothPath({at + 7.0 * up,
                           at + 60.0 * way + 7.0 * up,
                           at + 95.0 * way + 7.0 * up,
                           at + 104.0 * way - 16.0 * across + 6.0 * up},
                          8),
               {4, 4},
               Material::kSteel));
      add(Tube({at - 60.0 * way + 9.0 * up, at + 30.0 * way + 9.0 * up},
               {9, 8},
               Material::kPlastic));
      break;
    case 2: {  // A lead rope.
      std::vector<Vec3> knots;
      Vec3 p = at;
      double heading = 0;
      for (int k = 0; k < 12; ++k) {
        knots.push_back(p + 7.0 * up);
        heading += random.Normal(0, 0.55);
        p += 60.0 * (std::cos(heading) * way + std::sin(heading) * across);
      }
      add(Tube(SmoothPath(knots, 8), {7}, Material::kRope, 12));
      break;
    }
    case 3: {  // A bucket's edge.
      std::vector<Vec3> rim;
      for (int k = 0; k <= 40; ++k) {
        const double a = 2 * std::numbers::pi * k / 40;
        rim.push_back(at + 140.0 * std::cos(a) * way +
                      140.0 * std::sin(a) * across + 240.0 * up);
      }
      add(Tube(rim, {5}, Material::kPlastic));
      add(Tube({at + 5.0 * up, at + 120.0 * up, at + 232.0 * up},
               {112, 126, 138},
               Material::kPlastic,
               40));
      break;
    }
    case 4:  // A hammer.
      add(Tube({at + 10.0 * up, at + 300.0 * way + 12.0 * up},
               {10, 13},
               Material::kWood));
      add(Box(at + 14.0 * up - 4.0 * way,
              13.0 * way,
              42.0 * across,
              13.0 * up,
              Material::kSteel));
      break;
    default:  // Horn clippings.
      for (int k = 0; k < 6; ++k) {
        const Vec3 c =
            at + random.Normal(0, 40) * way + random.Normal(0, 40) * across;
        Mesh chip = Box(c + 3.0 * up,
                        random.Uniform(5, 14) * way,
                        random.Uniform(2, 4) * across,
                        random.Uniform(1, 2.5) * up,
                        Material::kSolar);
        for (auto& t : chip.attributes) t = {20, 30, 0, 0};
        add(std::move(chip));
      }
      break;
  }
}

void AddClutter(const SceneOptions& o,
                const FloorPlane& floor,
                const Layout& layout,
                Random& random,
                Things& things) {
  const bool solar = o.view == View::kSolar;
  for (int k = 0; k < o.clutter; ++k) {
    const int kind = random.Below(6);
    // Lateral: behind the foot as the camera sees it, so that no bearing edge
    // is covered.
    const double behind =
        solar ? random.Uniform(-260, 260) : random.Uniform(150, 520);
    const double beside = random.Uniform(-330, 330);
    const Vec3 to_back = solar ? floor.across : -layout.towards_camera;
    const Vec3 at = floor.centre + behind * to_back + beside * floor.along;
    const double a = random.Uniform(0, 2 * std::numbers::pi);
    const Vec3 way = std::cos(a) * floor.along + std::sin(a) * floor.across;
    AddTool(
        kind, at, way, floor.up, static_cast<std::uint32_t>(k), random, things);
  }
}

// Straw, grass and stones. Thinner round the foot, where feet have trodden.
void AddLitter(const SceneOptions& o,
               const FloorPlane& floor,
               const Layout& layout,
               Random& random,
               Things& things) {
  const bool lateral = o.view == View::kLateral;
  // Where the camera looks: past a lifted foot, on the floor behind it.
  Vec3 middle = floor.centre;
  double reach = 420;
  if (!lateral) {
    const Vec3 way = -layout.towards_camera;
    const double down = -Dot(way, floor.up);
    if (down > 0.2) {
      const Vec3 from = layout.lens;
      middle = from + (Dot(from - floor.centre, floor.up) / down) * way;
    }
    const double far = Length(middle - layout.lens);
    reach = std::clamp(0.8 * far * 43.27 / o.camera.focal_35mm, 300.0, 1200.0);
  }
  const double more = std::min(4.0, reach * reach / (420.0 * 420.0));
  const auto clear = [&](Vec3 p) {
    // Before the foot and the card nothing tall may stand.
    if (!lateral) return true;
    const double toward = Dot(p, layout.towards_camera);
    const double beside = std::abs(Dot(p - floor.centre, floor.along));
    return !(toward > -75 && beside < 330);
  };
  const auto spot = [&] {
    return middle + random.Uniform(-reach, reach) * floor.along +
           random.Uniform(-reach, reach) * floor.across;
  };
  if (o.ground == Ground::kStraw || o.ground == Ground::kDirt ||
      o.ground == Ground::kConcrete) {
    Strands straw;
    straw.material = Material::kStraw;
    const int count = static_cast<int>(
        more * (o.ground == Ground::kStraw ? 2600 : random.Below(90)));
    for (int k = 0; k < count; ++k) {
      Vec3 p = spot();
      const bool free = clear(p);
      if (!free && random.Chance(0.72)) continue;
      const double a = random.Uniform(0, 2 * std::numbers::pi);
      const double length = random.Uniform(20, 110) * (free ? 1.0 : 0.35);
      const double rise =
          free ? random.Uniform(0, 0.35) * random.Uniform() : 0.01;
      const Vec3 way = Normalised(std::cos(a) * floor.along +
                                  std::sin(a) * floor.across + rise * floor.up);
      p += random.Uniform(0.6, free ? 9.0 : 1.0) * floor.up;
      straw.AddStrand({p,
                       p + 0.5 * length * way,
                       p + length * way - 0.02 * length * floor.up},
                      random.Uniform(0.7, 1.4),
                      random.Uniform(0.5, 1.1),
                      random.Uniform());
    }
    things.strands.push_back(std::move(straw));
  }
  if (o.ground == Ground::kGrass) {
    Strands grass;
    grass.material = Material::kGrass;
    for (int k = 0; k < static_cast<int>(more * 15000); ++k) {
      const Vec3 p = spot();
      const bool free = clear(p);
      if (!free && random.Chance(0.5)) continue;
      const double height =
          free ? random.Uniform(8, 38) : random.Uniform(1.5, 5);
      const double a = random.Uniform(0, 2 * std::numbers::pi);
      const double lean = random.Uniform(0.2, 1.1);
      const Vec3 side = std::cos(a) * floor.along + std::sin(a) * floor.across;
      grass.AddStrand(
          {p,
           p + 0.55 * height * floor.up + 0.2 * lean * height * side,
           p + 0.9 * height * floor.up + 0.75 * lean * height * side},
          random.Uniform(0.7, 1.5),
          0.15,
          random.Uniform());
    }
    things.strands.push_back(std::move(grass));
  }
  if (o.ground == Ground::kGravel || o.ground == Ground::kDirt ||
      o.ground == Ground::kSand) {
    const int count = static_cast<int>(
        more * (o.ground == Ground::kGravel ? 700 : random.Below(110)));
    for (int k = 0; k < count; ++k) {
      const Vec3 p = spot();
      const bool free = clear(p);
      const double size = free ? random.Uniform(2, 8) : random.Uniform(1, 2.4);
      Mesh stone = Pebble({0, 0, 0},
                          {size * random.Uniform(0.8, 1.4),
                           size,
                           size * random.Uniform(0.4, 0.8)},
                          Material::kStone,
                          random);
      stone.tint = static_cast<std::uint32_t>(k);
      for (Vec3& v : stone.places) {
        v = p + v.x * floor.along + v.y * floor.across +
            (v.z + 0.2 * size) * floor.up;
      }
      things.meshes.push_back(std::move(stone));
    }
  }
}

void AddStall(const FloorPlane& floor,
              const Layout& layout,
              Random& random,
              Things& things) {
  const Vec3 back = -layout.towards_camera;
  const Vec3 wall = floor.centre + random.Uniform(500, 900) * back;
  const double board = random.Uniform(90, 160);
  for (int k = 0; k < 10; ++k) {
    Mesh plank = Box(wall + (board * (k + 0.5)) * floor.up,
                     2500.0 * floor.along,
                     (0.485 * board) * floor.up,
                     12.0 * back,
                     Material::kWood);
    plank.tint = static_cast<std::uint32_t>(k);
    things.meshes.push_back(std::move(plank));
  }
}

}  // namespace

Things BuildThings(const SceneOptions& o,
                   const FootGeometry& foot,
                   const Layout& layout) {
  Things things;
  Random random(o.seed ^ 0x5ce7e5ULL);
  const FloorPlane floor = FloorOf(o, layout);
  AddFloor(floor, things);
  if (o.card.present) {
    AddCard(o, layout, things);
    AddMudOnTags(o, layout, random, things);
  }
  if (o.loose_shoe) {
    AddLooseShoe(foot, things);
  } else if (!o.card_only) {
    AddFoot(foot, things);
    AddHair(foot, o.hair, random, things);
    if (o.view == View::kSolar) {
      if (o.hold != Hold::kNone) {
        if (random.Chance(0.7)) AddFootHand(o, foot, layout, random, things);
        if (o.card.present) AddCardHand(o, layout, random, things);
      }
      AddBehind(o, foot, layout, random, things);
    } else if (o.behind == Behind::kStall) {
      AddStall(floor, layout, random, things);
    }
    AddClutter(o, floor, layout, random, things);
    AddLitter(o, floor, layout, random, things);
  }
  for (Mesh& mesh : things.meshes) mesh.ComputeNormals();
  return things;
}

}  // namespace plumbfoot::scenes
