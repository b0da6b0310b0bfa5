// SPDX-License-Identifier: Apache-2.0
/// @file
/// The program itself, serving: what a stranger on the network would meet.
#pragma once

#include <sys/types.h>

#include <filesystem>
#include <string>

#include "serve/serving.h"

namespace plumbfoot::serve {

/// `plumbfoot serve FOLDER --port 0`, until it is destroyed.
class Program {
 public:
  /// @throws std::runtime_error where it doesn't come about.
  explicit Program(const std::filesystem::path& folder, bool lan = false);
  ~Program();
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;
  Program(Program&&) = delete;
  Program& operator=(Program&&) = delete;

  /// Where it is for this machine: "127.0.0.1:40123".
  const std::string& host() const { return host_; }
  /// The same for other machines; empty without --lan.
  const std::string& lan_host() const { return lan_host_; }
  std::uint16_t port() const;

  /// The code that was printed last.
  std::string Code();

  /// Resident now, and at most so far [MB].
  double MemoryMb() const { return StatusMb("VmRSS:"); }
  double MostMemoryMb() const { return StatusMb("VmHWM:"); }
  int OpenFiles() const;

  /// Ctrl-C: the exit status; 128 + signal if it was killed.
  int End();

 private:
  double StatusMb(const std::string& key) const;
  void Listen(int for_ms);

  pid_t process_ = -1;
  int out_ = -1;
  std::string said_;
  std::string host_;
  std::string lan_host_;
};

}  // namespace plumbfoot::serve
