// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/photo.h"

#include <fmt/format.h>
#include <openssl/evp.h>

#include <array>
#include <cmath>
#include <fstream>
#include <new>
#include <opencv2/core.hpp>
#include <system_error>
#include <utility>
#include <vector>

#include "photo/decode.h"
#include "photo/file_kind.h"
#include "photo/refusals.h"

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

Refusal CannotRead(std::string_view name) {
  return {RefusalCode::kCannotRead,
          fmt::format("{} can't be read.", name),
          "Check that you may open the file and that its disk or card is "
          "still plugged in."};
}

Refusal FileTooLarge(std::string_view name, const Limits& limits) {
  return {RefusalCode::kFileTooLarge,
          fmt::format("{} is larger than the {:g} MB that are accepted.",
                      name,
                      static_cast<double>(limits.bytes) / 1e6),
          "Give the photo as the phone saved it, or save it smaller."};
}

Result<std::vector<std::uint8_t>> ReadFile(const fs::path& path,
                                           std::string_view name,
                                           const Limits& limits) {
  std::error_code trouble;
  const fs::file_status status = fs::status(path, trouble);
  if (status.type() == fs::file_type::not_found) {
    return Refusal{RefusalCode::kFileMissing,
                   fmt::format("There is no file {}.", path.string()),
                   "Check the name and the folder."};
  }
  if (status.type() == fs::file_type::directory) {
    return Refusal{RefusalCode::kFileMissing,
                   fmt::format("{} is a folder, not a photo.", path.string()),
                   "Name the photo in it."};
  }
  // A pipe or a device could be waited for without end.
  if (status.type() != fs::file_type::regular) return CannotRead(name);
  const std::uintmax_t size = fs::file_size(path, trouble);
  if (trouble) return CannotRead(name);
  if (size > limits.bytes) return FileTooLarge(name, limits);
  std::ifstream file(path, std::ios::binary);
  std::vector<std::uint8_t> bytes(size);
  file.read(reinterpret_cast<char*>(bytes.data()),
            static_cast<std::streamsize>(size));
  if (!file) return CannotRead(name);
  if (bytes.empty()) {
    return Refusal{RefusalCode::kFileEmpty,
                   fmt::format("{} is empty (0 bytes).", name),
                   "Copy it from the phone again."};
  }
  return bytes;
}

std::string Sha256(Bytes bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  if (EVP_Digest(bytes.data(),
                 bytes.size(),
                 digest.data(),
                 &length,
                 EVP_sha256(),
                 nullptr) != 1) {
    throw std::logic_error("Sha256: OpenSSL offers no SHA-256");
  }
  std::string hex;
  for (unsigned int i = 0; i < length; ++i) {
    hex += fmt::format("{:02x}", digest.at(i));
  }
  return hex;
}

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
    const auto bytes = ReadFile(path, photo.file_name, limits);
    if (!bytes) return bytes.error();
    photo.bytes = bytes->size();
    photo.sha256 = Sha256(*bytes);
    auto decoded = Decode({*bytes, photo.file_name, limits.megapixels});
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
