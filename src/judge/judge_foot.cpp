// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/judge_foot.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <set>
#include <utility>

#include "plumbfoot/judge/figures.h"
#include "plumbfoot/judge/words.h"

namespace plumbfoot::judge {
namespace {

using measure::Measured;
using measure::MeasureId;

/// What is held against a figure: a measure, perhaps turned or divided.
struct Quantity {
  Measured measured;
  measure::Unit unit = measure::Unit::kRatio;
  std::string words;  ///< "Toe angle: 51.2° ± 0.8°."
};

struct Compared {
  const Figure* figure = nullptr;
  Quantity quantity;
  Relation relation = Relation::kWithin;
};

const Measured* Find(const measure::Outcomes& outcomes, MeasureId id) {
  const auto at = outcomes.find(id);
  if (at == outcomes.end()) return nullptr;
  return std::get_if<Measured>(&at->second);
}

std::string LowerFirst(std::string_view text) {
  std::string lower(text);
  if (!lower.empty() && lower[0] >= 'A' && lower[0] <= 'Z') {
    lower[0] = static_cast<char>(lower[0] - 'A' + 'a');
  }
  return lower;
}

Measured Negative(const Measured& m) {
  Measured turned = m;
  turned.value = -m.value;
  turned.low95 = -m.high95;
  turned.high95 = -m.low95;
  return turned;
}

/// part / whole. What the two share (the scale) would make the ratio surer
/// than the law of propagation for independent quantities (JCGM 100:2008,
/// 5.1.6) says, so this errs to the wide side.
Measured Ratio(const Measured& part, const Measured& whole) {
  Measured ratio;
  ratio.value = part.value / whole.value;
  const auto combine = [&](double of_part, double of_whole) {
    return std::abs(ratio.value) *
           std::hypot(of_part / part.value, of_whole / whole.value);
  };
  ratio.standard_uncertainty =
      combine(part.standard_uncertainty, whole.standard_uncertainty);
  const double half =
      combine((part.high95 - part.low95) / 2, (whole.high95 - whole.low95) / 2);
  ratio.low95 = ratio.value - half;
  ratio.high95 = ratio.value + half;
  return ratio;
}

std::optional<Quantity> QuantityFor(const Figure& figure,
                                    Foot foot,
                                    const measure::Outcomes& outcomes) {
  const Measured* const m = Find(outcomes, figure.measure);
  if (m == nullptr) return std::nullopt;
  const measure::MeasureInfo& info = measure::InfoOf(figure.measure);
  Quantity q{*m, info.unit, {}};
  q.words = fmt::format("{}: {}", info.name, ShowInLine(*m, info.unit));
  if (figure.outer_less_inner && !geometry::IsLeft(foot)) {
    q.measured = Negative(*m);
  }
  if (figure.part_of) {
    const Measured* const whole = Find(outcomes, *figure.part_of);
    if (whole == nullptr || !(whole->value > 0) || !(m->value > 0)) {
      return std::nullopt;
    }
    q.measured = Ratio(*m, *whole);
    q.unit = measure::Unit::kRatio;
    q.words += fmt::format(", {} of the {}",
                           ShowInLine(q.measured, q.unit),
                           LowerFirst(measure::InfoOf(*figure.part_of).name));
  }
  q.words += ".";
  return q;
}

Relation ToRange(const Measured& m, double low, double high) {
  if (m.high95 < low) return Relation::kBelow;
  if (m.low95 > high) return Relation::kAbove;
  if (m.low95 >= low && m.high95 <= high) return Relation::kWithin;
  return Relation::kCrosses;
}

Relation ToLimit(const Measured& m, double limit, LimitSide side) {
  switch (side) {
    case LimitSide::kLessThan:
      if (m.high95 < limit) return Relation::kBelow;
      if (m.low95 >= limit) return Relation::kWithin;
      break;
    case LimitSide::kAtMost:
      if (m.high95 <= limit) return Relation::kBelow;
      if (m.low95 > limit) return Relation::kWithin;
      break;
    case LimitSide::kAtLeast:
      if (m.low95 >= limit) return Relation::kAbove;
      if (m.high95 < limit) return Relation::kWithin;
      break;
    case LimitSide::kMoreThan:
      if (m.low95 > limit) return Relation::kAbove;
      if (m.high95 <= limit) return Relation::kWithin;
      break;
  }
  return Relation::kCrosses;
}

/// With one aim and no tolerance, "within" is: not to be told apart from it.
Relation ToTarget(const Measured& m, double target) {
  if (m.high95 < target) return Relation::kBelow;
  if (m.low95 > target) return Relation::kAbove;
  return Relation::kWithin;
}

/// The range that holds about 95 in 100 of a group that spreads normally.
std::pair<double, double> UsualRange(const Figure& f) {
  return {*f.mean - 2 * *f.sd, *f.mean + 2 * *f.sd};
}

Relation Compare(const Measured& m, const Figure& f) {
  switch (f.kind) {
    case FigureKind::kRange:
      return ToRange(m, *f.low, *f.high);
    case FigureKind::kThreshold:
      return ToLimit(m, *f.limit, *f.side);
    case FigureKind::kMeanSd: {
      if (!f.sd) return ToTarget(m, *f.mean);
      const auto [low, high] = UsualRange(f);
      return ToRange(m, low, high);
    }
    case FigureKind::kRatio:
    case FigureKind::kGuideline:
      return ToTarget(m, *f.target);
  }
  return Relation::kCrosses;
}

std::string CannotTell(const Quantity& q) {
  const Shown shown = Show(q.measured, q.unit);
  return fmt::format(
      "It can't be told from this photo: the true value may lie anywhere from "
      "{}{} to {}{}.",
      shown.low95,
      shown.unit,
      shown.high95,
      shown.unit);
}

/// What the relation means for this foot, in one sentence.
std::string Meaning(const Compared& c) {
  const Figure& f = *c.figure;
  if (c.relation == Relation::kCrosses) return CannotTell(c.quantity);
  const std::string& own = c.relation == Relation::kBelow   ? f.if_below
                           : c.relation == Relation::kAbove ? f.if_above
                                                            : f.if_within;
  if (!own.empty()) return own;
  if (f.sd) {
    const auto [low, high] = UsualRange(f);
    const std::string lay =
        fmt::format("about 95 in 100 of them lay between {} and {}",
                    ShowNumber(low, c.quantity.unit),
                    ShowNumber(high, c.quantity.unit));
    switch (c.relation) {
      case Relation::kBelow:
        return fmt::format("This foot is below most of them ({}).", lay);
      case Relation::kAbove:
        return fmt::format("This foot is above most of them ({}).", lay);
      default:
        return fmt::format("This foot is like them ({}).", lay);
    }
  }
  switch (c.relation) {
    case Relation::kBelow:
      return "This foot is below that.";
    case Relation::kAbove:
      return "This foot is above that.";
    default:
      return "This foot agrees with that, as far as this photo can tell.";
  }
}

Observation ObserveOne(const Compared& c) {
  const Figure& f = *c.figure;
  Observation o;
  o.measure = f.measure;
  o.figures = {f.id};
  o.relation = c.relation;
  o.citations = {f.citation};
  const bool beyond =
      c.relation == Relation::kBelow || c.relation == Relation::kAbove;
  o.stands_out = f.stands_out && beyond;
  o.words = fmt::format(
      "{} {}{} {}",
      c.quantity.words,
      f.words,
      f.status == FigureStatus::kCommonPractice ? " (Common practice.)" : "",
      Meaning(c));
  return o;
}

/// Sources that disagree with each other are told in one breath, so that
/// nobody picks the one that suits.
Observation ObserveConflict(const std::vector<Compared>& group, Foot foot) {
  Observation o;
  const Compared& first = group.front();
  o.measure = first.figure->measure;
  o.words = fmt::format("{} Sources disagree about a {} foot: ",
                        first.quantity.words,
                        geometry::IsFore(foot) ? "fore" : "hind");
  bool alike = true;
  for (const Compared& c : group) {
    o.figures.push_back(c.figure->id);
    o.citations.push_back(c.figure->citation);
    if (&c != &first) o.words += "; ";
    o.words += c.figure->brief;
    alike = alike && c.relation == first.relation;
  }
  o.words += ". ";
  o.relation = alike ? first.relation : Relation::kConflicting;
  switch (o.relation) {
    case Relation::kBelow:
      o.words += "This foot is below them all.";
      break;
    case Relation::kAbove:
      o.words += "This foot is above them all.";
      break;
    case Relation::kWithin:
      o.words += "This foot agrees with them all.";
      break;
    case Relation::kCrosses:
      o.words += CannotTell(first.quantity);
      break;
    case Relation::kConflicting:
      o.words += "It can't agree with them all.";
      break;
  }
  return o;
}

bool MayBeUsed(const Figure& figure, Foot foot) {
  return figure.subject == Subject::kFoot &&
         figure.status != FigureStatus::kFromMemory && Concerns(figure, foot);
}

/// The figures that disagree with the first one, and those that disagree with
/// these, and so on, in the order of `all`.
std::vector<Compared> ConflictGroup(const Compared& first,
                                    const std::vector<Compared>& all) {
  std::set<std::string> ids = {first.figure->id};
  for (bool grown = true; grown;) {
    grown = false;
    for (const Compared& c : all) {
      if (!ids.contains(c.figure->id)) continue;
      for (const std::string& other : c.figure->conflicts_with) {
        grown = ids.insert(other).second || grown;
      }
    }
  }
  std::vector<Compared> group;
  std::copy_if(all.begin(),
               all.end(),
               std::back_inserter(group),
               [&](const Compared& c) { return ids.contains(c.figure->id); });
  return group;
}

void Add(std::vector<Caution>& cautions,
         std::string code,
         CautionKind kind,
         std::string words,
         std::string why) {
  cautions.push_back({std::move(code), kind, std::move(words), std::move(why)});
}

void AddVet(const std::vector<Compared>& compared,
            std::vector<Caution>& cautions) {
  for (const Compared& c : compared) {
    const auto& vet = c.figure->vet;
    if (!vet) continue;
    if (c.relation == (vet->below ? Relation::kBelow : Relation::kAbove)) {
      Add(cautions,
          c.figure->id,
          CautionKind::kVet,
          vet->words,
          fmt::format("{} {}", c.quantity.words, vet->why));
    }
  }
  Add(cautions,
      "urgent_signs",
      CautionKind::kVet,
      "Call the vet at once for sudden lameness, heat in the foot, a strong "
      "pulse, or a horse that won't move.",
      "These can't wait for a measurement (common practice).");
  Add(cautions,
      "law_and_vet_first",
      CautionKind::kVet,
      "What the law and the vet say comes before anything here.",
      "These numbers are compared with published figures; they don't say what "
      "is wrong with a horse.");
}

std::string_view ViewWords(View view) {
  return view == View::kSolar ? "the sole" : "the side";
}

void AddOfView(const ViewToJudge& photo,
               View view,
               std::vector<Caution>& cautions) {
  const std::string of(geometry::ViewName(view));
  // CHOSEN: up to 15 degrees the measures were tried on scenes whose truth is
  // known; beyond, a place 10 mm off the card's plane is shifted by 2.7 mm.
  constexpr double kSquareDeg = 15.0;
  if (photo.tilt_deg && *photo.tilt_deg > kSquareDeg) {
    Add(cautions,
        of + "_not_square",
        CautionKind::kPhoto,
        fmt::format("Mind that the camera stood {:.0f}° off square to {}.",
                    *photo.tilt_deg,
                    ViewWords(view)),
        "What lies before or behind the card's plane is then shifted.");
  }
  if (photo.scale == geometry::ScaleSource::kNone) {
    Add(cautions,
        of + "_no_scale",
        CautionKind::kPhoto,
        fmt::format("The photo of {} has no scale: it gives angles and ratios "
                    "only, and is taken to look squarely at the foot.",
                    ViewWords(view)),
        "Without the card nothing tells millimetres, nor how the camera was "
        "held.");
  }
  if (photo.scale == geometry::ScaleSource::kKnownLength) {
    Add(cautions,
        of + "_known_length",
        CautionKind::kPhoto,
        fmt::format("The millimetres in the photo of {} hang on the length "
                    "that was given.",
                    ViewWords(view)),
        "Without the card nothing tells how the camera was held.");
  }
}

std::vector<Caution> CautionsOf(const std::vector<Compared>& compared,
                                bool shod,
                                const std::optional<ViewToJudge>& solar,
                                const std::optional<ViewToJudge>& lateral) {
  std::vector<Caution> cautions;
  AddVet(compared, cautions);

  bool unseen = false;
  bool print_unchecked = false;
  bool focal_assumed = false;
  for (const auto* photo : {&solar, &lateral}) {
    if (!*photo) continue;
    const bool card = (*photo)->scale == geometry::ScaleSource::kCard;
    print_unchecked = print_unchecked || (card && !(*photo)->print_checked);
    focal_assumed = focal_assumed || (card && (*photo)->focal_assumed);
    for (const auto& [id, outcome] : (*photo)->outcomes) {
      const auto* const m = std::get_if<Measured>(&outcome);
      unseen = unseen || (m != nullptr && m->placed_by != PlacedBy::kPerson);
    }
  }
  if (unseen) {
    Add(cautions,
        "points_not_checked",
        CautionKind::kPoints,
        "Have a person check the points before you act on a number.",
        "Some of them were placed by the program alone.");
  }
  if (solar) AddOfView(*solar, View::kSolar, cautions);
  if (lateral) AddOfView(*lateral, View::kLateral, cautions);
  if (print_unchecked) {
    Add(cautions,
        "print_not_checked",
        CautionKind::kPhoto,
        "Measure once between the two crosses of the card with a ruler, and "
        "enter what it says.",
        "A printer that fits the page shrinks the card by a few per cent, and "
        "every length with it.");
  }
  if (focal_assumed) {
    Add(cautions,
        "focal_assumed",
        CautionKind::kPhoto,
        "Use the photo file as the phone made it.",
        "It doesn't say with which lens it was taken, so a usual one was "
        "assumed.");
  }
  if (shod) {
    Add(cautions,
        "shod",
        CautionKind::kFoot,
        "The foot is shod: what touches the ground here is the shoe.",
        "Lengths and heights include the shoe, and the edge of the hoof above "
        "it isn't seen from below.");
  }
  Add(cautions,
      "sole_depth",
      CautionKind::kFoot,
      "Trim by the foot, not by these numbers.",
      "How thick the sole is can't be seen in a photo.");
  return cautions;
}

}  // namespace

std::string_view RelationName(Relation relation) {
  switch (relation) {
    case Relation::kWithin:
      return "within";
    case Relation::kBelow:
      return "below";
    case Relation::kAbove:
      return "above";
    case Relation::kCrosses:
      return "crosses";
    case Relation::kConflicting:
      return "conflicting";
  }
  return "";
}

std::string_view CautionKindName(CautionKind kind) {
  switch (kind) {
    case CautionKind::kVet:
      return "vet";
    case CautionKind::kPhoto:
      return "photo";
    case CautionKind::kPoints:
      return "points";
    case CautionKind::kFoot:
      return "foot";
  }
  return "";
}

Verdict JudgeFoot(Foot foot,
                  bool shod,
                  const std::optional<ViewToJudge>& solar,
                  const std::optional<ViewToJudge>& lateral) {
  measure::Outcomes outcomes;
  if (solar) outcomes.insert(solar->outcomes.begin(), solar->outcomes.end());
  if (lateral) {
    outcomes.insert(lateral->outcomes.begin(), lateral->outcomes.end());
  }

  const std::vector<Figure> figures = LoadFigures();
  std::vector<Compared> compared;
  for (const Figure& figure : figures) {
    if (!MayBeUsed(figure, foot)) continue;
    if (auto quantity = QuantityFor(figure, foot, outcomes)) {
      const Relation relation = Compare(quantity->measured, figure);
      compared.push_back({&figure, *std::move(quantity), relation});
    }
  }

  Verdict verdict;
  std::set<std::string> told;
  for (const Compared& c : compared) {
    if (told.contains(c.figure->id)) continue;
    const std::vector<Compared> group = ConflictGroup(c, compared);
    for (const Compared& member : group) told.insert(member.figure->id);
    verdict.observations.push_back(
        group.size() > 1 ? ObserveConflict(group, foot) : ObserveOne(c));
  }
  std::stable_sort(verdict.observations.begin(),
                   verdict.observations.end(),
                   [](const Observation& a, const Observation& b) {
                     if (a.stands_out != b.stands_out) return a.stands_out;
                     return a.measure < b.measure;
                   });
  verdict.cautions = CautionsOf(compared, shod, solar, lateral);
  return verdict;
}

}  // namespace plumbfoot::judge
