// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/photo.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include <array>
#include <fstream>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "photo/test_files.h"
#include "support/debian_data.h"

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

// Real pictures, read by OpenCV as the second reader.
TEST(LoadPhoto, DecodesRealJpegsAndPngsAsOpenCvDoes) {
  const fs::path folder = "/usr/share/doc/opencv-doc/examples/data";
  if (!fs::exists(folder)) {
    FAIL() << tests::kNoOpencvDoc;
  }
  int seen = 0;
  for (const auto& entry : fs::directory_iterator(folder)) {
    const auto extension = entry.path().extension();
    if (extension != ".jpg" && extension != ".png") continue;
    SCOPED_TRACE(entry.path().string());
    const FileBytes bytes = ReadBytes(entry.path());
    // OpenCV drops transparency, which we lay over white.
    if (cv::imdecode(bytes, cv::IMREAD_UNCHANGED).channels() == 4) continue;
    const auto photo = LoadPhoto(entry.path());
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    const cv::Mat reference = ByOpenCv(bytes);
    ASSERT_EQ(photo->rgb.size(), reference.size());
    ASSERT_EQ(photo->rgb.type(), CV_8UC3);
    // One level: 16 bits are rounded here and cut off there.
    EXPECT_LE(LargestDifference(photo->rgb, reference), 1.0);
    ++seen;
  }
  EXPECT_GE(seen, 50);
}

TEST(LoadPhoto, DecodesEveryVariantOfAKind) {
  const cv::Mat rgb = TestPicture(95, 63);
  cv::Mat grey;
  cv::extractChannel(rgb, grey, 1);
  cv::Mat deep;
  rgb.convertTo(deep, CV_16UC3, 257.0);
  const std::vector<std::pair<std::string, FileBytes>> files = {
      {"plain.jpg", Encoded(rgb, ".jpg")},
      {"progressive.jpg",
       Encoded(rgb, ".jpg", {cv::IMWRITE_JPEG_PROGRESSIVE, 1})},
      {"restarts.jpg",
       Encoded(rgb, ".jpg", {cv::IMWRITE_JPEG_RST_INTERVAL, 2})},
      {"grey.jpg", Encoded(grey, ".jpg")},
      {"plain.png", Encoded(rgb, ".png")},
      {"grey.png", Encoded(grey, ".png")},
      {"deep.png", Encoded(deep, ".png")},
      {"plain.tiff", Encoded(rgb, ".tiff")},
      {"grey.tiff", Encoded(grey, ".tiff")},
      {"deep.tiff", Encoded(deep, ".tiff")},
      {"uncompressed.tiff",
       Encoded(rgb, ".tiff", {cv::IMWRITE_TIFF_COMPRESSION, 1})},
      {"plain.webp", Encoded(rgb, ".webp", {cv::IMWRITE_WEBP_QUALITY, 90})},
      {"lossless.webp", Encoded(rgb, ".webp", {cv::IMWRITE_WEBP_QUALITY, 101})},
  };
  for (const auto& [name, bytes] : files) {
    SCOPED_TRACE(name);
    const auto photo = LoadPhoto(Write(name, bytes));
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    ASSERT_EQ(photo->rgb.type(), CV_8UC3);
    const cv::Mat reference = ByOpenCv(bytes);
    ASSERT_EQ(photo->rgb.size(), reference.size());
    EXPECT_LE(LargestDifference(photo->rgb, reference), 1.0);
  }
}

TEST(LoadPhoto, DecodesInkAsOpenCvDoes) {
  cv::Mat cmyk(48, 64, CV_8UC4);
  for (int y = 0; y < cmyk.rows; ++y) {
    for (int x = 0; x < cmyk.cols; ++x) {
      cmyk.at<cv::Vec4b>(y, x) = cv::Vec4b(static_cast<uchar>(4 * x),
                                           static_cast<uchar>(5 * y),
                                           static_cast<uchar>(255 - 4 * x),
                                           static_cast<uchar>(128 + 2 * y));
    }
  }
  const FileBytes bytes = EncodedCmykJpeg(cmyk);
  const auto photo = LoadPhoto(Write("ink.jpg", bytes));
  ASSERT_TRUE(photo.has_value()) << photo.error().message;
  // Two levels: the products are rounded in different places.
  EXPECT_LE(LargestDifference(photo->rgb, ByOpenCv(bytes)), 2.0);
}

TEST(LoadPhoto, LaysTransparencyOverWhite) {
  cv::Mat rgba(32, 48, CV_8UC4, cv::Scalar(200, 40, 10, 255));
  rgba.colRange(16, 32) = cv::Scalar(200, 40, 10, 0);
  for (const auto& [extension, parameters] :
       std::vector<std::pair<std::string, std::vector<int>>>{
           {".png", {}},
           {".webp", {cv::IMWRITE_WEBP_QUALITY, 101}},
           {".tiff", {}}}) {
    SCOPED_TRACE(extension);
    const auto photo = LoadPhoto(
        Write("clear" + extension, Encoded(rgba, extension, parameters)));
    ASSERT_TRUE(photo.has_value()) << photo.error().message;
    EXPECT_EQ(photo->rgb.at<cv::Vec3b>(5, 5), cv::Vec3b(200, 40, 10));
    EXPECT_EQ(photo->rgb.at<cv::Vec3b>(5, 24), cv::Vec3b(255, 255, 255));
  }
}

// heif-enc and heif-convert are the HEIC reference: a file from the one, and
// the other's reading of it.
TEST(LoadPhoto, DecodesHeicAsHeifConvertDoes) {
  const auto jpeg = Write(
      "source.jpg",
      Encoded(TestPicture(200, 120), ".jpg", {cv::IMWRITE_JPEG_QUALITY, 98}));
  const auto heic = PathOf("source.heic");
  const auto back = PathOf("back.png");
  Output("heif-enc -q 90 -o '" + heic.string() + "' '" + jpeg.string() +
         "' && heif-convert '" + heic.string() + "' '" + back.string() + "'");
  const auto photo = LoadPhoto(heic);
  ASSERT_TRUE(photo.has_value()) << photo.error().message;
  EXPECT_LE(LargestDifference(photo->rgb, ByOpenCv(ReadBytes(back))), 1.0);
}

TEST(LoadPhoto, TellsTheFileAsSha256sumDoes) {
  const FileBytes bytes = Encoded(TestPicture(64, 48), ".jpg");
  const auto path = Write("sum.jpg", bytes);
  const auto photo = LoadPhoto(path);
  ASSERT_TRUE(photo.has_value());
  EXPECT_EQ(photo->sha256,
            Output("sha256sum '" + path.string() + "'").substr(0, 64));
  EXPECT_EQ(photo->bytes, bytes.size());
  EXPECT_EQ(photo->file_name, "sum.jpg");
}

TEST(LoadPhoto, TellsTheKindFromTheBytesNotTheName) {
  const cv::Mat picture = TestPicture(64, 48);
  const auto photo = LoadPhoto(Write("photo.txt", Encoded(picture, ".png")));
  ASSERT_TRUE(photo.has_value());
  EXPECT_EQ(LargestDifference(photo->rgb, picture), 0.0);
}

// Phones append a film, a depth map or a second picture (CIPA DC-007).
TEST(LoadPhoto, PassesOverWhatFollowsAJpeg) {
  const FileBytes first = Encoded(TestPicture(64, 48), ".jpg");
  FileBytes bytes = first;
  const FileBytes second = Encoded(TestPicture(32, 24), ".jpg");
  bytes.insert(bytes.end(), second.begin(), second.end());
  bytes.insert(bytes.end(), 1000, 0);
  const auto photo = LoadPhoto(Write("trailing.jpg", bytes));
  ASSERT_TRUE(photo.has_value()) << photo.error().message;
  EXPECT_EQ(LargestDifference(photo->rgb, ByOpenCv(first)), 0.0);
}

RefusalCode CodeOf(const fs::path& path, const Limits& limits = {}) {
  testing::internal::CaptureStderr();
  testing::internal::CaptureStdout();
  const auto photo = LoadPhoto(path, limits);
  EXPECT_EQ(testing::internal::GetCapturedStdout(), "");
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  if (photo.has_value()) {
    ADD_FAILURE() << path << " is accepted";
    return RefusalCode::kUsage;
  }
  const Refusal& refusal = photo.error();
  EXPECT_NE(refusal.message.find(path.filename().string()), std::string::npos)
      << refusal.message;
  EXPECT_TRUE(refusal.message.ends_with('.')) << refusal.message;
  EXPECT_TRUE(refusal.remedy.ends_with('.')) << refusal.remedy;
  return refusal.code;
}

FileBytes Text(std::string_view text) {
  return {text.begin(), text.end()};
}

TEST(LoadPhoto, RefusesWhatIsNoPhoto) {
  const auto is_no_photo = [](std::string_view name, const FileBytes& bytes) {
    SCOPED_TRACE(name);
    EXPECT_EQ(CodeOf(Write(name, bytes)), RefusalCode::kNotAPhoto);
  };
  using std::string_view_literals::operator""sv;
  is_no_photo("text.jpg", Text("A text that was given a photo's name.\n"));
  is_no_photo("short.jpg", Text("\xff"));
  is_no_photo("page.pdf", Text("%PDF-1.7\n"));
  is_no_photo("sound.wav", Text("RIFF\x24\0\0\0WAVEfmt "sv));
  is_no_photo("film.mp4",
              Text("\0\0\0\x18"
                   "ftypisom\0\0\2\0isommp41"sv));
  is_no_photo("picture.gif", Text("GIF89a\1\0\1\0\0\0\0;"sv));
  is_no_photo("floats.tiff",
              Encoded(cv::Mat(8, 8, CV_32FC1, cv::Scalar::all(1)), ".tiff"));
}

TEST(LoadPhoto, RefusesARawPhoto) {
  const auto path = Write("raw.dng", Encoded(TestPicture(64, 48), ".tiff"));
  Output("exiftool -q -overwrite_original -n -IFD0:DNGVersion='1 4 0 0' '" +
         path.string() + "'");
  EXPECT_EQ(CodeOf(path), RefusalCode::kNotAPhoto);
}

TEST(LoadPhoto, RefusesAnEmptyFile) {
  EXPECT_EQ(CodeOf(Write("empty.jpg", {})), RefusalCode::kFileEmpty);
}

TEST(LoadPhoto, RefusesAMissingFileAndAFolder) {
  const fs::path folder = PathOf("a_folder.jpg");
  fs::create_directories(folder);
  EXPECT_EQ(CodeOf(folder / "nothing.jpg"), RefusalCode::kFileMissing);
  EXPECT_EQ(CodeOf(folder), RefusalCode::kFileMissing);
}

TEST(LoadPhoto, RefusesWhatItMayNotOpen) {
  const auto path = Write("locked.jpg", Encoded(TestPicture(8, 8), ".jpg"));
  fs::permissions(path, fs::perms::none);
  // The administrator may open everything: be nobody for a moment.
  constexpr uid_t kNobody = 65534;
  const bool administrator = geteuid() == 0;
  if (administrator) {
    ASSERT_EQ(seteuid(kNobody), 0);
  }
  const auto photo = LoadPhoto(path);
  if (administrator) {
    ASSERT_EQ(seteuid(0), 0);
  }
  fs::remove(path);
  ASSERT_FALSE(photo.has_value());
  EXPECT_EQ(photo.error().code, RefusalCode::kCannotRead);
}

TEST(LoadPhoto, DoesNotWaitForAPipe) {
  const fs::path pipe = PathOf("pipe.jpg");
  fs::remove(pipe);
  Output("mkfifo '" + pipe.string() + "'");
  EXPECT_EQ(CodeOf(pipe), RefusalCode::kCannotRead);
  fs::remove(pipe);
}

TEST(LoadPhoto, RefusesAFileOverItsLimitUnread) {
  // 200 MB that take no room on the disk.
  const auto path = Write("large.jpg", {});
  fs::resize_file(path, 200'000'000);
  EXPECT_EQ(CodeOf(path), RefusalCode::kFileTooLarge);
  fs::remove(path);
  const FileBytes bytes = Encoded(TestPicture(64, 48), ".jpg");
  const auto small = Write("limit.jpg", bytes);
  EXPECT_EQ(CodeOf(small, {.bytes = bytes.size() - 1}),
            RefusalCode::kFileTooLarge);
  EXPECT_TRUE(LoadPhoto(small, {.bytes = bytes.size()}).has_value());
}

/// Replaces the one place where `from` stands.
FileBytes Patched(FileBytes bytes, const FileBytes& from, const FileBytes& to) {
  const auto at =
      std::search(bytes.begin(), bytes.end(), from.begin(), from.end());
  if (at == bytes.end()) throw std::runtime_error("nothing to patch");
  std::copy(to.begin(), to.end(), at);
  return bytes;
}

long PeakKilobytes() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  return usage.ru_maxrss;
}

std::uint32_t PngCheckSum(const std::uint8_t* data, std::size_t size) {
  // PNG specification, third edition, annex D.
  std::uint32_t sum = 0xffffffffU;
  for (std::size_t i = 0; i < size; ++i) {
    sum ^= data[i];
    for (int bit = 0; bit < 8; ++bit) {
      sum = (sum >> 1U) ^ ((sum & 1U) != 0 ? 0xedb88320U : 0U);
    }
  }
  return ~sum;
}

FileBytes WithPngSize(FileBytes png,
                      std::uint32_t width,
                      std::uint32_t height) {
  const auto put = [&](std::size_t at, std::uint32_t value) {
    for (unsigned i = 0; i < 4; ++i) {
      png[at + i] = static_cast<std::uint8_t>(value >> (24U - 8U * i));
    }
  };
  // Signature 8, length 4, "IHDR" 4, width 4, height 4, five bytes, check sum.
  put(16, width);
  put(20, height);
  put(29, PngCheckSum(png.data() + 12, 17));
  return png;
}

TEST(LoadPhoto, RefusesTooManyPixelsBeforeDecoding) {
  // 201 x 100 pixels, whose sizes are found in the header and overwritten.
  const cv::Mat picture = TestPicture(201, 100);
  const FileBytes jpeg = Patched(Encoded(picture, ".jpg"),
                                 {0x00, 100, 0x00, 201},  // SOF: height, width
                                 {0xfd, 0xe8, 0xfd, 0xe8});  // 65000
  const FileBytes png = WithPngSize(Encoded(picture, ".png"), 60000, 60000);
  const FileBytes tiff =
      Patched(Patched(Encoded(picture, ".tiff"),
                      {0x00, 0x01, 0x03, 0x00, 1, 0, 0, 0, 201, 0},
                      {0x00, 0x01, 0x03, 0x00, 1, 0, 0, 0, 0x60, 0xea}),
              {0x01, 0x01, 0x03, 0x00, 1, 0, 0, 0, 100, 0},
              {0x01, 0x01, 0x03, 0x00, 1, 0, 0, 0, 0x60, 0xea});  // 60000
  const FileBytes webp =
      Patched(Encoded(picture, ".webp", {cv::IMWRITE_WEBP_QUALITY, 90}),
              {0x9d, 0x01, 0x2a, 201, 0, 100, 0},
              {0x9d, 0x01, 0x2a, 0xff, 0x3f, 0xff, 0x3f});
  const FileBytes heic =
      Patched(EncodedHeic(TestPicture(200, 100)),
              {'i', 's', 'p', 'e', 0, 0, 0, 0, 0, 0, 0, 200, 0, 0, 0, 100},
              {'i', 's', 'p', 'e', 0, 0, 0, 0, 0, 0, 0x40, 0, 0, 0, 0x40, 0});
  const long before = PeakKilobytes();
  EXPECT_EQ(CodeOf(Write("huge.jpg", jpeg)), RefusalCode::kPhotoTooLarge);
  EXPECT_EQ(CodeOf(Write("huge.png", png)), RefusalCode::kPhotoTooLarge);
  EXPECT_EQ(CodeOf(Write("huge.tiff", tiff)), RefusalCode::kPhotoTooLarge);
  EXPECT_EQ(CodeOf(Write("huge.webp", webp)), RefusalCode::kPhotoTooLarge);
  EXPECT_EQ(CodeOf(Write("huge.heic", heic)), RefusalCode::kPhotoTooLarge);
  // The smallest of the five would take 800 MB.
  EXPECT_LT(PeakKilobytes() - before, 50'000);
}

TEST(LoadPhoto, HoldsTheLimitOfPixelsExactly) {
  const auto path = Write("edge.jpg", Encoded(TestPicture(200, 100), ".jpg"));
  EXPECT_TRUE(LoadPhoto(path, {.megapixels = 0.02}).has_value());
  EXPECT_EQ(CodeOf(path, {.megapixels = 0.0199}), RefusalCode::kPhotoTooLarge);
}

TEST(LoadPhoto, RefusesATiffThatLiesAboutItsPieces) {
  // A strip of 4 000 000 000 rows, or of 4 GB, in a picture of 201 x 100.
  const FileBytes tiff = Encoded(TestPicture(201, 100), ".tiff");
  const FileBytes counts = {0x17, 0x01};  // StripByteCounts
  const auto at =
      std::search(tiff.begin(), tiff.end(), counts.begin(), counts.end());
  ASSERT_NE(at, tiff.end());
  FileBytes liar = tiff;
  const auto value = static_cast<std::size_t>(at - tiff.begin()) + 8;
  for (std::size_t i = 0; i < 4; ++i) liar[value + i] = 0xee;
  const long before = PeakKilobytes();
  EXPECT_EQ(CodeOf(Write("liar.tiff", liar)), RefusalCode::kPhotoDamaged);
  EXPECT_LT(PeakKilobytes() - before, 50'000);
}

}  // namespace
}  // namespace plumbfoot::photo
