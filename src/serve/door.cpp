// SPDX-License-Identifier: Apache-2.0
#include "serve/door.h"

#include <openssl/crypto.h>
#include <sys/random.h>

#include <algorithm>
#include <stdexcept>
#include <string_view>

#include "plumbfoot/serve/site.h"
#include "serve/assets.h"

namespace plumbfoot::serve {
namespace {

// 80 and 160 bits: nobody guesses them, so wrong ones need not be counted.
constexpr std::size_t kCodeLength = 16;
constexpr std::size_t kCookieLength = 32;
// CHOSEN: more browsers than a yard has; the oldest must show a code again.
constexpr std::size_t kMostCookies = 32;

bool Same(std::string_view a, std::string_view b) {
  return a.size() == b.size() &&
         CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

/// As it may be typed: with hyphens, in capitals.
std::string Plain(std::string_view code) {
  std::string plain;
  for (const char c : code) {
    if (c >= 'A' && c <= 'Z') {
      plain += static_cast<char>(c - 'A' + 'a');
    } else if (c != '-' && c != ' ') {
      plain += c;
    }
  }
  return plain;
}

/// Does a request that changes something come from our own page? (RFC 6454;
/// Fetch Metadata, W3C.) What says neither is no browser's and no page's.
bool IsOurOwn(const Request& head) {
  const std::string origin = head.header("origin");
  if (!origin.empty()) return origin == "http://" + head.header("host");
  return head.header("sec-fetch-site") == "same-origin";
}

}  // namespace

std::string RandomText(std::size_t length) {
  constexpr std::string_view kLetters = "0123456789abcdefghjkmnpqrstvwxyz";
  std::string text(length, '\0');
  if (::getrandom(text.data(), length, 0) != static_cast<ssize_t>(length)) {
    throw std::runtime_error("the system gives no random numbers");
  }
  for (char& c : text) c = kLetters[static_cast<unsigned char>(c) % 32U];
  return text;
}

Door::Door(std::vector<std::string> hosts,
           std::function<void(const std::string&)> new_code)
    : hosts_(std::move(hosts)),
      new_code_(std::move(new_code)),
      code_(RandomText(kCodeLength)) {}

std::string Door::Code() const {
  const std::lock_guard<std::mutex> guard(lock_);
  return code_;
}

/// Cookies know no ports: two casebooks served side by side must not take each
/// other's.
std::string Door::CookieName(const Request& head) const {
  const std::string host = head.header("host");
  const std::size_t colon = host.rfind(':');
  return "plumbfoot_" +
         (colon == std::string::npos ? "80" : host.substr(colon + 1));
}

bool Door::IsIn(const Request& head) const {
  const std::string cookies = head.header("cookie");
  const std::string name = CookieName(head) + "=";
  for (std::size_t at = 0; at < cookies.size();) {
    std::size_t end = cookies.find(';', at);
    if (end == std::string::npos) end = cookies.size();
    std::string_view one(cookies.data() + at, end - at);
    while (one.starts_with(' ')) one.remove_prefix(1);
    if (one.starts_with(name)) {
      one.remove_prefix(name.size());
      const std::lock_guard<std::mutex> guard(lock_);
      if (std::any_of(cookies_.begin(), cookies_.end(), [&](const auto& known) {
            return Same(known, one);
          })) {
        return true;
      }
    }
    at = end + 1;
  }
  return false;
}

std::optional<Response> Door::Check(const Request& head) {
  if (std::find(hosts_.begin(), hosts_.end(), head.header("host")) ==
      hosts_.end()) {
    return Refused(421, "This address isn't Plumbfoot's.");
  }
  if (head.method != "GET" && head.method != "HEAD" && head.method != "POST") {
    return Refused(405, "Only GET, HEAD and POST are answered.");
  }
  const std::string code = Plain(head.asked("code"));
  if (head.method == "GET" && head.path == "/" && !code.empty()) {
    std::string cookie;
    std::string next;
    {
      const std::lock_guard<std::mutex> guard(lock_);
      if (Same(code, code_)) {
        cookie = RandomText(kCookieLength);
        cookies_.push_back(cookie);
        if (cookies_.size() > kMostCookies) cookies_.pop_front();
        next = code_ = RandomText(kCodeLength);
      }
    }
    if (!cookie.empty()) {
      if (new_code_) new_code_(next);
      Response in;
      in.status = 303;
      in.headers = {{"Location", "/"},
                    {"Set-Cookie",
                     CookieName(head) + "=" + cookie +
                         "; Path=/; HttpOnly; SameSite=Strict"}};
      return in;
    }
    // Who is in already and taps an old address again stays in.
    if (IsIn(head)) {
      Response in;
      in.status = 303;
      in.headers = {{"Location", "/"}};
      return in;
    }
  }
  if (!IsIn(head)) {
    Response locked;
    locked.status = 403;
    locked.type = "text/html; charset=utf-8";
    locked.body = kLockedHtml;
    return locked;
  }
  if (head.method == "POST" && !IsOurOwn(head)) {
    return Refused(403, "Another page may not change anything here.");
  }
  return std::nullopt;
}

}  // namespace plumbfoot::serve
