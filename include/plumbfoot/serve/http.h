// SPDX-License-Identifier: Apache-2.0
/// @file
/// What is asked and what is answered, as values: everything that the page does
/// can be tried without a socket.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

namespace plumbfoot::serve {

/// A request (RFC 9110).
struct Request {
  std::string method;  ///< "GET"
  std::string path;    ///< Decoded, without the query: "/api/day".
  std::map<std::string, std::string> query;    ///< Decoded.
  std::map<std::string, std::string> headers;  ///< Names in lower case.
  std::string body;

  /// The header of that lower-case name; empty if there is none.
  std::string header(const std::string& name) const {
    const auto it = headers.find(name);
    return it == headers.end() ? std::string() : it->second;
  }
  /// The query's value of that name; empty if there is none.
  std::string asked(const std::string& name) const {
    const auto it = query.find(name);
    return it == query.end() ? std::string() : it->second;
  }
};

struct Response {
  int status = 200;
  std::string type;  ///< "text/html; charset=utf-8"
  std::string body;
  /// Those that say what a browser may do are added by Site::Answer.
  std::vector<std::pair<std::string, std::string>> headers;
};

}  // namespace plumbfoot::serve
