// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/measure/measure.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <string>

#include "measure/foot_model.h"

namespace plumbfoot::measure {
namespace {

using geometry::CardPoint;
using geometry::NominalMap;
using geometry::PhotoCovariance;
using geometry::PhotoPoint;
using geometry::PlaneEstimate;
using geometry::PlaneMap;
using geometry::ScaleSource;
using testing::HasSubstr;

const Placed kSoleInCard{{40, 95}, 0.2, -1.0};
const Placed kSideInCard{{150, 60}, 0.05, 1.0};

PlaneEstimate Squarely() {
  return LookAt({95, 95}, 600, 0, 0, 0);
}

/// Few trials, and a frog that lies in the bearing plane for sure.
MeasureOptions FewTrials() {
  MeasureOptions options;
  options.trials = 100;
  options.frog_depth_mm = 0.0;
  options.frog_depth_sigma_mm = 0.0;
  return options;
}

const Measured& Of(const ViewMeasures& measures, MeasureId id) {
  const Outcome& outcome = measures.outcomes.at(id);
  if (const auto* no = std::get_if<NotMeasured>(&outcome)) {
    throw std::runtime_error(std::string(InfoOf(id).key) + ": " + no->why);
  }
  return std::get<Measured>(outcome);
}

double Value(const ViewMeasures& measures, MeasureId id) {
  return Of(measures, id).value;
}

std::string Why(const ViewMeasures& measures, MeasureId id) {
  const auto* no = std::get_if<NotMeasured>(&measures.outcomes.at(id));
  return no != nullptr ? no->why : "";
}

ViewMeasures MeasureSole(const Sole& sole,
                         const PlaneEstimate& plane = Squarely(),
                         const Placed& placed = kSoleInCard) {
  return MeasureView(
      PhotoOf(sole, placed, NominalMap(plane)), plane, FewTrials());
}

ViewMeasures MeasureSide(const Side& side,
                         const PlaneEstimate& plane = Squarely(),
                         const Placed& placed = kSideInCard) {
  return MeasureView(
      PhotoOf(side, placed, NominalMap(plane)), plane, FewTrials());
}

/// How far a number may be off when the points are right: outlines are spaced
/// anew, and the top of a parabola is not quite that of the model's outline.
double Slack(MeasureId id, double truth) {
  switch (id) {
    case MeasureId::kWidestToToe:
    case MeasureId::kWidestToHeel:
    case MeasureId::kToeShare:
      return 0.7;
    case MeasureId::kOutlineAsymmetry:
      return 0.15;
    case MeasureId::kBearingArea:
      return 0.001 * truth;
    case MeasureId::kDorsalWallDeparture:
      return 0.2;
    case MeasureId::kHalfWidthDifference:
      return 0.02;
    default:
      return 1e-3 * std::max(1.0, std::abs(truth));
  }
}

/// The standard uncertainty of a measure when only the two points are unsure,
/// placed by the finder or by a person.
double UncertaintyOf(MeasureId id,
                     ViewPoints points,
                     PointId one,
                     PointId other,
                     PhotoCovariance covariance,
                     geometry::PlacedBy placed_by) {
  for (auto& p : points.points) {
    if (p) p->covariance = {};
  }
  for (auto* curve : {&points.outline, &points.dorsal_wall}) {
    if (*curve) (*curve)->sigma_px = 1e-3;
  }
  for (const PointId which : {one, other}) {
    points.at(which)->covariance = covariance;
    points.at(which)->placed_by = placed_by;
  }
  MeasureOptions options = FewTrials();
  options.trials = 4000;
  return Of(MeasureView(points, Squarely(), options), id).standard_uncertainty;
}

// ---- Published and derived values.

// tan t' = tan t / cos(yaw), tan t' = tan t cos(pitch), and a horizontal length
// by cos(yaw), for a toe angle of 50 degrees seen from afar (derived table of
// camera geometry: orthographic model).
TEST(MeasureView, ReproducesTheTableOfCameraGeometry) {
  struct Row {
    double askew_deg;
    double yaw_error_deg;
    double pitch_error_deg;
    double length_error_percent;
  };
  for (const Row row : {Row{5, 0.11, -0.11, -0.4},
                        Row{10, 0.43, -0.43, -1.5},
                        Row{15, 0.97, -0.98, -3.4},
                        Row{20, 1.74, -1.76, -6.0}}) {
    SCOPED_TRACE(row.askew_deg);
    Side side;
    side.toe_angle = 50;
    const Placed placed{{50, 0}, 0.0, 1.0};
    const double afar = 1e6;
    const double focal = 5e6;
    // The photo is taken for one that looks squarely at the plane.
    const PlaneEstimate taken_for = LookAt({0, 0}, afar, 0, 0, 0, focal);
    const auto seen = [&](double towards_deg) {
      const PlaneEstimate true_plane =
          LookAt({0, 0}, afar, row.askew_deg, towards_deg, 0, focal);
      return MeasureView(PhotoOf(side, placed, NominalMap(true_plane)),
                         taken_for,
                         FewTrials());
    };
    const ViewMeasures yaw = seen(90);   // about the vertical
    const ViewMeasures pitch = seen(0);  // about the horizontal
    EXPECT_NEAR(
        Value(yaw, MeasureId::kToeAngle) - 50, row.yaw_error_deg, 0.006);
    EXPECT_NEAR(
        Value(pitch, MeasureId::kToeAngle) - 50, row.pitch_error_deg, 0.006);
    EXPECT_NEAR(
        100 * (Value(yaw, MeasureId::kSupportLength) / side.support - 1),
        row.length_error_percent,
        0.06);
    EXPECT_NEAR(Value(pitch, MeasureId::kSupportLength), side.support, 0.01);
  }
}

// A marker off the measured plane by d at the distance D errs by about d / D:
// 65 mm are 6.5 % at 1 m, 3.3 % at 2 m, 2.2 % at 3 m (derived table).
TEST(MeasureView, ErrsInScaleByOffsetOverDistance) {
  struct Row {
    double distance;
    double percent;
  };
  for (const Row row : {Row{1000, 6.5}, Row{2000, 3.3}, Row{3000, 2.2}}) {
    const Side side;
    // The foot stands 65 mm behind the card.
    const PlaneEstimate card = LookAt({95, 60}, row.distance, 0, 0, 0);
    const PlaneEstimate foot = LookAt({95, 60}, row.distance + 65, 0, 0, 0);
    const auto measures = MeasureView(
        PhotoOf(side, kSideInCard, NominalMap(foot)), card, FewTrials());
    const double error =
        100 * (1 - Value(measures, MeasureId::kSupportLength) / side.support);
    // To first order: d / D against d / (D + d).
    EXPECT_NEAR(error, row.percent, 0.07 * row.percent);
  }
}

// Points that err by 0.5 / 1.0 / 1.5 mm on a line of 85 mm and a ground line of
// 115 mm give an angle that errs by 0.59 / 1.19 / 1.78 degrees (derived table
// of landmark noise, for lines that share no point: here the pastern's).
TEST(MeasureView, ReproducesTheTableOfLandmarkNoise) {
  const PlaneEstimate plane = Squarely();
  const PlaneMap map = NominalMap(plane);
  Side side;
  side.toe_length = 85;
  side.support = 115;
  const double angle = side.pastern_angle * std::numbers::pi / 180;
  const geometry::FootPoint low = side.At(PointId::kPasternLower);
  const PhotoPoint high = map.Inverse(kSideInCard.ToCard(
      {low.x - 85 * std::cos(angle), low.y + 85 * std::sin(angle)}));
  MeasureOptions options;
  options.trials = 20000;
  for (const auto& [sigma, expected] :
       {std::pair{0.5, 0.59}, std::pair{1.0, 1.19}, std::pair{1.5, 1.78}}) {
    ViewPoints points =
        PhotoOf(side,
                kSideInCard,
                map,
                {sigma * map.PixelsPerMillimetre({95, 95}), 0.0, 0.0});
    points.dorsal_wall.reset();
    points.at(PointId::kPasternUpper)->px = high;
    const auto measures = MeasureView(points, plane, options);
    EXPECT_NEAR(Of(measures, MeasureId::kPasternAngle).standard_uncertainty,
                expected,
                0.02 * expected);
    // The toe's two lines share the toe's ground point, which helps:
    // variance 2 / a^2 + 2 / b^2 - 2 cos t / (a b) times that of a point.
    const double toe = side.toe_angle * std::numbers::pi / 180;
    const double shared =
        sigma * std::sqrt(2 / (85.0 * 85) + 2 / (115.0 * 115) -
                          2 * std::cos(toe) / (85.0 * 115));
    EXPECT_NEAR(Of(measures, MeasureId::kToeAngle).standard_uncertainty,
                shared * 180 / std::numbers::pi,
                0.02 * expected);
  }
}

// A wedge of a degrees under the whole foot raises the heel by S tan a and
// turns every angle by a (derived table of wedge geometry): S = 110: 1.9, 5.8,
// 9.6 mm for 1, 3, 5 degrees; S = 130: 2.3, 6.8, 11.4.
TEST(MeasureView, TurnsByTheWedgeUnderTheHeel) {
  struct Row {
    double support;
    double degrees;
    double rise_mm;
  };
  for (const Row row : {Row{110, 1, 1.9},
                        Row{110, 3, 5.8},
                        Row{110, 5, 9.6},
                        Row{130, 1, 2.3},
                        Row{130, 3, 6.8},
                        Row{130, 5, 11.4}}) {
    Side side;
    side.support = row.support;
    const PlaneMap map = NominalMap(Squarely());
    ViewPoints points = PhotoOf(side, kSideInCard, map);
    const auto before = MeasureView(points, Squarely(), FewTrials());
    points.at(PointId::kHeelGround)->px =
        map.Inverse(kSideInCard.ToCard({-side.support, -row.rise_mm}));
    const auto after = MeasureView(points, Squarely(), FewTrials());
    // The rise is printed to 0.1 mm, which is 0.05 degrees.
    for (const MeasureId id :
         {MeasureId::kToeAngle, MeasureId::kPasternAngle}) {
      EXPECT_NEAR(Value(after, id) - Value(before, id), row.degrees, 0.03);
    }
    // The hairline falls towards the heel by as much less.
    EXPECT_NEAR(Value(before, MeasureId::kHairlineAngle) -
                    Value(after, MeasureId::kHairlineAngle),
                row.degrees,
                0.03);
    EXPECT_NEAR(Value(after, MeasureId::kHoofPasternDifference),
                Value(before, MeasureId::kHoofPasternDifference),
                1e-6);
  }
}

// L. N. Mendes, monograph, UFSJ 2016, Table 1: means of sole width and length
// of donkeys [cm]; P. M. Pares-Casanova and M. Oosterlinck, J. Equine Vet. Sci.
// 32, 2012: yearlings. The ratios are worked out from the printed means.
TEST(MeasureView, GivesThePublishedRatiosOfWidthToLength) {
  struct Row {
    double width_cm;
    double length_cm;
    double ratio;
  };
  for (const Row row : {Row{8.54, 10.51, 0.813},
                        Row{7.68, 10.05, 0.764},
                        Row{13, 12, 1.083},
                        Row{12, 12, 1.000}}) {
    Sole sole;
    sole.width = 10 * row.width_cm;
    sole.length = 10 * row.length_cm;
    sole.widest_at = 0.48 * sole.length;
    sole.heel_half_width = 0.3 * sole.width;
    EXPECT_NEAR(
        Value(MeasureSole(sole), MeasureId::kWidthToLength), row.ratio, 0.0015);
  }
}

// Braz. J. Vet. Med., article 421: mean toe and heel lengths of Crioulo horses
// [cm]; the ratios are worked out from the printed means.
TEST(MeasureView, GivesThePublishedRatiosOfToeToHeel) {
  for (const auto& [heel_cm, ratio] :
       {std::pair{4.94, 1.864}, std::pair{4.95, 1.861}}) {
    Side side;
    side.toe_length = 92.1;
    side.heel_length = 10 * heel_cm;
    EXPECT_NEAR(
        Value(MeasureSide(side), MeasureId::kToeToHeelLength), ratio, 0.0006);
  }
}

// ---- Properties.

TEST(MeasureView, TakesEveryMeasureOfASole) {
  const Sole sole;
  const ViewMeasures measures = MeasureSole(sole);
  EXPECT_EQ(measures.outcomes.size(), 16U);
  EXPECT_TRUE(measures.notes.empty());
  for (const auto& [id, outcome] : measures.outcomes) {
    EXPECT_NEAR(Value(measures, id), sole.Truth(id), Slack(id, sole.Truth(id)))
        << InfoOf(id).key;
  }
}

TEST(MeasureView, TakesEveryMeasureOfASide) {
  Side side;
  side.departure = 4.0;
  const ViewMeasures measures = MeasureSide(side);
  EXPECT_EQ(measures.outcomes.size(), 14U);
  for (const auto& [id, outcome] : measures.outcomes) {
    EXPECT_NEAR(Value(measures, id),
                side.Truth(id),
                id == MeasureId::kToeAngle         ? 0.15
                : InfoOf(id).unit == Unit::kDegree ? 0.15
                                                   : Slack(id, side.Truth(id)))
        << InfoOf(id).key;
  }
}

// However the camera is held, and wherever the foot lies in the card's plane.
TEST(MeasureView, DoesNotDependOnHowThePhotoIsTaken) {
  const Sole sole;
  Side side;
  side.departure = -3.0;
  const ViewMeasures sole_before = MeasureSole(sole);
  const ViewMeasures side_before = MeasureSide(side);
  for (double turn = -170; turn < 180; turn += 70) {
    for (const double tilt : {0.0, 15.0}) {
      SCOPED_TRACE(testing::Message() << turn << " " << tilt);
      const PlaneEstimate plane = LookAt(
          {80, 100}, 400 + 3 * std::abs(turn), tilt, turn, 1.7 * turn, 2800);
      Placed placed{{60, 70}, turn / 50, -1.0};
      const ViewMeasures solar = MeasureSole(sole, plane, placed);
      for (const auto& [id, outcome] : solar.outcomes) {
        EXPECT_NEAR(Value(solar, id),
                    Value(sole_before, id),
                    0.5 * Slack(id, sole.Truth(id)))
            << InfoOf(id).key;
      }
      // A side that faces the other way too.
      placed.hand = turn > 0 ? 1.0 : -1.0;
      const ViewMeasures lateral = MeasureSide(side, plane, placed);
      for (const auto& [id, outcome] : lateral.outcomes) {
        EXPECT_NEAR(Value(lateral, id), Value(side_before, id), 0.02)
            << InfoOf(id).key;
      }
    }
  }
}

TEST(MeasureView, GrowsLengthsWithTheFootAndKeepsAnglesAndRatios) {
  Side side;
  Side larger = side;
  larger.support *= 1.2;
  larger.toe_length *= 1.2;
  larger.heel_length *= 1.2;
  const ViewMeasures a = MeasureSide(side);
  const ViewMeasures b = MeasureSide(larger);
  for (const MeasureId id : {MeasureId::kDorsalWallLength,
                             MeasureId::kHeelWallLength,
                             MeasureId::kSupportLength,
                             MeasureId::kToeHeight,
                             MeasureId::kHeelHeight}) {
    EXPECT_NEAR(Value(b, id), 1.2 * Value(a, id), 1e-3);
  }
  for (const MeasureId id : {MeasureId::kToeAngle,
                             MeasureId::kHeelAngle,
                             MeasureId::kHairlineAngle,
                             MeasureId::kToeToHeelLength,
                             MeasureId::kHeelToToeHeight}) {
    EXPECT_NEAR(Value(b, id), Value(a, id), 1e-3);
  }
}

TEST(MeasureView, SwapsLeftAndRightOfAMirroredFoot) {
  Sole sole;
  Sole mirrored = sole;
  mirrored.lopsided = -sole.lopsided;
  mirrored.axis_y = -sole.axis_y;
  const ViewMeasures a = MeasureSole(sole);
  const ViewMeasures b = MeasureSole(mirrored);
  EXPECT_NEAR(Value(a, MeasureId::kLeftHalfWidth),
              Value(b, MeasureId::kRightHalfWidth),
              0.01);
  EXPECT_NEAR(Value(a, MeasureId::kHalfWidthDifference),
              -Value(b, MeasureId::kHalfWidthDifference),
              0.02);
  EXPECT_NEAR(Value(a, MeasureId::kOutlineAsymmetry),
              Value(b, MeasureId::kOutlineAsymmetry),
              0.05);
  EXPECT_NEAR(Value(a, MeasureId::kBearingWidth),
              Value(b, MeasureId::kBearingWidth),
              0.01);
}

// One looks at the sole from below: with the toe up in the photo, the horse's
// left is on the right.
TEST(MeasureView, PutsTheHorsesLeftOnTheRightOfThePhoto) {
  const auto at = [](double x, double y) {
    geometry::PlacedPoint point;
    point.px = {x, y};
    return point;
  };
  ViewPoints points;
  points.at(PointId::kToe) = at(2000, 1100);
  points.at(PointId::kHeelLeft) = at(2200, 1800);
  points.at(PointId::kHeelRight) = at(1800, 1800);
  const ViewMeasures right = MeasureView(points, Squarely(), FewTrials());
  EXPECT_GT(right.points.at(static_cast<std::size_t>(PointId::kHeelLeft))->mm.y,
            20.0);
  EXPECT_EQ(right.notes.size(), 1U);  // no frog
  std::swap(points.at(PointId::kHeelLeft), points.at(PointId::kHeelRight));
  const ViewMeasures swapped = MeasureView(points, Squarely(), FewTrials());
  ASSERT_EQ(swapped.notes.size(), 2U);
  EXPECT_THAT(swapped.notes[1], HasSubstr("swapped"));
}

TEST(MeasureView, FallsBackToHeelsAndToeWithoutTheFrog) {
  const Sole sole;
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(sole, kSoleInCard, NominalMap(plane));
  points.at(PointId::kFrogApex).reset();
  points.hidden[static_cast<std::size_t>(PointId::kFrogApex)] = true;
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  ASSERT_EQ(measures.notes.size(), 1U);
  EXPECT_THAT(measures.notes[0], HasSubstr("instead of along the frog"));
  EXPECT_EQ(Why(measures, MeasureId::kFrogLength),
            "the point of the frog can't be seen");
  EXPECT_NEAR(Value(measures, MeasureId::kBearingLength), sole.length, 0.01);
  EXPECT_NEAR(Value(measures, MeasureId::kBearingWidth), sole.width, 0.1);
  // About the middle of the heels now, not about the frog.
  EXPECT_NEAR(Value(measures, MeasureId::kLeftHalfWidth),
              sole.width / 2 * (1 + sole.lopsided),
              0.1);
}

// The heel that one sees stands nearer the camera: exact with its depth known,
// wrong by more than the bar when taken for the middle plane's.
TEST(MeasureView, CorrectsTheNearHeelExactly) {
  const Side side;
  const PlaneEstimate plane = LookAt({95, 40}, 700, 6, 40, 0);
  const PlaneMap map = NominalMap(plane);
  MeasureOptions options = FewTrials();
  options.half_heel_width_sigma_mm = 0.0;
  ViewPoints points = PhotoOf(side, kSideInCard, map);
  SeeNearHeel(side, options.half_heel_width_mm, kSideInCard, map, points);
  const ViewMeasures near = MeasureView(points, plane, options);
  for (const MeasureId id : {MeasureId::kHeelAngle,
                             MeasureId::kHeelWallLength,
                             MeasureId::kSupportLength,
                             MeasureId::kHeelHeight,
                             MeasureId::kHairlineAngle}) {
    EXPECT_NEAR(Value(near, id), side.Truth(id), 1e-3) << InfoOf(id).key;
  }
  points.heel_plane = geometry::HeelPlane::kMiddle;
  const ViewMeasures middle = MeasureView(points, plane, options);
  EXPECT_GT(std::abs(Value(middle, MeasureId::kSupportLength) - side.support),
            3.0);
  // Not knowing the depth well must show.
  points.heel_plane = geometry::HeelPlane::kNear;
  options.half_heel_width_sigma_mm = 7.0;
  options.trials = 1000;
  const ViewMeasures doubtful = MeasureView(points, plane, options);
  EXPECT_GT(Of(doubtful, MeasureId::kSupportLength).standard_uncertainty,
            2 * Of(near, MeasureId::kSupportLength).standard_uncertainty);
}

// A frog that lies deeper than the bearing edge, seen askew: exact with its
// depth known, and with the shoe's thickness on top.
TEST(MeasureView, CorrectsTheDeepFrogExactly) {
  const Sole sole;
  const PlaneEstimate plane = LookAt({95, 95}, 500, 15, 130, 0);
  const PlaneMap map = NominalMap(plane);
  MeasureOptions options = FewTrials();
  options.frog_depth_mm = 6.0;
  for (const bool shod : {false, true}) {
    options.shod = shod;
    const double depth = 6.0 + (shod ? options.shoe_thickness_mm : 0.0);
    ViewPoints points = PhotoOf(sole, kSoleInCard, map);
    SeeDeepFrog(sole, depth, depth, kSoleInCard, map, points);
    const ViewMeasures measures = MeasureView(points, plane, options);
    for (const MeasureId id : {MeasureId::kFrogLength,
                               MeasureId::kFrogWidth,
                               MeasureId::kToeToFrogApex}) {
      EXPECT_NEAR(Value(measures, id), sole.Truth(id), 1e-3);
    }
    EXPECT_NEAR(Value(measures, MeasureId::kHalfWidthDifference),
                sole.Truth(MeasureId::kHalfWidthDifference),
                0.02);
  }
  // Not knowing the depth must show in where the axis runs.
  MeasureOptions doubtful = FewTrials();
  doubtful.trials = 1000;
  const ViewPoints points = PhotoOf(sole, kSoleInCard, map);
  const auto sure = MeasureView(points, plane, doubtful);
  doubtful.frog_depth_sigma_mm = 3.0;
  EXPECT_GT(
      Of(MeasureView(points, plane, doubtful), MeasureId::kHalfWidthDifference)
          .standard_uncertainty,
      Of(sure, MeasureId::kHalfWidthDifference).standard_uncertainty + 0.5);
}

TEST(MeasureView, SharesThePrintBetweenPhotosWithOneSeed) {
  // Only the print is doubtful: the trials of two photos must then agree in
  // what they say of the scale, one by one.
  PlaneEstimate plane = Squarely();
  plane.doubt.print_sigma = 0.005;
  const Side side;
  Side other = side;
  other.support = 130;
  const auto trials_of = [&](const Side& foot, std::uint64_t seed) {
    MeasureOptions options;
    options.trials = 200;
    options.seed = seed;
    ViewPoints points = PhotoOf(foot, kSideInCard, NominalMap(plane));
    points.dorsal_wall.reset();
    return MeasureViewWithTrials(points, plane, options);
  };
  const auto column = static_cast<int>(MeasureId::kSupportLength);
  const auto a = trials_of(side, 5);
  const auto b = trials_of(other, 5);
  const auto c = trials_of(other, 6);
  EXPECT_NEAR(Of(a.measures, MeasureId::kSupportLength).standard_uncertainty,
              0.005 * side.support,
              0.06);
  double apart = 0.0;
  double apart_with_other_seed = 0.0;
  for (int i = 0; i < 200; ++i) {
    const double scale = a.trials(i, column) / side.support;
    apart = std::max(apart, std::abs(b.trials(i, column) / 130 - scale));
    apart_with_other_seed = std::max(
        apart_with_other_seed, std::abs(c.trials(i, column) / 130 - scale));
  }
  EXPECT_LT(apart, 1e-9);
  EXPECT_GT(apart_with_other_seed, 0.01);
}

TEST(MeasureView, DrawsThePointsOfTwoPhotosApart) {
  const PlaneEstimate plane = Squarely();
  MeasureOptions options;
  options.trials = 2000;
  const auto trials_of = [&](double support) {
    Side side;
    side.support = support;
    return MeasureViewWithTrials(
               PhotoOf(side, kSideInCard, NominalMap(plane), {3.0, 1.0, 10.0}),
               plane,
               options)
        .trials;
  };
  Trials both(2000, 2);
  const auto column = static_cast<int>(MeasureId::kToeAngle);
  both.col(0) = trials_of(118).col(column);
  both.col(1) = trials_of(119).col(column);
  // 2000 pairs without correlation: within 4 / sqrt(2000).
  EXPECT_NEAR(Correlation(both, 0, 1), 0.0, 0.09);
}

TEST(MeasureView, RepeatsItselfToTheDigit) {
  const PlaneEstimate plane = Squarely();
  const ViewPoints points =
      PhotoOf(Sole{}, kSoleInCard, NominalMap(plane), {3.0, 2.0, 10.0});
  const auto a = MeasureView(points, plane, FewTrials());
  const auto b = MeasureView(points, plane, FewTrials());
  for (const auto& [id, outcome] : a.outcomes) {
    EXPECT_EQ(Of(a, id).high95, Of(b, id).high95);
  }
}

// The covariance of a point is that of its trials: here only its own noise.
TEST(MeasureView, GivesPointsInTheFootWithTheirCovariance) {
  const PlaneEstimate plane = Squarely();
  const PlaneMap map = NominalMap(plane);
  ViewPoints points = PhotoOf(Sole{}, kSoleInCard, map);
  points.at(PointId::kToe)->covariance = geometry::PhotoCovariance::Round(4.0);
  MeasureOptions options = FewTrials();
  options.trials = 5000;
  const ViewMeasures measures = MeasureView(points, plane, options);
  const auto& toe = measures.points.at(static_cast<std::size_t>(PointId::kToe));
  ASSERT_TRUE(toe.has_value());
  EXPECT_NEAR(toe->mm.x, Sole{}.length, 1e-3);
  const double sigma = 4.0 / map.PixelsPerMillimetre({95, 95});
  EXPECT_NEAR(std::sqrt(toe->covariance.xx), sigma, 0.05 * sigma);
  EXPECT_NEAR(std::sqrt(toe->covariance.yy), sigma, 0.05 * sigma);
  EXPECT_NEAR(toe->covariance.xy, 0.0, 0.1 * sigma * sigma);
}

TEST(MeasureView, DrawsItsConstructionOnThePhoto) {
  const PlaneEstimate plane = LookAt({95, 95}, 600, 10, 50, 20);
  const PlaneMap map = NominalMap(plane);
  const Sole sole;
  const auto solar = MeasureSole(sole, plane).construction;
  const auto expect = [&](PhotoPoint p,
                          const Placed& placed,
                          double x,
                          double y,
                          double within_mm) {
    const CardPoint on_plane = *map.Apply(p);
    EXPECT_NEAR(
        geometry::Distance(on_plane, placed.ToCard({x, y})), 0.0, within_mm);
  };
  ASSERT_TRUE(solar.frog_axis && solar.widest_line && solar.heel_middle);
  expect((*solar.frog_axis)[0], kSoleInCard, 0, sole.axis_y, 0.01);
  expect((*solar.frog_axis)[1], kSoleInCard, sole.length, sole.axis_y, 0.01);
  expect(*solar.heel_middle, kSoleInCard, 0, 0, 0.01);
  expect(*solar.widest_left,
         kSoleInCard,
         sole.widest_at,
         sole.width / 2 * (1 + sole.lopsided),
         0.7);
  Side side;
  side.departure = 5;
  const auto lateral = MeasureSide(side, plane).construction;
  ASSERT_TRUE(lateral.toe_line && lateral.bearing_line && lateral.pastern_line);
  expect((*lateral.bearing_line)[1], kSideInCard, -side.support, 0, 0.01);
  // The straight part meets the ground behind the flare's end.
  const double behind =
      -side.departure / std::sin(side.toe_angle * std::numbers::pi / 180);
  expect((*lateral.toe_line)[0], kSideInCard, behind, 0, 0.4);
}

TEST(MeasureView, SaysWhoPlacedThePoints) {
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(Side{}, kSideInCard, NominalMap(plane));
  for (const PointId id :
       {PointId::kToeGround, PointId::kHeelGround, PointId::kHeelHairline}) {
    points.at(id)->placed_by = PlacedBy::kPerson;
  }
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_EQ(Of(measures, MeasureId::kHeelAngle).placed_by, PlacedBy::kPerson);
  EXPECT_EQ(Of(measures, MeasureId::kToeAngle).placed_by, PlacedBy::kFinder);
  EXPECT_EQ(Of(measures, MeasureId::kToeHeight).placed_by, PlacedBy::kFinder);
}

TEST(MeasureView, IsAsSureAsTheLeastSureOfItsPoints) {
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(Side{}, kSideInCard, NominalMap(plane));
  for (auto& p : points.points) {
    if (p) p->confidence = 0.99;
  }
  points.at(PointId::kHeelHairline)->confidence = 0.6;
  points.at(PointId::kHeelGround)->placed_by = PlacedBy::kPerson;
  points.at(PointId::kHeelGround)->confidence = 0.0;  // Of no finder.
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_EQ(Of(measures, MeasureId::kHeelAngle).confidence, 0.6);
  EXPECT_GT(Of(measures, MeasureId::kToeHeight).confidence, 0.9);
}

TEST(MeasureView, TakesAnOutlineOfAFewClicks) {
  const Sole sole;
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(sole, kSoleInCard, NominalMap(plane));
  points.outline->px = geometry::PhotoPolyline();
  for (const auto& p : sole.Outline(24)) {
    // The notch between the heels is 20 corners of its own: leave it out.
    if (p.x > 0.1 && p.x < 13 && std::abs(p.y) < 38) continue;
    points.outline->px.push_back(
        NominalMap(plane).Inverse(kSoleInCard.ToCard(p)));
  }
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_NEAR(Value(measures, MeasureId::kBearingWidth), sole.width, 0.6);
}

// An outline that the finder followed is closed between its heels: that line
// moves with them, and sweeps the width between the heels times half of what
// each moves. A person's outline knows of no heels.
TEST(MeasureView, IsAsUnsureOfTheAreaAsOfWhereTheHeelsEnd) {
  const Sole sole;
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(sole, kSoleInCard, NominalMap(plane));
  points.outline->sigma_px = 0.01;
  points.outline->correlation_px = 10;
  const double sigma_mm = 2.0;
  const double sigma_px =
      sigma_mm * NominalMap(plane).PixelsPerMillimetre({40, 95});
  for (const PointId id : {PointId::kHeelLeft, PointId::kHeelRight}) {
    points.at(id)->covariance = PhotoCovariance::Round(sigma_px);
    // A person's: by themselves.
    points.at(id)->placed_by = PlacedBy::kPerson;
  }
  const auto uncertainty = [&](PlacedBy by) {
    points.outline->placed_by = by;
    MeasureOptions options;
    options.trials = 4000;
    const ViewMeasures measures = MeasureView(points, plane, options);
    return Of(measures, MeasureId::kBearingArea).standard_uncertainty;
  };
  const double person = uncertainty(PlacedBy::kPerson);
  const double finder = uncertainty(PlacedBy::kFinder);
  const double by_heels =
      2 * sole.heel_half_width * sigma_mm / std::numbers::sqrt2;
  EXPECT_NEAR(
      std::sqrt(finder * finder - person * person), by_heels, 0.15 * by_heels);
}

// A finder may miss a flare, the more easily the less sure it is of its wall;
// what the value is doesn't change, nor how well a person's wall is known.
TEST(MeasureView, IsLessSureOfTheDepartureOfAFindersWall) {
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(Side{}, kSideInCard, NominalMap(plane));
  points.dorsal_wall->sigma_px = 0.3;
  points.dorsal_wall->correlation_px = 30;
  const auto departure = [&](PlacedBy by, double confidence) {
    points.dorsal_wall->placed_by = by;
    points.dorsal_wall->confidence = confidence;
    MeasureOptions options;
    options.trials = 2000;
    return Of(MeasureView(points, plane, options),
              MeasureId::kDorsalWallDeparture);
  };
  const Measured person = departure(PlacedBy::kPerson, 0.5);
  const Measured sure = departure(PlacedBy::kFinder, 1.0);
  const Measured unsure = departure(PlacedBy::kFinder, 0.5);
  EXPECT_EQ(sure.value, person.value);
  EXPECT_EQ(unsure.value, person.value);
  const auto more = [&](const Measured& found) {
    return std::sqrt(std::pow(found.standard_uncertainty, 2) -
                     std::pow(person.standard_uncertainty, 2));
  };
  EXPECT_NEAR(more(sure), 0.4, 0.05);
  EXPECT_NEAR(more(unsure), std::hypot(0.4, 2.0 * std::sqrt(0.5)), 0.1);
}

// ---- What can't be measured.

// What misleads the finder at one heel does so at the other: both come out too
// far in or out, as a person's errors do not. At the two ends of a side's heel
// it is the same way, which turns the heel's wall less.
TEST(MeasureView, TakesAFindersErrorsAtTheHeelsTogether) {
  const PlaneMap map = NominalMap(Squarely());
  const PhotoCovariance round = PhotoCovariance::Round(4.0);
  const auto ratio =
      [&](MeasureId id, const ViewPoints& points, PointId one, PointId other) {
        return UncertaintyOf(
                   id, points, one, other, round, geometry::PlacedBy::kFinder) /
               UncertaintyOf(
                   id, points, one, other, round, geometry::PlacedBy::kPerson);
      };
  // Correlations of -0.45 inwards (the one's inwards is the other's outwards),
  // 0.45 along the sole, 0.5 across the heel's wall; 4000 trials tell a
  // standard deviation to 1.1 % each.
  const ViewPoints sole = PhotoOf(Sole{}, kSoleInCard, map);
  EXPECT_NEAR(
      ratio(
          MeasureId::kHeelWidth, sole, PointId::kHeelLeft, PointId::kHeelRight),
      std::sqrt(1.45),
      0.06);
  EXPECT_NEAR(ratio(MeasureId::kBearingLength,
                    sole,
                    PointId::kHeelLeft,
                    PointId::kHeelRight),
              std::sqrt(1.45),
              0.06);
  EXPECT_NEAR(ratio(MeasureId::kHeelAngle,
                    PhotoOf(Side{}, kSideInCard, map),
                    PointId::kHeelGround,
                    PointId::kHeelHairline),
              std::sqrt(0.5),
              0.06);
}

TEST(MeasureView, SaysWhichPointsAreMissing) {
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(Sole{}, kSoleInCard, NominalMap(plane));
  points.at(PointId::kToe).reset();
  points.at(PointId::kHeelLeft).reset();
  points.hidden[static_cast<std::size_t>(PointId::kHeelLeft)] = true;
  points.outline.reset();
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_EQ(Why(measures, MeasureId::kBearingLength),
            "the toe is not placed, and the left heel can't be seen");
  EXPECT_EQ(Why(measures, MeasureId::kToeShare),
            "the toe and the outline of the bearing edge are not placed, and "
            "the left heel can't be seen");
  EXPECT_EQ(Why(measures, MeasureId::kBearingArea),
            "the outline of the bearing edge is not placed");
  EXPECT_EQ(Why(measures, MeasureId::kFrogLength), "");
}

TEST(MeasureView, TakesTheToeAngleFromTwoPointsWithoutTheWall) {
  const Side side;
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(side, kSideInCard, NominalMap(plane));
  points.dorsal_wall.reset();
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_NEAR(Value(measures, MeasureId::kToeAngle), side.toe_angle, 1e-3);
  EXPECT_EQ(Why(measures, MeasureId::kDorsalWallDeparture),
            "the line of the wall at the toe is not placed");
}

TEST(MeasureView, MeasuresNothingFromNothing) {
  for (const View view : {View::kSolar, View::kLateral}) {
    ViewPoints points;
    points.view = view;
    const ViewMeasures measures = MeasureView(points, Squarely(), FewTrials());
    EXPECT_EQ(measures.outcomes.size(), view == View::kSolar ? 16U : 14U);
    for (const auto& [id, outcome] : measures.outcomes) {
      EXPECT_FALSE(Why(measures, id).empty());
    }
  }
}

TEST(MeasureView, SaysThatCoincidingPointsMakeNoFoot) {
  const PlaneEstimate plane = Squarely();
  ViewPoints points = PhotoOf(Side{}, kSideInCard, NominalMap(plane));
  points.at(PointId::kHeelGround)->px = points.at(PointId::kToeGround)->px;
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_THAT(Why(measures, MeasureId::kToeAngle), HasSubstr("one place"));
  EXPECT_EQ(Why(measures, MeasureId::kDorsalWallLength), "");
}

TEST(MeasureView, LeavesOutWhatAShoeHides) {
  const PlaneEstimate plane = Squarely();
  MeasureOptions options = FewTrials();
  options.shod = true;
  const ViewMeasures solar = MeasureView(
      PhotoOf(Sole{}, kSoleInCard, NominalMap(plane)), plane, options);
  for (const auto& [id, outcome] : solar.outcomes) {
    const bool hidden = id == MeasureId::kHeelWidth ||
                        id == MeasureId::kBearingArea ||
                        id == MeasureId::kOutlineAsymmetry;
    EXPECT_EQ(!Why(solar, id).empty(), hidden) << InfoOf(id).key;
    if (hidden) {
      EXPECT_THAT(Why(solar, id), HasSubstr("shod"));
    }
  }
  EXPECT_THAT(solar.notes,
              testing::ElementsAre(HasSubstr("those of the shoe")));
  const ViewMeasures lateral = MeasureView(
      PhotoOf(Side{}, kSideInCard, NominalMap(plane)), plane, options);
  EXPECT_THAT(lateral.notes,
              testing::ElementsAre(HasSubstr("include the shoe")));
}

TEST(MeasureView, GivesAnglesAndRatiosWithoutScale) {
  PlaneEstimate plane = Squarely();
  plane.scale = ScaleSource::kNone;
  const Sole sole;
  const ViewMeasures solar = MeasureSole(sole, plane);
  const ViewMeasures lateral = MeasureSide(Side{}, plane);
  EXPECT_FALSE(solar.has_scale);
  for (const ViewMeasures* view : {&solar, &lateral}) {
    for (const auto& [id, outcome] : view->outcomes) {
      EXPECT_EQ(Why(*view, id).empty(), !InfoOf(id).needs_scale)
          << InfoOf(id).key;
      if (InfoOf(id).needs_scale) {
        EXPECT_THAT(Why(*view, id), HasSubstr("no scale"));
      }
    }
  }
  EXPECT_NEAR(
      Value(solar, MeasureId::kWidthToLength), sole.width / sole.length, 0.001);
}

// Without scale the millimetres of the heel's depth mean nothing: they are
// taken in proportion to the foot.
TEST(MeasureView, CorrectsTheNearHeelInProportionWithoutScale) {
  Side side;
  side.support = 120;
  PlaneEstimate plane = LookAt({95, 40}, 700, 0, 0, 0);
  const PlaneMap map = NominalMap(plane);
  ViewPoints points = PhotoOf(side, kSideInCard, map);
  SeeNearHeel(side, 32, kSideInCard, map, points);
  // The same photo, ten times as large in its arbitrary unit.
  plane.camera_from_card.translation *= 10;
  plane.scale = ScaleSource::kNone;
  const ViewMeasures measures = MeasureView(points, plane, FewTrials());
  EXPECT_NEAR(Value(measures, MeasureId::kToeToHeelLength),
              side.Truth(MeasureId::kToeToHeelLength),
              0.02);
  EXPECT_NEAR(Value(measures, MeasureId::kHairlineAngle),
              side.Truth(MeasureId::kHairlineAngle),
              0.3);
}

// Lengths are larger with the print in proportion, areas twice as much; angles
// and ratios know nothing of it.
TEST(MeasureView, TellsWhatThePrintDoesToEachMeasure) {
  PlaneEstimate plane = Squarely();
  plane.scale = ScaleSource::kCard;
  plane.doubt.print_sigma = 0.004;
  for (const ViewMeasures& measures :
       {MeasureSole({}, plane), MeasureSide({}, plane)}) {
    for (const auto& [id, outcome] : measures.outcomes) {
      SCOPED_TRACE(InfoOf(id).key);
      const Measured& m = Of(measures, id);
      double share = 0.0;
      if (InfoOf(id).unit == Unit::kMillimetre) share = 0.004;
      if (InfoOf(id).unit == Unit::kSquareMillimetre) share = 0.008;
      // Of a flare, the straight part is looked for with a scatter in mm.
      const double slack = id == MeasureId::kDorsalWallDeparture ? 0.01 : 1e-4;
      EXPECT_NEAR(m.shared_uncertainty, share * std::abs(m.value), slack);
      // The trials' own count of it, which is known to a few per cent.
      EXPECT_LE(m.shared_uncertainty, 1.2 * m.standard_uncertainty + 1e-9);
    }
  }
}

TEST(MeasureView, RefusesTooFewTrials) {
  MeasureOptions options;
  options.trials = 99;
  EXPECT_THROW((void)MeasureView(ViewPoints{}, Squarely(), options),
               std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::measure
