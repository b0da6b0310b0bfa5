// SPDX-License-Identifier: Apache-2.0
#include "casebook/invented.h"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <random>

#include "plumbfoot/geometry/random.h"
#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

std::string Noise(std::uint64_t seed, std::size_t bytes) {
  std::mt19937_64 engine(seed);
  std::string noise(bytes, '\0');
  for (std::size_t i = 0; i < bytes; i += sizeof(std::uint64_t)) {
    const std::uint64_t eight = engine();
    std::memcpy(&noise[i], &eight, std::min(sizeof(eight), bytes - i));
  }
  return noise;
}

}  // namespace

std::string InventReport(Foot foot,
                         Stage stage,
                         std::uint64_t seed,
                         const InventOptions& options) {
  constexpr std::array kMeasures = {"bearing_width",
                                    "bearing_length",
                                    "width_to_length",
                                    "heel_width",
                                    "frog_length",
                                    "frog_width",
                                    "toe_to_frog_apex",
                                    "widest_to_toe",
                                    "widest_to_heel",
                                    "toe_share",
                                    "left_half_width",
                                    "right_half_width",
                                    "outline_asymmetry",
                                    "bearing_area",
                                    "toe_angle",
                                    "heel_angle",
                                    "toe_heel_difference",
                                    "dorsal_wall_length",
                                    "heel_wall_length",
                                    "toe_to_heel_length",
                                    "toe_height",
                                    "heel_height",
                                    "hairline_angle",
                                    "support_length",
                                    "dorsal_wall_departure"};
  geometry::Random random(seed);
  json measures;
  for (const char* measure : kMeasures) {
    const double value = random.Uniform(40, 140);
    const double u = random.Uniform(0.2, 1.5);
    measures[measure] = {{"value", value},
                         {"unit", "mm"},
                         {"standard_uncertainty", u},
                         {"interval95", {value - 2 * u, value + 2 * u}},
                         {"placed_by", "finder"}};
  }
  json outline = json::array();
  for (int i = 0; i < options.outline_points; ++i) {
    outline.push_back({random.Uniform(0, 4000), random.Uniform(0, 3000)});
  }
  json photos;
  for (const char* view : {"solar", "lateral"}) {
    photos[view] = {{"file", std::string(view) + ".jpg"},
                    {"scale", "card"},
                    {"quality", "good"},
                    {"reasons", json::array()}};
  }
  return json({{"format", "plumbfoot-report"},
               {"version", 1},
               {"foot", geometry::FootName(foot)},
               {"shod", false},
               {"visit", {{"stage", geometry::StageName(stage)}}},
               {"photos", std::move(photos)},
               {"points", {{"solar", {{"outline", {{"px", outline}}}}}}},
               {"measures", std::move(measures)},
               {"observations", json::array()},
               {"cautions", json::array()}})
             .dump(2) +
         "\n";
}

FootToRecord InventFoot(Foot foot,
                        Stage stage,
                        std::uint64_t seed,
                        const InventOptions& options) {
  FootToRecord record;
  record.foot = foot;
  record.stage = stage;
  const std::uint64_t own = seed * 100 + static_cast<std::uint64_t>(foot) * 10 +
                            static_cast<std::uint64_t>(stage);
  record.photos[View::kSolar] = {"Sole.JPG",
                                 Noise(own * 2, options.photo_bytes)};
  record.photos[View::kLateral] = {"Side.jpeg",
                                   Noise(own * 2 + 1, options.photo_bytes)};
  record.report_json = InventReport(foot, stage, own, options);
  record.points_json = "{\"format\": \"plumbfoot-points\", \"version\": 1}\n";
  record.made_from = "invented";
  return record;
}

VisitToRecord InventVisit(const std::string& horse,
                          Day day,
                          std::uint64_t seed,
                          const InventOptions& options) {
  VisitToRecord visit;
  visit.horse = horse;
  visit.day = day;
  visit.now = DayText(day) + "T18:00:00Z";
  for (const Foot foot :
       {Foot::kLeftFore, Foot::kRightFore, Foot::kLeftHind, Foot::kRightHind}) {
    visit.feet.push_back(InventFoot(foot, Stage::kBeforeTrim, seed, options));
  }
  return visit;
}

Day DayNumber(int count) {
  return Day(std::chrono::year(2026) / 1 / 1) + std::chrono::days(count);
}

bool IsInvented(const FootRecord& record, const FootToRecord& foot) {
  if (record.foot != foot.foot || record.stage != foot.stage ||
      record.photos.size() != foot.photos.size()) {
    return false;
  }
  for (const auto& [view, photo] : foot.photos) {
    const auto it = record.photos.find(view);
    if (it == record.photos.end() ||
        it->second.original_name != photo.original_name ||
        ReadFile(record.folder / it->second.file) != photo.bytes) {
      return false;
    }
  }
  return ReadFile(record.folder / "report.json") == foot.report_json &&
         ReadFile(record.folder / "points.json") == foot.points_json;
}

std::string ReadFile(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void WriteFile(const fs::path& path, const std::string& bytes) {
  std::ofstream out(path, std::ios::binary);
  out << bytes;
}

fs::path FreshFolder(const std::string& name) {
  fs::path folder =
      fs::temp_directory_path() /
      ("plumbfoot-casebook-" + std::to_string(::getpid()) + "-" + name);
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

}  // namespace plumbfoot::casebook
