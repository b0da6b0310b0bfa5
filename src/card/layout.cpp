// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/layout.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <system_error>

#include "card/json_file.h"
#include "card/tags.h"

namespace plumbfoot::card {
namespace {

using nlohmann::json;

Refusal Invalid(const std::string& message) {
  return {RefusalCode::kCardLayoutInvalid,
          message,
          "Correct the layout file: every tag needs its own id and its own "
          "place."};
}

Refusal BadNumber(const std::string& what) {
  return {RefusalCode::kBadNumber,
          "In the card layout, " + what + " is not a usable number.",
          "Write it in millimetres, as a plain number."};
}

/// The black squares with the white rim of one cell that each of them needs.
bool Overlap(const TagPlace& a, const TagPlace& b) {
  const double reach = (a.side_mm + b.side_mm) / 2 * (10.0 / 8.0);
  // The rims may share their white: half of both together is enough.
  const double shared = std::min(a.side_mm, b.side_mm) / 8.0;
  return std::abs(a.centre.x - b.centre.x) < reach - shared &&
         std::abs(a.centre.y - b.centre.y) < reach - shared;
}

geometry::CardPolyline BoxRound(const std::vector<TagPlace>& tags) {
  double left = INFINITY;
  double right = -INFINITY;
  double bottom = INFINITY;
  double top = -INFINITY;
  for (const TagPlace& tag : tags) {
    const double reach = tag.side_mm / 2 + tag.side_mm / 4;
    left = std::min(left, tag.centre.x - reach);
    right = std::max(right, tag.centre.x + reach);
    bottom = std::min(bottom, tag.centre.y - reach);
    top = std::max(top, tag.centre.y + reach);
  }
  return {{left, bottom}, {right, bottom}, {right, top}, {left, top}};
}

}  // namespace

Layout StandardLayout() {
  Layout layout;
  layout.name = "L 160";
  layout.tags = {{0, {24, 24}, 36},
                 {1, {80, 24}, 36},
                 {2, {136, 24}, 36},
                 {3, {24, 80}, 36},
                 {4, {24, 136}, 36}};
  layout.outline = {{0, 0}, {160, 0}, {160, 48}, {48, 48}, {48, 160}, {0, 160}};
  layout.check_span_mm = 150.0;
  return layout;
}

Result<Layout> LoadLayout(const std::filesystem::path& path) {
  auto file = ReadJson(path, "plumbfoot-card", "a card layout");
  if (!file) return file.error();
  const json& root = *file;

  Layout layout;
  layout.name = path.stem().string();
  if (root.contains("name")) {
    if (!root["name"].is_string()) {
      return Invalid("The card layout's name is not a text.");
    }
    layout.name = root["name"].get<std::string>();
  }

  if (!root.contains("tags") || !root["tags"].is_array() ||
      root["tags"].empty()) {
    return Invalid("The card layout has no tags.");
  }
  for (const json& entry : root["tags"]) {
    if (!entry.is_object()) return Invalid("A tag of the layout is no object.");
    if (!entry.contains("id") || !entry["id"].is_number_integer()) {
      return BadNumber("a tag's id");
    }
    const auto id = entry["id"].get<std::int64_t>();
    if (id < 0 || id >= TagCount()) {
      return Invalid("The tag family 36h11 has no id " + std::to_string(id) +
                     ".");
    }
    const auto x = ReadNumber(entry, "x");
    const auto y = ReadNumber(entry, "y");
    const auto side = ReadNumber(entry, "side");
    // CHOSEN: a card is something that a person holds; up to 10 m is generous.
    constexpr double kFarthest = 1e4;
    if (!x || std::abs(*x) > kFarthest) return BadNumber("a tag's x");
    if (!y || std::abs(*y) > kFarthest) return BadNumber("a tag's y");
    if (!side || !(*side > 0) || *side > kFarthest) {
      return BadNumber("a tag's side");
    }
    const TagPlace tag{static_cast<int>(id), {*x, *y}, *side};
    for (const TagPlace& other : layout.tags) {
      if (other.id == tag.id) {
        return Invalid("The card layout has the id " + std::to_string(id) +
                       " twice.");
      }
      if (Overlap(other, tag)) {
        return Invalid("The tags " + std::to_string(other.id) + " and " +
                       std::to_string(id) +
                       " of the card layout overlap (each needs a white rim of "
                       "an eighth of its side).");
      }
    }
    layout.tags.push_back(tag);
  }

  layout.outline = BoxRound(layout.tags);
  if (root.contains("outline")) {
    const json& outline = root["outline"];
    if (!outline.is_array() || outline.size() < 3) {
      return Invalid("The card layout's outline needs at least three points.");
    }
    layout.outline.clear();
    for (const json& point : outline) {
      const bool pair = point.is_array() && point.size() == 2 &&
                        point[0].is_number() && point[1].is_number();
      if (!pair) return BadNumber("a point of the outline");
      layout.outline.push_back(
          {point[0].get<double>(), point[1].get<double>()});
    }
  }
  if (root.contains("check_span")) {
    const auto span = ReadNumber(root, "check_span");
    if (!span || !(*span > 0)) return BadNumber("check_span");
    layout.check_span_mm = *span;
  }
  return layout;
}

}  // namespace plumbfoot::card
