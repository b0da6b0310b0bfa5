// SPDX-License-Identifier: Apache-2.0
#include <tiffio.h>

#include <algorithm>
#include <cstdarg>
#include <cstring>
#include <memory>

#include "photo/decode.h"
#include "photo/exif.h"
#include "photo/refusals.h"
#include "photo/upright.h"

namespace plumbfoot::photo {
namespace {

/// The file as libtiff sees it.
struct Memory {
  Bytes bytes;
  std::uint64_t at = 0;
  bool failed = false;  ///< libtiff reported an error.
};

Memory& Of(thandle_t handle) {
  return *static_cast<Memory*>(handle);
}

tmsize_t Read(thandle_t handle, void* out, tmsize_t size) {
  Memory& memory = Of(handle);
  if (size <= 0 || memory.at >= memory.bytes.size()) return 0;
  const std::size_t got = std::min<std::size_t>(
      static_cast<std::size_t>(size), memory.bytes.size() - memory.at);
  std::memcpy(out, memory.bytes.data() + memory.at, got);
  memory.at += got;
  return static_cast<tmsize_t>(got);
}

tmsize_t Write(thandle_t /*handle*/, void* /*in*/, tmsize_t /*size*/) {
  return -1;
}

toff_t Seek(thandle_t handle, toff_t offset, int whence) {
  Memory& memory = Of(handle);
  if (whence == SEEK_SET) memory.at = offset;
  if (whence == SEEK_CUR) memory.at += offset;
  if (whence == SEEK_END) memory.at = memory.bytes.size() + offset;
  return memory.at;
}

int Close(thandle_t /*handle*/) {
  return 0;
}

toff_t Size(thandle_t handle) {
  return Of(handle).bytes.size();
}

// Returning 1 keeps the message from the process-wide handlers, which write to
// the terminal.
int OnError(TIFF* /*tiff*/,
            void* memory,
            const char* /*module*/,
            const char* /*form*/,
            va_list /*arguments*/) {
  static_cast<Memory*>(memory)->failed = true;
  return 1;
}

int OnWarning(TIFF* /*tiff*/,
              void* /*memory*/,
              const char* /*module*/,
              const char* /*form*/,
              va_list /*arguments*/) {
  return 1;
}

struct TiffCloser {
  void operator()(TIFF* tiff) const { TIFFClose(tiff); }
};
using TiffPtr = std::unique_ptr<TIFF, TiffCloser>;

TiffPtr Open(Memory& memory, std::uint64_t most_bytes) {
  const std::unique_ptr<TIFFOpenOptions, decltype(&TIFFOpenOptionsFree)>
      options(TIFFOpenOptionsAlloc(), &TIFFOpenOptionsFree);
  TIFFOpenOptionsSetErrorHandlerExtR(options.get(), OnError, &memory);
  TIFFOpenOptionsSetWarningHandlerExtR(options.get(), OnWarning, &memory);
  TIFFOpenOptionsSetMaxSingleMemAlloc(options.get(),
                                      static_cast<tmsize_t>(most_bytes));
  // "m": read the file through Read, don't map it.
  return TiffPtr(TIFFClientOpenExt("photo",
                                   "rm",
                                   &memory,
                                   Read,
                                   Write,
                                   Seek,
                                   Close,
                                   Size,
                                   nullptr,
                                   nullptr,
                                   options.get()));
}

/// A raw photo is a TIFF too, whose first picture is only a thumbnail or the
/// bare sensor (Adobe DNG 1.6, p. 21; TIFF 6.0, p. 36, NewSubfileType).
bool IsRawPhoto(TIFF* tiff) {
  std::uint32_t subfile = 0;
  std::uint16_t count = 0;
  const void* version = nullptr;
  const bool reduced = TIFFGetField(tiff, TIFFTAG_SUBFILETYPE, &subfile) == 1 &&
                       (subfile & FILETYPE_REDUCEDIMAGE) != 0;
  std::uint16_t photometric = 0;
  TIFFGetField(tiff, TIFFTAG_PHOTOMETRIC, &photometric);
  return reduced || photometric == PHOTOMETRIC_CFA ||
         TIFFGetField(tiff, TIFFTAG_DNGVERSION, &count, &version) == 1;
}

std::string_view Text(TIFF* tiff, std::uint32_t tag) {
  const char* text = nullptr;
  if (TIFFGetField(tiff, tag, &text) != 1 || text == nullptr) return {};
  return text;
}

/// Leaves `tiff` in its Exif directory, if it has one.
ExifBlock ExifOf(TIFF* tiff) {
  ExifBlock out;
  std::uint16_t orientation = 1;
  if (TIFFGetField(tiff, TIFFTAG_ORIENTATION, &orientation) == 1) {
    out.orientation = SaneOrientation(orientation);
  }
  out.facts.camera =
      CameraName(Text(tiff, TIFFTAG_MAKE), Text(tiff, TIFFTAG_MODEL));
  out.facts.taken = IsoTime(Text(tiff, TIFFTAG_DATETIME));
  toff_t exif = 0;
  if (TIFFGetField(tiff, TIFFTAG_EXIFIFD, &exif) != 1 ||
      TIFFReadEXIFDirectory(tiff, exif) != 1) {
    return out;
  }
  if (auto taken = IsoTime(Text(tiff, EXIFTAG_DATETIMEORIGINAL))) {
    out.facts.taken = std::move(taken);
  }
  float focal = 0.0F;
  if (TIFFGetField(tiff, EXIFTAG_FOCALLENGTH, &focal) == 1) {
    out.facts.focal_mm = SaneLength(static_cast<double>(focal));
  }
  std::uint16_t focal_35mm = 0;
  if (TIFFGetField(tiff, EXIFTAG_FOCALLENGTHIN35MMFILM, &focal_35mm) == 1) {
    out.facts.focal_35mm = SaneLength(focal_35mm);
  }
  return out;
}

struct RgbaReader {
  TIFFRGBAImage image{};
  bool begun = false;

  RgbaReader() = default;
  RgbaReader(const RgbaReader&) = delete;
  RgbaReader& operator=(const RgbaReader&) = delete;
  ~RgbaReader() {
    if (begun) TIFFRGBAImageEnd(&image);
  }
};

}  // namespace

Result<Decoded> DecodeTiff(const Source& source) {
  Memory memory{source.bytes};
  // The largest picture at eight bytes a pixel (16 bits, with alpha).
  const auto most_bytes = static_cast<std::uint64_t>(source.megapixels * 8e6);
  const TiffPtr tiff = Open(memory, most_bytes);
  if (tiff == nullptr) return Damaged(source.name);
  std::uint32_t width = 0;
  std::uint32_t height = 0;
  if (TIFFGetField(tiff.get(), TIFFTAG_IMAGEWIDTH, &width) != 1 ||
      TIFFGetField(tiff.get(), TIFFTAG_IMAGELENGTH, &height) != 1 ||
      width == 0 || height == 0) {
    return Damaged(source.name);
  }
  if (IsTooLarge(source, width, height)) {
    return TooManyPixels(source.name, width, height, source.megapixels);
  }
  if (IsRawPhoto(tiff.get())) return UnreadableKind(source.name, "a raw photo");
  // A tile or strip far larger than the picture is a lie about its size.
  const std::uint64_t piece = TIFFIsTiled(tiff.get()) != 0
                                  ? TIFFTileSize64(tiff.get())
                                  : TIFFStripSize64(tiff.get());
  constexpr std::uint64_t kSmall = 1U << 24U;  // CHOSEN: a usual tile and more.
  if (piece > kSmall + std::uint64_t{width} * height * 16) {
    return Damaged(source.name);
  }

  char why[1024] = "";  // libtiff's size for it
  if (TIFFRGBAImageOK(tiff.get(), why) == 0) {
    return UnreadableKind(source.name, "an unusual TIFF file");
  }
  RgbaReader reader;
  constexpr int kStopOnError = 1;
  reader.begun =
      TIFFRGBAImageBegin(&reader.image, tiff.get(), kStopOnError, why) != 0;
  if (!reader.begun) return Damaged(source.name);
  // As stored: libtiff itself would mirror, but not turn.
  reader.image.orientation = ORIENTATION_TOPLEFT;
  reader.image.req_orientation = ORIENTATION_TOPLEFT;
  cv::Mat raster(static_cast<int>(height), static_cast<int>(width), CV_32SC1);
  if (TIFFRGBAImageGet(&reader.image,
                       reinterpret_cast<std::uint32_t*>(raster.data),
                       width,
                       height) == 0 ||
      memory.failed) {
    return Damaged(source.name);
  }

  cv::Mat rgb(raster.size(), CV_8UC3);
  for (int y = 0; y < raster.rows; ++y) {
    const auto* row = raster.ptr<std::uint32_t>(y);
    std::uint8_t* out = rgb.ptr(y);
    for (int x = 0; x < raster.cols; ++x, out += 3) {
      // libtiff has multiplied the colours by alpha, or trusts the file that
      // says so; a file that lies is held at white.
      const std::uint32_t white = 255U - TIFFGetA(row[x]);
      const auto over_white = [white](std::uint32_t colour) {
        return static_cast<std::uint8_t>(std::min(colour + white, 255U));
      };
      out[0] = over_white(TIFFGetR(row[x]));
      out[1] = over_white(TIFFGetG(row[x]));
      out[2] = over_white(TIFFGetB(row[x]));
    }
  }
  raster.release();
  const ExifBlock exif = ExifOf(tiff.get());
  return Decoded{Upright(rgb, exif.orientation), exif.facts};
}

}  // namespace plumbfoot::photo
