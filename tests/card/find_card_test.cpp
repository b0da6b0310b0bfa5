// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/find_card.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/core.hpp>
#include <vector>

#include "card/paint.h"
#include "plumbfoot/geometry/random.h"

namespace plumbfoot::card {
namespace {

using geometry::Camera;
using geometry::CardPoint;
using geometry::PhotoPoint;
using geometry::PlaneMap;
using geometry::Pose;
using geometry::Random;
using geometry::ScaleSource;

constexpr double kUsualFocal = 27.0 / 43.27;  // of the diagonal

Camera PhoneCamera(cv::Size size) {
  Camera camera;
  camera.focal_px = kUsualFocal * std::hypot(size.width, size.height);
  camera.principal = {size.width / 2.0, size.height / 2.0};
  return camera;
}

/// A quick photo: 0.8 megapixels, sharp enough.
struct Shot {
  cv::Size size = {1024, 768};
  Camera camera = PhoneCamera({1024, 768});
  Pose pose = LookAt({80, 80}, 400, 8, 30, 10);
  PaintOptions paint;

  Shot() {
    paint.fine = 1;
    paint.noise = 0.005;
  }
  cv::Mat Of(const Layout& layout) const {
    return PaintCard(layout, camera, pose, size, paint);
  }
};

RefusalCode CodeOf(const Result<SeenCard>& card) {
  return card ? RefusalCode::kUsage : card.error().code;
}

/// The largest error of a length between points all over the place where a
/// hoof is, in parts of that length, and of an angle [deg].
struct MapError {
  double length = 0.0;
  double angle = 0.0;
};
MapError ErrorOf(const PlaneMap& map, const PlaneMap& truth) {
  const std::vector<CardPoint> places = {
      {48, 48}, {230, 48}, {48, 230}, {230, 230}, {140, 140}, {60, 160}};
  std::vector<CardPoint> got;
  got.reserve(places.size());
  for (const CardPoint& p : places) {
    got.push_back(map.Apply(truth.Inverse(p)).value());
  }
  MapError worst;
  for (std::size_t i = 0; i < places.size(); ++i) {
    for (std::size_t j = i + 1; j < places.size(); ++j) {
      const auto a = got[j] - got[i];
      const auto b = places[j] - places[i];
      worst.length = std::max(worst.length, std::abs(Norm(a) / Norm(b) - 1));
      // Against the card's own x axis, as it is seen.
      const auto x = got[1] - got[0];
      const double seen = std::atan2(Cross(x, a), Dot(x, a));
      const auto true_x = places[1] - places[0];
      const double meant = std::atan2(Cross(true_x, b), Dot(true_x, b));
      worst.angle = std::max(
          worst.angle,
          std::abs(std::remainder(seen - meant, 2 * M_PI)) * 180 / M_PI);
    }
  }
  return worst;
}

TEST(FindCard, IsRightAcrossTheHoof) {
  // Phones of 3 megapixels, 0.35 to 1.2 m, tilt to 15 degrees; focal length,
  // principal point, k1 and print gain drawn from what FindCard may expect.
  std::vector<double> lengths;
  std::vector<double> angles;
  for (int i = 0; i < 9; ++i) {
    SCOPED_TRACE(i);
    Random random(static_cast<std::uint64_t>(100 + i));
    const cv::Size size(2016, 1512);
    const Camera usual = PhoneCamera(size);
    Camera camera = usual;
    camera.focal_px *= 1 + 0.03 * random.Normal();
    camera.principal.x += 10 * random.Normal();
    camera.principal.y += 10 * random.Normal();
    camera.lens.k1 = 0.005 * random.Normal();
    const double distance = i % 3 == 0 ? 350.0 : i % 3 == 1 ? 600.0 : 1200.0;
    const Pose pose = LookAt({110, 110},
                             distance,
                             random.Uniform(0, 15),
                             random.Uniform(0, 360),
                             random.Uniform(0, 360));
    PaintOptions paint;
    paint.fine = 2;
    paint.blur_px = random.Uniform(0.6, 1.5);
    paint.noise = 0.01;
    paint.gain_mm = 0.08 * random.Normal();
    paint.shading = random.Uniform(0, 0.4);
    paint.seed = static_cast<std::uint64_t>(i);
    const cv::Mat photo =
        PaintCard(StandardLayout(), camera, pose, size, paint);

    CardOptions options;
    options.camera.focal_px = usual.focal_px;
    const auto card = FindCard(photo, options);
    ASSERT_TRUE(card.has_value()) << card.error().message;
    EXPECT_EQ(card->tags.size(), 5U);
    EXPECT_FALSE(card->focal_assumed);
    EXPECT_EQ(card->plane.scale, ScaleSource::kCard);
    EXPECT_NEAR(card->print_gain_mm, paint.gain_mm, 0.03);
    EXPECT_NEAR(card->blur_px, std::hypot(paint.blur_px, 0.29), 0.1);
    EXPECT_NEAR(card->distance_mm, distance, 0.08 * distance);
    const MapError worst =
        ErrorOf(NominalMap(card->plane), PlaneMap(camera, pose));
    lengths.push_back(worst.length);
    angles.push_back(worst.angle);
    EXPECT_LT(worst.length, 0.003);
    EXPECT_LT(worst.angle, 0.2);
  }
  std::sort(lengths.begin(), lengths.end());
  std::sort(angles.begin(), angles.end());
  EXPECT_LT(lengths[4], 0.001);
  EXPECT_LT(angles[4], 0.05);
}

TEST(FindCard, ReadsACardInAnyRotation) {
  for (double roll = 0; roll < 360; roll += 45) {
    SCOPED_TRACE(roll);
    Shot shot;
    shot.pose = LookAt({80, 80}, 400, 10, 70, roll);
    const auto card = FindCard(shot.Of(StandardLayout()));
    ASSERT_TRUE(card.has_value()) << card.error().message;
    EXPECT_EQ(card->tags.size(), 5U);
    EXPECT_TRUE(card->focal_assumed);
    const PlaneMap map = NominalMap(card->plane);
    const PlaneMap truth(shot.camera, shot.pose);
    for (const CardPoint p : {CardPoint{0, 0}, CardPoint{160, 160}}) {
      EXPECT_LT(Distance(map.Apply(truth.Inverse(p)).value(), p), 0.5);
    }
    EXPECT_NEAR(card->tilt.value(), 10, 3);
    EXPECT_NEAR(card->px_per_mm, truth.PixelsPerMillimetre({68.8, 68.8}), 0.02);
  }
}

TEST(FindCard, GivesCornersInTheOrderItPromises) {
  const Shot shot;
  const auto card = FindCard(shot.Of(StandardLayout()));
  ASSERT_TRUE(card.has_value());
  const PlaneMap truth(shot.camera, shot.pose);
  const Layout layout = StandardLayout();
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_EQ(card->tags[i].id, static_cast<int>(i));
    const auto corners = TrueCorners(layout.tags[i], truth);
    for (std::size_t c = 0; c < 4; ++c) {
      EXPECT_LT(Distance(card->tags[i].corners[c], corners[c]), 0.1);
    }
  }
}

TEST(FindCard, WidensWithFewerTags) {
  // The same photo, with tags painted over one after the other.
  const Shot shot;
  const PlaneMap truth(shot.camera, shot.pose);
  Layout printed = StandardLayout();
  double last = 0;
  while (printed.tags.size() >= 2) {
    SCOPED_TRACE(printed.tags.size());
    const auto card = FindCard(shot.Of(printed));
    ASSERT_TRUE(card.has_value()) << card.error().message;
    EXPECT_EQ(card->tags.size(), printed.tags.size());
    const PhotoPoint far = truth.Inverse({200, 200});
    const geometry::PlaneEstimate estimate = card->plane;
    // The spread of the far point over draws.
    geometry::PlaneEstimate bare = estimate;
    bare.doubt = {0, 0, 0};
    const geometry::PlaneSampler sampler(bare, {100, 100});
    Random random(3);
    double sum = 0;
    const CardPoint middle = NominalMap(bare).Apply(far).value();
    for (int i = 0; i < 500; ++i) {
      const auto at = sampler.Draw(random, {}).Apply(far).value();
      sum += std::pow(Distance(at, middle), 2);
    }
    const double spread = std::sqrt(sum / 500);
    EXPECT_GT(spread, last);
    EXPECT_LT(Distance(middle, {200, 200}), 4 * spread);
    last = spread;
    printed.tags.pop_back();
  }
}

TEST(FindCard, ScalesByWhatTheRulerSaid) {
  const Shot shot;
  const cv::Mat photo = shot.Of(StandardLayout());
  CardOptions options;
  const auto plain = FindCard(photo, options);
  options.measured_mm = 147.0;
  const auto measured = FindCard(photo, options);
  ASSERT_TRUE(plain.has_value());
  ASSERT_TRUE(measured.has_value());
  const PhotoPoint p = {500, 400};
  const auto a = NominalMap(plain->plane).Apply(p).value();
  const auto b = NominalMap(measured->plane).Apply(p).value();
  EXPECT_NEAR(b.x / a.x, 147.0 / 150.0, 1e-4);
  EXPECT_NEAR(b.y / a.y, 147.0 / 150.0, 1e-4);
  EXPECT_DOUBLE_EQ(measured->plane.doubt.print_sigma, 0.2 / 150);
  options.measured_mm = 15.0;  // centimetres
  EXPECT_EQ(CodeOf(FindCard(photo, options)), RefusalCode::kBadNumber);
}

TEST(FindCard, ReadsDimAndOverexposedPhotos) {
  for (const auto& [black, white] :
       {std::pair{0.003, 0.06}, std::pair{0.1, 1.3}}) {
    SCOPED_TRACE(white);
    Shot shot;
    shot.paint.fine = 2;
    shot.paint.black = black;
    shot.paint.white = white;
    shot.paint.ground = 0.3 * white;
    const auto card = FindCard(shot.Of(StandardLayout()));
    ASSERT_TRUE(card.has_value()) << card.error().message;
    EXPECT_EQ(card->tags.size(), 5U);
    const MapError worst =
        ErrorOf(NominalMap(card->plane), PlaneMap(shot.camera, shot.pose));
    EXPECT_LT(worst.length, 0.004);
  }
}

TEST(FindCard, FollowsACroppedPhoto) {
  // The right third of a larger photo: the optical axis is far off the middle.
  Shot shot;
  shot.paint.fine = 2;
  shot.camera = PhoneCamera({2016, 1512});
  shot.camera.principal = {1008 - 800, 756 - 300};
  shot.pose = LookAt({80, 80}, 380, 14, 20, 10);
  // Slid into the part that is left.
  shot.pose.translation += Eigen::Vector3d(60, -10, 0);
  CardOptions options;
  options.camera.focal_px = shot.camera.focal_px;
  const auto card = FindCard(shot.Of(StandardLayout()), options);
  ASSERT_TRUE(card.has_value()) << card.error().message;
  const MapError worst =
      ErrorOf(NominalMap(card->plane), PlaneMap(shot.camera, shot.pose));
  EXPECT_LT(worst.length, 0.005);
}

TEST(FindCard, TakesALayoutOfOneTag) {
  Layout one;
  one.tags = {{42, {0, 0}, 60}};
  one.outline = {{-45, -45}, {45, -45}, {45, 45}, {-45, 45}};
  Shot shot;
  shot.pose = LookAt({0, 0}, 300, 5, 0, 200);
  CardOptions options;
  options.layout = one;
  const auto card = FindCard(shot.Of(one), options);
  ASSERT_TRUE(card.has_value()) << card.error().message;
  ASSERT_EQ(card->tags.size(), 1U);
  EXPECT_EQ(card->tags[0].id, 42);
  const PlaneMap truth(shot.camera, shot.pose);
  const auto seen = NominalMap(card->plane).Apply(truth.Inverse({25, -25}));
  EXPECT_LT(Distance(seen.value(), {25, -25}), 0.2);
}

TEST(FindCard, RefusesAPhotoWithoutACard) {
  const Shot shot;
  cv::Mat photo(shot.size, CV_8UC3, cv::Scalar(90, 80, 70));
  EXPECT_EQ(CodeOf(FindCard(photo)), RefusalCode::kNoCard);
  cv::randu(photo, cv::Scalar::all(0), cv::Scalar::all(255));
  EXPECT_EQ(CodeOf(FindCard(photo)), RefusalCode::kNoCard);
  EXPECT_EQ(CodeOf(FindCard(cv::Mat(1, 1, CV_8UC3, cv::Scalar::all(9)))),
            RefusalCode::kNoCard);
  // Tags of somebody else.
  Layout other = StandardLayout();
  for (TagPlace& tag : other.tags) tag.id += 100;
  EXPECT_EQ(CodeOf(FindCard(shot.Of(other))), RefusalCode::kNoCard);
}

TEST(FindCard, RefusesTwoCards) {
  Shot shot;
  shot.pose = LookAt({170, 80}, 500, 5, 0, 0);
  Layout two = StandardLayout();
  for (const TagPlace& tag : StandardLayout().tags) {
    two.tags.push_back({tag.id, {tag.centre.x + 180, tag.centre.y}, 36});
  }
  two.outline = {{0, 0}, {340, 0}, {340, 160}, {0, 160}};
  EXPECT_EQ(CodeOf(FindCard(shot.Of(two))), RefusalCode::kTwoCards);
}

TEST(FindCard, RefusesAMirroredPhoto) {
  const Shot shot;
  cv::Mat photo = shot.Of(StandardLayout());
  cv::flip(photo, photo, 1);
  EXPECT_EQ(CodeOf(FindCard(photo)), RefusalCode::kCardMirrored);
  cv::flip(photo, photo, -1);  // turned by 180 degrees, still mirrored
  EXPECT_EQ(CodeOf(FindCard(photo)), RefusalCode::kCardMirrored);
}

TEST(FindCard, RefusesOneTagOfFive) {
  const Shot shot;
  Layout one = StandardLayout();
  one.tags.resize(1);
  EXPECT_EQ(CodeOf(FindCard(shot.Of(one))), RefusalCode::kCardTooFewTags);
}

TEST(FindCard, RefusesACardWhoseTagsAreOutOfPlace) {
  const Shot shot;
  Layout moved = StandardLayout();
  moved.tags[2].centre.y += 4;
  EXPECT_EQ(CodeOf(FindCard(shot.Of(moved))), RefusalCode::kCardBent);
}

TEST(FindCard, LosesOnlyTheTagUnderAThumb) {
  const Shot shot;
  cv::Mat photo = shot.Of(StandardLayout());
  const PlaneMap truth(shot.camera, shot.pose);
  const PhotoPoint p = truth.Inverse({136, 24});
  photo(
      cv::Rect(static_cast<int>(p.x) - 20, static_cast<int>(p.y) - 20, 60, 60))
      .setTo(cv::Scalar(150, 110, 90));
  const auto card = FindCard(photo);
  ASSERT_TRUE(card.has_value()) << card.error().message;
  EXPECT_EQ(card->tags.size(), 4U);
}

TEST(PlaneFromKnownLength, GivesThatLengthAndLooksSquarely) {
  const cv::Size size(4032, 3024);
  const PhotoPoint from{1000, 900};
  const PhotoPoint to{2500, 2100};
  const auto plane = PlaneFromKnownLength(size, from, to, 130.0);
  ASSERT_TRUE(plane.has_value());
  EXPECT_EQ(plane->scale, ScaleSource::kKnownLength);
  const PlaneMap map = NominalMap(*plane);
  const auto a = map.Apply(from).value();
  const auto b = map.Apply(to).value();
  EXPECT_NEAR(Distance(a, b), 130.0, 1e-6);
  // x right and y up in the photo.
  EXPECT_GT(b.x, a.x);
  EXPECT_LT(b.y, a.y);
  // What isn't known of the focal length must not move the length.
  geometry::PlaneEstimate bare = *plane;
  bare.doubt = {0, 0, 0};
  const geometry::PlaneSampler sampler(bare, {0, 0});
  Random random(5);
  for (int i = 0; i < 100; ++i) {
    const PlaneMap drawn = sampler.Draw(random, {});
    EXPECT_NEAR(Distance(drawn.Apply(from).value(), drawn.Apply(to).value()),
                130.0,
                2.6);  // what is left is k1
  }
}

TEST(PlaneFromKnownLength, RefusesWhatIsNoLength) {
  const cv::Size size(400, 300);
  const auto code = [&](PhotoPoint to, double mm) {
    const auto plane = PlaneFromKnownLength(size, {10, 10}, to, mm);
    return plane ? RefusalCode::kUsage : plane.error().code;
  };
  EXPECT_EQ(code({10, 10}, 100), RefusalCode::kBadNumber);
  EXPECT_EQ(code({90, 10}, 0), RefusalCode::kBadNumber);
  EXPECT_EQ(code({90, 10}, -5), RefusalCode::kBadNumber);
  EXPECT_EQ(code({90, 10}, std::nan("")), RefusalCode::kBadNumber);
  EXPECT_EQ(code({std::nan(""), 10}, 10), RefusalCode::kBadNumber);
}

TEST(PlaneWithoutScale, KeepsRatiosAndHandedness) {
  const auto plane = PlaneWithoutScale({3000, 4000});
  EXPECT_EQ(plane.scale, ScaleSource::kNone);
  const PlaneMap map = NominalMap(plane);
  const auto o = map.Apply({1500, 2000}).value();
  const auto right = map.Apply({3000, 2000}).value();
  const auto up = map.Apply({1500, 500}).value();
  EXPECT_NEAR(right.x - o.x, 150, 1e-6);  // CHOSEN there: 300 mm across
  EXPECT_NEAR(right.y, o.y, 1e-6);
  EXPECT_NEAR(up.y - o.y, 150, 1e-6);
  EXPECT_GT(Cross(right - o, up - o), 0);
}

}  // namespace
}  // namespace plumbfoot::card
