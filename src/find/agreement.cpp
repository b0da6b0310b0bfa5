// SPDX-License-Identifier: Apache-2.0
#include "find/agreement.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <utility>

namespace plumbfoot::find {
namespace {

using Line = std::vector<cv::Point2d>;

// CHOSEN: three looks in four; one may be led astray.
constexpr double kMostOfThem = 0.75;

double Quantile(std::vector<double> values, double part) {
  const auto n = static_cast<double>(values.size());
  const auto k = static_cast<std::ptrdiff_t>(
      std::clamp(std::ceil(part * n) - 1, 0.0, n - 1));
  std::nth_element(values.begin(), values.begin() + k, values.end());
  return values[static_cast<std::size_t>(k)];
}

/// A place in one look's image, in the frame's.
cv::Point2d InFrame(const Look& frame, const Look& look, cv::Point2d at) {
  const auto on_plane = frame.map.Apply(ToPhoto(look, at));
  if (!on_plane) return {-1e6, -1e6};
  return ImageFromCard(frame.image, *on_plane);
}

Line InFrame(const Look& frame, const Look& look, const Line& line) {
  Line out;
  out.reserve(line.size());
  for (const cv::Point2d p : line) out.push_back(InFrame(frame, look, p));
  return out;
}

struct AgreedSighting {
  Sighting sighting;
  bool apart = false;
};

std::optional<AgreedSighting> AgreedPoint(PointId id,
                                          const std::vector<Look>& looks,
                                          double most_px) {
  std::vector<double> xs, ys, confidences;
  for (const Look& look : looks) {
    const auto& s = look.seen.at(id);
    if (!s) continue;
    const cv::Point2d at = InFrame(looks[0], look, s->at);
    xs.push_back(at.x);
    ys.push_back(at.y);
    confidences.push_back(s->confidence);
  }
  const auto& own = looks[0].seen.at(id);
  if (!own || 2 * xs.size() <= looks.size()) return std::nullopt;
  Sighting agreed = *own;
  agreed.at = {Median(xs), Median(ys)};
  agreed.confidence = Median(confidences);
  agreed.elsewhere_likelihood = 0.0;
  std::vector<double> apart, xx, xy, yy;
  for (std::size_t i = 0; i < xs.size(); ++i) {
    const cv::Point2d d = cv::Point2d(xs[i], ys[i]) - agreed.at;
    apart.push_back(std::hypot(d.x, d.y));
    xx.push_back(d.x * d.x);
    xy.push_back(d.x * d.y);
    yy.push_back(d.y * d.y);
  }
  const double far = Quantile(apart, kMostOfThem);
  // Without those that are led astray.
  cv::Matx22d spread = cv::Matx22d::zeros();
  double used = 0.0;
  for (std::size_t i = 0; i < apart.size(); ++i) {
    if (apart[i] > far) continue;
    spread += cv::Matx22d(xx[i], xy[i], xy[i], yy[i]);
    used += 1.0;
  }
  agreed.covariance += spread * (1.0 / used);
  if (far > most_px) {
    agreed.confidence = std::min(agreed.confidence, kUnlikely);
  }
  return AgreedSighting{agreed, far > most_px};
}

/// Distances from a line, at every pixel of the frame.
cv::Mat DistancesFrom(const Line& line, bool closed, cv::Size size) {
  cv::Mat ink(size, CV_8U, cv::Scalar(255));
  constexpr int kShift = 4;
  std::vector<cv::Point> corners;
  for (const cv::Point2d p : line) {
    corners.emplace_back(
        static_cast<int>(std::lround((p.x - 0.5) * (1 << kShift))),
        static_cast<int>(std::lround((p.y - 0.5) * (1 << kShift))));
  }
  cv::polylines(ink, corners, closed, cv::Scalar(0), 1, cv::LINE_8, kShift);
  cv::Mat distances;
  cv::distanceTransform(ink, distances, cv::DIST_L2, cv::DIST_MASK_5);
  return distances;
}

double At(const cv::Mat& distances, cv::Point2d p) {
  const int x = std::clamp(static_cast<int>(p.x), 0, distances.cols - 1);
  const int y = std::clamp(static_cast<int>(p.y), 0, distances.rows - 1);
  return static_cast<double>(distances.at<float>(y, x));
}

/// How far lines lie from a place of one, where most of them are nearer.
double ApartAt(const std::vector<cv::Mat>& distances, cv::Point2d p) {
  std::vector<double> apart;
  apart.reserve(distances.size());
  for (const cv::Mat& d : distances) apart.push_back(At(d, p));
  return Quantile(apart, kMostOfThem);
}

/// The edge of what most looks take for hoof.
Line AgreedOutline(const std::vector<Line>& outlines, cv::Size size) {
  // Finer, so that the line between the pixels is followed.
  constexpr int kFiner = 2;
  constexpr int kShift = 4;
  cv::Mat votes = cv::Mat::zeros(size * kFiner, CV_32F);
  for (const Line& outline : outlines) {
    std::vector<cv::Point> corners;
    for (const cv::Point2d p : outline) {
      corners.emplace_back(
          static_cast<int>(std::lround((p.x * kFiner - 0.5) * (1 << kShift))),
          static_cast<int>(std::lround((p.y * kFiner - 0.5) * (1 << kShift))));
    }
    cv::Mat inside = cv::Mat::zeros(votes.size(), CV_8U);
    cv::fillPoly(inside,
                 std::vector<std::vector<cv::Point>>{corners},
                 cv::Scalar(1),
                 cv::LINE_8,
                 kShift);
    cv::accumulate(inside, votes);
  }
  // The stairs of one vote are no line.
  cv::GaussianBlur(votes, votes, {0, 0}, kFiner);
  const cv::Mat hoof = votes > 0.5 * static_cast<double>(outlines.size());
  std::vector<std::vector<cv::Point>> lines;
  cv::findContours(hoof, lines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  Line agreed;
  if (lines.empty()) return agreed;
  const auto longest = std::max_element(
      lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.size() < b.size();
      });
  // CHOSEN: the mean of 9 steps takes the stairs out and leaves the shape.
  constexpr int kHalf = 4;
  const auto n = static_cast<int>(longest->size());
  for (int i = 0; i < n; i += kFiner) {
    cv::Point2d sum;
    for (int k = -kHalf; k <= kHalf; ++k) {
      sum += cv::Point2d((*longest)[static_cast<std::size_t>((i + k + n) % n)]);
    }
    agreed.push_back((sum * (1.0 / (2 * kHalf + 1)) + cv::Point2d(0.5, 0.5)) *
                     (1.0 / kFiner));
  }
  return agreed;
}

/// Is that behind the line through the heels? The way there is not the
/// outline's, if both are seen.
bool BehindHeels(const Sightings& seen, cv::Point2d p) {
  const auto& left = seen.at(PointId::kHeelLeft);
  const auto& right = seen.at(PointId::kHeelRight);
  const auto& toe = seen.at(PointId::kToe);
  if (!left || !right || !toe || left->confidence < kLeastConfidence ||
      right->confidence < kLeastConfidence) {
    return false;
  }
  const cv::Point2d across = right->at - left->at;
  return across.cross(p - left->at) * across.cross(toe->at - left->at) < 0;
}

void AgreeOnOutline(const std::vector<Look>& looks,
                    double most_px,
                    Sightings& agreed) {
  std::vector<Line> outlines;
  std::vector<double> confidences;
  for (const Look& look : looks) {
    if (look.seen.outline.size() < 8) continue;
    outlines.push_back(InFrame(looks[0], look, look.seen.outline));
    confidences.push_back(look.seen.outline_confidence);
  }
  agreed.outline.clear();
  agreed.outline_confidence = 0.0;
  if (2 * outlines.size() <= looks.size()) return;
  const cv::Size size = looks[0].image.rgb.size();
  agreed.outline = AgreedOutline(outlines, size);
  if (agreed.outline.size() < 8) return;
  std::vector<cv::Mat> distances;
  distances.reserve(outlines.size());
  for (const Line& outline : outlines) {
    distances.push_back(DistancesFrom(outline, true, size));
  }
  for (const cv::Point2d p : agreed.outline) {
    if (BehindHeels(agreed, p)) continue;
    if (ApartAt(distances, p) > most_px) return;
  }
  agreed.outline_confidence = Median(confidences);
}

void AgreeOnWall(const std::vector<Look>& looks,
                 double most_px,
                 Sightings& agreed) {
  std::vector<Line> walls;
  std::vector<const Look*> whose;
  std::vector<double> confidences;
  for (const Look& look : looks) {
    if (look.seen.dorsal_wall.size() < 2) continue;
    walls.push_back(InFrame(looks[0], look, look.seen.dorsal_wall));
    whose.push_back(&look);
    confidences.push_back(look.seen.wall_confidence);
  }
  agreed.dorsal_wall.clear();
  agreed.wall_on_shoe.reset();
  agreed.wall_confidence = 0.0;
  if (2 * walls.size() <= looks.size()) return;
  const cv::Size size = looks[0].image.rgb.size();
  std::vector<cv::Mat> distances;
  distances.reserve(walls.size());
  for (const Line& wall : walls) {
    distances.push_back(DistancesFrom(wall, false, size));
  }
  // The middle one of them.
  std::size_t middle = 0;
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < walls.size(); ++i) {
    double sum = 0.0;
    for (const cv::Mat& d : distances) {
      for (const cv::Point2d p : walls[i]) {
        // CHOSEN: what is further off is elsewhere, however far.
        sum += std::min(At(d, p), 3 * most_px) /
               static_cast<double>(walls[i].size());
      }
    }
    if (sum < least) {
      least = sum;
      middle = i;
    }
  }
  const Look& chosen = *whose[middle];
  agreed.dorsal_wall = walls[middle];
  if (chosen.seen.wall_on_shoe) {
    agreed.wall_on_shoe = InFrame(looks[0], chosen, *chosen.seen.wall_on_shoe);
  }
  for (const cv::Point2d p : agreed.dorsal_wall) {
    if (ApartAt(distances, p) > most_px) return;
  }
  agreed.wall_confidence = Median(confidences);
}

}  // namespace

double Median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  return 0.5 * (values[(n - 1) / 2] + values[n / 2]);
}

Look Agreed(View view, const std::vector<Look>& looks, double size_px) {
  if (looks.empty()) throw std::invalid_argument("Agreed: no looks");
  Look agreed = looks[0];
  const double most_px = kApart * size_px;
  std::vector<double> feet;
  feet.reserve(looks.size());
  for (const Look& look : looks) {
    feet.push_back(look.seen.foot_confidence);
  }
  agreed.seen.foot_confidence = Median(feet);
  for (const PointId id : geometry::PointsOf(view)) {
    agreed.seen.at(id).reset();
    const auto point = AgreedPoint(id, looks, most_px);
    if (!point) continue;
    agreed.seen.at(id) = point->sighting;
    agreed.apart[static_cast<std::size_t>(id)] = point->apart;
  }
  if (view == View::kSolar) {
    AgreeOnOutline(looks, most_px, agreed.seen);
  } else {
    AgreeOnWall(looks, most_px, agreed.seen);
  }
  return agreed;
}

}  // namespace plumbfoot::find
