// SPDX-License-Identifier: Apache-2.0
// In this order: jpeglib.h needs the first two, jerror.h needs jpeglib.h.
// clang-format off
#include <cstddef>
#include <cstdio>
#include <jpeglib.h>
#include <jerror.h>
// clang-format on

#include <csetjmp>
#include <cstring>
#include <vector>

#include "photo/decode.h"
#include "photo/refusals.h"

namespace plumbfoot::photo {
namespace {

/// Everything of one decompression. libjpeg reports by calling back and leaves
/// an error by longjmp, its documented way: so no function that calls it holds
/// an object with a destructor.
struct Reader {
  jpeg_decompress_struct info{};
  jpeg_error_mgr errors{};
  jpeg_progress_mgr progress{};
  std::jmp_buf escape{};

  Reader() = default;
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;
  ~Reader() { jpeg_destroy_decompress(&info); }
};

[[noreturn]] void Leave(j_common_ptr info) {
  std::longjmp(static_cast<Reader*>(info->client_data)->escape, 1);
}

/// libjpeg's warnings about the picture itself: it goes on with grey or with
/// rubbish after each of them. Those about headers leave the picture whole.
bool MeansDamage(const jpeg_error_mgr& errors) {
  // CHOSEN: encoders pad the end of a scan by a few bytes; more of them are a
  // picture that has lost its step.
  constexpr int kPadding = 64;
  switch (errors.msg_code) {
    case JWRN_JPEG_EOF:
    case JWRN_HIT_MARKER:
    case JWRN_HUFF_BAD_CODE:
    case JWRN_ARITH_BAD_CODE:
    case JWRN_MUST_RESYNC:
    case JWRN_NOT_SEQUENTIAL:
    case JWRN_BOGUS_PROGRESSION:
      return true;
    case JWRN_EXTRANEOUS_DATA:
      return errors.msg_parm.i[0] > kPadding;
    default:
      return false;
  }
}

void Report(j_common_ptr info, int level) {
  if (level < 0 && MeansDamage(*info->err)) Leave(info);
}

void KeepSilent(j_common_ptr /*info*/) {}

/// A few hundred bytes can ask for thousands of passes over a large picture.
void LimitScans(j_common_ptr info) {
  constexpr int kScans = 100;  // CHOSEN: encoders write about ten.
  if (info->is_decompressor != 0 &&
      reinterpret_cast<j_decompress_ptr>(info)->input_scan_number > kScans) {
    Leave(info);
  }
}

// The three steps. Each returns false where libjpeg gives up.

bool ReadHeader(Reader& reader, Bytes bytes) {
  jpeg_decompress_struct& info = reader.info;
  info.err = jpeg_std_error(&reader.errors);
  reader.errors.error_exit = Leave;
  reader.errors.emit_message = Report;
  reader.errors.output_message = KeepSilent;
  info.client_data = &reader;
  // NOLINTNEXTLINE(bugprone-*): no destructor is jumped over, see Reader.
  if (setjmp(reader.escape) != 0) return false;
  jpeg_create_decompress(&info);
  reader.progress.progress_monitor = LimitScans;
  info.progress = &reader.progress;
  jpeg_mem_src(&info, bytes.data(), bytes.size());
  constexpr unsigned kLongestMarker = 0xffff;
  jpeg_save_markers(&info, JPEG_APP0 + 1, kLongestMarker);
  jpeg_read_header(&info, TRUE);
  return true;
}

bool IsCmyk(const jpeg_decompress_struct& info) {
  return info.jpeg_color_space == JCS_CMYK || info.jpeg_color_space == JCS_YCCK;
}

/// Without a profile; only good enough to find edges. Adobe's programs store
/// ink upside down (libjpeg.txt, "Special color spaces").
void RgbFromCmyk(const std::uint8_t* cmyk,
                 int width,
                 bool adobe,
                 std::uint8_t* rgb) {
  const auto light = [adobe](std::uint8_t ink) {
    return adobe ? unsigned{ink} : 255U - ink;
  };
  for (int x = 0; x < width; ++x, cmyk += 4, rgb += 3) {
    const unsigned key = light(cmyk[3]);
    for (int c = 0; c < 3; ++c) {
      rgb[c] = static_cast<std::uint8_t>((light(cmyk[c]) * key + 127) / 255);
    }
  }
}

/// @param cmyk  Room for one row, or nullptr for a picture without ink.
bool ReadPixels(Reader& reader, cv::Mat& rgb, std::uint8_t* cmyk) {
  jpeg_decompress_struct& info = reader.info;
  // NOLINTNEXTLINE(bugprone-*): no destructor is jumped over, see Reader.
  if (setjmp(reader.escape) != 0) return false;
  info.out_color_space = cmyk != nullptr ? JCS_CMYK : JCS_RGB;
  jpeg_start_decompress(&info);
  while (info.output_scanline < info.output_height) {
    std::uint8_t* out = rgb.ptr(static_cast<int>(info.output_scanline));
    JSAMPROW row = cmyk != nullptr ? cmyk : out;
    jpeg_read_scanlines(&info, &row, 1);
    if (cmyk != nullptr) {
      RgbFromCmyk(cmyk, rgb.cols, info.saw_Adobe_marker != 0, out);
    }
  }
  // Reads on to the end marker: without it, the file breaks off.
  jpeg_finish_decompress(&info);
  return true;
}

ExifBlock ExifOf(const jpeg_decompress_struct& info) {
  constexpr std::string_view kHeader("Exif\0\0", 6);
  for (auto marker = info.marker_list; marker != nullptr;
       marker = marker->next) {
    if (marker->data_length >= kHeader.size() &&
        std::memcmp(marker->data, kHeader.data(), kHeader.size()) == 0) {
      return ReadExif({marker->data, marker->data_length});
    }
  }
  return {};
}

}  // namespace

Result<Decoded> DecodeJpeg(const Source& source) {
  Reader reader;
  if (!ReadHeader(reader, source.bytes)) return Damaged(source.name);
  const jpeg_decompress_struct& info = reader.info;
  if (IsTooLarge(source, info.image_width, info.image_height)) {
    return TooManyPixels(
        source.name, info.image_width, info.image_height, source.megapixels);
  }
  Decoded out;
  out.exif = ExifOf(info);
  out.rgb.create(static_cast<int>(info.image_height),
                 static_cast<int>(info.image_width),
                 CV_8UC3);
  std::vector<std::uint8_t> cmyk(IsCmyk(info) ? 4UL * info.image_width : 0);
  if (!ReadPixels(reader, out.rgb, cmyk.empty() ? nullptr : cmyk.data())) {
    return Damaged(source.name);
  }
  return out;
}

}  // namespace plumbfoot::photo
