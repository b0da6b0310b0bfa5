// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/figures.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>
#include <nlohmann/json.hpp>
#include <set>
#include <stdexcept>
#include <utility>

namespace plumbfoot::judge {

extern const std::string_view kFiguresJson;  // figures.json, embedded.

namespace {

using nlohmann::json;

constexpr std::array<std::string_view, 6> kStatusNames = {"published",
                                                          "published_abstract",
                                                          "published_secondary",
                                                          "common_practice",
                                                          "from_memory",
                                                          "derived"};
constexpr std::array<std::string_view, 5> kKindNames = {
    "range", "mean_sd", "threshold", "ratio", "guideline"};
constexpr std::array<std::string_view, 3> kAppliesNames = {
    "fore", "hind", "both"};
constexpr std::array<std::string_view, 4> kSideNames = {
    "less_than", "at_most", "at_least", "more_than"};
constexpr std::array<std::string_view, 3> kSubjectNames = {
    "foot", "left_right", "visits"};

[[noreturn]] void Wrong(const std::string& id, const std::string& what) {
  throw std::logic_error("figures.json: " + id + ": " + what);
}

template <typename Enum, std::size_t N>
Enum Parse(const json& entry,
           const char* key,
           const std::array<std::string_view, N>& names,
           const std::string& id) {
  const auto text = entry.at(key).get<std::string>();
  const auto* const at = std::find(names.begin(), names.end(), text);
  if (at == names.end()) Wrong(id, text + " is no " + key);
  return static_cast<Enum>(at - names.begin());
}

std::optional<double> Number(const json& numbers, const char* key) {
  if (!numbers.contains(key)) return std::nullopt;
  return numbers.at(key).get<double>();
}

measure::MeasureId ParseMeasureOf(const json& entry,
                                  const char* key,
                                  const std::string& id) {
  const auto text = entry.at(key).get<std::string>();
  const auto measure = measure::ParseMeasure(text);
  if (!measure) Wrong(id, "no measure is called " + text);
  return *measure;
}

void RequireKeys(const json& object,
                 const std::set<std::string>& allowed,
                 const std::string& id) {
  for (const auto& [key, value] : object.items()) {
    if (!allowed.contains(key)) Wrong(id, "unknown key " + key);
  }
}

/// Each kind has its own numbers and no others.
void RequireNumbers(const Figure& f) {
  const bool range = f.low && f.high && *f.low < *f.high;
  const bool mean = f.mean && (!f.sd || *f.sd > 0);
  const bool threshold = f.limit && f.side;
  const bool target = f.target.has_value();
  const auto expect = [&](bool r, bool m, bool t, bool g) {
    if (range != r || mean != m || threshold != t || target != g) {
      Wrong(f.id, "numbers don't suit its kind");
    }
  };
  switch (f.kind) {
    case FigureKind::kRange:
      return expect(true, false, false, false);
    case FigureKind::kMeanSd:
      return expect(false, true, false, false);
    case FigureKind::kThreshold:
      return expect(false, false, true, false);
    case FigureKind::kRatio:
    case FigureKind::kGuideline:
      return expect(false, false, false, true);
  }
}

Figure ParseFigure(const json& entry) {
  Figure f;
  f.id = entry.at("id").get<std::string>();
  RequireKeys(entry,
              {"id",
               "measure",
               "subject",
               "applies_to",
               "kind",
               "numbers",
               "unit",
               "part_of",
               "turned",
               "stands_out",
               "brief",
               "words",
               "citation",
               "status",
               "conflicts_with",
               "if_below",
               "if_within",
               "if_above",
               "vet"},
              f.id);
  f.measure = ParseMeasureOf(entry, "measure", f.id);
  f.subject = Parse<Subject>(entry, "subject", kSubjectNames, f.id);
  f.applies_to = Parse<AppliesTo>(entry, "applies_to", kAppliesNames, f.id);
  f.kind = Parse<FigureKind>(entry, "kind", kKindNames, f.id);
  f.status = Parse<FigureStatus>(entry, "status", kStatusNames, f.id);

  const json& numbers = entry.at("numbers");
  RequireKeys(
      numbers,
      {"low", "high", "mean", "sd", "horses", "limit", "side", "target"},
      f.id);
  f.low = Number(numbers, "low");
  f.high = Number(numbers, "high");
  f.mean = Number(numbers, "mean");
  f.sd = Number(numbers, "sd");
  f.limit = Number(numbers, "limit");
  f.target = Number(numbers, "target");
  if (numbers.contains("horses")) f.horses = numbers.at("horses").get<int>();
  if (numbers.contains("side")) {
    f.side = Parse<LimitSide>(numbers, "side", kSideNames, f.id);
  }
  RequireNumbers(f);

  if (entry.contains("part_of")) {
    f.part_of = ParseMeasureOf(entry, "part_of", f.id);
  }
  const measure::Unit unit =
      f.part_of ? measure::Unit::kRatio : measure::InfoOf(f.measure).unit;
  if (entry.at("unit").get<std::string>() != measure::UnitName(unit)) {
    Wrong(f.id, "its unit is not that of its measure");
  }
  if (entry.contains("turned")) {
    if (entry.at("turned") != "outer_less_inner") Wrong(f.id, "turned how?");
    f.outer_less_inner = true;
  }
  f.stands_out = entry.value("stands_out", false);
  f.brief = entry.at("brief").get<std::string>();
  f.words = entry.at("words").get<std::string>();
  f.citation = entry.at("citation").get<std::string>();
  if (f.brief.empty() || f.words.empty() || f.citation.empty()) {
    Wrong(f.id, "words or citation are empty");
  }
  f.conflicts_with = entry.at("conflicts_with").get<std::vector<std::string>>();
  f.if_below = entry.value("if_below", "");
  f.if_within = entry.value("if_within", "");
  f.if_above = entry.value("if_above", "");
  if (entry.contains("vet")) {
    const json& vet = entry.at("vet");
    RequireKeys(vet, {"below", "words", "why"}, f.id);
    f.vet = ShowToVet{vet.at("below").get<bool>(),
                      vet.at("words").get<std::string>(),
                      vet.at("why").get<std::string>()};
  }
  return f;
}

void RequireWhole(const std::vector<Figure>& figures) {
  const auto find = [&](const std::string& id) {
    return std::find_if(figures.begin(), figures.end(), [&](const Figure& f) {
      return f.id == id;
    });
  };
  for (auto f = figures.begin(); f != figures.end(); ++f) {
    if (find(f->id) != f) Wrong(f->id, "is there twice");
    for (const std::string& other : f->conflicts_with) {
      const auto at = find(other);
      if (at == figures.end()) Wrong(f->id, other + " doesn't exist");
      if (at->measure != f->measure)
        Wrong(f->id, other + " is another measure");
      if (std::find(at->conflicts_with.begin(),
                    at->conflicts_with.end(),
                    f->id) == at->conflicts_with.end()) {
        Wrong(f->id, other + " doesn't know of the conflict");
      }
    }
  }
}

}  // namespace

std::string_view FigureStatusName(FigureStatus status) {
  return kStatusNames.at(static_cast<std::size_t>(status));
}

bool Concerns(const Figure& figure, Foot foot) {
  switch (figure.applies_to) {
    case AppliesTo::kFore:
      return geometry::IsFore(foot);
    case AppliesTo::kHind:
      return !geometry::IsFore(foot);
    case AppliesTo::kBoth:
      return true;
  }
  return false;
}

std::vector<Figure> LoadFigures() {
  std::vector<Figure> figures;
  try {
    const json file = json::parse(kFiguresJson);
    if (file.at("format") != "plumbfoot-figures" || file.at("version") != 1) {
      throw std::logic_error("figures.json: not our format");
    }
    for (const json& entry : file.at("figures")) {
      figures.push_back(ParseFigure(entry));
    }
  } catch (const json::exception& e) {
    throw std::logic_error(std::string("figures.json: ") + e.what());
  }
  RequireWhole(figures);
  return figures;
}

}  // namespace plumbfoot::judge
