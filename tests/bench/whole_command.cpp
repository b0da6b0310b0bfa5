// SPDX-License-Identifier: Apache-2.0
#include "whole_command.h"

#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <stdexcept>

namespace plumbfoot::bench {
namespace {

double Seconds(const timeval& time) {
  return static_cast<double>(time.tv_sec) +
         static_cast<double>(time.tv_usec) * 1e-6;
}

/// As the system wants them, a null pointer last; they point into `words`.
std::vector<char*> Pointers(std::vector<std::string>& words) {
  std::vector<char*> out;
  out.reserve(words.size() + 1);
  for (std::string& word : words) out.push_back(word.data());
  out.push_back(nullptr);
  return out;
}

}  // namespace

CommandCost RunCommand(const std::vector<std::string>& words,
                       const std::vector<std::string>& settings) {
  std::vector<std::string> word_copies = words;
  const std::vector<char*> arguments = Pointers(word_copies);
  std::vector<std::string> setting_copies = settings;
  for (char** own = environ; *own != nullptr; ++own) {
    setting_copies.emplace_back(*own);
  }
  const std::vector<char*> environment = Pointers(setting_copies);

  posix_spawn_file_actions_t quietly;
  posix_spawn_file_actions_init(&quietly);
  posix_spawn_file_actions_addopen(
      &quietly, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  const auto begin = std::chrono::steady_clock::now();
  const int trouble = posix_spawn(&child,
                                  arguments.front(),
                                  &quietly,
                                  nullptr,
                                  arguments.data(),
                                  environment.data());
  posix_spawn_file_actions_destroy(&quietly);
  if (trouble != 0) {
    throw std::runtime_error("can't start " + words.front());
  }
  int status = 0;
  rusage usage{};
  if (wait4(child, &status, 0, &usage) != child) {
    throw std::runtime_error("lost " + words.front());
  }
  const auto end = std::chrono::steady_clock::now();

  CommandCost cost;
  cost.wall_s = std::chrono::duration<double>(end - begin).count();
  cost.cpu_s = Seconds(usage.ru_utime) + Seconds(usage.ru_stime);
  cost.peak_mb = static_cast<double>(usage.ru_maxrss) * 1024e-6;  // from KiB
  cost.exit_status =
      WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return cost;
}

}  // namespace plumbfoot::bench
