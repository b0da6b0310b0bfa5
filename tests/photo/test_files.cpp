// SPDX-License-Identifier: Apache-2.0
#include "photo/test_files.h"

#include <gtest/gtest.h>
#include <libheif/heif.h>
#include <unistd.h>

// In this order: jpeglib.h needs the first two.
// clang-format off
#include <cstddef>
#include <cstdio>
#include <jpeglib.h>
// clang-format on

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#ifdef __SANITIZE_ADDRESS__
// Debian's x265, which encodes the HEIC files here, forgets some of its memory.
// NOLINTNEXTLINE(bugprone-reserved-identifier,readability-identifier-naming)
extern "C" const char* __lsan_default_suppressions() {
  return "leak:libx265";
}
#endif

namespace plumbfoot::photo {
namespace {

/// Takes the files away again.
class Tidier : public testing::Environment {
 public:
  void TearDown() override {
    std::error_code trouble;
    std::filesystem::remove_all(PathOf(""), trouble);
  }
};
const testing::Environment* const kTidier =
    testing::AddGlobalTestEnvironment(new Tidier);

}  // namespace

cv::Mat TestPicture(int width, int height) {
  cv::Mat picture(height, width, CV_8UC3);
  cv::RNG grain(7);
  for (int y = 0; y < height; ++y) {
    for (int x = 0; x < width; ++x) {
      const double u = static_cast<double>(x) / width;
      const double v = static_cast<double>(y) / height;
      const double noise = grain.gaussian(3.0);
      picture.at<cv::Vec3b>(y, x) = {
          cv::saturate_cast<uchar>(60 + 120 * u + noise),
          cv::saturate_cast<uchar>(60 + 120 * v + noise),
          cv::saturate_cast<uchar>(120 + 60 * std::sin(9 * u * v) + noise)};
    }
  }
  const int w = width / 4;
  const int h = height / 4;
  picture(cv::Rect(0, 0, w, h)) = cv::Scalar(230, 20, 20);
  picture(cv::Rect(width - w, 0, w, h)) = cv::Scalar(20, 230, 20);
  picture(cv::Rect(width - w, height - h, w, h)) = cv::Scalar(20, 20, 230);
  picture(cv::Rect(0, height - h, w, h)) = cv::Scalar(240, 240, 240);
  return picture;
}

FileBytes Encoded(const cv::Mat& picture,
                  const std::string& extension,
                  const std::vector<int>& parameters) {
  cv::Mat swapped;
  if (picture.channels() == 3) {
    cv::cvtColor(picture, swapped, cv::COLOR_RGB2BGR);
  } else if (picture.channels() == 4) {
    cv::cvtColor(picture, swapped, cv::COLOR_RGBA2BGRA);
  } else {
    swapped = picture;
  }
  FileBytes bytes;
  if (!cv::imencode(extension, swapped, bytes, parameters)) {
    throw std::runtime_error("OpenCV can't encode " + extension);
  }
  return bytes;
}

namespace {

void Require(const heif_error& error) {
  if (error.code != heif_error_Ok) throw std::runtime_error(error.message);
}

}  // namespace

FileBytes EncodedHeic(const cv::Mat& rgb, int orientation) {
  const std::unique_ptr<heif_context, decltype(&heif_context_free)> context(
      heif_context_alloc(), &heif_context_free);
  heif_image* raw_image = nullptr;
  Require(heif_image_create(rgb.cols,
                            rgb.rows,
                            heif_colorspace_RGB,
                            heif_chroma_interleaved_RGB,
                            &raw_image));
  const std::unique_ptr<heif_image, decltype(&heif_image_release)> image(
      raw_image, &heif_image_release);
  Require(heif_image_add_plane(
      raw_image, heif_channel_interleaved, rgb.cols, rgb.rows, 8));
  int stride = 0;
  std::uint8_t* plane =
      heif_image_get_plane(raw_image, heif_channel_interleaved, &stride);
  for (int y = 0; y < rgb.rows; ++y) {
    std::copy_n(rgb.ptr(y),
                3 * rgb.cols,
                plane + static_cast<std::ptrdiff_t>(y) * stride);
  }
  heif_encoder* raw_encoder = nullptr;
  Require(heif_context_get_encoder_for_format(
      context.get(), heif_compression_HEVC, &raw_encoder));
  const std::unique_ptr<heif_encoder, decltype(&heif_encoder_release)> encoder(
      raw_encoder, &heif_encoder_release);
  heif_encoder_set_lossy_quality(raw_encoder, 90);
  heif_encoder_set_logging_level(raw_encoder, 0);
  const std::unique_ptr<heif_encoding_options,
                        decltype(&heif_encoding_options_free)>
      options(heif_encoding_options_alloc(), &heif_encoding_options_free);
  options->image_orientation = static_cast<heif_orientation>(orientation);
  Require(heif_context_encode_image(
      context.get(), raw_image, raw_encoder, options.get(), nullptr));
  FileBytes bytes;
  heif_writer writer{};
  writer.writer_api_version = 1;
  writer.write =
      [](heif_context*, const void* data, std::size_t size, void* out) {
        const auto* from = static_cast<const std::uint8_t*>(data);
        static_cast<FileBytes*>(out)->assign(from, from + size);
        return heif_error{heif_error_Ok, heif_suberror_Unspecified, ""};
      };
  Require(heif_context_write(context.get(), &writer, &bytes));
  return bytes;
}

FileBytes EncodedCmykJpeg(const cv::Mat& cmyk) {
  jpeg_compress_struct info{};
  jpeg_error_mgr errors{};
  info.err = jpeg_std_error(&errors);
  jpeg_create_compress(&info);
  unsigned char* out = nullptr;
  unsigned long size = 0;
  jpeg_mem_dest(&info, &out, &size);
  info.image_width = static_cast<JDIMENSION>(cmyk.cols);
  info.image_height = static_cast<JDIMENSION>(cmyk.rows);
  info.input_components = 4;
  info.in_color_space = JCS_CMYK;
  jpeg_set_defaults(&info);
  info.write_Adobe_marker = TRUE;
  jpeg_set_quality(&info, 95, TRUE);
  jpeg_start_compress(&info, TRUE);
  for (int y = 0; y < cmyk.rows; ++y) {
    auto* row = const_cast<JSAMPROW>(cmyk.ptr(y));
    jpeg_write_scanlines(&info, &row, 1);
  }
  jpeg_finish_compress(&info);
  FileBytes bytes(out, out + size);
  jpeg_destroy_compress(&info);
  std::free(out);
  return bytes;
}

std::filesystem::path PathOf(std::string_view name) {
  const auto folder = std::filesystem::path(testing::TempDir()) /
                      ("plumbfoot_photo_" + std::to_string(getpid()));
  std::filesystem::create_directories(folder);
  return folder / name;
}

std::filesystem::path Write(std::string_view name, const FileBytes& bytes) {
  auto path = PathOf(name);
  std::ofstream file(path, std::ios::binary);
  file.write(reinterpret_cast<const char*>(bytes.data()),
             static_cast<std::streamsize>(bytes.size()));
  if (!file) throw std::runtime_error("can't write " + path.string());
  return path;
}

FileBytes ReadBytes(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("can't read " + path.string());
  return {std::istreambuf_iterator<char>(file), {}};
}

std::string Output(const std::string& command) {
  std::FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) throw std::runtime_error("can't run " + command);
  std::string text;
  for (int c = std::fgetc(pipe); c != EOF; c = std::fgetc(pipe)) {
    text += static_cast<char>(c);
  }
  if (pclose(pipe) != 0) throw std::runtime_error("fails: " + command);
  return text;
}

cv::Mat ByOpenCv(const FileBytes& bytes) {
  cv::Mat rgb;
  cv::cvtColor(cv::imdecode(bytes, cv::IMREAD_COLOR), rgb, cv::COLOR_BGR2RGB);
  return rgb;
}

double LargestDifference(const cv::Mat& a, const cv::Mat& b) {
  return cv::norm(a, b, cv::NORM_INF);
}

double MeanDifference(const cv::Mat& a, const cv::Mat& b) {
  return cv::norm(a, b, cv::NORM_L1) /
         static_cast<double>(a.total() *
                             static_cast<std::size_t>(a.channels()));
}

}  // namespace plumbfoot::photo
