// SPDX-License-Identifier: Apache-2.0
#include "cli/clock.h"

#include <array>
#include <ctime>

namespace plumbfoot::cli {

std::string Now() {
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  ::gmtime_r(&now, &utc);
  std::array<char, 32> text{};
  const std::size_t size =
      std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &utc);
  return {text.data(), size};
}

}  // namespace plumbfoot::cli
