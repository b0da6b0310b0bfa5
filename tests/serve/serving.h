// SPDX-License-Identifier: Apache-2.0
/// @file
/// The page on a socket, and a client that says whatever it is told to. Without
/// GoogleTest, so that the bench can use it too.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "plumbfoot/serve/server.h"

namespace plumbfoot::serve {

/// A connection that closes itself.
class Line {
 public:
  explicit Line(std::uint16_t port,
                const char* from = "127.0.0.1",
                const char* to = "127.0.0.1");
  ~Line();
  Line(Line&& other) noexcept;
  Line(const Line&) = delete;
  Line& operator=(const Line&) = delete;
  Line& operator=(Line&&) = delete;

  bool open() const { return open_; }
  /// @return False where the other side has closed.
  bool Say(std::string_view bytes);
  /// All that comes until the other side closes or is silent for so long.
  std::string Hear(int silence_ms = 20'000);

 private:
  int socket_;
  bool open_ = false;
};

/// A browser, as far as a page can tell.
class Browser {
 public:
  /// Shows the code and keeps the cookie.
  /// @param host  "127.0.0.1:8437"
  /// @throws std::runtime_error where it isn't let in.
  Browser(const std::string& host, const std::string& code);

  std::uint16_t port() const { return port_; }
  const std::string& host() const { return host_; }
  const std::string& cookie() const { return cookie_; }

  /// The head of a request, as far as the empty line.
  std::string Head(const std::string& first,
                   const std::string& more = "") const;
  std::string Ask(const std::string& first,
                  const std::string& more = "",
                  const std::string& body = "") const;
  std::string PostJson(const std::string& path,
                       const nlohmann::json& what) const;
  /// A visit with the pair of photos in that folder: its id.
  std::string BeginVisit(const std::string& horse,
                         const std::filesystem::path& photos) const;

 private:
  std::string host_;
  std::string address_;
  std::uint16_t port_ = 0;
  std::string cookie_;
};

/// A page on any free port, and a browser that is let in.
class Serving {
 public:
  /// @param folder  Of a casebook that is made.
  /// @throws std::runtime_error where it doesn't come about.
  explicit Serving(const std::filesystem::path& folder,
                   unsigned idle_seconds = 20);
  ~Serving();
  Serving(const Serving&) = delete;
  Serving& operator=(const Serving&) = delete;
  Serving(Serving&&) = delete;
  Serving& operator=(Serving&&) = delete;

  const Browser& browser() const { return *browser_; }
  std::uint16_t port() const { return browser_->port(); }
  const std::string& host() const { return browser_->host(); }
  std::string Head(const std::string& first,
                   const std::string& more = "") const {
    return browser_->Head(first, more);
  }
  std::string Ask(const std::string& first,
                  const std::string& more = "",
                  const std::string& body = "") const {
    return browser_->Ask(first, more, body);
  }
  std::string PostJson(const std::string& path,
                       const nlohmann::json& what) const {
    return browser_->PostJson(path, what);
  }
  std::string BeginVisit(const std::string& horse,
                         const std::filesystem::path& photos) const {
    return browser_->BeginVisit(horse, photos);
  }

 private:
  std::unique_ptr<Site> site_;
  std::unique_ptr<Server> server_;
  std::unique_ptr<Browser> browser_;
};

/// The JSON of an answer.
nlohmann::json BodyOf(const std::string& answer);

/// Of this process [MB].
double MemoryMb();

std::string ReadFile(const std::filesystem::path& path);

/// The options of a site for tests: a fixed clock, any address.
SiteOptions TestOptions(const std::string& host);

}  // namespace plumbfoot::serve
