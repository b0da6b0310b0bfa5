// SPDX-License-Identifier: Apache-2.0
//
// A visit on its way: photos, points, the casebook. The numbers are held
// against those of the command, run as a person would; the bombs against the
// limits of photo::Limits.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <map>

#include "plumbfoot/casebook/unfinished.h"
#include "plumbfoot/find/points_file.h"
#include "serve/page.h"
#include "support/command.h"

namespace plumbfoot::serve {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::HasSubstr;

constexpr const char* kFoot = "/feet/LF-before_trim";

/// report.json of the command, with these points.
json Command(const fs::path& folder, const json& points) {
  json file = points;
  file["format"] = "plumbfoot-points";
  file["version"] = 1;
  WriteFile(folder / "points.json", file.dump());
  return json::parse(
      ReadFile(MeasurePair(folder / "points.json", folder).report));
}

/// As a points file writes it: to a hundredth of a pixel.
json Hundredths(const json& place) {
  if (place.is_number()) {
    return std::round(place.get<double>() * 100) / 100;
  }
  json rounded = json::array();
  for (const json& part : place) rounded.push_back(Hundredths(part));
  return rounded;
}

/// All that the finder placed, as a person accepts it.
json AllOf(const json& report, double move_toe_px) {
  json given;
  for (const auto& [view, points] : report["points"].items()) {
    for (const auto& [name, point] : points.items()) {
      if (!point.is_object() || !point.contains("px")) continue;
      given[view][name] = Hundredths(
          point.contains("seen_px") ? point["seen_px"] : point["px"]);
    }
  }
  given["lateral"]["heels_on"] = "near";
  given["solar"]["toe"][1] =
      given["solar"]["toe"][1].get<double>() + move_toe_px;
  return given;
}

TEST(Visits, ShowTheCommandsNumbersToTheLastDigit) {
  const auto folder = FreshFolder("numbers");
  Page page(folder / "book");
  const std::string id = page.BeginWithPair();
  const std::string foot = "/api/visits/" + id + kFoot;
  const json first = page.Got(foot);
  ASSERT_TRUE(first["report"].is_object());
  EXPECT_EQ(first["report"]["measures"],
            Command(folder, json::object())["measures"]);

  // One point is a person's, the others the finder's.
  json points;
  points["solar"]["toe"] = first["report"]["points"]["solar"]["toe"]["px"];
  points["solar"]["toe"][0] = points["solar"]["toe"][0].get<double>() + 7.123;
  points["solar"]["toe"] = Hundredths(points["solar"]["toe"]);
  points["lateral"]["toe_hairline"] = nullptr;
  points["lateral"]["heels_on"] = "near";
  const json second =
      page.Posted(foot + "/points", {{"revision", 0}, {"points", points}});
  json report = Command(folder, points);
  EXPECT_EQ(second["report"]["measures"], report["measures"]);
  EXPECT_EQ(second["report"]["points"], report["points"]);
  EXPECT_NE(second["report"]["measures"], first["report"]["measures"]);

  // All of them are.
  points = AllOf(first["report"], -9.5);
  const json third =
      page.Posted(foot + "/points", {{"revision", 1}, {"points", points}});
  report = Command(folder, points);
  EXPECT_EQ(third["report"]["measures"], report["measures"]);
  for (const json& one : third["shown"]) {
    const json& measure = report["measures"][one["measure"].get<std::string>()];
    if (one["measured"] != true) continue;
    EXPECT_EQ(one["value"], measure["value"]);
  }
  // While a point moves, what it is now is what it would be if kept.
  json moved = points;
  moved["solar"]["toe"][1] = points["solar"]["toe"][1].get<double>() - 11;
  const json followed = page.Posted(foot + "/follow", {{"points", moved}});
  const json kept =
      page.Posted(foot + "/points", {{"revision", 2}, {"points", moved}});
  int compared = 0;
  for (const json& one : followed["shown"]) {
    if (one["view"] != "solar" || one["measured"] != true) continue;
    for (const json& other : kept["shown"]) {
      if (other["measure"] != one["measure"]) continue;
      EXPECT_NEAR(
          one["value"].get<double>(), other["value"].get<double>(), 1e-6)
          << one["measure"];
      ++compared;
    }
  }
  EXPECT_GE(compared, 14);
}

TEST(Visits, TellAPhotosPlaceFromItsNameOrFromWhatItShows) {
  Page page(FreshFolder("place"));
  const json visit = page.Posted(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}, 201);
  const std::string id = visit["id"];
  const auto upload = [&](const char* name, const char* file) {
    const Response answer = page.Upload(id, name, ReadFile(Photos() / file));
    EXPECT_EQ(answer.status, 201) << answer.body;
    return json::parse(answer.body)["photo"];
  };
  const json side = upload("IMG_0007.jpg", "lateral.jpg");
  EXPECT_EQ(side["view"], "lateral");
  EXPECT_EQ(side["told"], false);
  EXPECT_EQ(side["check"]["quality"], "good");
  const json sole = upload("near hind sole after.jpg", "solar.jpg");
  EXPECT_EQ(sole["foot"], "LH");
  EXPECT_EQ(sole["view"], "solar");
  EXPECT_EQ(sole["stage"], "after_trim");
  EXPECT_EQ(sole["told"], true);
  // Put where it belongs; sent again, it is one photo.
  const json now = page.Got("/api/visits/" + id);
  const json placed = page.Posted("/api/visits/" + id + "/place",
                                  {{"revision", now["revision"]},
                                   {"photo", side["id"]},
                                   {"foot", "LH"},
                                   {"stage", "after_trim"}});
  EXPECT_EQ(placed["feet"].size(), 1U);
  upload("IMG_0007 (1).jpg", "lateral.jpg");
  EXPECT_EQ(page.Got("/api/visits/" + id)["photos"].size(), 2U);
  // A change that rests on an old page is told.
  const json stale = page.Posted(
      "/api/visits/" + id + "/place",
      {{"revision", now["revision"]}, {"photo", side["id"]}, {"foot", "RF"}},
      409);
  EXPECT_EQ(stale["now"]["feet"][0]["foot"], "LH");
}

TEST(Visits, ArePutOnTheDiskBeforeTheyAreAnsweredFor) {
  const auto folder = FreshFolder("disk");
  std::string id;
  json before;
  {
    Page page(folder);
    id = page.BeginWithPair();
    const json foot = page.Got("/api/visits/" + id + kFoot);
    json points;
    points["solar"]["toe"] = foot["report"]["points"]["solar"]["toe"]["px"];
    before = page.Posted("/api/visits/" + id + kFoot + "/points",
                         {{"revision", 0}, {"points", points}});
    // Nothing of it is only in this program.
    const json said =
        json::parse(ReadFile(folder / "unfinished" / id / "visit.json"));
    EXPECT_EQ(said["feet"]["LF-before_trim"]["revision"], 1);
    for (const json& photo : said["photos"]) {
      EXPECT_TRUE(fs::exists(folder / "unfinished" / id /
                             photo["file"].get<std::string>()));
    }
  }
  Page again(folder);
  EXPECT_EQ(again.Got("/api/day")["unfinished"][0]["id"], id);
  const json after = again.Got("/api/visits/" + id + kFoot);
  EXPECT_EQ(after["given"], before["given"]);
  EXPECT_EQ(after["report"], before["report"]);
}

TEST(Visits, TellTheLaterOfTwoPeople) {
  Page page(FreshFolder("two"));
  const std::string id = page.BeginWithPair();
  const std::string path = "/api/visits/" + id + kFoot + "/points";
  json mine;
  mine["solar"]["toe"] = {500.0, 300.0};
  json theirs;
  theirs["solar"]["frog_apex"] = nullptr;
  page.Posted(path, {{"revision", 0}, {"points", mine}});
  const json told =
      page.Posted(path, {{"revision", 0}, {"points", theirs}}, 409);
  EXPECT_EQ(told["refused"]["code"], "changed_meanwhile");
  EXPECT_EQ(told["now"]["given"]["solar"]["toe"], json({500.0, 300.0}));
  EXPECT_FALSE(told["now"]["given"]["solar"].contains("frog_apex"));
  EXPECT_EQ(page.Got("/api/visits/" + id + kFoot)["given"],
            told["now"]["given"]);
}

TEST(Visits, GoIntoTheCasebookAsTheCommandPutsThem) {
  const auto folder = FreshFolder("recorded");
  Page page(folder / "book");
  const std::string id = page.BeginWithPair();
  const std::string foot = "/api/visits/" + id + kFoot;
  const auto book = casebook::OpenCasebook(folder / "book");
  ASSERT_TRUE(book);
  auto verified = casebook::VerifyCasebook(*book);
  EXPECT_EQ(verified.unfinished, 1);
  EXPECT_TRUE(verified.damage.empty());
  EXPECT_TRUE(casebook::ListHorses(*book).horses.empty());

  const json first = page.Got(foot);
  const json points = AllOf(first["report"], 3);
  const json kept =
      page.Posted(foot + "/points", {{"revision", 0}, {"points", points}});
  const json visit = page.Got("/api/visits/" + id);
  page.Posted("/api/visits/" + id + "/record",
              {{"revision", visit["revision"].get<int>() - 1}},
              409);
  const json done = page.Posted("/api/visits/" + id + "/record",
                                {{"revision", visit["revision"]}});
  EXPECT_EQ(done["whole"], true);
  EXPECT_EQ(done["recorded"], json({"LF-before_trim"}));
  EXPECT_FALSE(fs::exists(folder / "book" / "unfinished" / id));
  page.Got("/api/visits/" + id, 404);

  verified = casebook::VerifyCasebook(*book);
  EXPECT_EQ(verified.unfinished, 0);
  EXPECT_EQ(verified.records, 1);
  EXPECT_TRUE(verified.damage.empty());
  const json record = page.Got("/api/horses/bramble/2026-03-14/LF-before_trim");
  EXPECT_EQ(record["report"]["measures"], kept["report"]["measures"]);
  const fs::path home =
      folder / "book/horses/bramble/visits/2026-03-14/LF-before_trim";
  EXPECT_TRUE(ReadFile(home / "solar.jpg") == ReadFile(Photos() / "solar.jpg"));
  // What `plumbfoot visit` makes of the same photos and points is the same.
  json file = points;
  file["format"] = "plumbfoot-points";
  file["version"] = 1;
  WriteFile(folder / "LF-before.json", file.dump());
  fs::copy(Photos() / "solar.jpg", folder / "LF-solar-before.jpg");
  fs::copy(Photos() / "lateral.jpg", folder / "LF-lateral-before.jpg");
  const auto command = tests::RunCommand(
      {PLUMBFOOT_COMMAND,
       "visit",
       (folder / "other").string(),
       (folder / "LF-solar-before.jpg").string(),
       (folder / "LF-lateral-before.jpg").string(),
       (folder / "LF-before.json").string(),
       "--horse",
       "Bramble",
       "--date",
       "2026-03-14"},
      {{"PLUMBFOOT_SETTINGS", (folder / "none.json").string()}});
  EXPECT_TRUE(command.status == 0 || command.status == 3) << command.err;
  const fs::path other =
      folder / "other/horses/bramble/visits/2026-03-14/LF-before_trim";
  for (const char* name :
       {"report.json", "points.json", "given.json", "solar-annotated.jpg"}) {
    EXPECT_TRUE(ReadFile(home / name) == ReadFile(other / name)) << name;
  }
  EXPECT_TRUE(page.Get("/picture/bramble/2026-03-14/LF-before_trim/"
                       "solar-annotated.jpg")
                  .body == ReadFile(home / "solar-annotated.jpg"));
  EXPECT_THAT(page.Get("/owner/bramble/2026-03-14").body, HasSubstr("Bramble"));
  EXPECT_THAT(page.Get("/plot/bramble/LF-lateral").body, HasSubstr("<svg"));
  EXPECT_EQ(page.Get("/aligned/bramble/2026-03-14/LF-before_trim/solar").status,
            200);
}

TEST(Anvil, ShowsWhatTheCommandFits) {
  const auto folder = FreshFolder("anvil");
  Page page(folder / "book");
  const std::string id = page.BeginWithPair();
  const json first = page.Got("/api/visits/" + id + kFoot);
  page.Posted("/api/visits/" + id + kFoot + "/points",
              {{"revision", 0}, {"points", AllOf(first["report"], 0)}});
  const json visit = page.Got("/api/visits/" + id);
  page.Posted("/api/visits/" + id + "/record",
              {{"revision", visit["revision"]}});
  const std::string foot = "bramble/2026-03-14/LF-before_trim";
  const double now = page.Got("/api/horses/" +
                              foot)["report"]["measures"]["toe_angle"]["value"];
  const std::string angle = std::to_string(now + 1.0);
  const auto asked = [&](const std::string& path,
                         const std::map<std::string, std::string>& query) {
    Request request = page.MakeGet(path);
    request.query = query;
    return page.site().Answer(request);
  };
  const std::map<std::string, std::string> sliders = {
      {"web", "22"}, {"fullness", "3"}, {"toe_angle", angle}};
  const Response fit = asked("/api/horses/" + foot + "/fit", sliders);
  ASSERT_EQ(fit.status, 200) << fit.body;
  const json shown = json::parse(fit.body);
  const auto command = tests::RunCommand(
      {PLUMBFOOT_COMMAND,
       "fit",
       "--report",
       (folder / "book/horses/bramble/visits/2026-03-14/LF-before_trim" /
        "report.json")
           .string(),
       "--web",
       "22",
       "--fullness",
       "3",
       "--toe-angle",
       angle,
       "--out",
       (folder / "fit").string()},
      {{"PLUMBFOOT_SETTINGS", (folder / "none.json").string()}});
  EXPECT_TRUE(command.status == 0 || command.status == 3) << command.err;
  EXPECT_EQ(shown["fit"],
            json::parse(ReadFile(folder / "fit/fit.json"))["feet"][0]);
  for (const char* name :
       {"template.svg", "template.dxf", "template-mirrored.svg"}) {
    const Response file = asked("/shoe/" + foot + "/" + name, sliders);
    EXPECT_EQ(file.status, 200) << name;
    EXPECT_TRUE(file.body == ReadFile(folder / "fit" / name)) << name;
  }
  EXPECT_THAT(asked("/shoe/" + foot + "/template.pdf", sliders).body,
              testing::StartsWith("%PDF"));
  EXPECT_EQ(asked("/shoe/" + foot + "/report.json", sliders).status, 404);
  for (const char* nonsense : {"nan", "-1", "1e9", "22x", "inf"}) {
    EXPECT_EQ(asked("/api/horses/" + foot + "/fit", {{"web", nonsense}}).status,
              400)
        << nonsense;
  }
}

TEST(Visits, TakeARecordedFootOutAgain) {
  const auto folder = FreshFolder("again");
  Page page(folder / "book");
  std::string id = page.BeginWithPair();
  const json first = page.Got("/api/visits/" + id + kFoot);
  page.Posted("/api/visits/" + id + kFoot + "/points",
              {{"revision", 0}, {"points", AllOf(first["report"], 3)}});
  json visit = page.Got("/api/visits/" + id);
  page.Posted("/api/visits/" + id + "/record",
              {{"revision", visit["revision"]}});
  const std::string record = "/api/horses/bramble/2026-03-14/LF-before_trim";
  const json before = page.Got(record);
  const json out = page.Posted(record + "/again", json::object(), 201);
  id = out["visit"];
  const json foot = page.Got("/api/visits/" + id + kFoot);
  EXPECT_EQ(foot["report"]["measures"], before["report"]["measures"]);
  json points = foot["given"];
  points["solar"]["toe"][1] = points["solar"]["toe"][1].get<double>() + 8;
  page.Posted("/api/visits/" + id + kFoot + "/points",
              {{"revision", foot["revision"]}, {"points", points}});
  visit = page.Got("/api/visits/" + id);
  const json done = page.Posted("/api/visits/" + id + "/record",
                                {{"revision", visit["revision"]}});
  // A new take; the earlier one stays.
  EXPECT_EQ(done["recorded"], json({"LF-before_trim-2"}));
  EXPECT_EQ(done["whole"], true);
  EXPECT_NE(page.Got(record + "-2")["report"]["measures"],
            before["report"]["measures"]);
  EXPECT_EQ(page.Got(record)["report"], before["report"]);
}

TEST(Visits, TakeWhatAPhoneWrites) {
  const auto folder = FreshFolder("heic");
  Page page(folder / "book");
  const std::string id = page.Posted(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}, 201)["id"];
  // heif-enc (libheif's own) is the reference for the format.
  const auto made = tests::RunCommand({"heif-enc",
                                       "-q",
                                       "90",
                                       "-o",
                                       (folder / "IMG_1.HEIC").string(),
                                       (Photos() / "solar.jpg").string()});
  ASSERT_EQ(made.status, 0) << made.err;
  const Response answer =
      page.Upload(id, "IMG_1.HEIC", ReadFile(folder / "IMG_1.HEIC"));
  ASSERT_EQ(answer.status, 201) << answer.body;
  const json photo = json::parse(answer.body)["photo"];
  EXPECT_EQ(photo["view"], "solar");
  EXPECT_EQ(photo["size"], json({{"width", 1600}, {"height", 1200}}));
  // A browser gets what it can show.
  const Response shown =
      page.Get("/photo/" + id + "/" + photo["id"].get<std::string>());
  EXPECT_EQ(shown.type, "image/jpeg");
  EXPECT_TRUE(shown.body.starts_with("\xff\xd8"));
}

/// The chunk of a PNG (PNG, third edition, 5.3) without its CRC being right:
/// limits are told from the header, before anything is unpacked.
std::string PngOf(unsigned width, unsigned height) {
  const auto big = [](unsigned n) {
    return std::string{static_cast<char>(n >> 24U),
                       static_cast<char>(n >> 16U),
                       static_cast<char>(n >> 8U),
                       static_cast<char>(n)};
  };
  return std::string("\x89PNG\r\n\x1a\n", 8) + big(13) + "IHDR" + big(width) +
         big(height) + std::string("\x08\x02\0\0\0", 5) + big(0);
}

TEST(Visits, RefuseWhatIsNoPhoto) {
  const auto folder = FreshFolder("bombs");
  Page page(folder);
  const std::string id = page.Posted(
      "/api/visits", {{"horse", "Juno"}, {"date", "2026-03-14"}}, 201)["id"];
  const std::string photo = ReadFile(Photos() / "solar.jpg");
  for (const auto& [name, bytes] : std::map<std::string, std::string>{
           {"empty.jpg", ""},
           {"words.jpg", "not a photo"},
           {"zip bomb.jpg", "PK\x03\x04" + std::string(100'000, '\0')},
           {"page.html", "<!DOCTYPE html><script>alert(1)</script>"},
           {"picture.svg", "<svg xmlns='http://www.w3.org/2000/svg'/>"},
           {"half.jpg", photo.substr(0, photo.size() / 2)},
           {"wide.png", PngOf(60'000, 60'000)},
           {"../../../evil.jpg", "x"}}) {
    SCOPED_TRACE(name);
    const Response answer = page.Upload(id, name, bytes);
    EXPECT_EQ(answer.status, 422) << answer.body;
    EXPECT_FALSE(json::parse(answer.body)["refused"]["message"].empty());
    EXPECT_THAT(answer.body, testing::Not(HasSubstr(folder.string())));
  }
  // Nothing of them is left.
  int files = 0;
  for (const auto& entry :
       fs::recursive_directory_iterator(folder / "unfinished")) {
    files += entry.is_regular_file() ? 1 : 0;
  }
  EXPECT_EQ(files, 1);
  // A photo of a hostile name is kept under its hash.
  const Response answer = page.Upload(id, "../../../evil.sh", photo);
  EXPECT_EQ(answer.status, 201) << answer.body;
  EXPECT_FALSE(fs::exists(folder / "evil.sh"));
}

TEST(Visits, RefuseWhatThePageDoesntSend) {
  Page page(FreshFolder("nonsense"));
  const std::string id = page.BeginWithPair();
  const std::string foot = "/api/visits/" + id + kFoot + "/points";
  for (const std::string& body :
       {std::string(),
        std::string("[]"),
        std::string("{"),
        std::string("{\"points\":") + std::string(50'000, '['),
        std::string("\"text\""),
        std::string("{\"a\":1}\0{}", 10)}) {
    EXPECT_EQ(page.site().Answer(page.MakePost(foot, body)).status, 400)
        << body.substr(0, 40);
  }
  for (const json& points :
       std::vector<json>{{{"solar", {{"toe", {1e9, 2}}}}},
                         {{"solar", {{"toe", {-5, 2}}}}},
                         {{"solar", {{"toe", {1, 2, 3}}}}},
                         {{"solar", {{"toe", "here"}}}},
                         {{"solar", {{"no_such_point", {1, 2}}}}},
                         {{"solar", {{"outline", {{1, 2}, {3, 4}}}}}},
                         {{"dorsal", json::object()}}}) {
    const Response answer =
        page.Post(foot, {{"revision", 0}, {"points", points}});
    EXPECT_EQ(answer.status, 422) << points.dump();
  }
  EXPECT_EQ(page.Got("/api/visits/" + id + kFoot)["revision"], 0);
  for (const json& begin :
       std::vector<json>{json::object(),
                         {{"horse", ""}, {"date", "2026-03-14"}},
                         {{"horse", "Juno"}, {"date", "yesterday"}},
                         {{"horse", 7}, {"date", 7}}}) {
    EXPECT_EQ(page.Post("/api/visits", begin).status, 400) << begin.dump();
  }
  EXPECT_EQ(page.Get("/api/visits/" + id + "/feet/XX-before_trim").status, 404);
  EXPECT_EQ(page.Get("/api/visits/" + id + "/feet/RH-other").status, 404);
  // Larger than anything that the page sends.
  EXPECT_EQ(page.site()
                .Answer(page.MakePost(foot, std::string(2'000'000, ' ')))
                .status,
            413);
}

}  // namespace
}  // namespace plumbfoot::serve
