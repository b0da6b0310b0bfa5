// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

extern "C" {
#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
}

#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

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

// By id: the four corners, bottom left first, as libapriltag finds them
// without its own edge refinement's bias (it is known to sample half a pixel
// off; so is its remedy: see the tolerance).
std::map<int, std::array<PhotoPoint, 4>> Detect(const cv::Mat& rgb) {
  cv::Mat grey;
  cv::cvtColor(rgb, grey, cv::COLOR_RGB2GRAY);
  // A blurred edge's middle is its middle in linear light only: in sRGB the
  // black squares look smaller, by 0.8 of the blur's sigma on every side.
  cv::Mat linear(1, 256, CV_8U);
  for (int i = 0; i < 256; ++i) {
    const double s = i / 255.0;
    const double v =
        s <= 0.04045 ? s / 12.92 : std::pow((s + 0.055) / 1.055, 2.4);
    linear.at<unsigned char>(0, i) =
        static_cast<unsigned char>(std::lround(std::min(1.0, v / 0.8) * 255));
  }
  cv::LUT(grey, linear, grey);
  image_u8_t image = {grey.cols, grey.rows, static_cast<int>(grey.step[0]),
                      grey.data};
  apriltag_family_t* family = tag36h11_create();
  apriltag_detector_t* detector = apriltag_detector_create();
  apriltag_detector_add_family(detector, family);
  detector->quad_decimate = 1.0F;
  detector->nthreads = 2;
  zarray_t* found = apriltag_detector_detect(detector, &image);
  std::map<int, std::array<PhotoPoint, 4>> tags;
  for (int i = 0; i < zarray_size(found); ++i) {
    apriltag_detection_t* d = nullptr;
    zarray_get(found, i, &d);
    if (d->hamming > 0) continue;
    for (std::size_t k = 0; k < 4; ++k) tags[d->id][k] = {d->p[k][0], d->p[k][1]};
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
  o.effects.exposure = 0.5;
  return o;
}

class TagsOf : public testing::TestWithParam<int> {};

// The tolerance of a corner, 0.15 px, holds libapriltag's own bias of about
// 0.125 px (upstream issues 334 and 345, release 3.3.0).
TEST_P(TagsOf, CardAreFoundWhereTheTruthSaysByLibapriltag) {
  const auto seed = static_cast<std::uint64_t>(GetParam());
  const View view = seed % 2 ? View::kSolar : View::kLateral;
  const RenderedPhoto photo = Render(PlainScene(view, seed), 1600, 1200);
  const auto found = Detect(photo.photo);
  ASSERT_EQ(found.size(), 5U);
  for (const TruthTag& tag : photo.truth.tags) {
    ASSERT_TRUE(tag.visible);
    ASSERT_TRUE(found.count(tag.id));
    for (std::size_t k = 0; k < 4; ++k) {
      const PhotoPoint p = found.at(tag.id)[k];
      EXPECT_NEAR(p.x, tag.corners[k].x, 0.15) << tag.id << ' ' << k;
      EXPECT_NEAR(p.y, tag.corners[k].y, 0.15) << tag.id << ' ' << k;
    }
  }
}
INSTANTIATE_TEST_SUITE_P(Seeds, TagsOf, testing::Range(1, 9));

}  // namespace
}  // namespace plumbfoot::scenes
