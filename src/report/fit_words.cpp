// SPDX-License-Identifier: Apache-2.0
#include "report/fit_words.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

#include "plumbfoot/fit/inches.h"
#include "plumbfoot/judge/words.h"
#include "plumbfoot/report/foot_fit.h"
#include "report/page.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::Measured;

std::string Both(double mm) {
  return fmt::format("{:.0f} mm, {}", mm, fit::EighthsText(mm));
}

std::string UpperFirst(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') {
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  }
  return text;
}

std::string SubtitleOf(const FootFit& fit) {
  std::string words = fit.report.date ? "Photographed " + *fit.report.date
                                      : std::string("Photographed");
  if (fit.report.stage != Stage::kOther) {
    words += fmt::format(" {}", StageWords(fit.report.stage));
  }
  if (fit.trim.this_time != fit::TrimStep{}) {
    words += "; drawn as trimmed: " + StepWords(fit.trim.this_time);
  }
  return CleanUtf8(words) + ".";
}

std::string AllowanceWords(const FootFit& fit) {
  std::string words;
  if (!fit.nails.clips.empty()) {
    words = fmt::format("{} clip{}",
                        fit.nails.clips.size(),
                        fit.nails.clips.size() == 1 ? "" : "s");
  }
  if (fit.options.bar.calk_height_mm > 0) {
    words += words.empty() ? "calks" : ", calks";
  }
  return words;
}

std::string ClipWords(const FootFit& fit) {
  return fmt::format(
      "{}, {:.0f} mm high",
      fit.nails.clips.size() == 1 ? "one at the toe" : "one on each side",
      fit.nails.clips.front().height_mm);
}

std::string ShapeWords(const FootFit& fit) {
  const auto& o = fit.shoe.options;
  std::string words;
  if (o.set_back_mm > 0) {
    words = fmt::format("set back {:.0f} mm", o.set_back_mm);
  }
  if (o.rolled_mm > 0) {
    words += fmt::format(
        "{}rolled from {:.0f} mm", words.empty() ? "" : ", ", o.rolled_mm);
  }
  return words;
}

void AddTrim(const FootFit& fit, Page& page) {
  const fit::TrimPlan& trim = fit.trim;
  if (!trim.target && trim.whole == fit::TrimStep{}) return;
  page.Heading("Trim");
  if (trim.target) {
    const auto unit = measure::InfoOf(fit::MeasureOf(trim.target->kind)).unit;
    page.Wrapped(fmt::format("asked for {}; now {:.1f}{} ± {:.1f}",
                             TargetWords(*trim.target),
                             trim.now,
                             unit == measure::Unit::kDegree ? "°" : " mm",
                             1.96 * trim.now_sigma),
                 "  ");
  }
  if (trim.reachable) {
    const std::string sure = trim.off_sigma_mm > 0
                                 ? fmt::format(" (± {:.1f} mm, by the photo)",
                                               1.96 * trim.off_sigma_mm)
                                 : "";
    page.Wrapped("off this time: " + StepWords(trim.this_time) +
                     (trim.visits > 1 ? "" : sure),
                 "  ",
                 Ink::kStrong);
    if (trim.visits > 1) {
      page.Wrapped(
          fmt::format("all of it: {}{}: {} trims of the published mean size",
                      StepWords(trim.whole),
                      sure,
                      trim.visits),
          "  ");
    }
  } else {
    page.Wrapped("a trim can't do it", "  ", Ink::kLook);
  }
  if (trim.wedge && std::abs(trim.wedge->degrees) > 0.05) {
    page.Wrapped(fmt::format("instead of all of it: a full-length wedge of "
                             "{:.1f}°, the {} {:.1f} mm up",
                             std::abs(trim.wedge->degrees),
                             trim.wedge->degrees > 0 ? "heels" : "toe",
                             trim.wedge->rise_mm),
                 "  ");
  }
  bool headed = false;
  for (const auto& [id, outcome] : trim.after) {
    const auto* after = std::get_if<Measured>(&outcome);
    const auto found = fit.report.outcomes.find(id);
    const auto* before = std::get_if<Measured>(&found->second);
    if (after == nullptr || before == nullptr) continue;
    const measure::MeasureInfo& info = measure::InfoOf(id);
    const judge::Shown was = judge::Show(*before, info.unit);
    const judge::Shown will = judge::Show(*after, info.unit);
    // What shows the same number is not listed; the file has all.
    if (was.value == will.value) continue;
    if (!headed) {
      page.Line(fmt::format("  {}{}{}",
                            Padded("", 28, Align::kLeft),
                            Padded("now", 8, Align::kRight),
                            Padded("then", 9, Align::kRight)),
                Ink::kFaint);
      headed = true;
    }
    page.Line(fmt::format("  {}{}{} ± {} {}",
                          Padded(std::string(info.name), 28, Align::kLeft),
                          Padded(was.value, 8, Align::kRight),
                          Padded(will.value, 9, Align::kRight),
                          Padded(will.half_width, 5, Align::kLeft),
                          will.unit));
  }
}

void AddGap(const FootFit& fit, Page& page) {
  if (!fit.gap) return;
  const fit::ShoeGap& gap = *fit.gap;
  page.Heading("The shoe on the foot");
  page.Wrapped(
      fmt::format("{}: where it must fit, from the toe to the widest part, its "
                  "edge is {:.1f} mm off (root mean square). It stands out by "
                  "{:.1f} mm at most, and leaves {:.1f} mm of the foot "
                  "uncovered at most.",
                  CleanForTerminal(fit.options.loose_shoe->file),
                  gap.rms_front_mm,
                  gap.most_out_mm,
                  gap.most_in_mm),
      "  ");
  page.Wrapped(fmt::format("heels past the buttress: left {:.0f} mm, right "
                           "{:.0f} mm",
                           gap.heel_left_mm,
                           gap.heel_right_mm),
               "  ");
  for (const fit::Side side : {fit::Side::kLeft, fit::Side::kRight}) {
    std::string list;
    std::vector<const fit::GapPlace*> places;
    for (const fit::GapPlace& place : gap.places) {
      if (place.side == side) places.push_back(&place);
    }
    std::sort(places.begin(), places.end(), [](const auto* a, const auto* b) {
      return a->from_toe_mm < b->from_toe_mm;
    });
    for (const fit::GapPlace* place : places) {
      // No "-0.0".
      const double shown = std::round(10 * place->gap_mm) / 10;
      list += fmt::format("{}{:.0f}: {:+.1f}",
                          list.empty() ? "" : ", ",
                          place->from_toe_mm,
                          shown == 0 ? 0.0 : shown);
      // Near a buttress only: elsewhere it is as sure as the photo.
      if (place->standard_uncertainty > 0.3) {
        list += fmt::format(" ± {:.1f}", 1.96 * place->standard_uncertainty);
      }
    }
    page.Wrapped(list,
                 fmt::format("  {} (mm from the toe: gap) ",
                             SideWordsOf(fit.sole.foot, side)));
  }
}

void AddWornSide(const FootFit& fit, Page& page) {
  if (!fit.options.worn_side) return;
  const WornSide& worn = *fit.options.worn_side;
  page.Heading("The worn shoe from the side");
  page.Wrapped(
      CleanForTerminal(fmt::format("{}, {} branch: {}",
                                   worn.photo.file_name,
                                   SideWordsOf(fit.sole.foot, worn.side),
                                   LevelWords(worn))),
      "  ");
  for (const std::string& line : LevelLines(worn)) page.Wrapped(line, "  ");
}

void AddFoot(const FootFit& fit, Page& page) {
  page.Wrapped(
      CleanForTerminal(TitleOf(fit.report, fit.report.foot)), "", Ink::kStrong);
  page.Wrapped(CleanForTerminal(SubtitleOf(fit)), "  ", Ink::kFaint);
  AddTrim(fit, page);
  const auto row = [&page](std::string_view what, const std::string& much) {
    page.Line(fmt::format(
        "  {}{}", Padded(std::string(what), 16, Align::kLeft), much));
  };
  page.Heading("Shoe");
  for (const auto& [what, much] : TemplateOf(fit).facts) {
    row(what, CleanForTerminal(much));
  }
  page.Heading("Nails");
  for (const fit::Slot& slot : fit.nails.slots) {
    const std::string place = fmt::format(
        "{} {}", SideWordsOf(fit.sole.foot, slot.side), slot.number);
    if (const fit::Nail* nail = slot.nail()) {
      row(place,
          fmt::format("{:3.0f} mm from the toe's middle, {:.1f} mm deep, {}",
                      nail->from_toe_mm,
                      nail->depth_mm,
                      nail->lean_deg < 0.5
                          ? std::string("straight")
                          : fmt::format("{:.0f}° inwards", nail->lean_deg)));
    } else {
      row(place,
          "left out: " +
              std::string(LeftOutWords(std::get<fit::LeftOut>(slot.outcome))));
    }
  }
  AddGap(fit, page);
  AddWornSide(fit, page);
  page.Heading("Mind");
  for (const FitCaution& caution : fit.cautions) {
    page.Wrapped(CleanForTerminal(caution.words), "  - ");
  }
}

}  // namespace

std::string_view SideWordsOf(Foot foot, fit::Side side) {
  return side == fit::OuterSide(foot) ? "outside" : "inside";
}

std::string TitleOf(const SavedReport& report, Foot foot) {
  const std::string words(geometry::FootWords(foot));
  if (!report.horse || report.horse->empty()) return UpperFirst(words);
  return CleanUtf8(*report.horse) + ", " + words;
}

std::string_view HeelRuleName(fit::HeelRule rule) {
  switch (rule) {
    case fit::HeelRule::kRegular:
      return "regular";
    case fit::HeelRule::kSloping:
      return "sloping";
    case fit::HeelRule::kUpright:
      return "upright";
  }
  throw std::invalid_argument("HeelRuleName: not a HeelRule");
}

std::string_view TargetName(fit::TargetKind kind) {
  switch (kind) {
    case fit::TargetKind::kToeAngle:
      return "toe_angle";
    case fit::TargetKind::kAlignment:
      return "alignment";
    case fit::TargetKind::kHeelHeight:
      return "heel_height";
  }
  throw std::invalid_argument("TargetName: not a TargetKind");
}

std::string_view LeftOutWords(fit::LeftOut reason) {
  switch (reason) {
    case fit::LeftOut::kNotNeeded:
      return "a foot of this size takes fewer";
    case fit::LeftOut::kNoRoom:
      return "it would stand behind the widest part, or too close";
    case fit::LeftOut::kAtClip:
      return "a clip is there";
    case fit::LeftOut::kOutsideWeb:
      return "the hole would break out of the web";
  }
  throw std::invalid_argument("LeftOutWords: not a LeftOut");
}

std::string StepWords(fit::TrimStep step) {
  const auto words = [](double mm) {
    return mm < 0.05 ? std::string("nothing") : fmt::format("{:.1f} mm", mm);
  };
  return fmt::format(
      "toe {}, heels {}", words(step.toe_off_mm), words(step.heel_off_mm));
}

std::string TargetWords(const fit::Target& target) {
  switch (target.kind) {
    case fit::TargetKind::kToeAngle:
      return fmt::format("a toe angle of {:.1f}°", target.value);
    case fit::TargetKind::kAlignment:
      return target.value == 0
                 ? std::string("a straight hoof-pastern axis")
                 : fmt::format("hoof less pastern angle of {:+.1f}°",
                               target.value);
    case fit::TargetKind::kHeelHeight:
      return fmt::format("a heel height of {:.1f} mm", target.value);
  }
  throw std::invalid_argument("TargetWords: not a TargetKind");
}

namespace {

std::string Interval(const fit::LevelLength& length) {
  const auto clean = [](double mm) { return std::round(10 * mm) / 10 + 0.0; };
  return fmt::format("{:.1f} mm (95 %: {:.1f} to {:.1f})",
                     clean(length.mm),
                     clean(length.low95),
                     clean(length.high95));
}

}  // namespace

std::string LevelWords(const WornSide& worn) {
  if (!worn.level) {
    return "can't be told. " + worn.not_told->message + " " +
           worn.not_told->remedy;
  }
  const fit::ShoeLevel& level = *worn.level;
  switch (level.verdict) {
    case fit::LevelVerdict::kLevel:
      return fmt::format(
          "level: the heel lies within {:.0f} mm of the shoe's straight ground "
          "line",
          fit::kLevelWithin);
    case fit::LevelVerdict::kSprung:
      return fmt::format("sprung by {:.1f} mm at the heel", level.rise.mm);
    case fit::LevelVerdict::kLow:
      return fmt::format(
          "the heel lies {:.1f} mm below the shoe's straight ground line: the "
          "branch is bent down, or the toe is rolled or worn",
          -level.rise.mm);
    case fit::LevelVerdict::kUnsure:
      return "can't be told: what the photo leaves open is larger than what it "
             "shows. Photograph it from as low as the shoe, nearer";
  }
  throw std::invalid_argument("LevelWords: not a LevelVerdict");
}

std::vector<std::string> LevelLines(const WornSide& worn) {
  std::vector<std::string> lines;
  if (!worn.level) return lines;
  const fit::ShoeLevel& level = *worn.level;
  lines.push_back("rise of the heel over the ground line: " +
                  Interval(level.rise));
  if (level.thickness) {
    lines.push_back("height of the shoe's side: " + Interval(*level.thickness));
  } else {
    lines.emplace_back(
        "height of the shoe's side: its edge to the foot isn't "
        "clear enough");
  }
  if (level.gap) {
    lines.push_back("from the shoe to the horn at the heel: " +
                    Interval(*level.gap));
  }
  return lines;
}

draw::ShoeSideDrawing ShoeSideOf(const FootFit& fit) {
  const WornSide& worn = *fit.options.worn_side;
  draw::ShoeSideDrawing drawing;
  drawing.rgb = worn.photo.rgb;
  drawing.title = TitleOf(fit.report, fit.report.foot) + ": the worn shoe, " +
                  std::string(SideWordsOf(fit.sole.foot, worn.side)) +
                  " branch";
  drawing.verdict = UpperFirst(LevelWords(worn));
  drawing.lines = LevelLines(worn);
  drawing.ground = worn.edges.ground.px;
  if (worn.edges.foot) drawing.foot = worn.edges.foot->px;
  if (worn.edges.horn) drawing.horn = worn.edges.horn->px;
  if (!worn.level) drawing.looked = worn.looked;
  drawing.level = worn.level;
  return drawing;
}

draw::ShoeOnFoot ShoeOnFootOf(const FootFit& fit) {
  draw::ShoeOnFoot drawing;
  drawing.title = TitleOf(fit.report, fit.report.foot);
  drawing.subtitle = CleanUtf8(fit.options.loose_shoe->file) +
                     " laid on the foot, as it fits best from the toe to the "
                     "widest part.";
  drawing.sole = fit.sole;
  drawing.gap = *fit.gap;
  return drawing;
}

draw::ShoeTemplate TemplateOf(const FootFit& fit) {
  draw::ShoeTemplate t;
  t.title = TitleOf(fit.report, fit.report.foot);
  t.subtitle = SubtitleOf(fit);
  t.sole = fit.sole;
  t.shoe = fit.shoe;
  t.nails = fit.nails;
  const auto& o = fit.shoe.options;
  const auto add = [&t](std::string what, std::string much) {
    t.facts.push_back({std::move(what), std::move(much)});
  };
  t.heart = {
      fmt::format("{:.0f} × {:.0f} mm", fit.shoe.width_mm, fit.shoe.length_mm),
      fmt::format("cut {:.0f} mm", fit.bar.cut_by_neutral_line_mm),
      fit::EighthsText(fit.bar.cut_by_neutral_line_mm),
      fmt::format("{:.0f} × {:.0f} {}",
                  o.web_mm,
                  o.thickness_mm,
                  fit::MaterialName(fit.options.bar.material))};
  add("Shoe",
      fmt::format("{:.0f} × {:.0f} mm (width × length)",
                  fit.shoe.width_mm,
                  fit.shoe.length_mm));
  add("Bar",
      fmt::format("{:.0f} × {:.0f} mm {}, {:.0f} g",
                  o.web_mm,
                  o.thickness_mm,
                  fit::MaterialName(fit.options.bar.material),
                  fit.bar.weight_g));
  add("Cut, mid-web", Both(fit.bar.cut_by_neutral_line_mm));
  add("Cut, by rule", Both(fit.bar.cut_by_rule_mm));
  if (fit.bar.allowance_mm > 0) {
    add("of it for",
        fmt::format(
            "{}: {:.0f} mm", AllowanceWords(fit), fit.bar.allowance_mm));
  }
  add("Fullness", fmt::format("{:.1f} mm behind the last nail", o.fullness_mm));
  const bool given = fit.options.shoe.heel_length_mm.has_value();
  add("Heels",
      given
          ? fmt::format("{:.0f} mm past the buttress", fit.shoe.heel_length_mm)
          : fmt::format("{:.0f} mm past it ({} foot)",
                        fit.shoe.heel_length_mm,
                        HeelRuleName(fit.heels)));
  if (o.set_back_mm > 0 || o.rolled_mm > 0) add("Toe", ShapeWords(fit));
  if (!fit.nails.clips.empty()) add("Clips", ClipWords(fit));
  add("Nails",
      fmt::format(
          "{}, holding as {}", fit.nails.placed(), fit.nails.holding()));
  if (fit.size) {
    add("Nearest size",
        fmt::format("{} ({:+.0f} wide, {:+.0f} long)",
                    CleanUtf8(fit.size->size.name),
                    fit.size->width_off_mm,
                    fit.size->length_off_mm));
  }
  for (const FitCaution& caution : fit.cautions) {
    t.notes.push_back(caution.words);
  }
  return t;
}

std::string FitTable(const PairFit& fit, bool colour) {
  Page page(colour);
  AddFoot(fit.first, page);
  if (fit.other) {
    page.Line("");
    AddFoot(*fit.other, page);
    page.Heading("The pair");
    const auto both = [&page](std::string_view what, double a, double b) {
      page.Line(fmt::format("  {}{:8.0f}{:8.0f} mm   {:+.0f}",
                            Padded(std::string(what), 24, Align::kLeft),
                            a,
                            b,
                            a - b));
    };
    both("Shoe, width", fit.first.shoe.width_mm, fit.other->shoe.width_mm);
    both("Shoe, length", fit.first.shoe.length_mm, fit.other->shoe.length_mm);
    both("Bar, mid-web",
         fit.first.bar.cut_by_neutral_line_mm,
         fit.other->bar.cut_by_neutral_line_mm);
  }
  return std::move(page).Take();
}

}  // namespace plumbfoot::report
