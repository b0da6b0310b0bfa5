// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/encode_jpeg.h"

// clang-format off
#include <cstddef>
#include <cstdio>
#include <jpeglib.h>
// clang-format on

#include <csetjmp>
#include <cstdlib>
#include <stdexcept>

namespace plumbfoot::photo {
namespace {

/// Everything of one compression. libjpeg leaves an error by longjmp, its
/// documented way: so no function that calls it holds an object with a
/// destructor.
struct Writer {
  jpeg_compress_struct info{};
  jpeg_error_mgr errors{};
  std::jmp_buf escape{};
  unsigned char* bytes = nullptr;
  unsigned long size = 0;  // NOLINT(google-runtime-int): libjpeg's own type.

  Writer() = default;
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer() {
    jpeg_destroy_compress(&info);
    std::free(bytes);
  }
};

[[noreturn]] void Leave(j_common_ptr info) {
  std::longjmp(static_cast<Writer*>(info->client_data)->escape, 1);
}

bool Write(Writer& writer, const cv::Mat& rgb, int quality) {
  jpeg_compress_struct& info = writer.info;
  info.err = jpeg_std_error(&writer.errors);
  writer.errors.error_exit = Leave;
  info.client_data = &writer;
  // NOLINTNEXTLINE(bugprone-*): no destructor is jumped over, see Writer.
  if (setjmp(writer.escape) != 0) return false;
  jpeg_create_compress(&info);
  jpeg_mem_dest(&info, &writer.bytes, &writer.size);
  info.image_width = static_cast<JDIMENSION>(rgb.cols);
  info.image_height = static_cast<JDIMENSION>(rgb.rows);
  info.input_components = 3;
  info.in_color_space = JCS_RGB;
  jpeg_set_defaults(&info);
  jpeg_set_quality(&info, quality, TRUE);
  jpeg_start_compress(&info, TRUE);
  while (info.next_scanline < info.image_height) {
    // libjpeg does not write to a row that it is given to compress.
    auto* row = const_cast<JSAMPLE*>(
        rgb.ptr<JSAMPLE>(static_cast<int>(info.next_scanline)));
    jpeg_write_scanlines(&info, &row, 1);
  }
  jpeg_finish_compress(&info);
  return true;
}

}  // namespace

std::string EncodeJpeg(const cv::Mat& rgb, int quality) {
  if (rgb.empty() || rgb.type() != CV_8UC3) {
    throw std::invalid_argument("EncodeJpeg: not an 8-bit colour picture");
  }
  Writer writer;
  if (!Write(writer, rgb, quality)) {
    throw std::logic_error("EncodeJpeg: libjpeg did not encode");
  }
  return {reinterpret_cast<const char*>(writer.bytes), writer.size};
}

}  // namespace plumbfoot::photo
