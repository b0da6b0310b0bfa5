// SPDX-License-Identifier: Apache-2.0
//
// The page as a person uses it, in Debian's Chromium by playwright-core, with
// axe-core's rules (WCAG 2) on every view: browser/walk.js walks, here is what
// must have come of it. The numbers are held against those of the command.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "serve/page.h"
#include "support/command.h"

namespace plumbfoot::serve {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::HasSubstr;
using testing::IsEmpty;

/// What came of a walk. Its screenshots stay, to be looked at.
json Walk(const std::string& how, const fs::path& book) {
  const fs::path screens = fs::path(PLUMBFOOT_SCREENS) / how;
  fs::remove_all(screens);
  fs::create_directories(screens);
  const auto walked = tests::RunCommand(
      {"node",
       PLUMBFOOT_WALK,
       how,
       PLUMBFOOT_COMMAND,
       book.string(),
       Photos().string(),
       screens.string()},
      {{"PLUMBFOOT_SETTINGS", (book.parent_path() / "none.json").string()}});
  EXPECT_EQ(walked.status, 0) << walked.err;
  json found = json::parse(ReadFile(screens / "found.json"), nullptr, false);
  EXPECT_THAT(found["violations"], IsEmpty()) << found["violations"].dump(1);
  EXPECT_THAT(found["errors"], IsEmpty()) << found["errors"].dump(1);
  EXPECT_THAT(found["asked"], IsEmpty()) << found["asked"].dump(1);
  EXPECT_THAT(found["small"], IsEmpty()) << found["small"].dump(1);
  // axe-core 4.11 has some 60 rules for any page; far fewer would mean that it
  // didn't see ours.
  EXPECT_GE(found["rules"].get<int>(), 30);
  EXPECT_EQ(found["ended"], 0);
  return found;
}

/// The numbers of a report as the page shows them.
json NumbersOf(const json& report) {
  json numbers = json::object();
  for (const auto& [name, measure] : report["measures"].items()) {
    if (measure.contains("value")) numbers[name] = measure["value"];
  }
  return numbers;
}

TEST(Walk, ByFinger) {
  const fs::path folder = FreshFolder("touch");
  const json found = Walk("touch", folder / "book");
  EXPECT_EQ(found["locked"], 403);
  EXPECT_EQ(found["code_in_address"], false);
  EXPECT_EQ(
      found["proposed"],
      json({"LF", "solar", "before_trim", "LF", "lateral", "before_trim"}));
  EXPECT_NEAR(found["pinched"][0].get<double>(), 2.0, 0.1);
  EXPECT_NEAR(found["pinched"][1].get<double>(), 0.5, 0.1);
  EXPECT_THAT(found["first"].get<std::string>(), HasSubstr("sure"));
  // The numbers followed the finger, and are what they became then.
  ASSERT_EQ(found["steps"].size(), 2U);
  EXPECT_NE(found["steps"][0]["moving"]["bearing_length"],
            found["before"]["bearing_length"]);
  for (const json& step : found["steps"]) EXPECT_EQ(step["glass"], true);
  EXPECT_NE(found["after_drag"]["bearing_length"],
            found["before"]["bearing_length"]);
  EXPECT_NE(found["undone"], found["after_drag"]);
  EXPECT_EQ(found["redone"], found["after_drag"]);
  EXPECT_THAT(found["offline"].get<std::string>(), HasSubstr("Not kept"));
  EXPECT_EQ(found["found_again"], 1);
  // What `plumbfoot measure --points` says of the points that were kept.
  const Measured command = MeasurePair(
      fs::path(PLUMBFOOT_SCREENS) / "touch" / "points.json", folder);
  const json numbers = NumbersOf(json::parse(ReadFile(command.report)));
  EXPECT_EQ(found["after"], numbers);
  EXPECT_EQ(found["recorded"], numbers);
  EXPECT_EQ(found["after_words"], found["recorded_words"]);
  // As the command's table rounds them.
  const std::string width = found["after_words"]["bearing_width"];
  EXPECT_THAT(command.table, HasSubstr(width.substr(0, width.find(" mm"))));
}

TEST(Walk, ByKeysAlone) {
  const fs::path folder = FreshFolder("keys");
  const json found = Walk("keys", folder / "book");
  EXPECT_EQ(found["feet"], json({"Right fore"}));
  EXPECT_NE(found["after"], found["before"]);
  EXPECT_EQ(found["redone"], found["after"]);
  EXPECT_THAT(found["heard"].get<std::string>(), Not(IsEmpty()));
  EXPECT_THAT(found["next"].get<std::string>(), HasSubstr("Next:"));
  EXPECT_EQ(found["unchecked"], 0);
  EXPECT_THAT(found["conflict"].get<std::string>(),
              HasSubstr("Somebody else has changed"));
  EXPECT_FALSE(found["recorded"].empty());
}

TEST(Walk, OverEveryView) {
  const fs::path folder = FreshFolder("looks");
  WriteFile(folder / "day.csv",
            "photo,foot,view,stage\nsolar.jpg,LF,solar,before\n"
            "lateral.jpg,LF,lateral,before\n");
  // Two visits of one foot, so that there is a before and an after.
  for (const char* date : {"2026-01-31", "2026-03-14"}) {
    const auto recorded = tests::RunCommand(
        {PLUMBFOOT_COMMAND,
         "visit",
         (folder / "book").string(),
         (Photos() / "solar.jpg").string(),
         (Photos() / "lateral.jpg").string(),
         "--table",
         (folder / "day.csv").string(),
         "--points",
         "LF-before=" + (Photos() / "points.json").string(),
         "--horse",
         "Bramble",
         "--date",
         date,
         "--trimmed"},
        {{"PLUMBFOOT_SETTINGS", (folder / "none.json").string()}});
    ASSERT_TRUE(recorded.status == 0 || recorded.status == 3) << recorded.err;
  }
  const json found = Walk("looks", folder / "book");
  EXPECT_EQ(found["views"], 9);
}

}  // namespace
}  // namespace plumbfoot::serve
