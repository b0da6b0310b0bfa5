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
#include "photo/exif.h"
#include "photo/refusals.h"
#include "photo/upright.h"

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

/// Room for the rows of one pass, where they can't be written into the picture
/// at once. They go there while they are still in the processor's cache.
struct Strip {
  static constexpr int kRows = 32;
  std::vector<std::uint8_t> rgb;
  std::vector<std::uint8_t> cmyk;  ///< One row; empty for a picture in RGB.
};

bool ReadPixels(Reader& reader, Strip& strip, UprightPicture& picture) {
  jpeg_decompress_struct& info = reader.info;
  // NOLINTNEXTLINE(bugprone-*): no destructor is jumped over, see Reader.
  if (setjmp(reader.escape) != 0) return false;
  const bool ink = !strip.cmyk.empty();
  info.out_color_space = ink ? JCS_CMYK : JCS_RGB;
  jpeg_start_decompress(&info);
  const int width = static_cast<int>(info.output_width);
  const std::size_t step = 3UL * info.output_width;
  while (info.output_scanline < info.output_height) {
    const int first = static_cast<int>(info.output_scanline);
    const bool at_once = picture.WholeRow(first) != nullptr;
    int rows = 0;
    while (rows < Strip::kRows && info.output_scanline < info.output_height) {
      std::uint8_t* out =
          at_once ? picture.WholeRow(first + rows)
                  : &strip.rgb[static_cast<std::size_t>(rows) * step];
      JSAMPROW row = ink ? strip.cmyk.data() : out;
      jpeg_read_scanlines(&info, &row, 1);
      if (ink) RgbFromCmyk(row, width, info.saw_Adobe_marker != 0, out);
      ++rows;
    }
    if (!at_once) picture.Put(first, rows, strip.rgb.data(), step);
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
  const ExifBlock exif = ExifOf(info);
  UprightPicture picture(static_cast<int>(info.image_width),
                         static_cast<int>(info.image_height),
                         exif.orientation);
  Strip strip;
  strip.rgb.resize(3UL * info.image_width * Strip::kRows);
  if (IsCmyk(info)) strip.cmyk.resize(4UL * info.image_width);
  if (!ReadPixels(reader, strip, picture)) return Damaged(source.name);
  return Decoded{picture.rgb(), exif.facts};
}

}  // namespace plumbfoot::photo
