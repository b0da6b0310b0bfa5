// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/find/points_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <utility>

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;
using geometry::PlacedCurve;
using geometry::PlacedPoint;
using nlohmann::json;
// Keeps the keys in the order in which they were put in.
using nlohmann::ordered_json;

constexpr std::string_view kFormat = "plumbfoot-points";
constexpr int kVersion = 1;
// CHOSEN: a points file of two views is some kilobytes; what is larger is some
// other file.
constexpr std::uintmax_t kMaxBytes = 16'000'000;
constexpr std::size_t kMinOutline = 8;
constexpr std::size_t kMinWall = 2;
// The uncertainty until PersonSigmaPx is told the photo's size [px]: one part
// in 1500 of a photo of 4000 px.
constexpr double kUnknownPhotoSigmaPx = 2.7;

std::string_view CurveName(View view) {
  return view == View::kSolar ? "outline" : "dorsal_wall";
}

/// The curves that a person may place besides, of a shoe from the side.
constexpr std::array<std::string_view, 3> kShoeCurves = {
    "shoe_ground", "shoe_foot", "horn_edge"};

template <typename Points>
auto* ShoeCurveOf(Points& points, std::string_view name) {
  return name == kShoeCurves[0]   ? &points.shoe_ground
         : name == kShoeCurves[1] ? &points.shoe_foot
                                  : &points.horn_edge;
}

bool IsShoeCurve(View view, std::string_view name) {
  return view == View::kLateral &&
         std::find(kShoeCurves.begin(), kShoeCurves.end(), name) !=
             kShoeCurves.end();
}

std::string RightNames(View view) {
  std::string names;
  for (const PointId id : geometry::PointsOf(view)) {
    names += std::string(geometry::PointName(id)) + ", ";
  }
  names += CurveName(view);
  if (view == View::kLateral) {
    for (const std::string_view name : kShoeCurves) {
      names += ", " + std::string(name);
    }
    names += ", heels_on";
  }
  return names;
}

Refusal BadNumber(std::string_view where) {
  return {
      RefusalCode::kBadNumber,
      fmt::format("{} is not a place in the photo.", where),
      "Give it as two numbers, [x, y], in pixels of the upright photo; or null "
      "if it can't be seen."};
}

std::optional<PhotoPoint> ReadPair(const json& value) {
  if (!value.is_array() || value.size() != 2) return std::nullopt;
  if (!value[0].is_number() || !value[1].is_number()) return std::nullopt;
  const PhotoPoint p{value[0].get<double>(), value[1].get<double>()};
  // CHOSEN: no photo is a million pixels wide; what is larger would lose its
  // hundredths further on.
  if (!(std::abs(p.x) < 1e6) || !(std::abs(p.y) < 1e6)) return std::nullopt;
  return p;
}

Result<PlacedCurve> ReadCurve(View view,
                              std::string_view name,
                              const json& value) {
  const std::string where =
      fmt::format("{}.{}", geometry::ViewName(view), name);
  if (!value.is_array()) {
    return Refusal{RefusalCode::kBadNumber,
                   where + " is not a line in the photo.",
                   "Give it as a list of places, [[x, y], [x, y], ...]."};
  }
  PlacedCurve curve;
  for (std::size_t i = 0; i < value.size(); ++i) {
    const auto p = ReadPair(value[i]);
    if (!p) return BadNumber(fmt::format("Corner {} of {}", i + 1, where));
    // An outline that ends where it began is closed without the last corner.
    if (!curve.px.empty() && curve.px.back() == *p) continue;
    curve.px.push_back(*p);
  }
  if (view == View::kSolar && curve.px.size() > 1 &&
      curve.px.front() == curve.px.back()) {
    curve.px.pop_back();
  }
  const std::size_t least =
      view == View::kSolar || IsShoeCurve(view, name) ? kMinOutline : kMinWall;
  if (curve.px.size() < least) {
    return Refusal{RefusalCode::kTooFewPoints,
                   fmt::format("{} has {} different corners; {} are needed.",
                               where,
                               curve.px.size(),
                               least),
                   "Add corners along the edge, or leave the line out and "
                   "the program looks for it."};
  }
  curve.placed_by = PlacedBy::kPerson;
  curve.confidence = 1.0;
  curve.sigma_px = kUnknownPhotoSigmaPx;
  // A person's corner is off on its own; between two corners the line goes
  // with both.
  double length = 0.0;
  for (std::size_t i = 1; i < curve.px.size(); ++i) {
    length += Distance(curve.px[i - 1], curve.px[i]);
  }
  curve.correlation_px = length / static_cast<double>(curve.px.size() - 1);
  return curve;
}

Result<ViewPoints> ReadView(View view, const json& value) {
  const std::string_view view_name = geometry::ViewName(view);
  if (!value.is_object()) {
    return Refusal{
        RefusalCode::kNotOurFormat,
        fmt::format("\"{}\" does not hold points.", view_name),
        fmt::format("Write it as {{\"{}\": {{\"{}\": [x, y]}}}}.",
                    view_name,
                    geometry::PointName(geometry::PointsOf(view).front()))};
  }
  ViewPoints points;
  points.view = view;
  for (const auto& [name, entry] : value.items()) {
    if (name == CurveName(view)) {
      if (entry.is_null()) continue;
      auto curve = ReadCurve(view, name, entry);
      if (!curve) return curve.error();
      (view == View::kSolar ? points.outline : points.dorsal_wall) =
          std::move(curve).value();
      continue;
    }
    if (IsShoeCurve(view, name)) {
      if (entry.is_null()) continue;
      auto curve = ReadCurve(view, name, entry);
      if (!curve) return curve.error();
      *ShoeCurveOf(points, name) = std::move(curve).value();
      continue;
    }
    if (view == View::kLateral && name == "heels_on") {
      if (entry == "middle") {
        points.heel_plane = geometry::HeelPlane::kMiddle;
      } else if (entry == "near") {
        points.heel_plane = geometry::HeelPlane::kNear;
      } else {
        return Refusal{RefusalCode::kNotOurFormat,
                       "lateral.heels_on says neither \"middle\" nor "
                       "\"near\".",
                       "Write \"near\" if the heel points are on the heel that "
                       "faces the camera, and \"middle\" otherwise."};
      }
      continue;
    }
    const auto id = geometry::ParsePoint(view, name);
    if (!id) {
      return Refusal{
          RefusalCode::kUnknownPoint,
          fmt::format("The {} view has no point \"{}\".", view_name, name),
          fmt::format("Its names are {}.", RightNames(view))};
    }
    if (entry.is_null()) {
      points.hidden[static_cast<std::size_t>(*id)] = true;
      continue;
    }
    const auto p = ReadPair(entry);
    if (!p) return BadNumber(fmt::format("{}.{}", view_name, name));
    points.at(*id) =
        PlacedPoint{*p,
                    geometry::PhotoCovariance::Round(kUnknownPhotoSigmaPx),
                    PlacedBy::kPerson,
                    1.0};
  }
  return points;
}

double Hundredths(double value) {
  return std::round(value * 100) / 100;
}

ordered_json WritePair(PhotoPoint p) {
  return ordered_json::array({Hundredths(p.x), Hundredths(p.y)});
}

ordered_json WriteView(const ViewPoints& points) {
  ordered_json out = ordered_json::object();
  for (const PointId id : geometry::PointsOf(points.view)) {
    const std::string name(geometry::PointName(id));
    if (points.is_hidden(id)) {
      out[name] = nullptr;
    } else if (points.at(id)) {
      out[name] = WritePair(points.at(id)->px);
    }
  }
  const auto write = [&out](std::string_view name,
                            const std::optional<PlacedCurve>& curve) {
    if (!curve) return;
    ordered_json corners = ordered_json::array();
    for (const PhotoPoint p : curve->px) corners.push_back(WritePair(p));
    out[std::string(name)] = std::move(corners);
  };
  write(CurveName(points.view),
        points.view == View::kSolar ? points.outline : points.dorsal_wall);
  for (const std::string_view name : kShoeCurves) {
    write(name, *ShoeCurveOf(points, name));
  }
  if (points.view == View::kLateral) {
    out["heels_on"] =
        points.heel_plane == geometry::HeelPlane::kNear ? "near" : "middle";
  }
  return out;
}

}  // namespace

Result<PointsFile> ParsePoints(const std::string& text) {
  json root;
  try {
    root = json::parse(text);
  } catch (const json::exception& e) {
    // NaN, Infinity and 1e999 are no JSON either, and end here.
    const std::string what = e.what();
    const bool number = what.find("number overflow") != std::string::npos;
    return Refusal{
        number ? RefusalCode::kBadNumber : RefusalCode::kNotJson,
        number ? "The points file holds a number that is too large."
               : "The points file is not JSON (or holds NaN or Infinity, which "
                 "JSON does not have).",
        "Mend it in an editor that checks JSON, or let the program write a "
        "new one."};
  }
  if (!root.is_object() || !root.contains("format") ||
      root["format"] != std::string(kFormat)) {
    return Refusal{RefusalCode::kNotOurFormat,
                   "The file is not a points file of Plumbfoot.",
                   R"(It must begin with {"format": "plumbfoot-points", )"
                   R"("version": 1, ...}.)"};
  }
  if (!root.contains("version") || root["version"] != kVersion) {
    return Refusal{RefusalCode::kVersionUnknown,
                   "The points file has a version that this program does not "
                   "know.",
                   "Write \"version\": 1, or use a newer program."};
  }
  PointsFile file;
  for (const auto& [name, entry] : root.items()) {
    if (name == "format" || name == "version") continue;
    const bool solar = name == "solar";
    if (!solar && name != "lateral") {
      return Refusal{RefusalCode::kUnknownPoint,
                     fmt::format("The points file has no view \"{}\".", name),
                     "Its views are solar and lateral."};
    }
    auto view = ReadView(solar ? View::kSolar : View::kLateral, entry);
    if (!view) return view.error();
    (solar ? file.solar : file.lateral) = std::move(view).value();
  }
  return file;
}

Result<PointsFile> LoadPoints(const std::filesystem::path& path) {
  std::error_code failed;
  if (!std::filesystem::exists(path, failed)) {
    return Refusal{RefusalCode::kFileMissing,
                   fmt::format("There is no file {}.", path.string()),
                   "Check the name of the points file."};
  }
  const Refusal cannot_read{
      RefusalCode::kCannotRead,
      fmt::format("The file {} can't be read.", path.string()),
      "Check that it is a file and that you may read it."};
  if (!std::filesystem::is_regular_file(path, failed)) return cannot_read;
  const auto bytes = std::filesystem::file_size(path, failed);
  if (failed) return cannot_read;
  if (bytes > kMaxBytes) {
    return Refusal{RefusalCode::kNotOurFormat,
                   fmt::format("The file {} is too large for a points file.",
                               path.string()),
                   "Check the name of the points file."};
  }
  std::ifstream in(path, std::ios::binary);
  if (!in) return cannot_read;
  std::string text(bytes, '\0');
  in.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (!in) return cannot_read;
  return ParsePoints(text);
}

Result<Done> CheckInside(const ViewPoints& points, cv::Size size) {
  const auto outside = [size](PhotoPoint p) {
    return !(p.x >= 0 && p.y >= 0 && p.x <= size.width && p.y <= size.height);
  };
  const auto refuse = [&](std::string_view name, PhotoPoint p) {
    return Refusal{
        RefusalCode::kPointOutsidePhoto,
        fmt::format("{}.{} is at ({:.0f}, {:.0f}), outside the photo of "
                    "{} x {} pixels.",
                    geometry::ViewName(points.view),
                    name,
                    p.x,
                    p.y,
                    size.width,
                    size.height),
        "Give the place in pixels of this photo, turned upright."};
  };
  for (const PointId id : geometry::PointsOf(points.view)) {
    if (points.at(id) && outside(points.at(id)->px)) {
      return refuse(geometry::PointName(id), points.at(id)->px);
    }
  }
  const auto first_outside =
      [&](const std::optional<PlacedCurve>& curve) -> const PhotoPoint* {
    if (!curve) return nullptr;
    const auto found =
        std::find_if(curve->px.begin(), curve->px.end(), outside);
    return found == curve->px.end() ? nullptr : &*found;
  };
  for (const auto* curve : {&points.outline, &points.dorsal_wall}) {
    if (const auto* p = first_outside(*curve)) {
      return refuse(CurveName(points.view), *p);
    }
  }
  for (const std::string_view name : kShoeCurves) {
    if (const auto* p = first_outside(*ShoeCurveOf(points, name))) {
      return refuse(name, *p);
    }
  }
  return Done{};
}

std::string WritePoints(const PointsFile& points) {
  ordered_json root;
  root["format"] = kFormat;
  root["version"] = kVersion;
  if (points.solar) root["solar"] = WriteView(*points.solar);
  if (points.lateral) root["lateral"] = WriteView(*points.lateral);
  return root.dump(1) + "\n";
}

double PersonSigmaPx(cv::Size size, std::optional<double> px_per_mm) {
  if (size.width <= 0 || size.height <= 0) {
    throw std::invalid_argument("PersonSigmaPx: no photo");
  }
  const double finger = std::max(size.width, size.height) / 1500.0;
  return px_per_mm ? std::max(finger, 0.5 * *px_per_mm) : finger;
}

}  // namespace plumbfoot::find
