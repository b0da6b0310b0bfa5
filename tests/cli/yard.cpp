// SPDX-License-Identifier: Apache-2.0
#include "cli/yard.h"

#include <gtest/gtest.h>

#include <fstream>
#include <sstream>
#include <utility>

#include "plumbfoot/geometry/random.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"
#include "scenes/truth.h"

namespace plumbfoot::tests {

using nlohmann::json;

fs::path FreshFolder(const std::string& name) {
  fs::path folder = fs::path(testing::TempDir()) /
                    ("plumbfoot-" + std::to_string(getpid()) + "-" + name);
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

const Yard& Yard::Get() {
  static const Yard yard;
  return yard;
}

Yard::Yard() : folder_(FreshFolder("yard")) {
  geometry::Random random(20);
  const scenes::FootShape shape =
      scenes::RandomFootShape(random, geometry::Foot::kLeftFore);
  json points = {{"format", "plumbfoot-points"}, {"version", 1}};
  for (const View view : {View::kSolar, View::kLateral}) {
    scenes::SceneOptions scene = scenes::RandomScene(view, shape, random);
    scene.card.present = true;
    scene.card.tags = {true, true, true, true, true};
    scene.card.doubt = {};
    scene.card_only = true;
    const auto rendered = scenes::Render(scene, 1600, 1200, 2);
    const std::string name(geometry::ViewName(view));
    scenes::PhotoNotes notes;
    notes.focal_35mm = scene.camera.focal_35mm;
    scenes::SaveScene(rendered, scene, notes, folder_, name);
    points[name] = scenes::PointsOf(rendered.truth);
    for (const auto& [key, value] : rendered.truth.measures) {
      truth_[key] = value;
    }
  }
  WriteFile(folder_ / "points.json", points.dump());
}

CommandResult Plumbfoot(std::vector<std::string> words) {
  words.insert(words.begin(), PLUMBFOOT_COMMAND);
  const std::string settings =
      (Yard::Get().folder() / "no-settings.json").string();
  return RunCommand(words, {{"PLUMBFOOT_SETTINGS", settings}});
}

CommandResult Measure(const fs::path& out, const Words& more) {
  Words words = {"measure", "--foot", "LF"};
  words.insert(words.end(), more.begin(), more.end());
  words.insert(words.end(), {"--out", out.string()});
  return Plumbfoot(std::move(words));
}

json MeasuredReport(const fs::path& out, const Words& more) {
  const CommandResult result = Measure(out, more);
  EXPECT_TRUE(result.status == 0 || result.status == 3) << result.err;
  return ReadJson(out / "report.json");
}

Words SolarWithPoints() {
  return {"--solar", Yard::Get().solar(), "--points", Yard::Get().points()};
}

std::string ReadFile(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

void WriteFile(const fs::path& path, const std::string& bytes) {
  std::ofstream file(path, std::ios::binary);
  file << bytes;
}

json ReadJson(const fs::path& path) {
  return json::parse(ReadFile(path));
}

int CountFiles(const fs::path& folder) {
  if (!fs::exists(folder)) return 0;
  int count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_directory()) ++count;
  }
  return count;
}

}  // namespace plumbfoot::tests
