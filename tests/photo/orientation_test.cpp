// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include <array>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <string>

#include "photo/test_files.h"
#include "photo/upright.h"
#include "plumbfoot/photo/photo.h"

namespace plumbfoot::photo {
namespace {

enum class Side { kTop, kBottom, kLeft, kRight };

/// Exif 2.3 (CIPA DC-008), 4.6.4.A, Orientation: where the stored picture's
/// row 0 and column 0 are seen.
struct Meaning {
  Side row0;
  Side column0;
};
constexpr std::array<Meaning, 9> kMeanings = {{
    {Side::kTop, Side::kLeft},  // 0: reserved, taken as 1
    {Side::kTop, Side::kLeft},
    {Side::kTop, Side::kRight},
    {Side::kBottom, Side::kRight},
    {Side::kBottom, Side::kLeft},
    {Side::kLeft, Side::kTop},
    {Side::kRight, Side::kTop},
    {Side::kRight, Side::kBottom},
    {Side::kLeft, Side::kBottom},
}};

/// The picture to store, so that a viewer that follows the standard shows
/// `upright`.
cv::Mat Stored(const cv::Mat& upright, int orientation) {
  const auto [row0, column0] =
      kMeanings.at(static_cast<std::size_t>(orientation));
  const bool turned = row0 == Side::kLeft || row0 == Side::kRight;
  const int rows = turned ? upright.cols : upright.rows;
  const int columns = turned ? upright.rows : upright.cols;
  cv::Mat stored(rows, columns, upright.type());
  for (int r = 0; r < rows; ++r) {
    for (int c = 0; c < columns; ++c) {
      int x = 0;
      int y = 0;
      const auto place = [&](Side side, int step) {
        if (side == Side::kTop) y = step;
        if (side == Side::kBottom) y = upright.rows - 1 - step;
        if (side == Side::kLeft) x = step;
        if (side == Side::kRight) x = upright.cols - 1 - step;
      };
      place(row0, r);
      place(column0, c);
      stored.at<cv::Vec3b>(r, c) = upright.at<cv::Vec3b>(y, x);
    }
  }
  return stored;
}

/// Writes the tag with exiftool, an independent program; one start for all.
class Orientations {
 public:
  void Add(const std::filesystem::path& path, int orientation) {
    command_ += " -IFD0:Orientation=" + std::to_string(orientation) + " '" +
                path.string() + "' -execute";
  }
  void WriteAll() const {
    Output(command_ + " -common_args -q -overwrite_original -n");
  }

 private:
  std::string command_ = "exiftool";
};

std::string NameOf(int orientation, const std::string& extension) {
  return "turned" + std::to_string(orientation) + extension;
}

TEST(Upright, FollowsTheTableOfExif) {
  const cv::Mat picture = TestPicture(37, 23);
  for (int orientation = 0; orientation <= 8; ++orientation) {
    SCOPED_TRACE(orientation);
    const cv::Mat turned = Upright(Stored(picture, orientation), orientation);
    ASSERT_EQ(turned.size(), picture.size());
    EXPECT_EQ(LargestDifference(turned, picture), 0.0);
  }
}

TEST(LoadPhoto, TurnsEveryKindUprightOnce) {
  const cv::Mat picture = TestPicture(96, 64);
  struct Kind {
    std::string extension;
    std::vector<int> parameters;
    double mean_difference;  // What the kind's compression may change.
  };
  const std::vector<Kind> kinds = {
      {".jpg", {}, 4.0},
      {".png", {}, 0.0},
      {".tiff", {}, 0.0},
      {".webp", {cv::IMWRITE_WEBP_QUALITY, 90}, 4.0}};
  for (const Kind& kind : kinds) {
    Orientations tags;
    for (int orientation = 1; orientation <= 8; ++orientation) {
      tags.Add(Write(NameOf(orientation, kind.extension),
                     Encoded(Stored(picture, orientation),
                             kind.extension,
                             kind.parameters)),
               orientation);
    }
    tags.WriteAll();
    for (int orientation = 1; orientation <= 8; ++orientation) {
      const auto path = PathOf(NameOf(orientation, kind.extension));
      SCOPED_TRACE(path);
      const auto photo = LoadPhoto(path);
      ASSERT_TRUE(photo.has_value()) << photo.error().message;
      ASSERT_EQ(photo->rgb.size(), picture.size());
      EXPECT_LE(MeanDifference(photo->rgb, picture), kind.mean_difference);
    }
  }
}

// OpenCV 4.6 turns JPEG itself, by its own reader of Exif. Numbers out of range
// are left alone by both.
TEST(LoadPhoto, TurnsJpegAsOpenCvDoes) {
  const FileBytes stored = Encoded(TestPicture(93, 61), ".jpg");
  Orientations tags;
  for (int orientation = 0; orientation <= 9; ++orientation) {
    tags.Add(Write(NameOf(orientation, ".jpg"), stored), orientation);
  }
  tags.WriteAll();
  for (int orientation = 0; orientation <= 9; ++orientation) {
    SCOPED_TRACE(orientation);
    const auto path = PathOf(NameOf(orientation, ".jpg"));
    const auto photo = LoadPhoto(path);
    ASSERT_TRUE(photo.has_value());
    const cv::Mat reference = ByOpenCv(ReadBytes(path));
    ASSERT_EQ(photo->rgb.size(), reference.size());
    EXPECT_EQ(LargestDifference(photo->rgb, reference), 0.0);
  }
}

// ISO/IEC 23008-12, 6.5.10 and A.2.1: in HEIC the boxes irot and imir turn the
// picture; Exif's orientation, which phones write too, must not turn it again.
TEST(LoadPhoto, TurnsHeicByItsBoxesAndNotByExif) {
  const cv::Mat picture = TestPicture(96, 64);
  Orientations tags;
  for (int orientation = 1; orientation <= 8; ++orientation) {
    tags.Add(Write(NameOf(orientation, ".heic"),
                   EncodedHeic(Stored(picture, orientation), orientation)),
             orientation);
  }
  tags.WriteAll();
  for (int orientation = 1; orientation <= 8; ++orientation) {
    SCOPED_TRACE(orientation);
    const auto photo = LoadPhoto(PathOf(NameOf(orientation, ".heic")));
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    ASSERT_EQ(photo->rgb.size(), picture.size());
    EXPECT_LE(MeanDifference(photo->rgb, picture), 4.0);
  }
}

// Photos that others made, the same one stored in each of the eight ways:
// Debian's golang-github-disintegration-imaging-dev and
// golang-github-rwcarlsen-goexif-dev, the test data of two readers in Go. JPEG
// compresses each differently, by 0.15 of a grey level in the mean.
TEST(Orientation, ShowsOthersPhotosUpright) {
  const std::string sources = "/usr/share/gocode/src/github.com/";
  const std::array<std::array<std::string, 2>, 2> sets = {
      {{sources + "disintegration/imaging/testdata/orientation_", ".jpg"},
       {sources + "rwcarlsen/goexif/exif/samples/f", "-exif.jpg"}}};
  for (const auto& [before, after] : sets) {
    SCOPED_TRACE(before);
    cv::Mat first;
    for (int orientation = 1; orientation <= 8; ++orientation) {
      SCOPED_TRACE(orientation);
      const auto photo =
          LoadPhoto(before + std::to_string(orientation) + after);
      ASSERT_TRUE(photo.has_value())
          << photo.error().message << " Run .ci/install test.";
      if (orientation == 1) first = photo->rgb;
      ASSERT_EQ(photo->rgb.size(), first.size());
      cv::Mat difference;
      cv::absdiff(photo->rgb, first, difference);
      const cv::Scalar mean = cv::mean(difference);
      EXPECT_LT((mean[0] + mean[1] + mean[2]) / 3, 0.2);
    }
  }
}

}  // namespace
}  // namespace plumbfoot::photo
