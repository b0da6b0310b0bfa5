// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <utility>
#include <vector>

#include "find/calibration.h"
#include "find/network.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {
namespace {

// CHOSEN: fewer cells are no hoof to go closer to.
constexpr int kLeastCells = 60;
// CHOSEN: how much wider than the hoof the closer window is: heels, card and
// fingers around a sole; the pastern above a hoof from the side.
constexpr double kSolarRoom = 1.5;
constexpr double kLateralRoom = 1.9;
constexpr double kLateralUp = 0.3;  // Of the hoof's width.
// CHOSEN: a point that the closer look has lost so much of is taken from the
// wide one, where all of the foot is in the picture.
constexpr double kLost = 0.3;
// CHOSEN: of the foot's length a rounded heel or a bulb goes on behind the
// heel's point; on 44 rendered side views at most 0.058 where it was right.
constexpr double kMostBehind = 0.06;

/// A square piece of the plane image.
struct Piece {
  double x = 0.0;  ///< Of its corner in the image [px].
  double y = 0.0;
  double side = 0.0;
  int px = 0;  ///< Side of what the network saw.

  cv::Point2d ToImage(cv::Point2d at) const {
    return {x + at.x * side / px, y + at.y * side / px};
  }
  cv::Point2d FromImage(cv::Point2d at) const {
    return {(at.x - x) * px / side, (at.y - y) * px / side};
  }
};

struct LookAt {
  Piece piece;
  NetworkAnswer answer;
};

cv::Mat Resized(const cv::Mat& from, int side, bool smooth) {
  cv::Mat to;
  const int how = !smooth            ? cv::INTER_NEAREST
                  : from.cols > side ? cv::INTER_AREA
                                     : cv::INTER_LINEAR;
  cv::resize(from, to, {side, side}, 0, 0, how);
  return to;
}

cv::Mat Mirrored(const cv::Mat& picture) {
  cv::Mat out;
  cv::flip(picture, out, 1);
  return out;
}

/// What a mirrored picture was answered, as if it had not been.
NetworkAnswer MirroredBack(const NetworkAnswer& answer) {
  NetworkAnswer out;
  out.foot = answer.foot;
  std::transform(
      answer.points.begin(), answer.points.end(), out.points.begin(), Mirrored);
  std::transform(
      answer.masks.begin(), answer.masks.end(), out.masks.begin(), Mirrored);
  const auto swap = [&](PointId a, PointId b) {
    std::swap(out.points[static_cast<std::size_t>(a)],
              out.points[static_cast<std::size_t>(b)]);
  };
  swap(PointId::kHeelLeft, PointId::kHeelRight);
  swap(PointId::kFrogLeft, PointId::kFrogRight);
  return out;
}

/// Several answers about the same window as one: each point is where any says,
/// with its share of the likelihood, so that where they disagree it is less so.
NetworkAnswer Together(const std::vector<NetworkAnswer>& answers) {
  NetworkAnswer out;
  const double share = 1.0 / static_cast<double>(answers.size());
  double logit = 0.0;
  for (const NetworkAnswer& a : answers) {
    // CHOSEN: 1e-6 is never.
    const double foot = std::clamp(a.foot, 1e-6, 1 - 1e-6);
    logit += share * std::log(foot / (1 - foot));
  }
  out.foot = 1 / (1 + std::exp(-logit));
  for (std::size_t k = 0; k < out.masks.size(); ++k) {
    out.masks[k] = cv::Mat::zeros(answers[0].masks[k].size(), CV_32F);
    for (const NetworkAnswer& a : answers) out.masks[k] += share * a.masks[k];
  }
  for (std::size_t k = 0; k < out.points.size(); ++k) {
    double unseen = 0.0;
    cv::Mat likely = cv::Mat::zeros(answers[0].points[k].size(), CV_32F);
    for (const NetworkAnswer& a : answers) {
      const cv::Mat& map = a.points[k];
      double top = 0.0;
      cv::minMaxLoc(map, nullptr, &top);
      const double shift = std::max(top, 0.0);
      cv::Mat weight;
      cv::exp(map - shift, weight);
      const double total = cv::sum(weight)[0] + std::exp(-shift);
      likely += weight * (share / total);
      unseen += share * std::exp(-shift) / total;
    }
    // Back to logits against "not seen". CHOSEN: 1e-12 is never.
    cv::log(cv::max(likely, 1e-12), out.points[k]);
    out.points[k] -= std::log(std::max(unseen, 1e-12));
  }
  return out;
}

/// Looks at a part of the picture, perhaps mirrored too.
LookAt LookCloser(cv::dnn::Net& network,
                  View view,
                  const PlaneImage& image,
                  cv::Rect where,
                  int side,
                  bool mirrored_too) {
  // What lies beyond the image is unknown.
  const cv::Rect all(0, 0, image.rgb.cols, image.rgb.rows);
  const cv::Rect inside = where & all;
  const auto cut = [&](const cv::Mat& m) {
    cv::Mat out;
    cv::copyMakeBorder(m(inside),
                       out,
                       inside.y - where.y,
                       where.y + where.height - inside.y - inside.height,
                       inside.x - where.x,
                       where.x + where.width - inside.x - inside.width,
                       cv::BORDER_CONSTANT);
    return out;
  };
  LookAt look;
  look.piece = {static_cast<double>(where.x),
                static_cast<double>(where.y),
                static_cast<double>(where.width),
                side};
  const cv::Mat rgb = Resized(cut(image.rgb), side, true);
  const cv::Mat known = Resized(cut(image.known), side, false);
  const cv::Mat card = Resized(cut(image.card), side, false);
  look.answer = AskNetwork(network, view, rgb, known, card);
  if (mirrored_too) {
    look.answer = Together(
        {look.answer,
         MirroredBack(AskNetwork(
             network, view, Mirrored(rgb), Mirrored(known), Mirrored(card)))});
  }
  return look;
}

cv::Mat MaskOf(const LookAt& look, Mask mask) {
  return look.answer.masks[static_cast<std::size_t>(mask)];
}

/// The largest connected part of a mask, as 0 and 255; nothing if too small.
std::optional<cv::Mat> LargestPart(const cv::Mat& logits, int least) {
  cv::Mat labels, stats, centroids;
  const int n = cv::connectedComponentsWithStats(
      logits > 0, labels, stats, centroids, 4, CV_32S);
  int best = 0;
  int area = least;
  for (int i = 1; i < n; ++i) {
    if (stats.at<int>(i, cv::CC_STAT_AREA) > area) {
      area = stats.at<int>(i, cv::CC_STAT_AREA);
      best = i;
    }
  }
  if (best == 0) return std::nullopt;
  return cv::Mat(labels == best);
}

/// Where to look closer; nothing if there is no hoof.
std::optional<cv::Rect> CloserWindow(View view,
                                     const LookAt& wide,
                                     int image_side) {
  const auto part = LargestPart(MaskOf(wide, Mask::kHoof), kLeastCells);
  if (!part) return std::nullopt;
  const cv::Rect box = cv::boundingRect(*part);
  const cv::Point2d low =
      wide.piece.ToImage({box.x * 1.0 * kStride, box.y * 1.0 * kStride});
  const cv::Point2d high =
      wide.piece.ToImage({(box.x + box.width) * 1.0 * kStride,
                          (box.y + box.height) * 1.0 * kStride});
  const double width = high.x - low.x;
  const double height = high.y - low.y;
  cv::Point2d middle = 0.5 * (low + high);
  double side = kSolarRoom * std::max(width, height);
  if (view == View::kLateral) {
    side = kLateralRoom * std::max(width, height);
    middle.y -= kLateralUp * width;
  }
  side = std::min(side, static_cast<double>(image_side));
  const int n = static_cast<int>(std::lround(side));
  return cv::Rect(static_cast<int>(std::lround(middle.x - side / 2)),
                  static_cast<int>(std::lround(middle.y - side / 2)),
                  n,
                  n);
}

/// A logit between cells, at a place in the network's pixels.
float LogitAt(const cv::Mat& logits, cv::Point2d at) {
  const double x = std::clamp(at.x / kStride - 0.5, 0.0, logits.cols - 1.001);
  const double y = std::clamp(at.y / kStride - 0.5, 0.0, logits.rows - 1.001);
  const int i = static_cast<int>(x);
  const int j = static_cast<int>(y);
  const auto u = static_cast<float>(x - i);
  const auto v = static_cast<float>(y - j);
  return (1 - v) * ((1 - u) * logits.at<float>(j, i) +
                    u * logits.at<float>(j, i + 1)) +
         v * ((1 - u) * logits.at<float>(j + 1, i) +
              u * logits.at<float>(j + 1, i + 1));
}

/// The line round the largest part of a mask, closed; empty if too small.
std::vector<cv::Point2d> LineRound(const LookAt& look, Mask mask) {
  // Four times finer, so that the line between the cells is followed.
  constexpr int kFiner = 4;
  std::vector<cv::Point2d> line;
  cv::Mat fine;
  cv::resize(MaskOf(look, mask), fine, {}, kFiner, kFiner, cv::INTER_LINEAR);
  const auto part = LargestPart(fine, kLeastCells * kFiner * kFiner);
  if (!part) return line;
  std::vector<std::vector<cv::Point>> lines;
  cv::findContours(*part, lines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  const auto longest = std::max_element(
      lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.size() < b.size();
      });
  const auto n = static_cast<int>(longest->size());
  // CHOSEN: the mean of 9 steps of a quarter cell takes the stairs out and
  // leaves the shape.
  constexpr int kHalf = 4;
  for (int i = 0; i < n; i += 2) {
    cv::Point2d sum;
    for (int k = -kHalf; k <= kHalf; ++k) {
      sum += cv::Point2d((*longest)[static_cast<std::size_t>((i + k + n) % n)]);
    }
    const cv::Point2d mean = sum * (1.0 / (2 * kHalf + 1));
    line.push_back(look.piece.ToImage((mean + cv::Point2d(0.5, 0.5)) *
                                      (kStride * 1.0 / kFiner)));
  }
  return line;
}

void AddOutlines(const LookAt& look, Sightings& seen) {
  seen.outline = LineRound(look, Mask::kHoof);
  if (seen.outline.empty()) return;
  seen.frog = LineRound(look, Mask::kFrog);
  seen.shoe = LineRound(look, Mask::kShoe);
  const cv::Mat& logits = MaskOf(look, Mask::kHoof);
  // How sharply the mask is decided: soft overlap of likelihood and mask.
  double both = 0;
  double either = 0;
  for (int y = 0; y < logits.rows; ++y) {
    for (int x = 0; x < logits.cols; ++x) {
      const double p = 1 / (1 + std::exp(-logits.at<float>(y, x)));
      const double m = p > 0.5 ? 1.0 : 0.0;
      both += p * m;
      either += std::max(p, m);
    }
  }
  // CHOSEN: 0.75 of overlap is a guess, 0.95 a clear edge.
  seen.outline_confidence =
      seen.foot_confidence * std::clamp((both / either - 0.75) / 0.2, 0.0, 1.0);
}

/// Where the limb's or hoof's front edge crosses the line through `on` along
/// `out`, nearest to `on`; nothing within `far` pixels.
std::optional<double> EdgeAlong(const cv::Mat& mask,
                                cv::Point2d on,
                                cv::Point2d out,
                                double far) {
  constexpr double kFine = 0.25;
  std::optional<double> best;
  for (double t = -far; t < far; t += kFine) {
    const float a = LogitAt(mask, on + t * out);
    const float b = LogitAt(mask, on + (t + kFine) * out);
    if (!(a > 0) || b > 0) continue;
    const double at = t + kFine * static_cast<double>(a / (a - b));
    if (!best || std::abs(at) < std::abs(*best)) best = at;
  }
  return best;
}

void AddDorsalWall(const LookAt& look, Sightings& seen) {
  const auto& top = seen.at(PointId::kToeHairline);
  const auto& toe = seen.at(PointId::kToeGround);
  if (!top || !toe) return;
  const cv::Point2d hairline = look.piece.FromImage(top->at);
  const cv::Point2d ground = look.piece.FromImage(toe->at);
  // Hoof and limb together: the hoof alone ends at the hair's edge, across the
  // wall.
  const cv::Mat hoof =
      cv::max(MaskOf(look, Mask::kHoof), MaskOf(look, Mask::kLimb));
  const cv::Point2d along = ground - hairline;
  const double length = std::hypot(along.x, along.y);
  if (length < 10) return;
  cv::Point2d out(along.y / length, -along.x / length);
  // Outwards is where the hoof is not.
  const cv::Point2d middle = 0.5 * (hairline + ground);
  if (LogitAt(hoof, middle + 10 * out) > LogitAt(hoof, middle - 10 * out)) {
    out = -out;
  }
  const cv::Mat& shoe = MaskOf(look, Mask::kShoe);
  constexpr int kSteps = 32;
  constexpr double kFar = 12.0;  // [px] to both sides of the straight line.
  // CHOSEN: a shoe is in the lowest third, and seen a cell's width within.
  constexpr int kShoeFrom = 21;
  constexpr double kWithin = 2.0;
  int found = 0;
  for (int i = 0; i <= kSteps; ++i) {
    const cv::Point2d on = hairline + along * (i * 1.0 / kSteps);
    const auto edge = EdgeAlong(hoof, on, out, kFar);
    if (!edge) continue;
    ++found;
    seen.dorsal_wall.push_back(look.piece.ToImage(on + *edge * out));
    if (!seen.wall_on_shoe && i >= kShoeFrom &&
        LogitAt(shoe, on + (*edge - kWithin) * out) > 0) {
      seen.wall_on_shoe = seen.dorsal_wall.back();
    }
  }
  // What the mask does not bear out is less sure.
  const double borne_out = found / (kSteps + 1.0);
  seen.wall_confidence = std::min(top->confidence, toe->confidence) *
                         std::min(1.0, borne_out + 0.2);
  // CHOSEN: a fifth of the wall without an edge is a stripe, mud or a shoe.
  if (borne_out < 0.8) {
    seen.wall_confidence = std::min(seen.wall_confidence, kUnlikely);
  }
  if (found < kSteps / 2) {
    // The straight line between the two points.
    seen.dorsal_wall = {top->at, toe->at};
  }
}

/// How far the hoof goes on behind the heel's ground point, away from the toe,
/// as a part of their distance.
double HoofBehindHeel(const LookAt& look, const Sightings& seen) {
  const auto& toe = seen.at(PointId::kToeGround);
  const auto& heel = seen.at(PointId::kHeelGround);
  if (!toe || !heel) return 0.0;
  const double scale = look.piece.px / look.piece.side;
  const cv::Point2d corner(look.piece.x, look.piece.y);
  const cv::Point2d way = (heel->at - toe->at) * scale;
  const double length = std::hypot(way.x, way.y);
  if (length < 20) return 0.0;
  const cv::Point2d back = way * (1 / length);
  cv::Point2d up(back.y, -back.x);
  if (up.y > 0) up = -up;
  const cv::Mat horn =
      cv::max(MaskOf(look, Mask::kHoof), MaskOf(look, Mask::kShoe));
  // CHOSEN: so far above the ground a hoof is no longer rounded off, and its
  // bulbs don't overhang yet: a thirtieth of its length.
  const cv::Point2d from = (heel->at - corner) * scale + (length / 30) * up;
  double last = 0.0;
  for (double t = 0.0; t < length / 2; t += 0.5) {
    if (LogitAt(horn, from + t * back) > 0) last = t;
  }
  return last / length;
}

/// The network has learned roughly how far up the pastern its two points lie;
/// any two will do, if the pastern is straight between them. They are put at
/// fixed parts of the dorsal wall's length above the hairline, on the limb's
/// front edge, clear of the coronet and of the fetlock.
void PlacePastern(const LookAt& look, Sightings& seen) {
  // CHOSEN: a wall of 80 mm then has them 20 and 60 mm above the hairline.
  constexpr double kLower = 0.25;
  constexpr double kUpper = 0.75;
  constexpr double kFar = 10.0;
  auto& upper = seen.at(PointId::kPasternUpper);
  auto& lower = seen.at(PointId::kPasternLower);
  const auto& top = seen.at(PointId::kToeHairline);
  const auto& toe = seen.at(PointId::kToeGround);
  if (!upper || !lower || !top || !toe) return;
  const auto length = [](cv::Point2d v) { return std::hypot(v.x, v.y); };
  const double wall = length(top->at - toe->at);
  const cv::Mat& limb = MaskOf(look, Mask::kLimb);
  const double scale = look.piece.px / look.piece.side;
  const cv::Point2d corner(look.piece.x, look.piece.y);
  // Along the way from the hairline through the lower point to the upper one.
  const double first = length(lower->at - top->at);
  const double second = length(upper->at - lower->at);
  if (first < 1 || second < 1) return;
  const auto along = [&](double d) {
    return d < first ? top->at + (lower->at - top->at) * (d / first)
                     : lower->at + (upper->at - lower->at) *
                                       (std::min(d - first, second) / second);
  };
  const cv::Point2d way = (along(kUpper * wall) - along(kLower * wall));
  if (length(way) < 1) return;
  cv::Point2d out = cv::Point2d(way.y, -way.x) * (1 / length(way));
  // The limb's front is on the side of the toe.
  if (out.dot(toe->at - top->at) < 0) out = -out;
  bool on_edge = true;
  const auto placed = [&](double d) {
    const cv::Point2d on = (along(d) - corner) * scale;
    const auto edge = EdgeAlong(limb, on, out, kFar);
    if (!edge) on_edge = false;
    return look.piece.ToImage(on + edge.value_or(0.0) * out);
  };
  const cv::Point2d low = placed(kLower * wall);
  const cv::Point2d high = placed(kUpper * wall);
  lower->at = low;
  upper->at = high;
  // Only their line is used: one is as good as the other, and where on it they
  // stand is chosen, not found. CHOSEN: so their covariance is that of the
  // limb's edge, a millimetre on a wall of 80.
  const double edge_sigma = wall / 80;
  const double confidence =
      std::min(std::max(upper->confidence, lower->confidence),
               on_edge ? 1.0 : kUnlikely);
  for (Sighting* s : {&*upper, &*lower}) {
    s->confidence = confidence;
    s->covariance = RoundCovariance(edge_sigma);
  }
}

/// Reads every point of a view from the look that shows it best.
/// @param close Null if there was only the wide look.
void AddPoints(View view,
               const Calibration& calibration,
               double image_px_per_mm,
               const LookAt& wide,
               const LookAt* close,
               Sightings& seen) {
  for (const PointId id : geometry::PointsOf(view)) {
    const auto i = static_cast<std::size_t>(id);
    const auto read = [&](const LookAt& look) {
      return ReadPoint(look.answer.points[i],
                       look.piece.side / look.piece.px / image_px_per_mm);
    };
    const LookAt* look = &wide;
    PointReading reading = read(wide);
    if (close != nullptr) {
      const PointReading near = read(*close);
      if (near.likelihood >= reading.likelihood - kLost) {
        look = close;
        reading = near;
      }
    }
    const Calibration::Row& row = calibration.At(look == close, id);
    Sighting sighting;
    sighting.at = look->piece.ToImage(reading.at);
    // CHOSEN: nothing is known better than half a cell's tenth.
    const double scale = look->piece.side / look->piece.px;
    sighting.covariance =
        (row.Covariance(reading.spread) + RoundCovariance(0.1)) *
        (scale * scale);
    sighting.confidence = row.Confidence(reading.likelihood);
    if (id == PointId::kHeelLeft || id == PointId::kHeelRight) {
      const PointReading second =
          ReadSecond(look->answer.points[i],
                     reading,
                     look->piece.side / look->piece.px / image_px_per_mm);
      sighting.elsewhere = look->piece.ToImage(second.at);
      sighting.elsewhere_likelihood = second.likelihood;
    }
    seen.at(id) = sighting;
  }
}

/// Doubts points where the close look puts them and the wide look, which has
/// all of the foot in the picture, all but rules them out.
void DoubtRuledOut(View view,
                   double image_px_per_mm,
                   const LookAt& wide,
                   Sightings& seen) {
  // CHOSEN: on 150 pairs of rendered photos 5 of 635 points that were sure and
  // right were less likely there, and of 7 that were sure and wrong 1: a side
  // of the frog, 9 mm off. How far the two looks are apart told less.
  constexpr double kRuledOut = 0.1;
  for (const PointId id : geometry::PointsOf(view)) {
    // Of the pastern any two points will do (PlacePastern).
    if (id == PointId::kPasternUpper || id == PointId::kPasternLower) continue;
    auto& sighting = seen.at(id);
    if (!sighting) continue;
    const double likely =
        LikelihoodAt(wide.answer.points[static_cast<std::size_t>(id)],
                     wide.piece.FromImage(sighting->at),
                     wide.piece.side / wide.piece.px / image_px_per_mm);
    if (likely < kRuledOut) {
      sighting->confidence = std::min(sighting->confidence, kUnlikely);
    }
  }
}

/// A foot whose points are lost is less of a foot: so the likeliest of several
/// windows and scales wins.
double FootConfidence(View view, const Sightings& seen, double foot) {
  const auto ids = geometry::PointsOf(view);
  double sum = 0.0;
  for (const PointId id : ids) sum += seen.at(id)->confidence;
  return foot * (0.6 + 0.4 * sum / static_cast<double>(ids.size()));
}

/// One colour, without so much as a camera's noise: nothing to find, and of
/// such pictures, which no camera takes, the network's answer is anyone's
/// guess.
bool ShowsNothing(const PlaneImage& image) {
  // CHOSEN: of 255 levels.
  constexpr double kLeastContrast = 1.0;
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(image.rgb, mean, deviation, image.known & ~image.card);
  return std::max({deviation[0], deviation[1], deviation[2]}) < kLeastContrast;
}

Sightings Find(cv::dnn::Net& network,
               const Calibration& calibration,
               View view,
               const PlaneImage& image,
               Looks looks) {
  if (image.rgb.type() != CV_8UC3 || image.rgb.cols != image.rgb.rows) {
    throw std::invalid_argument("NetworkFinder: the picture is not square RGB");
  }
  if (ShowsNothing(image)) return {};
  const int side = image.rgb.cols;
  const cv::Rect all(0, 0, side, side);
  const LookAt wide = LookCloser(network, view, image, all, kWidePx, false);
  Sightings seen;
  if (looks == Looks::kGlance) {
    AddPoints(view, calibration, image.px_per_mm, wide, nullptr, seen);
    seen.foot_confidence = FootConfidence(view, seen, wide.answer.foot);
    if (view == View::kSolar) AddOutlines(wide, seen);
    return seen;
  }
  const auto window = CloserWindow(view, wide, side);
  if (!window) return seen;
  const LookAt close = LookCloser(
      network, view, image, *window, kClosePx, looks == Looks::kThorough);
  AddPoints(view, calibration, image.px_per_mm, wide, &close, seen);
  seen.foot_confidence =
      FootConfidence(view, seen, std::min(wide.answer.foot, close.answer.foot));
  DoubtRuledOut(view, image.px_per_mm, wide, seen);
  if (view == View::kSolar) {
    AddOutlines(close, seen);
    return seen;
  }
  AddDorsalWall(close, seen);
  PlacePastern(close, seen);
  auto& heel = seen.at(PointId::kHeelGround);
  if (heel && HoofBehindHeel(close, seen) > kMostBehind) {
    heel->confidence = std::min(heel->confidence, kUnlikely);
  }
  return seen;
}

}  // namespace

Finder NetworkFinder() {
  struct Loaded {
    cv::dnn::Net network = LoadNetwork();
    Calibration calibration;
  };
  const auto loaded = std::make_shared<std::unique_ptr<Loaded>>();
  return [loaded](View view, const PlaneImage& image, Looks looks) {
    if (!*loaded) *loaded = std::make_unique<Loaded>();
    return Find((*loaded)->network, (*loaded)->calibration, view, image, looks);
  };
}

Sightings FindByNetwork(View view, const PlaneImage& image) {
  return NetworkFinder()(view, image, Looks::kThorough);
}

}  // namespace plumbfoot::find
