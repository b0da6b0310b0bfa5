// SPDX-License-Identifier: Apache-2.0
// The commands as a user runs them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>

#include "cli/yard.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;

/// Measures the yard's pair with all points given.
json MeasurePair(const fs::path& out, const Words& more = {}) {
  const Yard& yard = Yard::Get();
  Words words = {"--horse",
                 "Juno",
                 "--date",
                 "2026-03-14",
                 "--stage",
                 "after_trim",
                 "--solar",
                 yard.solar(),
                 "--lateral",
                 yard.lateral(),
                 "--points",
                 yard.points()};
  words.insert(words.end(), more.begin(), more.end());
  return MeasuredReport(out, words);
}

TEST(Measure, AgreesWithTheTruthOnEveryMeasure) {
  const fs::path out = FreshFolder("pair");
  const json report = MeasurePair(out);
  EXPECT_EQ(report["measures"].size(), 30U);
  for (const auto& [key, measured] : report["measures"].items()) {
    SCOPED_TRACE(key);
    ASSERT_TRUE(measured.contains("value")) << measured;
    const double truth = Yard::Get().truth().at(key).get<double>();
    const double value = measured["value"].get<double>();
    const double u = measured["standard_uncertainty"].get<double>();
    EXPECT_GT(u, 0.0);
    EXPECT_LT(std::abs(value - truth), 3 * u);
    EXPECT_LE(measured["interval95"][0].get<double>(), value);
    EXPECT_GE(measured["interval95"][1].get<double>(), value);
    EXPECT_EQ(measured["placed_by"], "person");
  }
  EXPECT_EQ(report["horse"], "Juno");
  EXPECT_EQ(report["visit"]["stage"], "after_trim");
}

TEST(Measure, WritesPicturesThatOpenAndAPointsFileThatRunsAgain) {
  const fs::path out = FreshFolder("again");
  const json first = MeasurePair(out);
  for (const char* name : {"solar-annotated.jpg", "lateral-annotated.jpg"}) {
    const cv::Mat picture = cv::imread((out / name).string());
    ASSERT_FALSE(picture.empty()) << name;
    EXPECT_GE(picture.cols, 1000);
  }
  EXPECT_EQ(CountFiles(out), 4);
  const fs::path second_out = FreshFolder("again2");
  const json second = MeasuredReport(second_out,
                                     {"--solar",
                                      Yard::Get().solar(),
                                      "--lateral",
                                      Yard::Get().lateral(),
                                      "--points",
                                      out / "points.json"});
  for (const auto& [key, measured] : first["measures"].items()) {
    // The points are written to a hundredth of a pixel.
    const double value = measured["value"].get<double>();
    EXPECT_NEAR(value,
                second["measures"][key]["value"].get<double>(),
                std::max(0.02, 1e-4 * std::abs(value)))
        << key;
  }
}

TEST(Measure, GivesTheSameReportTwice) {
  const fs::path one = FreshFolder("one");
  const fs::path two = FreshFolder("two");
  EXPECT_EQ(MeasurePair(one), MeasurePair(two));
  EXPECT_EQ(ReadFile(one / "report.json"), ReadFile(two / "report.json"));
}

TEST(Measure, TakesNearAndOffForLeftAndRight) {
  const fs::path out = FreshFolder("near");
  Words words = {"measure", "--foot", "NF", "--out", out};
  const Words solar = SolarWithPoints();
  words.insert(words.end(), solar.begin(), solar.end());
  const auto result = Plumbfoot(words);
  ASSERT_TRUE(result.status == 0 || result.status == 3) << result.err;
  EXPECT_EQ(ReadJson(out / "report.json")["foot"], "LF");
}

TEST(Measure, EitherPhotoAloneWorks) {
  for (const char* view : {"solar", "lateral"}) {
    SCOPED_TRACE(view);
    const fs::path out = FreshFolder("alone");
    const json report =
        MeasuredReport(out,
                       {std::string("--") + view,
                        Yard::Get().folder() / (std::string(view) + ".jpg"),
                        "--points",
                        Yard::Get().points()});
    EXPECT_EQ(report["foot"], "LF");
    EXPECT_EQ(report["measures"].size(), 30U);
    const bool solar = std::string(view) == "solar";
    EXPECT_EQ(report["measures"]["bearing_width"].contains("value"), solar);
    EXPECT_EQ(report["measures"]["toe_angle"].contains("value"), !solar);
  }
}

TEST(Measure, TheOriginalPhotoIsNotTouched) {
  const std::string before = ReadFile(Yard::Get().solar());
  MeasurePair(FreshFolder("untouched"));
  EXPECT_EQ(ReadFile(Yard::Get().solar()), before);
}

TEST(Measure, ReportPassesASecondValidator) {
  // python3-jsonschema (Debian), an implementation of JSON Schema that shares
  // nothing with the one that is compiled in.
  const fs::path out = FreshFolder("schema");
  MeasurePair(out);
  const std::string validate =
      "import json,sys,jsonschema\n"
      "jsonschema.Draft7Validator(json.load(open(sys.argv[1]))).validate("
      "json.load(open(sys.argv[2])))";
  const auto result = RunCommand({"/usr/bin/python3",
                                  "-c",
                                  validate,
                                  PLUMBFOOT_SCHEMA,
                                  out / "report.json"});
  EXPECT_EQ(result.status, 0) << result.err;
}

TEST(Measure, PrintsJsonWhenAsked) {
  const fs::path out = FreshFolder("json");
  Words words = SolarWithPoints();
  words.emplace_back("--json");
  const auto result = Measure(out, words);
  EXPECT_EQ(json::parse(result.out), ReadJson(out / "report.json"));
}

TEST(Measure, AKnownLengthGivesTheScale) {
  const json points = ReadJson(Yard::Get().points())["solar"];
  const auto at = [&](const char* name, int i) {
    return std::to_string(
        points[name][static_cast<std::size_t>(i)].get<double>());
  };
  const double length = Yard::Get().truth()["bearing_length"].get<double>();
  const std::string heel_x =
      std::to_string((points["heel_left"][0].get<double>() +
                      points["heel_right"][0].get<double>()) /
                     2);
  const std::string heel_y =
      std::to_string((points["heel_left"][1].get<double>() +
                      points["heel_right"][1].get<double>()) /
                     2);
  const fs::path out = FreshFolder("known");
  Words words = SolarWithPoints();
  words.insert(
      words.end(),
      {"--known-mm",
       std::to_string(length),
       "--known-points",
       heel_x + "," + heel_y + "," + at("toe", 0) + "," + at("toe", 1)});
  const json report = MeasuredReport(out, words);
  EXPECT_EQ(report["photos"]["solar"]["scale"], "known_length");
  const json& width = report["measures"]["bearing_width"];
  EXPECT_NEAR(width["value"].get<double>(),
              Yard::Get().truth()["bearing_width"].get<double>(),
              3 * width["standard_uncertainty"].get<double>());
}

TEST(Measure, ThePrintThatARulerMeasuredScalesEveryLength) {
  const fs::path plain = FreshFolder("print1");
  const fs::path shrunk = FreshFolder("print2");
  const json one = MeasurePair(plain);
  const json two = MeasurePair(shrunk, {"--measured-mm", "147"});
  const double ratio = two["measures"]["bearing_width"]["value"].get<double>() /
                       one["measures"]["bearing_width"]["value"].get<double>();
  EXPECT_NEAR(ratio, 147.0 / 150.0, 1e-3);
  EXPECT_NEAR(two["measures"]["toe_angle"]["value"].get<double>(),
              one["measures"]["toe_angle"]["value"].get<double>(),
              0.02);
}

TEST(Card, KeepsWhatTheRulerSaid) {
  const fs::path folder = FreshFolder("card");
  const fs::path settings = folder / "deep" / "settings.json";
  const std::vector<std::pair<std::string, std::string>> environment = {
      {"PLUMBFOOT_SETTINGS", settings.string()}};
  const auto result = RunCommand({PLUMBFOOT_COMMAND,
                                  "card",
                                  "--out",
                                  folder / "sheets",
                                  "--measured-mm",
                                  "149.4"},
                                 environment);
  ASSERT_EQ(result.status, 0) << result.err;
  EXPECT_EQ(ReadJson(settings)["card_measured_mm"], 149.4);
  EXPECT_EQ(CountFiles(folder / "sheets"), 4);
  const fs::path out = folder / "out";
  Words words = {PLUMBFOOT_COMMAND, "measure", "--foot", "LF", "--out", out};
  const Words solar = SolarWithPoints();
  words.insert(words.end(), solar.begin(), solar.end());
  const auto measured = RunCommand(words, environment);
  ASSERT_TRUE(measured.status == 0 || measured.status == 3) << measured.err;
  EXPECT_EQ(
      ReadJson(out / "report.json")["photos"]["solar"]["card"]["measured_mm"],
      149.4);
  const auto silly = RunCommand(
      {PLUMBFOOT_COMMAND, "card", "--measured-mm", "15"}, environment);
  EXPECT_EQ(silly.status, 2);
  EXPECT_EQ(ReadJson(settings)["card_measured_mm"], 149.4);
}

TEST(Check, AnswersForEveryPhotoInJson) {
  const auto result = Plumbfoot({"check",
                                 "--json",
                                 Yard::Get().solar(),
                                 "no-such.jpg",
                                 Yard::Get().lateral()});
  EXPECT_EQ(result.status, 2);
  const json answer = json::parse(result.out);
  ASSERT_EQ(answer["photos"].size(), 3U);
  EXPECT_EQ(answer["photos"][0]["card"]["tags"], 5);
  EXPECT_EQ(answer["photos"][1]["refused"]["code"], "file_missing");
  EXPECT_EQ(answer["photos"][2]["view"], "lateral");
}

TEST(Check, MakesALensProfileFromChessboards) {
  // OpenCV's own chessboard photos (Debian package opencv-doc), 9 x 6 inner
  // corners; 25 mm squares. Its published focal length: left_intrinsics.yml,
  // 535.92 px (an independent calibration gave 536.07).
  const auto listed = RunCommand({"dpkg", "-L", "opencv-doc"});
  Words photos;
  std::istringstream lines(listed.out);
  for (std::string line; std::getline(lines, line);) {
    if (line.find("/left") != std::string::npos &&
        line.find(".jpg") != std::string::npos &&
        line.find("left02") == std::string::npos) {
      photos.push_back(line);
    }
  }
  ASSERT_GE(photos.size(), 10U) << "is the package opencv-doc installed?";
  const fs::path folder = FreshFolder("lens");
  const fs::path settings = folder / "settings.json";
  Words words = {PLUMBFOOT_COMMAND, "check", "--lens", folder / "lens.json"};
  words.insert(words.end(), photos.begin(), photos.end());
  const auto result =
      RunCommand(words, {{"PLUMBFOOT_SETTINGS", settings.string()}});
  ASSERT_EQ(result.status, 0) << result.err;
  const json profile = ReadJson(folder / "lens.json");
  EXPECT_EQ(profile["format"], "plumbfoot-lens");
  EXPECT_EQ(ReadJson(settings)["lens_profile"],
            (folder / "lens.json").string());
}

TEST(Help, EveryCommandExplainsItself) {
  for (const char* command : {"card", "check", "measure", "visit", "history"}) {
    const auto result = Plumbfoot({command, "--help"});
    EXPECT_EQ(result.status, 0);
    EXPECT_THAT(result.out, HasSubstr("--"));
  }
  EXPECT_EQ(Plumbfoot({"--help"}).status, 0);
  EXPECT_EQ(Plumbfoot({"--version"}).status, 0);
}

}  // namespace
}  // namespace plumbfoot::tests
