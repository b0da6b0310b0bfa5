// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/foot_fit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <string>

#include "plumbfoot/report/report_json.h"
#include "report/measured_report.h"
#include "report/schema.h"
#include "report/text.h"
#include "support/command.h"

namespace plumbfoot::report {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

SavedReport SavedOf(const measure::Sole& sole = {},
                    const measure::Side& side = {}) {
  return ReadReport(ToJson(ReportOf(sole, side))).value();
}

FootFit FitOf(const FitOptions& options = {}) {
  return FitFoot(SavedOf(), options).value();
}

FitOptions ToeAngle(double degrees) {
  FitOptions options;
  options.trim.target = fit::Target{fit::TargetKind::kToeAngle, degrees};
  options.trim.trials = 50;
  return options;
}

bool HasCaution(const FootFit& fit, std::string_view code) {
  return std::any_of(fit.cautions.begin(),
                     fit.cautions.end(),
                     [code](const FitCaution& c) { return c.code == code; });
}

TEST(FootFit, TheShoeIsMadeForTheTrimmedFoot) {
  const FootFit bare = FitOf();
  FitOptions options = ToeAngle(55.0);
  options.trim.whole_at_once = true;
  const FootFit trimmed = FitOf(options);
  EXPECT_LT(trimmed.sole.length, bare.sole.length - 1.0);
  EXPECT_LT(trimmed.bar.by_rule_mm, bare.bar.by_rule_mm);
  // The plan's own words for it.
  const auto& after = std::get<measure::Measured>(
      trimmed.trim.after.at(measure::MeasureId::kToeAngle));
  EXPECT_NEAR(after.value, 55.0, 0.05);
  EXPECT_NEAR(trimmed.sole.length,
              std::get<measure::Measured>(
                  trimmed.trim.after.at(measure::MeasureId::kBearingLength))
                  .value,
              0.5);
}

TEST(FootFit, SaysWhatAPhotoCantShow) {
  const FootFit plain = FitOf();
  EXPECT_FALSE(HasCaution(plain, "sole_depth"));
  EXPECT_TRUE(HasCaution(plain, "person_decides"));
  const FootFit small = FitOf(ToeAngle(51.2));
  EXPECT_TRUE(HasCaution(small, "sole_depth"));
  EXPECT_TRUE(HasCaution(small, "within_uncertainty"));
  EXPECT_FALSE(HasCaution(small, "beyond_mean_trim"));
  const FootFit large = FitOf(ToeAngle(56));
  EXPECT_FALSE(HasCaution(large, "beyond_mean_trim"));
  EXPECT_GT(large.trim.visits, 1);
  FitOptions whole = ToeAngle(56);
  whole.trim.whole_at_once = true;
  EXPECT_TRUE(HasCaution(FitOf(whole), "beyond_mean_trim"));
  FitOptions higher;
  higher.trim.target = fit::Target{fit::TargetKind::kHeelHeight, 50.0};
  EXPECT_TRUE(HasCaution(FitOf(higher), "not_by_trimming"));
  FitOptions thin;
  thin.nails.wall_quarter_mm = 5;
  EXPECT_TRUE(HasCaution(FitOf(thin), "thin_wall"));
}

TEST(FootFit, TheFileKeepsToItsSchema) {
  for (const double angle : {48.0, 51.0, 55.0}) {
    FitOptions options = ToeAngle(angle);
    options.nails.clips = fit::Clips::kSide;
    options.sizes = {{"A", 130, 135, std::nullopt}};
    const PairFit pair{FitOf(options), FitOf()};
    const json whole = json::parse(FitText(pair));
    EXPECT_EQ(whole["feet"].size(), 2U);
    // A second validator (Debian's python3-jsonschema).
    const auto folder =
        std::filesystem::path(testing::TempDir()) / "fit_schema";
    std::filesystem::create_directories(folder);
    std::ofstream(folder / "fit.json") << whole.dump();
    std::ofstream(folder / "schema.json") << FitSchema();
    const auto result = tests::RunCommand(
        {PLUMBFOOT_PYTHON,
         "-c",
         "import json,sys,jsonschema;"
         "s=json.load(open(sys.argv[2]));"
         "jsonschema.Draft7Validator.check_schema(s);"
         "jsonschema.Draft7Validator(s).validate(json.load(open(sys.argv[1])))",
         folder / "fit.json",
         folder / "schema.json"});
    EXPECT_EQ(result.status, 0) << result.err;
  }
  json broken = ToJson(PairFit{FitOf(), std::nullopt});
  broken["feet"][0]["bar"]["weight_g"] = -1;
  EXPECT_FALSE(Validate(broken, FitSchema(), "fit").has_value());
}

TEST(FootFit, NumbersOfTheFileAreThoseOfTheFit) {
  const FootFit fit = FitOf();
  const json foot = ToJson(PairFit{fit, std::nullopt})["feet"][0];
  EXPECT_NEAR(foot["bar"]["by_rule"]["mm"].get<double>(),
              fit.sole.length + fit.sole.width,
              1e-6);
  EXPECT_NEAR(foot["bar"]["by_rule"]["inches"].get<double>() * 25.4,
              foot["bar"]["by_rule"]["mm"].get<double>(),
              3e-5);
  int nails = 0;
  for (const json& slot : foot["nails"]) nails += slot.contains("mm") ? 1 : 0;
  EXPECT_EQ(nails, fit.nails.placed());
  EXPECT_EQ(foot["outlines"]["shoe"].size(), fit.shoe.body.size());
}

TEST(FootFit, TheTableFitsATerminal) {
  FitOptions options = ToeAngle(56);
  options.nails.clips = fit::Clips::kToe;
  options.sizes = {{"\x1b[31mA very long name of a size indeed", 130, 135, {}}};
  const std::string table =
      FitTable(PairFit{FitOf(options), FitOf(options)}, false);
  std::istringstream lines(table);
  std::string line;
  while (std::getline(lines, line)) EXPECT_LE(Columns(line), 80) << line;
  EXPECT_THAT(table, Not(HasSubstr("\x1b")));
  EXPECT_THAT(table, HasSubstr("off this time"));
  EXPECT_THAT(table, HasSubstr("thick the sole is"));
}

TEST(FootFit, APairIsMatchedByHalvesOfTheDifference) {
  measure::Side steeper;
  steeper.toe_angle = 53;
  SavedReport other = SavedOf({}, steeper);
  other.foot = Foot::kRightFore;
  FitOptions options;
  options.trim.whole_at_once = true;
  options.trim.trials = 20;
  const PairFit pair = FitPair(SavedOf(), other, true, options).value();
  const auto after = [](const FootFit& fit) {
    return std::get<measure::Measured>(
               fit.trim.after.at(measure::MeasureId::kToeAngle))
        .value;
  };
  EXPECT_NEAR(after(pair.first), after(*pair.other), 0.02);
  EXPECT_GT(pair.first.trim.whole.toe_off_mm, 0.5);
  EXPECT_GT(pair.other->trim.whole.heel_off_mm, 0.5);
}

TEST(FootFit, RefusesWhatItCantFit) {
  const auto code = [](SavedReport report, const FitOptions& options = {}) {
    const auto fit = FitFoot(std::move(report), options);
    EXPECT_FALSE(fit.has_value());
    return fit ? RefusalCode::kUsage : fit.error().code;
  };
  SavedReport report = SavedOf();
  report.shod = true;
  EXPECT_EQ(code(report), RefusalCode::kImplausible);
  report = SavedOf();
  report.solar.reset();
  EXPECT_EQ(code(report), RefusalCode::kPointMissing);
  report = SavedOf();
  report.solar->outline.clear();  // No scale: no millimetres.
  EXPECT_EQ(code(report), RefusalCode::kPointMissing);
  report = SavedOf();
  report.lateral.reset();
  EXPECT_EQ(code(report, ToeAngle(52)), RefusalCode::kPointMissing);
  EXPECT_TRUE(FitFoot(report, {}).has_value());

  const auto pair_code = [](Foot foot, bool match) {
    SavedReport other = SavedOf();
    other.foot = foot;
    const auto pair = FitPair(SavedOf(), other, match, {});
    return pair ? std::optional<RefusalCode>() : pair.error().code;
  };
  EXPECT_EQ(pair_code(Foot::kLeftFore, false), RefusalCode::kUsage);
  EXPECT_EQ(pair_code(Foot::kRightHind, false), RefusalCode::kUsage);
  EXPECT_EQ(pair_code(Foot::kRightFore, false), std::nullopt);
  EXPECT_FALSE(FitPair(SavedOf(), std::nullopt, true, {}).has_value());
}

TEST(FootFit, TheShoeThatAFootWearsIsLaidOnTheBareFoot) {
  // A shoe 2 mm full at the widest part and 2 mm longer, as a shod sole shows
  // it; its heels are those of the foot, so that laid on its toe it leaves a
  // millimetre there.
  measure::Sole wider;
  wider.width += 4;
  wider.length += 2;
  SavedReport shod = SavedOf(wider);
  EXPECT_EQ(WornShoe(shod).error().code, RefusalCode::kUsage);
  shod.shod = true;
  FitOptions options;
  options.loose_shoe = WornShoe(shod).value();
  const FootFit fit = FitFoot(SavedOf(), options).value();
  ASSERT_TRUE(fit.gap.has_value());
  EXPECT_NEAR(fit.gap->most_out_mm, 2.0, 1.0);
  EXPECT_LT(fit.gap->most_in_mm, 1.3);
  const json foot = json::parse(FitText(PairFit{fit, std::nullopt}))["feet"][0];
  EXPECT_EQ(foot["loose_shoe"]["places"].size(), fit.gap->places.size());
  shod.solar->outline.clear();
  EXPECT_EQ(WornShoe(shod).error().code, RefusalCode::kPointMissing);
}

TEST(FootFit, APointThatIsUnsureAsksForAPerson) {
  SavedReport report = SavedOf();
  report.solar->unsure = {"heel left"};
  const FootFit fit = FitFoot(report, {}).value();
  EXPECT_TRUE(fit.needs_person);
  EXPECT_TRUE(HasCaution(fit, "unsure_points"));
  EXPECT_FALSE(FitOf().needs_person);
}

}  // namespace
}  // namespace plumbfoot::report
