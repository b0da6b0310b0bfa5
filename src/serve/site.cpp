// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/serve/site.h"

#include <charconv>
#include <mutex>
#include <thread>
#include <utility>

#include "plumbfoot/serve/server.h"
#include "serve/answers.h"
#include "serve/assets.h"
#include "serve/door.h"
#include "serve/kept.h"
#include "serve/visits.h"

namespace plumbfoot::serve {
namespace {

using nlohmann::json;

// CHOSEN: a phone's photo is 3 to 15 MB.
constexpr std::size_t kPhotoBytes = 60'000'000;
// CHOSEN: the points of a foot are some 10 kB.
constexpr std::size_t kJsonBytes = 1'000'000;
// Deeper than anything that we ask, shallower than what a parser minds.
constexpr int kDeepest = 12;

// Nothing from elsewhere, nothing inline, and in no page but our own. The hash
// is that of the style in locked.html, which must do with what it brings along;
// a browser says the new one where it has changed.
constexpr const char* kOurPolicy =
    "default-src 'none'; script-src 'self'; style-src 'self' "
    "'sha256-o4VysDFy64XAGxnU/wQf1A2GL+jcwCxnU6ie+MGa7L4='; img-src 'self' "
    "blob:; connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri "
    "'none'; frame-ancestors 'none'";
// The owner's page brings its style and its pictures along, and runs nothing.
constexpr const char* kOwnersPolicy =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri "
    "'none'; form-action 'none'; frame-ancestors 'self'";

std::vector<std::string> Steps(const std::string& path) {
  std::vector<std::string> steps;
  for (std::size_t at = 0; at < path.size();) {
    const std::size_t end = std::min(path.find('/', at), path.size());
    if (end > at) steps.push_back(path.substr(at, end - at));
    at = end + 1;
  }
  return steps;
}

Response File(const char* type, std::string_view bytes) {
  Response response;
  response.type = type;
  response.body = bytes;
  return response;
}

std::optional<Response> Asset(const std::string& path) {
  constexpr const char* kScript = "text/javascript; charset=utf-8";
  if (path == "/") return File("text/html; charset=utf-8", kIndexHtml);
  if (path == "/page.css") return File("text/css; charset=utf-8", kPageCss);
  if (path == "/icon.svg") return File("image/svg+xml", kIconSvg);
  if (path == "/app.js") return File(kScript, kAppJs);
  if (path == "/ask.js") return File(kScript, kAskJs);
  if (path == "/parts.js") return File(kScript, kPartsJs);
  if (path == "/day.js") return File(kScript, kDayJs);
  if (path == "/visit.js") return File(kScript, kVisitJs);
  if (path == "/points.js") return File(kScript, kPointsJs);
  if (path == "/editor.js") return File(kScript, kEditorJs);
  if (path == "/horse.js") return File(kScript, kHorseJs);
  if (path == "/anvil.js") return File(kScript, kAnvilJs);
  return std::nullopt;
}

/// The JSON object of a body; a deep one could use up the stack.
std::optional<json> ObjectIn(const std::string& body) {
  // The parser takes it for the end.
  if (body.find('\0') != std::string::npos) return std::nullopt;
  const json::parser_callback_t shallow =
      [](int depth, json::parse_event_t, json&) {
        if (depth > kDeepest) throw std::length_error("deep");
        return true;
      };
  try {
    json parsed = json::parse(body, shallow, false);
    if (parsed.is_object()) return parsed;
  } catch (const std::length_error&) {
    return std::nullopt;
  }
  return std::nullopt;
}

int WidthAsked(const Request& request) {
  const std::string text = request.asked("width");
  int width = 0;
  const char* const end = text.data() + text.size();
  const auto read = std::from_chars(text.data(), end, width);
  return read.ec == std::errc() && read.ptr == end ? width : 0;
}

Response NotFound() {
  return Refused(404, "There is nothing here.");
}

bool IsPhoto(const Request& head) {
  const auto steps = Steps(head.path);
  return head.method == "POST" && steps.size() == 4 && steps[0] == "api" &&
         steps[1] == "visits" && steps[3] == "photos";
}

}  // namespace

struct Site::Rooms {
  SiteOptions options;
  std::string folder;  ///< The casebook's, as JSON writes it.
  Door door;
  report::Desk desk;
  std::thread drawing;
  std::mutex looking;
  Visits visits;
  Kept kept;

  Rooms(const casebook::Casebook& casebook, SiteOptions given)
      : options(std::move(given)),
        folder(json(casebook.folder.string()).dump()),
        door(options.hosts, options.new_code),
        drawing([this] { desk.Serve(); }),
        visits(casebook, WithOneFinder(), desk),
        kept(casebook, options, desk) {}
  ~Rooms() {
    desk.Close();
    drawing.join();
  }
  Rooms(const Rooms&) = delete;
  Rooms& operator=(const Rooms&) = delete;
  Rooms(Rooms&&) = delete;
  Rooms& operator=(Rooms&&) = delete;

  /// A finder does one thing at a time.
  const SiteOptions& WithOneFinder() {
    options.finder =
        [this, finder = std::move(options.finder)](
            View view, const find::PlaneImage& image, find::Looks looks) {
          const std::lock_guard<std::mutex> guard(looking);
          return finder(view, image, looks);
        };
    return options;
  }

  Response Device() const {
    json addresses = json::array();
    for (const std::string& address : options.addresses) {
      addresses.push_back(address + "/?code=" + door.Code());
    }
    return Json({{"code", door.Code()}, {"addresses", std::move(addresses)}});
  }

  Response Get(const Request& request) {
    if (auto asset = Asset(request.path)) return *asset;
    const auto s = Steps(request.path);
    if (s.size() == 2 && s[0] == "api" && s[1] == "day") {
      return kept.Day(visits.List());
    }
    if (s.size() == 2 && s[0] == "api" && s[1] == "device") return Device();
    if (s.size() == 1 && s[0] == "device.svg" && !options.addresses.empty()) {
      return File("image/svg+xml",
                  QrSvg(options.addresses.front() + "/?code=" + door.Code()));
    }
    if (s.size() == 3 && s[0] == "api" && s[1] == "visits") {
      return visits.Show(s[2]);
    }
    if (s.size() == 5 && s[0] == "api" && s[1] == "visits" && s[3] == "feet") {
      return visits.ShowFoot(s[2], s[4]);
    }
    if (s.size() == 3 && s[0] == "api" && s[1] == "horses") {
      return kept.Horse(s[2]);
    }
    if (s.size() == 5 && s[0] == "api" && s[1] == "horses") {
      return kept.Foot(s[2], s[3], s[4]);
    }
    if (s.size() == 6 && s[0] == "api" && s[1] == "horses" && s[5] == "fit") {
      return kept.Fit(s[2], s[3], s[4], request);
    }
    if (s.size() == 5 && s[0] == "shoe") {
      return kept.FitFile(s[1], s[2], s[3], s[4], request);
    }
    if (s.size() == 3 && s[0] == "photo") {
      return visits.Photo(s[1], s[2], WidthAsked(request));
    }
    if (s.size() == 5 && s[0] == "picture") {
      return kept.Picture(s[1], s[2], s[3], s[4]);
    }
    if (s.size() == 5 && s[0] == "aligned") {
      return kept.Aligned(s[1], s[2], s[3], s[4]);
    }
    if (s.size() == 3 && s[0] == "plot") return kept.Plot(s[1], s[2]);
    if (s.size() == 3 && s[0] == "owner") return kept.OwnersPage(s[1], s[2]);
    return NotFound();
  }

  Response Post(const Request& request) {
    const auto s = Steps(request.path);
    if (IsPhoto(request)) {
      return visits.AddPhoto(s[2], request.asked("name"), request.body);
    }
    // A form of another page can't send this type without asking first.
    if (request.header("content-type") != "application/json") {
      return Refused(415, "Only JSON is taken here.");
    }
    const auto asked = ObjectIn(request.body);
    if (!asked) return Refused(400, "That isn't what the page sends.");
    if (s.size() == 2 && s[0] == "api" && s[1] == "visits") {
      return visits.Begin(*asked);
    }
    if (s.size() == 4 && s[0] == "api" && s[1] == "visits") {
      if (s[3] == "place") return visits.PlacePhoto(s[2], *asked);
      if (s[3] == "record") return visits.Record(s[2], *asked);
    }
    if (s.size() == 6 && s[0] == "api" && s[1] == "horses" && s[5] == "again") {
      const auto found = kept.Find(s[2], s[3], s[4]);
      if (!found) return Refused(found.error());
      return visits.Reopen(found->history.horse,
                           found->history.visits[found->visit].day,
                           found->record);
    }
    if (s.size() == 6 && s[0] == "api" && s[1] == "visits" && s[3] == "feet") {
      if (s[5] == "follow") return visits.Follow(s[2], s[4], *asked);
      if (s[5] == "points") return visits.KeepPoints(s[2], s[4], *asked);
    }
    return NotFound();
  }

  /// What is wrong with a file is said with its place, and that is the
  /// program's own terminal's: here it is the casebook's.
  Response WithoutFolder(Response response) const {
    if (response.type != "application/json") return response;
    const std::string_view place =
        std::string_view(folder).substr(1, folder.size() - 2);
    std::string& body = response.body;
    for (std::size_t at = body.find(place); at != std::string::npos;
         at = body.find(place, at)) {
      body.replace(at, place.size(), "casebook");
    }
    return response;
  }

  /// What a browser may do with the answer.
  static Response WithHeaders(const Request& request, Response response) {
    const bool owners = request.path.starts_with("/owner/") &&
                        response.type.starts_with("text/html") &&
                        response.status == 200;
    auto& headers = response.headers;
    headers.emplace_back("Content-Security-Policy",
                         owners ? kOwnersPolicy : kOurPolicy);
    headers.emplace_back("X-Content-Type-Options", "nosniff");
    headers.emplace_back("Referrer-Policy", "no-referrer");
    headers.emplace_back("Cross-Origin-Resource-Policy", "same-origin");
    headers.emplace_back("Cross-Origin-Opener-Policy", "same-origin");
    headers.emplace_back("Permissions-Policy",
                         "geolocation=(), microphone=(), interest-cohort=()");
    // Photos of an unfinished visit are named after their bytes.
    headers.emplace_back(
        "Cache-Control",
        response.status == 200 && request.path.starts_with("/photo/")
            ? "private, max-age=86400, immutable"
            : "no-store");
    return response;
  }
};

Site::Site(const casebook::Casebook& casebook, SiteOptions options)
    : rooms_(std::make_unique<Rooms>(casebook, std::move(options))) {}
Site::~Site() = default;

std::string Site::Code() const {
  return rooms_->door.Code();
}

std::optional<Response> Site::AtTheDoor(const Request& head) {
  auto answer = rooms_->door.Check(head);
  if (!answer) return std::nullopt;
  return Rooms::WithHeaders(head, std::move(*answer));
}

std::size_t Site::BodyLimit(const Request& head) {
  if (head.method != "POST") return 0;
  return IsPhoto(head) ? kPhotoBytes : kJsonBytes;
}

Response Site::Answer(const Request& request) {
  if (auto answer = AtTheDoor(request)) return *answer;
  if (request.body.size() > BodyLimit(request)) {
    return Rooms::WithHeaders(request, Refused(413, "That is too large."));
  }
  Response answer;
  try {
    answer =
        request.method == "POST" ? rooms_->Post(request) : rooms_->Get(request);
  } catch (const std::exception&) {
    // What it was stays here: a message may hold a path.
    answer = Refused(500, "A fault in Plumbfoot. Nothing was changed by it.");
  }
  return Rooms::WithHeaders(request, rooms_->WithoutFolder(std::move(answer)));
}

}  // namespace plumbfoot::serve
