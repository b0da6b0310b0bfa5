// SPDX-License-Identifier: Apache-2.0
#include "photo/file_kind.h"

#include <libheif/heif.h>

#include <algorithm>
#include <array>
#include <string_view>

namespace plumbfoot::photo {
namespace {

using namespace std::string_view_literals;

bool Stands(Bytes file, std::size_t at, std::string_view magic) {
  return file.size() >= at + magic.size() &&
         std::equal(magic.begin(),
                    magic.end(),
                    file.begin() + static_cast<std::ptrdiff_t>(at),
                    [](char a, std::uint8_t b) {
                      return static_cast<std::uint8_t>(a) == b;
                    });
}

}  // namespace

FileKind KindOf(Bytes file) {
  if (Stands(file, 0, "\xff\xd8\xff"sv)) return FileKind::kJpeg;
  if (Stands(file, 0, "\x89PNG\r\n\x1a\n"sv)) return FileKind::kPng;
  constexpr std::array kTiffs = {
      "II*\0"sv, "MM\0*"sv, "II+\0"sv, "MM\0+"sv};  // "+" is BigTIFF
  for (const auto magic : kTiffs) {
    if (Stands(file, 0, magic)) return FileKind::kTiff;
  }
  if (Stands(file, 0, "RIFF"sv) && Stands(file, 8, "WEBP"sv)) {
    return FileKind::kWebp;
  }
  // A film has the same box at its start, with another brand in it.
  constexpr int kBrandEnd = 12;
  if (Stands(file, 4, "ftyp"sv) && file.size() >= kBrandEnd &&
      heif_check_filetype(file.data(), kBrandEnd) ==
          heif_filetype_yes_supported) {
    return FileKind::kHeic;
  }
  return FileKind::kOther;
}

}  // namespace plumbfoot::photo
