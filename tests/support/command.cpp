// SPDX-License-Identifier: Apache-2.0
#include "support/command.h"

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace plumbfoot::tests {
namespace {

/// A file that the child writes into and that nobody else sees.
class Sink {
 public:
  Sink() : file_(std::tmpfile()) {
    if (file_ == nullptr) throw std::runtime_error("no temporary file");
  }
  ~Sink() { std::fclose(file_); }
  Sink(const Sink&) = delete;
  Sink& operator=(const Sink&) = delete;
  int descriptor() const { return fileno(file_); }
  std::string Text() const {
    std::string text;
    std::rewind(file_);
    char buffer[4096];
    std::size_t count = 0;
    while ((count = std::fread(buffer, 1, sizeof buffer, file_)) > 0) {
      text.append(buffer, count);
    }
    return text;
  }

 private:
  std::FILE* file_;
};

}  // namespace

CommandResult RunCommand(
    const std::vector<std::string>& words,
    const std::vector<std::pair<std::string, std::string>>& environment) {
  std::vector<char*> arguments;
  arguments.reserve(words.size() + 1);
  for (const std::string& word : words) {
    arguments.push_back(const_cast<char*>(word.c_str()));
  }
  arguments.push_back(nullptr);

  const Sink out;
  const Sink err;
  const pid_t child = fork();
  if (child < 0) throw std::runtime_error("fork");
  if (child == 0) {
    for (const auto& [name, value] : environment) {
      setenv(name.c_str(), value.c_str(), 1);
    }
    const int nothing = open("/dev/null", O_RDONLY);
    dup2(nothing, STDIN_FILENO);
    dup2(out.descriptor(), STDOUT_FILENO);
    dup2(err.descriptor(), STDERR_FILENO);
    execvp(arguments[0], arguments.data());
    _exit(127);
  }
  int status = 0;
  waitpid(child, &status, 0);
  CommandResult result;
  result.status =
      WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  result.out = out.Text();
  result.err = err.Text();
  return result;
}

}  // namespace plumbfoot::tests
