// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/photo.h"

#include <cmath>
#include <cstdint>
#include <new>
#include <opencv2/core.hpp>
#include <utility>

#include "photo/decode.h"
#include "photo/file_kind.h"
#include "photo/refusals.h"
#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

Result<Decoded> Decode(const Source& source) {
  switch (KindOf(source.bytes)) {
    case FileKind::kJpeg:
      return DecodeJpeg(source);
    case FileKind::kPng:
      return DecodePng(source);
    case FileKind::kTiff:
      return DecodeTiff(source);
    case FileKind::kWebp:
      return DecodeWebp(source);
    case FileKind::kHeic:
      return DecodeHeic(source);
    case FileKind::kOther:
      break;
  }
  return NotAPhoto(source.name);
}

}  // namespace

Result<Photo> LoadPhoto(const fs::path& path, const Limits& limits) {
  Photo photo;
  photo.file_name = path.filename().string();
  try {
    const auto read = ReadBytes(path, limits.bytes);
    if (!read) return read.error();
    photo.bytes = read->size();
    photo.sha256 = Sha256(*read);
    const Bytes bytes(reinterpret_cast<const std::uint8_t*>(read->data()),
                      read->size());
    auto decoded = Decode({bytes, photo.file_name, limits.megapixels});
    if (!decoded) return decoded.error();
    photo.exif = std::move(decoded->exif);
    photo.rgb = std::move(decoded->rgb);
  } catch (const std::bad_alloc&) {
    return TooLittleMemory(photo.file_name);
  } catch (const cv::Exception& trouble) {
    if (trouble.code != cv::Error::StsNoMem) throw;
    return TooLittleMemory(photo.file_name);
  }
  return photo;
}

std::optional<double> FocalPx(const Photo& photo) {
  if (!photo.exif.focal_35mm) return std::nullopt;
  const double film_mm = std::hypot(36.0, 24.0);
  const double photo_px = std::hypot(photo.rgb.cols, photo.rgb.rows);
  return *photo.exif.focal_35mm * photo_px / film_mm;
}

}  // namespace plumbfoot::photo
