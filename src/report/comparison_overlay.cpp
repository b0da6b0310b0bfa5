// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "plumbfoot/geometry/polyline.h"
#include "plumbfoot/report/comparison.h"
#include "report/comparison_words.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;

/// Moves `at` to the origin; where mirrored, y changes its sign.
FootPoint Moved(FootPoint p, FootPoint at, bool mirrored) {
  return {p.x - at.x, mirrored ? at.y - p.y : p.y - at.y};
}

FootPolyline Moved(FootPolyline line, FootPoint at, bool mirrored) {
  for (FootPoint& p : line) p = Moved(p, at, mirrored);
  return line;
}

double Front(const FootPolyline& line) {
  double front = 0.0;
  for (const FootPoint& p : line) front = std::max(front, p.x);
  return front;
}

draw::OverlayPanel SolePanel(const Comparison& comparison) {
  draw::OverlayPanel panel;
  panel.title = "Sole";
  panel.toe_up = true;
  const auto& before = comparison.before.solar;
  const auto& after = comparison.after.solar;
  if (before->outline.empty() || after->outline.empty()) {
    panel.nothing =
        "Not drawn: one of the photos has no scale, or its outline is not "
        "placed.";
    return panel;
  }
  const auto& first = before->at(PointId::kFrogApex);
  const auto& second = after->at(PointId::kFrogApex);
  const bool frog = first && second;
  const FootPoint origin{0, 0};
  panel.aligned = frog ? "Aligned along the frog, at its point."
                       : "Aligned at the middle of the heels: the frog's point "
                         "is not placed in both.";
  panel.before.region = Moved(before->outline, frog ? *first : origin, false);
  panel.after.region =
      Moved(after->outline, frog ? *second : origin, comparison.mirrored);
  const auto back = [](const FootPolyline& line) {
    double least = 0.0;
    for (const FootPoint& p : line) least = std::min(least, p.x);
    return least;
  };
  const double low =
      std::min(back(panel.before.region), back(panel.after.region));
  const double high =
      std::max(Front(panel.before.region), Front(panel.after.region));
  panel.axes.push_back({FootPoint{low - 4, 0}, FootPoint{high + 4, 0}});
  if (frog) panel.fixed.push_back(origin);
  // +y is the horse's left, drawn to the right, as in a photo of the sole.
  const bool left = geometry::IsLeft(comparison.before.foot);
  panel.edges = {
      left ? "medial" : "lateral", left ? "lateral" : "medial", "toe", "heels"};
  return panel;
}

/// The side of the hoof: up the wall, back along the hairline, down the heel.
FootPolyline SideRegion(const SavedView& view) {
  const auto& toe = view.at(PointId::kToeGround);
  const auto& toe_top = view.at(PointId::kToeHairline);
  const auto& heel = view.at(PointId::kHeelGround);
  const auto& heel_top = view.at(PointId::kHeelHairline);
  if (!toe || !toe_top || !heel || !heel_top) return {};
  FootPolyline region = {*toe};
  // The wall is placed from the hairline down.
  for (auto it = view.dorsal_wall.rbegin(); it != view.dorsal_wall.rend();
       ++it) {
    if (it->y > toe->y + 1 && it->y < toe_top->y - 1) region.push_back(*it);
  }
  region.insert(region.end(), {*toe_top, *heel_top, *heel});
  return region;
}

draw::OverlayPanel SidePanel(const Comparison& comparison) {
  draw::OverlayPanel panel;
  panel.title = "Side";
  const auto& before = *comparison.before.lateral;
  const auto& after = *comparison.after.lateral;
  panel.before.region = SideRegion(before);
  panel.after.region = SideRegion(after);
  if (panel.before.region.empty() || panel.after.region.empty()) {
    panel.nothing =
        "Not drawn: one of the photos has no scale, or toe and heel are not "
        "placed at the ground and at the hairline.";
    panel.before = {};
    panel.after = {};
    return panel;
  }
  panel.aligned = "Aligned on level ground, at the toe's hairline.";
  const FootPoint first = *before.at(PointId::kToeHairline);
  const FootPoint second = *after.at(PointId::kToeHairline);
  panel.before.region = Moved(panel.before.region, first, false);
  panel.after.region = Moved(panel.after.region, second, false);
  const auto ground = [](const SavedView& view, FootPoint at) {
    const FootPoint toe = Moved(*view.at(PointId::kToeGround), at, false);
    const FootPoint heel = Moved(*view.at(PointId::kHeelGround), at, false);
    return std::array<FootPoint, 2>{FootPoint{heel.x - 6, heel.y},
                                    FootPoint{toe.x + 6, toe.y}};
  };
  panel.before.lines.push_back(ground(before, first));
  panel.after.lines.push_back(ground(after, second));
  panel.fixed.push_back({0, 0});
  panel.edges = {"", "", "", ""};
  return panel;
}

std::vector<std::string> FactsOf(const Comparison& comparison) {
  const auto after = comparison.mirrored
                         ? trend::MirrorImage(comparison.after.outcomes)
                         : comparison.after.outcomes;
  std::vector<std::string> facts;
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const auto* change = std::get_if<trend::Change>(&compared);
    if (change == nullptr || !change->changed) continue;
    const measure::MeasureInfo& info = measure::InfoOf(id);
    const ShownChange shown = Show(*change, info.unit);
    const bool degrees = info.unit == measure::Unit::kDegree;
    facts.push_back(fmt::format("{} {}{} to {}{} ({} ± {}){}",
                                NameIn(comparison, id),
                                ShowValue(comparison.before.outcomes, id),
                                degrees ? "°" : "",
                                ShowValue(after, id),
                                shown.unit,
                                shown.difference,
                                shown.half_width,
                                comparison.unsure(id) ? " ?" : ""));
  }
  return facts;
}

}  // namespace

draw::Overlay OverlayOf(const Comparison& comparison) {
  draw::Overlay overlay;
  const bool mirrored = comparison.mirrored;
  overlay.title = CleanUtf8(TitleOf(comparison));
  overlay.before = CleanUtf8(SideWords(comparison.before, mirrored));
  overlay.after = CleanUtf8(SideWords(comparison.after, mirrored));
  if (mirrored) {
    overlay.lost =
        "only the " + std::string(geometry::FootWords(comparison.before.foot));
    overlay.gained =
        "only the " + std::string(geometry::FootWords(comparison.after.foot));
  } else if (comparison.before.stage == Stage::kBeforeTrim &&
             comparison.after.stage == Stage::kAfterTrim &&
             comparison.before.date == comparison.after.date) {
    overlay.lost = "taken away";
    overlay.gained = "beyond the first outline";
  } else {
    overlay.lost = "only in the first";
    overlay.gained = "only in the second";
  }
  if (comparison.before.solar && comparison.after.solar) {
    overlay.panels.push_back(SolePanel(comparison));
  }
  if (comparison.before.lateral && comparison.after.lateral) {
    overlay.panels.push_back(SidePanel(comparison));
  }
  overlay.facts = FactsOf(comparison);
  overlay.facts_title = VerdictWords(comparison);
  for (const std::string& note : comparison.notes) {
    overlay.notes.push_back(CleanUtf8(note));
  }
  if (std::any_of(overlay.facts.begin(),
                  overlay.facts.end(),
                  [](const std::string& fact) { return fact.back() == '?'; })) {
    overlay.notes.emplace_back(
        "?: rests on something that the program isn't sure of, which ± doesn't "
        "know.");
  }
  overlay.notes.emplace_back(
      "± is the 95 % interval of one difference by itself. What the outlines "
      "differ by without being called a change may be the photos' alone.");
  return overlay;
}

}  // namespace plumbfoot::report
