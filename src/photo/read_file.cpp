// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/read_file.h"

#include <fmt/format.h>
#include <openssl/evp.h>

#include <array>
#include <fstream>
#include <stdexcept>
#include <system_error>

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

Refusal CannotRead(std::string_view name) {
  return {RefusalCode::kCannotRead,
          fmt::format("{} can't be read.", name),
          "Check that you may open the file and that its disk or card is "
          "still plugged in."};
}

Refusal FileTooLarge(std::string_view name, std::size_t at_most) {
  return {RefusalCode::kFileTooLarge,
          fmt::format("{} is larger than the {:g} MB that are accepted.",
                      name,
                      static_cast<double>(at_most) / 1e6),
          "Give the photo as the phone saved it, or save it smaller."};
}

}  // namespace

Result<std::string> ReadBytes(const fs::path& path, std::size_t at_most) {
  const std::string name = path.filename().string();
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
  if (size > at_most) return FileTooLarge(name, at_most);
  std::ifstream file(path, std::ios::binary);
  std::string bytes(size, '\0');
  file.read(bytes.data(), static_cast<std::streamsize>(size));
  if (!file) return CannotRead(name);
  if (bytes.empty()) {
    return Refusal{RefusalCode::kFileEmpty,
                   fmt::format("{} is empty (0 bytes).", name),
                   "Copy it from the phone again."};
  }
  return bytes;
}

std::string Sha256(std::string_view bytes) {
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

}  // namespace plumbfoot::photo
