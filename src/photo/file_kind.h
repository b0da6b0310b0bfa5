// SPDX-License-Identifier: Apache-2.0
/// @file
/// What kind of file this is, told from its first bytes.
#pragma once

#include <cstdint>
#include <span>

namespace plumbfoot::photo {

using Bytes = std::span<const std::uint8_t>;

enum class FileKind { kJpeg, kPng, kTiff, kWebp, kHeic, kOther };

/// The kind that the first bytes announce; the rest may still be damaged.
FileKind KindOf(Bytes file);

}  // namespace plumbfoot::photo
