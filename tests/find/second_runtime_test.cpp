// SPDX-License-Identifier: Apache-2.0
//
// Reference: ONNX Runtime (npm's onnxruntime-node, the version in
// second_runtime/package.json), an implementation of ONNX that shares no code
// with OpenCV's `dnn`.

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "find/network.h"
#include "plumbfoot/geometry/random.h"
#include "support/command.h"

namespace plumbfoot::find {
namespace {

namespace fs = std::filesystem;
using geometry::Random;

/// What the network is asked about.
struct Question {
  std::string name;
  View view = View::kSolar;
  cv::Mat rgb;
  cv::Mat known;
  cv::Mat card;
};

/// Blotches, an oval like a hoof with an edge, grain; a strip that is unknown
/// and a strip of card.
Question RandomQuestion(View view, int side, std::uint64_t seed) {
  Random random(seed);
  const auto level = [&random](double low, double high) {
    return cv::saturate_cast<unsigned char>(random.Uniform(low, high));
  };
  cv::Mat blotches(8, 8, CV_8UC3);
  for (auto& p : cv::Mat_<cv::Vec3b>(blotches)) {
    p = {level(60, 200), level(60, 200), level(60, 200)};
  }
  Question q;
  q.view = view;
  q.name = std::string(geometry::ViewName(view)) + std::to_string(seed) + "." +
           std::to_string(side);
  cv::resize(blotches, q.rgb, {side, side}, 0, 0, cv::INTER_CUBIC);
  const cv::RotatedRect oval(
      {static_cast<float>(side * random.Uniform(0.4, 0.6)),
       static_cast<float>(side * random.Uniform(0.4, 0.6))},
      {static_cast<float>(side * random.Uniform(0.4, 0.6)),
       static_cast<float>(side * random.Uniform(0.4, 0.6))},
      static_cast<float>(random.Uniform(0, 180)));
  cv::ellipse(q.rgb, oval, cv::Scalar(150, 130, 105), cv::FILLED, cv::LINE_AA);
  cv::ellipse(q.rgb, oval, cv::Scalar(60, 50, 40), side / 40, cv::LINE_AA);
  for (auto& p : cv::Mat_<cv::Vec3b>(q.rgb)) {
    for (int k = 0; k < 3; ++k) {
      p[k] = cv::saturate_cast<unsigned char>(p[k] + random.Normal(0, 5));
    }
  }
  q.known = cv::Mat(side, side, CV_8U, cv::Scalar(255));
  q.known.colRange(0, random.Below(side / 4) + 1).setTo(0);
  q.card = cv::Mat(side, side, CV_8U, cv::Scalar(0));
  q.card.rowRange(side - random.Below(side / 4) - 1, side).setTo(255);
  return q;
}

/// The network's input as its model card (src/find/network/README.md) has it,
/// written apart from what AskNetwork does.
std::vector<float> Picture(const Question& q) {
  std::vector<float> values;
  const auto add = [&](auto&& of) {
    for (int y = 0; y < q.rgb.rows; ++y) {
      for (int x = 0; x < q.rgb.cols; ++x) {
        values.push_back(of(q.rgb.at<cv::Vec3b>(y, x),
                            q.known.at<unsigned char>(y, x) != 0,
                            q.card.at<unsigned char>(y, x)));
      }
    }
  };
  for (int k = 0; k < 3; ++k) {
    add([k](const cv::Vec3b& p, bool known, unsigned char /*card*/) {
      return known ? static_cast<float>(p[k]) / 255.0F : 0.5F;
    });
  }
  add([](const cv::Vec3b& /*p*/, bool known, unsigned char card) {
    return known ? static_cast<float>(card) / 255.0F : 0.0F;
  });
  add([&q](const cv::Vec3b& /*p*/, bool /*known*/, unsigned char /*card*/) {
    return q.view == View::kLateral ? 1.0F : 0.0F;
  });
  return values;
}

std::vector<float> ReadFloats(const fs::path& path) {
  std::ifstream file(path, std::ios::binary | std::ios::ate);
  const auto bytes = file ? static_cast<std::size_t>(file.tellg()) : 0U;
  std::vector<float> values(bytes / sizeof(float));
  file.seekg(0);
  file.read(reinterpret_cast<char*>(values.data()),
            static_cast<std::streamsize>(values.size() * sizeof(float)));
  return values;
}

// The same output to 1e-4: of each logit, which are some tens apart, and so
// of whatever likelihood is read from them. Measured: 2e-5.
TEST(AskNetwork, AnswersAsOnnxRuntimeDoes) {
  const fs::path runtime = PLUMBFOOT_SECOND_RUNTIME;
  ASSERT_TRUE(fs::exists(runtime / "node_modules" / "onnxruntime-node"))
      << "run .ci/install test";
  const fs::path folder =
      fs::path(testing::TempDir()) / "plumbfoot_second_runtime";
  fs::remove_all(folder);
  fs::create_directories(folder);
  std::vector<Question> questions;
  for (const View view : {View::kSolar, View::kLateral}) {
    for (const int side : {256, 384}) {
      for (const std::uint64_t seed : {1U, 2U}) {
        questions.push_back(RandomQuestion(view, side, seed));
      }
    }
  }
  for (const Question& q : questions) {
    const std::vector<float> values = Picture(q);
    std::ofstream file(folder / (q.name + ".picture"), std::ios::binary);
    file.write(reinterpret_cast<const char*>(values.data()),
               static_cast<std::streamsize>(values.size() * sizeof(float)));
  }
  const auto asked = tests::RunCommand({"node",
                                        (runtime / "ask.js").string(),
                                        PLUMBFOOT_NETWORK,
                                        folder.string()});
  ASSERT_EQ(asked.status, 0) << asked.err;

  cv::dnn::Net network = LoadNetwork();
  for (const Question& q : questions) {
    SCOPED_TRACE(q.name);
    const NetworkAnswer answer =
        AskNetwork(network, q.view, q.rgb, q.known, q.card);
    std::vector<cv::Mat> maps(answer.points.begin(), answer.points.end());
    maps.insert(maps.end(), answer.masks.begin(), answer.masks.end());
    auto theirs = ReadFloats(folder / (q.name + ".maps"));
    const auto foot = ReadFloats(folder / (q.name + ".foot"));
    ASSERT_EQ(theirs.size(), maps.size() * maps[0].total());
    ASSERT_EQ(foot.size(), 1U);
    EXPECT_NEAR(
        answer.foot, 1 / (1 + std::exp(-static_cast<double>(foot[0]))), 1e-4);
    for (std::size_t k = 0; k < maps.size(); ++k) {
      const cv::Mat other(
          maps[k].size(), CV_32F, theirs.data() + k * maps[k].total());
      EXPECT_LT(cv::norm(maps[k], other, cv::NORM_INF), 1e-4) << k;
    }
    // Something is said of the picture: its maps are not all alike.
    const auto [low, high] = std::minmax_element(theirs.begin(), theirs.end());
    EXPECT_GT(*high - *low, 5.0F);
  }
}

}  // namespace
}  // namespace plumbfoot::find
