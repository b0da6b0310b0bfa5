// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "photo/test_files.h"
#include "plumbfoot/geometry/random.h"
#include "plumbfoot/photo/photo.h"
#include "support/debian_data.h"

namespace plumbfoot::photo {
namespace {

std::map<std::string, FileBytes> WholeFiles() {
  const cv::Mat picture = TestPicture(96, 64);
  return {
      {"whole.jpg", Encoded(picture, ".jpg")},
      {"progressive.jpg",
       Encoded(picture, ".jpg", {cv::IMWRITE_JPEG_PROGRESSIVE, 1})},
      {"restarts.jpg",
       Encoded(picture, ".jpg", {cv::IMWRITE_JPEG_RST_INTERVAL, 2})},
      {"whole.png", Encoded(picture, ".png")},
      {"whole.tiff", Encoded(picture, ".tiff")},
      {"whole.webp", Encoded(picture, ".webp", {cv::IMWRITE_WEBP_QUALITY, 90})},
      {"lossless.webp",
       Encoded(picture, ".webp", {cv::IMWRITE_WEBP_QUALITY, 101})},
      {"whole.heic", EncodedHeic(picture)},
  };
}

/// LoadPhoto, with whatever the libraries write to the terminal.
struct Quietly {
  Result<Photo> photo;
  std::string noise;
};

Quietly Load(const std::filesystem::path& path) {
  testing::internal::CaptureStdout();
  testing::internal::CaptureStderr();
  auto photo = LoadPhoto(path);
  std::string noise = testing::internal::GetCapturedStdout();
  noise += testing::internal::GetCapturedStderr();
  return {std::move(photo), std::move(noise)};
}

TEST(LoadPhoto, RefusesAFileThatBreaksOffAnywhere) {
  for (const auto& [name, whole] : WholeFiles()) {
    SCOPED_TRACE(name);
    ASSERT_TRUE(LoadPhoto(Write("cut_" + name, whole)).has_value());
    // From the magic bytes to a single byte that is missing.
    constexpr std::size_t kSteps = 40;
    for (std::size_t step = 0; step <= kSteps; ++step) {
      const std::size_t left = 16 + (whole.size() - 17) * step / kSteps;
      SCOPED_TRACE(left);
      const auto [photo, noise] = Load(Write(
          "cut_" + name,
          {whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(left)}));
      ASSERT_FALSE(photo.has_value());
      EXPECT_EQ(photo.error().code, RefusalCode::kPhotoDamaged);
      EXPECT_EQ(noise, "");
    }
  }
}

// OpenCV fills the lower half of this file with grey and only warns.
TEST(LoadPhoto, RefusesARealJpegCutInHalf) {
  const std::filesystem::path path =
      "/usr/share/doc/opencv-doc/examples/data/leuvenA.jpg";
  if (!std::filesystem::exists(path)) {
    FAIL() << tests::kNoOpencvDoc;
  }
  FileBytes bytes = ReadBytes(path);
  bytes.resize(bytes.size() / 2);
  const auto [photo, noise] = Load(Write("half.jpg", bytes));
  ASSERT_FALSE(photo.has_value());
  EXPECT_EQ(photo.error().code, RefusalCode::kPhotoDamaged);
  EXPECT_EQ(noise, "");
}

// Property: whatever is done to a file, the answer is a whole photo or a
// refusal, and nothing is written to the terminal.
TEST(LoadPhoto, AnswersWhateverTheFileHolds) {
  constexpr int kFiles = 300;
  geometry::Random random(20);
  std::map<RefusalCode, int> refused;
  int accepted = 0;
  for (const auto& [name, whole] : WholeFiles()) {
    for (int i = 0; i < kFiles; ++i) {
      SCOPED_TRACE(name + " " + std::to_string(i));
      FileBytes bytes = whole;
      const auto below = [&](std::size_t end) {
        return static_cast<std::size_t>(random.Below(static_cast<int>(end)));
      };
      const std::size_t flips = below(8);
      for (std::size_t f = 0; f < flips; ++f) {
        bytes[below(bytes.size())] ^= static_cast<std::uint8_t>(1U << below(8));
      }
      // Half of the flips go where the sizes and offsets stand.
      if (below(2) == 0)
        bytes[below(128)] = static_cast<std::uint8_t>(below(256));
      if (below(4) == 0) bytes.resize(1 + below(bytes.size()));
      const auto [photo, noise] = Load(Write("mangled", bytes));
      EXPECT_EQ(noise, "");
      if (photo.has_value()) {
        ++accepted;
        EXPECT_EQ(photo->rgb.type(), CV_8UC3);
        EXPECT_FALSE(photo->rgb.empty());
      } else {
        ++refused[photo.error().code];
        EXPECT_FALSE(photo.error().message.empty());
      }
    }
  }
  EXPECT_GT(accepted, 0);
  EXPECT_GT(refused[RefusalCode::kPhotoDamaged], 0);
  for (const auto& [code, count] : refused) {
    RecordProperty(std::string(geometry::CodeName(code)), count);
  }
  RecordProperty("accepted", accepted);
}

}  // namespace
}  // namespace plumbfoot::photo
