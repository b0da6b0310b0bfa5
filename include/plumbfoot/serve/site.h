// SPDX-License-Identifier: Apache-2.0
/// @file
/// The page: what it answers, without a word about sockets.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/owner_case.h"
#include "plumbfoot/serve/http.h"

namespace plumbfoot::serve {

struct SiteOptions {
  report::ScaleRequest scale;
  std::string layout_sha256;  ///< See report::JobOptions.
  report::Practice practice;
  /// What a browser may call this machine: "127.0.0.1:8437", "localhost:8437".
  /// A request whose Host is another is refused, and with it a page elsewhere
  /// whose name was made to lead here.
  std::vector<std::string> hosts;
  /// Addresses to give to another phone, without a path:
  /// "http://192.168.1.20:8437". May be empty.
  std::vector<std::string> addresses;
  std::function<casebook::Day()> today;
  std::function<std::string()> now;  ///< "2026-03-14T18:22:01Z"
  /// Called with the new code each time that one has been used up. May be
  /// empty.
  std::function<void(const std::string&)> new_code;
  find::Finder finder = find::NetworkFinder();
};

/// Everything behind the page's address.
///
/// Who comes first shows the code that the terminal printed ("/?code=...") and
/// gets a cookie for it; a code opens once, the next one is made then. Without
/// the cookie nothing is answered but a page that asks for the code, the same
/// for every path.
///
/// Answer may be called from several threads at once. What sets text is done in
/// one thread of the site's own (see DEVELOPERS.md).
class Site {
 public:
  Site(const casebook::Casebook& casebook, SiteOptions options);
  ~Site();
  Site(const Site&) = delete;
  Site& operator=(const Site&) = delete;

  /// The code that opens the page next.
  std::string Code() const;

  /// Before the body of a request is read: the answer, if it is clear already
  /// (refused, or let in by the code); nothing if the body may come.
  std::optional<Response> AtTheDoor(const Request& head);

  /// How large the body of such a request may be [bytes].
  static std::size_t BodyLimit(const Request& head);

  /// The answer, with every header that says what a browser may do with it.
  Response Answer(const Request& request);

 private:
  struct Rooms;
  std::unique_ptr<Rooms> rooms_;
};

/// The answer to a body that is too large, a server that is busy, and so on.
Response Refused(int status, const std::string& words);

}  // namespace plumbfoot::serve
