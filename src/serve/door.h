// SPDX-License-Identifier: Apache-2.0
/// @file
/// Who may come in.
#pragma once

#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/serve/http.h"

namespace plumbfoot::serve {

/// Unguessable text: `length` characters of 32, five bits each.
/// @throws std::runtime_error if the system gives no random numbers.
std::string RandomText(std::size_t length);

/// Codes and cookies. Thread-safe.
class Door {
 public:
  Door(std::vector<std::string> hosts,
       std::function<void(const std::string&)> new_code);

  std::string Code() const;

  /// The refusal, or the way in for who shows the code; nothing for who is in.
  std::optional<Response> Check(const Request& head);

 private:
  bool IsIn(const Request& head) const;
  std::string CookieName(const Request& head) const;

  const std::vector<std::string> hosts_;
  const std::function<void(const std::string&)> new_code_;
  mutable std::mutex lock_;
  std::string code_;
  std::deque<std::string> cookies_;
};

}  // namespace plumbfoot::serve
