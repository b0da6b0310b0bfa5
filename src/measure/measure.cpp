// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/measure.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "measure/draws.h"
#include "measure/in_foot.h"

namespace plumbfoot::measure {
namespace {

using enum PointId;
using geometry::CardPoint;
using geometry::FootPoint;
using geometry::kPointCount;
using geometry::PhotoPoint;

constexpr std::string_view kNoScale =
    "there is no scale in the photo: put the card in the picture, or give a "
    "known length";

std::string_view PointWords(PointId id) {
  switch (id) {
    case kToe:
      return "the toe";
    case kHeelLeft:
      return "the left heel";
    case kHeelRight:
      return "the right heel";
    case kFrogApex:
      return "the point of the frog";
    case kFrogLeft:
      return "the frog's left side";
    case kFrogRight:
      return "the frog's right side";
    case kToeGround:
      return "the toe at the ground";
    case kToeHairline:
      return "the hairline at the toe";
    case kHeelGround:
      return "the heel at the ground";
    case kHeelHairline:
      return "the hairline at the heel";
    case kPasternUpper:
      return "the upper pastern point";
    case kPasternLower:
      return "the lower pastern point";
  }
  throw std::invalid_argument("PointWords: not a PointId");
}

/// What a measure rests on.
struct Needs {
  std::vector<PointId> points;
  bool outline = false;
  bool dorsal_wall = false;
};

Needs SolarNeeds(MeasureId id, bool axis_by_frog) {
  const std::vector<PointId> axis =
      axis_by_frog ? std::vector{kFrogLeft, kFrogRight, kFrogApex}
                   : std::vector{kHeelLeft, kHeelRight, kToe};
  const auto with = [&axis](std::initializer_list<PointId> more,
                            bool outline = false) {
    Needs needs{axis, outline, false};
    for (const PointId point : more) {
      if (std::find(axis.begin(), axis.end(), point) == axis.end()) {
        needs.points.push_back(point);
      }
    }
    return needs;
  };
  switch (id) {
    case MeasureId::kBearingLength:
      return with({kToe, kHeelLeft, kHeelRight});
    case MeasureId::kWidthToLength:
    case MeasureId::kToeShare:
      return with({kToe, kHeelLeft, kHeelRight}, true);
    case MeasureId::kHeelWidth:
      return with({kHeelLeft, kHeelRight});
    case MeasureId::kFrogLength:
    case MeasureId::kFrogWidth:
    case MeasureId::kFrogWidthToLength:
      return {{kFrogLeft, kFrogRight, kFrogApex}, false, false};
    case MeasureId::kToeToFrogApex:
      return with({kToe, kFrogApex});
    case MeasureId::kWidestToToe:
      return with({kToe}, true);
    case MeasureId::kWidestToHeel:
      return with({kHeelLeft, kHeelRight}, true);
    case MeasureId::kBearingArea:
      return {{}, true, false};
    default:  // widths and unevenness
      return with({}, true);
  }
}

Needs LateralNeeds(MeasureId id, bool has_wall) {
  // Where the toe line comes from: the wall, or two points of it.
  Needs toe{{kToeGround, kHeelGround}, false, has_wall};
  if (!has_wall) toe.points.push_back(kToeHairline);
  const auto with = [](Needs needs, std::initializer_list<PointId> more) {
    needs.points.insert(needs.points.end(), more);
    return needs;
  };
  switch (id) {
    case MeasureId::kToeAngle:
      return toe;
    case MeasureId::kToeHeelDifference:
      return with(toe, {kHeelHairline});
    case MeasureId::kHoofPasternDifference:
      return with(toe, {kPasternUpper, kPasternLower});
    case MeasureId::kHeelAngle:
    case MeasureId::kHeelHeight:
      return {{kToeGround, kHeelGround, kHeelHairline}, false, false};
    case MeasureId::kDorsalWallLength:
      return {{kToeGround, kToeHairline}, false, false};
    case MeasureId::kHeelWallLength:
      return {{kHeelGround, kHeelHairline}, false, false};
    case MeasureId::kToeHeight:
      return {{kToeGround, kHeelGround, kToeHairline}, false, false};
    case MeasureId::kSupportLength:
      return {{kToeGround, kHeelGround}, false, false};
    case MeasureId::kPasternAngle:
      return {{kToeGround, kHeelGround, kPasternUpper, kPasternLower},
              false,
              false};
    case MeasureId::kDorsalWallDeparture:
      return {{kToeGround, kHeelGround}, false, true};
    default:  // toe to heel, hairline
      return {
          {kToeGround, kToeHairline, kHeelGround, kHeelHairline}, false, false};
  }
}

std::string Listed(const std::vector<std::string_view>& things) {
  std::string text;
  for (std::size_t i = 0; i < things.size(); ++i) {
    if (i > 0) text += i + 1 < things.size() ? ", " : " and ";
    text += things[i];
  }
  return text;
}

/// Why the points don't allow a measure; empty if they do.
std::string Missing(const Needs& needs, const ViewPoints& points) {
  std::vector<std::string_view> absent;
  std::vector<std::string_view> hidden;
  for (const PointId id : needs.points) {
    if (points.at(id)) continue;
    (points.is_hidden(id) ? hidden : absent).push_back(PointWords(id));
  }
  if (needs.outline && !points.outline) {
    absent.emplace_back("the outline of the bearing edge");
  }
  if (needs.dorsal_wall && !points.dorsal_wall) {
    absent.emplace_back("the line of the wall at the toe");
  }
  std::string why;
  if (!absent.empty()) {
    why = Listed(absent) + (absent.size() > 1 ? " are" : " is") + " not placed";
  }
  if (!hidden.empty()) {
    if (!why.empty()) why += ", and ";
    why += Listed(hidden) + " can't be seen";
  }
  return why;
}

/// Who placed what a measure rests on, and how sure that is.
struct Ground {
  PlacedBy placed_by = PlacedBy::kPerson;
  double confidence = 1.0;
};

Ground GroundOf(const Needs& needs, const ViewPoints& points) {
  Ground ground;
  const auto rest_on = [&](const auto& placed) {
    if (placed.placed_by == PlacedBy::kPerson) return;
    ground.placed_by = PlacedBy::kFinder;
    ground.confidence = std::min(ground.confidence, placed.confidence);
  };
  for (const PointId id : needs.points) rest_on(*points.at(id));
  if (needs.outline) rest_on(*points.outline);
  if (needs.dorsal_wall) rest_on(*points.dorsal_wall);
  return ground;
}

/// Why a shod foot doesn't show it; empty if it does.
std::string_view HiddenByShoe(MeasureId id) {
  switch (id) {
    case MeasureId::kHeelWidth:
      return "the foot is shod: the shoe's branches cover the heel buttresses";
    case MeasureId::kBearingArea:
      return "the foot is shod: the shoe covers the bearing edge, and its "
             "outline is not the hoof's";
    case MeasureId::kOutlineAsymmetry:
      return "the foot is shod: the outline is the shoe's, not the hoof's";
    default:
      return {};
  }
}

bool IsSigned(const MeasureInfo& info) {
  return info.unit == Unit::kDegree ||
         info.id == MeasureId::kHalfWidthDifference ||
         info.id == MeasureId::kDorsalWallDeparture;
}

IntervalKind KindOf(MeasureId id) {
  if (id == MeasureId::kOutlineAsymmetry) return IntervalKind::kPushedUp;
  if (id == MeasureId::kDorsalWallDeparture) return IntervalKind::kCentred;
  return IntervalKind::kSymmetric;
}

/// What one standard uncertainty of the print's size does to a measure.
double SharedOf(const MeasureInfo& info, double larger, double smaller) {
  const double shared = std::abs(larger - smaller) / 2;
  // Angles and ratios need no scale; what is left of them is rounding, and the
  // millimetres that a depth is taken for.
  return info.needs_scale && std::isfinite(shared) ? shared : 0.0;
}

Outcome OutcomeOf(const MeasureInfo& info,
                  double value,
                  double shared,
                  std::vector<double> samples,
                  std::size_t trials,
                  Ground ground) {
  if (!std::isfinite(value)) {
    return NotMeasured{
        "the points do not make a foot: two of them lie in one place, or one "
        "lies off the plane that is measured"};
  }
  // CHOSEN: where 1 trial in 50 has no answer, the tails are not known.
  if (samples.size() * 50 < trials * 49) {
    return NotMeasured{
        "the photo is taken too flat along the foot to be sure of anything"};
  }
  const Estimate estimate =
      Summarise(value, std::move(samples), KindOf(info.id));
  Interval interval = estimate.interval95;
  if (!IsSigned(info)) {
    interval.low = std::max(0.0, interval.low);
    if (info.unit == Unit::kPercent) {
      interval.high = std::min(100.0, interval.high);
    }
    interval.high = std::max(interval.low, interval.high);
  }
  return Measured{value,
                  estimate.standard_uncertainty,
                  interval.low,
                  interval.high,
                  ground.placed_by,
                  ground.confidence,
                  shared};
}

/// Mean and covariance of a point over the trials, about its nominal place.
class PointScatter {
 public:
  void Add(const std::optional<FootPoint>& nominal,
           const std::optional<FootPoint>& drawn) {
    if (!nominal || !drawn) return;
    const auto d = *drawn - *nominal;
    n_ += 1;
    x_ += d.x;
    y_ += d.y;
    xx_ += d.x * d.x;
    xy_ += d.x * d.y;
    yy_ += d.y * d.y;
  }
  std::optional<PointInFoot> About(
      const std::optional<FootPoint>& nominal) const {
    if (!nominal || n_ < 2) return std::nullopt;
    const double f = 1 / (n_ - 1);
    return PointInFoot{*nominal,
                       {f * (xx_ - x_ * x_ / n_),
                        f * (xy_ - x_ * y_ / n_),
                        f * (yy_ - y_ * y_ / n_)}};
  }

 private:
  double n_ = 0.0;
  double x_ = 0.0;
  double y_ = 0.0;
  double xx_ = 0.0;
  double xy_ = 0.0;
  double yy_ = 0.0;
};

/// +1 or -1: on which side of the line from heel to toe the foot lies.
double UpOf(const OnPlane& plane) {
  const auto& toe = plane.at(kToeGround);
  const auto& heel = plane.at(kHeelGround);
  if (!toe || !heel) return 1.0;
  double height = 0.0;
  const auto weigh = [&](const std::optional<CardPoint>& p) {
    if (p) height += geometry::Cross(*toe - *heel, *p - *heel);
  };
  weigh(plane.at(kToeHairline));
  weigh(plane.at(kHeelHairline));
  weigh(plane.at(kPasternUpper));
  weigh(plane.at(kPasternLower));
  if (!plane.dorsal_wall.empty()) weigh(plane.dorsal_wall.front());
  return height < 0 ? -1.0 : 1.0;
}

Layout LayoutOf(const ViewPoints& points, const Draws& draws) {
  Layout layout;
  layout.view = points.view;
  layout.axis_by_frog =
      points.at(kFrogLeft) && points.at(kFrogRight) && points.at(kFrogApex);
  layout.up = UpOf(draws.nominal());
  if (points.dorsal_wall) {
    layout.wall_sigma = points.dorsal_wall->sigma_px / draws.px_per_mm();
    layout.wall_correlation =
        points.dorsal_wall->correlation_px / draws.px_per_mm();
  }
  return layout;
}

/// Draws the construction through the nominal map.
Construction ConstructionOf(View view,
                            const InFoot& foot,
                            const geometry::PlaneMap& map) {
  Construction lines;
  if (!foot.axes) return lines;
  const auto px = [&](FootPoint p) {
    return map.Inverse(foot.axes->ToCard(p));
  };
  const auto segment = [&](FootPoint a, FootPoint b) {
    return std::array<PhotoPoint, 2>{px(a), px(b)};
  };
  if (view == View::kSolar) {
    double front = 0.0;
    for (const auto& p : foot.points) {
      if (p) front = std::max(front, p->x);
    }
    for (const FootPoint& p : foot.outline) front = std::max(front, p.x);
    lines.frog_axis = segment({0.0, foot.axis_y}, {front, foot.axis_y});
    if (foot.at(kHeelLeft) && foot.at(kHeelRight)) {
      lines.heel_middle = px({0.0, 0.0});
    }
    if (foot.widest_left && foot.widest_right) {
      const FootPoint left = *foot.widest_left;
      const FootPoint right = *foot.widest_right;
      const double x = (left.x + right.x) / 2;
      lines.widest_left = px(left);
      lines.widest_right = px(right);
      lines.widest_line = segment({x, left.y}, {x, right.y});
    }
    return lines;
  }
  const auto& toe_ground = foot.at(kToeGround);
  const auto& heel_ground = foot.at(kHeelGround);
  if (toe_ground && heel_ground) {
    lines.bearing_line = segment(*toe_ground, *heel_ground);
  }
  if (foot.toe_line && foot.toe_line->direction.y > 0.1) {
    const auto& line = *foot.toe_line;
    double top = 0.0;
    if (const auto& hairline = foot.at(kToeHairline)) top = hairline->y;
    if (!foot.dorsal_wall.empty()) {
      top = std::max(top, foot.dorsal_wall.front().y);
    }
    const auto at_height = [&line](double y) {
      return line.at + ((y - line.at.y) / line.direction.y) * line.direction;
    };
    lines.toe_line = segment(at_height(0.0), at_height(top));
  }
  if (foot.at(kPasternLower) && foot.at(kPasternUpper)) {
    lines.pastern_line =
        segment(*foot.at(kPasternLower), *foot.at(kPasternUpper));
  }
  return lines;
}

std::vector<std::string> NotesOf(const ViewPoints& points,
                                 const Layout& layout,
                                 const InFoot& foot,
                                 bool shod) {
  std::vector<std::string> notes;
  const bool solar = points.view == View::kSolar;
  if (solar && foot.axes && !layout.axis_by_frog) {
    notes.emplace_back(
        "The frog's points are not all placed: the axis runs from midway "
        "between the heels to the toe instead of along the frog.");
  }
  const auto swapped = [&foot](PointId left, PointId right) {
    return foot.at(left) && foot.at(right) &&
           foot.at(left)->y < foot.at(right)->y;
  };
  if (solar &&
      (swapped(kHeelLeft, kHeelRight) || swapped(kFrogLeft, kFrogRight))) {
    notes.emplace_back(
        "Left and right look swapped: seen from below with the toe up, the "
        "horse's left is on the right of the photo.");
  }
  if (shod) {
    notes.emplace_back(
        solar ? "The foot is shod: width, length and what comes of them are "
                "those of the shoe."
              : "The foot is shod: lengths and heights to the ground include "
                "the shoe.");
  }
  return notes;
}

}  // namespace

MeasuredTrials MeasureViewWithTrials(const ViewPoints& points,
                                     const geometry::PlaneEstimate& plane,
                                     const MeasureOptions& options) {
  if (options.trials < 100) {
    throw std::invalid_argument("MeasureView: fewer than 100 trials");
  }
  Draws draws(points, plane, options);
  Layout layout = LayoutOf(points, draws);
  InFoot nominal;
  PutInFoot(draws.nominal(), layout, nominal);
  // What the print's size alone does, exactly: from the trials it would be
  // known to a few per cent only, and not be nothing for an angle.
  InFoot larger;
  InFoot smaller;
  PutInFoot(draws.WithPrint(1.0), layout, larger);
  PutInFoot(draws.WithPrint(-1.0), layout, smaller);

  // The largest gap of a wall is pushed outwards by noise. A trial that added
  // noise to the wall as it was placed would push what was pushed already; the
  // trials therefore start from the wall without its noise, and what they do to
  // that wall's gap is what noise has done to the true one's.
  layout.wall_noise = nominal.wall_noise;
  constexpr auto kDeparture = MeasureId::kDorsalWallDeparture;
  double seen_less_clean = 0.0;
  if (!layout.wall_noise.empty()) {
    InFoot clean;
    PutInFoot(draws.nominal(), layout, clean);
    seen_less_clean = nominal.number(kDeparture) - clean.number(kDeparture);
  }

  std::array<PointScatter, kPointCount> scatter;
  PointScatter scatter_left;
  PointScatter scatter_right;
  InFoot trial;
  const auto model = [&](const OnPlane& drawn, std::span<double> numbers) {
    PutInFoot(drawn, layout, trial);
    trial.number(kDeparture) += seen_less_clean;
    for (std::size_t i = 0; i < kPointCount; ++i) {
      scatter[i].Add(nominal.points[i], trial.points[i]);
    }
    scatter_left.Add(nominal.widest_left, trial.widest_left);
    scatter_right.Add(nominal.widest_right, trial.widest_right);
    std::copy(trial.numbers.begin(), trial.numbers.end(), numbers.begin());
  };
  const auto draw = [&draws](geometry::Random& random) -> const OnPlane& {
    return draws.Draw(random);
  };

  MeasuredTrials result;
  result.trials = RunTrials(model,
                            draw,
                            static_cast<int>(kMeasureCount),
                            options.trials,
                            draws.seed());
  ViewMeasures& measures = result.measures;
  measures.view = points.view;
  measures.has_scale = plane.scale != geometry::ScaleSource::kNone;
  for (const MeasureInfo& info : AllMeasures()) {
    if (info.view != points.view) continue;
    const auto column = static_cast<int>(info.id);
    const Needs needs =
        points.view == View::kSolar
            ? SolarNeeds(info.id, layout.axis_by_frog)
            : LateralNeeds(info.id, points.dorsal_wall.has_value());
    std::string why = Missing(needs, points);
    if (options.shod && !HiddenByShoe(info.id).empty()) {
      why = HiddenByShoe(info.id);
    }
    if (info.needs_scale && !measures.has_scale) why = kNoScale;
    Outcome outcome = why.empty()
                          ? OutcomeOf(info,
                                      nominal.number(info.id),
                                      SharedOf(info,
                                               larger.number(info.id),
                                               smaller.number(info.id)),
                                      FiniteColumn(result.trials, column),
                                      static_cast<std::size_t>(options.trials),
                                      GroundOf(needs, points))
                          : NotMeasured{std::move(why)};
    if (std::holds_alternative<NotMeasured>(outcome)) {
      result.trials.col(column).setConstant(
          std::numeric_limits<double>::quiet_NaN());
    }
    measures.outcomes.emplace(info.id, std::move(outcome));
  }

  for (std::size_t i = 0; i < kPointCount; ++i) {
    measures.points[i] = scatter[i].About(nominal.points[i]);
  }
  measures.widest_left = scatter_left.About(nominal.widest_left);
  measures.widest_right = scatter_right.About(nominal.widest_right);
  measures.outline = nominal.outline;
  measures.dorsal_wall = nominal.dorsal_wall;
  measures.construction =
      ConstructionOf(points.view, nominal, draws.nominal_map());
  measures.notes = NotesOf(points, layout, nominal, options.shod);
  return result;
}

ViewMeasures MeasureView(const ViewPoints& points,
                         const geometry::PlaneEstimate& plane,
                         const MeasureOptions& options) {
  return MeasureViewWithTrials(points, plane, options).measures;
}

}  // namespace plumbfoot::measure
