// SPDX-License-Identifier: Apache-2.0
// `plumbfoot fit` as a user runs it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "cli/yard.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;

CommandResult Fit(const fs::path& report,
                  const fs::path& out,
                  const Words& more = {}) {
  Words words = {"fit", "--report", report, "--out", out};
  words.insert(words.end(), more.begin(), more.end());
  return Plumbfoot(std::move(words));
}

TEST(Fit, WritesTheTemplateAndThePlan) {
  const fs::path report = PairReport("fit-report");
  const fs::path out = FreshFolder("fit-out");
  const fs::path sizes = FreshFolder("fit-sizes") / "sizes.csv";
  WriteFile(sizes, "size,width_mm,length_mm\nsmall,90,90\nlarge,160,160\n");
  const auto result = Fit(
      report, out, {"--toe-angle", "53", "--clips", "toe", "--sizes", sizes});
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_EQ(CountFiles(out), 9);
  const json foot = ReadJson(out / "fit.json")["feet"][0];
  EXPECT_EQ(foot["foot"], "LF");
  // The truth of the rendered foot, within what the photo shows of it.
  const json& truth = Yard::Get().truth();
  EXPECT_NEAR(
      foot["trim"]["target"]["now"].get<double>(),
      truth["toe_angle"].get<double>(),
      3 * foot["trim"]["target"]["now_standard_uncertainty"].get<double>());
  EXPECT_NEAR(foot["bar"]["by_rule"]["mm"].get<double>(),
              truth["bearing_length"].get<double>() +
                  truth["bearing_width"].get<double>(),
              8.0);
  EXPECT_THAT(ReadFile(out / "template.svg"), HasSubstr("id=\"shoe\""));
  EXPECT_THAT(ReadFile(out / "template.dxf"), HasSubstr("AC1009"));
  for (const char* name : {"template.pdf",
                           "template-letter.pdf",
                           "template-mirrored.pdf",
                           "template-mirrored-letter.pdf"}) {
    EXPECT_EQ(ReadFile(out / name).substr(0, 5), "%PDF-") << name;
  }
  // Twice the same.
  const fs::path again = FreshFolder("fit-again");
  Fit(report, again, {"--toe-angle", "53", "--clips", "toe", "--sizes", sizes});
  EXPECT_EQ(ReadFile(out / "fit.json"), ReadFile(again / "fit.json"));
}

TEST(Fit, TheWholeTrimIsProposedOnlyWhenAskedFor) {
  const fs::path report = PairReport("fit-whole-report");
  const double now = ReadJson(report)["measures"]["toe_angle"]["value"];
  const auto trim = [&](const Words& more) {
    const fs::path out = FreshFolder("fit-whole");
    Words words = {"--toe-angle", std::to_string(now + 4)};
    words.insert(words.end(), more.begin(), more.end());
    EXPECT_EQ(Fit(report, out, words).status, 0);
    return ReadJson(out / "fit.json")["feet"][0]["trim"];
  };
  const json usual = trim({});
  EXPECT_FALSE(usual["beyond_mean_trim"].get<bool>());
  EXPECT_LE(usual["toe_angle_changes_deg"].get<double>(), 1.36);
  const json whole = trim({"--whole-trim"});
  EXPECT_TRUE(whole["beyond_mean_trim"].get<bool>());
  EXPECT_NEAR(whole["toe_angle_changes_deg"].get<double>(), 4.0, 0.05);
  EXPECT_NEAR(whole["measures_after"]["toe_angle"]["value"].get<double>(),
              now + 4,
              0.05);
}

TEST(Fit, APairIsFittedTogether) {
  const fs::path report = PairReport("fit-left");
  json other = ReadJson(report);
  other["foot"] = "RF";
  const fs::path right = FreshFolder("fit-right") / "report.json";
  WriteFile(right, other.dump());
  const fs::path out = FreshFolder("fit-pair");
  const auto result = Fit(report, out, {"--other", right, "--match"});
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_EQ(ReadJson(out / "fit.json")["feet"].size(), 2U);
  EXPECT_TRUE(fs::exists(out / "template-other.pdf"));
  EXPECT_THAT(result.out, HasSubstr("The pair"));
  // Not a pair, and nothing is left behind.
  const fs::path none = FreshFolder("fit-none");
  const auto refused = Fit(report, none, {"--other", report});
  EXPECT_EQ(refused.status, 1);
  EXPECT_EQ(CountFiles(none), 0);
}

TEST(Fit, AnEdgePlacedByHandIsLaidOnTheFoot) {
  // The foot's own edge, as if it were a shoe's: no gap anywhere.
  const fs::path report = PairReport("fit-gap-report");
  const fs::path out = FreshFolder("fit-gap");
  const auto result = Fit(report,
                          out,
                          {"--shoe",
                           Yard::Get().solar(),
                           "--shoe-points",
                           Yard::Get().points(),
                           "--shoe-above",
                           "0"});
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_THAT(result.out, HasSubstr("The shoe on the foot"));
  const json shoe = ReadJson(out / "fit.json")["feet"][0]["loose_shoe"];
  EXPECT_EQ(shoe["placed_by"], "person");
  EXPECT_LT(shoe["rms_front_mm"].get<double>(), 0.1);
  EXPECT_LT(shoe["most_out_mm"].get<double>(), 0.5);
  EXPECT_LT(shoe["most_in_mm"].get<double>(), 0.5);
  EXPECT_NEAR(shoe["heel_left_mm"].get<double>(), 0.0, 1.0);
  EXPECT_TRUE(fs::exists(out / "shoe-on-foot.png"));
  EXPECT_TRUE(fs::exists(out / "shoe-on-foot.svg"));
  // The whole foot on the ground is no loose shoe.
  const fs::path none = FreshFolder("fit-gap-none");
  const auto refused = Fit(report, none, {"--shoe", Yard::Get().lateral()});
  EXPECT_EQ(refused.status, 2) << refused.out;
  EXPECT_EQ(CountFiles(none), 0);
}

TEST(Fit, RefusesInWordsThatOneCanActOn) {
  const fs::path report = PairReport("fit-good");
  const fs::path folder = FreshFolder("fit-bad");
  const auto refused = [&](const fs::path& file,
                           const Words& more,
                           int status,
                           std::string_view words) {
    const fs::path out = FreshFolder("fit-refused");
    const auto result = Fit(file, out, more);
    EXPECT_EQ(result.status, status) << result.err;
    EXPECT_THAT(result.err + result.out, HasSubstr(std::string(words)));
    EXPECT_EQ(CountFiles(out), 0);
  };
  refused(folder / "none.json", {}, 2, "There is no file");
  WriteFile(folder / "text.json", "hello");
  refused(folder / "text.json", {}, 2, "not valid JSON");
  WriteFile(folder / "other.json", "{}");
  refused(folder / "other.json", {}, 2, "not a Plumbfoot report");
  json shod = ReadJson(report);
  shod["shod"] = true;
  WriteFile(folder / "shod.json", shod.dump());
  refused(folder / "shod.json", {}, 2, "The foot is shod");
  json crossed = ReadJson(report);
  auto& outline = crossed["points"]["solar"]["outline"]["mm"];
  std::swap(outline[20], outline[outline.size() / 2]);
  WriteFile(folder / "crossed.json", crossed.dump());
  refused(folder / "crossed.json", {}, 2, "crosses itself");
  json heelless = ReadJson(report);
  heelless["points"]["solar"]["heel_left"] = {{"hidden", true}};
  WriteFile(folder / "heelless.json", heelless.dump());
  refused(folder / "heelless.json", {}, 2, "heel buttresses");
  refused(report, {"--web", "60"}, 2, "web is too wide");
  refused(report, {"--web", "nan"}, 1, "--web");
  refused(report, {"--web", "-3"}, 1, "--web");
  refused(report, {"--nails", "9"}, 1, "--nails");
  refused(report, {"--toe-angle", "52", "--align"}, 1, "--toe-angle");
  refused(report, {"--match"}, 1, "--other");
  refused(report, {"--sizes", folder / "none.csv"}, 2, "There is no file");
  WriteFile(folder / "bad.csv", "size,width_mm,length_mm\nA,wide,3\n");
  refused(report, {"--sizes", folder / "bad.csv"}, 2, "line 2");
}

}  // namespace
}  // namespace plumbfoot::tests
