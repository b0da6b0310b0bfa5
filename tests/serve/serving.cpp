// SPDX-License-Identifier: Apache-2.0
#include "serve/serving.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <utility>

namespace plumbfoot::serve {

using nlohmann::json;

Line::Line(std::uint16_t port, const char* from, const char* to)
    : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  ::inet_pton(AF_INET, from, &address.sin_addr);
  ::bind(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address);
  ::inet_pton(AF_INET, to, &address.sin_addr);
  address.sin_port = htons(port);
  open_ =
      ::connect(
          socket_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0;
}

Line::~Line() {
  if (socket_ >= 0) ::close(socket_);
}

Line::Line(Line&& other) noexcept
    : socket_(std::exchange(other.socket_, -1)), open_(other.open_) {}

bool Line::Say(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t sent =
        ::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (sent <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(sent));
  }
  return true;
}

std::string Line::Hear(int silence_ms) {
  std::string heard;
  std::array<char, 16'384> buffer{};
  while (true) {
    pollfd wait{socket_, POLLIN, 0};
    if (::poll(&wait, 1, silence_ms) <= 0) return heard;
    const ssize_t got = ::recv(socket_, buffer.data(), buffer.size(), 0);
    if (got <= 0) return heard;
    heard.append(buffer.data(), static_cast<std::size_t>(got));
  }
}

Browser::Browser(const std::string& host, const std::string& code)
    : host_(host), address_(host.substr(0, host.find(':'))) {
  port_ =
      static_cast<std::uint16_t>(std::stoi(host.substr(host.find(':') + 1)));
  const std::string in = Ask("GET /?code=" + code + " HTTP/1.1");
  const std::size_t at = in.find("Set-Cookie: ");
  if (at == std::string::npos) throw std::runtime_error("not let in: " + in);
  cookie_ = in.substr(at + 12, in.find(';', at) - at - 12);
}

std::string Browser::Head(const std::string& first,
                          const std::string& more) const {
  return first + "\r\nHost: " + host_ + "\r\nCookie: " + cookie_ +
         "\r\nOrigin: http://" + host_ + "\r\nConnection: close\r\n" + more +
         "\r\n";
}

std::string Browser::Ask(const std::string& first,
                         const std::string& more,
                         const std::string& body) const {
  Line line(port_,
            address_ == "127.0.0.1" ? "127.0.0.1" : "0.0.0.0",
            address_.c_str());
  line.Say(Head(first, more) + body);
  return line.Hear();
}

std::string Browser::PostJson(const std::string& path, const json& what) const {
  const std::string body = what.dump();
  return Ask("POST " + path + " HTTP/1.1",
             "Content-Type: application/json\r\nContent-Length: " +
                 std::to_string(body.size()) + "\r\n",
             body);
}

std::string Browser::BeginVisit(const std::string& horse,
                                const std::filesystem::path& photos) const {
  const json begun = BodyOf(
      PostJson("/api/visits", {{"horse", horse}, {"date", "2026-03-14"}}));
  const std::string id = begun.at("id");
  for (const char* view : {"solar", "lateral"}) {
    const std::string photo = ReadFile(photos / (std::string(view) + ".jpg"));
    const std::string answer =
        Ask("POST /api/visits/" + id + "/photos?name=LF-before-" + view +
                ".jpg HTTP/1.1",
            "Content-Length: " + std::to_string(photo.size()) + "\r\n",
            photo);
    if (!answer.starts_with("HTTP/1.1 201")) throw std::runtime_error(answer);
  }
  return id;
}

Serving::Serving(const std::filesystem::path& folder, unsigned idle_seconds) {
  ServerOptions options;
  options.port = 0;
  options.idle_seconds = idle_seconds;
  auto server = Server::Listen(options);
  if (!server) throw std::runtime_error(server.error().message);
  server_ = std::make_unique<Server>(std::move(*server));
  const std::string host = "127.0.0.1:" + std::to_string(server_->port());
  const auto book = casebook::MakeCasebook(folder);
  if (!book) throw std::runtime_error(book.error().message);
  site_ = std::make_unique<Site>(*book, TestOptions(host));
  if (!server_->Serve(*site_)) throw std::runtime_error("not served");
  browser_ = std::make_unique<Browser>(host, site_->Code());
}

Serving::~Serving() {
  server_.reset();
}

json BodyOf(const std::string& answer) {
  const std::size_t at = answer.find("\r\n\r\n");
  return json::parse(
      at == std::string::npos ? "" : answer.substr(at + 4), nullptr, false);
}

double MemoryMb() {
  std::ifstream file("/proc/self/statm");
  double pages = 0;
  double resident = 0;
  file >> pages >> resident;
  return resident * static_cast<double>(::sysconf(_SC_PAGESIZE)) / 1e6;
}

std::string ReadFile(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

SiteOptions TestOptions(const std::string& host) {
  SiteOptions options;
  options.hosts = {host};
  options.today = [] { return *casebook::ParseDay("2026-03-14"); };
  options.now = [] { return std::string("2026-03-14T18:22:01Z"); };
  return options;
}

}  // namespace plumbfoot::serve
