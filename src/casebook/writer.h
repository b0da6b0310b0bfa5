// SPDX-License-Identifier: Apache-2.0
/// @file
/// The one writer of a casebook, and how it writes all or nothing.
#pragma once

#include <chrono>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::casebook {

/// Holds the casebook's lock: flock(2), which the system lets go of when the
/// process ends, however it ends. Nothing to clear away, nothing that says
/// "locked" after a crash.
class WriterLock {
 public:
  /// @param patience  How long to wait for another program.
  /// @return The lock; or kCannotWrite.
  static Result<WriterLock> Take(const Casebook& casebook,
                                 std::chrono::milliseconds patience);

  WriterLock(WriterLock&& other) noexcept;
  WriterLock(const WriterLock&) = delete;
  WriterLock& operator=(const WriterLock&) = delete;
  WriterLock& operator=(WriterLock&&) = delete;
  ~WriterLock();

 private:
  explicit WriterLock(int file) : file_(file) {}
  int file_ = -1;
};

/// Is there anything that an interrupted program left?
bool HasLeftovers(const Casebook& casebook);

/// Finishes what had been decided, throws away what had not.
/// @return kCannotWrite.
Result<Done> ClearLeftovers(const Casebook& casebook, const WriterLock& lock);

/// Files and folders that are to appear in the casebook together.
///
/// They are written and synced in a folder of their own below .plumbfoot. Then
/// plan.json, which says what goes where, is renamed into that folder: from
/// this moment on they are recorded, and whoever comes next finishes the
/// renames if this process doesn't. Doing a plan twice does nothing the second
/// time: a step whose source is gone has been done.
class Staging {
 public:
  /// @return kCannotWrite.
  static Result<Staging> Begin(const Casebook& casebook,
                               const WriterLock& lock);
  /// What has not been committed is thrown away.
  ~Staging();
  Staging(Staging&& other) noexcept;
  Staging(const Staging&) = delete;
  Staging& operator=(const Staging&) = delete;
  Staging& operator=(Staging&&) = delete;

  /// Writes files into a folder of the staging; "" is its top.
  Result<Done> Write(const std::filesystem::path& folder,
                     const std::vector<photo::NamedBytes>& files);

  /// @param from  In the staging: a folder, or a file.
  /// @param to    In the casebook. A file replaces one that is there.
  void Move(const std::string& from, const std::filesystem::path& to);

  /// Does the moves, in their order. @return kCannotWrite: nothing of it was
  /// done, or (the message says so) it will be finished at the next opening.
  Result<Done> Commit();

 private:
  Staging(std::filesystem::path top, std::filesystem::path folder)
      : top_(std::move(top)), folder_(std::move(folder)) {}
  struct Step {
    std::string from;
    std::filesystem::path to;
  };
  std::filesystem::path top_;
  std::filesystem::path folder_;
  std::vector<Step> steps_;
};

}  // namespace plumbfoot::casebook
