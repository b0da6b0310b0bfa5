// SPDX-License-Identifier: Apache-2.0
#include "card/tags.h"

#include <gtest/gtest.h>

#include <atomic>
#include <opencv2/imgproc.hpp>
#include <thread>
#include <vector>

#include "plumbfoot/card/layout.h"

namespace plumbfoot::card {
namespace {

/// Tags 0 and 1 side by side on white, 12 px a cell, as a sharp photo shows
/// them.
cv::Mat TwoTags() {
  constexpr int kCell = 12;
  constexpr int kWhite = 230;
  constexpr int kBlack = 30;
  const int cells = static_cast<int>(TagCells(0).size());
  cv::Mat grey(kCell * (cells + 2), 2 * kCell * (cells + 2), CV_8UC1);
  grey.setTo(kWhite);
  for (int id = 0; id < 2; ++id) {
    const auto tag = TagCells(id);
    for (int y = 0; y < cells; ++y) {
      for (int x = 0; x < cells; ++x) {
        if (!tag[static_cast<std::size_t>(y)][static_cast<std::size_t>(x)]) {
          continue;
        }
        const int left = id * (cells + 2) + 1 + x;
        grey(cv::Rect(kCell * left, kCell * (y + 1), kCell, kCell))
            .setTo(kBlack);
      }
    }
  }
  cv::GaussianBlur(grey, grey, cv::Size(), 1.0);
  return grey;
}

// libapriltag's own threads take a job from a list that is still being moved:
// with two of them a busy machine crashed in every run of this.
TEST(DetectTags, StandsAsManyAtOnceAsThereAre) {
  const cv::Mat grey = TwoTags();
  std::atomic<int> right{0};
  constexpr int kThreads = 16;
  constexpr int kTimes = 100;
  std::vector<std::thread> threads;
  threads.reserve(kThreads);
  for (int t = 0; t < kThreads; ++t) {
    threads.emplace_back([&] {
      for (int i = 0; i < kTimes; ++i) {
        const std::vector<RoughTag> tags = DetectTags(grey);
        if (tags.size() == 2 && tags[0].id == 0 && tags[1].id == 1) ++right;
      }
    });
  }
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(right, kThreads * kTimes);
}

}  // namespace
}  // namespace plumbfoot::card
