// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/find_card.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <stdexcept>
#include <string>

#include "card/edges.h"
#include "card/fit.h"
#include "card/reduced_grey.h"
#include "card/tags.h"

namespace plumbfoot::card {
namespace {

using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneEstimate;
using geometry::ScaleSource;

// CHOSEN: the longest side of the pictures that are searched, until all tags
// are found. At 1.2 m a tag of 36 mm is 20 px wide in the first, for a phone's
// usual lens. The last is the dearest, and only for photos that would be
// refused without it.
constexpr std::array<int, 3> kSearches = {800, 1600, 3200};
// CHOSEN: tags whose bits stand out by less are noise [grey levels].
constexpr double kLeastMargin = 8.0;
constexpr double kLeastMarginCorrected = 20.0;
// CHOSEN: the tags are not where the layout says, on a card however bent, when
// their corners miss it by more than this part of a tag's side (0.23 mm of
// 36 mm), and by more than three times what blur and noise explain.
constexpr double kMissedPart = 0.0065;
constexpr double kMisfit = 9.0;
// CHOSEN: a card that is bent by more has no plane that a hoof could lie in
// [mm].
constexpr double kMostBend = 4.0;

/// The tags of the layout in the photo, in the photo's frame.
std::vector<RoughTag> Search(const cv::Mat& grey,
                             double photo_px_per_px,
                             const Layout& layout) {
  std::vector<RoughTag> kept;
  for (RoughTag tag : DetectTags(grey)) {
    const bool ours = std::any_of(
        layout.tags.begin(), layout.tags.end(), [&](const TagPlace& place) {
          return place.id == tag.id;
        });
    const double least =
        tag.wrong_bits == 0 ? kLeastMargin : kLeastMarginCorrected;
    if (!ours || tag.margin < least) continue;
    for (PhotoPoint& corner : tag.corners) {
      corner = {corner.x * photo_px_per_px, corner.y * photo_px_per_px};
    }
    kept.push_back(tag);
  }
  return kept;
}

PhotoPoint CentreOf(const RoughTag& tag) {
  return Midpoint(Midpoint(tag.corners[0], tag.corners[2]),
                  Midpoint(tag.corners[1], tag.corners[3]));
}

/// Removes second sightings of the same tag at the same place.
/// @return False if an id is left at two places.
bool EachOnce(std::vector<RoughTag>& tags) {
  std::vector<RoughTag> once;
  bool fine = true;
  for (const RoughTag& tag : tags) {
    if (once.empty() || once.back().id != tag.id) {
      once.push_back(tag);
      continue;
    }
    const double side = Distance(tag.corners[0], tag.corners[1]);
    if (Distance(CentreOf(tag), CentreOf(once.back())) > side / 2) fine = false;
  }
  tags = std::move(once);
  return fine;
}

Layout Scaled(const Layout& layout, double factor) {
  Layout scaled = layout;
  for (TagPlace& tag : scaled.tags) {
    tag.centre = {factor * tag.centre.x, factor * tag.centre.y};
    tag.side_mm *= factor;
  }
  return scaled;
}

/// How far the corners miss one plane, in parts of a tag's side.
double MissedPart(const PlaneFit& fit, const std::vector<FittedTag>& tags) {
  double side = 0;
  for (const FittedTag& tag : tags) {
    for (std::size_t c = 0; c < 4; ++c) {
      side += Distance(tag.seen.corners[c], tag.seen.corners[(c + 1) % 4]);
    }
  }
  side /= 4.0 * static_cast<double>(tags.size());
  return fit.residual_px / side;
}

Refusal NoCard() {
  return {RefusalCode::kNoCard,
          "No scale card can be seen in the photo.",
          "Take it again with the whole card in the picture, flat, sharp and "
          "not in glare."};
}

}  // namespace

Result<SeenCard> FindCard(const cv::Mat& rgb, const CardOptions& options) {
  if (rgb.type() != CV_8UC3) throw std::invalid_argument("FindCard: not rgb");
  if (options.layout.tags.empty()) {
    throw std::invalid_argument("FindCard: a layout without tags");
  }
  const double span = options.layout.check_span_mm;
  if (options.measured_mm) {
    // CHOSEN: a printer shrinks by a few per cent; a tenth is another card.
    const double ratio = *options.measured_mm / span;
    if (!(ratio > 0.9 && ratio < 1.1)) {
      return Refusal{RefusalCode::kBadNumber,
                     "The measured distance between the crosses is not near "
                     "what the card should have.",
                     "Measure between the two crosses in millimetres and enter "
                     "that."};
    }
  }

  // Where the tags are.
  const auto search = [&](const cv::Mat& picture) {
    return Search(
        picture, static_cast<double>(rgb.cols) / picture.cols, options.layout);
  };
  std::vector<cv::Mat> searched;
  std::vector<RoughTag> rough;
  bool once = true;
  for (const int longest : kSearches) {
    const bool last = longest == kSearches.back();
    if (rough.size() >= options.layout.tags.size() ||
        (last && rough.size() >= 2)) {
      break;
    }
    const cv::Mat picture = ReducedGrey(rgb, longest);
    if (!searched.empty() && picture.cols == searched.back().cols) break;
    std::vector<RoughTag> finer = search(picture);
    const bool finer_once = EachOnce(finer);
    searched.push_back(picture);
    if (finer.size() >= rough.size()) {
      rough = std::move(finer);
      once = finer_once;
    }
  }
  if (!once) {
    return Refusal{RefusalCode::kTwoCards,
                   "The same tag is in the photo twice: there seem to be two "
                   "cards.",
                   "Take it again with one card in the picture."};
  }
  if (rough.empty()) {
    for (const cv::Mat& picture : searched) {
      cv::Mat mirrored;
      cv::flip(picture, mirrored, 1);
      if (!search(mirrored).empty()) {
        return Refusal{RefusalCode::kCardMirrored,
                       "The photo is mirrored: left and right are exchanged.",
                       "Use the original photo, or switch mirroring off in the "
                       "camera (it is common with front cameras)."};
      }
    }
    return NoCard();
  }

  // Their edges.
  std::vector<FittedTag> tags;
  std::vector<std::optional<FittedTag>> fitted(rough.size());
  cv::parallel_for_(cv::Range(0, static_cast<int>(rough.size())),
                    [&](const cv::Range& range) {
                      for (int i = range.start; i < range.end; ++i) {
                        const auto k = static_cast<std::size_t>(i);
                        fitted[k] = FitEdges(rgb, rough[k]);
                      }
                    });
  for (const auto& tag : fitted) {
    if (tag) tags.push_back(*tag);
  }
  if (tags.empty()) return NoCard();
  if (tags.size() == 1 && options.layout.tags.size() > 1) {
    return Refusal{RefusalCode::kCardTooFewTags,
                   "Only one tag of the scale card can be seen whole.",
                   "Take it again with at least two tags in the picture, "
                   "better all of them."};
  }

  // Camera and plane.
  const Layout layout =
      options.measured_mm ? Scaled(options.layout, *options.measured_mm / span)
                          : options.layout;
  const CameraBelief belief = Believe(rgb.size(), options.camera);
  auto fit = FitPlane(layout, tags, belief);
  if (!fit) return NoCard();
  // CHOSEN: a misfit of four times what the corners explain, and of a
  // thousandth of a tag's side: the photo may be cut out of a larger one. The
  // four corners of a single tag fit any camera, and can't tell.
  if (tags.size() > 1 && fit->misfit > 16 && MissedPart(*fit, tags) > 0.001) {
    CameraBelief loose = belief;
    const double diagonal = std::hypot(rgb.cols, rgb.rows);
    loose.principal_sigma = std::max(loose.principal_sigma, 0.2 * diagonal);
    loose.focal_sigma =
        std::max(loose.focal_sigma, 0.6 * loose.camera.focal_px);
    const auto looser = FitPlane(layout, tags, loose);
    if (looser && looser->residual_px < 0.5 * fit->residual_px) fit = looser;
  }
  const bool out_of_place =
      MissedPart(*fit, tags) > kMissedPart && fit->misfit > kMisfit;
  if (out_of_place || fit->bend_mm > kMostBend) {
    return Refusal{RefusalCode::kCardBent,
                   "The scale card is not flat: its tags do not lie in one "
                   "plane.",
                   "Glue the card to a stiff board and take the photo again."};
  }

  SeenCard card;
  card.plane.camera = fit->camera;
  card.plane.camera_from_card = fit->camera_from_card;
  card.plane.covariance = fit->covariance;
  card.plane.scale = ScaleSource::kCard;
  if (options.measured_mm) {
    // CHOSEN: a ruler is read to 0.2 mm over the span.
    card.plane.doubt.print_sigma = 0.2 / span;
  }
  card.residual_px = fit->residual_px;
  card.print_gain_mm = fit->print_gain_mm;
  card.bend_mm = fit->bend_mm;
  card.focal_assumed = belief.focal_assumed;

  CardPoint middle{0, 0};
  std::vector<double> blurs;
  for (const FittedTag& tag : tags) {
    card.tags.push_back(tag.seen);
    blurs.push_back(tag.seen.blur_px);
    for (const TagPlace& place : layout.tags) {
      if (place.id != tag.seen.id) continue;
      const double n = static_cast<double>(tags.size());
      middle = {middle.x + place.centre.x / n, middle.y + place.centre.y / n};
    }
  }
  std::sort(blurs.begin(), blurs.end());
  card.blur_px = blurs[blurs.size() / 2];
  const geometry::PlaneMap map = NominalMap(card.plane);
  card.distance_mm = map.DistanceTo(middle);
  card.px_per_mm = map.PixelsPerMillimetre(middle);
  card.tilt = geometry::Degrees::FromRadians(
      std::acos(std::min(1.0, std::abs(fit->camera_from_card.rotation(2, 2)))));
  return card;
}

namespace {

/// A plane that the camera looks at squarely, from `distance_mm`.
PlaneEstimate Squarely(const CameraBelief& belief, double distance_mm) {
  PlaneEstimate plane;
  plane.camera = belief.camera;
  // x right and y up in the photo, z towards the camera.
  plane.camera_from_card.rotation =
      Eigen::Vector3d(1, -1, -1).asDiagonal().toDenseMatrix();
  plane.camera_from_card.translation = {0, 0, distance_mm};
  // A longer lens from farther away gives the same scale: what isn't known of
  // the focal length is not known of the distance, and moves no length.
  Eigen::Matrix<double, PlaneEstimate::kParameters, 1> together;
  together.setZero();
  together(5) = belief.focal_sigma / belief.camera.focal_px * distance_mm;
  together(6) = belief.focal_sigma;
  plane.covariance = together * together.transpose();
  plane.covariance(7, 7) = std::pow(belief.principal_sigma, 2);
  plane.covariance(8, 8) = std::pow(belief.principal_sigma, 2);
  plane.covariance(9, 9) = std::pow(belief.k1_sigma, 2);
  plane.doubt.offset_sigma_mm = 0;
  // CHOSEN: by eye a camera is held square to within about 7 degrees.
  plane.doubt.turn_sigma = geometry::Degrees(7).radians();
  plane.doubt.print_sigma = 0;
  return plane;
}

}  // namespace

Result<PlaneEstimate> PlaneFromKnownLength(cv::Size size,
                                           PhotoPoint from,
                                           PhotoPoint to,
                                           double mm,
                                           const CameraPrior& camera) {
  if (size.width <= 0 || size.height <= 0) {
    throw std::invalid_argument("PlaneFromKnownLength: no photo");
  }
  const CameraBelief belief = Believe(size, camera);
  const Eigen::Vector3d ray =
      RayThrough(belief.camera, to) - RayThrough(belief.camera, from);
  const double length_px = Distance(from, to);
  // CHOSEN: a length of less than 2 px can't be pointed at.
  if (!(mm > 0) || !std::isfinite(mm) || !(length_px > 2) ||
      !(ray.norm() > 0)) {
    return Refusal{RefusalCode::kBadNumber,
                   "The known length needs two different points in the photo "
                   "and a length above zero.",
                   "Give both ends of it, and its length in millimetres."};
  }
  PlaneEstimate plane = Squarely(belief, mm / ray.norm());
  plane.scale = ScaleSource::kKnownLength;
  // CHOSEN: the length is known to 0.5 %; each end is pointed at to 0.05 % of
  // the photo's diagonal (2.5 px of 12 megapixels); and it may itself be seen
  // 7 degrees aslant, which shortens it by 0.7 %.
  const double diagonal = std::hypot(size.width, size.height);
  const double pointing = std::sqrt(2.0) * 0.0005 * diagonal / length_px;
  const double aslant = 1 - std::cos(plane.doubt.turn_sigma);
  plane.doubt.print_sigma =
      std::sqrt(0.005 * 0.005 + pointing * pointing + aslant * aslant);
  return plane;
}

PlaneEstimate PlaneWithoutScale(cv::Size size, const CameraPrior& camera) {
  if (size.width <= 0 || size.height <= 0) {
    throw std::invalid_argument("PlaneWithoutScale: no photo");
  }
  const CameraBelief belief = Believe(size, camera);
  // CHOSEN: the photo's shorter side shows 300 mm, a foot with room round it;
  // only its distance over its size matters, for the perspective.
  PlaneEstimate plane = Squarely(
      belief,
      300.0 * belief.camera.focal_px / std::min(size.width, size.height));
  plane.scale = ScaleSource::kNone;
  return plane;
}

}  // namespace plumbfoot::card
