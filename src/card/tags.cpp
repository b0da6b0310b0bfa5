// SPDX-License-Identifier: Apache-2.0
#include "card/tags.h"

#include <algorithm>
#include <memory>
#include <stdexcept>
#include <string>

#include "plumbfoot/card/layout.h"

extern "C" {
#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
}

namespace plumbfoot::card {
namespace {

using Family = std::unique_ptr<apriltag_family_t, void (*)(apriltag_family_t*)>;
using Detector =
    std::unique_ptr<apriltag_detector_t, void (*)(apriltag_detector_t*)>;

Family MakeFamily() {
  return {tag36h11_create(), tag36h11_destroy};
}

}  // namespace

std::vector<RoughTag> DetectTags(const cv::Mat& grey) {
  if (grey.type() != CV_8UC1) {
    throw std::invalid_argument("DetectTags: not CV_8UC1");
  }
  // libapriltag divides by the size of its threshold tiles.
  // CHOSEN: 16 px is below the smallest tag that could be read.
  if (grey.cols < 16 || grey.rows < 16) return {};

  // The family before the detector: it must outlive it.
  const Family family = MakeFamily();
  const Detector detector(apriltag_detector_create(),
                          apriltag_detector_destroy);
  // CHOSEN: one corrected bit of 36. The family's codes differ in 11 bits, so
  // two tags can't be confused, and background passes for a tag 20 times less
  // often than with two.
  apriltag_detector_add_family_bits(detector.get(), family.get(), 1);
  // The caller reduces the picture: this release's own reduction shifts the
  // corners (its issue 345).
  detector->quad_decimate = 1.0F;
  // Threads of its own take their jobs from a list that is still being added to
  // (workerpool.c of 3.3.0): on a busy machine that crashes.
  detector->nthreads = 1;
  detector->refine_edges = true;
  // CHOSEN: the outline of a tag that can be read (some 12 px a side) has more
  // boundary pixels than 24; hair, straw and noise have thousands of smaller
  // ones, which cost most of the time.
  detector->qtp.min_cluster_pixels = 24;

  image_u8_t image = {grey.cols,
                      grey.rows,
                      static_cast<int32_t>(grey.step[0]),
                      // It only reads, but its type doesn't say so.
                      const_cast<uint8_t*>(grey.ptr<uint8_t>())};
  const std::unique_ptr<zarray_t, void (*)(zarray_t*)> found(
      apriltag_detector_detect(detector.get(), &image),
      apriltag_detections_destroy);

  std::vector<RoughTag> tags;
  for (int i = 0; i < zarray_size(found.get()); ++i) {
    apriltag_detection_t* seen = nullptr;
    zarray_get(found.get(), i, static_cast<void*>(&seen));
    RoughTag tag;
    tag.id = seen->id;
    tag.wrong_bits = seen->hamming;
    tag.margin = seen->decision_margin;
    for (std::size_t c = 0; c < 4; ++c) {
      tag.corners[c] = {seen->p[c][0], seen->p[c][1]};
    }
    tags.push_back(tag);
  }
  std::stable_sort(
      tags.begin(), tags.end(), [](const RoughTag& a, const RoughTag& b) {
        return a.id < b.id;
      });
  return tags;
}

int TagCount() {
  return static_cast<int>(MakeFamily()->ncodes);
}

std::vector<std::vector<bool>> TagCells(int id) {
  const Family family = MakeFamily();
  if (id < 0 || id >= static_cast<int>(family->ncodes)) {
    throw std::invalid_argument("TagCells: no tag " + std::to_string(id));
  }
  const std::unique_ptr<image_u8_t, void (*)(image_u8_t*)> drawn(
      apriltag_to_image(family.get(), id), image_u8_destroy);
  std::vector<std::vector<bool>> cells;
  for (int y = 0; y < drawn->height; ++y) {
    std::vector<bool> row;
    row.reserve(static_cast<std::size_t>(drawn->width));
    for (int x = 0; x < drawn->width; ++x) {
      row.push_back(drawn->buf[y * drawn->stride + x] < 128);
    }
    cells.push_back(std::move(row));
  }
  return cells;
}

}  // namespace plumbfoot::card
