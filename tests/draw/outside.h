// SPDX-License-Identifier: Apache-2.0
/// @file
/// Programs outside the project that look at what was drawn.
#pragma once

#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>

namespace plumbfoot::draw {

inline std::filesystem::path EmptyFolder(const std::string& name) {
  // The process number keeps tests apart that run side by side.
  std::filesystem::path folder =
      std::filesystem::temp_directory_path() /
      ("plumbfoot_draw_" + std::to_string(::getpid()) + "_" + name);
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder;
}

inline std::string ReadAll(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream bytes;
  bytes << in.rdbuf();
  return bytes.str();
}

inline void WriteAll(const std::filesystem::path& path,
                     const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

/// What the command wrote to its output.
inline std::string OutputOf(const std::string& command,
                            const std::filesystem::path& folder) {
  const std::filesystem::path out = folder / "output.txt";
  const int status =
      std::system((command + " > '" + out.string() + "' 2>&1").c_str());
  if (status != 0) {
    throw std::runtime_error(command + ": " + ReadAll(out));
  }
  return ReadAll(out);
}

}  // namespace plumbfoot::draw
