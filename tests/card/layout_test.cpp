// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/layout.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <string>

#include "card/tags.h"

namespace plumbfoot::card {
namespace {

std::filesystem::path Written(const std::string& text) {
  // Tests run beside each other, each in a process of its own.
  std::filesystem::path path =
      std::filesystem::path(testing::TempDir()) /
      ("plumbfoot_layout_" + std::to_string(getpid()) + ".json");
  std::ofstream(path) << text;
  return path;
}

RefusalCode CodeOf(const std::string& text) {
  const auto layout = LoadLayout(Written(text));
  return layout ? RefusalCode::kUsage : layout.error().code;
}

std::string With(const std::string& rest) {
  return R"({"format": "plumbfoot-card", "version": 1, )" + rest + "}";
}

TEST(StandardLayout, IsTheCardOfTheDesign) {
  const Layout layout = StandardLayout();
  ASSERT_EQ(layout.tags.size(), 5U);
  const std::vector<geometry::CardPoint> centres = {
      {24, 24}, {80, 24}, {136, 24}, {24, 80}, {24, 136}};
  for (std::size_t i = 0; i < 5; ++i) {
    EXPECT_EQ(layout.tags[i].id, static_cast<int>(i));
    EXPECT_EQ(layout.tags[i].centre, centres[i]);
    EXPECT_EQ(layout.tags[i].side_mm, 36);
  }
  EXPECT_EQ(layout.check_span_mm, 150);
  // Area of the L: 160 * 48 + 112 * 48, anticlockwise.
  double twice = 0;
  for (std::size_t i = 0; i < layout.outline.size(); ++i) {
    const auto a = layout.outline[i];
    const auto b = layout.outline[(i + 1) % layout.outline.size()];
    twice += a.x * b.y - b.x * a.y;
  }
  EXPECT_DOUBLE_EQ(twice / 2, 160 * 48 + 112 * 48);
}

TEST(LoadLayout, ReadsAllItIsGiven) {
  const auto layout = LoadLayout(Written(With(
      R"("name": "mine", "tags": [{"id": 7, "x": 24, "y": 25, "side": 30},
          {"id": 586, "x": 80, "y": 24, "side": 36}],
         "outline": [[0, 0], [110, 0], [110, 50], [0, 50]],
         "check_span": 100)")));
  ASSERT_TRUE(layout.has_value()) << layout.error().message;
  EXPECT_EQ(layout->name, "mine");
  ASSERT_EQ(layout->tags.size(), 2U);
  EXPECT_EQ(layout->tags[0].id, 7);
  EXPECT_EQ(layout->tags[0].centre, (geometry::CardPoint{24, 25}));
  EXPECT_EQ(layout->tags[0].side_mm, 30);
  EXPECT_EQ(layout->outline.size(), 4U);
  EXPECT_EQ(layout->check_span_mm, 100);
}

TEST(LoadLayout, CompletesWhatIsLeftOut) {
  const auto layout = LoadLayout(
      Written(With(R"("tags": [{"id": 7, "x": 0, "y": 0, "side": 40}])")));
  ASSERT_TRUE(layout.has_value()) << layout.error().message;
  EXPECT_EQ(layout->check_span_mm, 150);
  ASSERT_EQ(layout->outline.size(), 4U);
  EXPECT_EQ(layout->outline[0], (geometry::CardPoint{-30, -30}));
  EXPECT_EQ(layout->outline[2], (geometry::CardPoint{30, 30}));
}

TEST(LoadLayout, RefusesBadFiles) {
  const auto missing = LoadLayout("/nowhere/layout.json");
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(missing.error().code, RefusalCode::kFileMissing);
  EXPECT_EQ(CodeOf(""), RefusalCode::kNotJson);
  EXPECT_EQ(CodeOf("{"), RefusalCode::kNotJson);
  EXPECT_EQ(CodeOf("[]"), RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(R"({"format": "other", "version": 1})"),
            RefusalCode::kNotOurFormat);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-card", "version": 2})"),
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(CodeOf(R"({"format": "plumbfoot-card"})"),
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(CodeOf(std::string(2'000'000, ' ')), RefusalCode::kFileTooLarge);
}

TEST(LoadLayout, RefusesBadNumbers) {
  const auto tag = [](const std::string& text) {
    return CodeOf(With(R"("tags": [)" + text + "]"));
  };
  EXPECT_EQ(tag(R"({"id": 1.5, "x": 0, "y": 0, "side": 36})"),
            RefusalCode::kBadNumber);
  EXPECT_EQ(tag(R"({"id": 1, "y": 0, "side": 36})"), RefusalCode::kBadNumber);
  EXPECT_EQ(tag(R"({"id": 1, "x": 0, "y": "0", "side": 36})"),
            RefusalCode::kBadNumber);
  EXPECT_EQ(tag(R"({"id": 1, "x": 0, "y": 0, "side": 0})"),
            RefusalCode::kBadNumber);
  EXPECT_EQ(tag(R"({"id": 1, "x": 0, "y": 1e9, "side": 36})"),
            RefusalCode::kBadNumber);
  const std::string good =
      R"("tags": [{"id": 1, "x": 0, "y": 0, "side": 36}], )";
  EXPECT_EQ(CodeOf(With(good + R"("check_span": -1)")),
            RefusalCode::kBadNumber);
  EXPECT_EQ(CodeOf(With(good + R"("outline": [[0, 0], [1, 0], [1, "a"]])")),
            RefusalCode::kBadNumber);
}

TEST(LoadLayout, RefusesLayoutsThatCannotBe) {
  const auto tags = [](const std::string& text) {
    return CodeOf(With(R"("tags": [)" + text + "]"));
  };
  EXPECT_EQ(tags(""), RefusalCode::kCardLayoutInvalid);
  EXPECT_EQ(CodeOf(With(R"("name": "x")")), RefusalCode::kCardLayoutInvalid);
  EXPECT_EQ(tags(R"({"id": 587, "x": 0, "y": 0, "side": 36})"),
            RefusalCode::kCardLayoutInvalid);
  EXPECT_EQ(tags(R"({"id": -1, "x": 0, "y": 0, "side": 36})"),
            RefusalCode::kCardLayoutInvalid);
  EXPECT_EQ(tags(R"({"id": 1, "x": 0, "y": 0, "side": 36},
                    {"id": 1, "x": 90, "y": 0, "side": 36})"),
            RefusalCode::kCardLayoutInvalid);
  EXPECT_EQ(tags(R"({"id": 1, "x": 0, "y": 0, "side": 36},
                    {"id": 2, "x": 30, "y": 0, "side": 36})"),
            RefusalCode::kCardLayoutInvalid);
}

TEST(TagCells, AreWhatLibapriltagReadsUpright) {
  for (const int id : {0, 1, 2, 3, 4, 42, 586}) {
    SCOPED_TRACE(id);
    const auto cells = TagCells(id);
    ASSERT_EQ(cells.size(), 10U);
    cv::Mat drawn(10, 10, CV_8UC1);
    for (int y = 0; y < 10; ++y) {
      for (int x = 0; x < 10; ++x) {
        const bool black =
            cells[static_cast<std::size_t>(y)][static_cast<std::size_t>(x)];
        drawn.at<std::uint8_t>(y, x) = black ? 20 : 230;
        const bool rim = x == 0 || y == 0 || x == 9 || y == 9;
        const bool frame = !rim && (x == 1 || y == 1 || x == 8 || y == 8);
        if (rim) {
          EXPECT_FALSE(black);
        }
        if (frame) {
          EXPECT_TRUE(black);
        }
      }
    }
    cv::resize(drawn, drawn, cv::Size(200, 200), 0, 0, cv::INTER_NEAREST);
    const auto seen = DetectTags(drawn);
    ASSERT_EQ(seen.size(), 1U);
    EXPECT_EQ(seen[0].id, id);
    EXPECT_EQ(seen[0].wrong_bits, 0);
    // Bottom left, bottom right, top right, top left, in a frame whose origin
    // is the corner of the first pixel.
    const std::array<geometry::PhotoPoint, 4> truth = {
        geometry::PhotoPoint{20, 180},
        geometry::PhotoPoint{180, 180},
        geometry::PhotoPoint{180, 20},
        geometry::PhotoPoint{20, 20}};
    for (std::size_t c = 0; c < 4; ++c) {
      EXPECT_LT(Distance(seen[0].corners[c], truth[c]), 0.5);
    }
  }
}

TEST(TagCells, ThrowsForAnIdTheFamilyLacks) {
  EXPECT_EQ(TagCount(), 587);
  EXPECT_THROW(TagCells(-1), std::invalid_argument);
  EXPECT_THROW(TagCells(587), std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::card
