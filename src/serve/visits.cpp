// SPDX-License-Identifier: Apache-2.0
#include "serve/visits.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <set>
#include <utility>

#include "plumbfoot/casebook/sort_photos.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/report/due.h"
#include "plumbfoot/report/report_json.h"
#include "serve/answers.h"

namespace plumbfoot::serve {
namespace {

using casebook::Unfinished;
using nlohmann::json;

constexpr std::string_view kFormat = "plumbfoot-unfinished";
constexpr int kVersion = 1;
// CHOSEN: feet whose numbers follow at once, and those of them whose photos are
// kept in memory (some 70 MB a pair of 12 megapixels).
constexpr std::size_t kMostLive = 64;
constexpr std::size_t kMostPixels = 3;
// CHOSEN: four feet, three stages, two views, and as many again by mistake.
constexpr std::size_t kMostPhotos = 48;
constexpr std::size_t kLongestName = 200;

std::string Text(const json& of, const char* key) {
  const auto it = of.find(key);
  return it != of.end() && it->is_string() ? it->get<std::string>()
                                           : std::string();
}

int Number(const json& of, const char* key) {
  const auto it = of.find(key);
  return it != of.end() && it->is_number_integer() ? it->get<int>() : 0;
}

bool Flag(const json& of, const char* key) {
  const auto it = of.find(key);
  return it != of.end() && it->is_boolean() && it->get<bool>();
}

/// A list or an object of what is said; empty where it isn't one.
json Part(const json& of, const char* key, const json& empty) {
  const auto it = of.find(key);
  return it != of.end() && it->type() == empty.type() ? *it : empty;
}

Refusal Usage(const std::string& message, const std::string& remedy) {
  return {RefusalCode::kUsage, message, remedy};
}

Refusal TooManyPhotos() {
  return Usage("This visit has as many photos as it can take.",
               "Record it, and begin another.");
}

/// Is the photo of these bytes one of the visit's?
bool IsThere(const json& said, const std::string& sha256) {
  const json photos = Part(said, "photos", json::array());
  return std::any_of(photos.begin(), photos.end(), [&](const json& photo) {
    return Text(photo, "id") == sha256;
  });
}

/// Two people at one thing: the later one is told.
Response Changed(const json& now) {
  json answer = {{"refused",
                  {{"code", "changed_meanwhile"},
                   {"message",
                    "Somebody else has changed this meanwhile. Nothing of "
                    "theirs was overwritten."},
                   {"remedy", "Look at what it is now, then change it."}}},
                 {"now", now}};
  return Json(answer, 409);
}

Result<Unfinished> ReadOurs(const casebook::Casebook& casebook,
                            const std::string& id) {
  auto read = casebook::ReadUnfinished(casebook, id);
  if (!read) return read;
  if (Text(read->said, "format") != kFormat) {
    return Refusal{RefusalCode::kNotOurFormat,
                   "This isn't an unfinished visit.",
                   "Choose another."};
  }
  if (Number(read->said, "version") != kVersion) {
    return Refusal{RefusalCode::kVersionUnknown,
                   "This visit was begun by a newer Plumbfoot.",
                   "Use that one."};
  }
  return read;
}

/// A place among those who may have a photo open.
class Turn {
 public:
  explicit Turn(std::counting_semaphore<2>& places) : places_(places) {
    places_.acquire();
  }
  ~Turn() { places_.release(); }
  Turn(const Turn&) = delete;
  Turn& operator=(const Turn&) = delete;
  Turn(Turn&&) = delete;
  Turn& operator=(Turn&&) = delete;

 private:
  std::counting_semaphore<2>& places_;
};

/// A photo that counts: whose foot, view and stage are known.
struct Placed {
  FootAndStage of;
  View view = View::kSolar;
  std::string id;
  std::string file;
  std::string name;
};

bool IsSha256(const std::string& text) {
  return text.size() == 64 &&
         text.find_first_not_of("0123456789abcdef") == std::string::npos;
}

/// The name of a photo's file, if it is one that we made.
bool IsOurFile(const std::string& file, const std::string& id) {
  return IsSha256(id) && file.size() <= 72 && file.starts_with(id + ".") &&
         std::all_of(file.begin() + 65, file.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
         });
}

std::optional<View> ParseView(const std::string& text) {
  if (text == "solar") return View::kSolar;
  if (text == "lateral") return View::kLateral;
  return std::nullopt;
}

std::optional<Placed> PlacedOf(const json& photo) {
  if (!photo.is_object() || Flag(photo, "out")) return std::nullopt;
  const auto foot = geometry::ParseFoot(Text(photo, "foot"));
  const auto stage = geometry::ParseStage(Text(photo, "stage"));
  const auto view = ParseView(Text(photo, "view"));
  Placed placed;
  placed.id = Text(photo, "id");
  placed.file = Text(photo, "file");
  placed.name = Text(photo, "name");
  if (!foot || !stage || !view || !IsOurFile(placed.file, placed.id)) {
    return std::nullopt;
  }
  placed.of = {*foot, *stage};
  placed.view = *view;
  return placed;
}

std::vector<Placed> PlacedPhotos(const json& said) {
  std::vector<Placed> photos;
  for (const json& photo : Part(said, "photos", json::array())) {
    if (auto placed = PlacedOf(photo)) photos.push_back(std::move(*placed));
  }
  return photos;
}

/// Feet of the visit in their order, each with its photos.
std::map<std::pair<Foot, Stage>, std::map<View, Placed>> FeetOf(
    const json& said) {
  std::map<std::pair<Foot, Stage>, std::map<View, Placed>> feet;
  for (Placed& photo : PlacedPhotos(said)) {
    // Of two of one view the later one counts; the page warns of it.
    feet[{photo.of.foot, photo.of.stage}].insert_or_assign(photo.view,
                                                           std::move(photo));
  }
  return feet;
}

json FootSaid(const json& said, const std::string& key) {
  return Part(Part(said, "feet", json::object()), key.c_str(), json::object());
}

std::string_view CurveName(View view) {
  return view == View::kSolar ? "outline" : "dorsal_wall";
}

/// How many of a view's points and lines a person has looked at.
int Checked(const json& foot, View view) {
  const json points = Part(Part(foot, "points", json::object()),
                           std::string(geometry::ViewName(view)).c_str(),
                           json::object());
  int checked = points.contains(CurveName(view)) ? 1 : 0;
  for (const PointId id : geometry::PointsOf(view)) {
    checked += points.contains(geometry::PointName(id)) ? 1 : 0;
  }
  return checked;
}

json FootSummary(const std::string& key,
                 const FootAndStage& of,
                 const std::map<View, Placed>& photos,
                 const json& foot) {
  json views = json::object();
  int checked = 0;
  int all = 0;
  for (const auto& [view, photo] : photos) {
    views[std::string(geometry::ViewName(view))] = photo.id;
    checked += Checked(foot, view);
    all += static_cast<int>(geometry::PointsOf(view).size()) + 1;
  }
  return {{"key", key},
          {"foot", geometry::FootName(of.foot)},
          {"foot_words", geometry::FootWords(of.foot)},
          {"stage", geometry::StageName(of.stage)},
          {"stage_words", geometry::StageWords(of.stage)},
          {"shod", Flag(foot, "shod")},
          {"revision", Number(foot, "revision")},
          {"photos", std::move(views)},
          {"checked", checked},
          {"points", all}};
}

json VisitState(const Unfinished& visit) {
  json feet = json::array();
  for (const auto& [of, photos] : FeetOf(visit.said)) {
    const FootAndStage foot{of.first, of.second};
    const std::string key = FootKey(foot.foot, foot.stage);
    feet.push_back(FootSummary(key, foot, photos, FootSaid(visit.said, key)));
  }
  return {{"id", visit.id},
          {"revision", Number(visit.said, "revision")},
          {"horse", Text(visit.said, "horse")},
          {"yard", Text(visit.said, "yard")},
          {"date", Text(visit.said, "date")},
          {"photos", Part(visit.said, "photos", json::array())},
          {"feet", std::move(feet)}};
}

json QualityJson(const judge::PhotoQuality& quality) {
  json reasons = json::array();
  for (const judge::Reason& reason : quality.reasons) {
    reasons.push_back({{"code", reason.code},
                       {"quality", judge::GradeName(reason.grade)},
                       {"words", reason.words},
                       {"remedy", reason.remedy}});
  }
  return {{"quality", judge::GradeName(quality.grade)},
          {"reasons", std::move(reasons)}};
}

/// Where a photo most likely belongs: what its name says, what it shows, and
/// else the first place that has no photo yet.
casebook::PhotoPlace Proposed(const std::string& name,
                              const std::optional<View>& seen,
                              const json& said) {
  casebook::PhotoPlace place = casebook::ReadPlace(name);
  if (!place.view) place.view = seen;
  std::set<std::tuple<Foot, Stage, View>> taken;
  for (const Placed& photo : PlacedPhotos(said)) {
    taken.insert({photo.of.foot, photo.of.stage, photo.view});
  }
  const View view = place.view.value_or(View::kSolar);
  for (const Stage stage :
       {Stage::kBeforeTrim, Stage::kAfterTrim, Stage::kAfterShoeing}) {
    if (place.stage && *place.stage != stage) continue;
    for (const Foot foot : {Foot::kLeftFore,
                            Foot::kRightFore,
                            Foot::kLeftHind,
                            Foot::kRightHind}) {
      if (place.foot && *place.foot != foot) continue;
      if (taken.contains({foot, stage, view})) continue;
      return {foot, view, stage};
    }
  }
  return {place.foot.value_or(Foot::kLeftFore),
          view,
          place.stage.value_or(Stage::kBeforeTrim)};
}

/// The points of a request, as a points file writes them: to a hundredth of a
/// pixel, so that points.json gives the same numbers again.
Result<find::PointsFile> PointsFrom(const json& asked) {
  if (const auto it = asked.find("points");
      it != asked.end() && !it->is_object()) {
    return Usage("Points are missing.", "Load the page again.");
  }
  json points = Part(asked, "points", json::object());
  points["format"] = "plumbfoot-points";
  points["version"] = 1;
  auto read = find::ParsePoints(points.dump());
  if (!read) return read;
  return find::ParsePoints(find::WritePoints(*read));
}

Result<find::PointsFile> PointsSaid(const json& foot) {
  return PointsFrom(foot);
}

}  // namespace

Visits::Visits(casebook::Casebook casebook,
               const SiteOptions& options,
               report::Desk& desk)
    : casebook_(std::move(casebook)),
      options_(options),
      desk_(desk),
      figures_(judge::LoadFigures()) {}

json Visits::List() const {
  json list = json::array();
  for (const Unfinished& visit : casebook::ListUnfinished(casebook_).visits) {
    if (Text(visit.said, "format") != kFormat) continue;
    list.push_back(VisitState(visit));
  }
  return list;
}

Response Visits::Begin(const json& asked) {
  const auto day = casebook::ParseDay(Text(asked, "date"));
  if (!day) return Refused(day.error());
  const std::string horse = Text(asked, "horse");
  casebook::VisitToRecord visit;
  visit.horse = horse;
  visit.day = *day;
  const std::string yard = Text(asked, "yard");
  if (!yard.empty()) visit.yard = yard;
  visit.new_horse = Flag(asked, "new_horse");
  // Told now, and not when all has been done, that there are two of the name.
  if (const auto known = casebook::ChooseHorse(casebook_, visit); !known) {
    return Refused(known.error());
  }
  bool is_new = false;
  const auto begun = Of(horse, yard, visit.new_horse, *day, is_new);
  if (!begun) return Refused(begun.error());
  return Json(VisitState(*begun), is_new ? 201 : 200);
}

Result<Unfinished> Visits::Of(const std::string& horse,
                              const std::string& yard,
                              bool new_horse,
                              casebook::Day day,
                              bool& begun) {
  // Two phones that begin at once begin the same.
  const std::lock_guard<std::mutex> guard(beginning_);
  for (Unfinished& other : casebook::ListUnfinished(casebook_).visits) {
    if (Text(other.said, "format") == kFormat &&
        Text(other.said, "horse") == horse &&
        Text(other.said, "yard") == yard &&
        Text(other.said, "date") == casebook::DayText(day)) {
      return std::move(other);
    }
  }
  begun = true;
  return casebook::BeginUnfinished(
      casebook_,
      day,
      {{"format", kFormat},
       {"version", kVersion},
       {"revision", 1},
       {"horse", horse},
       {"yard", yard.empty() ? json() : json(yard)},
       {"new_horse", new_horse},
       {"date", casebook::DayText(day)},
       {"begun", options_.now()},
       {"photos", json::array()},
       {"feet", json::object()}});
}

Response Visits::Reopen(const casebook::Horse& horse,
                        casebook::Day day,
                        const casebook::FootRecord& record) {
  bool is_new = false;
  const auto visit = Of(horse.name, horse.yard, false, day, is_new);
  if (!visit) return Refused(visit.error());
  const std::string key = FootKey(record.foot, record.stage);
  const std::filesystem::path inside =
      std::filesystem::relative(record.folder, casebook_.folder);
  for (const auto& [view, photo] : record.photos) {
    auto bytes = casebook::ReadBelow(casebook_.folder, inside / photo.file);
    if (!bytes) return Refused(bytes.error());
    Response added = AddPhoto(visit->id, photo.original_name, *bytes);
    if (added.status != 201) return added;
  }
  // The points that a person gave, if any: the others are the program's again.
  json points = json::object();
  if (const auto given =
          casebook::ReadBelow(casebook_.folder, inside / "given.json")) {
    points = json::parse(*given, nullptr, false);
    if (!points.is_object()) points = json::object();
    points.erase("format");
    points.erase("version");
  }
  const auto said = casebook::ChangeUnfinished(
      casebook_, visit->id, [&](json& now) -> Result<Done> {
        for (json& photo : now["photos"]) {
          for (const auto& [view, recorded] : record.photos) {
            if (Text(photo, "id") != recorded.sha256) continue;
            photo["foot"] = geometry::FootName(record.foot);
            photo["stage"] = geometry::StageName(record.stage);
            photo["view"] = geometry::ViewName(view);
            photo["told"] = true;
          }
        }
        now["revision"] = Number(now, "revision") + 1;
        // What somebody has said of it already on the page stays.
        if (FootSaid(now, key).empty()) {
          now["feet"][key] = {{"revision", 1},
                              {"shod", record.summary.value("shod", false)},
                              {"points", points}};
        }
        return Done{};
      });
  if (!said) return Refused(said.error());
  return Json({{"visit", visit->id}, {"foot", key}}, 201);
}

Response Visits::Show(const std::string& id) const {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  return Json(VisitState(*visit));
}

Response Visits::AddPhoto(const std::string& id,
                          const std::string& name,
                          const std::string& bytes) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  if (bytes.empty()) {
    return Refused(Refusal{RefusalCode::kFileEmpty,
                           "The photo didn't come through: it is empty.",
                           "Send it again."});
  }
  const std::string sha256 = photo::Sha256(bytes);
  if (Part(visit->said, "photos", json::array()).size() >= kMostPhotos &&
      !IsThere(visit->said, sha256)) {
    return Refused(TooManyPhotos());
  }
  // On the disk before anything is said of it, or even looked at.
  const auto file = casebook::KeepUnfinishedPhoto(casebook_, id, name, bytes);
  if (!file) return Refused(file.error());
  const Turn turn(opening_);
  const auto read = report::OpenPhoto(visit->folder / *file, options_.scale);
  const bool misleads = !read && read.error().code != RefusalCode::kNotAPhoto &&
                        read.error().code != RefusalCode::kPhotoDamaged &&
                        read.error().code != RefusalCode::kPhotoTooLarge;
  if (!read && !misleads) {
    // No photo at all, so nothing is lost with it; one that was taken before is
    // only too large for the memory that is free just now.
    if (!IsThere(visit->said, sha256)) {
      std::error_code ignored;
      std::filesystem::remove(visit->folder / *file, ignored);
    }
    return Refused(read.error());
  }
  json entry = {{"id", sha256},
                {"file", *file},
                {"name", name.substr(0, kLongestName)},
                {"out", false},
                {"size", nullptr},
                {"taken", nullptr}};
  std::optional<View> seen;
  if (read) {
    const auto told = casebook::ReadPlace(name).view;
    const auto look =
        report::LookForFoot(*read, options_.scale, told, options_.finder);
    if (told || look.finding.foot_confidence > 0) seen = look.view;
    entry["check"] = QualityJson(
        report::QualityOf(*read, options_.scale, seen, look.finding));
    entry["size"] = {{"width", read->photo.rgb.cols},
                     {"height", read->photo.rgb.rows}};
    if (read->photo.exif.taken) entry["taken"] = *read->photo.exif.taken;
  } else {
    entry["check"] = {{"quality", "retake"},
                      {"reasons",
                       {{{"code", geometry::CodeName(read.error().code)},
                         {"quality", "retake"},
                         {"words", read.error().message},
                         {"remedy", read.error().remedy}}}}};
  }
  const auto said =
      casebook::ChangeUnfinished(casebook_, id, [&](json& now) -> Result<Done> {
        json photos = Part(now, "photos", json::array());
        for (json& photo : photos) {
          if (Text(photo, "id") != sha256) continue;
          // Sent twice, it is one; left out before, it is wanted again.
          photo["out"] = false;
          entry = photo;
          now["photos"] = photos;
          return Done{};
        }
        if (photos.size() >= kMostPhotos) {
          return TooManyPhotos();
        }
        const casebook::PhotoPlace place = Proposed(name, seen, now);
        const casebook::PhotoPlace told = casebook::ReadPlace(name);
        entry["foot"] = geometry::FootName(*place.foot);
        entry["view"] = geometry::ViewName(*place.view);
        entry["stage"] = geometry::StageName(*place.stage);
        entry["told"] = told.foot && told.view && told.stage;
        photos.push_back(entry);
        now["photos"] = photos;
        now["revision"] = Number(now, "revision") + 1;
        return Done{};
      });
  if (!said) return Refused(said.error());
  return Json(
      {{"photo", entry}, {"visit", VisitState({id, visit->folder, *said})}},
      201);
}

Response Visits::PlacePhoto(const std::string& id, const json& asked) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  std::optional<json> meanwhile;
  const auto said =
      casebook::ChangeUnfinished(casebook_, id, [&](json& now) -> Result<Done> {
        if (Number(asked, "revision") != Number(now, "revision")) {
          meanwhile = now;
          return Usage("changed meanwhile", "");
        }
        for (json& photo : now["photos"]) {
          if (Text(photo, "id") != Text(asked, "photo")) continue;
          if (asked.contains("out")) photo["out"] = Flag(asked, "out");
          if (asked.contains("foot")) {
            const auto foot = geometry::ParseFoot(Text(asked, "foot"));
            if (!foot) return foot.error();
            photo["foot"] = geometry::FootName(*foot);
          }
          if (asked.contains("stage")) {
            const auto stage = geometry::ParseStage(Text(asked, "stage"));
            if (!stage) return stage.error();
            photo["stage"] = geometry::StageName(*stage);
          }
          if (asked.contains("view")) {
            const auto view = ParseView(Text(asked, "view"));
            if (!view) return Usage("No such view.", "Choose sole or side.");
            photo["view"] = geometry::ViewName(*view);
          }
          photo["told"] = true;
          now["revision"] = Number(now, "revision") + 1;
          return Done{};
        }
        return Usage("There is no such photo.", "Load the page again.");
      });
  if (meanwhile) return Changed(VisitState({id, visit->folder, *meanwhile}));
  if (!said) return Refused(said.error());
  return Json(VisitState({id, visit->folder, *said}));
}

std::shared_ptr<Visits::Live> Visits::LiveFoot(const std::string& key) {
  const std::lock_guard<std::mutex> guard(lock_);
  auto it = std::find_if(live_.begin(), live_.end(), [&](const auto& one) {
    return one.first == key;
  });
  if (it == live_.end()) {
    live_.emplace_front(key, std::make_shared<Live>());
  } else {
    live_.splice(live_.begin(), live_, it);
  }
  while (live_.size() > kMostLive) live_.pop_back();
  std::size_t count = 0;
  for (auto& [name, live] : live_) {
    if (++count <= kMostPixels) continue;
    // One that is at work keeps its photos until it is next here.
    const std::unique_lock<std::mutex> busy(live->lock, std::try_to_lock);
    if (busy.owns_lock() && live->foot) live->foot->DropPixels();
  }
  return live_.front().second;
}

std::string Visits::LiveKey(const Unfinished& visit,
                            const std::string& key) const {
  // What a foot is opened from; its points are given anew each time.
  std::string name = visit.id + " " + key;
  const json foot = FootSaid(visit.said, key);
  name += Flag(foot, "shod") ? " shod" : " bare";
  for (const Placed& photo : PlacedPhotos(visit.said)) {
    if (FootKey(photo.of.foot, photo.of.stage) == key) {
      name += " " + std::string(geometry::ViewName(photo.view)) + photo.id;
    }
  }
  return name;
}

Result<Done> Visits::OpenLive(const Unfinished& visit,
                              const std::string& key,
                              Live& live) {
  if (live.foot) return Done{};
  const auto of = ParseFootKey(key);
  if (!of) return of.error();
  const auto feet = FeetOf(visit.said);
  const auto photos = feet.find({of->foot, of->stage});
  if (photos == feet.end()) {
    return Refusal{RefusalCode::kFileMissing,
                   "There is no photo of this foot any more.",
                   "Go back to the visit."};
  }
  report::FootRequest request;
  request.foot = of->foot;
  request.stage = of->stage;
  request.shod = Flag(FootSaid(visit.said, key), "shod");
  request.horse = Text(visit.said, "horse");
  request.date = Text(visit.said, "date");
  request.scale = options_.scale;
  for (const auto& [view, photo] : photos->second) {
    // A link in its place isn't followed.
    if (auto bytes = casebook::ReadBelow(visit.folder, photo.file); !bytes) {
      return bytes.error();
    }
    (view == View::kSolar ? request.solar : request.lateral) =
        visit.folder / photo.file;
  }
  auto opened = report::OpenedFoot::Open(std::move(request), options_.finder);
  if (!opened) return opened.error();
  live.foot = std::move(*opened);
  return Done{};
}

Result<json> Visits::FootState(const Unfinished& visit,
                               const std::string& key) {
  const auto of = ParseFootKey(key);
  if (!of) return of.error();
  const json foot = FootSaid(visit.said, key);
  const auto feet = FeetOf(visit.said);
  const auto photos = feet.find({of->foot, of->stage});
  if (photos == feet.end()) {
    return Refusal{RefusalCode::kFileMissing,
                   "There is no photo of this foot any more.",
                   "Go back to the visit."};
  }
  const auto points = PointsSaid(foot);
  if (!points) return points.error();
  json state = FootSummary(key, *of, photos->second, foot);
  state["visit"] = visit.id;
  state["horse"] = Text(visit.said, "horse");
  state["date"] = Text(visit.said, "date");
  state["given"] = json::parse(find::WritePoints(*points));
  state["sizes"] = json::object();
  state["checks"] = json::object();
  for (const json& photo : Part(visit.said, "photos", json::array())) {
    for (const auto& [view, placed] : photos->second) {
      if (placed.id != Text(photo, "id")) continue;
      const std::string name(geometry::ViewName(view));
      state["sizes"][name] = photo.value("size", json());
      state["checks"][name] = photo.value("check", json());
    }
  }
  const auto live = LiveFoot(LiveKey(visit, key));
  const std::lock_guard<std::mutex> guard(live->lock);
  if (auto opened = OpenLive(visit, key, *live); !opened) {
    return opened.error();
  }
  const auto report = live->foot->Measure(*points);
  state["report"] = nullptr;
  state["shown"] = json::array();
  state["refused"] = nullptr;
  if (report) {
    live->measured = true;
    state["report"] = report::ToJson(*report);
    state["shown"] = ShownMeasures(*report, figures_);
  } else if (report.error().code == RefusalCode::kNoFoot) {
    // A person places the points then.
    state["refused"] = {{"message", report.error().message},
                        {"remedy", report.error().remedy}};
  } else {
    return report.error();
  }
  return state;
}

Response Visits::ShowFoot(const std::string& id, const std::string& key) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  const auto state = FootState(*visit, key);
  if (!state) return Refused(state.error());
  return Json(*state);
}

Response Visits::Follow(const std::string& id,
                        const std::string& key,
                        const json& asked) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  if (!asked.contains("points")) {
    return Refused(Usage("Points are missing.", "Load the page again."));
  }
  const auto points = PointsFrom(asked);
  if (!points) return Refused(points.error());
  const auto live = LiveFoot(LiveKey(*visit, key));
  const std::lock_guard<std::mutex> guard(live->lock);
  if (auto opened = OpenLive(*visit, key, *live); !opened) {
    return Refused(opened.error());
  }
  if (!live->measured) {
    const auto said = PointsSaid(FootSaid(visit->said, key));
    if (!said) return Refused(said.error());
    live->measured = live->foot->Measure(*said).has_value();
  }
  const auto report = live->measured ? live->foot->Follow(*points)
                                     : live->foot->Measure(*points);
  if (!report) return Refused(report.error());
  live->measured = true;
  return Json({{"shown", ShownMeasures(*report, figures_)}});
}

Response Visits::KeepPoints(const std::string& id,
                            const std::string& key,
                            const json& asked) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  if (const auto of = ParseFootKey(key); !of) return Refused(of.error());
  if (!asked.contains("points")) {
    return Refused(Usage("Points are missing.", "Load the page again."));
  }
  const auto points = PointsFrom(asked);
  if (!points) return Refused(points.error());
  const auto feet = FeetOf(visit->said);
  // A point outside its photo is never kept.
  for (const json& photo : Part(visit->said, "photos", json::array())) {
    const auto placed = PlacedOf(photo);
    if (!placed || FootKey(placed->of.foot, placed->of.stage) != key) continue;
    const auto& of_view =
        placed->view == View::kSolar ? points->solar : points->lateral;
    const json size = Part(photo, "size", json::object());
    if (!of_view) continue;
    if (auto inside = find::CheckInside(
            *of_view, {Number(size, "width"), Number(size, "height")});
        !inside) {
      return Refused(inside.error());
    }
  }
  bool stale = false;
  const auto said =
      casebook::ChangeUnfinished(casebook_, id, [&](json& now) -> Result<Done> {
        json foot = FootSaid(now, key);
        if (Number(asked, "revision") != Number(foot, "revision")) {
          stale = true;
          return Usage("changed meanwhile", "");
        }
        json kept = json::parse(find::WritePoints(*points));
        kept.erase("format");
        kept.erase("version");
        foot["points"] = std::move(kept);
        foot["revision"] = Number(foot, "revision") + 1;
        if (asked.contains("shod")) foot["shod"] = Flag(asked, "shod");
        if (!now.contains("feet") || !now["feet"].is_object()) {
          now["feet"] = json::object();
        }
        now["feet"][key] = std::move(foot);
        return Done{};
      });
  if (stale) {
    const auto now = ReadOurs(casebook_, id);
    if (!now) return Refused(now.error());
    const auto state = FootState(*now, key);
    if (!state) return Refused(state.error());
    return Changed(*state);
  }
  if (!said) return Refused(said.error());
  const auto state = FootState({id, visit->folder, *said}, key);
  if (!state) return Refused(state.error());
  return Json(*state);
}

Response Visits::Photo(const std::string& id,
                       const std::string& photo,
                       int width) {
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  for (const json& one : Part(visit->said, "photos", json::array())) {
    const std::string file = Text(one, "file");
    if (Text(one, "id") != photo || !IsOurFile(file, photo)) continue;
    // A link in its place isn't followed.
    if (auto bytes = casebook::ReadBelow(visit->folder, file); !bytes) {
      return Refused(bytes.error());
    }
    const Turn turn(opening_);
    auto read = photo::LoadPhoto(visit->folder / file);
    if (!read) return Refused(read.error());
    cv::Mat rgb = read->rgb;
    if (width > 0 && width < rgb.cols) {
      const int height = static_cast<int>(
          std::lround(static_cast<double>(width) * rgb.rows / rgb.cols));
      cv::resize(rgb, rgb, {width, std::max(1, height)}, 0, 0, cv::INTER_AREA);
    }
    // CHOSEN: 85 shows no blocks, at half the size of 95.
    return Jpeg(photo::EncodeJpeg(rgb, 85));
  }
  return Refused(Refusal{RefusalCode::kFileMissing,
                         "There is no such photo.",
                         "Load the page again."});
}

Response Visits::Record(const std::string& id, const json& asked) {
  // One after the other: each takes all processors.
  const std::lock_guard<std::mutex> one(recording_);
  const auto visit = ReadOurs(casebook_, id);
  if (!visit) return Refused(visit.error());
  if (Number(asked, "revision") != Number(visit->said, "revision")) {
    return Changed(VisitState(*visit));
  }
  casebook::VisitToRecord record;
  record.horse = Text(visit->said, "horse");
  if (!Text(visit->said, "yard").empty()) {
    record.yard = Text(visit->said, "yard");
  }
  record.new_horse = Flag(visit->said, "new_horse");
  const auto day = casebook::ParseDay(Text(visit->said, "date"));
  if (!day) return Refused(day.error());
  record.day = *day;
  record.now = options_.now();
  report::JobOptions options;
  options.day = *day;
  options.scale = options_.scale;
  options.layout_sha256 = options_.layout_sha256;
  options.now = record.now;
  options.keep_retakes = Flag(asked, "keep");
  std::vector<report::FootPhotos> feet;
  for (const auto& [of, photos] : FeetOf(visit->said)) {
    report::FootPhotos foot;
    foot.foot = of.first;
    foot.stage = of.second;
    auto points =
        PointsSaid(FootSaid(visit->said, FootKey(of.first, of.second)));
    if (!points) return Refused(points.error());
    foot.points = std::move(*points);
    for (const auto& [view, photo] : photos) {
      if (auto bytes = casebook::ReadBelow(visit->folder, photo.file); !bytes) {
        return Refused(bytes.error());
      }
      foot.photos[view] = visit->folder / photo.file;
      foot.original_names[view] = photo.name;
    }
    // Points of a view whose photo was put elsewhere are nobody's.
    if (!photos.contains(View::kSolar)) foot.points.solar.reset();
    if (!photos.contains(View::kLateral)) foot.points.lateral.reset();
    feet.push_back(std::move(foot));
  }
  if (feet.empty()) {
    return Refused(
        Usage("There is nothing to record yet.", "Take the photos first."));
  }
  Result<report::VisitDone> done = Usage("", "");
  desk_.Hand([&] {
    done = report::RecordFeet(
        casebook_,
        record,
        feet,
        options,
        [&](const report::FootPhotos& foot, const casebook::FootRecord*) {
          return Flag(FootSaid(visit->said, FootKey(foot.foot, foot.stage)),
                      "shod") ||
                 foot.stage == Stage::kAfterShoeing;
        },
        report::FeetAtATime(),
        [](int, int) {});
  });
  if (!done) return Refused(done.error());
  report::KeepDue(casebook_, done->recorded.horse);
  // Gone only when every photo is in the casebook, byte for byte.
  std::set<std::string> kept;
  for (const casebook::Visit& day_of :
       casebook::ReadHistory(casebook_, done->recorded.horse).visits) {
    for (const auto* records : {&day_of.feet, &day_of.replaced}) {
      for (const casebook::FootRecord& foot : *records) {
        for (const auto& [view, photo] : foot.photos) kept.insert(photo.sha256);
      }
    }
  }
  const auto photos = PlacedPhotos(visit->said);
  const bool whole =
      std::all_of(photos.begin(), photos.end(), [&](const Placed& photo) {
        return kept.contains(photo.id);
      });
  if (whole) {
    if (auto removed = casebook::RemoveUnfinished(casebook_, id); !removed) {
      return Refused(removed.error());
    }
  }
  return Json({{"horse", done->recorded.horse.folder},
               {"date", casebook::DayText(*day)},
               {"recorded", done->recorded.added},
               {"recorded_already", done->recorded.known},
               {"retake", done->retake},
               {"place_by_hand", done->place},
               {"whole", whole}});
}

}  // namespace plumbfoot::serve
