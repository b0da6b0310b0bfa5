// SPDX-License-Identifier: Apache-2.0
#include "photo/decode.h"

namespace plumbfoot::photo {

void OverWhite(const std::uint8_t* rgba, int width, std::uint8_t* rgb) {
  for (int x = 0; x < width; ++x, rgba += 4, rgb += 3) {
    const unsigned alpha = rgba[3];
    for (int c = 0; c < 3; ++c) {
      rgb[c] = static_cast<std::uint8_t>(
          (rgba[c] * alpha + 255U * (255U - alpha) + 127U) / 255U);
    }
  }
}

}  // namespace plumbfoot::photo
