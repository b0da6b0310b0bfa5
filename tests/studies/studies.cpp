// SPDX-License-Identifier: Apache-2.0
#include "studies/studies.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <stdexcept>
#include <utility>
#include <variant>

#include "card/fit.h"
#include "plumbfoot/card/find_card.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/geometry/polygon.h"
#include "plumbfoot/geometry/random.h"
#include "plumbfoot/measure/measure.h"
#include "plumbfoot/photo/photo.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"
#include "scenes/truth.h"

namespace plumbfoot::studies {
namespace {

using geometry::PhotoCovariance;
using geometry::PhotoPoint;
using geometry::PhotoPolyline;
using geometry::PlacedCurve;
using geometry::PlacedPoint;
using geometry::Random;
using measure::Measured;
using measure::MeasureId;

constexpr View kViews[] = {View::kSolar, View::kLateral};

/// A scene of the study's ranges: a foot of any kind, seen as phones see it.
scenes::SceneOptions StudyScene(View view,
                                const scenes::FootShape& shape,
                                Random& random) {
  scenes::SceneOptions scene = scenes::RandomScene(view, shape, random);
  // 35 mm equivalents of phones: wide, main and tele lenses.
  constexpr double kFocals[] = {23, 24, 25, 26, 27, 28, 35, 48, 52, 77};
  scene.camera.focal_35mm = kFocals[random.Below(std::size(kFocals))];
  // A long lens is used from further away: the foot and the card must fit.
  const double nearest = std::max(350.0, 16.5 * scene.camera.focal_35mm);
  scene.camera.distance_mm = random.Uniform(std::min(nearest, 1100.0), 1200.0);
  scene.camera.tilt_deg = random.Uniform(0.0, 15.0);
  scene.camera.tilt_azimuth_deg = random.Uniform(0.0, 360.0);
  // From the side nobody lies below the ground: the tilt looks down or turns.
  if (view == View::kLateral) {
    scene.camera.tilt_azimuth_deg = random.Uniform(0.0, 180.0);
  }
  scene.card.present = true;
  scene.card.tags = {true, true, true, true, true};
  scene.card.muddy = false;
  scene.card.doubt = {};
  scene.card.print_scale = 1.0;
  scene.card.bend_mm = 0.0;
  return scene;
}

/// A foot of any size and kind.
scenes::FootShape AnyFoot(Random& random) {
  constexpr geometry::Foot kFeet[] = {geometry::Foot::kLeftFore,
                                      geometry::Foot::kRightFore,
                                      geometry::Foot::kLeftHind,
                                      geometry::Foot::kRightHind};
  return scenes::RandomFootShape(random, kFeet[random.Below(4)]);
}

/// The standard card as if only so many of its tags could be seen: those
/// nearest its corner stay longest, as a hand covers the ends.
card::Layout WithTags(int count) {
  constexpr int kOrder[] = {0, 1, 3, 2, 4};
  card::Layout layout = card::StandardLayout();
  std::erase_if(layout.tags, [&](const card::TagPlace& tag) {
    const auto* const place = std::find(kOrder, kOrder + 5, tag.id);
    return place - kOrder >= count;
  });
  return layout;
}

/// The focal length as EXIF tells it: whole millimetres on 35 mm film.
card::CameraPrior PriorOf(const scenes::SceneOptions& scene, cv::Size size) {
  card::CameraPrior prior;
  prior.focal_px = std::round(scene.camera.focal_35mm) /
                   std::hypot(36.0, 24.0) *
                   std::hypot(static_cast<double>(size.width), size.height);
  return prior;
}

/// What the card tells of the camera and the plane.
struct CardSeen {
  geometry::PlaneEstimate plane;
  double px_per_mm = 0.0;
};

/// The card found in the rendered photo.
std::optional<CardSeen> CardOfPhoto(const cv::Mat& photo,
                                    const card::CameraPrior& prior) {
  const auto card = card::FindCard(photo, {.camera = prior});
  if (!card) return std::nullopt;
  return CardSeen{card->plane, card->px_per_mm};
}

/// The card as it would be found if every corner of its tags erred by what the
/// corners of rendered photos do.
std::optional<CardSeen> CardOfCorners(const scenes::Truth& truth,
                                      const card::CameraPrior& prior,
                                      Random& random) {
  constexpr double kCornerSigmaPx = 0.04;  // CHOSEN: as FindCard's, measured.
  const card::Layout layout = card::StandardLayout();
  std::vector<card::FittedTag> tags;
  for (const scenes::TruthTag& seen : truth.tags) {
    if (!seen.shown) continue;
    card::FittedTag tag;
    tag.seen.id = seen.id;
    for (std::size_t k = 0; k < 4; ++k) {
      tag.seen.corners[k] = {
          seen.corners[k].x + random.Normal(0, kCornerSigmaPx),
          seen.corners[k].y + random.Normal(0, kCornerSigmaPx)};
      tag.seen.covariance[k] = PhotoCovariance::Round(kCornerSigmaPx);
    }
    tag.covariance =
        card::CornerCovariance::Identity() * kCornerSigmaPx * kCornerSigmaPx;
    tags.push_back(tag);
  }
  if (tags.size() < 2) return std::nullopt;
  const auto fit = card::FitPlane(
      layout, tags, card::Believe({truth.width_px, truth.height_px}, prior));
  if (!fit) return std::nullopt;
  CardSeen card;
  card.plane.camera = fit->camera;
  card.plane.camera_from_card = fit->camera_from_card;
  card.plane.covariance = fit->covariance;
  card.plane.scale = geometry::ScaleSource::kCard;
  geometry::CardPoint middle{0, 0};
  for (const auto& place : layout.tags) {
    const double n = static_cast<double>(layout.tags.size());
    middle = {middle.x + place.centre.x / n, middle.y + place.centre.y / n};
  }
  card.px_per_mm = NominalMap(card.plane).PixelsPerMillimetre(middle);
  return card;
}

/// A bare foot whose toe angle is any that feet have, not mostly the usual one.
scenes::FootShape BareFoot(Random& random) {
  scenes::FootShape shape = AnyFoot(random);
  const double toe_heel_difference = shape.toe_angle - shape.heel_angle;
  shape.shod = false;
  shape.toe_angle = random.Uniform(38.0, 62.0);
  shape.heel_angle = shape.toe_angle - toe_heel_difference;
  return shape;
}

PhotoPolyline Thinned(const PhotoPolyline& line, std::size_t most) {
  if (line.size() <= most) return line;
  PhotoPolyline out;
  out.reserve(most);
  for (std::size_t i = 0; i < most; ++i) {
    out.push_back(line[i * line.size() / most]);
  }
  return out;
}

/// The true points, placed by a person without error but with that doubt.
ViewPoints GivenPoints(const scenes::Truth& truth, double sigma_px) {
  ViewPoints points;
  points.view = truth.view;
  for (const PointId id : geometry::PointsOf(truth.view)) {
    if (const auto& point = truth.at(id)) {
      points.at(id) = PlacedPoint{
          point->px, PhotoCovariance::Round(sigma_px), PlacedBy::kPerson, 1.0};
    }
  }
  const auto curve = [&](const PhotoPolyline& px) {
    return PlacedCurve{px, sigma_px, 12.0 * sigma_px, PlacedBy::kPerson, 1.0};
  };
  if (truth.view == View::kSolar) {
    points.outline = curve(Thinned(truth.outline_px, 180));
  } else {
    points.dorsal_wall = curve(Thinned(truth.dorsal_px, 40));
    points.dorsal_wall->px.back() = truth.dorsal_px.back();
  }
  return points;
}

bool IsLength(MeasureId id) {
  const auto unit = measure::InfoOf(id).unit;
  return unit == measure::Unit::kMillimetre ||
         unit == measure::Unit::kSquareMillimetre;
}

/// In per cent for what is a size of its own; a difference that may be nothing
/// has no per cent.
bool InPerCent(MeasureId id) {
  return IsLength(id) && id != MeasureId::kHalfWidthDifference &&
         id != MeasureId::kDorsalWallDeparture;
}

/// Moves a curve across itself by a smooth random amount: white noise, smoothed
/// over the correlation length by a Gaussian window. Not the way that `measure`
/// does it, on purpose.
void Disturb(PlacedCurve& curve, bool closed, Random& random) {
  const std::size_t n = curve.px.size();
  std::vector<double> at(n, 0.0);
  for (std::size_t i = 1; i < n; ++i) {
    at[i] = at[i - 1] + geometry::Distance(curve.px[i], curve.px[i - 1]);
  }
  const double length =
      at.back() +
      (closed ? geometry::Distance(curve.px.front(), curve.px.back()) : 0.0);
  // White noise on a fine grid along the curve.
  const double step = curve.correlation_px / 6.0;
  const int cells = std::max(8, static_cast<int>(length / step) + 1);
  const int margin = closed ? 0 : 30;
  std::vector<double> white(static_cast<std::size_t>(cells + 2 * margin));
  for (double& w : white) w = random.Normal();
  const auto smooth = [&](double s) {
    // A window of sigma = correlation / sqrt(2) makes the product of two places
    // fall as exp(-(d / correlation)^2 / 2).
    const double sigma = curve.correlation_px / std::numbers::sqrt2 / step;
    const double centre = s / step + margin;
    double sum = 0.0;
    double squares = 0.0;
    const int reach = static_cast<int>(4 * sigma) + 1;
    for (int k = -reach; k <= reach; ++k) {
      const int cell = static_cast<int>(std::floor(centre)) + k;
      const double d = (cell - centre) / sigma;
      const double weight = std::exp(-d * d / 2);
      const int count = static_cast<int>(white.size());
      const int index = closed ? ((cell % cells) + cells) % cells
                               : std::clamp(cell, 0, count - 1);
      sum += weight * white[static_cast<std::size_t>(index)];
      squares += weight * weight;
    }
    return sum / std::sqrt(squares);
  };
  PhotoPolyline moved = curve.px;
  for (std::size_t i = 0; i < n; ++i) {
    const PhotoPoint before =
        i > 0 ? curve.px[i - 1] : (closed ? curve.px[n - 1] : curve.px[0]);
    const PhotoPoint after =
        i + 1 < n ? curve.px[i + 1] : (closed ? curve.px[0] : curve.px[n - 1]);
    const geometry::PhotoVector along = after - before;
    const double norm = geometry::Norm(along);
    if (!(norm > 0)) continue;
    moved[i] = curve.px[i] + (curve.sigma_px * smooth(at[i]) / norm) *
                                 geometry::Perpendicular(along);
  }
  curve.px = std::move(moved);
}

void Disturb(ViewPoints& points, Random& random) {
  for (auto& point : points.points) {
    if (!point) continue;
    // Round covariances only: a person's.
    const double sigma = std::sqrt(point->covariance.xx);
    point->px.x += sigma * random.Normal();
    point->px.y += sigma * random.Normal();
  }
  if (points.outline) Disturb(*points.outline, true, random);
  if (points.dorsal_wall) Disturb(*points.dorsal_wall, false, random);
}

double IntersectionOverUnion(const PhotoPolyline& a, const PhotoPolyline& b) {
  const double area_a = std::abs(geometry::SignedArea(a));
  const double area_b = std::abs(geometry::SignedArea(b));
  const double only_a = geometry::DifferenceArea(a, b);
  return (area_a - only_a) / (area_b + only_a);
}

/// Value less truth; in per cent where InPerCent says so.
std::optional<double> ErrorOf(const measure::ViewMeasures& measures,
                              const scenes::Truth& truth,
                              MeasureId id) {
  const auto* measured = std::get_if<Measured>(&measures.outcomes.at(id));
  if (measured == nullptr) return std::nullopt;
  const double true_value =
      truth.measures.at(std::string(measure::InfoOf(id).key));
  const double error = measured->value - true_value;
  return InPerCent(id) ? 100.0 * error / true_value : error;
}

/// Counts one more; until Finish, sums stand for the means.
void Add(const Measured& measured,
         const scenes::Truth& truth,
         MeasureId id,
         Held& row) {
  const double true_value =
      truth.measures.at(std::string(measure::InfoOf(id).key));
  ++row.measured;
  if (measured.low95 <= true_value && true_value <= measured.high95) {
    ++row.held;
  }
  row.mean_uncertainty += measured.standard_uncertainty;
  row.rms_error += std::pow(measured.value - true_value, 2);
}

void Finish(Held& row) {
  row.mean_uncertainty /= row.measured;
  row.rms_error = std::sqrt(row.rms_error / row.measured);
}

/// How far a point is off in what it is used for [mm]. Of the two points on the
/// pastern only their line is used, and they may stand anywhere on it: across
/// the true line. Of every other point: as it is.
double ErrorAsUsed(PointId id,
                   geometry::CardPoint found,
                   geometry::CardPoint true_place,
                   const scenes::Truth& truth,
                   const geometry::PlaneMap& map) {
  if (id == PointId::kPasternUpper || id == PointId::kPasternLower) {
    const auto& low = truth.at(PointId::kPasternLower);
    const auto& high = truth.at(PointId::kPasternUpper);
    const auto a = low ? map.Apply(low->px) : std::nullopt;
    const auto b = high ? map.Apply(high->px) : std::nullopt;
    if (a && b) {
      if (const auto line = geometry::LineThrough(*a, *b)) {
        return std::abs(geometry::Cross(line->direction, found - line->at));
      }
    }
  }
  return geometry::Distance(found, true_place);
}

}  // namespace

double Percentile(std::vector<double> values, double part) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  std::sort(values.begin(), values.end());
  const double place = part * static_cast<double>(values.size() - 1);
  const auto low = static_cast<std::size_t>(place);
  const std::size_t high = std::min(low + 1, values.size() - 1);
  const double rest = place - static_cast<double>(low);
  return values[low] * (1 - rest) + values[high] * rest;
}

std::vector<PointsGiven> StudyPointsGiven(const std::vector<int>& tags,
                                          const StudyOptions& options) {
  std::vector<PointsGiven> studies;
  studies.reserve(tags.size());
  for (const int count : tags) studies.push_back({.tags = count});
  const cv::Size size(options.width_px, options.height_px);
  for (int pair = 0; pair < options.pairs; ++pair) {
    Random random(options.seed * 1'000'003 + static_cast<std::uint64_t>(pair));
    const scenes::FootShape shape = BareFoot(random);
    for (const View view : kViews) {
      scenes::SceneOptions scene = StudyScene(view, shape, random);
      scene.card_only = true;
      const auto rendered =
          scenes::Render(scene, size.width, size.height, options.threads);
      for (PointsGiven& study : studies) {
        const auto card = card::FindCard(
            rendered.photo,
            {.layout = WithTags(study.tags), .camera = PriorOf(scene, size)});
        if (!card) {
          ++study.card_refused;
          continue;
        }
        measure::MeasureOptions measuring;
        measuring.trials = 100;  // Only the values are looked at.
        const auto measures = measure::MeasureView(
            GivenPoints(rendered.truth, 0.01), card->plane, measuring);
        for (const auto& [id, outcome] : measures.outcomes) {
          if (const auto error = ErrorOf(measures, rendered.truth, id)) {
            study.errors[id].push_back(*error);
          }
        }
      }
    }
    for (PointsGiven& study : studies) ++study.pairs;
    if (options.progress) options.progress(pair + 1);
  }
  return studies;
}

Coverage StudyCoverage(const StudyOptions& options) {
  Coverage study;
  const cv::Size size(options.width_px, options.height_px);
  const geometry::PlaneDoubt doubt;
  for (int pair = 0; pair < options.pairs; ++pair) {
    Random random(options.seed * 1'000'003 + static_cast<std::uint64_t>(pair));
    const scenes::FootShape shape = BareFoot(random);
    const double print = random.Normal();  // One card for both photos.
    for (const View view : kViews) {
      scenes::SceneOptions scene = StudyScene(view, shape, random);
      scene.card_only = true;
      scene.card.doubt = {doubt.offset_sigma_mm * random.Normal(),
                          doubt.turn_sigma * random.Normal(),
                          doubt.turn_sigma * random.Normal()};
      scene.card.print_scale = 1.0 + doubt.print_sigma * print;
      scenes::Truth truth;
      std::optional<CardSeen> card;
      if (options.rendered) {
        auto rendered =
            scenes::Render(scene, size.width, size.height, options.threads);
        truth = std::move(rendered.truth);
        card = CardOfPhoto(rendered.photo, PriorOf(scene, size));
      } else {
        truth = scenes::ComputeTruth(scene, size.width, size.height);
        card = CardOfCorners(truth, PriorOf(scene, size), random);
      }
      if (!card) {
        ++study.card_refused;
        continue;
      }
      ViewPoints points =
          GivenPoints(truth, find::PersonSigmaPx(size, card->px_per_mm));
      Disturb(points, random);
      measure::MeasureOptions measuring;
      measuring.seed = options.seed;
      const auto measures =
          measure::MeasureView(points, card->plane, measuring);
      for (const auto& [id, outcome] : measures.outcomes) {
        const auto* measured = std::get_if<Measured>(&outcome);
        if (measured == nullptr) continue;
        Add(*measured, truth, id, study.rows[id]);
      }
    }
    ++study.pairs;
    if (options.progress) options.progress(study.pairs);
  }
  for (auto& [id, row] : study.rows) Finish(row);
  return study;
}

namespace {

/// Takes note of a point or toe angle, and of whether it is wrong and not said
/// so.
void Note(Found found, PointsFound& study, bool& silent) {
  silent = silent || (found.sure && found.wrong);
  study.each.push_back(std::move(found));
}

void NotePoints(int pair,
                const ViewPoints& points,
                const scenes::Truth& truth,
                const geometry::PlaneMap& map,
                PointsFound& study,
                bool& silent) {
  for (const PointId id : geometry::PointsOf(points.view)) {
    const auto& true_point = truth.at(id);
    if (!true_point || !true_point->visible) continue;
    auto& row = study.points[id];
    ++row.visible;
    const auto& point = points.at(id);
    if (!point) continue;
    ++row.found;
    const auto a = map.Apply(point->px);
    const auto b = map.Apply(true_point->px);
    if (!a || !b) continue;
    row.errors_mm.push_back(geometry::Distance(*a, *b));
    const double error = ErrorAsUsed(id, *a, *b, truth, map);
    const Found found{.pair = pair,
                      .view = points.view,
                      .what = std::string(geometry::PointName(id)),
                      .error = error,
                      .confidence = point->confidence,
                      .sure = find::IsSure(*point),
                      .wrong = error > 5.0};
    if (found.wrong) ++row.wrong;
    if (found.sure) ++row.sure;
    if (found.sure && found.wrong) ++row.sure_wrong;
    Note(found, study, silent);
  }
}

/// What of a closed line lies to the left of the way from a to b, as one looks
/// at the photo (Sutherland and Hodgman, Comm. ACM 17(1), 1974).
PhotoPolyline LeftOf(const PhotoPolyline& line, PhotoPoint a, PhotoPoint b) {
  PhotoPolyline left;
  const auto beside = [&](PhotoPoint p) { return -Cross(b - a, p - a); };
  for (std::size_t i = 0; i < line.size(); ++i) {
    const PhotoPoint p = line[i];
    const PhotoPoint q = line[(i + 1) % line.size()];
    const double at_p = beside(p);
    const double at_q = beside(q);
    if (at_p >= 0) left.push_back(p);
    if ((at_p < 0) != (at_q < 0)) {
      left.push_back(p + (at_p / (at_p - at_q)) * (q - p));
    }
  }
  return left;
}

/// Of the frog before its widest places: behind them it runs out.
void NoteFrog(const PhotoPolyline& found,
              const PhotoPolyline& truth,
              PointsFound& study) {
  if (found.size() < 3) return;
  PhotoPoint from = truth.front();
  PhotoPoint to = truth.back();
  if (LeftOf(truth, from, to).size() < truth.size() / 2) std::swap(from, to);
  study.frog_iou.push_back(
      IntersectionOverUnion(LeftOf(found, from, to), truth));
}

void NoteMeasures(int pair,
                  const ViewPoints& points,
                  const measure::ViewMeasures& measures,
                  const scenes::Truth& truth,
                  PointsFound& study,
                  bool& silent) {
  const auto note = [&](MeasureId id, std::vector<double>& errors) {
    const auto error = ErrorOf(measures, truth, id);
    if (error) errors.push_back(*error);
    return error;
  };
  if (points.view == View::kSolar) {
    note(MeasureId::kBearingWidth, study.width_errors);
    note(MeasureId::kBearingLength, study.length_errors);
    if (points.outline) {
      study.outline_iou.push_back(
          IntersectionOverUnion(points.outline->px, truth.outline_px));
    }
    return;
  }
  const auto error = note(MeasureId::kToeAngle, study.toe_angle_errors);
  note(MeasureId::kHeelAngle, study.heel_angle_errors);
  if (!error) return;
  Found found{.pair = pair,
              .view = points.view,
              .what = "toe_angle",
              .error = *error,
              .confidence = 1.0,
              .sure = true,
              .wrong = std::abs(*error) > 2.0};
  const auto rests_on = [&](const auto& placed) {
    found.confidence =
        std::min(found.confidence, placed ? placed->confidence : 0.0);
    found.sure = found.sure && placed && find::IsSure(*placed);
  };
  rests_on(points.dorsal_wall);
  rests_on(points.at(PointId::kToeGround));
  rests_on(points.at(PointId::kHeelGround));
  if (found.sure) ++study.toe_angles_sure;
  Note(found, study, silent);
}

void NoteIntervals(const ViewPoints& points,
                   const geometry::PlaneEstimate& plane,
                   const scenes::Truth& truth,
                   PointsFound& study) {
  measure::MeasureOptions options;
  options.shod = truth.shod;  // Who holds the foot knows.
  geometry::PlaneEstimate true_card = plane;
  true_card.doubt = {.offset_sigma_mm = 0, .turn_sigma = 0, .print_sigma = 0};
  const auto alone = measure::MeasureView(points, true_card, options);
  const auto report = measure::MeasureView(points, plane, options);
  for (const auto& [id, outcome] : alone.outcomes) {
    const auto* a = std::get_if<Measured>(&outcome);
    const auto* b = std::get_if<Measured>(&report.outcomes.at(id));
    if (a == nullptr || b == nullptr) continue;
    const bool sure = a->confidence >= find::kSureConfidence;
    PointsFound::Intervals& row = (sure ? study.sure : study.unsure)[id];
    Add(*a, truth, id, row.points);
    Add(*b, truth, id, row.report);
  }
}

/// The plane as the same card would tell of it, had it been off by a person's
/// usual errors: as scenes::CardSetup::doubt and print_scale are meant.
geometry::PlaneEstimate HeldByHand(geometry::PlaneEstimate plane,
                                   geometry::CardPoint pivot,
                                   Random& random) {
  const geometry::PlaneDoubt& doubt = plane.doubt;
  const double offset = doubt.offset_sigma_mm * random.Normal();
  const Eigen::Matrix3d turn =
      geometry::RotationFromVector({doubt.turn_sigma * random.Normal(),
                                    doubt.turn_sigma * random.Normal(),
                                    0.0});
  // card_from_measured is p -> turn (p - pivot) + pivot + offset; what is found
  // of the card is taken for the measured plane.
  const Eigen::Vector3d at(pivot.x, pivot.y, 0);
  const Eigen::Vector3d moved = at + Eigen::Vector3d(0, 0, offset) - turn * at;
  geometry::Pose& pose = plane.camera_from_card;
  pose.translation -= pose.rotation * turn.transpose() * moved;
  pose.rotation = pose.rotation * turn.transpose();
  // On a larger print everything seems smaller and nearer.
  pose.translation /= 1.0 + doubt.print_sigma * random.Normal();
  return plane;
}

/// The points on the photo: rings where they were found, filled if sure;
/// crosses where they are.
void DrawFound(const std::string& path,
               const cv::Mat& rgb,
               const ViewPoints& points,
               const scenes::Truth& truth) {
  cv::Mat picture;
  cv::cvtColor(rgb, picture, cv::COLOR_RGB2BGR);
  const cv::Scalar found(0, 255, 255);
  const cv::Scalar real(0, 255, 0);
  // OpenCV counts from the first pixel's centre.
  const auto at = [](PhotoPoint p) {
    return cv::Point(static_cast<int>(std::lround(p.x - 0.5)),
                     static_cast<int>(std::lround(p.y - 0.5)));
  };
  const auto line = [&](const PhotoPolyline& px, const cv::Scalar& colour) {
    std::vector<cv::Point> corners;
    corners.reserve(px.size());
    for (const PhotoPoint p : px) corners.push_back(at(p));
    cv::polylines(picture, corners, false, colour, 1, cv::LINE_AA);
  };
  line(truth.outline_px, real);
  line(truth.dorsal_px, real);
  if (points.outline) line(points.outline->px, found);
  if (points.dorsal_wall) line(points.dorsal_wall->px, found);
  for (const PointId id : geometry::PointsOf(points.view)) {
    if (const auto& p = truth.at(id)) {
      cv::drawMarker(picture, at(p->px), real, cv::MARKER_CROSS, 20, 2);
    }
    const auto& p = points.at(id);
    if (!p) continue;
    cv::circle(picture, at(p->px), 9, found, 2, cv::LINE_AA);
    if (find::IsSure(*p)) cv::circle(picture, at(p->px), 4, found, cv::FILLED);
    cv::putText(
        picture,
        fmt::format("{} {:.3f}", geometry::PointName(id), p->confidence),
        at(p->px) + cv::Point(12, -8),
        cv::FONT_HERSHEY_SIMPLEX,
        0.6,
        found,
        2,
        cv::LINE_AA);
  }
  if (!cv::imwrite(path, picture)) {
    throw std::runtime_error("cannot write " + path);
  }
}

}  // namespace

PointsFound StudyPointsFound(const StudyOptions& options) {
  PointsFound study;
  Random hand(options.seed);  // Of its own, so that the photos stay the same.
  const find::Finder finder = find::NetworkFinder();
  for (int pair = 0; pair < options.pairs; ++pair) {
    Random random(options.seed * 1'000'003 + static_cast<std::uint64_t>(pair));
    const scenes::FootShape shape = AnyFoot(random);
    for (const View view : kViews) {
      const scenes::SceneOptions scene =
          scenes::RandomScene(view, shape, random);
      const auto rendered = scenes::Render(
          scene, options.width_px, options.height_px, options.threads);
      const scenes::Truth& truth = rendered.truth;
      int& refused =
          view == View::kSolar ? study.solar_refused : study.lateral_refused;

      photo::Photo photo;
      photo.rgb = rendered.photo;
      auto card = card::FindCard(photo.rgb,
                                 {.camera = PriorOf(scene, photo.rgb.size())});
      if (!card) {
        ++refused;
        continue;
      }
      if (options.held_by_hand) {
        card->plane = HeldByHand(card->plane, truth.pivot, hand);
      }
      const card::Layout layout = card::StandardLayout();
      find::FindRequest request{.view = view,
                                .photo = photo,
                                .plane = card->plane,
                                .card = &*card,
                                .layout = &layout,
                                .given = {}};
      request.given.view = view;
      request.on_edges = options.on_edges;
      const auto finding = find::FindPoints(request, finder);
      if (!finding) {
        ++refused;
        continue;
      }
      const ViewPoints& points = finding->points;
      bool silent = false;
      if (view == View::kSolar) {
        NoteFrog(finding->frog_px, truth.frog_px, study);
      }
      NotePoints(pair,
                 points,
                 truth,
                 geometry::NominalMap(card->plane),
                 study,
                 silent);
      NoteMeasures(pair,
                   points,
                   measure::MeasureView(points, card->plane),
                   truth,
                   study,
                   silent);
      NoteIntervals(points, card->plane, truth, study);
      if (!silent) continue;
      ++(view == View::kSolar ? study.silent_solar : study.silent_lateral);
      if (!options.draw_in.empty()) {
        DrawFound(fmt::format("{}/{}-{}-{}.png",
                              options.draw_in,
                              options.seed,
                              pair,
                              geometry::ViewName(view)),
                  photo.rgb,
                  points,
                  truth);
      }
    }
    ++study.photos;
    if (options.progress) options.progress(study.photos);
  }
  for (auto* rows : {&study.sure, &study.unsure}) {
    for (auto& [id, row] : *rows) {
      Finish(row.points);
      Finish(row.report);
    }
  }
  return study;
}

namespace {

std::vector<double> Absolute(std::vector<double> values) {
  for (double& value : values) value = std::abs(value);
  return values;
}

double Mean(const std::vector<double>& values) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

std::string Line(const Found& one) {
  return fmt::format(
      "pair {:<4} {:<8} {:<14} off by {:>6.2f} {:<4}"
      " confidence {:.3f}{}{}\n",
      one.pair,
      geometry::ViewName(one.view),
      one.what,
      one.error,
      one.what == "toe_angle" ? "deg" : "mm",
      one.confidence,
      one.sure ? ", sure" : "",
      one.wrong ? ", wrong" : "");
}

std::string_view ErrorUnit(MeasureId id) {
  return InPerCent(id) ? "%" : measure::UnitName(measure::InfoOf(id).unit);
}

}  // namespace

std::string Table(const std::vector<PointsGiven>& rows) {
  std::string text = "Points given: 95th percentile of the error\n";
  text += fmt::format("{:<26}{:<6}", "measure", "in");
  for (const auto& row : rows) text += fmt::format("{:>4} tags", row.tags);
  text += "\n";
  for (const auto& info : measure::AllMeasures()) {
    text += fmt::format("{:<26}{:<6}", info.key, ErrorUnit(info.id));
    for (const auto& row : rows) {
      const auto it = row.errors.find(info.id);
      text += fmt::format("{:>9.3f}",
                          it == row.errors.end()
                              ? std::numeric_limits<double>::quiet_NaN()
                              : Percentile(Absolute(it->second), 0.95));
    }
    text += "\n";
  }
  text += fmt::format("{:<32}", "pairs");
  for (const auto& row : rows) text += fmt::format("{:>9}", row.pairs);
  text += fmt::format("\n{:<32}", "photos whose card was refused");
  for (const auto& row : rows) text += fmt::format("{:>9}", row.card_refused);
  return text + "\n";
}

std::string Table(const Coverage& coverage) {
  std::string text = fmt::format(
      "95 % intervals over {} pairs ({} photos whose card was refused)\n"
      "{:<26}{:>10}{:>10}{:>14}{:>14}\n",
      coverage.pairs,
      coverage.card_refused,
      "measure",
      "measured",
      "held in %",
      "stated u",
      "rms error");
  for (const auto& [id, row] : coverage.rows) {
    text += fmt::format("{:<26}{:>10}{:>10.1f}{:>14.4g}{:>14.4g}\n",
                        measure::InfoOf(id).key,
                        row.measured,
                        100.0 * row.held / row.measured,
                        row.mean_uncertainty,
                        row.rms_error);
  }
  return text;
}

std::string Table(const PointsFound& found) {
  std::string text = fmt::format(
      "Points found on {} photos of each view\n"
      "{:<18}{:>9}{:>9}{:>12}{:>14}{:>8}{:>7}{:>11}\n",
      found.photos,
      "point",
      "visible",
      "found",
      "median mm",
      "95th pct mm",
      "wrong",
      "sure",
      "and wrong");
  for (const auto& [id, row] : found.points) {
    text += fmt::format("{:<18}{:>9}{:>9}{:>12.2f}{:>14.2f}{:>8}{:>7}{:>11}\n",
                        geometry::PointName(id),
                        row.visible,
                        row.found,
                        Percentile(row.errors_mm, 0.5),
                        Percentile(row.errors_mm, 0.95),
                        row.wrong,
                        row.sure,
                        row.sure_wrong);
  }
  text += fmt::format("toe angles whose wall and ground are sure: {} of {}\n",
                      found.toe_angles_sure,
                      found.toe_angle_errors.size());
  const auto line = [&](std::string_view name,
                        const std::vector<double>& errors,
                        std::string_view unit) {
    text +=
        fmt::format("{:<18}{:>9}   mean {:.2f} {}, 95th percentile {:.2f} {}\n",
                    name,
                    errors.size(),
                    Mean(Absolute(errors)),
                    unit,
                    Percentile(Absolute(errors), 0.95),
                    unit);
  };
  line("toe angle", found.toe_angle_errors, "deg");
  line("heel angle", found.heel_angle_errors, "deg");
  line("width", found.width_errors, "%");
  line("length", found.length_errors, "%");
  const auto overlap = [&](std::string_view name,
                           const std::vector<double>& ious) {
    text += fmt::format("{:<18}{:>9}   mean {:.3f}, 5th percentile {:.3f}\n",
                        name,
                        ious.size(),
                        Mean(ious),
                        Percentile(ious, 0.05));
  };
  overlap("outline IoU", found.outline_iou);
  overlap("frog IoU", found.frog_iou);
  text += fmt::format(
      "no foot or card seen: solar {}, lateral {}\n"
      "wrong and not said so (> 5 mm or > 2 deg): solar {}, lateral {}\n",
      found.solar_refused,
      found.lateral_refused,
      found.silent_solar,
      found.silent_lateral);
  for (const Found& one : found.each) {
    if (one.sure && one.wrong) text += "  " + Line(one);
  }
  return text;
}

std::string Intervals(const PointsFound& found) {
  std::string text;
  const auto add =
      [&](std::string_view of,
          const std::map<MeasureId, PointsFound::Intervals>& rows) {
        text += fmt::format("{:<26}{:>10}{:>10}{:>14}{:>14}{:>14}\n",
                            of,
                            "measured",
                            "held in %",
                            "stated u",
                            "rms error",
                            "report in %");
        std::array<std::array<int, 3>, 2> pooled{};
        for (const auto& [id, row] : rows) {
          const Held& a = row.points;
          const Held& b = row.report;
          text +=
              fmt::format("{:<26}{:>10}{:>10.1f}{:>14.4g}{:>14.4g}{:>14.1f}\n",
                          measure::InfoOf(id).key,
                          a.measured,
                          100.0 * a.held / a.measured,
                          a.mean_uncertainty,
                          a.rms_error,
                          100.0 * b.held / b.measured);
          auto& sum = pooled[measure::InfoOf(id).view == View::kSolar ? 0 : 1];
          sum[0] += a.measured;
          sum[1] += a.held;
          sum[2] += b.held;
        }
        for (const View view : kViews) {
          const auto& [measured, held, report] =
              pooled[view == View::kSolar ? 0 : 1];
          if (measured == 0) continue;
          text += fmt::format("all {:<22}{:>10}{:>10.1f}{:>42.1f}\n",
                              geometry::ViewName(view),
                              measured,
                              100.0 * held / measured,
                              100.0 * report / measured);
        }
      };
  add("95 % intervals, sure", found.sure);
  add("95 % intervals, unsure", found.unsure);
  return text;
}

std::string Each(const PointsFound& found) {
  std::string text;
  for (const Found& one : found.each) text += Line(one);
  return text;
}

}  // namespace plumbfoot::studies
