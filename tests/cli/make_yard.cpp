// SPDX-License-Identifier: Apache-2.0
// Renders the photos that the tests of the command share:
//   make_yard DIR
// leaves solar.jpg, lateral.jpg, points.json and truth.json there.
#include <exception>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>

#include "plumbfoot/geometry/random.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"
#include "scenes/truth.h"

namespace plumbfoot::tests {
namespace {

void Save(const std::filesystem::path& path, const nlohmann::json& what) {
  std::ofstream file(path, std::ios::binary);
  file.exceptions(std::ios::failbit | std::ios::badbit);
  file << what.dump();
}

void MakeYard(const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder);
  geometry::Random random(20);
  const scenes::FootShape shape =
      scenes::RandomFootShape(random, geometry::Foot::kLeftFore);
  nlohmann::json points = {{"format", "plumbfoot-points"}, {"version", 1}};
  nlohmann::json truth;
  for (const geometry::View view :
       {geometry::View::kSolar, geometry::View::kLateral}) {
    scenes::SceneOptions scene = scenes::RandomScene(view, shape, random);
    scene.card.present = true;
    scene.card.tags = {true, true, true, true, true};
    scene.card.doubt = {};
    scene.card_only = true;
    const auto rendered = scenes::Render(scene, 1600, 1200, 2);
    const std::string name(geometry::ViewName(view));
    scenes::PhotoNotes notes;
    notes.focal_35mm = scene.camera.focal_35mm;
    scenes::SaveScene(rendered, scene, notes, folder, name);
    points[name] = scenes::PointsOf(rendered.truth);
    for (const auto& [key, value] : rendered.truth.measures) {
      truth[key] = value;
    }
  }
  Save(folder / "truth.json", truth);
  Save(folder / "points.json", points);
}

}  // namespace
}  // namespace plumbfoot::tests

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: make_yard DIR\n";
    return 1;
  }
  try {
    plumbfoot::tests::MakeYard(argv[1]);
  } catch (const std::exception& trouble) {
    std::cerr << "make_yard: " << trouble.what() << '\n';
    return 1;
  }
  return 0;
}
