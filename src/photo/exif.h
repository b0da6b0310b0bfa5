// SPDX-License-Identifier: Apache-2.0
/// @file
/// What stands in a file's Exif block (Exif 2.3, CIPA DC-008).
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "photo/file_kind.h"
#include "plumbfoot/photo/photo.h"

namespace plumbfoot::photo {

struct ExifBlock {
  ExifFacts facts;
  int orientation = 1;  ///< 1 to 8; 1 where the block says nothing sensible.
};

/// Reads an Exif block: a TIFF structure, with or without "Exif\0\0" before
/// it. What is damaged is left out; a block is never a reason to refuse.
ExifBlock ReadExif(Bytes block);

/// "2026:03:14 09:30:00" as "2026-03-14T09:30:00"; nothing if it isn't a time.
std::optional<std::string> IsoTime(std::string_view exif_time);

/// "Apple", "iPhone 12" is "Apple iPhone 12"; "Canon", "Canon EOS 80D" is
/// "Canon EOS 80D". Nothing if both are empty. Bytes that aren't printable
/// ASCII (which Exif requires) become question marks.
std::optional<std::string> CameraName(std::string_view make,
                                      std::string_view model);

/// 1 to 8 as they are; anything else is 1.
int SaneOrientation(int orientation);
/// A length [mm] if it is finite and above zero.
std::optional<double> SaneLength(double mm);

}  // namespace plumbfoot::photo
