// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/serve/server.h"

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <microhttpd.h>
#include <net/if.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <charconv>
#include <condition_variable>
#include <cstring>
#include <deque>
#include <exception>
#include <mutex>
#include <optional>
#include <system_error>
#include <thread>

namespace plumbfoot::serve {
namespace {

// CHOSEN: request line and headers of a browser are some 2 kB.
constexpr std::size_t kHeadBytes = 32'768;
constexpr std::size_t kMostHeaders = 100;

/// One request on its way. Made at its first line, gone when it is answered.
struct Call {
  Request request;
  std::size_t limit = 0;
  std::size_t counted = 0;  ///< Of Works::bodies, given back at the end.
  std::size_t come = 0;     ///< Of the body, thrown away or not.
  bool begun = false;
  bool handed_on = false;
  std::optional<Response> response;
};

std::string LowerCase(std::string_view text) {
  std::string lower(text);
  for (char& c : lower) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return lower;
}

MHD_Result TakeHeader(void* to,
                      enum MHD_ValueKind /*kind*/,
                      const char* name,
                      const char* value) {
  auto& headers = *static_cast<std::map<std::string, std::string>*>(to);
  if (headers.size() >= kMostHeaders) return MHD_NO;
  std::string key = LowerCase(name);
  const auto [it, is_new] =
      headers.emplace(std::move(key), value == nullptr ? "" : value);
  // Said twice it could mean the one thing here and the other elsewhere.
  if (!is_new) it->second += std::string(", ") + (value ? value : "");
  return MHD_YES;
}

MHD_Result TakeQuery(void* to,
                     enum MHD_ValueKind /*kind*/,
                     const char* name,
                     const char* value) {
  auto& query = *static_cast<std::map<std::string, std::string>*>(to);
  if (query.size() >= kMostHeaders) return MHD_NO;
  query.emplace(name, value == nullptr ? "" : value);
  return MHD_YES;
}

MHD_Result Send(MHD_Connection* connection, const Response& response) {
  MHD_Response* out =
      MHD_create_response_from_buffer(response.body.size(),
                                      const_cast<char*>(response.body.data()),
                                      MHD_RESPMEM_MUST_COPY);
  if (out == nullptr) return MHD_NO;
  if (!response.type.empty()) {
    MHD_add_response_header(
        out, MHD_HTTP_HEADER_CONTENT_TYPE, response.type.c_str());
  }
  for (const auto& [name, value] : response.headers) {
    MHD_add_response_header(out, name.c_str(), value.c_str());
  }
  const MHD_Result queued = MHD_queue_response(
      connection, static_cast<unsigned>(response.status), out);
  MHD_destroy_response(out);
  return queued;
}

/// What the peer promises to send; nothing if it doesn't say.
std::optional<std::uint64_t> Promised(const Request& head) {
  const std::string text = head.header("content-length");
  std::uint64_t bytes = 0;
  const char* const end = text.data() + text.size();
  const auto read = std::from_chars(text.data(), end, bytes);
  if (text.empty() || read.ec != std::errc() || read.ptr != end) {
    return std::nullopt;
  }
  return bytes;
}

Refusal CannotListen(std::uint16_t port, int error) {
  return {RefusalCode::kPortTaken,
          "Port " + std::to_string(port) + " can't be listened on: " +
              std::error_code(error, std::generic_category()).message() + ".",
          "Say another with --port, or end the program that has it."};
}

}  // namespace

struct Server::Works {
  ServerOptions options;
  int socket = -1;
  std::uint16_t port = 0;
  Site* site = nullptr;
  MHD_Daemon* daemon = nullptr;
  std::atomic<std::size_t> bodies{0};

  /// Connections on which nobody has shown a cookie yet, the oldest first. Only
  /// the thread of the sockets touches them.
  struct Stranger {
    const MHD_Connection* connection;
    in_addr_t address;
    int socket;
  };
  std::vector<Stranger> strangers;

  // What waits for a worker. A connection is suspended meanwhile, so that the
  // one thread of the sockets never waits for a photo.
  std::mutex lock;
  std::condition_variable called;
  std::deque<std::pair<MHD_Connection*, Call*>> waiting;
  bool closed = false;
  std::vector<std::thread> workers;

  ~Works() {
    // From here on nobody new comes in; who waits is still answered.
    if (daemon != nullptr) socket = MHD_quiesce_daemon(daemon);
    {
      const std::lock_guard<std::mutex> guard(lock);
      closed = true;
    }
    called.notify_all();
    for (std::thread& worker : workers) worker.join();
    if (daemon != nullptr) MHD_stop_daemon(daemon);
    if (socket >= 0) ::close(socket);
  }

  /// Who comes new is heard, even if a thousand say nothing: the one of them
  /// that came first goes. Who is in stays.
  void Admit(MHD_Connection* connection) {
    const auto* who =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const auto* socket_of =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    if (who == nullptr || socket_of == nullptr) return;
    const in_addr_t address =
        reinterpret_cast<const sockaddr_in*>(who->client_addr)->sin_addr.s_addr;
    strangers.push_back({connection, address, socket_of->connect_fd});
    const auto from_there = [address](const Stranger& one) {
      return one.address == address;
    };
    auto oldest = strangers.end();
    if (std::count_if(strangers.begin(), strangers.end(), from_there) >
        static_cast<std::ptrdiff_t>(options.per_address)) {
      oldest = std::find_if(strangers.begin(), strangers.end(), from_there);
    } else if (strangers.size() > options.connections / 2) {
      oldest = strangers.begin();
    }
    if (oldest == strangers.end()) return;
    // The library sees that it has ended and closes it.
    ::shutdown(oldest->socket, SHUT_RDWR);
    strangers.erase(oldest);
  }

  void Forget(const MHD_Connection* connection) {
    std::erase_if(strangers, [connection](const Stranger& one) {
      return one.connection == connection;
    });
  }

  static void OnConnection(void* works,
                           MHD_Connection* connection,
                           void** /*slot*/,
                           enum MHD_ConnectionNotificationCode what) {
    auto& self = *static_cast<Works*>(works);
    if (what == MHD_CONNECTION_NOTIFY_STARTED) {
      self.Admit(connection);
    } else {
      self.Forget(connection);
    }
  }

  void Work() {
    while (true) {
      std::pair<MHD_Connection*, Call*> next;
      {
        std::unique_lock<std::mutex> guard(lock);
        called.wait(guard, [&] { return closed || !waiting.empty(); });
        if (waiting.empty()) return;
        next = waiting.front();
        waiting.pop_front();
      }
      Call& call = *next.second;
      try {
        call.response = site->Answer(call.request);
      } catch (const std::exception&) {
        // What it was stays here: a message may hold a path.
        call.response = Refused(500, "A fault in Plumbfoot.");
      }
      MHD_resume_connection(next.first);
    }
  }

  void Begin(Call& call, MHD_Connection* connection) {
    Request& head = call.request;
    if (MHD_get_connection_values(
            connection, MHD_HEADER_KIND, TakeHeader, &head.headers) < 0 ||
        head.headers.size() >= kMostHeaders) {
      call.response = Refused(431, "Too many headers.");
      return;
    }
    MHD_get_connection_values(
        connection, MHD_GET_ARGUMENT_KIND, TakeQuery, &head.query);
    call.response = site->AtTheDoor(head);
    if (call.response) return;
    Forget(connection);
    call.limit = Site::BodyLimit(head);
    const auto promised = Promised(head);
    if (promised && *promised > call.limit) {
      call.response = Refused(413, "That is too large.");
    }
  }

  /// @return False where there is no more room.
  bool TakeBody(Call& call, const char* data, std::size_t size) {
    if (call.request.body.size() + size > call.limit) {
      call.response = Refused(413, "That is too large.");
      return false;
    }
    call.counted += size;
    if (bodies.fetch_add(size) + size > options.bodies) {
      call.response = Refused(503, "Too much is on its way: try again soon.");
      return false;
    }
    call.request.body.append(data, size);
    return true;
  }

  MHD_Result Handle(MHD_Connection* connection,
                    const char* data,
                    std::size_t* size,
                    Call& call) {
    if (!call.begun) {
      call.begun = true;
      Begin(call, connection);
      // Sent before its body is read, and the connection closed.
      if (call.response) return Send(connection, *call.response);
      return MHD_YES;
    }
    if (*size > 0) {
      // What comes after a refusal is read and thrown away, within the limits
      // of the connection, until the peer has read the answer.
      call.come += *size;
      if (!call.response) TakeBody(call, data, *size);
      // A body in chunks need never end.
      if (call.response && call.come > call.limit) return MHD_NO;
      *size = 0;
      return MHD_YES;
    }
    if (call.response) return Send(connection, *call.response);
    if (call.handed_on) return MHD_NO;
    call.handed_on = true;
    MHD_suspend_connection(connection);
    {
      const std::lock_guard<std::mutex> guard(lock);
      if (closed) {
        call.response = Refused(503, "Plumbfoot is being closed.");
        MHD_resume_connection(connection);
        return MHD_YES;
      }
      waiting.emplace_back(connection, &call);
    }
    called.notify_one();
    return MHD_YES;
  }

  static MHD_Result OnCall(void* works,
                           MHD_Connection* connection,
                           const char* url,
                           const char* method,
                           const char* /*version*/,
                           const char* data,
                           std::size_t* size,
                           void** slot) {
    auto& self = *static_cast<Works*>(works);
    try {
      if (*slot == nullptr) {
        auto* call = new Call;
        *slot = call;
        call->request.method = method;
        call->request.path = url;
      }
      return self.Handle(connection, data, size, *static_cast<Call*>(*slot));
    } catch (const std::exception&) {
      return MHD_NO;  // Out of memory: this connection is closed.
    }
  }

  static void OnDone(void* works,
                     MHD_Connection* /*connection*/,
                     void** slot,
                     enum MHD_RequestTerminationCode /*why*/) {
    auto* call = static_cast<Call*>(*slot);
    if (call == nullptr) return;
    static_cast<Works*>(works)->bodies.fetch_sub(call->counted);
    delete call;
    *slot = nullptr;
  }
};

Server::Server(std::unique_ptr<Works> works) : works_(std::move(works)) {}
Server::Server(Server&&) noexcept = default;
Server& Server::operator=(Server&&) noexcept = default;
Server::~Server() = default;

Result<Server> Server::Listen(const ServerOptions& options) {
  auto works = std::make_unique<Works>();
  works->options = options;
  works->socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (works->socket < 0) return CannotListen(options.port, errno);
  const int yes = 1;
  ::setsockopt(works->socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(options.port);
  address.sin_addr.s_addr = htonl(options.lan ? INADDR_ANY : INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  auto* const as_any = reinterpret_cast<sockaddr*>(&address);
  if (::bind(works->socket, as_any, size) != 0 ||
      ::listen(works->socket, SOMAXCONN) != 0 ||
      ::getsockname(works->socket, as_any, &size) != 0) {
    return CannotListen(options.port, errno);
  }
  works->port = ntohs(address.sin_port);
  return Server(std::move(works));
}

std::uint16_t Server::port() const {
  return works_->port;
}

Result<Done> Server::Serve(Site& site) {
  Works& works = *works_;
  works.site = &site;
  for (int i = 0; i < works.options.workers; ++i) {
    works.workers.emplace_back([&works] { works.Work(); });
  }
  works.daemon = MHD_start_daemon(
      MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME,
      works.port,
      nullptr,
      nullptr,
      &Works::OnCall,
      &works,
      MHD_OPTION_LISTEN_SOCKET,
      works.socket,
      MHD_OPTION_CONNECTION_MEMORY_LIMIT,
      kHeadBytes,
      MHD_OPTION_CONNECTION_LIMIT,
      works.options.connections,
      MHD_OPTION_CONNECTION_TIMEOUT,
      works.options.idle_seconds,
      // RFC 7230 to the letter: no bare CR, no space before a colon.
      MHD_OPTION_STRICT_FOR_CLIENT,
      1,
      MHD_OPTION_NOTIFY_CONNECTION,
      &Works::OnConnection,
      &works,
      MHD_OPTION_NOTIFY_COMPLETED,
      &Works::OnDone,
      &works,
      MHD_OPTION_END);
  if (works.daemon == nullptr) return CannotListen(works.port, errno);
  works.socket = -1;  // The library's now.
  return Done{};
}

std::vector<std::string> LanAddresses() {
  std::vector<std::string> found;
  ifaddrs* all = nullptr;
  if (::getifaddrs(&all) != 0) return found;
  for (const ifaddrs* one = all; one != nullptr; one = one->ifa_next) {
    if (one->ifa_addr == nullptr || one->ifa_addr->sa_family != AF_INET ||
        (one->ifa_flags & IFF_UP) == 0 ||
        (one->ifa_flags & IFF_LOOPBACK) != 0) {
      continue;
    }
    std::array<char, INET_ADDRSTRLEN> text{};
    const auto* address = reinterpret_cast<const sockaddr_in*>(one->ifa_addr);
    if (::inet_ntop(AF_INET, &address->sin_addr, text.data(), text.size()) !=
        nullptr) {
      found.emplace_back(text.data());
    }
  }
  ::freeifaddrs(all);
  return found;
}

}  // namespace plumbfoot::serve
