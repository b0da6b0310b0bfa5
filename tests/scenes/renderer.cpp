// SPDX-License-Identifier: Apache-2.0
#include "scenes/renderer.h"

#include <Eigen/LU>
#include <numbers>
#include <vector>

#include "scenes/camera_effects.h"
#include "scenes/noise.h"
#include "scenes/parallel.h"
#include "scenes/stage.h"
#include "scenes/textures.h"
#include "scenes/tracer.h"

namespace plumbfoot::scenes {
namespace {

using geometry::View;

Vec3 ToVec(const Eigen::Vector3d& v) {
  return {v.x(), v.y(), v.z()};
}

// In a grid that is kept row by row.
std::size_t Place(int row, int column, int columns) {
  return static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) +
         static_cast<std::size_t>(column);
}

// The ray through a photo point. The lens is undistorted on a coarse grid and
// interpolated: at 8 px the error is below 0.001 px for a phone's lens.
class RayField {
 public:
  RayField(const Layout& layout, int width, int height)
      : layout_(layout), columns_(width / kStep + 3) {
    const int rows = height / kStep + 3;
    for (int r = 0; r < rows; ++r) {
      for (int c = 0; c < columns_; ++c) {
        ways_.push_back(Exact((c - 0.5) * kStep, (r - 0.5) * kStep));
      }
    }
  }
  Ray At(double x, double y) const {
    const double gx = x / kStep + 0.5;
    const double gy = y / kStep + 0.5;
    const int c = static_cast<int>(gx);
    const int r = static_cast<int>(gy);
    const double fx = gx - c;
    const double fy = gy - r;
    const auto at = [&](int dc, int dr) {
      return ways_[Place(r + dr, c + dc, columns_)];
    };
    const Vec3 way =
        Mix(Mix(at(0, 0), at(1, 0), fx), Mix(at(0, 1), at(1, 1), fx), fy);
    return {layout_.lens, Normalised(way)};
  }

 private:
  static constexpr int kStep = 8;
  Vec3 Exact(double x, double y) const {
    const Eigen::Vector3d ray = geometry::RayThrough(layout_.camera, {x, y});
    return ToVec(layout_.camera_from_shape.rotation.transpose() * ray);
  }
  const Layout& layout_;
  int columns_;
  std::vector<Vec3> ways_;
};

// Light that arrives at a place: how much of the sun is seen, and the sky's
// and the surroundings' light.
struct Arriving {
  double sun = 0.0;
  Vec3 around;
};

// Light is worked out on a coarse grid of photo places and smoothed: shadows
// are soft, and this costs a tenth of doing it for each pixel.
struct LightNode {
  bool any = false;
  std::uint32_t thing = 0;
  Vec3 place;
  Vec3 normal;
  Arriving light;
};

class Renderer {
 public:
  Renderer(const SceneOptions& options, int width, int height, int threads)
      : o_(options),
        width_(width),
        height_(height),
        threads_(std::max(1, threads)),
        foot_(options.shape),
        layout_(ComputeLayout(options, foot_, width, height)),
        things_(BuildThings(options, foot_, layout_)),
        tracer_(things_, threads_),
        textures_(options, layout_),
        rays_(layout_, width, height),
        // CHOSEN: about 400 nodes across.
        stride_(std::max(2, width / 400)) {}

  RenderedPhoto Run() {
    // A flat card over plain ground needs no rays.
    quick_ = o_.card_only && !o_.loose_shoe && o_.card.present &&
             o_.card.bend_mm == 0;
    if (!quick_) LightGrid();
    FirstPass();
    SecondPass();
    RenderedPhoto out;
    out.photo =
        DevelopPhoto(image_, background_, o_.effects, o_.seed, threads_);
    out.truth = ComputeTruth(o_, width_, height_);
    FindCovered(out.truth);
    return out;
  }

 private:
  double Jitter(std::uint32_t a, std::uint32_t b, std::uint32_t c) const {
    return HashUniform(a, b, c + static_cast<std::uint32_t>(o_.seed) * 131U);
  }

  Vec3 Sky(Vec3 way) const {
    const Lighting& l = o_.light;
    const double up = Dot(way, l.up);
    const Vec3 low = l.bounce * l.bounce_colour;
    const Vec3 horizon = 0.75 * l.sky * Mix(l.sky_colour, {1, 1, 1}, 0.6);
    const Vec3 high = l.sky * l.sky_colour;
    return up < 0 ? Mix(horizon, low, SmoothStep(0.0, 0.25, -up))
                  : Mix(horizon, high, up);
  }

  // What is seen far away: trees or buildings under the sky, out of focus.
  Vec3 Backdrop(Vec3 way) const {
    const auto seed = static_cast<std::uint32_t>(o_.appearance.seed * 31 + 5);
    const double up = Dot(way, o_.light.up);
    const double turn = std::atan2(way.y, way.x);
    const auto noise = [&](double across, double high, std::uint32_t k) {
      return Fractal({across * turn, high * up, 0}, 1, 4, 0.55, 0.001, seed + k)
          .value;
    };
    const double clouds = noise(3, 9, 1);
    Vec3 colour = (1.15 + 0.2 * clouds) * Sky(way);
    const double trees = 0.10 + 0.09 * noise(5, 0, 2) + 0.02 * noise(40, 0, 3);
    const double leaf = noise(45, 45, 4);
    const Vec3 green =
        (o_.light.sky * (1 + 0.55 * leaf)) * Mix(Vec3{0.055, 0.085, 0.035},
                                                 Vec3{0.12, 0.10, 0.07},
                                                 Clamp01(0.5 + noise(2, 2, 5)));
    colour = Mix(green, colour, SmoothStep(trees - 0.006, trees + 0.006, up));
    // Here and there a building.
    const double block = std::floor(turn * 5 + 40);
    const double high =
        0.06 + 0.22 * HashUniform(static_cast<std::uint32_t>(block), 7, seed);
    if (HashUniform(static_cast<std::uint32_t>(block), 3, seed) < 0.12 &&
        up < high) {
      const double shade =
          0.1 + 0.3 * HashUniform(static_cast<std::uint32_t>(block), 9, seed);
      colour = (shade * o_.light.sky) * Vec3{1.0, 0.93, 0.85};
    }
    return colour;
  }

  Arriving LightAt(const SurfacePlace& p,
                   std::uint32_t id,
                   int suns,
                   int skies) const {
    Arriving a;
    const Lighting& l = o_.light;
    const Vec3 start = p.place + 0.05 * p.normal;
    const bool thread_like = p.material == Material::kHair ||
                             p.material == Material::kStraw ||
                             p.material == Material::kGrass;
    if (l.sun > 0 && (thread_like || Dot(p.normal, l.sun_direction) > -0.2)) {
      const Vec3 s = l.sun_direction;
      const Vec3 u = Normalised(
          Cross(s, std::abs(s.z) < 0.9 ? Vec3{0, 0, 1} : Vec3{1, 0, 0}));
      const Vec3 v = Cross(s, u);
      int seen = 0;
      for (int k = 0; k < suns; ++k) {
        const auto n = static_cast<std::uint32_t>(k);
        const double r =
            std::tan(l.sun_size) * std::sqrt((k + Jitter(id, n, 1)) / suns);
        const double turn = 2 * std::numbers::pi * Jitter(id, n, 2);
        const Vec3 way =
            Normalised(s + r * std::cos(turn) * u + r * std::sin(turn) * v);
        if (!tracer_.Blocked({start, way}, 0.3, 5000)) ++seen;
      }
      a.sun = static_cast<double>(seen) / suns;
    }
    // Cosine-weighted directions of the half space over the surface.
    const Vec3 n = p.normal;
    const Vec3 u = Normalised(
        Cross(n, std::abs(n.z) < 0.9 ? Vec3{0, 0, 1} : Vec3{1, 0, 0}));
    const Vec3 v = Cross(n, u);
    const double shift = Jitter(id, 7, 3);
    for (int k = 0; k < skies; ++k) {
      const auto m = static_cast<std::uint32_t>(k);
      const double e = (k + Jitter(id, m, 4)) / skies;
      const double turn = 2 * std::numbers::pi * (k * 0.618034 + shift);
      const double r = std::sqrt(e);
      const Vec3 way =
          Normalised(r * std::cos(turn) * u + r * std::sin(turn) * v +
                     std::sqrt(std::max(0.0, 1 - e)) * n);
      if (!tracer_.Blocked({start, way}, 0.3, 450)) {
        a.around += Sky(way);
      } else {
        // What stands in the way sends back a part of the light.
        a.around += 0.16 * l.sky * Vec3{1.0, 0.92, 0.82};
      }
    }
    a.around = (1.0 / skies) * a.around;
    return a;
  }

  void LightGrid() {
    grid_width_ = width_ / stride_ + 2;
    grid_height_ = height_ / stride_ + 2;
    grid_.resize(Place(grid_height_, 0, grid_width_));
    const int suns = o_.card_only ? 2 : 4;
    const int skies = o_.card_only ? 4 : 9;
    Parallel(threads_, grid_height_, [&](int r) {
      for (int c = 0; c < grid_width_; ++c) {
        LightNode& node = grid_[Place(r, c, grid_width_)];
        const Hit hit =
            tracer_.Trace(rays_.At(std::min(c * stride_ + 0.0, width_ - 0.5),
                                   std::min(r * stride_ + 0.0, height_ - 0.5)));
        if (!hit.any) continue;
        node.any = true;
        node.thing = hit.thing;
        node.place = hit.place.place;
        node.normal = hit.place.normal;
        node.light = LightAt(hit.place,
                             Hash(static_cast<std::uint32_t>(r),
                                  static_cast<std::uint32_t>(c),
                                  5),
                             suns,
                             skies);
      }
    });
    for (int pass = 0; pass < 2; ++pass) SmoothGrid(1 << pass);
  }

  static double Alike(const LightNode& a,
                      Vec3 place,
                      Vec3 normal,
                      double reach) {
    const Vec3 d = a.place - place;
    const double off = std::abs(Dot(d, normal)) + 0.25 * Length(d);
    const double turn = std::max(0.0, Dot(a.normal, normal));
    const double near = reach / (reach + off);
    const double near2 = near * near;
    return near2 * near2 * turn * turn * turn + 1e-9;
  }

  void SmoothGrid(int step) {
    const std::vector<LightNode> before = grid_;
    const double reach = 2.5 * step * MmPerPixel() * stride_;
    Parallel(threads_, grid_height_, [&](int r) {
      for (int c = 0; c < grid_width_; ++c) {
        LightNode& node = grid_[Place(r, c, grid_width_)];
        if (!node.any) continue;
        double sum = 0;
        Arriving light;
        for (int dr = -1; dr <= 1; ++dr) {
          for (int dc = -1; dc <= 1; ++dc) {
            const int rr = r + dr * step;
            const int cc = c + dc * step;
            if (rr < 0 || cc < 0 || rr >= grid_height_ || cc >= grid_width_)
              continue;
            const LightNode& other = before[Place(rr, cc, grid_width_)];
            if (!other.any) continue;
            const double w = Alike(other, node.place, node.normal, reach);
            sum += w;
            light.sun += w * other.light.sun;
            light.around += w * other.light.around;
          }
        }
        node.light.sun = light.sun / sum;
        node.light.around = (1 / sum) * light.around;
      }
    });
  }

  double MmPerPixel() const {
    return o_.camera.distance_mm / layout_.camera.focal_px;
  }

  Arriving LightFor(const Hit& hit, double x, double y) const {
    const double gx = x / stride_;
    const double gy = y / stride_;
    const int c = std::clamp(static_cast<int>(gx), 0, grid_width_ - 2);
    const int r = std::clamp(static_cast<int>(gy), 0, grid_height_ - 2);
    const double reach = 2.0 * MmPerPixel() * stride_;
    double sum = 0;
    double trust = 0;
    Arriving light;
    for (int dr = 0; dr <= 1; ++dr) {
      for (int dc = 0; dc <= 1; ++dc) {
        const LightNode& node = grid_[Place(r + dr, c + dc, grid_width_)];
        if (!node.any) continue;
        const double bilinear =
            (dc ? gx - c : 1 - (gx - c)) * (dr ? gy - r : 1 - (gy - r)) + 1e-3;
        double alike = Alike(node, hit.place.place, hit.place.normal, reach);
        if (node.thing == hit.thing) alike += 0.02;
        trust += alike;
        const double w = bilinear * alike;
        sum += w;
        light.sun += w * node.light.sun;
        light.around += w * node.light.around;
      }
    }
    if (sum <= 0 || trust < 0.015) {
      // No neighbour is like this place: its own few rays.
      return LightAt(hit.place,
                     Hash(static_cast<std::uint32_t>(x * 16),
                          static_cast<std::uint32_t>(y * 16),
                          11),
                     2,
                     4);
    }
    light.sun /= sum;
    light.around = (1 / sum) * light.around;
    return light;
  }

  // The card without shadows, over ground of one colour with faint blotches.
  Vec3 LookQuickly(const Ray& ray, Hit* hit_out) const {
    const Vec3 out = ToVec(layout_.shape_from_card.rotation.col(2));
    const Vec3 corner = ToVec(layout_.shape_from_card.translation);
    const double t = Dot(corner - ray.from, out) / Dot(ray.way, out);
    const Vec3 d = ray.from + t * ray.way - corner;
    const double scale = 1 / o_.card.print_scale;
    const double x =
        scale * Dot(d, ToVec(layout_.shape_from_card.rotation.col(0)));
    const double y =
        scale * Dot(d, ToVec(layout_.shape_from_card.rotation.col(1)));
    const bool on_card = t > 0 && x >= 0 && y >= 0 && x <= kCardSide &&
                         y <= kCardSide && (x <= kCardArm || y <= kCardArm);
    if (hit_out != nullptr) {
      hit_out->any = true;
      hit_out->thing = on_card ? kQuickCard : 0;
      hit_out->distance = t;
      hit_out->place.place = ray.from + t * ray.way;
    }
    if (!on_card) {
      const double blotch = Noise((1 / 30.0) * Vec3{x, y, 0}, 3).value;
      return (0.16 + 0.03 * blotch) * Vec3{1.0, 0.96, 0.9};
    }
    SurfacePlace p;
    p.material = Material::kCardFront;
    p.attributes = {x, y, 0, 0};
    return textures_.At(p).colour;
  }

  // Linear light that comes back along the ray through (x, y).
  Vec3 Look(double x, double y, Hit* hit_out) const {
    const Ray ray = rays_.At(x, y);
    if (quick_) return LookQuickly(ray, hit_out);
    Hit hit = tracer_.Trace(ray);
    if (hit_out != nullptr) *hit_out = hit;
    if (!hit.any) return Backdrop(ray.way);
    // A slanted surface has a longer pixel; noise is kept a little too fine
    // there rather than too coarse across.
    const double slant = std::max(0.25, -Dot(hit.place.normal, ray.way));
    hit.place.footprint =
        hit.distance / layout_.camera.focal_px / std::sqrt(slant);
    const Surface s = textures_.At(hit.place);
    const Arriving a = LightFor(hit, x, y);
    const Lighting& l = o_.light;
    const Vec3 view = -ray.way;
    Vec3 out;
    const bool hair = hit.place.material == Material::kHair ||
                      hit.place.material == Material::kGrass ||
                      hit.place.material == Material::kStraw;
    double facing = std::max(0.0, Dot(s.normal, l.sun_direction));
    if (hair) {
      // A thread scatters to all sides (Kajiya and Kay, 1989).
      const Vec3 t{hit.place.attributes[0],
                   hit.place.attributes[1],
                   hit.place.attributes[2]};
      const double along = Dot(t, l.sun_direction);
      facing = 0.75 * std::sqrt(std::max(0.0, 1 - along * along));
      const double shine_along = Dot(t, Normalised(l.sun_direction + view));
      const double shine =
          std::pow(std::max(0.0, 1 - shine_along * shine_along), s.sharpness);
      out += (l.sun * a.sun * 0.10 * s.gloss * shine) * l.sun_colour;
    }
    const Vec3 sun = (l.sun * a.sun * facing) * l.sun_colour;
    // A bump that leans to the sky sees more of it.
    const double lean = Dot(s.normal - hit.place.normal, l.up);
    const double relief = std::clamp(1 + 0.75 * lean, 0.3, 1.6);
    Vec3 arriving = sun + relief * a.around;
    double flash = 0;
    if (l.flash > 0) {
      const double d = 500.0 / hit.distance;
      flash = l.flash * d * d;
      arriving +=
          (flash * std::max(0.0, Dot(s.normal, view))) * Vec3{1, 0.98, 0.95};
    }
    out += s.colour * arriving;
    if (!hair && s.gloss > 0) {
      const Vec3 mid = Normalised(l.sun_direction + view);
      const double sun_shine =
          std::pow(std::max(0.0, Dot(s.normal, mid)), s.sharpness) *
          (s.sharpness + 8) / 25;
      const double facing_view = std::max(0.0, Dot(s.normal, view));
      const double rim = 0.04 + 0.96 * std::pow(1 - facing_view, 5);
      const Vec3 mirrored = 2 * facing_view * s.normal - view;
      out += (s.gloss * 0.22 * l.sun * a.sun * sun_shine) * l.sun_colour;
      out += (s.gloss * (rim + 0.05)) * Mix(a.around, Sky(mirrored), 0.5);
      if (flash > 0) {
        out +=
            (s.gloss * 0.4 * flash * std::pow(facing_view, 2 * s.sharpness)) *
            Vec3{1, 1, 1};
      }
    }
    return out;
  }

  static cv::Vec3f ToPixel(Vec3 c) {
    return {static_cast<float>(c.x),
            static_cast<float>(c.y),
            static_cast<float>(c.z)};
  }

  void FirstPass() {
    image_.create(height_, width_, CV_32FC3);
    things_seen_.create(height_, width_, CV_32S);
    background_.create(height_, width_, CV_32F);
    Parallel(threads_, height_, [&](int y) {
      auto* pixel = image_.ptr<cv::Vec3f>(y);
      auto* thing = things_seen_.ptr<int>(y);
      auto* back = background_.ptr<float>(y);
      for (int x = 0; x < width_; ++x) {
        Hit hit;
        pixel[x] = ToPixel(Look(x + 0.5, y + 0.5, &hit));
        thing[x] = hit.any ? static_cast<int>(hit.thing) : -1;
        if (quick_) {
          back[x] = 0;
          continue;
        }
        const double depth =
            hit.any ? Dot(hit.place.place - layout_.lens, Forward()) : 1e5;
        // Depth of field: in focus to 120 mm behind what is measured.
        const double behind = depth - o_.camera.distance_mm;
        back[x] = static_cast<float>(SmoothStep(120, 480, behind));
      }
    });
  }

  Vec3 Forward() const {
    return ToVec(layout_.camera_from_shape.rotation.row(2).transpose());
  }

  // Pixels in which something ends: sampled again, many times.
  int SamplesFor(int x, int y) const {
    // What will be blurred needs no more.
    if (background_.at<float>(y, x) > 0.6F) return 0;
    const auto here = image_.at<cv::Vec3f>(y, x);
    const int thing = things_seen_.at<int>(y, x);
    bool differs = false;
    bool sharp = false;
    const auto precise = [&](int id) {
      if (id < 0) return false;
      switch (tracer_.MaterialOf(static_cast<std::uint32_t>(id))) {
        case Material::kCardFront:
        case Material::kWall:
        case Material::kSolar:
        case Material::kShoe:
          return true;
        default:
          return false;
      }
    };
    for (int dy = -1; dy <= 1; ++dy) {
      for (int dx = -1; dx <= 1; ++dx) {
        const int xx = std::clamp(x + dx, 0, width_ - 1);
        const int yy = std::clamp(y + dy, 0, height_ - 1);
        const auto other = image_.at<cv::Vec3f>(yy, xx);
        const int other_thing = things_seen_.at<int>(yy, xx);
        const bool edge = other_thing != thing;
        const float a = here[1];
        const float b = other[1];
        const bool contrast = std::abs(a - b) > 0.10F * (a + b) + 0.004F;
        differs = differs || contrast;
        if (edge && (precise(thing) || precise(other_thing))) sharp = true;
        if (contrast && precise(thing) &&
            tracer_.MaterialOf(static_cast<std::uint32_t>(thing)) ==
                Material::kCardFront) {
          sharp = true;
        }
      }
    }
    // CHOSEN: 5 x 5 in the edges that are measured; 2 x 2 in grain and hair.
    return sharp ? 5 : differs ? 2 : 0;
  }

  void SecondPass() {
    cv::Mat refined = image_.clone();
    Parallel(threads_, height_, [&](int y) {
      auto* out = refined.ptr<cv::Vec3f>(y);
      for (int x = 0; x < width_; ++x) {
        const int n = SamplesFor(x, y);
        if (n == 0) continue;
        Vec3 sum;
        for (int j = 0; j < n; ++j) {
          for (int i = 0; i < n; ++i) {
            const std::uint32_t id =
                Hash(static_cast<std::uint32_t>(x),
                     static_cast<std::uint32_t>(y),
                     static_cast<std::uint32_t>(j * n + i));
            const double sx = x + (i + Jitter(id, 1, 21)) / n;
            const double sy = y + (j + Jitter(id, 2, 22)) / n;
            sum += Look(sx, sy, nullptr);
          }
        }
        out[x] = ToPixel((1.0 / (n * n)) * sum);
      }
    });
    image_ = refined;
  }

  // Can the camera see this place, or does something stand before it?
  // From the side everything that is measured lies on the foot's edge, behind
  // its own rounding or under the coat, and a person still sees where it is.
  bool Seen(Vec3 place) const {
    const Vec3 d = place - layout_.lens;
    const double distance = Length(d);
    // CHOSEN: 2.5 mm of grace for points on edges; 15 mm from the side.
    const double grace = o_.view == View::kSolar ? 2.5 : 15.0;
    return !tracer_.Blocked(
        {layout_.lens, Normalised(d)}, 1.0, distance - grace);
  }

  void FindCovered(Truth& t) const {
    if (o_.card_only || o_.loose_shoe) return;
    for (auto& p : t.points) {
      if (!p || !p->visible) continue;
      p->visible = Seen(p->px_near ? p->near_place : p->place);
    }
    if (o_.view == View::kSolar) {
      const auto& outline = foot_.bearing_outline();
      for (std::size_t i = 0; i < outline.size(); ++i) {
        t.outline_visible[i] =
            t.outline_visible[i] && Seen({outline[i].x(), outline[i].y(), 0});
      }
    } else {
      const std::size_t n = t.dorsal_mm.size();
      for (std::size_t i = 0; i < n; ++i) {
        Eigen::Vector3d p = foot_.WallPoint(
            foot_.toe(), static_cast<double>(i) / static_cast<double>(n - 1));
        p.y() = 0;
        t.dorsal_visible[i] = t.dorsal_visible[i] && Seen(ToVec(p));
      }
    }
    for (TruthTag& tag : t.tags) {
      const auto& centre = kTagCentres[static_cast<std::size_t>(tag.id)];
      for (const double dx : {-17.5, 0.0, 17.5}) {
        for (const double dy : {-17.5, 0.0, 17.5}) {
          const Vec3 p = OnCard(o_, layout_, centre[0] + dx, centre[1] + dy);
          const Vec3 d = p - layout_.lens;
          const Ray ray{layout_.lens, Normalised(d)};
          tag.visible =
              tag.visible && !tracer_.Blocked(ray, 1.0, Length(d) - 0.3);
        }
      }
    }
  }

  // AddCard puts the print second, after the floor.
  static constexpr std::uint32_t kQuickCard = 1;

  const SceneOptions& o_;
  bool quick_ = false;
  int width_;
  int height_;
  int threads_;
  FootGeometry foot_;
  Layout layout_;
  Things things_;
  Tracer tracer_;
  Textures textures_;
  RayField rays_;
  int stride_;
  int grid_width_ = 0;
  int grid_height_ = 0;
  std::vector<LightNode> grid_;
  cv::Mat image_;
  cv::Mat things_seen_;
  cv::Mat background_;
};

}  // namespace

RenderedPhoto Render(const SceneOptions& options,
                     int width_px,
                     int height_px,
                     int threads) {
  Renderer renderer(options, width_px, height_px, threads);
  return renderer.Run();
}

}  // namespace plumbfoot::scenes
