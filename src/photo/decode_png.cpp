// SPDX-License-Identifier: Apache-2.0
#include <png.h>

#include <cstring>

#include "photo/decode.h"
#include "photo/exif.h"
#include "photo/refusals.h"
#include "photo/upright.h"

namespace plumbfoot::photo {
namespace {

/// What the chunks say (PNG specification, third edition, 5.3), read without
/// libpng because its simple interface passes over the end of the file.
struct Chunks {
  bool complete = false;  ///< Ends with IEND.
  Bytes exif;             ///< Of eXIf; empty if there is none.
};

std::uint32_t BigEndian(Bytes four) {
  return (std::uint32_t{four[0]} << 24U) | (std::uint32_t{four[1]} << 16U) |
         (std::uint32_t{four[2]} << 8U) | std::uint32_t{four[3]};
}

Chunks ReadChunks(Bytes file) {
  constexpr std::size_t kSignature = 8;
  constexpr std::size_t kAround = 12;  // length, type, check sum
  Chunks out;
  for (Bytes rest = file.subspan(kSignature); rest.size() >= kAround;) {
    const std::size_t length = BigEndian(rest.first(4));
    if (length > rest.size() - kAround) break;
    const auto is = [&](const char* type) {
      return std::memcmp(rest.data() + 4, type, 4) == 0;
    };
    if (is("eXIf")) out.exif = rest.subspan(8, length);
    if (is("IEND")) {
      out.complete = true;
      break;
    }
    rest = rest.subspan(length + kAround);
  }
  return out;
}

struct Image {
  png_image png{};

  Image() { png.version = PNG_IMAGE_VERSION; }
  Image(const Image&) = delete;
  Image& operator=(const Image&) = delete;
  ~Image() { png_image_free(&png); }
};

}  // namespace

Result<Decoded> DecodePng(const Source& source) {
  const Chunks chunks = ReadChunks(source.bytes);
  Image image;
  png_image& png = image.png;
  if (png_image_begin_read_from_memory(
          &png, source.bytes.data(), source.bytes.size()) == 0) {
    return Damaged(source.name);
  }
  if (IsTooLarge(source, png.width, png.height)) {
    return TooManyPixels(source.name, png.width, png.height, source.megapixels);
  }
  if (!chunks.complete) return Damaged(source.name);
  // 16-bit pictures of cameras are as bright as 8-bit ones, not linear.
  png.flags |= PNG_IMAGE_FLAG_16BIT_sRGB;
  png.format = PNG_FORMAT_RGB;
  cv::Mat rgb(
      static_cast<int>(png.height), static_cast<int>(png.width), CV_8UC3);
  const png_color white{255, 255, 255};
  const int row_stride = static_cast<int>(rgb.step);
  if (png_image_finish_read(&png, &white, rgb.data, row_stride, nullptr) == 0) {
    return Damaged(source.name);
  }
  const ExifBlock exif = ReadExif(chunks.exif);
  return Decoded{Upright(rgb, exif.orientation), exif.facts};
}

}  // namespace plumbfoot::photo
