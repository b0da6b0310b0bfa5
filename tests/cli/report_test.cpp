// SPDX-License-Identifier: Apache-2.0
// `plumbfoot report` as a user runs it: a visit is recorded, and its owner gets
// a page.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "cli/yard.h"
#include "support/command.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

class ReportCommandTest : public testing::Test {
 protected:
  ReportCommandTest()
      : folder_(FreshFolder(
            std::string("report-") +
            testing::UnitTest::GetInstance()->current_test_info()->name())),
        book_(folder_ / "book") {
    const Yard& yard = Yard::Get();
    for (const char* stage : {"before", "after"}) {
      const CommandResult visited = Plumb(
          {"visit",
           book_,
           Copy(yard.solar(), std::string("LF-solar-") + stage),
           Copy(yard.lateral(), std::string("LF-lateral-") + stage),
           "--points",
           std::string("LF-") + stage + "=" + fs::path(yard.points()).string(),
           "--horse",
           "Juno & <Co>",
           "--date",
           "2026-03-14",
           "--trimmed",
           "--vet",
           "Keep the \"heels\"."});
      EXPECT_TRUE(visited.status == 0 || visited.status == 3) << visited.err;
    }
  }
  ~ReportCommandTest() override { fs::remove_all(folder_); }

  std::string Copy(const std::string& photo, const std::string& name) {
    const fs::path path = folder_ / (name + ".jpg");
    fs::copy_file(photo, path);
    return path;
  }
  CommandResult Plumb(Words words) {
    words.insert(words.begin(), PLUMBFOOT_COMMAND);
    return RunCommand(
        words, {{"PLUMBFOOT_SETTINGS", (folder_ / "settings.json").string()}});
  }
  CommandResult Report(const Words& more, const std::string& date) {
    Words words = {"report",
                   book_,
                   "--horse",
                   "juno & <co>",
                   "--date",
                   date,
                   "--out",
                   folder_ / "out"};
    words.insert(words.end(), more.begin(), more.end());
    return Plumb(words);
  }

  fs::path folder_;
  fs::path book_;
};

TEST_F(ReportCommandTest, WritesThePageAndKeepsThePractice) {
  const CommandResult result = Report(
      {"--practice", "Hollin & Daughter", "--telephone", "01632 960 123"},
      "2026-03-14");
  ASSERT_EQ(result.status, 0) << result.err;
  const std::string html = ReadFile(folder_ / "out" / "owner.html");
  EXPECT_THAT(html, HasSubstr("Juno &amp; &lt;Co&gt;: feet on 14 March 2026"));
  EXPECT_THAT(html, HasSubstr("Hollin &amp; Daughter"));
  EXPECT_THAT(html, HasSubstr("Keep the &quot;heels&quot;."));
  // Twice the same photos: nothing can have changed.
  EXPECT_THAT(html, HasSubstr("no foot changed"));
  EXPECT_THAT(html, HasSubstr("25 April 2026"));  // Six weeks later.
  const auto info =
      RunCommand({"pdfinfo", (folder_ / "out" / "owner.pdf").string()});
  EXPECT_THAT(info.out, HasSubstr("(A4)"));
  // The next page has them without being told, in another language too.
  ASSERT_EQ(Report({"--language", "de"}, "2026-03-14").status, 0);
  const std::string german = ReadFile(folder_ / "out" / "owner.html");
  EXPECT_THAT(german, HasSubstr("lang=\"de\""));
  EXPECT_THAT(german, HasSubstr("die Hufe am 14. März 2026"));
  EXPECT_THAT(german, HasSubstr("01632 960 123"));
}

// Python's zipfile, a reader that knows nothing of libzip.
TEST_F(ReportCommandTest, PacksTheVisitForAVet) {
  ASSERT_EQ(Report({"--zip"}, "2026-03-14").status, 0);
  const std::string zip = folder_ / "out" / "visit.zip";
  EXPECT_EQ(RunCommand({"/usr/bin/python3", "-m", "zipfile", "-t", zip}).status,
            0);
  const auto list =
      RunCommand({"/usr/bin/python3", "-m", "zipfile", "-l", zip});
  for (const char* name : {"owner.html",
                           "owner.pdf",
                           "visit.json",
                           "LF-before_trim/solar.jpg",
                           "LF-after_trim/report.json",
                           "LF-after_trim/lateral-annotated.jpg"}) {
    EXPECT_THAT(list.out, HasSubstr(name));
  }
  const fs::path unpacked = folder_ / "unpacked";
  ASSERT_EQ(
      RunCommand(
          {"/usr/bin/python3", "-m", "zipfile", "-e", zip, unpacked.string()})
          .status,
      0);
  EXPECT_EQ(ReadFile(unpacked / "LF-before_trim" / "solar.jpg"),
            ReadFile(Yard::Get().solar()));
}

TEST_F(ReportCommandTest, SaysWhatIsThereWhenAskedForWhatIsNot) {
  CommandResult result = Report({}, "2026-03-15");
  EXPECT_EQ(result.status, 1);
  EXPECT_THAT(result.err, HasSubstr("Choose one of: 2026-03-14"));
  result = Report({"--language", "xx"}, "2026-03-14");
  EXPECT_EQ(result.status, 1);
  EXPECT_THAT(result.err, HasSubstr("en, de"));
  result =
      Report({"--words", (folder_ / "settings.json").string()}, "2026-03-14");
  EXPECT_EQ(result.status, 2);
  result = Plumb({"report",
                  book_,
                  "--horse",
                  "Nobody",
                  "--date",
                  "2026-03-14",
                  "--out",
                  folder_ / "out"});
  EXPECT_EQ(result.status, 2);
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

TEST_F(ReportCommandTest, WhatIsDamagedIsNamedAndLeftOut) {
  std::vector<fs::path> pictures;
  for (const auto& entry : fs::recursive_directory_iterator(book_)) {
    if (entry.path().filename() == "solar-annotated.jpg") {
      pictures.push_back(entry.path());
    }
  }
  ASSERT_EQ(pictures.size(), 2U);
  WriteFile(pictures[0], "no picture");
  CommandResult result = Report({}, "2026-03-14");
  EXPECT_EQ(result.status, 3);
  EXPECT_THAT(result.err, HasSubstr(pictures[0].filename().string()));
  EXPECT_TRUE(fs::exists(folder_ / "out" / "owner.html"));
  fs::remove_all(folder_ / "out");
  WriteFile(pictures[1], "no picture");
  result = Report({}, "2026-03-14");
  EXPECT_EQ(result.status, 2);
  EXPECT_THAT(result.err, HasSubstr("Nothing of the visit of 2026-03-14"));
  EXPECT_FALSE(fs::exists(folder_ / "out"));
}

}  // namespace
}  // namespace plumbfoot::tests
