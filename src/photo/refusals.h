// SPDX-License-Identifier: Apache-2.0
/// @file
/// The refusals of this room, so that every decoder says them alike.
#pragma once

#include <cstdint>
#include <string_view>

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::photo {

Refusal Damaged(std::string_view name);
Refusal NotAPhoto(std::string_view name);
/// @param what  Completes "NAME is ...".
Refusal UnreadableKind(std::string_view name, std::string_view what);
Refusal TooManyPixels(std::string_view name,
                      std::uint64_t width,
                      std::uint64_t height,
                      double limit_megapixels);
Refusal TooLittleMemory(std::string_view name);

}  // namespace plumbfoot::photo
