// SPDX-License-Identifier: Apache-2.0
#include "photo/exif.h"

#include <fmt/format.h>
#include <libexif/exif-data.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <memory>
#include <vector>

namespace plumbfoot::photo {
namespace {

constexpr std::string_view kHeader("Exif\0\0", 6);

using ExifDataPtr = std::unique_ptr<ExifData, decltype(&exif_data_unref)>;

const ExifEntry* Find(ExifData* data, ExifIfd ifd, ExifTag tag) {
  const ExifEntry* entry = exif_content_get_entry(data->ifd[ifd], tag);
  return entry != nullptr && entry->data != nullptr ? entry : nullptr;
}

std::string Text(ExifData* data, ExifIfd ifd, ExifTag tag) {
  const ExifEntry* entry = Find(data, ifd, tag);
  if (entry == nullptr || entry->format != EXIF_FORMAT_ASCII) return {};
  std::string text(entry->data, entry->data + entry->size);
  return text.substr(0, text.find('\0'));
}

/// The first number of a tag, whatever unsigned format it was written in.
std::optional<double> Number(ExifData* data, ExifIfd ifd, ExifTag tag) {
  const ExifEntry* entry = Find(data, ifd, tag);
  if (entry == nullptr || entry->components < 1 ||
      entry->size < exif_format_get_size(entry->format)) {
    return std::nullopt;
  }
  const ExifByteOrder order = exif_data_get_byte_order(data);
  switch (entry->format) {
    case EXIF_FORMAT_SHORT:
      return exif_get_short(entry->data, order);
    case EXIF_FORMAT_LONG:
      return exif_get_long(entry->data, order);
    case EXIF_FORMAT_RATIONAL: {
      const ExifRational r = exif_get_rational(entry->data, order);
      if (r.denominator == 0) return std::nullopt;
      return static_cast<double>(r.numerator) / r.denominator;
    }
    default:
      return std::nullopt;
  }
}

std::optional<double> Length(ExifData* data, ExifTag tag) {
  const auto number = Number(data, EXIF_IFD_EXIF, tag);
  return number ? SaneLength(*number) : std::nullopt;
}

bool IsSpace(char c) {
  return c == ' ' || (c >= '\t' && c <= '\r');
}

std::string Printable(std::string_view text) {
  text = text.substr(0, text.find('\0'));
  while (!text.empty() && IsSpace(text.front())) text.remove_prefix(1);
  while (!text.empty() && IsSpace(text.back())) text.remove_suffix(1);
  std::string out(text);
  for (char& c : out) {
    if (c < ' ' || c > '~') c = '?';
  }
  return out;
}

bool SameLetters(std::string_view a, std::string_view b) {
  const auto lower = [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  };
  return std::equal(
      a.begin(), a.end(), b.begin(), b.end(), [&](char x, char y) {
        return lower(x) == lower(y);
      });
}

std::string_view FirstWord(std::string_view text) {
  return text.substr(0, text.find(' '));
}

}  // namespace

ExifBlock ReadExif(Bytes block) {
  // libexif wants the header that only JPEG has, and reads at most 64 KiB.
  constexpr std::size_t kMost = 65536;
  std::vector<unsigned char> bytes(kHeader.begin(), kHeader.end());
  const auto has_header =
      block.size() >= kHeader.size() &&
      std::memcmp(block.data(), kHeader.data(), kHeader.size()) == 0;
  if (has_header) block = block.subspan(kHeader.size());
  block = block.first(std::min(block.size(), kMost));
  bytes.insert(bytes.end(), block.begin(), block.end());

  const ExifDataPtr data(exif_data_new(), &exif_data_unref);
  if (data == nullptr) return {};
  // By default libexif adds the tags that a file should have had, with the
  // present time as its date.
  exif_data_unset_option(data.get(), EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
  exif_data_load_data(
      data.get(), bytes.data(), static_cast<unsigned int>(bytes.size()));

  ExifBlock out;
  out.facts.taken =
      IsoTime(Text(data.get(), EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL));
  if (!out.facts.taken) {
    out.facts.taken = IsoTime(Text(data.get(), EXIF_IFD_0, EXIF_TAG_DATE_TIME));
  }
  out.facts.camera = CameraName(Text(data.get(), EXIF_IFD_0, EXIF_TAG_MAKE),
                                Text(data.get(), EXIF_IFD_0, EXIF_TAG_MODEL));
  out.facts.focal_mm = Length(data.get(), EXIF_TAG_FOCAL_LENGTH);
  out.facts.focal_35mm = Length(data.get(), EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM);
  out.orientation = SaneOrientation(static_cast<int>(
      Number(data.get(), EXIF_IFD_0, EXIF_TAG_ORIENTATION).value_or(1)));
  return out;
}

std::optional<std::string> IsoTime(std::string_view exif_time) {
  // 'd' is a digit; what a phone writes after the seconds is left out.
  constexpr std::string_view kForm = "dddd:dd:dd dd:dd:dd";
  if (exif_time.size() < kForm.size()) return std::nullopt;
  for (std::size_t i = 0; i < kForm.size(); ++i) {
    const char c = exif_time[i];
    if (kForm[i] == 'd' ? (c < '0' || c > '9') : c != kForm[i]) {
      return std::nullopt;
    }
  }
  const auto two = [&](std::size_t at) {
    return (exif_time[at] - '0') * 10 + (exif_time[at + 1] - '0');
  };
  const int year = two(0) * 100 + two(2);
  const int month = two(5);
  const int day = two(8);
  constexpr std::array kDays = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  // Photography begins in 1826; a clock that was never set writes zeros.
  if (year < 1826 || month < 1 || month > 12 || day < 1 ||
      day > kDays[static_cast<std::size_t>(month - 1)] || two(11) > 23 ||
      two(14) > 59 || two(17) > 60) {
    return std::nullopt;
  }
  return fmt::format("{}-{}-{}T{}",
                     exif_time.substr(0, 4),
                     exif_time.substr(5, 2),
                     exif_time.substr(8, 2),
                     exif_time.substr(11, 8));
}

std::optional<std::string> CameraName(std::string_view make,
                                      std::string_view model) {
  const std::string maker = Printable(make);
  const std::string name = Printable(model);
  if (name.empty()) {
    return maker.empty() ? std::nullopt : std::optional(maker);
  }
  // "NIKON CORPORATION" and "NIKON D90" share the word that counts.
  if (maker.empty() || SameLetters(FirstWord(maker), FirstWord(name))) {
    return name;
  }
  return maker + " " + name;
}

int SaneOrientation(int orientation) {
  return orientation >= 1 && orientation <= 8 ? orientation : 1;
}

std::optional<double> SaneLength(double mm) {
  return std::isfinite(mm) && mm > 0.0 ? std::optional(mm) : std::nullopt;
}

}  // namespace plumbfoot::photo
