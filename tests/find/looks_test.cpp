// SPDX-License-Identifier: Apache-2.0
//
// A picture without a card, or one that is hard to read, is looked at several
// times. The finder here reads marks that were drawn, whichever window shows
// them, so that the truth is known exactly and what the looks disagree on is
// the test's own doing.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "plumbfoot/card/find_card.h"
#include "plumbfoot/find/finder.h"

namespace plumbfoot::find {
namespace {

using geometry::PhotoPoint;

constexpr int kSide = 640;
constexpr int kFootLevel = 70;
constexpr int kMarkRadius = 5;

struct Mark {
  std::array<PointId, 2> ids;  ///< The horse's left first; or twice the same.
  int level;
  std::vector<PhotoPoint> at;
};

const std::vector<Mark> kSole = {
    {{PointId::kToe, PointId::kToe}, 100, {{320, 157}}},
    {{PointId::kHeelLeft, PointId::kHeelRight}, 130, {{414, 443}, {226, 443}}},
    {{PointId::kFrogApex, PointId::kFrogApex}, 160, {{320, 300}}},
    {{PointId::kFrogLeft, PointId::kFrogRight}, 190, {{350, 410}, {290, 410}}}};

const std::vector<Mark> kSideView = {
    {{PointId::kToeGround, PointId::kToeGround}, 100, {{200, 480}}},
    {{PointId::kToeHairline, PointId::kToeHairline}, 130, {{320, 300}}},
    {{PointId::kHeelGround, PointId::kHeelGround}, 160, {{420, 480}}},
    {{PointId::kHeelHairline, PointId::kHeelHairline}, 190, {{450, 390}}}};

/// A foot whose points are discs, each kind of another grey.
photo::Photo DrawnFoot(View view) {
  photo::Photo photo;
  photo.rgb = cv::Mat(kSide, kSide, CV_8UC3, cv::Scalar::all(20));
  if (view == View::kSolar) {
    cv::ellipse(photo.rgb,
                {320, 320},
                {150, 170},
                0,
                0,
                360,
                cv::Scalar::all(kFootLevel),
                cv::FILLED,
                cv::LINE_AA);
  } else {
    const std::vector<cv::Point> hoof = {
        {200, 480}, {320, 300}, {450, 390}, {420, 480}};
    cv::fillPoly(photo.rgb,
                 std::vector<std::vector<cv::Point>>{hoof},
                 cv::Scalar::all(kFootLevel),
                 cv::LINE_AA);
  }
  for (const Mark& m : view == View::kSolar ? kSole : kSideView) {
    for (const PhotoPoint p : m.at) {
      // OpenCV's (0, 0) is the first pixel's centre; 4 binary places.
      cv::circle(photo.rgb,
                 {static_cast<int>((p.x - 0.5) * 16),
                  static_cast<int>((p.y - 0.5) * 16)},
                 kMarkRadius * 16,
                 cv::Scalar::all(m.level),
                 cv::FILLED,
                 cv::LINE_AA,
                 4);
    }
  }
  return photo;
}

/// What a test does to the n-th of the looks at what was found.
using Mislead = std::function<void(Sightings&, int n, double size_px)>;

/// Reads the marks. As any finder it takes the picture for what it shows: in a
/// mirror left is right.
struct MarkReader {
  Mislead mislead = [](Sightings&, int, double) {};
  Mislead mislead_from_afar = [](Sightings&, int, double) {};
  int looks_taken = 0;
  int glances_taken = 0;

  Sightings operator()(View view, const PlaneImage& image, Looks looks) {
    Sightings s;
    cv::Mat grey;
    cv::cvtColor(image.rgb, grey, cv::COLOR_RGB2GRAY);
    std::vector<std::vector<cv::Point>> lines;
    cv::findContours(
        cv::Mat(grey > 40), lines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
    if (lines.empty()) return s;
    const auto foot = std::max_element(
        lines.begin(), lines.end(), [](const auto& a, const auto& b) {
          return a.size() < b.size();
        });
    for (const cv::Point p : *foot) {
      s.outline.push_back(cv::Point2d(p) + cv::Point2d(0.5, 0.5));
    }
    const cv::Rect box = cv::boundingRect(*foot);
    const double size_px = std::max(box.width, box.height);
    ReadMarks(view, grey, s);
    // A foot of a usual size is likelier than another.
    const double size_mm = size_px / image.px_per_mm;
    s.foot_confidence = size_mm > 90 && size_mm < 160 ? 0.95 : 0.9;
    s.outline_confidence = 0.95;
    const auto& top = s.at(PointId::kToeHairline);
    const auto& toe = s.at(PointId::kToeGround);
    if (top && toe) {
      for (int i = 0; i <= 32; ++i) {
        s.dorsal_wall.push_back(top->at + (toe->at - top->at) * (i / 32.0));
      }
      s.wall_confidence = 0.95;
    }
    if (looks == Looks::kGlance) {
      mislead_from_afar(s, glances_taken++, size_px);
    } else {
      mislead(s, looks_taken++, size_px);
    }
    return s;
  }

  static void ReadMarks(View view, const cv::Mat& grey, Sightings& s) {
    cv::Mat labels, stats, middles;
    const int n = cv::connectedComponentsWithStats(
        grey > kFootLevel + 15, labels, stats, middles);
    std::array<std::vector<cv::Point2d>, 4> places;
    const auto& marks = view == View::kSolar ? kSole : kSideView;
    for (int i = 1; i < n; ++i) {
      double level = 0.0;
      cv::minMaxLoc(grey, nullptr, &level, nullptr, nullptr, labels == i);
      for (std::size_t k = 0; k < marks.size(); ++k) {
        if (std::abs(level - marks[k].level) > 12) continue;
        places[k].emplace_back(middles.at<double>(i, 0) + 0.5,
                               middles.at<double>(i, 1) + 0.5);
      }
    }
    for (std::size_t k = 0; k < marks.size(); ++k) {
      if (places[k].size() != marks[k].at.size() || places[0].empty()) continue;
      const auto put = [&](PointId id, cv::Point2d at) {
        s.at(id) = Sighting{at, RoundCovariance(2.0), 0.95};
      };
      if (places[k].size() == 1) {
        put(marks[k].ids[0], places[k][0]);
        continue;
      }
      // With the toe up the horse's left is on the right.
      const cv::Point2d middle = 0.5 * (places[k][0] + places[k][1]);
      const bool first_is_left =
          (places[0][0] - middle).cross(places[k][0] - middle) > 0;
      put(marks[k].ids[first_is_left ? 0 : 1], places[k][0]);
      put(marks[k].ids[first_is_left ? 1 : 0], places[k][1]);
    }
  }
};

Finding Found(View view, Mislead mislead, bool with_scale = false) {
  const photo::Photo photo = DrawnFoot(view);
  FindRequest request{
      view, photo, card::PlaneWithoutScale(photo.rgb.size(), {})};
  if (with_scale) request.plane.scale = geometry::ScaleSource::kKnownLength;
  request.given.view = view;
  MarkReader reader;
  if (mislead) reader.mislead = std::move(mislead);
  const auto found = FindPoints(request, std::ref(reader));
  EXPECT_TRUE(found);
  return found ? *found : Finding{};
}

Finding FoundSole(Mislead mislead = {}, bool with_scale = false) {
  return Found(View::kSolar, std::move(mislead), with_scale);
}

constexpr double kSolePx = 340;

/// What comes of a foot in which nearer looks see none.
Result<Finding> FoundFromAfar(Mislead mislead_from_afar) {
  const photo::Photo photo = DrawnFoot(View::kSolar);
  FindRequest request{
      View::kSolar, photo, card::PlaneWithoutScale(photo.rgb.size(), {})};
  request.given.view = View::kSolar;
  MarkReader reader;
  reader.mislead = [](Sightings& s, int, double) {
    s.foot_confidence = 0.1;
    s.at(PointId::kFrogApex).reset();
  };
  reader.mislead_from_afar = std::move(mislead_from_afar);
  return FindPoints(request, std::ref(reader));
}

/// The sizes that are tried; after them the foot that was found is looked at.
constexpr int kFirstGlances = 6;

TEST(WithoutScale, PointsAreWhereTheLooksAgree) {
  const Finding found = FoundSole();
  for (const Mark& m : kSole) {
    for (std::size_t i = 0; i < m.at.size(); ++i) {
      const auto& p = found.points.at(m.ids[i]);
      SCOPED_TRACE(geometry::PointName(m.ids[i]));
      ASSERT_TRUE(p);
      // Toe and heels are put on the outline, which is 7 px away.
      EXPECT_LT(Distance(p->px, m.at[i]), m.level <= 130 ? 9 : 1);
      EXPECT_FALSE(IsSure(*p));
    }
  }
  EXPECT_TRUE(found.points.outline);
}

TEST(WithoutScale, IsLookedAtSeveralTimesWithAScaleOnce) {
  int looks = 0;
  const auto count = [&](Sightings&, int n, double) { looks = n + 1; };
  (void)FoundSole(count, true);
  EXPECT_EQ(looks, 1);
  (void)FoundSole(count);
  EXPECT_GE(looks, 6);
}

TEST(WithoutScale, WhatTheLooksPutApartIsLeftOpen) {
  for (const double part : {0.01, 0.06}) {
    SCOPED_TRACE(part);
    const Finding found = FoundSole([&](Sightings& s, int n, double size_px) {
      s.at(PointId::kFrogApex)->at +=
          cv::Point2d((n % 2 == 0 ? part : -part) * size_px, 0);
    });
    const auto& apex = found.points.at(PointId::kFrogApex);
    EXPECT_EQ(apex.has_value(), part < 0.03);
    if (apex) {
      EXPECT_LT(Distance(apex->px, {320, 300}), 1.2 * part * kSolePx);
      // How far they lie apart is in its covariance.
      EXPECT_GT(std::sqrt(apex->covariance.xx), 0.9 * part * kSolePx);
    }
    EXPECT_TRUE(found.points.at(PointId::kFrogLeft));
    EXPECT_TRUE(found.points.outline);
  }
}

TEST(WithoutScale, WhatIsVagueAlongAnEdgeIsLeftOpen) {
  for (const double part : {0.005, 0.03}) {
    SCOPED_TRACE(part);
    const Finding found = FoundSole([&](Sightings& s, int, double size_px) {
      const double sigma = part * size_px;
      // Slanting: no look says so of x or y alone.
      s.at(PointId::kFrogApex)->covariance = cv::Matx22d(0.5 * sigma * sigma,
                                                         0.49 * sigma * sigma,
                                                         0.49 * sigma * sigma,
                                                         0.5 * sigma * sigma);
    });
    EXPECT_EQ(found.points.at(PointId::kFrogApex).has_value(),
              1.96 * part < 0.03);
    EXPECT_TRUE(found.points.at(PointId::kFrogLeft));
  }
}

TEST(WithoutScale, OneLookThatIsLedAstrayChangesNothing) {
  const Finding found = FoundSole([](Sightings& s, int n, double size_px) {
    if (n == 3) s.at(PointId::kFrogApex)->at.x += 0.3 * size_px;
  });
  const auto& apex = found.points.at(PointId::kFrogApex);
  ASSERT_TRUE(apex);
  EXPECT_LT(Distance(apex->px, {320, 300}), 1.5);
}

TEST(WithoutScale, AnOutlineThatMovesIsLeftOpenAndTheHeelsWithIt) {
  const auto grown = [](Sightings& s, int n, double size_px) {
    const double part = n % 2 == 0 ? 0.05 : -0.05;
    cv::Point2d middle;
    for (const cv::Point2d p : s.outline) {
      middle += p * (1.0 / static_cast<double>(s.outline.size()));
    }
    for (cv::Point2d& p : s.outline) {
      const cv::Point2d d = p - middle;
      p += d * (part * size_px / std::hypot(d.x, d.y));
    }
  };
  const Finding found = FoundSole(grown);
  EXPECT_FALSE(found.points.outline);
  EXPECT_FALSE(found.points.at(PointId::kHeelLeft));
  EXPECT_FALSE(found.points.at(PointId::kHeelRight));
  EXPECT_TRUE(found.points.at(PointId::kFrogApex));
}

// Where the bearing edge ends nobody knows without both heels.
TEST(WithoutScale, AnOutlineWithoutBothHeelsIsLeftOpen) {
  const auto blind = [](Sightings& s, int, double) {
    s.at(PointId::kHeelLeft)->confidence = 0.2;
  };
  const Finding found = FoundSole(blind);
  EXPECT_FALSE(found.points.outline);
  EXPECT_FALSE(found.points.at(PointId::kHeelRight));
  EXPECT_TRUE(found.points.at(PointId::kFrogApex));
  // Nothing changes where the scale is known.
  const Finding scaled = FoundSole(blind, true);
  EXPECT_TRUE(scaled.points.outline);
  EXPECT_TRUE(scaled.points.at(PointId::kHeelRight));
}

// Without a card only the other end of the foot tells where the ground is.
TEST(WithoutScale, AToeOnTheGroundWithoutAHeelThereIsLeftOpen) {
  const auto blind = [](Sightings& s, int, double) {
    s.at(PointId::kHeelGround)->confidence = 0.2;
  };
  const Finding found = Found(View::kLateral, blind);
  EXPECT_FALSE(found.points.at(PointId::kToeGround));
  // The wall ends where the toe was seen all the same.
  ASSERT_TRUE(found.points.dorsal_wall);
  EXPECT_LT(Distance(found.points.dorsal_wall->px.back(), {200, 480}), 20);
  EXPECT_TRUE(
      Found(View::kLateral, blind, true).points.at(PointId::kToeGround));
  EXPECT_TRUE(Found(View::kLateral, {}).points.at(PointId::kToeGround));
}

// It may begin on the hair: how far up under it the horn goes no photo shows.
TEST(WithoutScale, TheHairlineIsLeftOpenAndTheWallLosesItsUpperEnd) {
  const PhotoPoint top{320, 300};
  const PhotoPoint toe{200, 480};
  double begins[2] = {0, 0};
  for (const bool scaled : {true, false}) {
    SCOPED_TRACE(scaled);
    const Finding found = Found(View::kLateral, {}, scaled);
    EXPECT_EQ(found.points.at(PointId::kToeHairline).has_value(), scaled);
    EXPECT_EQ(found.points.at(PointId::kHeelHairline).has_value(), scaled);
    ASSERT_TRUE(found.points.dorsal_wall);
    const auto& wall = found.points.dorsal_wall->px;
    ASSERT_GE(wall.size(), 8U);
    begins[scaled ? 0 : 1] = Distance(wall.front(), top);
    EXPECT_LT(Distance(wall.back(), toe), 20);
  }
  EXPECT_LT(begins[0], 10);
  // A wall of 216 px, some 110 mm, loses 20 mm, give or take a corner.
  EXPECT_GT(begins[1] - begins[0], 30);
  EXPECT_LT(begins[1] - begins[0], 60);
}

// Nor where one of them is not likely: there it may run on over a bulb.
TEST(WithoutScale, AnOutlineToAnUnlikelyHeelIsLeftOpen) {
  for (const bool likely : {false, true}) {
    SCOPED_TRACE(likely);
    const Finding found = FoundSole([&](Sightings& s, int, double) {
      s.at(PointId::kHeelLeft)->confidence = likely ? 0.85 : 0.75;
    });
    EXPECT_EQ(found.points.outline.has_value(), likely);
    EXPECT_EQ(found.points.at(PointId::kHeelRight).has_value(), likely);
    EXPECT_TRUE(found.points.at(PointId::kFrogApex));
  }
}

// An old half-tone has its foot's shape, and grain in the place of horn.
TEST(WithoutScale, AFootThatOnlyLooksFromAfarSeeIsFoundThere) {
  const auto found = FoundFromAfar([](Sightings&, int, double) {});
  ASSERT_TRUE(found);
  EXPECT_GT(found->foot_confidence, 0.9);
  const auto& apex = found->points.at(PointId::kFrogApex);
  ASSERT_TRUE(apex);
  EXPECT_LT(Distance(apex->px, {320, 300}), 1.5);
}

// What is no foot is seen here in one look and there in the next.
TEST(WithoutScale, WhatLooksFromAfarSeeInSeveralPlacesIsNoFoot) {
  for (const double part : {0.02, 0.15}) {
    SCOPED_TRACE(part);
    int again = 0;
    const auto found = FoundFromAfar([&](Sightings& s, int n, double size_px) {
      if (n < kFirstGlances) return;
      ++again;
      const cv::Point2d aside((n % 2 == 0 ? part : -part) * size_px, 0.0);
      for (cv::Point2d& p : s.outline) p += aside;
    });
    EXPECT_GE(again, 6);
    ASSERT_EQ(static_cast<bool>(found), part < 0.1);
    if (found) continue;
    EXPECT_EQ(found.error().code, RefusalCode::kNoFoot);
  }
}

TEST(WithoutScale, WhatLooksFromAfarSeeInSeveralSizesIsNoFoot) {
  for (const double part : {0.02, 0.2}) {
    SCOPED_TRACE(part);
    const auto found = FoundFromAfar([&](Sightings& s, int n, double) {
      if (n < kFirstGlances) return;
      const cv::Rect2d box = cv::boundingRect(
          std::vector<cv::Point2f>(s.outline.begin(), s.outline.end()));
      const cv::Point2d middle = 0.5 * (box.tl() + box.br());
      for (cv::Point2d& p : s.outline) {
        p = middle + (p - middle) * (n % 2 == 0 ? 1 + part : 1 - part);
      }
    });
    EXPECT_EQ(static_cast<bool>(found), part < 0.1);
  }
}

// As likely as near by it would do; but then it would be seen near by.
TEST(WithoutScale, WhatIsUnlikelyFromAfarTooIsNoFoot) {
  for (const int from : {0, kFirstGlances}) {
    SCOPED_TRACE(from);
    const auto found = FoundFromAfar([&](Sightings& s, int n, double) {
      if (n >= from) s.foot_confidence = 0.6;
    });
    EXPECT_FALSE(found);
  }
}

Finding FoundHardly(View view, const Mislead& mislead) {
  return Found(
      view,
      [&](Sightings& s, int n, double size_px) {
        s.foot_confidence = 0.7;
        if (mislead) mislead(s, n, size_px);
      },
      true);
}

// With a card a plain photo is looked at once; of one that isn't nothing is
// sure.
TEST(HardToRead, IsLookedAtSeveralTimesAndNeverSure) {
  int looks = 0;
  const Finding found =
      FoundHardly(View::kSolar, [&](Sightings& s, int n, double) {
        looks = n + 1;
        s.at(PointId::kFrogApex)->confidence = 0.99;
      });
  EXPECT_GE(looks, 6);
  const auto& apex = found.points.at(PointId::kFrogApex);
  ASSERT_TRUE(apex);
  EXPECT_LT(Distance(apex->px, {320, 300}), 1.5);
  for (const PointId id : geometry::PointsOf(View::kSolar)) {
    EXPECT_FALSE(found.points.at(id) && IsSure(*found.points.at(id)))
        << geometry::PointName(id);
  }
}

TEST(HardToRead, WhatTheLooksPutApartIsLeftOpen) {
  for (const double part : {0.01, 0.06}) {
    SCOPED_TRACE(part);
    const Finding found =
        FoundHardly(View::kLateral, [&](Sightings& s, int n, double size_px) {
          s.at(PointId::kHeelGround)->at.x +=
              (n % 2 == 0 ? 1 : -1) * part * size_px;
        });
    EXPECT_EQ(found.points.at(PointId::kHeelGround).has_value(), part < 0.03);
    EXPECT_TRUE(found.points.at(PointId::kToeGround));
  }
}

// Nearer looks see another thing than horn, looks from afar the foot's shape.
TEST(HardToRead, IsFoundFromAfarWhereNearerLooksSeeNoFoot) {
  for (const double afar : {0.5, 0.9}) {
    SCOPED_TRACE(afar);
    const photo::Photo photo = DrawnFoot(View::kSolar);
    FindRequest request{
        View::kSolar, photo, card::PlaneWithoutScale(photo.rgb.size(), {})};
    request.plane.scale = geometry::ScaleSource::kKnownLength;
    request.given.view = View::kSolar;
    MarkReader reader;
    reader.mislead = [](Sightings& s, int, double) { s.foot_confidence = 0.1; };
    reader.mislead_from_afar = [&](Sightings& s, int, double) {
      s.foot_confidence = afar;
    };
    const auto found = FindPoints(request, std::ref(reader));
    ASSERT_EQ(static_cast<bool>(found), afar > 0.65);
    if (!found) continue;
    const auto& apex = found->points.at(PointId::kFrogApex);
    ASSERT_TRUE(apex);
    EXPECT_LT(Distance(apex->px, {320, 300}), 1.5);
    EXPECT_FALSE(IsSure(*apex));
  }
}

}  // namespace
}  // namespace plumbfoot::find
