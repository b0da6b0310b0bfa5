// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <qrencode.h>

#include <memory>
#include <stdexcept>

#include "plumbfoot/serve/server.h"

namespace plumbfoot::serve {
namespace {

constexpr int kQuiet = 4;  // ISO/IEC 18004: modules of white around it.

class Qr {
 public:
  explicit Qr(const std::string& text)
      : code_(QRcode_encodeString8bit(text.c_str(), 0, QR_ECLEVEL_M),
              QRcode_free) {
    if (!code_) throw std::invalid_argument("QR: the text is too long");
  }
  int side() const { return code_->width + 2 * kQuiet; }
  bool black(int x, int y) const {
    x -= kQuiet;
    y -= kQuiet;
    if (x < 0 || y < 0 || x >= code_->width || y >= code_->width) return false;
    return (code_->data[y * code_->width + x] & 1U) != 0;
  }

 private:
  std::unique_ptr<QRcode, decltype(&QRcode_free)> code_;
};

}  // namespace

std::string QrForTerminal(const std::string& text) {
  const Qr qr(text);
  std::string out;
  for (int y = 0; y < qr.side(); y += 2) {
    // Black on white whatever the terminal's colours are.
    out += "\x1b[30;107m";
    for (int x = 0; x < qr.side(); ++x) {
      const bool upper = qr.black(x, y);
      const bool lower = qr.black(x, y + 1);
      out += upper && lower ? "█" : upper ? "▀" : lower ? "▄" : " ";
    }
    out += "\x1b[0m\n";
  }
  return out;
}

std::string QrSvg(const std::string& text) {
  const Qr qr(text);
  std::string path;
  for (int y = 0; y < qr.side(); ++y) {
    for (int x = 0; x < qr.side(); ++x) {
      if (qr.black(x, y)) path += fmt::format("M{} {}h1v1h-1z", x, y);
    }
  }
  return fmt::format(
      R"(<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {0} {0}">)"
      R"(<path fill="#fff" d="M0 0h{0}v{0}h-{0}z"/><path d="{1}"/></svg>)",
      qr.side(),
      path);
}

}  // namespace plumbfoot::serve
