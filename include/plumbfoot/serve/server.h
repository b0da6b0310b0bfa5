// SPDX-License-Identifier: Apache-2.0
/// @file
/// The site on a socket (libmicrohttpd).
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "plumbfoot/geometry/result.h"
#include "plumbfoot/serve/site.h"

namespace plumbfoot::serve {

struct ServerOptions {
  std::uint16_t port = 8437;  ///< 0: any that is free.
  /// Also for other machines of the network; else for this one only.
  bool lan = false;
  int workers = 4;  ///< Requests answered at a time.
  /// At a time; half of them for those who aren't in. One more of those, and
  /// the oldest goes.
  unsigned connections = 600;
  unsigned per_address = 96;         ///< Of one address, who aren't in.
  unsigned idle_seconds = 20;        ///< After which a silent one is closed.
  std::size_t bodies = 256'000'000;  ///< Of all requests on their way [bytes].
};

/// IPv4 addresses of this machine in its networks: "192.168.1.20".
std::vector<std::string> LanAddresses();

/// Serves a site until it is destroyed.
class Server {
 public:
  /// A socket that listens, before anything is answered on it: its port is
  /// known then.
  /// @return kPortTaken.
  static Result<Server> Listen(const ServerOptions& options);

  Server(Server&&) noexcept;
  Server& operator=(Server&&) noexcept;
  ~Server();

  std::uint16_t port() const;

  /// Begins to answer. The site must outlive the server.
  /// @return kPortTaken where the library can't.
  Result<Done> Serve(Site& site);

 private:
  struct Works;
  explicit Server(std::unique_ptr<Works> works);
  std::unique_ptr<Works> works_;
};

/// What a terminal shows for a phone's camera: a QR code (ISO/IEC 18004) in
/// half blocks, black on white.
std::string QrForTerminal(const std::string& text);
/// The same as an SVG picture.
std::string QrSvg(const std::string& text);

}  // namespace plumbfoot::serve
