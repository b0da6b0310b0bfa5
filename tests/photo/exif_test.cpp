// SPDX-License-Identifier: Apache-2.0
#include "photo/exif.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>

#include "photo/test_files.h"
#include "plumbfoot/photo/photo.h"
#include "support/debian_data.h"

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

std::string Quoted(const fs::path& path) {
  return "'" + path.string() + "'";
}

/// Writes tags with exiftool, an independent program.
void Tag(const fs::path& path, const std::string& tags) {
  Output("exiftool -q -overwrite_original -n " + tags + " " + Quoted(path));
}

// Exif 2.3 (CIPA DC-008), 4.6.5.F: "YYYY:MM:DD HH:MM:SS"; ISO 8601-1, 5.4.2.1.
TEST(IsoTime, WritesTheTimeOfExif) {
  EXPECT_EQ(IsoTime("2026:03:14 09:30:00"), "2026-03-14T09:30:00");
  EXPECT_EQ(IsoTime("2024:02:29 23:59:59"), "2024-02-29T23:59:59");
  EXPECT_EQ(IsoTime("2026:03:14 09:30:00Z"), "2026-03-14T09:30:00");
}

TEST(IsoTime, IsNothingForWhatIsNoTime) {
  for (const char* text : {"",
                           "    :  :     :  :  ",
                           "0000:00:00 00:00:00",
                           "2026:13:14 09:30:00",
                           "2026:02:30 09:30:00",
                           "2026:03:14 24:30:00",
                           "2026-03-14 09:30:00",
                           "2026:03:14",
                           "2026:03:1\xff 09:30:00"}) {
    SCOPED_TRACE(text);
    EXPECT_EQ(IsoTime(text), std::nullopt);
  }
}

TEST(CameraName, DoesNotRepeatTheMaker) {
  EXPECT_EQ(CameraName("Apple", "iPhone 12"), "Apple iPhone 12");
  EXPECT_EQ(CameraName("Canon", "Canon EOS 80D"), "Canon EOS 80D");
  EXPECT_EQ(CameraName("NIKON CORPORATION", "NIKON D90"), "NIKON D90");
  EXPECT_EQ(CameraName("samsung ", "SM-G991B\n"), "samsung SM-G991B");
  EXPECT_EQ(CameraName("HUAWEI", ""), "HUAWEI");
  EXPECT_EQ(CameraName("", "Pixel 7"), "Pixel 7");
  EXPECT_EQ(CameraName(" ", ""), std::nullopt);
}

TEST(CameraName, IsPrintableWhateverTheFileHolds) {
  EXPECT_EQ(CameraName("Ma\xffker", "A\x01\n B"), "Ma?ker A?? B");
}

TEST(LoadPhoto, ReadsWhatExiftoolWroteInEveryKind) {
  const cv::Mat picture = TestPicture(64, 48);
  const std::map<std::string, FileBytes> files = {
      {"tags.jpg", Encoded(picture, ".jpg")},
      {"tags.png", Encoded(picture, ".png")},
      {"tags.tiff", Encoded(picture, ".tiff")},
      {"tags.webp", Encoded(picture, ".webp")},
      {"tags.heic", EncodedHeic(picture)},
  };
  for (const auto& [name, bytes] : files) {
    SCOPED_TRACE(name);
    const auto path = Write(name, bytes);
    Tag(path,
        "-IFD0:Make=Apple -IFD0:Model='iPhone 12' "
        "-IFD0:ModifyDate='2026:03:20 10:00:00' "
        "-ExifIFD:DateTimeOriginal='2026:03:14 09:30:05' "
        "-ExifIFD:FocalLength=4.2 -ExifIFD:FocalLengthIn35mmFormat=26");
    const auto photo = LoadPhoto(path);
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    EXPECT_EQ(photo->exif.camera, "Apple iPhone 12");
    EXPECT_EQ(photo->exif.taken, "2026-03-14T09:30:05");
    ASSERT_TRUE(photo->exif.focal_mm.has_value());
    EXPECT_NEAR(*photo->exif.focal_mm, 4.2, 1e-6);
    EXPECT_EQ(photo->exif.focal_35mm, 26.0);

    // The time of the last change stands in where nothing else is known.
    Tag(path, "-ExifIFD:DateTimeOriginal=");
    const auto changed = LoadPhoto(path);
    ASSERT_TRUE(changed.has_value());
    EXPECT_EQ(changed->exif.taken, "2026-03-20T10:00:00");
  }
}

TEST(LoadPhoto, InventsNothingThatIsNotInTheFile) {
  const auto path = Write("bare.jpg", Encoded(TestPicture(64, 48), ".jpg"));
  for (const char* tags : {"-all=", "-IFD0:Make=Apple"}) {
    SCOPED_TRACE(tags);
    Tag(path, tags);
    const auto photo = LoadPhoto(path);
    ASSERT_TRUE(photo.has_value());
    EXPECT_EQ(photo->exif.taken, std::nullopt);
    EXPECT_EQ(photo->exif.focal_mm, std::nullopt);
    EXPECT_EQ(photo->exif.focal_35mm, std::nullopt);
    EXPECT_EQ(FocalPx(*photo), std::nullopt);
  }
}

TEST(LoadPhoto, TakesAFocalLengthOfZeroAsUnknown) {
  const auto path = Write("zero.jpg", Encoded(TestPicture(64, 48), ".jpg"));
  Tag(path, "-ExifIFD:FocalLength=0 -ExifIFD:FocalLengthIn35mmFormat=0");
  const auto photo = LoadPhoto(path);
  ASSERT_TRUE(photo.has_value());
  EXPECT_EQ(photo->exif.focal_mm, std::nullopt);
  EXPECT_EQ(photo->exif.focal_35mm, std::nullopt);
}

// Real photos of phones and cameras, read by exiftool as the second reader.
TEST(LoadPhoto, AgreesWithExiftoolOnRealPhotos) {
  const fs::path doc = "/usr/share/doc/opencv-doc";
  if (!fs::exists(doc)) FAIL() << tests::kNoOpencvDoc;
  std::istringstream table(
      Output("exiftool -q -q -r -n -f -ext jpg -if '$ExifIFD:FocalLength' "
             "-p '$Directory/$FileName|$ExifIFD:DateTimeOriginal|$IFD0:Model|"
             "$ExifIFD:FocalLength|$ExifIFD:FocalLengthIn35mmFormat' " +
             Quoted(doc)));
  int seen = 0;
  for (std::string line; std::getline(table, line); ++seen) {
    SCOPED_TRACE(line);
    std::istringstream cells(line);
    std::string path;
    std::string taken;
    std::string model;
    std::string focal;
    std::string focal_35mm;
    std::getline(cells, path, '|');
    std::getline(cells, taken, '|');
    std::getline(cells, model, '|');
    std::getline(cells, focal, '|');
    std::getline(cells, focal_35mm, '|');
    const auto photo = LoadPhoto(path);
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    const ExifFacts& exif = photo->exif;
    if (taken != "-") {
      EXPECT_EQ(exif.taken, IsoTime(taken));
    }
    if (model != "-" && !model.empty()) {
      ASSERT_TRUE(exif.camera.has_value());
      EXPECT_NE(exif.camera->find(model), std::string::npos) << *exif.camera;
    }
    EXPECT_NEAR(exif.focal_mm.value_or(0.0), std::stod(focal), 1e-6);
    if (focal_35mm != "-") {
      EXPECT_NEAR(exif.focal_35mm.value_or(0.0), std::stod(focal_35mm), 1e-6);
    }
  }
  EXPECT_GE(seen, 3);
}

// 36 mm of film across 3600 pixels of a 3:2 photo are 100 pixels a millimetre.
TEST(FocalPx, ComparesDiagonals) {
  Photo photo;
  photo.rgb = cv::Mat(2400, 3600, CV_8UC3);
  photo.exif.focal_35mm = 28.0;
  ASSERT_TRUE(FocalPx(photo).has_value());
  EXPECT_NEAR(*FocalPx(photo), 2800.0, 1e-9);
}

TEST(LoadPhoto, KeepsAPhotoWhoseExifIsDamaged) {
  const auto path = Write("exif.jpg", Encoded(TestPicture(64, 48), ".jpg"));
  Tag(path,
      "-IFD0:Make=Apple -IFD0:Model='iPhone 12' -ExifIFD:FocalLength=4.2 "
      "-ExifIFD:DateTimeOriginal='2026:03:14 09:30:05'");
  const FileBytes whole = ReadBytes(path);
  const cv::Mat picture = LoadPhoto(path).value().rgb;
  // The block begins with its name, after the two bytes of its length.
  const std::string_view name("Exif\0\0", 6);
  const auto block =
      std::search(whole.begin(), whole.end(), name.begin(), name.end()) -
      whole.begin();
  ASSERT_LT(block, 64);
  constexpr std::ptrdiff_t kLength = 180;
  for (std::ptrdiff_t i = block + 6; i < block + kLength; ++i) {
    SCOPED_TRACE(i);
    FileBytes damaged = whole;
    damaged[static_cast<std::size_t>(i)] ^= 0xff;
    const auto photo = LoadPhoto(Write("exif_damaged.jpg", damaged));
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    // A damaged orientation may turn it, and nothing may do more.
    EXPECT_EQ(photo->rgb.total(), picture.total());
  }
}

}  // namespace
}  // namespace plumbfoot::photo
