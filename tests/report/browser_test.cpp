// SPDX-License-Identifier: Apache-2.0
//
// The owner's page as a browser has it. Outside references: Debian's Chromium,
// axe-core (Deque's rules for WCAG 2) and html-validate (WHATWG HTML), of the
// versions in browser/package.json, which .ci/install fetches; poppler counts
// the printed sheets. Where one of them is missing these tests fail.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <string>
#include <tuple>

#include "plumbfoot/report/owner_case.h"
#include "report/invented_owner.h"
#include "support/command.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::HasSubstr;
using testing::IsEmpty;

/// What the browser found, with "sheets" that it prints on.
json Look(const std::string& name, const std::string& html) {
  const fs::path folder = fs::path(testing::TempDir()) /
                          (std::to_string(getpid()) + "-browser-" + name);
  fs::create_directories(folder);
  const fs::path page = folder / "owner.html";
  std::ofstream(page, std::ios::binary) << html;
  const auto looked = tests::RunCommand(
      {"node", PLUMBFOOT_BROWSER "/look.js", page.string(), folder.string()});
  EXPECT_EQ(looked.status, 0) << looked.err;
  json found;
  if (std::ifstream file(folder / "found.json"); file) {
    found = json::parse(file);
  }
  const auto info =
      tests::RunCommand({"pdfinfo", (folder / "printed.pdf").string()});
  EXPECT_THAT(info.out, HasSubstr("(A4)"));
  const std::size_t at = info.out.find("Pages:");
  if (at != std::string::npos) {
    found["sheets"] = std::stoi(info.out.substr(at + 6));
  }
  found["folder"] = folder.string();
  return found;
}

/// What a test failed of stays, to be looked at.
void Tidy(const json& found) {
  const fs::path folder = found["folder"].get<std::string>();
  if (testing::Test::HasFailure()) {
    std::cerr << "Left to look at: " << folder << '\n';
  } else {
    fs::remove_all(folder);
  }
}

class BrowserTest
    : public testing::TestWithParam<std::tuple<const char*, int, bool>> {};

TEST_P(BrowserTest, ShowsTheOwnersPageToEverybody) {
  const auto [language, visits, wordy] = GetParam();
  const OwnerWords words = *OwnerWordsOf(language);
  const auto page = MakeOwnerPage(InventedOwnerCase(visits, wordy), words);
  ASSERT_TRUE(page) << page.error().message;
  ASSERT_EQ(page->plots.empty(), visits == 1);
  const json found = Look(
      std::string(language) + std::to_string(visits) + (wordy ? "wordy" : ""),
      OwnerHtml(*page, words));
  ASSERT_TRUE(found.contains("rules"));
  EXPECT_THAT(found["invalid"], IsEmpty()) << found["invalid"].dump(1);
  EXPECT_THAT(found["violations"], IsEmpty()) << found["violations"].dump(1);
  EXPECT_THAT(found["undecided"], IsEmpty()) << found["undecided"].dump(1);
  // axe-core 4.11 has some 60 rules for any page; far fewer would mean that it
  // didn't see ours.
  EXPECT_GE(found["rules"].get<int>(), 30);
  EXPECT_EQ(found["overflow"], 0);
  EXPECT_THAT(found["outside"], IsEmpty()) << found["outside"].dump(1);
  EXPECT_EQ(found["small"], 0);
  EXPECT_THAT(found["asked"], IsEmpty()) << found["asked"].dump(1);
  EXPECT_EQ(found["sheets"], visits == 1 ? 1 : 2);
  Tidy(found);
}

INSTANTIATE_TEST_SUITE_P(EveryLanguage,
                         BrowserTest,
                         testing::Values(std::tuple("en", 1, false),
                                         std::tuple("de", 1, true),
                                         std::tuple("en", 6, true),
                                         std::tuple("de", 20, true)),
                         [](const auto& of) {
                           return std::string(std::get<0>(of.param)) +
                                  std::to_string(std::get<1>(of.param));
                         });

// Do those who look see anything at all?
TEST(Browser, FindsWhatIsWrong) {
  const json found = Look("wrong",
                          "<!DOCTYPE html><html><head><title>x</title>"
                          "<link rel=\"stylesheet\" href=\"missing.css\">"
                          "<style>@page { size: A4; }</style></head><body>"
                          "<p style=\"width: 700px; color: #eee; "
                          "background: #fff; font-size: 9px\">faint</p>"
                          "<img src=\"data:,\"><p><div></p>"
                          "<div style=\"height: 500mm\"></div></body></html>");
  ASSERT_TRUE(found.contains("rules"));
  EXPECT_FALSE(found["invalid"].empty());
  const std::string violations = found["violations"].dump();
  EXPECT_THAT(violations, HasSubstr("color-contrast"));
  EXPECT_THAT(violations, HasSubstr("image-alt"));
  EXPECT_THAT(violations, HasSubstr("html-has-lang"));
  EXPECT_GE(found["overflow"].get<int>(), 300);
  EXPECT_FALSE(found["outside"].empty());
  EXPECT_EQ(found["small"], 1);
  EXPECT_THAT(found["asked"].dump(), HasSubstr("missing.css"));
  EXPECT_GE(found["sheets"].get<int>(), 2);
  Tidy(found);
}

}  // namespace
}  // namespace plumbfoot::report
