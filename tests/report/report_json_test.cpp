// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/report_json.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <limits>
#include <map>
#include <set>

#include "report/sample_report.h"

namespace plumbfoot::report {
namespace {

using nlohmann::json;
using testing::HasSubstr;

/// The judgement of python3-jsonschema (Debian's), an implementation of its
/// own: one line a document, "valid" or "invalid".
std::vector<bool> JudgedByJsonschema(const std::vector<std::string>& texts) {
  const std::filesystem::path folder =
      std::filesystem::path(testing::TempDir()) /
      ("schema_" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  std::ofstream script(folder / "judge.py");
  script << "import json, sys, jsonschema\n"
            "schema = json.load(open(sys.argv[1]))\n"
            "jsonschema.Draft7Validator.check_schema(schema)\n"
            "judge = jsonschema.Draft7Validator(schema)\n"
            "for name in sys.argv[2:]:\n"
            "    valid = judge.is_valid(json.load(open(name)))\n"
            "    print('valid' if valid else 'invalid')\n";
  script.close();
  const std::filesystem::path out = folder / "out";
  std::string command = std::string(PLUMBFOOT_PYTHON) + " '" +
                        (folder / "judge.py").string() + "' '" +
                        PLUMBFOOT_SCHEMA + "'";
  for (std::size_t i = 0; i < texts.size(); ++i) {
    const std::filesystem::path file = folder / (std::to_string(i) + ".json");
    std::ofstream(file) << texts[i];
    command += " '" + file.string() + "'";
  }
  command += " > '" + out.string() + "'";
  // NOLINTNEXTLINE(cert-env33-c): a fixed command on files made here.
  EXPECT_EQ(std::system(command.c_str()), 0) << command;
  std::vector<bool> valid;
  std::ifstream lines(out);
  for (std::string line; std::getline(lines, line);) {
    valid.push_back(line == "valid");
  }
  std::filesystem::remove_all(folder);
  EXPECT_EQ(valid.size(), texts.size());
  return valid;
}

FootReport SolarOnly() {
  FootReport report = SampleReport();
  report.lateral.reset();
  Judge(report);
  return report;
}

TEST(ReportText, IsValidToTwoValidators) {
  std::vector<std::string> texts;
  for (const FootReport& report : {SampleReport(), BareReport(), SolarOnly()}) {
    EXPECT_TRUE(ValidateReport(ToJson(report)).has_value());
    texts.push_back(ReportText(report));
  }
  EXPECT_THAT(JudgedByJsonschema(texts), testing::Each(true));
}

/// Ways to spoil a valid report.
const std::map<std::string, std::function<void(json&)>>& Spoilers() {
  static const std::map<std::string, std::function<void(json&)>> spoilers = {
      {"another format", [](json& r) { r["format"] = "plumbfoot-points"; }},
      {"a later version", [](json& r) { r["version"] = 2; }},
      {"no foot", [](json& r) { r.erase("foot"); }},
      {"another foot", [](json& r) { r["foot"] = "NF"; }},
      {"an extra key", [](json& r) { r["note"] = "x"; }},
      {"an extra measure",
       [](json& r) { r["measures"]["x"] = r["measures"]["toe_angle"]; }},
      {"a measure left out",
       [](json& r) { r["measures"].erase("hairline_angle"); }},
      {"a wrong unit",
       [](json& r) { r["measures"]["toe_angle"]["unit"] = "mm"; }},
      {"an unknown unit",
       [](json& r) { r["measures"]["bearing_width"]["unit"] = "inch"; }},
      {"a value of null",
       [](json& r) { r["measures"]["toe_angle"]["value"] = nullptr; }},
      {"a value that is text",
       [](json& r) { r["measures"]["toe_angle"]["value"] = "51"; }},
      {"an uncertainty below zero",
       [](json& r) {
         r["measures"]["toe_angle"]["standard_uncertainty"] = -0.1;
       }},
      {"an interval of one end",
       [](json& r) { r["measures"]["toe_angle"]["interval95"] = {50}; }},
      {"measured and not measured",
       [](json& r) { r["measures"]["toe_angle"]["not_measured"] = "x"; }},
      {"no reason why not",
       [](json& r) {
         r["measures"]["toe_angle"] = {{"not_measured", ""}};
       }},
      {"placed by nobody",
       [](json& r) { r["points"]["solar"]["toe"]["placed_by"] = "nobody"; }},
      {"a point of three numbers",
       [](json& r) {
         r["points"]["solar"]["toe"]["px"] = {1, 2, 3};
       }},
      {"confidence above one",
       [](json& r) { r["points"]["solar"]["toe"]["confidence"] = 1.1; }},
      {"mm without covariance",
       [](json& r) { r["points"]["solar"]["toe"].erase("covariance_mm2"); }},
      {"a point left out",
       [](json& r) { r["points"]["lateral"].erase("toe_ground"); }},
      {"a point of the other view",
       [](json& r) {
         r["points"]["lateral"]["frog_apex"] = {{"hidden", true}};
       }},
      {"hidden: false",
       [](json& r) {
         r["points"]["solar"]["toe"] = {{"hidden", false}};
       }},
      {"a short sha256",
       [](json& r) { r["photos"]["solar"]["sha256"] = "abc"; }},
      {"a path for a file name",
       [](json& r) { r["photos"]["solar"]["file"] = "a/b.jpg"; }},
      {"no width", [](json& r) { r["photos"]["solar"]["size"]["width"] = 0; }},
      {"an unknown quality",
       [](json& r) { r["photos"]["solar"]["quality"] = "bad"; }},
      {"a third view",
       [](json& r) { r["photos"]["dorsal"] = r["photos"]["solar"]; }},
      {"no photo", [](json& r) { r["photos"] = json::object(); }},
      {"a date of another kind",
       [](json& r) { r["visit"]["date"] = "14.3.2026"; }},
      {"an unknown stage", [](json& r) { r["visit"]["stage"] = "later"; }},
      {"an observation without a source",
       [](json& r) { r["observations"][0]["citations"] = json::array(); }},
      {"an unknown relation",
       [](json& r) { r["observations"][0]["relation"] = "bad"; }},
      {"an observation of nothing",
       [](json& r) { r["observations"][0]["measure"] = "girth"; }},
      {"a caution without why", [](json& r) { r["cautions"][0].erase("why"); }},
  };
  return spoilers;
}

TEST(ValidateReport, RefusesWhatASecondValidatorRefuses) {
  const json good = ToJson(SampleReport());
  std::vector<std::string> texts = {good.dump()};
  for (const auto& [what, spoil] : Spoilers()) {
    SCOPED_TRACE(what);
    json bad = good;
    spoil(bad);
    ASSERT_NE(bad, good);
    const auto valid = ValidateReport(bad);
    ASSERT_FALSE(valid.has_value());
    EXPECT_EQ(valid.error().code, RefusalCode::kNotOurFormat);
    texts.push_back(bad.dump());
  }
  std::vector<bool> expected(texts.size(), false);
  expected.front() = true;
  EXPECT_EQ(JudgedByJsonschema(texts), expected);
}

// JSON has no NaN. A library that writes one writes null, which the second
// validator refuses.
TEST(ValidateReport, RefusesNumbersThatAreNotFinite) {
  std::vector<std::string> texts;
  for (const double bad : {std::numeric_limits<double>::quiet_NaN(),
                           std::numeric_limits<double>::infinity()}) {
    json report = ToJson(SampleReport());
    report["measures"]["toe_angle"]["interval95"][1] = bad;
    const auto valid = ValidateReport(report);
    ASSERT_FALSE(valid.has_value());
    EXPECT_THAT(valid.error().message,
                HasSubstr("/measures/toe_angle/interval95/1"));
    texts.push_back(report.dump());
  }
  EXPECT_THAT(JudgedByJsonschema(texts), testing::Each(false));
}

TEST(ValidateReport, NamesThePlaceThatIsWrong) {
  json report = ToJson(SampleReport());
  report["photos"]["solar"]["sha256"] = "abc";
  EXPECT_THAT(ValidateReport(report).error().message,
              testing::AllOf(HasSubstr("photos"), HasSubstr("sha256")));
}

TEST(ValidateReport, RefusesWhatIsNoReportAtAll) {
  for (const json& other : {json(), json::array(), json(3), json("x")}) {
    EXPECT_FALSE(ValidateReport(other).has_value()) << other;
  }
}

TEST(ReportText, TakesABadNumberForOurFault) {
  FootReport report = SampleReport();
  auto& outcome =
      report.solar->measures.outcomes[measure::MeasureId::kBearingWidth];
  outcome = measure::Measured{
      std::numeric_limits<double>::quiet_NaN(), 0.1, 0, 0, PlacedBy::kFinder};
  EXPECT_THROW((void)ReportText(report), std::logic_error);
  outcome = measure::Measured{80.0, -0.1, 79, 81, PlacedBy::kFinder};
  EXPECT_THROW((void)ReportText(report), std::logic_error);
}

// What the user named, in whatever bytes, never makes a report invalid.
TEST(ReportText, TakesAnyNameOfAHorseOrFile) {
  FootReport report = SampleReport();
  report.horse = "caf\xe9 \x01 \"x\" \\";
  report.solar->file = "f\xff\xfe.jpg";
  EXPECT_THAT(ReportText(report), HasSubstr("caf\xef\xbf\xbd"));
  for (const char* taken : {"", "yesterday", "2026:03:14 09:30:00", "    "}) {
    report.solar->taken = taken;
    EXPECT_TRUE(
        json::parse(ReportText(report))["photos"]["solar"]["taken"].is_null());
  }
  report.horse = "";
  EXPECT_TRUE(json::parse(ReportText(report)).at("horse").is_null());
}

TEST(ToJson, HasAllThirtyMeasuresEvenOfAViewWithoutAPhoto) {
  const json report = ToJson(SolarOnly());
  EXPECT_EQ(report.at("measures").size(), 30U);
  EXPECT_EQ(report["measures"]["toe_angle"],
            json({{"not_measured", "no lateral photo"}}));
  EXPECT_EQ(ToJson(BareReport())["measures"]["bearing_width"],
            json({{"not_measured", "no solar photo"}}));
  EXPECT_FALSE(report["photos"].contains("lateral"));
  EXPECT_FALSE(report["points"].contains("lateral"));
}

TEST(ToJson, RoundsToAMillionth) {
  const json report = ToJson(SampleReport());
  const json& area = report["measures"]["bearing_area"];
  EXPECT_EQ(area["value"], 13311.123457);
  EXPECT_EQ(area["unit"], "mm2");
  EXPECT_EQ(report["measures"]["toe_angle"],
            json({{"value", 51.25},
                  {"unit", "deg"},
                  {"standard_uncertainty", 0.41},
                  {"interval95", {50.4464, 52.0536}},
                  {"shared_uncertainty", 0.0},
                  {"placed_by", "finder"},
                  {"sure", true}}));
}

TEST(ToJson, SaysOfEachPointWhereItIsOrWhyNot) {
  const json report = ToJson(SampleReport());
  EXPECT_EQ(report["points"]["solar"]["heel_left"],
            json({{"px", {137.0, 200.5}},
                  {"mm", {19.571429, -3.25}},
                  {"covariance_mm2", {{0.09, 0.0}, {0.0, 0.09}}},
                  {"placed_by", "finder"},
                  {"confidence", 0.98},
                  {"sure", true}}));
  EXPECT_EQ(report["points"]["solar"]["outline"]["px"].size(), 20U);
  EXPECT_EQ(report["points"]["solar"]["outline"]["mm"].size(), 20U);
  const json bare = ToJson(BareReport())["points"]["lateral"];
  EXPECT_EQ(bare["pastern_lower"], json({{"hidden", true}}));
  EXPECT_TRUE(bare["pastern_upper"].contains("not_found"));
  EXPECT_TRUE(bare["dorsal_wall"].contains("not_found"));
  EXPECT_FALSE(bare["toe_ground"].contains("mm"));
  EXPECT_EQ(bare["heels_on"], "near");
}

TEST(ToJson, TellsPhotoCardAndVisit) {
  const json report = ToJson(SampleReport());
  EXPECT_EQ(report["foot"], "LF");
  EXPECT_EQ(report["visit"],
            json({{"date", "2026-03-14"}, {"stage", "before_trim"}}));
  const json& photo = report["photos"]["solar"];
  EXPECT_EQ(photo["size"], json({{"width", 4000}, {"height", 3000}}));
  EXPECT_EQ(photo["card"]["tags"], 5);
  EXPECT_EQ(photo["card"]["measured_mm"], 149.4);
  EXPECT_EQ(photo["quality"], "usable");
  EXPECT_EQ(photo["reasons"][0]["code"], "not_square");
  EXPECT_TRUE(ToJson(BareReport())["photos"]["lateral"]["card"].is_null());
}

TEST(ReportSchema, AsksForTheUnitOfEveryMeasure) {
  const json schema = json::parse(ReportSchema());
  const json& measures = schema["properties"]["measures"];
  EXPECT_EQ(measures["properties"].size(), measure::kMeasureCount);
  EXPECT_EQ(measures["required"].size(), measure::kMeasureCount);
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    const std::string key(info.key);
    ASSERT_TRUE(measures["properties"].contains(key)) << key;
    const json::json_pointer where(
        measures["properties"][key]["$ref"].get<std::string>().substr(1));
    EXPECT_EQ(schema[where]["oneOf"][0]["properties"]["unit"]["const"],
              measure::UnitName(info.unit))
        << key;
  }
}

/// Every object that lists its properties takes no others.
void ExpectClosed(const json& schema, const std::string& at) {
  if (!schema.is_structured()) return;
  if (schema.is_object() && schema.contains("properties") &&
      schema["properties"].is_object() && schema.contains("type")) {
    EXPECT_EQ(schema.value("additionalProperties", true), false) << at;
  }
  for (const auto& [key, value] : schema.items()) {
    std::string below = at;
    below.append("/").append(key);
    ExpectClosed(value, below);
  }
}

TEST(ReportSchema, TakesNoUnknownKeyAnywhere) {
  ExpectClosed(json::parse(ReportSchema()), "");
}

}  // namespace
}  // namespace plumbfoot::report
