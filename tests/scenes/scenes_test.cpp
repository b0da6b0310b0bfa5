// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

extern "C" {
#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
}

#include <libexif/exif-data.h>

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <numeric>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "plumbfoot/geometry/random.h"
#include "scenes/photo_file.h"
#include "scenes/renderer.h"
#include "scenes/scene.h"
#include "scenes/truth.h"

namespace plumbfoot::scenes {
namespace {

using geometry::Foot;
using geometry::PhotoPoint;
using geometry::PointId;
using geometry::Random;
using geometry::View;

// A grey value of the photo as libapriltag is given it. A blurred edge's middle
// is its middle in linear light only: in sRGB the black squares look smaller,
// by 0.8 of the blur's sigma on every side.
cv::Mat LinearGrey(const cv::Mat& rgb) {
  cv::Mat grey;
  cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
  cv::Mat linear(1, 256, CV_8U);
  for (int i = 0; i < 256; ++i) {
    const double s = i / 255.0;
    const double v =
        s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
    // PlainScene's white is 0.26.
    linear.at<unsigned char>(0, i) =
        static_cast<unsigned char>(std::lround(std::min(1.0, v / 0.3) * 255));
  }
  cv::LUT(grey, linear, grey);
  return grey;
}

// By id: the four corners, bottom left first, as libapriltag finds them.
//
// Its edge refinement takes the grey value of the whole pixel that a place
// falls in. Along an edge that lies aslant this averages out; along a row of
// pixels, as on a card that stands upright, it moves the edge by up to half a
// pixel. So it is given the photo turned aslant and enlarged.
std::map<int, std::array<PhotoPoint, 4>> Detect(const cv::Mat& rgb) {
  constexpr double kEnlarged = 2;
  constexpr double kTurn = 25 * std::numbers::pi / 180;
  const cv::Mat grey = LinearGrey(rgb);
  const double c = kEnlarged * std::cos(kTurn);
  const double s = kEnlarged * std::sin(kTurn);
  const double shift = s * grey.rows;  // The lower left corner comes to x = 0.
  // OpenCV counts from the pixel's centre.
  const cv::Matx23d turn(
      c, -s, shift + (c - s) / 2 - 0.5, s, c, (s + c) / 2 - 0.5);
  cv::Mat turned;
  cv::warpAffine(grey,
                 turned,
                 turn,
                 {static_cast<int>(c * grey.cols + s * grey.rows),
                  static_cast<int>(s * grey.cols + c * grey.rows)},
                 cv::INTER_LINEAR,
                 cv::BORDER_REPLICATE);
  image_u8_t image = {
      turned.cols, turned.rows, static_cast<int>(turned.step[0]), turned.data};
  apriltag_family_t* family = tag36h11_create();
  apriltag_detector_t* detector = apriltag_detector_create();
  apriltag_detector_add_family(detector, family);
  // Squares are looked for in the photo's own size, and their edges refined
  // within a pixel and a half of it.
  detector->quad_decimate = kEnlarged;
  zarray_t* found = apriltag_detector_detect(detector, &image);
  std::map<int, std::array<PhotoPoint, 4>> tags;
  for (int i = 0; i < zarray_size(found); ++i) {
    apriltag_detection_t* d = nullptr;
    zarray_get(found, i, &d);
    if (d->hamming > 0) continue;
    for (std::size_t k = 0; k < 4; ++k) {
      const double x = d->p[k][0] - shift;
      const double y = d->p[k][1];
      tags[d->id][k] = PhotoPoint{(c * x + s * y) / (kEnlarged * kEnlarged),
                                  (c * y - s * x) / (kEnlarged * kEnlarged)};
    }
  }
  apriltag_detections_destroy(found);
  apriltag_detector_destroy(detector);
  tag36h11_destroy(family);
  return tags;
}

SceneOptions PlainScene(View view, std::uint64_t seed) {
  Random random(seed);
  SceneOptions o = RandomScene(view, Foot::kLeftFore, random);
  o.card_only = true;
  o.effects.motion_px = 0;
  o.effects.sharpen = 0;
  o.effects.electrons = 20000;
  // Below the highlights that the tone curve rolls off.
  o.effects.exposure = 0.35;
  return o;
}

// An independent reader of the whole card, lens and perspective included.
// What is left is libapriltag's own scatter: in 320 corners of 16 other scenes
// the median was 0.025 px, 99 in 100 lay within 0.10 px and the worst was
// 0.12 px off.
TEST(Render, PutsTagsWhereLibapriltagFindsThem) {
  std::vector<double> errors;
  geometry::PhotoVector mean;
  for (std::uint64_t seed = 301; seed <= 312; ++seed) {
    SCOPED_TRACE(seed);
    const View view = seed % 2 ? View::kSolar : View::kLateral;
    const RenderedPhoto photo = Render(PlainScene(view, seed), 1600, 1200);
    const auto found = Detect(photo.photo);
    ASSERT_EQ(found.size(), 5U);
    for (const TruthTag& tag : photo.truth.tags) {
      ASSERT_TRUE(tag.visible);
      ASSERT_TRUE(found.count(tag.id));
      for (std::size_t k = 0; k < 4; ++k) {
        const geometry::PhotoVector off = found.at(tag.id)[k] - tag.corners[k];
        errors.push_back(geometry::Norm(off));
        mean = mean + off / (12 * 5 * 4);
      }
    }
  }
  std::sort(errors.begin(), errors.end());
  ASSERT_EQ(errors.size(), 240U);
  EXPECT_LT(errors[120], 0.04);
  EXPECT_LT(errors.back(), 0.15);
  // Detection at half the size shifts it by some hundredths (upstream issue
  // 345).
  EXPECT_LT(geometry::Norm(mean), 0.03);
}

// A pixel's linear light; between pixels, bilinear.
double LinearAt(const cv::Mat& rgb, PhotoPoint p) {
  const double x = p.x - 0.5;
  const double y = p.y - 0.5;
  const int ix = static_cast<int>(std::floor(x));
  const int iy = static_cast<int>(std::floor(y));
  const auto at = [&](int dx, int dy) {
    const double s = rgb.at<cv::Vec3b>(iy + dy, ix + dx)[1] / 255.0;
    return s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
  };
  const double fx = x - ix;
  const double fy = y - iy;
  return (1 - fy) * ((1 - fx) * at(0, 0) + fx * at(1, 0)) +
         fy * ((1 - fx) * at(0, 1) + fx * at(1, 1));
}

// How far the edge `at(0)` to `at(1)` lies beside where the truth says [px]:
// black is to the left along it in the photo's frame (y down: clockwise).
double EdgeOffset(const cv::Mat& rgb,
                  const std::function<PhotoPoint(double)>& at) {
  const geometry::PhotoVector along = at(1) - at(0);
  const double length = geometry::Norm(along);
  const geometry::PhotoVector out =
      geometry::PhotoVector{-along.y, along.x} / length;
  // Inside the border cell and the white rim, both an eighth of a side wide,
  // and short of the longest ticks.
  const double reach = 0.07 * length;
  double sum = 0;
  constexpr int kLines = 200;
  constexpr int kSteps = 160;
  for (int i = 0; i < kLines; ++i) {
    const PhotoPoint on = at(0.15 + 0.7 * i / (kLines - 1));
    std::array<double, kSteps> light{};
    for (int k = 0; k < kSteps; ++k)
      light[static_cast<std::size_t>(k)] =
          LinearAt(rgb, on + (2 * (k + 0.5) / kSteps - 1) * reach * out);
    // Black and white as the outer fifths have them: well off the blur.
    constexpr int kOuter = kSteps / 5;
    const double low =
        std::accumulate(light.begin(), light.begin() + kOuter, 0.0) / kOuter;
    const double high =
        std::accumulate(light.end() - kOuter, light.end(), 0.0) / kOuter;
    double dark = 0;
    for (const double v : light)
      dark += (v - high) / (low - high) * (2 * reach / kSteps);
    sum += dark - reach;
  }
  return sum / kLines;
}

// The photo of a place on the card, by the geometry room.
PhotoPoint OnPhoto(const Truth& truth, double x, double y) {
  const Eigen::Vector3d place = truth.print_scale * Eigen::Vector3d(x, y, 0);
  return geometry::Project(truth.camera,
                           truth.camera_from_card.rotation * place +
                               truth.camera_from_card.translation);
}

// Each edge, and where opposite edges together put the tag. The lens bends an
// edge by up to 0.07 px, so its truth is followed along and not cut short from
// corner to corner. A little noise spreads the rounding to 8 bits, which else
// moves an edge that runs along a row of pixels by 0.03 px.
TEST(Render, PutsTagEdgesWhereTheTruthSaysTo0p02Px) {
  double mean = 0;
  int edges = 0;
  for (std::uint64_t seed = 221; seed <= 228; ++seed) {
    SCOPED_TRACE(seed);
    SceneOptions o = PlainScene(seed % 2 ? View::kSolar : View::kLateral, seed);
    o.effects.electrons = 60000;  // Half a grey level.
    o.effects.vignette = 0;
    o.effects.blur_px = 0.6;
    const RenderedPhoto photo = Render(o, 2000, 1500);
    for (const TruthTag& tag : photo.truth.tags) {
      const auto& centre = kTagCentres[static_cast<std::size_t>(tag.id)];
      const auto corner = [&](std::size_t k) -> std::array<double, 2> {
        const double half = kTagSide / 2;
        return {centre[0] + (k == 0 || k == 3 ? -half : half),
                centre[1] + (k < 2 ? -half : half)};
      };
      double left_right = 0;
      double up_down = 0;
      for (std::size_t k = 0; k < 4; ++k) {
        // Anticlockwise in the photo is black on the right: go backwards.
        const auto from = corner((k + 1) % 4);
        const auto to = corner(k);
        const auto at = [&](double part) {
          return OnPhoto(photo.truth,
                         from[0] + part * (to[0] - from[0]),
                         from[1] + part * (to[1] - from[1]));
        };
        ASSERT_LT(geometry::Distance(at(1), tag.corners[k]), 1e-6);
        const double off = EdgeOffset(photo.photo, at);
        EXPECT_NEAR(off, 0.0, 0.02) << tag.id << ' ' << k;
        mean += off;
        ++edges;
        (k % 2 ? left_right : up_down) += (k < 2 ? off : -off) / 2;
      }
      EXPECT_NEAR(left_right, 0.0, 0.015);
      EXPECT_NEAR(up_down, 0.0, 0.015);
    }
  }
  // Black squares neither grow nor shrink.
  EXPECT_NEAR(mean / edges, 0.0, 0.002);
}

TEST(Render, GivesTheSamePhotoForTheSameSeedAndAnyThreads) {
  Random first(12);
  Random second(12);
  const SceneOptions a = RandomScene(View::kLateral, Foot::kRightHind, first);
  const SceneOptions b = RandomScene(View::kLateral, Foot::kRightHind, second);
  const RenderedPhoto x = Render(a, 320, 240, 1);
  const RenderedPhoto y = Render(b, 320, 240, 2);
  EXPECT_EQ(cv::norm(x.photo, y.photo, cv::NORM_INF), 0.0);
  EXPECT_EQ(ToJson(x.truth), ToJson(y.truth));
  Random third(13);
  const SceneOptions c = RandomScene(View::kLateral, Foot::kRightHind, third);
  EXPECT_GT(cv::norm(x.photo, Render(c, 320, 240, 2).photo, cv::NORM_INF),
            20.0);
}

TEST(Truth, ProjectsPointsOfTheMeasuredPlaneAsTheGeometryRoomDoes) {
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    SCOPED_TRACE(seed);
    Random random(seed);
    const View view = seed % 2 ? View::kSolar : View::kLateral;
    SceneOptions o = RandomScene(
        view, seed % 4 < 2 ? Foot::kLeftFore : Foot::kRightHind, random);
    o.card.doubt = {
        random.Normal(0, 4), random.Normal(0, 0.04), random.Normal(0, 0.04)};
    const Truth t = ComputeTruth(o, 1600, 1200);
    const geometry::PlaneMap map(t.camera, t.camera_from_measured);
    // Distances in the plane are the foot frame's, whatever the frames'
    // origins and turns.
    const PointId from =
        view == View::kSolar ? PointId::kHeelLeft : PointId::kToeHairline;
    for (const PointId id :
         view == View::kSolar ? std::vector{PointId::kToe, PointId::kHeelRight}
                              : std::vector{PointId::kToeGround,
                                            PointId::kHeelGround,
                                            PointId::kHeelHairline,
                                            PointId::kPasternUpper}) {
      const auto p = map.Apply(t.at(id)->px);
      const auto q = map.Apply(t.at(from)->px);
      ASSERT_TRUE(p && q);
      EXPECT_NEAR(geometry::Distance(*p, *q),
                  geometry::Distance(t.at(id)->mm, t.at(from)->mm),
                  1e-6);
    }
    if (view == View::kLateral) {
      const TruthPoint& heel = *t.at(PointId::kHeelGround);
      const auto near = map.ApplyNearer(*heel.px_near, heel.near_depth_mm);
      const auto middle = map.Apply(heel.px);
      ASSERT_TRUE(near && middle);
      EXPECT_NEAR(geometry::Distance(*near, *middle), 0.0, 1e-6);
    }
  }
}

// The card turned and moved about the pivot, as PlaneSampler writes it.
TEST(Truth, HasTheMeasuredPlaneTurnedAndOffsetAgainstTheCard) {
  Random random(5);
  SceneOptions o = RandomScene(View::kSolar, Foot::kLeftFore, random);
  o.card.doubt = {6.0, 0.05, -0.03};
  const Truth t = ComputeTruth(o, 1600, 1200);
  const Eigen::Matrix3d turn = geometry::RotationFromVector({0.05, -0.03, 0});
  const Eigen::Vector3d pivot(t.pivot.x, t.pivot.y, 0);
  EXPECT_TRUE(t.camera_from_measured.rotation.isApprox(
      t.camera_from_card.rotation * turn, 1e-12));
  const Eigen::Vector3d moved =
      t.camera_from_card.rotation *
          (pivot + Eigen::Vector3d(0, 0, 6) - turn * pivot) +
      t.camera_from_card.translation;
  EXPECT_NEAR((t.camera_from_measured.translation - moved).norm(), 0.0, 1e-9);
}

FootShape EvenFoot() {
  FootShape s;
  s.ripple = 0;
  s.toe_flare = 0;
  return s;
}

TEST(Truth, MeasuresAnEvenFootAsItWasMade) {
  SceneOptions o;
  o.shape = EvenFoot();
  const auto m = ComputeTruth(o, 1600, 1200).measures;
  EXPECT_NEAR(m.at("bearing_width"), 124.0, 0.01);
  EXPECT_NEAR(m.at("bearing_length"), 125.0, 1e-9);
  EXPECT_NEAR(m.at("width_to_length"), 124.0 / 125.0, 1e-4);
  EXPECT_NEAR(m.at("heel_width"), 80.0, 1e-9);
  EXPECT_NEAR(m.at("frog_length"), 78.0, 1e-9);
  EXPECT_NEAR(m.at("frog_width"), 46.0, 1e-9);
  EXPECT_NEAR(m.at("toe_to_frog_apex"), 125.0 - 6.0 - 78.0, 1e-9);
  EXPECT_NEAR(m.at("widest_to_toe") + m.at("widest_to_heel"), 125.0, 1e-9);
  EXPECT_NEAR(m.at("widest_to_heel"), 52.0, 0.5);
  EXPECT_NEAR(m.at("half_width_difference"), 0.0, 1e-9);
  EXPECT_NEAR(m.at("outline_asymmetry"), 0.0, 1e-6);
  // Half an ellipse in front of the widest place, at least a triangle and at
  // most a rectangle behind it.
  const double front = std::numbers::pi / 2 * 62 * 73;
  EXPECT_GT(m.at("bearing_area"), front + 52 * (80 + 124) / 2.0);
  EXPECT_LT(m.at("bearing_area"), front + 52 * 124);

  o.view = View::kLateral;
  const auto l = ComputeTruth(o, 1600, 1200).measures;
  EXPECT_NEAR(l.at("toe_angle"), 50.0, 1e-9);
  EXPECT_NEAR(l.at("heel_angle"), 46.0, 1e-6);
  EXPECT_NEAR(l.at("pastern_angle"), 50.0, 1e-9);
  EXPECT_NEAR(l.at("dorsal_wall_length"), 85.0, 1e-6);
  EXPECT_NEAR(l.at("heel_wall_length"), 40.0, 1e-6);
  EXPECT_NEAR(
      l.at("toe_height"), 85 * std::sin(50 * std::numbers::pi / 180), 1e-6);
  EXPECT_NEAR(l.at("support_length"), 125.0, 1e-9);
  EXPECT_NEAR(l.at("dorsal_wall_departure"), 0.0, 1e-9);
  EXPECT_GT(l.at("hairline_angle"), 0.0);  // The heel's end is lower.
}

TEST(Truth, MeasuresWhatWasBentTurnedOrMadeUneven) {
  SceneOptions o;
  o.shape = EvenFoot();
  o.shape.left.half_width = 65;
  o.shape.frog_turn = 2;
  const auto m = ComputeTruth(o, 1600, 1200).measures;
  // By a turned axis the width changes to the second order only.
  EXPECT_NEAR(m.at("bearing_width"), 127.0, 0.5);
  EXPECT_GT(m.at("outline_asymmetry"), 1.0);
  EXPECT_NEAR(m.at("frog_length"), 78.0, 1e-9);

  o.view = View::kLateral;
  o.shape = EvenFoot();
  o.shape.toe_flare = 4;
  const auto l = ComputeTruth(o, 1600, 1200).measures;
  EXPECT_NEAR(l.at("toe_angle"), 50.0, 1e-9);  // Of the straight part.
  // A foot 4 mm before the toe line along the ground is 4 sin 50 off it.
  EXPECT_NEAR(l.at("dorsal_wall_departure"),
              4 * std::sin(50 * std::numbers::pi / 180),
              1e-6);
}

TEST(RandomFootShape, StaysWithinTheSizesOfRealFeet) {
  Random random(77);
  for (int i = 0; i < 200; ++i) {
    SCOPED_TRACE(i);
    const FootShape s =
        RandomFootShape(random, i % 2 ? Foot::kLeftFore : Foot::kRightHind);
    SceneOptions o;
    o.shape = s;
    const auto m = SolarMeasures(ComputeTruth(o, 100, 100));
    EXPECT_GT(m.at("bearing_width"), 85);
    EXPECT_LT(m.at("bearing_width"), 175);
    EXPECT_GT(m.at("width_to_length"), 0.8);
    EXPECT_LT(m.at("width_to_length"), 1.2);
    EXPECT_LE(s.toe_angle, 62);
    EXPECT_GE(s.toe_angle, 38);
    EXPECT_GE(s.toe_angle - s.heel_angle, 0);
    EXPECT_LE(s.toe_angle - s.heel_angle, 12);
  }
}

TEST(EncodeJpeg, WritesWhatAPhoneWrites) {
  const cv::Mat grey(48, 64, CV_8UC3, cv::Scalar(90, 120, 150));
  const auto bytes = EncodeJpeg(grey, 90, {6, "2026:03:14 10:20:00", 26});
  ExifData* data = exif_data_new_from_data(bytes.data(),
                                           static_cast<unsigned>(bytes.size()));
  ASSERT_NE(data, nullptr);
  const auto text = [&](ExifIfd ifd, ExifTag tag) {
    ExifEntry* e = exif_content_get_entry(data->ifd[ifd], tag);
    std::array<char, 64> value{};
    if (e != nullptr) exif_entry_get_value(e, value.data(), value.size());
    return std::string(value.data());
  };
  EXPECT_EQ(text(EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM), "26");
  EXPECT_EQ(text(EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL),
            "2026:03:14 10:20:00");
  ExifEntry* orientation =
      exif_content_get_entry(data->ifd[EXIF_IFD_0], EXIF_TAG_ORIENTATION);
  ASSERT_NE(orientation, nullptr);
  EXPECT_EQ(exif_get_short(orientation->data, exif_data_get_byte_order(data)),
            6);
  exif_data_unref(data);
  const cv::Mat back = cv::imdecode(bytes, cv::IMREAD_COLOR);
  // OpenCV turns the photo upright by the orientation.
  EXPECT_EQ(back.size(), cv::Size(48, 64));
}

}  // namespace
}  // namespace plumbfoot::scenes
