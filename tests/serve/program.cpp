// SPDX-License-Identifier: Apache-2.0
#include "serve/program.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <utility>

namespace plumbfoot::serve {
namespace {

constexpr std::string_view kBefore = "/?code=";

/// The host of an address line that begins there: "http://HOST/?code=...".
std::string HostAt(const std::string& said, std::size_t at) {
  const std::size_t end = said.find(kBefore, at);
  return end == std::string::npos ? "" : said.substr(at + 7, end - at - 7);
}

}  // namespace

Program::Program(const std::filesystem::path& folder, bool lan) {
  std::array<int, 2> ends{};
  if (::pipe2(ends.data(), O_CLOEXEC) != 0) throw std::runtime_error("pipe");
  const std::string book = folder.string();
  const std::string settings = (folder.parent_path() / "none.json").string();
  process_ = ::fork();
  if (process_ < 0) throw std::runtime_error("fork");
  if (process_ == 0) {
    ::setenv("PLUMBFOOT_SETTINGS", settings.c_str(), 1);
    ::dup2(ends[1], STDOUT_FILENO);
    ::execl(PLUMBFOOT_COMMAND,
            PLUMBFOOT_COMMAND,
            "serve",
            book.c_str(),
            "--port",
            "0",
            lan ? "--lan" : nullptr,
            nullptr);
    ::_exit(127);
  }
  ::close(ends[1]);
  out_ = ends[0];
  const std::string mine = "http://127.0.0.1:";
  for (int i = 0; i < 300 && said_.find(mine) == std::string::npos; ++i) {
    Listen(100);
  }
  Listen(200);
  const std::size_t at = said_.find(mine);
  if (at == std::string::npos) {
    End();
    throw std::runtime_error("it doesn't serve: " + said_);
  }
  host_ = HostAt(said_, at);
  const std::size_t first = said_.find("http://");
  if (first != at) lan_host_ = HostAt(said_, first);
}

Program::~Program() {
  End();
  if (out_ >= 0) ::close(out_);
}

std::uint16_t Program::port() const {
  return static_cast<std::uint16_t>(
      std::stoi(host_.substr(host_.find(':') + 1)));
}

void Program::Listen(int for_ms) {
  std::array<char, 4096> buffer{};
  pollfd wait{out_, POLLIN, 0};
  while (::poll(&wait, 1, for_ms) > 0) {
    const ssize_t got = ::read(out_, buffer.data(), buffer.size());
    if (got <= 0) return;
    said_.append(buffer.data(), static_cast<std::size_t>(got));
  }
}

std::string Program::Code() {
  // What was printed before an answer was sent is there already.
  Listen(50);
  const std::size_t at = said_.rfind(kBefore) + kBefore.size();
  return said_.substr(at, said_.find('\n', at) - at);
}

double Program::StatusMb(const std::string& key) const {
  std::ifstream status("/proc/" + std::to_string(process_) + "/status");
  std::string word;
  double kilobytes = 0;
  while (status >> word) {
    if (word == key && status >> kilobytes) return kilobytes / 1e3;
  }
  throw std::runtime_error("it has ended");
}

int Program::OpenFiles() const {
  const auto files = std::filesystem::directory_iterator(
      "/proc/" + std::to_string(process_) + "/fd");
  return static_cast<int>(std::distance(begin(files), end(files)));
}

int Program::End() {
  if (process_ < 0) return -1;
  ::kill(process_, SIGINT);
  int status = 0;
  ::waitpid(std::exchange(process_, -1), &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

}  // namespace plumbfoot::serve
