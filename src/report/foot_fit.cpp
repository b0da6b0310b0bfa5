// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/foot_fit.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "plumbfoot/draw/shoe_side.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/find/shoe_outline.h"
#include "plumbfoot/find/shoe_side.h"
#include "plumbfoot/fit/inches.h"
#include "plumbfoot/geometry/polyline.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "report/fit_words.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::Measured;
using measure::MeasureId;

const Measured* MeasuredOf(const measure::Outcomes& outcomes, MeasureId id) {
  const auto found = outcomes.find(id);
  return found == outcomes.end() ? nullptr
                                 : std::get_if<Measured>(&found->second);
}

measure::PlainView PlainOf(const SavedView& saved, View view) {
  measure::PlainView plain;
  plain.view = view;
  plain.points = saved.mm;
  plain.outline = saved.outline;
  plain.dorsal_wall = saved.dorsal_wall;
  return plain;
}

fit::FootToTrim ToTrim(const SavedReport& report) {
  fit::FootToTrim foot;
  foot.outcomes = report.outcomes;
  if (report.solar) foot.solar = PlainOf(*report.solar, View::kSolar);
  if (report.lateral) {
    foot.lateral = PlainOf(*report.lateral, View::kLateral);
    foot.lateral_covariance = report.lateral->covariance;
  }
  return foot;
}

/// Which of the points that this work rests on the program isn't sure of.
std::vector<std::string> UnsureOf(const FootFit& fit) {
  std::vector<std::string> unsure;
  if (fit.report.solar) {
    for (const std::string& name : fit.report.solar->unsure) {
      // The frog only lays the axis; the heels' ends and the edge are steel.
      unsure.push_back(name);
    }
  }
  if (fit.trim.target && fit.report.lateral) {
    const MeasureId id = fit::MeasureOf(fit.trim.target->kind);
    if (fit.report.unsure.contains(id)) {
      for (const std::string& name : fit.report.lateral->unsure) {
        unsure.push_back(name);
      }
    }
  }
  return unsure;
}

void AddTrimCautions(FootFit& fit) {
  auto& cautions = fit.cautions;
  const fit::TrimPlan& trim = fit.trim;
  if (trim.whole == fit::TrimStep{} && !trim.target) {
    if (fit.report.stage == Stage::kBeforeTrim) {
      cautions.push_back(
          {"not_trimmed",
           "The foot was photographed before the trim, and no trim is asked "
           "for: shoe and template are those of the untrimmed foot. Ask for "
           "one (--toe-angle, --align, --heel-height), or measure it again "
           "when it is trimmed."});
    }
    return;
  }
  cautions.push_back(
      {"sole_depth",
       "A photo can't show how thick the sole is. Feel it with your thumbs as "
       "you trim, and stop where it gives, whatever this plan says."});
  if (!trim.reachable) {
    cautions.push_back(
        {"not_by_trimming",
         "Trimming can't raise a heel: only growth or a wedge can."});
  }
  if (trim.beyond_mean) {
    cautions.push_back(
        {"beyond_mean_trim",
         fmt::format("This is more than the published mean of one trim ({:.1f} "
                     "mm of toe length, {:.2f}°; ten feet). Discuss it with "
                     "the vet, and share it out over {} trims if you can.",
                     fit::kMeanTrimToeMm,
                     fit::kMeanTrimDeg,
                     trim.visits)});
  }
  if (trim.target && trim.reachable &&
      std::abs(trim.target->value - trim.now) < 1.96 * trim.now_sigma) {
    cautions.push_back(
        {"within_uncertainty",
         "What is asked for lies within what the photo can't tell: the foot "
         "may be there already. Measure again before you take horn for it."});
  }
  if (trim.heel_taken_parallel) {
    cautions.push_back(
        {"heel_wall_unknown",
         "The hairline at the heel is not placed: the heel's wall is taken to "
         "run parallel to the toe's."});
  }
  if (trim.target && trim.target->kind != fit::TargetKind::kHeelHeight) {
    cautions.push_back(
        {"pastern_stands",
         "The plan takes it that the pastern keeps its angle to the ground. "
         "Look at it again when the foot is down."});
  }
}

/// A shoe's edge is smooth: where the gap jumps before the widest part, what
/// was found is not the shoe's edge alone.
bool EdgeJumps(const FootFit& fit) {
  const auto& places = fit.gap->places;
  // CHOSEN: 2 mm within a centimetre.
  constexpr double kJump = 2.0;
  for (std::size_t i = 1; i < places.size(); ++i) {
    const bool front =
        places[i].foot.x > fit.sole.widest(places[i].side).x &&
        places[i - 1].foot.x > fit.sole.widest(places[i - 1].side).x;
    if (front && std::abs(places[i].gap_mm - places[i - 1].gap_mm) > kJump) {
      return true;
    }
  }
  return false;
}

void AddWornSideCautions(FootFit& fit) {
  if (!fit.options.worn_side) return;
  const WornSide& worn = *fit.options.worn_side;
  if (!worn.level) {
    fit.cautions.push_back({"level_not_told",
                            "Whether the worn shoe lies level can't be told: " +
                                worn.not_told->message + " " +
                                worn.not_told->remedy});
    fit.needs_person = true;
    return;
  }
  const fit::ShoeLevel& level = *worn.level;
  if (level.verdict == fit::LevelVerdict::kSprung ||
      (level.gap && level.gap->low95 > fit::kLevelWithin)) {
    fit.cautions.push_back(
        {"shoe_sprung",
         "The worn shoe stands off at the heel. Unless that was meant, see "
         "whether the nails still hold and whether the branch presses on frog "
         "or sole, before the horse works in it."});
  }
}

void AddCautions(FootFit& fit) {
  AddTrimCautions(fit);
  AddWornSideCautions(fit);
  if (fit.gap && EdgeJumps(fit)) {
    fit.cautions.push_back(
        {"shoe_edge_jumps",
         "The shoe's edge jumps, which no shoe's does: a shadow or the card "
         "may be part of it. Look at shoe-on-foot.png, and photograph the shoe "
         "again two fingers from the card, or place its edge by hand."});
    fit.needs_person = true;
  }
  for (const fit::Slot& slot : fit.nails.slots) {
    const fit::Nail* nail = slot.nail();
    if (nail == nullptr) continue;
    for (const fit::NailWarning warning : nail->warnings) {
      const std::string which = fmt::format(
          "{} {}", SideWordsOf(fit.sole.foot, slot.side), slot.number);

      if (warning == fit::NailWarning::kThinWall) {
        fit.cautions.push_back(
            {"thin_wall",
             fmt::format("Nail {}: the wall is only {:.1f} mm thick there. "
                         "Leave it out if you can.",
                         which,
                         nail->depth_mm)});
      } else {
        fit.cautions.push_back(
            {"straight_quarter",
             fmt::format("Nail {}: the edge runs nearly straight there, which "
                         "is how a steep, thin quarter looks from below. Look "
                         "at the wall before you drive it.",
                         which)});
      }
    }
  }
  const auto unsure = UnsureOf(fit);
  if (!unsure.empty()) {
    std::string list;
    for (const std::string& name : unsure) {
      list += (list.empty() ? "" : ", ") + name;
    }
    fit.cautions.push_back(
        {"unsure_points",
         "The program isn't sure of these points, and steel would be cut by "
         "them: " +
             list + ". Put them right on the photo first."});
    fit.needs_person = true;
  }
  const bool retake =
      (fit.report.solar && fit.report.solar->retake) ||
      (fit.trim.target && fit.report.lateral && fit.report.lateral->retake);
  if (retake) {
    fit.cautions.push_back(
        {"retake", "A photo that this rests on should be taken again."});
    fit.needs_person = true;
  }
  fit.cautions.push_back(
      {"person_decides",
       "Hold the template to the foot before you hold the shoe to it. The foot "
       "before you, the law and the vet come before this sheet."});
}

}  // namespace

Result<LooseShoe> ReadLooseShoe(const LooseShoeRequest& request) {
  const auto read = OpenPhoto(request.photo, request.scale);
  if (!read) return read.error();
  if (read->plane.scale == geometry::ScaleSource::kNone) {
    if (read->card_refusal) return *read->card_refusal;
    return Refusal{RefusalCode::kNoScale,
                   "There is no card in the photo of the shoe.",
                   "Lay the shoe and the card on one ground, and photograph "
                   "both from above."};
  }
  const geometry::PlaneMap map = geometry::NominalMap(read->plane);
  LooseShoe shoe;
  shoe.file = request.photo.filename().string();
  geometry::PhotoPolyline outline;
  if (request.outline) {
    outline = *request.outline;
    shoe.placed_by = PlacedBy::kPerson;
    if (outline.size() < 12) {
      return Refusal{RefusalCode::kTooFewPoints,
                     "The shoe's outline has too few points.",
                     "Place a dozen points or more along its outer edge."};
    }
    // A few clicks cut its bends short.
    outline = geometry::Rounded(outline, 8, geometry::Ends::kClosed);
  } else {
    auto found = find::FindShoeOutline(
        read->photo.rgb, map, read->card ? &request.scale.layout : nullptr);
    if (!found) return found.error();
    outline = std::move(*found);
  }
  for (const geometry::PhotoPoint& px : outline) {
    const auto on = map.ApplyNearer(px, request.above_card_mm);
    if (!on) continue;
    // A sole's frame is a mirror image in the card's: with the ground side up
    // the shoe is seen as the sole is.
    shoe.edge.push_back({on->x, request.foot_side_up ? on->y : -on->y});
  }
  return shoe;
}

Result<LooseShoe> WornShoe(const SavedReport& shod) {
  if (!shod.shod) {
    return Refusal{RefusalCode::kUsage,
                   "The foot of that report is bare: it wears no shoe.",
                   "Give a report that was measured with --shod."};
  }
  if (!shod.solar || shod.solar->outline.empty()) {
    return Refusal{RefusalCode::kPointMissing,
                   "The report of the shod foot has no outline in millimetres.",
                   "Measure a photo of the shod sole with the card in it."};
  }
  return LooseShoe{shod.solar->file, shod.solar->outline, PlacedBy::kFinder};
}

namespace {

/// Toe and heel on the ground where the photo shows them: a person's, else the
/// report's.
struct OnGround {
  geometry::PhotoPoint toe;
  geometry::PhotoPoint heel;
  geometry::HeelPlane heel_plane = geometry::HeelPlane::kMiddle;
  double heel_sigma_mm = 2.0;  // CHOSEN: the finder's.
};

std::optional<OnGround> OnGroundOf(const WornSideRequest& request) {
  const SavedView& view = *request.shod.lateral;
  constexpr auto kToe = static_cast<std::size_t>(PointId::kToeGround);
  constexpr auto kHeel = static_cast<std::size_t>(PointId::kHeelGround);
  const ViewPoints given = request.given.value_or(ViewPoints{});
  OnGround on;
  if (given.points[kToe]) {
    on.toe = given.points[kToe]->px;
  } else if (view.px[kToe]) {
    on.toe = *view.px[kToe];
  } else {
    return std::nullopt;
  }
  if (given.points[kHeel]) {
    on.heel = given.points[kHeel]->px;
    on.heel_plane = given.heel_plane;
    on.heel_sigma_mm = 0.5;  // CHOSEN: a person's, as find::PersonSigmaPx.
    return on;
  }
  if (!view.px[kHeel]) return std::nullopt;
  on.heel = view.near_px[kHeel].value_or(*view.px[kHeel]);
  if (view.near_px[kHeel]) on.heel_plane = geometry::HeelPlane::kNear;
  const double variance = view.covariance[kHeel].xx;
  if (variance > 0) on.heel_sigma_mm = std::sqrt(variance);
  return on;
}

/// The branch that faces the camera, from the shod sole or else the bare one.
Result<fit::BranchDepth> DepthOf(const WornSideRequest& request, bool left) {
  for (const SavedReport* report : {&request.shod, &request.bare}) {
    if (!report->solar || report->solar->outline.empty()) continue;
    return fit::BranchOfSole(report->solar->outline, left, report->shod);
  }
  return Refusal{RefusalCode::kPointMissing,
                 "How far the branch stands before the foot's middle isn't "
                 "known: neither report has the outline of a sole.",
                 "Measure the foot with --solar, too."};
}

/// Finds the edges where a level shoe's would be.
Result<fit::BranchEdges> FindEdges(const cv::Mat& rgb,
                                   const geometry::PlaneMap& map,
                                   const fit::SideFrame& frame,
                                   const fit::BranchDepth& depth,
                                   geometry::PhotoPolyline& looked) {
  find::ShoeSideRequest request{rgb, {}, {}};
  // CHOSEN: from behind the toe's bend to the heel's rounding.
  for (double back = 0.06 * frame.length_mm; back < frame.length_mm - 3.0;
       back += 1.0) {
    const auto low = fit::OnBranch(map, frame, depth, back, 0.0);
    const auto high = fit::OnBranch(map, frame, depth, back, 1.0);
    request.level.push_back(low);
    request.up.push_back(high - low);
  }
  looked = request.level;
  auto side = find::FindShoeSide(request);
  if (!side) return side.error();
  return fit::BranchEdges{
      std::move(side->ground), std::move(side->foot), std::nullopt};
}

}  // namespace

Result<WornSide> ReadWornSide(const WornSideRequest& request) {
  const SavedReport& shod = request.shod;
  if (!shod.shod) {
    return Refusal{RefusalCode::kUsage,
                   "The foot of that report is bare: it wears no shoe that "
                   "could be level or sprung.",
                   "Give a report that was measured with --shod."};
  }
  if (!shod.lateral) {
    return Refusal{RefusalCode::kPointMissing,
                   "The report of the shod foot has no photo from the side.",
                   "Measure the shod foot with --lateral."};
  }
  auto read = OpenPhoto(request.photo, request.scale);
  if (!read) return read.error();
  if (read->photo.sha256 != shod.lateral->sha256) {
    return Refusal{RefusalCode::kUsage,
                   fmt::format("{} is not the side photo that the report of "
                               "the shod foot was measured on.",
                               request.photo.string()),
                   fmt::format("Name that photo: {}.", shod.lateral->file)};
  }
  if (read->plane.scale == geometry::ScaleSource::kNone) {
    if (read->card_refusal) return *read->card_refusal;
    return Refusal{RefusalCode::kNoScale,
                   "There is no card in the side photo.",
                   "Stand the card on the ground beside the foot."};
  }
  if (request.given) {
    const auto inside =
        find::CheckInside(*request.given, read->photo.rgb.size());
    if (!inside) return inside.error();
  }
  const auto on = OnGroundOf(request);
  if (!on) {
    return Refusal{RefusalCode::kPointMissing,
                   "Toe and heel on the ground are not placed in the report "
                   "of the shod foot.",
                   "Place toe_ground and heel_ground by hand."};
  }
  WornSide worn;
  // Whoever looks at a horse's left side has its head on the left.
  const bool left = on->toe.x < on->heel.x;
  worn.side = left ? fit::Side::kLeft : fit::Side::kRight;
  const auto depth = DepthOf(request, left);
  if (!depth) return depth.error();
  const geometry::PlaneMap map = geometry::NominalMap(read->plane);
  const auto frame = fit::SideFrameOf(
      map, *depth, on->toe, on->heel, on->heel_plane, on->heel_sigma_mm);
  if (!frame) return frame.error();
  if (request.given && request.given->shoe_ground) {
    worn.placed_by = PlacedBy::kPerson;
    worn.edges = {*request.given->shoe_ground,
                  request.given->shoe_foot,
                  request.given->horn_edge};
    const double sigma = find::PersonSigmaPx(
        read->photo.rgb.size(), map.PixelsPerMillimetre(frame->toe));
    for (auto* edge : {&worn.edges.foot, &worn.edges.horn}) {
      if (*edge) (*edge)->sigma_px = sigma;
    }
    worn.edges.ground.sigma_px = sigma;
  } else {
    auto edges = FindEdges(read->photo.rgb, map, *frame, *depth, worn.looked);
    if (edges) {
      worn.edges = std::move(*edges);
      if (request.given) worn.edges.horn = request.given->horn_edge;
    } else {
      worn.not_told = edges.error();
    }
  }
  if (!worn.not_told) {
    auto level = fit::LevelOf(map, *frame, *depth, worn.edges);
    if (level) {
      worn.level = std::move(*level);
    } else {
      worn.not_told = level.error();
    }
  }
  worn.photo = std::move(read->photo);
  return worn;
}

Result<FootFit> FitFoot(SavedReport report, const FitOptions& options) {
  if (report.shod) {
    return Refusal{RefusalCode::kImplausible,
                   "The foot is shod: its edge is the shoe's, and a shoe made "
                   "by it would be a copy of the shoe.",
                   "Measure the bare foot."};
  }
  if (!report.solar) {
    return Refusal{RefusalCode::kPointMissing,
                   "The report has no photo of the sole: there is no outline "
                   "to make a shoe by.",
                   "Measure the foot with --solar."};
  }
  FootFit fit;
  fit.options = options;
  auto trim = fit::PlanTrim(ToTrim(report), options.trim);
  if (!trim) return trim.error();
  fit.trim = std::move(*trim);
  auto sole = fit::MakeSole(report.foot, *fit.trim.solar);
  if (!sole) return sole.error();
  fit.sole = std::move(*sole);

  if (options.heels) {
    fit.heels = *options.heels;
  } else if (const auto* toe =
                 MeasuredOf(fit.trim.after, MeasureId::kToeAngle)) {
    fit.heels = fit::HeelRuleFor(toe->value);
  }
  fit.options.nails.thickness_mm = options.shoe.thickness_mm;
  fit::ShoeOptions shoe_options = options.shoe;
  if (!shoe_options.heel_length_mm) {
    shoe_options.heel_length_mm =
        fit::HeelLengthFor(fit.heels, shoe_options.thickness_mm);
  }
  const fit::NailPlan nails = fit::PlaceNails(fit.sole, fit.options.nails);
  auto shoe = fit::FitShoe(fit.sole, nails, shoe_options);
  if (!shoe) return shoe.error();
  fit.shoe = std::move(*shoe);
  fit.nails = fit::HolesWithin(fit.shoe, nails);
  fit.bar = fit::BarFor(fit.sole, fit.shoe, fit.nails, options.bar);
  fit.size = fit::NearestOf(
      options.sizes, report.foot, fit.shoe.width_mm, fit.shoe.length_mm);
  if (options.loose_shoe) {
    auto gap = fit::CompareShoe(fit.sole, options.loose_shoe->edge, false);
    if (!gap) return gap.error();
    fit.gap = std::move(*gap);
  }
  fit.report = std::move(report);
  AddCautions(fit);
  return fit;
}

Result<PairFit> FitPair(SavedReport report,
                        std::optional<SavedReport> other,
                        bool match,
                        FitOptions options) {
  if (other) {
    const bool pair =
        geometry::IsFore(report.foot) == geometry::IsFore(other->foot) &&
        report.foot != other->foot;
    if (!pair) {
      return Refusal{RefusalCode::kUsage,
                     fmt::format("The {} and the {} are no pair.",
                                 geometry::FootWords(report.foot),
                                 geometry::FootWords(other->foot)),
                     "Give the left and the right, both fore or both hind."};
    }
    if (report.horse && other->horse && *report.horse != *other->horse) {
      return Refusal{RefusalCode::kUsage,
                     "The two reports are of two horses.",
                     "Give both feet of one horse."};
    }
  }
  if (match) {
    const auto* a = MeasuredOf(report.outcomes, MeasureId::kToeAngle);
    const auto* b =
        other ? MeasuredOf(other->outcomes, MeasureId::kToeAngle) : nullptr;
    if (options.trim.target || a == nullptr || b == nullptr) {
      return Refusal{RefusalCode::kUsage,
                     "--match needs the toe angle of both feet, and no other "
                     "target.",
                     "Give --report and --other with a side view each."};
    }
    options.trim.target =
        fit::Target{fit::TargetKind::kToeAngle, (a->value + b->value) / 2};
  }
  auto first = FitFoot(std::move(report), options);
  if (!first) return first.error();
  PairFit pair{std::move(*first), std::nullopt};
  options.loose_shoe.reset();
  options.worn_side.reset();
  if (other) {
    auto second = FitFoot(std::move(*other), options);
    if (!second) {
      Refusal refusal = second.error();
      refusal.message = "The other foot: " + refusal.message;
      return refusal;
    }
    pair.other = std::move(*second);
  }
  return pair;
}

std::vector<photo::NamedBytes> FitFiles(const PairFit& fit) {
  std::vector<photo::NamedBytes> files;
  const auto add = [&files](const draw::ShoeTemplate& t,
                            const std::string& name) {
    files.push_back({name + ".pdf", draw::TemplatePdf(t, draw::Paper::kA4)});
    files.push_back(
        {name + "-letter.pdf", draw::TemplatePdf(t, draw::Paper::kLetter)});
    files.push_back({name + ".svg", draw::TemplateSvg(t)});
    files.push_back({name + ".dxf", draw::TemplateDxf(t)});
  };
  const draw::ShoeTemplate first = TemplateOf(fit.first);
  add(first, "template");
  draw::ShoeTemplate mirrored = draw::Mirrored(first);
  mirrored.title = fmt::format("{} (mirrored {})",
                               TitleOf(fit.first.report, mirrored.sole.foot),
                               geometry::FootName(first.sole.foot));
  add(mirrored, "template-mirrored");
  if (fit.other) add(TemplateOf(*fit.other), "template-other");
  if (fit.first.gap) {
    const draw::ShoeOnFoot drawing = ShoeOnFootOf(fit.first);
    files.push_back({"shoe-on-foot.png", draw::ShoeOnFootPng(drawing)});
    files.push_back({"shoe-on-foot.svg", draw::ShoeOnFootSvg(drawing)});
  }
  if (fit.first.options.worn_side) {
    files.push_back(
        {"shoe-side.jpg",
         photo::EncodeJpeg(draw::DrawShoeSide(ShoeSideOf(fit.first)))});
  }
  files.push_back({"fit.json", FitText(fit)});
  return files;
}

}  // namespace plumbfoot::report
