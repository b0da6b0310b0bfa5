// SPDX-License-Identifier: Apache-2.0
//
// The program itself under attack over real sockets. Refused as RFC 9110 and
// 9112 say; nothing leaks; it answers the next one and ends in order. What is
// printed are figures to look at.
//
// PLUMBFOOT_FUZZ=100000 sends so many malformed requests instead of 600;
// PLUMBFOOT_SEED begins elsewhere.
#include <fmt/core.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <zlib.h>

#include <atomic>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <thread>
#include <vector>

#include "plumbfoot/geometry/random.h"
#include "serve/page.h"
#include "serve/program.h"
#include "support/command.h"

// Requests are written as they are read, however often they are put together.
// NOLINTBEGIN(performance-inefficient-*)
namespace plumbfoot::serve {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::AnyOf;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

#ifdef __SANITIZE_ADDRESS__
constexpr double kRoom = 1e6;  // It keeps what is freed, to find its use.
#else
constexpr double kRoom = 1.0;
#endif

// Stands in the casebook and must be read by nobody else. A name that would do
// something in a page that believed it.
constexpr const char* kHorse = "Xanthe <script>x()</script>\" onload=x()";
constexpr const char* kMark = "Xanthe";
const std::string kJpeg = "\xff\xd8\xff";

int StatusOf(const std::string& answer) {
  return answer.starts_with("HTTP/1.1 ") && answer.size() > 12
             ? std::atoi(answer.c_str() + 9)
             : 0;
}

std::string Body(const std::string& answer) {
  const std::size_t at = answer.find("\r\n\r\n");
  return at == std::string::npos ? "" : answer.substr(at + 4);
}

std::string Answer(std::uint16_t port, const std::string& bytes) {
  Line line(port);
  line.Say(bytes);
  return line.Hear();
}

void ExpectAlive(const Browser& browser) {
  EXPECT_THAT(browser.Ask("GET /api/day HTTP/1.1"), StartsWith("HTTP/1.1 200"));
}

/// Every file below a folder, and how large they are together.
std::pair<int, std::uintmax_t> FilesBelow(const fs::path& folder) {
  std::pair<int, std::uintmax_t> found{0, 0};
  for (const auto& one : fs::recursive_directory_iterator(folder)) {
    if (!one.is_regular_file()) continue;
    ++found.first;
    found.second += one.file_size();
  }
  return found;
}

std::string Upload(const Browser& browser,
                   const std::string& visit,
                   const std::string& name,
                   const std::string& bytes) {
  return browser.Ask(
      "POST /api/visits/" + visit + "/photos?name=" + name + " HTTP/1.1",
      "Content-Length: " + std::to_string(bytes.size()) + "\r\n",
      bytes);
}

/// A casebook with one recorded foot and the same on its way, and every
/// address that shows something of them.
struct Kept {
  std::string horse;
  std::string visit;  ///< On its way.
  std::string photo;  ///< Of that one.
  std::vector<std::string> pages;
};

Kept KeepAFoot(const Browser& browser) {
  Kept kept;
  const std::string first = browser.BeginVisit(kHorse, Photos());
  const json done = BodyOf(
      browser.PostJson("/api/visits/" + first + "/record",
                       {{"revision",
                         BodyOf(browser.Ask("GET /api/visits/" + first +
                                            " HTTP/1.1"))["revision"]}}));
  EXPECT_EQ(done["recorded"], json({"LF-before_trim"})) << done.dump();
  kept.horse = done["horse"];
  kept.visit = browser.BeginVisit(kHorse, Photos());
  kept.photo = BodyOf(browser.Ask("GET /api/visits/" + kept.visit +
                                  " HTTP/1.1"))["photos"][0]["id"];
  const std::string foot = kept.horse + "/2026-03-14/LF-before_trim";
  kept.pages = {"/",
                "/app.js",
                "/page.css",
                "/api/day",
                "/api/device",
                "/api/visits/" + kept.visit,
                "/api/visits/" + kept.visit + "/feet/LF-before_trim",
                "/api/horses/" + kept.horse,
                "/api/horses/" + foot,
                "/photo/" + kept.visit + "/" + kept.photo,
                "/photo/" + kept.visit + "/" + kept.photo + "?width=200",
                "/picture/" + foot + "/solar-annotated.jpg",
                "/picture/" + foot + "/lateral-annotated.jpg",
                "/aligned/" + foot + "/solar",
                "/aligned/" + foot + "/lateral",
                "/owner/" + kept.horse + "/2026-03-14"};
  return kept;
}

/// What a browser may do with any answer of ours (CSP Level 3; Fetch, "nosniff"
/// and CORP; Referrer Policy).
void ExpectHeaders(const std::string& answer) {
  const std::string head = answer.substr(0, answer.find("\r\n\r\n"));
  EXPECT_THAT(head, HasSubstr("Content-Security-Policy: default-src 'none'"));
  EXPECT_THAT(head, HasSubstr("X-Content-Type-Options: nosniff"));
  EXPECT_THAT(head, HasSubstr("Referrer-Policy: no-referrer"));
  EXPECT_THAT(head, HasSubstr("Cross-Origin-Resource-Policy: same-origin"));
  EXPECT_THAT(head, HasSubstr("Cache-Control: "));
  EXPECT_THAT(head, Not(HasSubstr("Server:")));
  EXPECT_THAT(head, Not(HasSubstr("Access-Control-Allow")));
  EXPECT_THAT(head, Not(HasSubstr("script-src 'unsafe")));
}

void ExpectNothingOf(const Kept& kept,
                     const fs::path& folder,
                     const std::string& answer) {
  EXPECT_THAT(answer, Not(HasSubstr(kMark)));
  EXPECT_THAT(answer, Not(HasSubstr(kJpeg)));
  EXPECT_THAT(answer, Not(HasSubstr(kept.photo)));
  EXPECT_THAT(answer, Not(HasSubstr(kept.visit)));
  EXPECT_THAT(answer, Not(HasSubstr(folder.string())));
  EXPECT_THAT(answer, Not(HasSubstr("Set-Cookie")));
}

class Attack : public testing::TestWithParam<bool> {
 protected:
  /// The host that a phone, or this machine, would call.
  static std::string HostOf(const Program& program) {
    return program.lan_host().empty() ? program.host() : program.lan_host();
  }
  static bool CanRun() { return !GetParam() || !LanAddresses().empty(); }
};

INSTANTIATE_TEST_SUITE_P(,
                         Attack,
                         testing::Values(false, true),
                         [](const auto& lan) {
                           return lan.param ? "OnTheNetwork" : "OnThisMachine";
                         });

TEST_P(Attack, WithoutTheCodeNothingIsRead) {
  if (!CanRun()) GTEST_SKIP() << "this machine has no network";
  const fs::path folder = FreshFolder("no-code");
  Program program(folder / "book", GetParam());
  const std::string used = program.Code();
  const Browser browser(HostOf(program), used);
  const Kept kept = KeepAFoot(browser);
  const std::string code = program.Code();
  ASSERT_NE(code, used);
  // With the cookie each of them shows what it has.
  for (const std::string& page : kept.pages) {
    SCOPED_TRACE(page);
    const std::string answer = browser.Ask("GET " + page + " HTTP/1.1");
    EXPECT_EQ(StatusOf(answer), 200) << answer.substr(0, 600);
    ExpectHeaders(answer);
    // And the owner's page doesn't believe the horse's name.
    if (page.starts_with("/owner/")) {
      EXPECT_THAT(answer, HasSubstr(kMark));
      EXPECT_THAT(answer, Not(HasSubstr("<script>x")));
      EXPECT_THAT(answer, Not(HasSubstr("\" onload=")));
    }
  }
  const std::string host = "Host: " + HostOf(program) + "\r\n";
  const std::string cookie_name =
      browser.cookie().substr(0, browser.cookie().find('='));
  const std::vector<std::string> shown = {
      "",
      "Cookie: " + cookie_name + "=\r\n",
      "Cookie: " + cookie_name + "=" + std::string(32, '0') + "\r\n",
      "Cookie: " + browser.cookie().substr(0, browser.cookie().size() - 1) +
          "\r\n",
      "Cookie: " + cookie_name + "=" + code + "\r\n",
      "Cookie: other_" + browser.cookie() + "\r\n",
      "Authorization: Bearer " + code + "\r\nX-Forwarded-For: 127.0.0.1\r\n"};
  const std::string locked =
      Body(Answer(program.port(),
                  "GET / HTTP/1.1\r\n" + host + "Connection: close\r\n\r\n"));
  ASSERT_THAT(locked, HasSubstr("locked"));
  int refused = 0;
  for (const std::string& page : kept.pages) {
    for (const std::string& one : shown) {
      const std::string answer = Answer(program.port(),
                                        "GET " + page + " HTTP/1.1\r\n" + host +
                                            one + "Connection: close\r\n\r\n");
      SCOPED_TRACE(page + " " + one);
      ASSERT_EQ(StatusOf(answer), 403);
      EXPECT_EQ(Body(answer), locked);
      ExpectNothingOf(kept, folder, answer);
      ExpectHeaders(answer);
      ++refused;
    }
    for (const char* method :
         {"HEAD", "POST", "PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"}) {
      const std::string answer =
          Answer(program.port(),
                 std::string(method) + " " + page + " HTTP/1.1\r\n" + host +
                     "Origin: http://" + HostOf(program) +
                     "\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
      SCOPED_TRACE(page + " " + method);
      EXPECT_THAT(StatusOf(answer), AnyOf(403, 405, 501));
      ExpectNothingOf(kept, folder, answer);
      ++refused;
    }
  }
  // Wrong codes, the used one, the right one where it doesn't belong.
  for (const std::string& wrong : {used,
                                   code.substr(1),
                                   code + "0",
                                   std::string(16, '0'),
                                   std::string("%00") + code,
                                   std::string("'+OR+1=1--"),
                                   std::string(20'000, 'a')}) {
    const std::string answer = Answer(program.port(),
                                      "GET /?code=" + wrong + " HTTP/1.1\r\n" +
                                          host + "Connection: close\r\n\r\n");
    SCOPED_TRACE(wrong.substr(0, 40));
    EXPECT_THAT(StatusOf(answer), AnyOf(403, 400, 414, 431));
    ExpectNothingOf(kept, folder, answer);
    ++refused;
  }
  for (const std::string& page :
       {"/api/day?code=" + code,
        "/photo/" + kept.visit + "/" + kept.photo + "?code=" + code}) {
    EXPECT_EQ(StatusOf(Answer(program.port(),
                              "GET " + page + " HTTP/1.1\r\n" + host +
                                  "Connection: close\r\n\r\n")),
              403);
    ++refused;
  }
  // Many at once with one code: it opens once.
  std::atomic<int> in{0};
  std::vector<std::thread> crowd;
  for (int i = 0; i < 30; ++i) {
    crowd.emplace_back([&] {
      const std::string answer = Answer(program.port(),
                                        "GET /?code=" + code + " HTTP/1.1\r\n" +
                                            host + "Connection: close\r\n\r\n");
      if (answer.find("Set-Cookie") != std::string::npos) ++in;
    });
  }
  for (std::thread& one : crowd) one.join();
  EXPECT_EQ(in, 1);
  fmt::print("{} requests without the code: all refused; {} pages with it\n",
             refused,
             kept.pages.size());
  ExpectAlive(browser);
  EXPECT_EQ(program.End(), 0);
}

TEST_P(Attack, AnotherHostIsRefused) {
  if (!CanRun()) GTEST_SKIP() << "this machine has no network";
  const fs::path folder = FreshFolder("other-host");
  Program program(folder / "book", GetParam());
  const std::string host = HostOf(program);
  const Browser browser(host, program.Code());
  const std::string code = program.Code();
  const std::string port = host.substr(host.find(':'));
  std::vector<std::string> wrong = {
      "",
      "Host: \r\n",
      "Host: evil.example\r\n",
      "Host: evil.example" + port + "\r\n",
      "Host: 127.0.0.1\r\n",
      "Host: 127.0.0.1" + port + ".evil.example\r\n",
      "Host: evil.example\r\nHost: " + host + "\r\n",
      "Host: " + host + "\r\nHost: evil.example\r\n",
      "Host: " + host + ", evil.example\r\n",
      "Host: evil.example\r\nX-Forwarded-Host: " + host + "\r\n",
      "Host: 0.0.0.0" + port + "\r\n",
      "Host: [::1]" + port + "\r\n",
      "Host : " + host + "\r\n",
      "Host: " + host + "@evil.example\r\n"};
  if (!GetParam()) {
    for (const std::string& address : LanAddresses()) {
      wrong.push_back("Host: " + address + port + "\r\n");
    }
  }
  for (const std::string& one : wrong) {
    for (const char* version : {"HTTP/1.1", "HTTP/1.0"}) {
      for (const std::string& page :
           {std::string("/api/day"), "/?code=" + code}) {
        SCOPED_TRACE(one + version + page);
        const std::string answer =
            Answer(program.port(),
                   "GET " + page + " " + version + "\r\n" + one + "Cookie: " +
                       browser.cookie() + "\r\nConnection: close\r\n\r\n");
        // RFC 9112, 3.2: none or two of them is 400.
        EXPECT_THAT(StatusOf(answer), AnyOf(421, 400));
        EXPECT_THAT(answer, Not(HasSubstr("Set-Cookie")));
        EXPECT_THAT(answer, Not(HasSubstr("today")));
      }
    }
  }
  fmt::print("{} wrong hosts refused\n", wrong.size());
  EXPECT_EQ(program.Code(), code);
  ExpectAlive(browser);
  // The names it goes by.
  for (const std::string& name : {host, "localhost" + port}) {
    EXPECT_EQ(StatusOf(Answer(program.port(),
                              "GET /api/day HTTP/1.1\r\nHost: " + name +
                                  "\r\nCookie: " + browser.cookie() +
                                  "\r\nConnection: close\r\n\r\n")),
              200);
  }
  EXPECT_EQ(program.End(), 0);
}

TEST(AttackOnPosts, FromOtherPagesAreRefused) {
  const fs::path folder = FreshFolder("other-page");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string body = R"({"horse": "Xanthe", "date": "2026-03-14"})";
  const auto post = [&](const std::string& headers) {
    return StatusOf(
        Answer(program.port(),
               "POST /api/visits HTTP/1.1\r\nHost: " + program.host() +
                   "\r\nCookie: " + browser.cookie() +
                   "\r\nContent-Length: " + std::to_string(body.size()) +
                   "\r\n" + headers + "Connection: close\r\n\r\n" + body));
  };
  const std::string type = "Content-Type: application/json\r\n";
  const std::string own = "Origin: http://" + program.host() + "\r\n";
  EXPECT_EQ(post(type), 403);
  EXPECT_EQ(post(type + "Origin: null\r\n"), 403);
  EXPECT_EQ(post(type + "Origin: http://evil.example\r\n"), 403);
  EXPECT_EQ(post(type + "Origin: https://" + program.host() + "\r\n"), 403);
  EXPECT_EQ(post(type + "Origin: http://127.0.0.1:1\r\n"), 403);
  EXPECT_EQ(post(type + "Origin: http://evil.example\r\n" + own), 403);
  EXPECT_EQ(post(type + own + "Origin: http://evil.example\r\n"), 403);
  EXPECT_EQ(post(type + "Sec-Fetch-Site: cross-site\r\n"), 403);
  EXPECT_EQ(post(type + "Sec-Fetch-Site: same-site\r\n"), 403);
  EXPECT_EQ(post(type + "Sec-Fetch-Site: none\r\n"), 403);
  EXPECT_EQ(post(type + "Referer: http://" + program.host() + "/\r\n"), 403);
  // The three types that a form can send (HTML, 4.10.21.6).
  for (const char* form : {"text/plain",
                           "application/x-www-form-urlencoded",
                           "multipart/form-data; boundary=x"}) {
    EXPECT_EQ(post(own + "Content-Type: " + form + "\r\n"), 415);
    EXPECT_EQ(post("Origin: http://evil.example\r\nContent-Type: " +
                   std::string(form) + "\r\n"),
              403);
  }
  EXPECT_FALSE(fs::exists(folder / "book" / "unfinished"));
  // Told apart from the page's own.
  EXPECT_EQ(post(own + type), 201);
  EXPECT_EQ(program.End(), 0);
}

TEST(AttackOnPaths, NothingOutsideTheCasebookIsReadOrWritten) {
  const fs::path folder = FreshFolder("outside");
  WriteFile(folder / "secret.txt", "sesame");
  WriteFile(folder / "visit.json", R"({"horse": "sesame"})");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string visit = browser.BeginVisit("Juno", Photos());
  std::vector<std::string> ups = {"..",
                                  "%2e%2e",
                                  "%2E.",
                                  "..%2f..",
                                  "..%5c..",
                                  "..\\..",
                                  "%252e%252e",
                                  "%c0%ae%c0%ae",
                                  "..%00",
                                  "....//..",
                                  "/",
                                  "."};
  int tried = 0;
  for (const std::string& up : ups) {
    for (const std::string& end : {std::string("secret.txt"),
                                   std::string("etc/passwd"),
                                   std::string("visit.json")}) {
      for (const std::string& begin :
           {std::string("/"),
            std::string("/photo/"),
            "/photo/" + visit + "/",
            std::string("/picture/x/2026-03-14/"),
            std::string("/api/visits/"),
            std::string("/api/horses/"),
            std::string("/owner/"),
            std::string("//"),
            "http://" + program.host() + "/photo/"}) {
        const std::string path = begin + up + "/" + up + "/" + end;
        SCOPED_TRACE(path);
        const std::string answer = browser.Ask("GET " + path + " HTTP/1.1");
        EXPECT_NE(answer, "");
        EXPECT_LT(StatusOf(answer), 500);
        EXPECT_THAT(answer, Not(HasSubstr("sesame")));
        EXPECT_THAT(answer, Not(HasSubstr("root:")));
        EXPECT_THAT(answer, Not(HasSubstr(folder.string())));
        ++tried;
      }
    }
  }
  // Where a photo would be put, by its name.
  const auto before = FilesBelow(folder);
  const std::string photo = ReadFile(Photos() / "solar.jpg");
  for (const std::string& up : ups) {
    const std::string answer =
        Upload(browser, visit, up + "/" + up + "/evil." + up, photo);
    EXPECT_LT(StatusOf(answer), 500) << up;
    ++tried;
  }
  EXPECT_LE(FilesBelow(folder).first, before.first + 1);
  for (const auto& one : fs::recursive_directory_iterator(folder)) {
    EXPECT_THAT(one.path().filename().string(), Not(HasSubstr("evil")));
  }
  fmt::print("{} paths out of the casebook: nothing read, nothing written\n",
             tried);
  ExpectAlive(browser);
  EXPECT_EQ(program.End(), 0);
}

TEST(AttackOnPaths, LinksAndPipesInTheCasebookAreNotFollowed) {
  const fs::path folder = FreshFolder("links");
  const fs::path book = folder / "book";
  Program program(book);
  const Browser browser(program.host(), program.Code());
  const Kept kept = KeepAFoot(browser);
  const fs::path horse = fs::path("horses") / kept.horse;
  const fs::path record = horse / "visits" / "2026-03-14" / "LF-before_trim";
  const auto files = [&](const fs::path& of) {
    std::vector<fs::path> all;
    for (const auto& one : fs::directory_iterator(book / of)) {
      if (one.is_regular_file()) all.push_back(of / one.path().filename());
    }
    return all;
  };
  std::vector<fs::path> places = {"horses",
                                  horse,
                                  horse / "visits",
                                  record.parent_path(),
                                  record,
                                  "unfinished",
                                  fs::path("unfinished") / kept.visit};
  for (const fs::path& of : {record,
                             record.parent_path(),
                             horse,
                             fs::path("unfinished") / kept.visit}) {
    for (const fs::path& one : files(of)) places.push_back(one);
  }
  const std::string foot = kept.horse + "/2026-03-14/LF-before_trim";
  // Addresses that read below a place: none may show what is behind a link.
  const auto pages = [&](const fs::path& place) {
    const std::string name = place.filename();
    const std::string text = place.string();
    std::vector<std::string> of;
    if (text.starts_with("unfinished")) {
      if (place == fs::path("unfinished") / kept.visit ||
          place == "unfinished" || name == "visit.json") {
        of.push_back("/api/visits/" + kept.visit);
        of.push_back("/photo/" + kept.visit + "/" + kept.photo);
      }
      if (name.starts_with(kept.photo)) {
        of.push_back("/photo/" + kept.visit + "/" + kept.photo);
      }
      return of;
    }
    const bool whole = record.string().starts_with(text);
    for (const std::string view : {"solar", "lateral"}) {
      if (whole || name == view + "-annotated.jpg") {
        of.push_back("/picture/" + foot + "/" + view + "-annotated.jpg");
      }
      if (whole || name == view + ".jpg" || name == "report.json") {
        of.push_back("/aligned/" + foot + "/" + view);
      }
    }
    if (whole || name == "report.json") of.push_back("/api/horses/" + foot);
    return of;
  };
  int held = 0;
  int places_held = 0;
  for (const fs::path& place : places) {
    for (const bool pipe : {false, true}) {
      SCOPED_TRACE(place.string() + (pipe ? " is a pipe" : " is a link"));
      const fs::path away = folder / "away";
      fs::rename(book / place, away);
      if (pipe) {
        ASSERT_EQ(::mkfifo((book / place).c_str(), 0600), 0);
      } else {
        fs::create_symlink(away, book / place);
      }
      for (const std::string& page : pages(place)) {
        const std::string answer = browser.Ask("GET " + page + " HTTP/1.1");
        EXPECT_NE(answer, "") << page;
        EXPECT_NE(StatusOf(answer), 200) << page;
        EXPECT_THAT(answer, Not(HasSubstr(folder.string()))) << page;
        ++held;
      }
      // Nobody waits for a pipe, whoever reads it.
      for (const std::string& page : {std::string("/api/day"),
                                      "/api/horses/" + kept.horse,
                                      "/api/visits/" + kept.visit,
                                      "/owner/" + kept.horse + "/2026-03-14"}) {
        const std::string answer = browser.Ask("GET " + page + " HTTP/1.1");
        EXPECT_NE(answer, "") << page;
        EXPECT_THAT(answer, Not(HasSubstr(folder.string()))) << page;
      }
      ++places_held;
      fs::remove(book / place);
      fs::rename(away, book / place);
    }
  }
  fmt::print("{} links and pipes, {} pages behind them: none followed\n",
             places_held,
             held);
  EXPECT_GT(held, 40);
  for (const std::string& page : kept.pages) {
    EXPECT_EQ(StatusOf(browser.Ask("GET " + page + " HTTP/1.1")), 200) << page;
  }
  EXPECT_EQ(program.End(), 0);
}

TEST(AttackByUpload, IsCutAtTheLimit) {
  const fs::path folder = FreshFolder("upload");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string visit = BodyOf(browser.PostJson(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}))["id"];
  const std::string path =
      "POST /api/visits/" + visit + "/photos?name=a.jpg HTTP/1.1";
  const auto files = FilesBelow(folder);
  const double before = program.MostMemoryMb();
  // Promised: refused before a byte of it is read, and not asked on.
  for (const char* size : {"10000000000", "60000001", "18446744073709551615"}) {
    const std::string answer = browser.Ask(
        path,
        "Expect: 100-continue\r\nContent-Length: " + std::string(size) +
            "\r\n");
    EXPECT_EQ(StatusOf(answer), 413) << size << answer.substr(0, 80);
  }
  for (const char* size : {"99999999999999999999999999", "-1", "1e9", "0x10"}) {
    const std::string answer =
        browser.Ask(path, "Content-Length: " + std::string(size) + "\r\n");
    EXPECT_THAT(StatusOf(answer), AnyOf(400, 413)) << size;
  }
  // A stranger's isn't read at all.
  EXPECT_EQ(StatusOf(Answer(program.port(),
                            path + "\r\nHost: " + program.host() +
                                "\r\nContent-Length: 10000000000\r\n\r\n")),
            403);
  // Not promised: ten at once, in chunks that don't end.
  const std::string chunk = "100000\r\n" + std::string(0x100000, 'x') + "\r\n";
  std::atomic<int> sent{0};
  std::vector<std::thread> senders;
  for (int i = 0; i < 10; ++i) {
    senders.emplace_back([&] {
      Line line(program.port());
      line.Say(browser.Head(path, "Transfer-Encoding: chunked\r\n"));
      for (int k = 0; k < 1000 && line.Say(chunk); ++k) ++sent;
      EXPECT_EQ(StatusOf(line.Hear()) / 100, 0);
    });
  }
  ExpectAlive(browser);
  for (std::thread& one : senders) one.join();
  EXPECT_LT(sent, 10 * 100);
  // One chunk of ten gigabytes.
  Line line(program.port());
  line.Say(browser.Head(path, "Transfer-Encoding: chunked\r\n") +
           "2540BE400\r\n");
  const std::string some(0x100000, 'x');
  int one = 0;
  while (one < 10'000 && line.Say(some)) ++one;
  EXPECT_LT(one, 100);
  // Cut off in the middle: nothing of it stays.
  for (int i = 0; i < 20; ++i) {
    Line cut(program.port());
    cut.Say(browser.Head(path, "Content-Length: 5000000\r\n") +
            std::string(2'000'000, 'x'));
  }
  // JSON that doesn't end.
  Line words(program.port());
  words.Say(browser.Head("POST /api/visits HTTP/1.1",
                         "Content-Type: application/json\r\n"
                         "Transfer-Encoding: chunked\r\n"));
  int lines = 0;
  while (lines < 1000 && words.Say(chunk)) ++lines;
  EXPECT_LT(lines, 50);
  ExpectAlive(browser);
  EXPECT_EQ(FilesBelow(folder), files);
  const double most = program.MostMemoryMb() - before;
  fmt::print(
      "endless uploads: {} MB of ten were taken, {} of one, {} of JSON; "
      "{:.0f} MB more memory at most\n",
      sent.load(),
      one,
      lines,
      most);
  // All bodies together, as a string grows (ServerOptions::bodies).
  EXPECT_LT(most, 2 * 256 * kRoom + 50);
  // A photo still comes in.
  EXPECT_EQ(StatusOf(Upload(browser,
                            visit,
                            "LF-before-solar.jpg",
                            ReadFile(Photos() / "solar.jpg"))),
            201);
  EXPECT_EQ(program.End(), 0);
}

std::string BigEndian(std::uint32_t n) {
  return {static_cast<char>(n >> 24U),
          static_cast<char>(n >> 16U),
          static_cast<char>(n >> 8U),
          static_cast<char>(n)};
}

/// A chunk of a PNG (third edition, 5.3).
std::string Chunk(const std::string& type, const std::string& data) {
  const std::string whole = type + data;
  return BigEndian(static_cast<std::uint32_t>(data.size())) + whole +
         BigEndian(static_cast<std::uint32_t>(
             crc32(0,
                   reinterpret_cast<const Bytef*>(whole.data()),
                   static_cast<uInt>(whole.size()))));
}

/// zlib's, or gzip's, of so many zeros.
std::string Deflated(std::size_t zeros, bool gzip) {
  z_stream stream{};
  deflateInit2(
      &stream, 9, Z_DEFLATED, gzip ? 15 + 16 : 15, 9, Z_DEFAULT_STRATEGY);
  std::string in(1'000'000, '\0');
  std::string out(zeros / 500 + 1000, '\0');
  stream.next_out = reinterpret_cast<Bytef*>(out.data());
  stream.avail_out = static_cast<uInt>(out.size());
  for (std::size_t done = 0; done < zeros; done += in.size()) {
    stream.next_in = reinterpret_cast<Bytef*>(in.data());
    stream.avail_in = static_cast<uInt>(in.size());
    deflate(&stream, Z_NO_FLUSH);
  }
  while (deflate(&stream, Z_FINISH) == Z_OK) {
  }
  out.resize(stream.total_out);
  deflateEnd(&stream);
  return out;
}

std::string Png(std::uint32_t width,
                std::uint32_t height,
                const std::string& chunks) {
  return "\x89PNG\r\n\x1a\n" +
         Chunk("IHDR",
               BigEndian(width) + BigEndian(height) +
                   std::string("\x08\x02\0\0\0", 5)) +
         chunks + Chunk("IEND", "");
}

/// Wherever the four bytes before it are the mark, the size becomes 60 000 x
/// 60 000.
std::string Enormous(std::string bytes,
                     const std::string& mark,
                     std::size_t after,
                     bool sixteen_bits) {
  const std::string n = sixteen_bits ? "\xea\x60" : BigEndian(60'000);
  for (std::size_t at = bytes.find(mark); at != std::string::npos;
       at = bytes.find(mark, at + 1)) {
    bytes.replace(at + mark.size() + after, 2 * n.size(), n + n);
  }
  return bytes;
}

TEST(AttackByUpload, BombsAreRefused) {
  const fs::path folder = FreshFolder("bombs");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string visit = BodyOf(browser.PostJson(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}))["id"];
  const std::string photo = ReadFile(Photos() / "solar.jpg");
  const auto made = tests::RunCommand({"heif-enc",
                                       "-o",
                                       (folder / "a.heic").string(),
                                       (Photos() / "solar.jpg").string()});
  ASSERT_EQ(made.status, 0) << made.err;
  // So that the network is in memory.
  ASSERT_EQ(StatusOf(Upload(browser, visit, "LF-before-solar.jpg", photo)),
            201);
  const auto files = FilesBelow(folder);
  const double before = program.MemoryMb();
  // TIFF 6.0, p. 13: one directory of width, height and one strip.
  std::string tiff("II*\0\x08\0\0\0\x03\0", 10);
  tiff += std::string("\0\1\4\0\1\0\0\0\x60\xea\0\0", 12);
  tiff += std::string("\1\1\4\0\1\0\0\0\x60\xea\0\0", 12);
  tiff += std::string("\x11\1\4\0\1\0\0\0\0\0\0\0\0\0\0\0", 16);
  // WebP, "Extended File Format": 60 000 less one in 24 bits.
  std::string webp("RIFF\x16\0\0\0WEBPVP8X\x0a\0\0\0\0\0\0\0", 24);
  webp += std::string("\x5f\xea\0\x5f\xea\0", 6);
  const std::string zeros = Deflated(1'000'000'000, false);
  const std::vector<std::pair<std::string, std::string>> bombs = {
      {"wide.png", Png(60'000, 60'000, Chunk("IDAT", zeros))},
      {"thin.png", Png(1, 2'000'000'000, Chunk("IDAT", zeros))},
      // Says that it is small, and goes on for a gigabyte.
      {"more.png", Png(100, 100, Chunk("IDAT", zeros)).substr(0, 90'000)},
      {"text.png",
       Png(100, 100, Chunk("zTXt", std::string("a\0\0", 3) + zeros))},
      {"profile.png",
       Png(100, 100, Chunk("iCCP", std::string("a\0\0", 3) + zeros))},
      // SOF0 of ITU-T T.81, B.2.2: length, precision, then the size.
      {"wide.jpg", Enormous(photo, "\xff\xc0", 3, true)},
      // ispe of ISO/IEC 23008-12, 6.5.3: version and flags, then the size.
      {"wide.heic", Enormous(ReadFile(folder / "a.heic"), "ispe", 4, false)},
      {"wide.webp", webp},
      {"wide.tiff", tiff},
      {"bomb.zip", "PK\x03\x04" + zeros},
      {"bomb.gz", Deflated(1'000'000'000, true)},
      {"nothing.jpg", ""},
      {"two-bytes.jpg", "\xff\xd8"}};
  for (const auto& [name, bytes] : bombs) {
    const std::string answer = Upload(browser, visit, name, bytes);
    EXPECT_EQ(StatusOf(answer), 422) << name << " " << answer.substr(0, 900);
    EXPECT_THAT(answer, Not(HasSubstr(folder.string())));
    fmt::print("{} ({} bytes): {}\n",
               name,
               bytes.size(),
               BodyOf(answer)["refused"].value("message", "none"));
  }
  // What it is told to unpack it doesn't.
  const std::string answer =
      browser.Ask("POST /api/visits HTTP/1.1",
                  "Content-Type: application/json\r\nContent-Encoding: gzip\r\n"
                  "Content-Length: " +
                      std::to_string(bombs[10].second.size()) + "\r\n",
                  bombs[10].second);
  EXPECT_THAT(StatusOf(answer), AnyOf(400, 413, 415));
  const double most = program.MostMemoryMb() - before;
  fmt::print("{:.0f} MB more memory at most, {:.0f} MB more now\n",
             most,
             program.MemoryMb() - before);
  EXPECT_LT(most, 150 * kRoom);
  EXPECT_EQ(FilesBelow(folder), files);
  ExpectAlive(browser);
  EXPECT_EQ(program.End(), 0);
}

// As large as may be (photo::Limits), and of one colour: 100 kB that become
// hundreds of megabytes. Four of them at once.
TEST(AttackByUpload, TheLargestPhotosAtOnceDontAddUp) {
  if (kRoom > 1) GTEST_SKIP() << "takes minutes under the sanitizers";
  const fs::path folder = FreshFolder("largest");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string visit = BodyOf(browser.PostJson(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}))["id"];
  std::vector<std::string> answers(4);
  std::vector<std::thread> senders;
  for (std::size_t i = 0; i < answers.size(); ++i) {
    senders.emplace_back([&, i] {
      std::vector<std::uint8_t> png;
      cv::imencode(
          ".png", cv::Mat(10'900, 10'900, CV_8UC1, cv::Scalar(double(i))), png);
      Line line(program.port());
      line.Say(browser.Head(
          "POST /api/visits/" + visit + "/photos?name=a.png HTTP/1.1",
          "Content-Length: " + std::to_string(png.size()) + "\r\n"));
      line.Say({reinterpret_cast<const char*>(png.data()), png.size()});
      answers[i] = line.Hear(120'000);
    });
  }
  for (std::thread& one : senders) one.join();
  for (const std::string& answer : answers) {
    EXPECT_THAT(StatusOf(answer), AnyOf(201, 422)) << answer;
  }
  fmt::print("{:.0f} MB at most\n", program.MostMemoryMb());
  // Two of them at a time, each with its pixels and what is made of them.
  EXPECT_LT(program.MostMemoryMb(), 1400);
  ExpectAlive(browser);
  EXPECT_EQ(program.End(), 0);
}

/// Descriptors for thousands of connections and their other ends.
bool ManyFiles() {
  rlimit files{};
  ::getrlimit(RLIMIT_NOFILE, &files);
  files.rlim_cur = std::min<rlim_t>(files.rlim_max, 8192);
  ::setrlimit(RLIMIT_NOFILE, &files);
  return files.rlim_cur >= 2500;
}

// Whoever is in gets answers while a thousand others are slow: few or many
// addresses, or the very address from which the one who is in comes too.
TEST(AttackBySlowness, KeepsNobodyOut) {
  if (!ManyFiles()) GTEST_SKIP() << "fewer than 2500 files may be open here";
  const fs::path folder = FreshFolder("slow");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string host = "Host: " + program.host() + "\r\n";
  const std::vector<std::pair<std::string, std::string>> ways = {
      {"silent", ""},
      {"slow head", "GET /api/day HTTP/1.1\r\n" + host + "X-Slow: "},
      {"slow body",
       "POST /api/visits HTTP/1.1\r\n" + host +
           "Content-Length: 900000\r\n\r\n"},
      {"answered and held", "GET / HTTP/1.1\r\n" + host + "\r\n"}};
  for (const int addresses : {1, 4, 16}) {
    for (const auto& [way, bytes] : ways) {
      SCOPED_TRACE(way + " from " + std::to_string(addresses));
      std::vector<Line> slow;
      slow.reserve(1000);
      double longest = 0;
      for (int i = 0; i < 1000; ++i) {
        const std::string from =
            addresses == 1 ? "127.0.0.1"
                           : "127.0.1." + std::to_string(1 + i % addresses);
        slow.emplace_back(program.port(), from.c_str());
        slow.back().Say(bytes);
        if (i % 100 != 99) continue;
        const auto began = std::chrono::steady_clock::now();
        ExpectAlive(browser);
        const std::chrono::duration<double> took =
            std::chrono::steady_clock::now() - began;
        longest = std::max(longest, took.count());
        for (Line& line : slow) {
          if (!bytes.empty() && way.starts_with("slow")) line.Say("a");
        }
      }
      // Not a speed: who waited for the slow ones would wait 20 seconds.
      EXPECT_LT(longest, 10);
      fmt::print(
          "1000 {} from {} addresses: answered within {:.0f} ms, {} "
          "files, {:.0f} MB\n",
          way,
          addresses,
          longest * 1000,
          program.OpenFiles(),
          program.MemoryMb());
    }
  }
  EXPECT_EQ(program.End(), 0);
}

int FromEnvironment(const char* name, int otherwise) {
  const char* const text = std::getenv(name);
  return text == nullptr ? otherwise : std::atoi(text);
}

// Seeded, so that it fails again where it failed.
TEST(AttackByNonsense, IsOutlived) {
  const fs::path folder = FreshFolder("nonsense");
  Program program(folder / "book");
  const Browser browser(program.host(), program.Code());
  const std::string visit = BodyOf(browser.PostJson(
      "/api/visits", {{"horse", kHorse}, {"date", "2026-03-14"}}))["id"];
  const std::string code = program.Code();
  const std::string host = "Host: " + program.host() + "\r\n";
  const std::string in = host + "Cookie: " + browser.cookie() +
                         "\r\nOrigin: http://" + program.host() + "\r\n";
  // Strangers' first: what comes back to one of them must hold nothing.
  std::vector<std::string> seeds = {
      "GET / HTTP/1.1\r\n" + host + "\r\n",
      "GET /api/day HTTP/1.1\r\n" + host + "Cookie: plumbfoot_80=0\r\n\r\n",
      "POST /api/visits HTTP/1.1\r\n" + host +
          "Content-Length: 2\r\n\r\n{}GET /api/day HTTP/1.1\r\n" + host +
          "\r\n",
      "POST /api/visits HTTP/1.1\r\n" + host +
          "Transfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n"};
  const std::size_t strangers = seeds.size();
  for (const std::string& seed : std::vector<std::string>{
           "GET /api/visits/" + visit + " HTTP/1.1\r\n" + in + "\r\n",
           "GET /photo/" + visit + "/x?width=3&width=4 HTTP/1.1\r\n" + in +
               "\r\n",
           "POST /api/visits/" + visit + "/place HTTP/1.1\r\n" + in +
               "Content-Type: application/json\r\nContent-Length: 31\r\n\r\n"
               R"({"revision": 1, "photo": "abc"})",
           "POST /api/visits/" + visit + "/photos?name=a.jpg HTTP/1.1\r\n" +
               in + "Content-Length: 8\r\n\r\nnotaphot",
           "POST /api/visits/" + visit +
               "/feet/LF-before_trim/follow HTTP/1.1\r\n" + in +
               "Content-Type: application/json\r\nTransfer-Encoding: "
               "chunked\r\n\r\n6\r\n{\"poin\r\n6\r\nts\":1}\r\n0\r\n\r\n",
           "HEAD / HTTP/1.0\r\n" + in + "Connection: keep-alive\r\n\r\n"}) {
    seeds.push_back(seed);
  }
  const std::vector<std::string> words = {"\r\n",
                                          "\n",
                                          "\r",
                                          "\r\n\r\n",
                                          std::string(1, '\0'),
                                          ":",
                                          ";",
                                          "\t",
                                          "%",
                                          "%00",
                                          "%zz",
                                          "..",
                                          "HTTP/1.1",
                                          "HTTP/2.0",
                                          "Content-Length: 0\r\n",
                                          "-1",
                                          "Transfer-Encoding: chunked\r\n",
                                          "99999999999999999999",
                                          "\xff",
                                          "\"",
                                          "{",
                                          "[",
                                          "Expect: 100-continue\r\n",
                                          "Host: evil\r\n",
                                          "Upgrade: h2c\r\n",
                                          "Range: bytes=0-0,1-1\r\n",
                                          " ",
                                          "?",
                                          "#",
                                          "&code=",
                                          std::string(5000, 'A')};
  const int seed = FromEnvironment("PLUMBFOOT_SEED", 20260314);
  const int cases = FromEnvironment("PLUMBFOOT_FUZZ", 600);
  geometry::Random random(static_cast<std::uint64_t>(seed));
  const auto any = [&](std::size_t below) {
    return static_cast<std::size_t>(random.Below(static_cast<int>(below)));
  };
  std::map<int, int> statuses;
  const int files = program.OpenFiles();
  double memory = 0;
  for (int i = 0; i < cases; ++i) {
    const std::size_t which = any(seeds.size());
    std::string bytes = seeds[which];
    for (std::size_t k = 1 + any(8); k > 0; --k) {
      const std::size_t at = any(bytes.size());
      switch (any(6)) {
        case 0:
          bytes[at] = static_cast<char>(any(256));
          break;
        case 1:
          bytes.erase(at, 1 + any(12));
          if (bytes.empty()) bytes = "x";
          break;
        case 2:
          bytes.insert(at, bytes.substr(any(bytes.size()), any(60)));
          break;
        case 3:
          bytes.resize(at + 1);
          break;
        default:
          bytes.insert(at, words[any(words.size())]);
      }
    }
    Line line(program.port());
    // Sometimes in two pieces.
    const std::size_t half = any(4) == 0 ? any(bytes.size()) : bytes.size();
    line.Say(bytes.substr(0, half));
    line.Say(bytes.substr(half));
    const std::string heard = line.Hear(4);
    SCOPED_TRACE(fmt::format("seed {}, case {}: {}", seed, i, bytes));
    const int status = StatusOf(heard);
    ++statuses[status];
    ASSERT_TRUE(heard.empty() || heard.starts_with("HTTP/1."));
    ASSERT_THAT(status, AnyOf(0, testing::Lt(500), 501, 505));
    ASSERT_THAT(heard, Not(HasSubstr(folder.string())));
    if (which < strangers) {
      ASSERT_THAT(heard, Not(HasSubstr(kMark)));
      ASSERT_THAT(heard, Not(HasSubstr(visit)));
      ASSERT_THAT(heard, Not(HasSubstr("HTTP/1.1 20")));
      ASSERT_THAT(heard, Not(HasSubstr("Set-Cookie")));
    }
    if (i == cases / 4) memory = program.MemoryMb();
  }
  fmt::print("{} malformed requests, seed {}:", cases, seed);
  for (const auto& [status, count] : statuses) {
    fmt::print(
        " {} x {},", count, status == 0 ? "closed" : std::to_string(status));
  }
  fmt::print(" {:.1f} MB more memory\n", program.MemoryMb() - memory);
  EXPECT_LT(program.MemoryMb() - memory, 30 * kRoom);
  EXPECT_EQ(program.Code(), code);
  ExpectAlive(browser);
  EXPECT_LT(program.OpenFiles(), files + 40);
  EXPECT_EQ(program.End(), 0);
}

}  // namespace
}  // namespace plumbfoot::serve
// NOLINTEND(performance-inefficient-*)
