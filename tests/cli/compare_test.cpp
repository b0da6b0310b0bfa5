// SPDX-License-Identifier: Apache-2.0
// `plumbfoot compare` as a user runs it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>

#include "cli/yard.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;

CommandResult Compare(const fs::path& before,
                      const fs::path& after,
                      const fs::path& out,
                      const Words& more = {}) {
  Words words = {"compare", "--before", before, "--after", after, "--out", out};
  words.insert(words.end(), more.begin(), more.end());
  return Plumbfoot(std::move(words));
}

TEST(Compare, AFootWithItselfIsUnchangedAndDrawn) {
  const fs::path report = PairReport("same", {"--measured-mm", "149.4"});
  const fs::path out = FreshFolder("same-out");
  const auto result = Compare(report, report, out);
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_THAT(result.out, HasSubstr("No change that these photos can show"));
  const json comparison = ReadJson(out / "compare.json");
  EXPECT_EQ(comparison["format"], "plumbfoot-comparison");
  EXPECT_EQ(comparison["changed"], false);
  EXPECT_EQ(comparison["same_print"].size(), 2U);
  EXPECT_EQ(comparison["differences"].size(), 30U);
  const cv::Mat picture = cv::imread((out / "compare.png").string());
  ASSERT_FALSE(picture.empty());
  EXPECT_NEAR(picture.cols, 180 / 25.4 * 200, 2);  // As it says: 180 mm.
  EXPECT_THAT(ReadFile(out / "compare.svg"), HasSubstr("width=\"180mm\""));
  EXPECT_EQ(CountFiles(out), 3);
}

TEST(Compare, ASmallerPrintIsAChangeOfEveryLengthAndOfNoAngle) {
  // The same photos, said to show a card that is 5 % larger: lengths change,
  // angles and ratios don't, and nothing cancels.
  const fs::path before = PairReport("print1", {"--measured-mm", "150"});
  const fs::path after = PairReport("print2", {"--measured-mm", "157.5"});
  const fs::path out = FreshFolder("print-out");
  const auto result = Compare(before, after, out, {"--json"});
  ASSERT_EQ(result.status, 0) << result.err;
  const json comparison = json::parse(result.out);
  EXPECT_EQ(comparison["same_print"].size(), 0U);
  const json& differences = comparison["differences"];
  for (const char* length : {"bearing_width", "bearing_length"}) {
    EXPECT_EQ(differences[length]["verdict"], "changed") << length;
    EXPECT_NEAR(differences[length]["after"].get<double>() /
                    differences[length]["before"].get<double>(),
                1.05,
                0.002);
  }
  for (const char* other : {"toe_angle", "width_to_length", "heel_angle"}) {
    EXPECT_EQ(differences[other]["verdict"], "no_visible_change") << other;
  }
}

TEST(Compare, SaysWhatItCantCompare) {
  const fs::path lf = PairReport("lf", {"--horse", "Juno"});
  const fs::path other = PairReport("bella", {"--horse", "Bella"});
  const fs::path out = FreshFolder("refused-out") / "never";
  auto result = Compare(lf, other, out);
  EXPECT_EQ(result.status, 1);
  EXPECT_THAT(result.err, HasSubstr("Bella"));
  result = Compare(lf, FreshFolder("none") / "report.json", out);
  EXPECT_EQ(result.status, 2);
  WriteFile(FreshFolder("junk") / "report.json", "{}");
  result = Compare(lf, FreshFolder("junk2") / "report.json", out);
  EXPECT_EQ(result.status, 2);
  const fs::path junk = FreshFolder("junk3") / "report.json";
  WriteFile(junk, "{\"format\": \"plumbfoot-points\", \"version\": 1}");
  EXPECT_EQ(Compare(lf, junk, out).status, 2);
  WriteFile(junk, "not json");
  EXPECT_EQ(Compare(lf, junk, out).status, 2);
  EXPECT_EQ(Plumbfoot({"compare", "--before", lf}).status, 1);
  EXPECT_FALSE(fs::exists(out));
}

TEST(Compare, ComparesWhatBothHave) {
  const fs::path both = PairReport("both", {});
  const fs::path out_one = FreshFolder("one-view");
  MeasuredReport(out_one,
                 {"--lateral",
                  Yard::Get().lateral(),
                  "--points",
                  Yard::Get().points(),
                  "--shod"});
  const fs::path out = FreshFolder("one-out");
  const auto result = Compare(both, out_one / "report.json", out);
  ASSERT_TRUE(result.status == 0 || result.status == 3) << result.err;
  EXPECT_THAT(result.out, HasSubstr("no solar photo"));
  EXPECT_THAT(result.out, HasSubstr("shod"));
  // Toe, hairline, pastern and hoof-pastern angle don't run to the shoe.
  EXPECT_EQ(ReadJson(out / "compare.json")["compared"], 4);
}

}  // namespace
}  // namespace plumbfoot::tests
