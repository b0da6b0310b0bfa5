// SPDX-License-Identifier: Apache-2.0
//
// make_case: renders the photos of a yard over months. Feet grow and are
// trimmed as a file says (demo/yard.json), so that growth, trims and drift are
// known exactly.
#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <optional>
#include <sstream>
#include <stdexcept>
#include <string>

#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/random.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"

namespace plumbfoot::scenes {
namespace {

using geometry::Random;
using nlohmann::json;

struct Wishes {
  std::string yard;
  std::string out;
  std::string horse;
  int width = 1600;
  int height = 1200;
  int threads = 2;
};

/// What of a foot changes from day to day, or from before a trim to after it.
struct Step {
  double toe_mm = 0.0;         ///< Along the toe line.
  double heel_mm = 0.0;        ///< Along the heel.
  double toe_angle_deg = 0.0;  ///< Steeper.
  double heel_angle_deg = 0.0;
};

Step StepFrom(const json& j) {
  Step step;
  step.toe_mm = j.value("toe_mm", 0.0);
  step.heel_mm = j.value("heel_mm", 0.0);
  step.toe_angle_deg = j.value("toe_angle_deg", 0.0);
  step.heel_angle_deg = j.value("heel_angle_deg", 0.0);
  return step;
}

/// `times` such steps. What the toe gains runs forward along the ground, what
/// the heel gains too.
void Take(const Step& step, double times, FootShape& shape) {
  constexpr double kDegree = std::numbers::pi / 180;
  shape.length += times * (step.toe_mm * std::cos(shape.toe_angle * kDegree) -
                           step.heel_mm * std::cos(shape.heel_angle * kDegree));
  shape.dorsal_length += times * step.toe_mm;
  shape.heel_length += times * step.heel_mm;
  shape.toe_angle += times * step.toe_angle_deg;
  shape.heel_angle += times * step.heel_angle_deg;
}

void Change(const json& wishes, FootShape& shape) {
  const std::map<std::string, double*> known = {
      {"length", &shape.length},
      {"toe_angle", &shape.toe_angle},
      {"heel_angle", &shape.heel_angle},
      {"dorsal_length", &shape.dorsal_length},
      {"heel_length", &shape.heel_length},
      {"pastern_angle", &shape.pastern_angle},
      {"toe_flare", &shape.toe_flare}};
  for (const auto& [key, value] : wishes.items()) {
    *known.at(key) = value.get<double>();
  }
}

std::chrono::sys_days DayOf(const std::string& text) {
  int y = 0;
  unsigned m = 0;
  unsigned d = 0;
  if (std::sscanf(text.c_str(), "%d-%u-%u", &y, &m, &d) != 3) {
    throw std::runtime_error("not a day: " + text);
  }
  return std::chrono::year{y} / std::chrono::month{m} / std::chrono::day{d};
}

/// Points as a person places them: off by up to a millimetre.
json PlacedByHand(json points, double px_per_mm, Random& random) {
  // CHOSEN: what the program allows a person, 0.5 mm, is not all used up.
  const double sigma = 0.4 * px_per_mm;
  for (auto& [name, point] : points.items()) {
    if (!point.is_array()) continue;
    if (point.at(0).is_number()) {
      for (auto& v : point) v = v.get<double>() + sigma * random.Normal();
      continue;
    }
    // A line is followed with a steadier hand: slow waves.
    const double turn = random.Uniform(0, 2 * std::numbers::pi);
    const double waves = 3 + 3 * random.Uniform(0, 1);
    const auto n = static_cast<double>(point.size());
    double at = 0.0;
    for (auto& p : point) {
      const double a = turn + waves * 2 * std::numbers::pi * at++ / n;
      p[0] = p[0].get<double>() + 0.5 * sigma * std::sin(a);
      p[1] = p[1].get<double>() + 0.5 * sigma * std::cos(1.3 * a);
    }
  }
  return points;
}

bool AllSeen(const Truth& truth) {
  for (const geometry::PointId id : geometry::PointsOf(truth.view)) {
    const auto& p = truth.at(id);
    if (p && !p->visible) return false;
  }
  return true;
}

/// A photo as a careful person takes it: again, until every point is seen.
SceneOptions CarefulScene(geometry::View view,
                          const SceneOptions& horse,
                          const FootShape& shape,
                          Random& random) {
  SceneOptions scene;
  // CHOSEN: nobody tries more often.
  for (int i = 0; i < 8; ++i) {
    scene = SameVisit(horse, RandomScene(view, shape, random));
    scene.foot = shape.foot;
    scene.shape = shape;
    MakeEasy(scene);
    scene.card.present = true;
    scene.card.tags = {true, true, true, true, true};
    scene.card.muddy = false;
    scene.card.print_scale = 1.0;
    scene.card.doubt = {};
    if (AllSeen(Render(scene, 160, 120, 1).truth)) break;
  }
  return scene;
}

/// One foot at one stage of one visit: photos, points and the truth.
json Shoot(const Wishes& w,
           const SceneOptions& horse,
           const FootShape& shape,
           const std::string& taken,
           const std::filesystem::path& folder,
           const std::string& name,
           Random& random) {
  json truth = json::object();
  json points = {{"format", "plumbfoot-points"}, {"version", 1}};
  const SceneOptions solar =
      CarefulScene(geometry::View::kSolar, horse, shape, random);
  const SceneOptions lateral =
      CarefulScene(geometry::View::kLateral, horse, shape, random);
  for (const SceneOptions* o : {&solar, &lateral}) {
    const std::string view(geometry::ViewName(o->view));
    const RenderedPhoto photo = Render(*o, w.width, w.height, w.threads);
    PhotoNotes notes;
    notes.taken = taken;
    notes.focal_35mm = o->camera.focal_35mm;
    const auto jpeg = EncodeJpeg(photo.photo, o->effects.jpeg_quality, notes);
    WriteFile(folder / (name + "-" + view + ".jpg"),
              std::string(jpeg.begin(), jpeg.end()));
    const double side_mm = o->camera.distance_mm * 36.0 / o->camera.focal_35mm;
    points[view] =
        PlacedByHand(PointsOf(photo.truth), w.width / side_mm, random);
    for (const auto& [key, value] : photo.truth.measures) truth[key] = value;
  }
  WriteFile(folder / (name + ".points.json"), points.dump(1) + "\n");
  return truth;
}

void MakeHorse(const Wishes& w, const json& horse, json& truth) {
  const std::string name = horse.at("name");
  Random random(horse.at("seed").get<std::uint64_t>());
  struct Growing {
    FootShape shape;
    Step per_day;
  };
  std::map<std::string, Growing> feet;
  for (const auto& [code, wishes] : horse.at("feet").items()) {
    Growing foot;
    foot.shape = RandomFootShape(random, *geometry::ParseFoot(code));
    foot.shape.shod = wishes.value("shod", false);
    Change(wishes.value("shape", json::object()), foot.shape);
    foot.per_day = StepFrom(wishes.value("per_day", json::object()));
    feet[code] = foot;
  }
  // Coat, horn and telephone are the horse's and the farrier's for good.
  SceneOptions look =
      RandomScene(geometry::View::kSolar, feet.begin()->second.shape, random);
  std::optional<std::chrono::sys_days> before;
  for (const json& visit : horse.at("visits")) {
    const std::string date = visit.at("date");
    const auto day = DayOf(date);
    if (before) {
      for (auto& [code, foot] : feet) {
        Take(foot.per_day,
             static_cast<double>((day - *before).count()),
             foot.shape);
      }
    }
    before = day;
    look.ground =
        RandomScene(
            geometry::View::kLateral, feet.begin()->second.shape, random)
            .ground;
    const std::filesystem::path folder =
        std::filesystem::path(w.out) / name / date;
    std::filesystem::create_directories(folder);
    std::string exif = date + " 09:";
    for (char& c : exif) c = c == '-' ? ':' : c;
    int minute = 5;
    for (const bool after : {false, true}) {
      for (auto& [code, foot] : feet) {
        const json trim = visit.value("trim", json::object());
        const bool trimmed = trim.contains(code);
        if (after && !trimmed) continue;
        if (after) Take(StepFrom(trim.at(code)), 1.0, foot.shape);
        std::ostringstream taken;
        taken << exif << (minute < 10 ? "0" : "") << minute << ":00";
        minute += 3;
        truth[name][date][code + (after ? "-after_trim" : "-before_trim")] =
            Shoot(w,
                  look,
                  foot.shape,
                  taken.str(),
                  folder,
                  code + (after ? "-after" : "-before"),
                  random);
      }
      if (minute < 35) minute = 35;
    }
    std::cout << folder.string() << '\n';
  }
}

int Run(const Wishes& w) {
  std::ifstream file(w.yard);
  if (!file) throw std::runtime_error("cannot read " + w.yard);
  const json yard = json::parse(file);
  json truth = json::object();
  for (const json& horse : yard.at("horses")) {
    if (!w.horse.empty() && horse.at("name") != w.horse) continue;
    MakeHorse(w, horse, truth);
  }
  WriteFile(std::filesystem::path(w.out) / "truth.json", truth.dump(1) + "\n");
  return 0;
}

int Main(int argc, char** argv) {
  Wishes w;
  CLI::App app("Renders a yard's photos over months with known growth.");
  app.add_option("--yard", w.yard, "The horses and their visits")->required();
  app.add_option("--out", w.out, "Folder to write into")->required();
  app.add_option("--horse", w.horse, "Only this one");
  app.add_option("--width", w.width, "[px]")->check(CLI::Range(64, 12000));
  app.add_option("--height", w.height, "[px]")->check(CLI::Range(64, 12000));
  app.add_option("--threads", w.threads)->check(CLI::Range(1, 64));
  CLI11_PARSE(app, argc, argv);
  return Run(w);
}

}  // namespace
}  // namespace plumbfoot::scenes

int main(int argc, char** argv) {
  try {
    return plumbfoot::scenes::Main(argc, argv);
  } catch (const std::exception& e) {
    std::cerr << "make_case: " << e.what() << '\n';
    return 4;
  }
}
