// SPDX-License-Identifier: Apache-2.0
//
// make_scene: renders test photos of a foot whose geometry is known exactly.
#include <CLI/CLI.hpp>
#include <exception>
#include <filesystem>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/random.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"

namespace plumbfoot::scenes {
namespace {

struct Wishes {
  std::uint64_t seed = 1;
  std::string view = "pair";
  std::string foot = "LF";
  int width = 1600;
  int height = 1200;
  int threads = 2;
  std::string out;
  std::string taken = "2026:03:14 10:20:00";
  int orientation = 1;
  int quality = 0;
  int tags = 5;
  double offset = 0;
  double turn_x = 0;
  double turn_y = 0;
  double print_scale = 1;
  double gain = 0;
  double bend = 0;
  double distance = 0;
  double tilt = -1;
  double focal = 0;
  double toe_angle = 0;
  bool no_card = false;
  bool card_only = false;
  double shoe_rise = 0;
  double shoe_gap = 0;
  bool loose_shoe = false;
  bool bare = false;
  bool shod = false;
  bool easy = false;
};

void Apply(const Wishes& w, SceneOptions& o) {
  o.card_only = w.card_only;
  o.card.present = !w.no_card;
  o.card.doubt = {w.offset,
                  w.turn_x * 0.017453292519943295,
                  w.turn_y * 0.017453292519943295};
  o.card.print_scale = w.print_scale;
  o.card.gain_mm = w.gain;
  o.card.bend_mm = w.bend;
  // The middle of arm A goes first, then ends: two tags keep the corner.
  constexpr std::array<std::size_t, 3> kFirstToGo = {1, 3, 2};
  for (int k = 0; k < 5 - w.tags; ++k) {
    o.card.tags[kFirstToGo[static_cast<std::size_t>(k)]] = false;
  }
  if (w.easy) MakeEasy(o);
  if (w.distance > 0) o.camera.distance_mm = w.distance;
  if (w.tilt >= 0) o.camera.tilt_deg = w.tilt;
  if (w.focal > 0) o.camera.focal_35mm = w.focal;
  if (w.quality > 0) o.effects.jpeg_quality = w.quality;
  if (w.loose_shoe && o.view == geometry::View::kSolar) {
    o.loose_shoe = true;
    // Card and shoe lie on one board; the shoe is the thicker.
    o.card.doubt.offset_mm += o.shape.shoe_thickness - o.card.board_mm;
    // Two fingers apart, in the light of a window: no shadow touches the shoe.
    o.card.gap_mm = 22;
    o.card.gap_other_mm = 22;
    o.light.sun = 0;
  }
}

int Run(const Wishes& w) {
  const auto foot = geometry::ParseFoot(w.foot);
  if (!foot) {
    std::cerr << foot.error().message << '\n';
    return 1;
  }
  geometry::Random random(w.seed);
  FootShape shape = RandomFootShape(random, *foot);
  if (w.bare) shape.shod = false;
  if (w.shod || w.loose_shoe) shape.shod = true;
  shape.shoe_rise = w.shoe_rise;
  shape.shoe_gap = w.shoe_gap;
  if (w.toe_angle > 0) {
    const double change = w.toe_angle - shape.toe_angle;
    shape.toe_angle += change;
    shape.heel_angle += change;
  }
  SceneOptions solar = RandomScene(geometry::View::kSolar, shape, random);
  SceneOptions lateral =
      SameVisit(solar, RandomScene(geometry::View::kLateral, shape, random));
  Apply(w, solar);
  Apply(w, lateral);

  const std::filesystem::path folder = w.out;
  std::filesystem::create_directories(folder);
  nlohmann::json points = {{"format", "plumbfoot-points"}, {"version", 1}};
  for (const SceneOptions* o : {&solar, &lateral}) {
    const std::string name(geometry::ViewName(o->view));
    if (w.view != "pair" && w.view != name) continue;
    const RenderedPhoto photo = Render(*o, w.width, w.height, w.threads);
    PhotoNotes notes;
    notes.orientation = w.orientation;
    notes.taken = w.taken;
    notes.focal_35mm = o->camera.focal_35mm;
    SaveScene(photo, *o, notes, folder, name);
    points[name] = PointsOf(photo.truth);
    std::cout << (folder / (name + ".jpg")).string() << '\n';
  }
  WriteFile(folder / "points.json", points.dump(1) + "\n");
  return 0;
}

int Main(int argc, char** argv) {
  Wishes w;
  CLI::App app("Renders test photos of a horse's foot with known geometry.");
  app.add_option("--seed", w.seed, "Decides everything that isn't given");
  app.add_option("--view", w.view, "solar, lateral or pair")
      ->check(CLI::IsMember({"solar", "lateral", "pair"}));
  app.add_option("--foot", w.foot, "LF, RF, LH or RH");
  app.add_option("--width", w.width, "[px]")->check(CLI::Range(64, 12000));
  app.add_option("--height", w.height, "[px]")->check(CLI::Range(64, 12000));
  app.add_option("--threads", w.threads)->check(CLI::Range(1, 64));
  app.add_option("--out", w.out, "Folder to write into")->required();
  app.add_option("--taken", w.taken, "EXIF date, YYYY:MM:DD HH:MM:SS");
  app.add_option("--orientation", w.orientation, "EXIF orientation to state")
      ->check(CLI::Range(1, 8));
  app.add_option("--quality", w.quality, "JPEG quality")
      ->check(CLI::Range(1, 100));
  app.add_option("--tags", w.tags, "Tags on the card")->check(CLI::Range(2, 5));
  app.add_option("--offset-mm", w.offset, "Measured plane off the card's");
  app.add_option(
      "--turn-x-deg", w.turn_x, "Measured plane turned about card x");
  app.add_option("--turn-y-deg", w.turn_y, "And about card y");
  app.add_option(
      "--print-scale", w.print_scale, "True print size over nominal");
  app.add_option("--gain-mm", w.gain, "Black grows by this");
  app.add_option("--bend-mm", w.bend, "The card's far end bends by this");
  app.add_option("--distance-mm", w.distance, "Camera distance");
  app.add_option("--tilt-deg", w.tilt, "Camera tilt");
  app.add_option("--focal-35mm", w.focal, "Focal length");
  app.add_option("--toe-angle", w.toe_angle, "Turns toe and heel alike");
  app.add_option("--shoe-rise", w.shoe_rise, "Its heels bent off the ground");
  app.add_option("--shoe-gap", w.shoe_gap, "The horn eased off its heels");
  app.add_flag("--no-card", w.no_card);
  app.add_flag(
      "--card-only", w.card_only, "The card and plain ground, quickly");
  app.add_flag("--loose-shoe",
               w.loose_shoe,
               "In the solar view: the shoe alone on a board, ground side up");
  app.add_flag("--bare", w.bare);
  app.add_flag("--shod", w.shod);
  app.add_flag("--easy", w.easy, "Clean foot, good light, still camera");
  CLI11_PARSE(app, argc, argv);
  return Run(w);
}

}  // namespace
}  // namespace plumbfoot::scenes

int main(int argc, char** argv) {
  try {
    return plumbfoot::scenes::Main(argc, argv);
  } catch (const std::exception& e) {
    std::cerr << "make_scene: " << e.what() << '\n';
    return 4;
  }
}
