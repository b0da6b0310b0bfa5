// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/annotate.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "plumbfoot/geometry/random.h"
#include "plumbfoot/photo/encode_jpeg.h"

namespace plumbfoot::draw {
namespace {

using geometry::PhotoPoint;
using geometry::PlacedPoint;
using measure::ViewMeasures;

constexpr double kDegree = std::numbers::pi / 180;

/// A photo of nothing, a foot whose points are known in millimetres, and the
/// measures that follow.
struct Scene {
  photo::Photo photo;
  geometry::PlaneEstimate plane;
  ViewPoints points;
  ViewMeasures measures;

  PhotoPoint At(double x_mm, double y_mm) const {
    return geometry::NominalMap(plane).Inverse({x_mm, y_mm});
  }
  void Put(PointId id,
           double x_mm,
           double y_mm,
           PlacedBy placed_by = PlacedBy::kFinder) {
    points.at(id) = PlacedPoint{
        At(x_mm, y_mm), geometry::PhotoCovariance::Round(2.0), placed_by, 0.9};
  }
  void Measure() {
    measure::MeasureOptions options;
    options.trials = 200;
    measures = measure::MeasureView(points, plane, options);
  }
};

/// @param grey      Of the photo.
/// @param distance  Of the camera [mm].
Scene EmptyScene(View view, cv::Size size, int grey, double distance) {
  Scene scene;
  scene.photo.rgb = cv::Mat(size, CV_8UC3, cv::Scalar::all(grey));
  scene.points.view = view;
  geometry::PlaneEstimate& plane = scene.plane;
  plane.camera.focal_px = 0.8 * std::max(size.width, size.height);
  plane.camera.principal = {size.width / 2.0, size.height / 2.0};
  // The card's y runs up, the photo's down; tilted by 8 degrees.
  plane.camera_from_card.rotation =
      geometry::RotationFromVector({8 * kDegree, 0, 0}) *
      geometry::RotationFromVector({std::numbers::pi, 0, 0});
  plane.camera_from_card.translation = {0, 0, distance};
  plane.scale = geometry::ScaleSource::kCard;
  return scene;
}

/// A sole of 130 mm by 118 mm about (x, y).
Scene Sole(cv::Size size,
           int grey = 128,
           double distance = 450,
           double x = 0,
           double y = 0) {
  Scene scene = EmptyScene(View::kSolar, size, grey, distance);
  geometry::PlacedCurve outline;
  for (double a = -50; a <= 230; a += 2) {
    outline.px.push_back(scene.At(x + 65 * std::cos(a * kDegree),
                                  y + 66 * std::sin(a * kDegree)));
  }
  outline.sigma_px = 2;
  outline.correlation_px = 40;
  outline.confidence = 0.9;
  scene.points.outline = outline;
  // The sole is seen from below: the horse's left is at the photo's right when
  // the toe points up.
  scene.Put(PointId::kToe, x, y + 66);
  scene.Put(PointId::kHeelRight, x - 41, y - 51);
  scene.Put(PointId::kHeelLeft, x + 41, y - 51, PlacedBy::kPerson);
  scene.Put(PointId::kFrogApex, x, y + 28);
  scene.Put(PointId::kFrogRight, x - 27, y - 48);
  scene.Put(PointId::kFrogLeft, x + 27, y - 48);
  scene.Measure();
  return scene;
}

/// A foot from the side, the toe to the right, its toe's ground at (x, y).
Scene Side(cv::Size size,
           int grey = 128,
           double distance = 500,
           double x = 60,
           double y = -50) {
  Scene scene = EmptyScene(View::kLateral, size, grey, distance);
  scene.Put(PointId::kToeGround, x, y);
  scene.Put(PointId::kToeHairline, x - 52, y + 67);
  scene.Put(PointId::kHeelGround, x - 100, y);
  scene.Put(PointId::kHeelHairline, x - 127, y + 30);
  scene.Put(PointId::kPasternLower, x - 68, y + 88);
  scene.Put(PointId::kPasternUpper, x - 92, y + 121);
  scene.Measure();
  return scene;
}

Caption SomeCaption() {
  return {"left fore", "Juno", "2026-03-14", "before the trim", {}};
}

AnnotateOptions WithPlane(const Scene& scene) {
  AnnotateOptions options;
  options.plane = scene.plane;
  return options;
}

Annotated Draw(const Scene& scene, const AnnotateOptions& options) {
  return DrawAnnotated(
      scene.photo, scene.points, scene.measures, SomeCaption(), options);
}

Annotated Draw(const Scene& scene) {
  return Draw(scene, WithPlane(scene));
}

void ExpectTidyLabels(const Annotated& annotated) {
  for (std::size_t i = 0; i < annotated.labels.size(); ++i) {
    const PlacedLabel& label = annotated.labels[i];
    EXPECT_TRUE(Contains(annotated.photo, label.box)) << label.text;
    if (annotated.bar) {
      EXPECT_FALSE(Overlap(label.box, *annotated.bar)) << label.text;
    }
    for (std::size_t k = i + 1; k < annotated.labels.size(); ++k) {
      EXPECT_FALSE(Overlap(label.box, annotated.labels[k].box))
          << label.text << " and " << annotated.labels[k].text;
    }
  }
}

bool IsColour(cv::Vec3b pixel, Colour colour) {
  return std::abs(pixel[0] - 255 * colour.red) < 30 &&
         std::abs(pixel[1] - 255 * colour.green) < 30 &&
         std::abs(pixel[2] - 255 * colour.blue) < 30;
}

/// How much of the line from `from` to `to` has the colour, where no label and
/// no marker lies on it.
double PartInColour(const Annotated& annotated,
                    PhotoPoint from,
                    PhotoPoint to,
                    Colour colour,
                    const ViewPoints& points) {
  int seen = 0;
  int coloured = 0;
  const double s = annotated.picture_from_photo;
  const double em = 0.0225 * annotated.photo.width;
  for (int i = 1; i < 400; ++i) {
    const PhotoPoint photo = from + (i / 400.0) * (to - from);
    const CanvasPoint p{s * photo.x, s * photo.y};
    bool hidden = false;
    for (const PlacedLabel& label : annotated.labels) {
      hidden = hidden || Contains(Grown(label.box, 6), {p.x, p.y, 0, 0});
    }
    for (const auto& point : points.points) {
      hidden =
          hidden ||
          (point && geometry::Distance(
                        p, CanvasPoint{s * point->px.x, s * point->px.y}) < em);
    }
    if (hidden) continue;
    ++seen;
    if (IsColour(annotated.rgb.at<cv::Vec3b>(static_cast<int>(p.y),
                                             static_cast<int>(p.x)),
                 colour)) {
      ++coloured;
    }
  }
  return seen > 50 ? static_cast<double>(coloured) / seen : 0.0;
}

TEST(DrawAnnotated, ReducesThePhotoAndAddsTheWords) {
  const Annotated annotated = Draw(Sole({4000, 3000}));
  EXPECT_EQ(annotated.photo.width, 2048);
  EXPECT_EQ(annotated.photo.height, 1536);
  EXPECT_NEAR(annotated.picture_from_photo, 0.512, 1e-9);
  EXPECT_EQ(annotated.rgb.cols, 2048);
  EXPECT_GT(annotated.rgb.rows, 1536 + 100);
  EXPECT_LT(annotated.rgb.rows, 1536 + 500);
  const std::string jpeg = photo::EncodeJpeg(annotated.rgb);
  const cv::Mat back = cv::imdecode(
      std::vector<unsigned char>(jpeg.begin(), jpeg.end()), cv::IMREAD_COLOR);
  EXPECT_EQ(back.size(), annotated.rgb.size());
}

TEST(DrawAnnotated, EnlargesASmallPhotoSoThatItsWordsCanBeRead) {
  const Annotated annotated = Draw(Sole({463, 512}));
  EXPECT_EQ(annotated.photo.height, 1280);
  EXPECT_NEAR(annotated.picture_from_photo, 1280.0 / 512, 0.01);
}

TEST(DrawAnnotated, LeavesThePhotoAlone) {
  // The size at which nothing is resized and pixels might be shared.
  const Scene scene = Sole({2048, 1536});
  const cv::Mat before = scene.photo.rgb.clone();
  const Annotated annotated = Draw(scene);
  EXPECT_EQ(cv::norm(scene.photo.rgb, before, cv::NORM_INF), 0);
  EXPECT_NE(annotated.rgb.data, scene.photo.rgb.data);
}

TEST(DrawAnnotated, DrawsTheSolesLinesWhereTheyAre) {
  for (const int grey : {5, 128, 250}) {
    const Scene scene = Sole({2048, 1536}, grey);
    const Annotated annotated = Draw(scene);
    const measure::Construction& c = scene.measures.construction;
    ASSERT_TRUE(c.widest_line && c.frog_axis);
    EXPECT_GT(PartInColour(annotated,
                           (*c.widest_line)[0],
                           (*c.widest_line)[1],
                           kOrange,
                           scene.points),
              0.85);
    EXPECT_GT(PartInColour(annotated,
                           (*c.frog_axis)[0],
                           (*c.frog_axis)[1],
                           kYellow,
                           scene.points),
              0.75);
    EXPECT_GT(PartInColour(annotated,
                           scene.points.at(PointId::kHeelLeft)->px,
                           scene.points.at(PointId::kHeelRight)->px,
                           kReddishPurple,
                           scene.points),
              0.75);
    EXPECT_GT(PartInColour(annotated,
                           scene.points.at(PointId::kFrogApex)->px,
                           scene.points.at(PointId::kFrogLeft)->px,
                           kBluishGreen,
                           scene.points),
              0.75);
    // The outline beside the toe, between two of its corners.
    const auto& outline = scene.points.outline->px;
    EXPECT_GT(PartInColour(
                  annotated, outline[87], outline[88], kSkyBlue, scene.points),
              0.85);
  }
}

TEST(DrawAnnotated, DrawsTheHeelWhereItWasSeen) {
  Scene scene = Side({2048, 1536}, 128);
  const auto moved = [&](PointId id) {
    auto& point = *scene.points.at(id);
    point.seen_px = point.px + geometry::PhotoVector{-60, 40};
    return *point.seen_px;
  };
  const PhotoPoint ground = moved(PointId::kHeelGround);
  const PhotoPoint top = moved(PointId::kHeelHairline);
  EXPECT_GT(
      PartInColour(Draw(scene), ground, top, kReddishPurple, scene.points),
      0.6);
}

TEST(DrawAnnotated, DrawsTheSidesLinesWhereTheyAre) {
  for (const int grey : {5, 128, 250}) {
    const Scene scene = Side({2048, 1536}, grey);
    const Annotated annotated = Draw(scene);
    const measure::Construction& c = scene.measures.construction;
    ASSERT_TRUE(c.bearing_line && c.toe_line && c.pastern_line);
    const auto part = [&](const std::array<PhotoPoint, 2>& line,
                          Colour colour) {
      return PartInColour(annotated, line[0], line[1], colour, scene.points);
    };
    EXPECT_GT(part(*c.bearing_line, kSkyBlue), 0.75);
    EXPECT_GT(part(*c.toe_line, kOrange), 0.75);
    EXPECT_GT(part({scene.points.at(PointId::kHeelGround)->px,
                    scene.points.at(PointId::kHeelHairline)->px},
                   kReddishPurple),
              0.6);
    EXPECT_GT(part(*c.pastern_line, kYellow), 0.6);
    EXPECT_GT(part({scene.points.at(PointId::kToeHairline)->px,
                    scene.points.at(PointId::kHeelHairline)->px},
                   kBluishGreen),
              0.75);
  }
}

TEST(DrawAnnotated, WritesTheFiguresWithTheirInterval) {
  const Scene side = Side({2048, 1536});
  std::string all;
  for (const PlacedLabel& label : Draw(side).labels) all += label.text + "\n";
  for (const char* part : {"Toe angle 52",
                           "Heel angle 48",
                           "Hairline angle",
                           "Pastern angle",
                           "Toe length",
                           "Toe height",
                           "Heel height",
                           "Support length",
                           "±",
                           "°",
                           "mm"}) {
    EXPECT_THAT(all, testing::HasSubstr(part));
  }
  all.clear();
  for (const PlacedLabel& label : Draw(Sole({2048, 1536})).labels) {
    all += label.text + "\n";
  }
  for (const char* part : {"Width 130",
                           "Width to length",
                           "Length 117",
                           "Heel width 82",
                           "Frog",
                           "left heel",
                           "right heel",
                           "toe"}) {
    EXPECT_THAT(all, testing::HasSubstr(part));
  }
}

TEST(DrawAnnotated, IsReadableOnAPhone) {
  for (const cv::Size size : {cv::Size(2048, 1536), cv::Size(1536, 2048)}) {
    const Annotated annotated = Draw(Side(size));
    for (const PlacedLabel& label : annotated.labels) {
      const auto lines =
          1 + std::count(label.text.begin(), label.text.end(), '\n');
      // 44 px of 2048 are 8.4 px on a screen of 390 px.
      EXPECT_GE(label.box.height / static_cast<double>(lines),
                44.0 / 2048 * annotated.photo.width)
          << label.text;
    }
  }
}

TEST(DrawAnnotated, MarksAPersonsPointsOtherwise) {
  const Scene scene = Sole({4000, 3000});
  const Annotated annotated = Draw(scene);
  const auto at = [&](PointId id) {
    const PhotoPoint p = scene.points.at(id)->px;
    const double s = annotated.picture_from_photo;
    return annotated.rgb.at<cv::Vec3b>(static_cast<int>(s * p.y),
                                       static_cast<int>(s * p.x));
  };
  EXPECT_TRUE(IsColour(at(PointId::kHeelLeft), kVermilion));
  // A ring lets the photo, or the line through it, be seen.
  EXPECT_FALSE(IsColour(at(PointId::kHeelRight), kVermilion));
}

TEST(DrawAnnotated, KeepsLabelsInsideAndApart) {
  geometry::Random random(3);
  AnnotateOptions small;
  small.longest_px = 640;
  small.shortest_longest_px = 640;
  for (int round = 0; round < 16; ++round) {
    const cv::Size size =
        random.Chance(0.5) ? cv::Size(640, 480) : cv::Size(480, 640);
    const double distance = random.Uniform(250, 1000);
    const double x = random.Uniform(-80, 80);
    const double y = random.Uniform(-80, 80);
    for (const Scene& scene : {Sole(size, 128, distance, x, y),
                               Side(size, 128, distance, x + 60, y - 50)}) {
      AnnotateOptions options = small;
      options.plane = scene.plane;
      const Annotated annotated = Draw(scene, options);
      EXPECT_GE(annotated.labels.size(), 4U);
      ExpectTidyLabels(annotated);
    }
  }
}

TEST(DrawAnnotated, DrawsFiveBlocksOfTenMillimetres) {
  const Scene scene = Sole({4000, 3000});
  const Annotated annotated = Draw(scene);
  ASSERT_TRUE(annotated.bar);
  // Independently: how far apart two places are that lie 50 mm apart in the
  // plane, along the photo's rows, at the middle of the foot.
  const double px = geometry::Distance(scene.At(-25, 0), scene.At(25, 0));
  EXPECT_NEAR(annotated.bar->width, 0.512 * px, 0.01 * px);
  const auto block = [&](int i) {
    return annotated.rgb.at<cv::Vec3b>(
        static_cast<int>(annotated.bar->middle().y),
        static_cast<int>(annotated.bar->x +
                         annotated.bar->width * (i + 0.5) / 5));
  };
  for (int i = 0; i < 5; ++i) {
    EXPECT_TRUE(IsColour(block(i), i % 2 == 0 ? kBlack : kWhite)) << i;
  }
}

TEST(DrawAnnotated, HasNoBarAndNoMillimetresWithoutAScale) {
  Scene scene = Sole({2000, 1500});
  scene.plane.scale = geometry::ScaleSource::kNone;
  scene.Measure();
  ASSERT_FALSE(scene.measures.has_scale);
  const Annotated annotated = Draw(scene);
  EXPECT_FALSE(annotated.bar);
  std::string all;
  for (const PlacedLabel& label : annotated.labels) all += label.text + "\n";
  EXPECT_THAT(all, testing::Not(testing::HasSubstr(" mm")));
  EXPECT_THAT(all, testing::HasSubstr("Width to length"));
}

TEST(DrawAnnotated, SaysWhatIsMissing) {
  Scene scene = Sole({2000, 1500});
  const int rows = Draw(scene).rgb.rows;
  scene.points.at(PointId::kFrogApex).reset();
  scene.points.at(PointId::kHeelLeft).reset();
  scene.points.hidden[static_cast<std::size_t>(PointId::kHeelLeft)] = true;
  scene.points.outline.reset();
  scene.Measure();
  const Annotated annotated = Draw(scene);
  EXPECT_THAT(annotated.missing, testing::ElementsAre("frog tip", "outline"));
  // Two more lines stand below the picture.
  EXPECT_GT(annotated.rgb.rows, rows + 40);
  ExpectTidyLabels(annotated);
}

TEST(DrawAnnotated, TakesAPhotoWithNoPointAtAll) {
  for (const View view : {View::kSolar, View::kLateral}) {
    Scene scene = EmptyScene(view, {800, 600}, 128, 500);
    scene.Measure();
    const Annotated annotated = Draw(scene);
    EXPECT_TRUE(annotated.labels.empty());
    EXPECT_GE(annotated.missing.size(), 6U);
  }
}

TEST(DrawAnnotated, TakesExtremePictures) {
  for (const cv::Size size : {cv::Size(3000, 40), cv::Size(1, 1)}) {
    const Annotated annotated = Draw(Sole(size));
    EXPECT_FALSE(annotated.rgb.empty());
    ExpectTidyLabels(annotated);
  }
}

TEST(DrawAnnotated, ThrowsWhenItIsCalledWrongly) {
  Scene scene = Sole({400, 300});
  scene.measures.view = View::kLateral;
  EXPECT_THROW(Draw(scene), std::invalid_argument);
  scene.measures.view = View::kSolar;
  scene.photo.rgb = cv::Mat();
  EXPECT_THROW(Draw(scene), std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::draw
