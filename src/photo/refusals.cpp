// SPDX-License-Identifier: Apache-2.0
#include "photo/refusals.h"

#include <fmt/format.h>

namespace plumbfoot::photo {

Refusal Damaged(std::string_view name) {
  return {RefusalCode::kPhotoDamaged,
          fmt::format("{} is damaged or breaks off before its end.", name),
          "Copy it from the phone again, or take the photo again."};
}

Refusal NotAPhoto(std::string_view name) {
  return {RefusalCode::kNotAPhoto,
          fmt::format(
              "{} is not a photo in JPEG, PNG, TIFF, WebP or HEIC, whatever "
              "its name says.",
              name),
          "Give a photo as the phone or camera saved it."};
}

Refusal UnreadableKind(std::string_view name, std::string_view what) {
  return {RefusalCode::kNotAPhoto,
          fmt::format("{} is {}, which can't be measured.", name, what),
          "Save it as a JPEG photo first, or give another photo."};
}

Refusal TooManyPixels(std::string_view name,
                      std::uint64_t width,
                      std::uint64_t height,
                      double limit_megapixels) {
  return {RefusalCode::kPhotoTooLarge,
          fmt::format("{} has {} x {} pixels, more than the {:g} megapixels "
                      "that are accepted.",
                      name,
                      width,
                      height,
                      limit_megapixels),
          "Take the photo at the phone's normal setting (12 megapixels are "
          "plenty), or save it smaller."};
}

Refusal TooLittleMemory(std::string_view name) {
  return {
      RefusalCode::kPhotoTooLarge,
      fmt::format("{} needs more memory than this computer has free.", name),
      "Close other programs, or save the photo smaller."};
}

}  // namespace plumbfoot::photo
