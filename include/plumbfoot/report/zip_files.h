// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::report {

/// The bytes of a zip archive (ISO/IEC 21320-1) that holds these files, stored
/// as they are where that is smaller. Names are UTF-8 and may have folders:
/// "LF-after_trim/solar.jpg". The same files give the same bytes.
/// @throws std::runtime_error if there is no memory for it.
std::string ZipOf(const std::vector<photo::NamedBytes>& files);

}  // namespace plumbfoot::report
