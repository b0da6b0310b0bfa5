// SPDX-License-Identifier: Apache-2.0
/// @file
/// What a test says that can't find the pictures it compares with. It fails: a
/// check against the outside that is left out unnoticed is none.
#pragma once

namespace plumbfoot::tests {

inline constexpr const char* kNoOpencvDoc =
    "Debian's package opencv-doc is not installed: run .ci/install test";
inline constexpr const char* kNoVispData =
    "Debian's package visp-images-data is not installed: run .ci/install test";

}  // namespace plumbfoot::tests
