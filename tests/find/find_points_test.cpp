// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <stdexcept>
#include <utility>

#include "find/pictures.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/points_file.h"

namespace plumbfoot::find {
namespace {

using geometry::CardPoint;
using geometry::HeelPlane;
using geometry::PhotoPoint;
using geometry::PlacedPoint;
using geometry::PlaneMap;

const cv::Size kPhoto(1200, 900);

photo::Photo PhotoOf(cv::Mat rgb) {
  photo::Photo photo;
  photo.rgb = std::move(rgb);
  return photo;
}

PlacedPoint Placed(double x, double y) {
  PlacedPoint p;
  p.px = {x, y};
  return p;
}

/// A finder that sees these places of the plane, for certain.
struct Seer {
  std::vector<std::pair<PointId, CardPoint>> points;
  geometry::CardPolyline outline;
  double confidence = 0.9;
  int* asked = nullptr;
  geometry::CardPolyline wall = {};
  geometry::CardPolyline frog = {};
  geometry::CardPolyline shoe = {};
  double toe_sigma_px = 2.0;

  Sightings operator()(View, const PlaneImage& image, Looks) const {
    if (asked != nullptr) ++*asked;
    Sightings s;
    s.foot_confidence = confidence;
    s.outline_confidence = confidence;
    s.wall_confidence = confidence;
    for (const auto& [id, at] : points) {
      s.at(id) =
          Sighting{ImageFromCard(image, at),
                   RoundCovariance(id == PointId::kToe ? toe_sigma_px : 2.0),
                   confidence};
    }
    for (const CardPoint p : outline) {
      s.outline.push_back(ImageFromCard(image, p));
    }
    for (const CardPoint p : wall) {
      s.dorsal_wall.push_back(ImageFromCard(image, p));
    }
    for (const CardPoint p : frog) s.frog.push_back(ImageFromCard(image, p));
    for (const CardPoint p : shoe) s.shoe.push_back(ImageFromCard(image, p));
    return s;
  }
};

// An ellipse on a plain ground, as a stand-in for a sole.
constexpr CardPoint kMiddle{120, 115};
constexpr double kAcross = 60;
constexpr double kAlong = 66;

double BesideEllipse(CardPoint p) {
  const double x = (p.x - kMiddle.x) / kAcross;
  const double y = (p.y - kMiddle.y) / kAlong;
  const double r = std::hypot(x, y);
  return (r - 1) * r / std::hypot(x / kAcross, y / kAlong);
}

geometry::CardPolyline Ellipse(double more, double turn_on = 0.0) {
  geometry::CardPolyline line;
  for (int i = 0; i < 60; ++i) {
    const double t = 2 * std::numbers::pi * i / 60 + turn_on;
    line.push_back({kMiddle.x + (kAcross + more) * std::cos(t),
                    kMiddle.y + (kAlong + more) * std::sin(t)});
  }
  return line;
}

cv::Mat EllipsePhoto(const PlaneMap& map) {
  geometry::Random random(3);
  return Draw(
      kPhoto,
      [&](double x, double y) {
        const auto at = map.Apply({x, y});
        // Half a millimetre of blur.
        return at ? BlurredEdge(BesideEllipse(*at), 0.5) : 0.0;
      },
      0.004,
      random);
}

class SolePhoto : public testing::Test {
 protected:
  SolePhoto()
      : plane_(LookingAt({115, 110}, 420, kPhoto, 0.15, 0.1, -0.03)),
        map_(geometry::NominalMap(plane_)),
        photo_(PhotoOf(EllipsePhoto(map_))),
        layout_(LCard()) {}

  FindRequest Request() const {
    FindRequest r{View::kSolar, photo_, plane_};
    r.layout = &layout_;
    r.given.view = View::kSolar;
    return r;
  }
  Seer SeesAll(double off_mm) const {
    return {{{PointId::kToe, {kMiddle.x, kMiddle.y + kAlong + off_mm}},
             {PointId::kHeelLeft, {kMiddle.x + 40, kMiddle.y - 49}},
             {PointId::kHeelRight, {kMiddle.x - 40, kMiddle.y - 49}},
             {PointId::kFrogApex, {kMiddle.x, kMiddle.y + 20}},
             {PointId::kFrogLeft, {kMiddle.x + 20, kMiddle.y - 45}},
             {PointId::kFrogRight, {kMiddle.x - 20, kMiddle.y - 45}}},
            Ellipse(off_mm)};
  }

  geometry::PlaneEstimate plane_;
  PlaneMap map_;
  photo::Photo photo_;
  card::Layout layout_;
};

TEST_F(SolePhoto, OutlineComesOutOnTheEdgeThoughTheFinderIsOff) {
  const FindRequest request = Request();
  const auto found = FindPoints(request, SeesAll(1.5));
  ASSERT_TRUE(found) << found.error().message;
  ASSERT_TRUE(found->points.outline);
  const auto& outline = *found->points.outline;
  double mean = 0;
  int within = 0;
  for (const PhotoPoint p : outline.px) {
    const double d = BesideEllipse(*map_.Apply(p));
    const double sigma =
        outline.sigma_px / map_.PixelsPerMillimetre(*map_.Apply(p));
    mean += d / static_cast<double>(outline.px.size());
    if (std::abs(d) < 2 * sigma + 0.01) ++within;
  }
  EXPECT_NEAR(mean, 0, 0.03);  // mm
  EXPECT_GT(within, 0.9 * static_cast<double>(outline.px.size()));
  EXPECT_EQ(outline.placed_by, PlacedBy::kFinder);
  // The toe came onto the edge, sure across it and unsure along it.
  const auto& toe = found->points.at(PointId::kToe);
  ASSERT_TRUE(toe);
  EXPECT_NEAR(BesideEllipse(*map_.Apply(toe->px)), 0, 0.1);
  const double det = toe->covariance.xx * toe->covariance.yy -
                     toe->covariance.xy * toe->covariance.xy;
  const double trace = toe->covariance.xx + toe->covariance.yy;
  EXPECT_GT(trace * trace / det, 50);  // A long ellipse, not a round one.
  EXPECT_FALSE(found->cut_off);
}

TEST_F(SolePhoto, GivenPointsStayExactlyWhereTheyWerePut) {
  FindRequest request = Request();
  const PhotoPoint toe = map_.Inverse({kMiddle.x + 1, kMiddle.y + 63});
  request.given.at(PointId::kToe) = Placed(toe.x, toe.y);
  request.given.hidden[static_cast<std::size_t>(PointId::kFrogApex)] = true;
  const auto found = FindPoints(request, SeesAll(1.0));
  ASSERT_TRUE(found);
  const auto& kept = found->points.at(PointId::kToe);
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->px, toe);
  EXPECT_EQ(kept->placed_by, PlacedBy::kPerson);
  EXPECT_EQ(kept->confidence, 1.0);
  const double sigma =
      PersonSigmaPx(kPhoto, map_.PixelsPerMillimetre(*map_.Apply(toe)));
  EXPECT_NEAR(kept->covariance.xx, sigma * sigma, 1e-6);
  EXPECT_FALSE(found->points.at(PointId::kFrogApex));
  EXPECT_TRUE(found->points.is_hidden(PointId::kFrogApex));
  EXPECT_TRUE(found->points.at(PointId::kFrogLeft));
  EXPECT_EQ(found->points.at(PointId::kFrogLeft)->placed_by, PlacedBy::kFinder);
}

TEST_F(SolePhoto, NothingIsBelievedOfAFinderThatMissesAGivenPoint) {
  FindRequest request = Request();
  const PhotoPoint toe = map_.Inverse({kMiddle.x, kMiddle.y - 60});
  request.given.at(PointId::kToe) = Placed(toe.x, toe.y);
  const auto found = FindPoints(request, SeesAll(0.0));
  ASSERT_TRUE(found);
  EXPECT_TRUE(found->points.at(PointId::kToe));
  EXPECT_FALSE(found->points.at(PointId::kFrogApex));
  EXPECT_FALSE(found->points.outline);
}

TEST_F(SolePhoto, TheFinderIsNotAskedWhenNothingIsWanted) {
  FindRequest request = Request();
  geometry::PlacedCurve outline;
  for (const CardPoint p : Ellipse(0)) outline.px.push_back(map_.Inverse(p));
  request.given.outline = outline;
  for (const PointId id : geometry::PointsOf(View::kSolar)) {
    request.given.hidden[static_cast<std::size_t>(id)] = true;
  }
  request.given.hidden[0] = false;
  request.given.at(PointId::kToe) = Placed(500, 300);
  int asked = 0;
  Seer seer = SeesAll(0);
  seer.asked = &asked;
  const auto found = FindPoints(request, seer);
  ASSERT_TRUE(found);
  EXPECT_EQ(asked, 0);
  ASSERT_TRUE(found->points.outline);
  EXPECT_EQ(found->points.outline->px, outline.px);
  EXPECT_EQ(found->points.outline->placed_by, PlacedBy::kPerson);
  EXPECT_GT(found->points.outline->sigma_px, 0);
}

TEST_F(SolePhoto, UnsureSightingsAreLeftOut) {
  const FindRequest request = Request();
  Seer seer = SeesAll(0);
  const auto half_blind = [&](View view, const PlaneImage& image, Looks looks) {
    Sightings s = seer(view, image, looks);
    s.at(PointId::kFrogApex)->confidence = 0.49;
    return s;
  };
  const auto found = FindPoints(request, half_blind);
  ASSERT_TRUE(found);
  EXPECT_FALSE(found->points.at(PointId::kFrogApex));
  EXPECT_TRUE(found->points.at(PointId::kFrogLeft));
  EXPECT_FALSE(found->points.is_hidden(PointId::kFrogApex));

  seer.confidence = 0.4;
  const auto none = FindPoints(request, seer);
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().code, RefusalCode::kNoFoot);
}

TEST_F(SolePhoto, AFootAtTheBorderIsCutOff) {
  FindRequest request = Request();
  request.given.at(PointId::kToe) = Placed(600, 899);
  const auto found = FindPoints(request, Seer{});
  ASSERT_TRUE(found);
  EXPECT_TRUE(found->cut_off);
}

/// On the ellipse, so many millimetres round it from there, towards +y.
CardPoint AlongEllipse(CardPoint from, double mm) {
  double t =
      std::atan2((from.y - kMiddle.y) / kAlong, (from.x - kMiddle.x) / kAcross);
  const double step = from.x > kMiddle.x ? 1e-4 : -1e-4;
  for (double gone = 0; gone < std::abs(mm);) {
    gone += std::abs(step) *
            std::hypot(kAcross * std::sin(t), kAlong * std::cos(t));
    t += mm > 0 ? step : -step;
  }
  return {kMiddle.x + kAcross * std::cos(t), kMiddle.y + kAlong * std::sin(t)};
}

CardPoint& PlaceOf(Seer& seer, PointId id) {
  for (auto& [point, at] : seer.points) {
    if (point == id) return at;
  }
  throw std::logic_error("PlaceOf");
}

/// The sole's points when the finder is sure of all that it sees.
ViewPoints FoundSurely(const FindRequest& request, Seer seer) {
  seer.confidence = 0.99;
  const auto found = FindPoints(request, seer);
  if (!found) throw std::runtime_error(found.error().message);
  return found->points;
}

/// A frog whose widest place lies so far behind the sole's middle [mm].
std::vector<CardPoint> FrogWidestAt(double behind) {
  const double widest = kMiddle.y - behind;
  return {{kMiddle.x, kMiddle.y + 20},
          {kMiddle.x + 20, widest},
          {kMiddle.x + 12, widest - 15},
          {kMiddle.x - 12, widest - 15},
          {kMiddle.x - 20, widest}};
}

bool Sure(const ViewPoints& points, PointId id) {
  return points.at(id) && IsSure(*points.at(id));
}

TEST_F(SolePhoto, AllOfASoleIsSureWhereNothingSpeaksAgainstIt) {
  Seer seer = SeesAll(0.5);
  seer.frog = FrogWidestAt(45);
  const ViewPoints points = FoundSurely(Request(), seer);
  for (const PointId id : geometry::PointsOf(View::kSolar)) {
    EXPECT_TRUE(Sure(points, id)) << geometry::PointName(id);
  }
}

TEST_F(SolePhoto, AToeThatTheOutlineMovesFarAlongIsUnsure) {
  for (const auto& [beside_mm, sure] :
       {std::pair{2.0, true}, std::pair{-2.0, true}, std::pair{7.0, false}}) {
    SCOPED_TRACE(beside_mm);
    Seer seer = SeesAll(0.0);
    // A map that says little about where along the edge, so that it would be
    // moved without a word.
    seer.toe_sigma_px = 9.0;
    PlaceOf(seer, PointId::kToe) =
        AlongEllipse({kMiddle.x + 1e-3, kMiddle.y + kAlong}, -beside_mm);
    EXPECT_EQ(Sure(FoundSurely(Request(), seer), PointId::kToe), sure);
  }
}

TEST_F(SolePhoto, AToeIsUnsureWhereTheOutlineJumpedToAnotherEdgeNearIt) {
  for (const auto& [high, sure] :
       {std::pair{0.4, true}, std::pair{2.0, false}}) {
    const double high_mm = high;
    SCOPED_TRACE(high_mm);
    // As light as the foot, a flat bump beside the toe: a stone, say.
    geometry::Random random(4);
    const photo::Photo photo = PhotoOf(Draw(
        kPhoto,
        [&](double x, double y) {
          const auto at = map_.Apply({x, y});
          if (!at) return 0.0;
          const double beside = at->x - kMiddle.x - 14;
          const double more =
              high_mm / (1 + std::exp(3 * (std::abs(beside) - 9)));
          const double ahead = at->y > kMiddle.y ? more : 0.0;
          return BlurredEdge(BesideEllipse(*at) - ahead, 0.5);
        },
        0.004,
        random));
    FindRequest request{View::kSolar, photo, plane_};
    request.layout = &layout_;
    request.given.view = View::kSolar;
    const ViewPoints points = FoundSurely(request, SeesAll(0.0));
    EXPECT_EQ(Sure(points, PointId::kToe), sure);
  }
}

TEST_F(SolePhoto, AToeIsUnsureWhereItsOutlineGoesOverToAFinger) {
  for (const auto& [high, sure] :
       {std::pair{0.4, true}, std::pair{3.5, false}}) {
    const double high_mm = high;
    SCOPED_TRACE(high_mm);
    // A finger's pad straight behind the toe, which the finder takes for horn.
    const auto pad = [&](CardPoint p) {
      const double beside = p.x - kMiddle.x;
      return p.y > kMiddle.y ? high_mm * std::exp(-beside * beside / 100) : 0.0;
    };
    geometry::Random random(4);
    const photo::Photo photo = PhotoOf(Draw(
        kPhoto,
        [&](double x, double y) {
          const auto at = map_.Apply({x, y});
          return at ? BlurredEdge(BesideEllipse(*at) - pad(*at), 0.5) : 0.0;
        },
        0.004,
        random));
    FindRequest request{View::kSolar, photo, plane_};
    request.layout = &layout_;
    request.given.view = View::kSolar;
    Seer seer = SeesAll(0.0);
    for (CardPoint& p : seer.outline) p.y += pad(p);
    PlaceOf(seer, PointId::kToe).y += high_mm;
    EXPECT_EQ(Sure(FoundSurely(request, seer), PointId::kToe), sure);
  }
}

TEST_F(SolePhoto, AHeelFarFromWhereTheOutlineTurnsIsUnsure) {
  struct Case {
    double along_mm;
    bool shod;
    bool sure;
  };
  for (const Case& c : {Case{0, false, true},
                        Case{6, false, true},
                        Case{-6, false, true},
                        Case{-11, false, false},
                        Case{11, false, false},
                        // A shoe's branch goes on behind the turn.
                        Case{-11, true, true},
                        Case{-18, true, false}}) {
    SCOPED_TRACE(testing::Message() << c.along_mm << (c.shod ? " shod" : ""));
    Seer seer = SeesAll(0.0);
    CardPoint& heel = PlaceOf(seer, PointId::kHeelLeft);
    heel = AlongEllipse(heel, c.along_mm);
    // The other one alike, for their heights.
    CardPoint& other = PlaceOf(seer, PointId::kHeelRight);
    other = AlongEllipse(other, c.along_mm);
    if (c.shod) seer.shoe = Ellipse(0.0);
    // In front of both, whatever is done to them.
    PlaceOf(seer, PointId::kFrogLeft) = {kMiddle.x + 20, kMiddle.y - 38};
    PlaceOf(seer, PointId::kFrogRight) = {kMiddle.x - 20, kMiddle.y - 38};
    const ViewPoints points = FoundSurely(Request(), seer);
    EXPECT_EQ(Sure(points, PointId::kHeelLeft), c.sure);
    EXPECT_EQ(Sure(points, PointId::kHeelRight), c.sure);
    EXPECT_TRUE(Sure(points, PointId::kToe));
  }
}

TEST_F(SolePhoto, AHeelOffTheOutlineIsUnsure) {
  Seer seer = SeesAll(0.0);
  CardPoint& heel = PlaceOf(seer, PointId::kHeelLeft);
  heel = {heel.x - 4, heel.y + 4};
  const ViewPoints points = FoundSurely(Request(), seer);
  EXPECT_FALSE(Sure(points, PointId::kHeelLeft));
  EXPECT_TRUE(Sure(points, PointId::kHeelRight));
}

// On a bulb, say. Where the other heel is, mirrored in the frog's axis, is the
// better guess; both heels lost leave nothing to mirror.
TEST_F(SolePhoto, AHeelOffTheHoofComesToWhereTheOtherOneHasIt) {
  Seer seer = SeesAll(0.0);
  const CardPoint there = PlaceOf(seer, PointId::kHeelLeft);
  const CardPoint lost{there.x - 12, there.y - 26};
  PlaceOf(seer, PointId::kHeelLeft) = lost;
  const auto left_heel = [&](const FindRequest& request) {
    return *map_.Apply(FoundSurely(request, seer).at(PointId::kHeelLeft)->px);
  };
  const ViewPoints points = FoundSurely(Request(), seer);
  EXPECT_LT(Distance(left_heel(Request()), there), 0.5);
  EXPECT_FALSE(Sure(points, PointId::kHeelLeft));
  EXPECT_TRUE(Sure(points, PointId::kHeelRight));

  FindRequest by_person = Request();
  const PhotoPoint px = map_.Inverse(lost);
  by_person.given.at(PointId::kHeelLeft) = Placed(px.x, px.y);
  EXPECT_LT(Distance(left_heel(by_person), lost), 1e-6);

  CardPoint& right = PlaceOf(seer, PointId::kHeelRight);
  right = {right.x + 12, right.y - 26};
  EXPECT_LT(Distance(left_heel(Request()), lost), 0.5);
}

TEST_F(SolePhoto, ASideOfTheFrogThatItsOutlineContradictsIsUnsure) {
  struct Case {
    const char* what;
    CardPoint off;
    bool sure;
  };
  for (const Case& c : {Case{"on its widest place", {0, 0}, true},
                        Case{"before it, on the edge", {-1.2, 4}, true},
                        Case{"behind it, on the edge", {-1.6, -3}, false},
                        Case{"off the edge", {-6, 2}, false}}) {
    SCOPED_TRACE(c.what);
    Seer seer = SeesAll(0.0);
    seer.frog = FrogWidestAt(37);
    PlaceOf(seer, PointId::kFrogRight) = {kMiddle.x - 20, kMiddle.y - 37};
    PlaceOf(seer, PointId::kFrogLeft) = {kMiddle.x + 20 + c.off.x,
                                         kMiddle.y - 37 + c.off.y};
    const ViewPoints points = FoundSurely(Request(), seer);
    EXPECT_EQ(Sure(points, PointId::kFrogLeft), c.sure);
    EXPECT_TRUE(Sure(points, PointId::kFrogRight));
    EXPECT_TRUE(Sure(points, PointId::kFrogApex));
  }
}

TEST_F(SolePhoto, ASideOfTheFrogBehindTheHeelIsUnsure) {
  Seer seer = SeesAll(0.0);  // The heels are at -49.
  PlaceOf(seer, PointId::kFrogLeft).y = kMiddle.y - 51;
  const ViewPoints points = FoundSurely(Request(), seer);
  EXPECT_FALSE(Sure(points, PointId::kFrogLeft));
  EXPECT_TRUE(Sure(points, PointId::kFrogRight));
  EXPECT_TRUE(Sure(points, PointId::kHeelLeft));
}

// Property: a heel that stands nearer than the middle plane is projected by the
// camera; what comes back is where the middle plane's heel appears.
TEST(NearHeel, ComesBackWhereTheMiddlePlanesHeelAppears) {
  geometry::Random random(5);
  const photo::Photo photo =
      PhotoOf(cv::Mat(kPhoto, CV_8UC3, cv::Scalar(90, 90, 90)));
  for (int k = 0; k < 20; ++k) {
    SCOPED_TRACE(k);
    const auto plane = LookingAt({230, 60},
                                 random.Uniform(450, 900),
                                 kPhoto,
                                 random.Uniform(-0.2, 0.2),
                                 random.Uniform(-0.05, 0.05),
                                 random.Uniform(-0.05, 0.05));
    const PlaneMap map = geometry::NominalMap(plane);
    const double depth = random.Uniform(20, 45);
    const CardPoint heel{random.Uniform(150, 200), random.Uniform(0, 5)};
    const CardPoint hair{heel.x - 15, heel.y + 30};
    const auto near = [&](CardPoint p) {
      return geometry::Project(
          plane.camera,
          plane.camera_from_card.rotation * Eigen::Vector3d(p.x, p.y, depth) +
              plane.camera_from_card.translation);
    };
    FindRequest request{View::kLateral, photo, plane};
    request.given.view = View::kLateral;
    request.given.heel_plane = HeelPlane::kNear;
    request.half_heel_width_mm = depth;
    request.half_heel_width_sigma_mm = 7;
    request.given.at(PointId::kHeelGround) = Placed(near(heel).x, near(heel).y);
    // What the finder sees is on the near heel, whatever a person's is on.
    const CardPoint seen_at = *map.Apply(near(hair));
    const Seer seer{{{PointId::kHeelHairline, seen_at}}, {}};
    const auto found = FindPoints(request, seer);
    ASSERT_TRUE(found);
    EXPECT_EQ(found->points.heel_plane, HeelPlane::kMiddle);
    const auto& ground = found->points.at(PointId::kHeelGround);
    const auto& top = found->points.at(PointId::kHeelHairline);
    ASSERT_TRUE(ground);
    ASSERT_TRUE(top);
    EXPECT_LT(Distance(ground->px, map.Inverse(heel)), 1e-3);
    EXPECT_LT(Distance(top->px, map.Inverse(hair)), 1e-3);
    // The unknown width shows along the way from near to middle.
    const geometry::PhotoVector d = map.Inverse(heel) - near(heel);
    const double person =
        PersonSigmaPx(kPhoto, map.PixelsPerMillimetre(*map.Apply(near(heel))));
    const double extra = Norm(d) * 7 / depth;
    EXPECT_NEAR(ground->covariance.xx + ground->covariance.yy,
                2 * person * person + extra * extra,
                0.15 * extra * extra + 1e-6);

    // On the middle plane already: it stays.
    request.given.heel_plane = HeelPlane::kMiddle;
    const auto stays = FindPoints(request, Seer{});
    ASSERT_TRUE(stays);
    EXPECT_EQ(stays->points.at(PointId::kHeelGround)->px,
              request.given.at(PointId::kHeelGround)->px);
  }
}

// Any two points on the pastern will do: a person's may stand elsewhere on it.
TEST(Pastern, APersonsPointAlongItAgreesAndOneBesideItDoesNot) {
  const photo::Photo photo =
      PhotoOf(cv::Mat(kPhoto, CV_8UC3, cv::Scalar(90, 90, 90)));
  const auto plane = LookingAt({200, 90}, 600, kPhoto, 0, 0, 0);
  const PlaneMap map = geometry::NominalMap(plane);
  const CardPoint low{180, 90};
  const CardPoint high{200, 120};
  const Seer seer{{{PointId::kPasternLower, low},
                   {PointId::kPasternUpper, high},
                   {PointId::kToeGround, {120, 5}},
                   {PointId::kToeHairline, {165, 68}}},
                  {}};
  const geometry::CardVector along = (high - low) / Distance(high, low);
  for (const auto& [off, agrees] :
       {std::pair{25.0 * along, true},
        std::pair{-15.0 * along, true},
        std::pair{12.0 * Perpendicular(along), false}}) {
    FindRequest request{View::kLateral, photo, plane};
    request.given.view = View::kLateral;
    const PhotoPoint given = map.Inverse(high + off);
    request.given.at(PointId::kPasternUpper) = Placed(given.x, given.y);
    const auto found = FindPoints(request, seer);
    ASSERT_TRUE(found);
    EXPECT_EQ(found->points.at(PointId::kToeHairline).has_value(), agrees);
  }
}

TEST(DorsalWall, IsFollowedBetweenTwoGivenToePoints) {
  geometry::Random random(6);
  // A wall that rises at 50 degrees and is dished by 6 px in the middle.
  const PhotoPoint ground{300, 700};
  const PhotoPoint top{300 + 400 * std::cos(50 * std::numbers::pi / 180),
                       700 - 400 * std::sin(50 * std::numbers::pi / 180)};
  const geometry::PhotoVector along = (top - ground) / Distance(top, ground);
  const geometry::PhotoVector across = Perpendicular(along);
  const auto miss = [&](PhotoPoint p) {
    const double t = Dot(p - ground, along) / 400;
    return Dot(p - ground, across) - 6 * 4 * t * (1 - t);
  };
  const photo::Photo photo = PhotoOf(Draw(
      kPhoto,
      [&](double x, double y) {
        return BlurredEdge(miss({x, y}), 1.2);
      },
      0.005,
      random));
  FindRequest request{
      View::kLateral, photo, LookingAt({200, 60}, 500, kPhoto, 0, 0, 0)};
  request.given.view = View::kLateral;
  for (const PointId id : geometry::PointsOf(View::kLateral)) {
    request.given.hidden[static_cast<std::size_t>(id)] = true;
  }
  for (const auto& [id, p] : {std::pair{PointId::kToeGround, ground},
                              std::pair{PointId::kToeHairline, top}}) {
    request.given.hidden[static_cast<std::size_t>(id)] = false;
    request.given.at(id) = Placed(p.x, p.y);
  }
  int asked = 0;
  Seer seer;
  seer.asked = &asked;
  const auto found = FindPoints(request, seer);
  ASSERT_TRUE(found);
  EXPECT_EQ(asked, 0);
  ASSERT_TRUE(found->points.dorsal_wall);
  const auto& wall = *found->points.dorsal_wall;
  // Hairline first.
  EXPECT_LT(Distance(wall.px.front(), top), 8);
  EXPECT_LT(Distance(wall.px.back(), ground), 8);
  for (const PhotoPoint p : wall.px) EXPECT_NEAR(miss(p), 0, 0.3);
  EXPECT_EQ(found->points.at(PointId::kToeGround)->px, ground);
}

/// The wall that is found on a photo of one straight, soft edge.
/// @param at     On the edge.
/// @param across Unit vector.
std::optional<geometry::PlacedCurve> WallOnAnEdge(
    PhotoPoint at,
    geometry::PhotoVector across,
    const geometry::PlaneEstimate& plane,
    const Seer& seer,
    geometry::Random& random) {
  const photo::Photo photo = PhotoOf(Draw(
      kPhoto,
      [&](double x, double y) {
        return BlurredEdge(Dot(PhotoPoint{x, y} - at, across), 1.2);
      },
      0.005,
      random));
  FindRequest request{View::kLateral, photo, plane};
  request.given.view = View::kLateral;
  const auto found = FindPoints(request, seer);
  return found ? found->points.dorsal_wall : std::nullopt;
}

TEST(DorsalWall, IsUnsureWhereTheFinderSawItElsewhere) {
  const auto plane = LookingAt({200, 60}, 500, kPhoto, 0, 0, 0);
  const PlaneMap map = geometry::NominalMap(plane);
  const PhotoPoint ground{300, 700};
  const PhotoPoint top{300 + 400 * std::cos(50 * std::numbers::pi / 180),
                       700 - 400 * std::sin(50 * std::numbers::pi / 180)};
  const PhotoPoint middle = Midpoint(ground, top);
  const geometry::PhotoVector along = (top - ground) / Distance(top, ground);
  Seer seer;
  for (int i = 0; i <= 32; ++i) {
    const auto at = map.Apply(top + (i / 32.0) * (ground - top));
    ASSERT_TRUE(at);
    seer.wall.push_back(*at);
  }
  seer.points = {{PointId::kToeGround, seer.wall.back()},
                 {PointId::kToeHairline, seer.wall.front()}};
  for (const double degrees : {0.5, 2.2}) {
    SCOPED_TRACE(degrees);
    geometry::Random random(7);
    const double turn = degrees * std::numbers::pi / 180;
    const geometry::PhotoVector edge =
        std::cos(turn) * along + std::sin(turn) * Perpendicular(along);
    const auto wall =
        WallOnAnEdge(middle, Perpendicular(edge), plane, seer, random);
    ASSERT_TRUE(wall);
    // Of an edge that is turned more the finder may be right.
    EXPECT_EQ(find::IsSure(*wall), degrees < 1);
    for (const PhotoPoint p : wall->px) {
      EXPECT_NEAR(Dot(p - middle, Perpendicular(edge)), 0, 0.5);
    }
  }
}

// What moves all of the wall alike turns nothing: a camera before or behind the
// foot must not make the wall so unsure that `measure` takes a flare for noise.
TEST(DorsalWall, SeenFromBeforeTheFootIsNotAllUnsure) {
  geometry::Random random(9);
  // The plane is looked at from one side.
  geometry::PlaneEstimate plane = LookingAt({120, 45}, 500, kPhoto, 0, 0, 0);
  Eigen::Matrix3d turn;
  const double yaw = 20 * std::numbers::pi / 180;
  turn << std::cos(yaw), 0, std::sin(yaw), 0, 1, 0, -std::sin(yaw), 0,
      std::cos(yaw);
  const Eigen::Vector3d target(120, 45, 0);
  plane.camera_from_card.rotation = plane.camera_from_card.rotation * turn;
  plane.camera_from_card.translation =
      Eigen::Vector3d(0, 0, 500) - plane.camera_from_card.rotation * target;
  const PlaneMap map = geometry::NominalMap(plane);
  const CardPoint toe{80, 5};
  const CardPoint top{135, 70};
  Seer seer;
  for (int i = 0; i <= 32; ++i) {
    seer.wall.push_back(top + (i / 32.0) * (toe - top));
  }
  seer.points = {{PointId::kToeGround, toe},
                 {PointId::kToeHairline, top},
                 {PointId::kHeelGround, {200, 5}}};
  const PhotoPoint a = map.Inverse(toe);
  const PhotoPoint b = map.Inverse(top);
  const geometry::PhotoVector across = Perpendicular(b - a) / Distance(a, b);
  const auto wall = WallOnAnEdge(a, across, plane, seer, random);
  ASSERT_TRUE(wall);
  const double px_per_mm = map.PixelsPerMillimetre(*map.Apply(a));
  // The rim stands more than a millimetre before the middle plane.
  EXPECT_GT(std::abs(Dot(wall->px[wall->px.size() / 2] - a, across)),
            1.0 * px_per_mm);
  EXPECT_LT(wall->sigma_px, 0.35 * px_per_mm);
}

TEST(DorsalWall, IsTakenAsSeenWhereThereIsNoEdge) {
  geometry::Random random(11);
  const auto plane = LookingAt({200, 60}, 500, kPhoto, 0, 0, 0);
  const PlaneMap map = geometry::NominalMap(plane);
  Seer seer;
  for (int i = 0; i <= 32; ++i) {
    seer.wall.push_back(*map.Apply(
        PhotoPoint{560, 390} + (i / 32.0) * geometry::PhotoVector{-260, 310}));
  }
  seer.points = {{PointId::kToeGround, seer.wall.back()},
                 {PointId::kToeHairline, seer.wall.front()}};
  const photo::Photo photo = PhotoOf(Draw(
      kPhoto, [](double, double) { return 0.2; }, 0.004, random));
  FindRequest request{View::kLateral, photo, plane};
  request.given.view = View::kLateral;
  const auto found = FindPoints(request, seer);
  ASSERT_TRUE(found);
  ASSERT_TRUE(found->points.dorsal_wall);
  const auto& wall = *found->points.dorsal_wall;
  EXPECT_FALSE(find::IsSure(wall));
  ASSERT_EQ(wall.px.size(), seer.wall.size());
  for (std::size_t i = 0; i < wall.px.size(); ++i) {
    EXPECT_LT(Distance(wall.px[i], map.Inverse(seer.wall[i])), 1e-6);
  }
}

// The straight line between two points would stand in for it.
TEST(DorsalWall, WithPartOfItsEdgeIsShownNotDropped) {
  geometry::Random random(10);
  const auto plane = LookingAt({200, 60}, 500, kPhoto, 0, 0, 0);
  const PlaneMap map = geometry::NominalMap(plane);
  const PhotoPoint ground{300, 700};
  const PhotoPoint top{560, 390};
  const geometry::PhotoVector across =
      Perpendicular(top - ground) / Distance(top, ground);
  Seer seer;
  seer.confidence = 0.51;
  for (int i = 0; i <= 32; ++i) {
    seer.wall.push_back(*map.Apply(top + (i / 32.0) * (ground - top)));
  }
  seer.points = {{PointId::kToeGround, seer.wall.back()},
                 {PointId::kToeHairline, seer.wall.front()}};
  const photo::Photo photo = PhotoOf(Draw(
      kPhoto,
      [&](double x, double y) {
        // The lower third is as dark as what lies behind.
        return y > 600 ? 0.05
                       : BlurredEdge(Dot(PhotoPoint{x, y} - ground, across), 1);
      },
      0.002,
      random));
  FindRequest request{View::kLateral, photo, plane};
  request.given.view = View::kLateral;
  const auto found =
      FindPoints(request, [&](View view, const PlaneImage& image, Looks looks) {
        Sightings s = seer(view, image, looks);
        s.foot_confidence = 0.95;
        return s;
      });
  ASSERT_TRUE(found);
  ASSERT_TRUE(found->points.dorsal_wall);
  EXPECT_FALSE(find::IsSure(*found->points.dorsal_wall));
}

TEST(FindPoints, SeesNoFootWhereThereIsNone) {
  geometry::Random random(8);
  const card::Layout layout = LCard();
  const auto plane = LookingAt({115, 80}, 550, kPhoto, 0.1, 0.05, 0.0);
  const PlaneMap map = geometry::NominalMap(plane);
  const auto on_card = [&](double x, double y) {
    const auto p = map.Apply({x, y});
    return p && p->x > 0 && p->y > 0 && p->x < 160 && p->y < 160 &&
           (p->x < 48 || p->y < 48);
  };
  const std::vector<std::pair<const char*, cv::Mat>> pictures = {
      {"plain wall", cv::Mat(kPhoto, CV_8UC3, cv::Scalar(140, 135, 120))},
      {"noise",
       Draw(
           kPhoto, [](double, double) { return 0.3; }, 0.1, random)},
      {"only the card",
       Draw(
           kPhoto,
           [&](double x, double y) { return on_card(x, y) ? 0.8 : 0.15; },
           0.01,
           random)},
      {"a wall that grows brighter",
       Draw(
           kPhoto,
           [](double x, double y) { return 0.1 + x / 3000 + y / 4000; },
           0.01,
           random)},
      {"planks",
       Draw(
           kPhoto,
           [](double x, double) {
             return std::fmod(x, 150.0) < 8 ? 0.05 : 0.25;
           },
           0.01,
           random)},
  };
  for (const auto& [name, rgb] : pictures) {
    for (const View view : {View::kSolar, View::kLateral}) {
      SCOPED_TRACE(testing::Message()
                   << name << ", " << geometry::ViewName(view));
      const photo::Photo photo = PhotoOf(rgb);
      FindRequest request{view, photo, plane};
      request.layout = &layout;
      request.given.view = view;
      const auto found = FindPoints(request);
      ASSERT_FALSE(found);
      EXPECT_EQ(found.error().code, RefusalCode::kNoFoot);
      EXPECT_FALSE(found.error().remedy.empty());
    }
  }
}

}  // namespace
}  // namespace plumbfoot::find
