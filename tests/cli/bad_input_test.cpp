// SPDX-License-Identifier: Apache-2.0
// Everything that can be wrong with what a user gives: a sentence, the right
// exit status, nothing half-written.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "cli/yard.h"

namespace plumbfoot::tests {
namespace {

using nlohmann::json;
using testing::HasSubstr;
using testing::Not;

/// Runs `measure` on a solar photo and looks that it was refused in words, with
/// `status`, and that nothing was written.
CommandResult ExpectRefused(const Words& words, int status) {
  const fs::path out = FreshFolder("refused") / "out";
  CommandResult result = Measure(out, words);
  EXPECT_EQ(result.status, status) << result.err;
  EXPECT_THAT(result.err, HasSubstr("plumbfoot: "));
  // A sentence, and what to do about it.
  EXPECT_GE(std::count(result.err.begin(), result.err.end(), '\n'), 2)
      << result.err;
  EXPECT_THAT(result.err, HasSubstr("."));
  EXPECT_THAT(result.err, Not(HasSubstr("fault in Plumbfoot")));
  EXPECT_EQ(CountFiles(out), 0) << "something was half-written";
  return result;
}

fs::path Beside(const std::string& name, const std::string& bytes) {
  fs::path path = FreshFolder("bad") / name;
  WriteFile(path, bytes);
  return path;
}

TEST(BadInput, MissingFile) {
  ExpectRefused({"--solar", "no-such-photo.jpg"}, 2);
}

TEST(BadInput, Folder) {
  ExpectRefused({"--solar", "."}, 2);
}

TEST(BadInput, TextNamedJpg) {
  ExpectRefused({"--solar", Beside("text.jpg", "This is a letter.\n")}, 2);
}

TEST(BadInput, EmptyFile) {
  ExpectRefused({"--solar", Beside("empty.jpg", "")}, 2);
}

TEST(BadInput, TruncatedJpeg) {
  const std::string whole = ReadFile(Yard::Get().solar());
  for (const double part : {0.02, 0.3, 0.7, 0.98}) {
    SCOPED_TRACE(part);
    const auto length =
        static_cast<std::size_t>(part * static_cast<double>(whole.size()));
    ExpectRefused({"--solar", Beside("cut.jpg", whole.substr(0, length))}, 2);
  }
}

TEST(BadInput, TruncatedHeic) {
  // heif-enc (libheif-examples) makes a whole one, which is read; half of it is
  // not.
  const fs::path folder = FreshFolder("heic");
  cv::Mat small;
  cv::resize(cv::imread(Yard::Get().solar().string()), small, {800, 600});
  cv::imwrite((folder / "small.png").string(), small);
  const auto made = RunCommand({"heif-enc",
                                (folder / "small.png").string(),
                                "-o",
                                (folder / "whole.heic").string()});
  ASSERT_EQ(made.status, 0) << made.err;
  const std::string whole = ReadFile(folder / "whole.heic");
  WriteFile(folder / "half.heic", whole.substr(0, whole.size() / 2));
  ExpectRefused({"--solar", folder / "half.heic"}, 2);
  EXPECT_EQ(Plumbfoot({"check", folder / "whole.heic"}).status % 3, 0);
}

std::uint32_t Crc(const std::string& bytes) {
  // ISO/IEC 15948 (PNG), annex D.
  std::uint32_t crc = 0xffffffffU;
  for (const char c : bytes) {
    crc ^= static_cast<unsigned char>(c);
    for (int k = 0; k < 8; ++k) {
      crc = (crc & 1U) != 0 ? 0xedb88320U ^ (crc >> 1U) : crc >> 1U;
    }
  }
  return ~crc;
}

std::string BigEndian(std::uint32_t value) {
  std::string bytes;
  for (int shift = 24; shift >= 0; shift -= 8) {
    bytes += static_cast<char>((value >> shift) & 0xffU);
  }
  return bytes;
}

std::string Chunk(const std::string& kind, const std::string& data) {
  return BigEndian(static_cast<std::uint32_t>(data.size())) + kind + data +
         BigEndian(Crc(kind + data));
}

TEST(BadInput, HugePng) {
  // 60 000 x 60 000 pixels in a file of some 70 bytes.
  const std::string header = BigEndian(60000) + BigEndian(60000) +
                             std::string("\x08\x02\x00\x00\x00", 5);
  const std::string png = "\x89PNG\r\n\x1a\n" + Chunk("IHDR", header) +
                          Chunk("IDAT", "x") + Chunk("IEND", "");
  const auto result = ExpectRefused({"--solar", Beside("huge.png", png)}, 2);
  EXPECT_THAT(result.err, HasSubstr("megapixel"));
}

std::string SolarWith(const cv::Mat& picture) {
  const fs::path path = FreshFolder("changed") / "solar.jpg";
  cv::imwrite(path.string(), picture);
  return path.string();
}

cv::Mat Solar() {
  return cv::imread(Yard::Get().solar().string());
}

TEST(BadInput, MirroredPhoto) {
  cv::Mat mirrored;
  cv::flip(Solar(), mirrored, 1);
  const auto result = ExpectRefused({"--solar", SolarWith(mirrored)}, 2);
  EXPECT_THAT(result.err, HasSubstr("mirror"));
}

TEST(BadInput, TwoCards) {
  cv::Mat two;
  cv::hconcat(Solar(), Solar(), two);
  const auto result = ExpectRefused({"--solar", SolarWith(two)}, 2);
  EXPECT_THAT(result.err, HasSubstr("card"));
}

TEST(BadInput, CardUpsideDownIsFine) {
  cv::Mat turned;
  cv::rotate(Solar(), turned, cv::ROTATE_180);
  const fs::path out = FreshFolder("turned") / "out";
  json points = ReadJson(Yard::Get().points());
  points.erase("lateral");
  for (auto& [name, value] : points["solar"].items()) {
    const auto turn = [&](json& point) {
      point[0] = turned.cols - point[0].get<double>();
      point[1] = turned.rows - point[1].get<double>();
    };
    if (name == "outline") {
      for (json& point : value) turn(point);
    } else if (value.is_array()) {
      turn(value);
    }
  }
  const json report = MeasuredReport(out,
                                     {"--solar",
                                      SolarWith(turned),
                                      "--points",
                                      Beside("points.json", points.dump())});
  EXPECT_NEAR(report["measures"]["bearing_width"]["value"].get<double>(),
              Yard::Get().truth()["bearing_width"].get<double>(),
              0.01 * Yard::Get().truth()["bearing_width"].get<double>());
}

TEST(BadInput, NoCardMeasuresRatiosAndAsksForARetake) {
  const cv::Mat grey(1200, 1600, CV_8UC3, cv::Scalar::all(120));
  const fs::path out = FreshFolder("nocard") / "out";
  json points = ReadJson(Yard::Get().points());
  points.erase("lateral");
  const auto result = Measure(out,
                              {"--solar",
                               SolarWith(grey),
                               "--points",
                               Beside("points.json", points.dump())});
  EXPECT_EQ(result.status, 3) << result.err;
  const json report = ReadJson(out / "report.json");
  EXPECT_EQ(report["photos"]["solar"]["quality"], "retake");
  EXPECT_TRUE(report["measures"]["bearing_width"].contains("not_measured"));
  EXPECT_TRUE(report["measures"]["width_to_length"].contains("value"));
}

TEST(BadInput, NoFootAtAll) {
  const cv::Mat grey(1200, 1600, CV_8UC3, cv::Scalar::all(120));
  ExpectRefused({"--solar", SolarWith(grey)}, 2);
}

Words WithPoints(const std::string& text) {
  return {"--solar",
          Yard::Get().solar().string(),
          "--points",
          Beside("points.json", text).string()};
}

TEST(BadInput, PointsFile) {
  const std::string head = R"({"format":"plumbfoot-points","version":1,)";
  const std::array<std::string, 9> bad = {
      "",
      "not json",
      R"({"format":"something-else","version":1})",
      R"({"format":"plumbfoot-points","version":99})",
      head + R"("solar":{"toe":[NaN,5]}})",
      head + R"("solar":{"toe":[1e999,5]}})",
      head + R"("solar":{"toe":["1",5]}})",
      head + R"("solar":{"tow":[1,5]}})",
      head + R"("solar":{"toe":[100000,5]}})",
  };
  for (const std::string& text : bad) {
    SCOPED_TRACE(text);
    ExpectRefused(WithPoints(text), 2);
  }
  ExpectRefused({"--solar", Yard::Get().solar(), "--points", "no-such.json"},
                2);
}

TEST(BadInput, PointOutsideThePhotoIsNamed) {
  const auto result =
      ExpectRefused(WithPoints(R"({"format":"plumbfoot-points","version":1,
                     "solar":{"frog_apex":[-3,5]}})"),
                    2);
  EXPECT_THAT(result.err, HasSubstr("frog_apex"));
}

TEST(BadInput, OutputCannotBeWritten) {
  // Permissions don't stop root, so: a folder below a file, and one in /proc.
  const fs::path file = Beside("file", "x");
  for (const fs::path& out : {file / "out", fs::path("/proc/plumbfoot")}) {
    SCOPED_TRACE(out);
    const auto result = Measure(out, SolarWithPoints());
    EXPECT_EQ(result.status, 4) << result.err;
    EXPECT_THAT(result.err, HasSubstr("plumbfoot: "));
  }
  EXPECT_EQ(ReadFile(file), "x");
}

TEST(BadInput, OutputFolderIsReadOnly) {
  const fs::path folder = FreshFolder("read-only");
  const fs::path out = folder / "out";
  fs::create_directory(out);
  WriteFile(out / "report.json", "old");
  // Whom permissions don't stop runs it as nobody, who may not be able to read
  // the build folder.
  const fs::path program = folder / "plumbfoot";
  fs::copy_file(PLUMBFOOT_COMMAND, program);
  fs::permissions(out,
                  fs::perms::owner_read | fs::perms::owner_exec |
                      fs::perms::others_read | fs::perms::others_exec);
  Words words;
  if (geteuid() == 0) {
    words = {"setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"};
  }
  words.insert(words.end(), {program, "measure", "--foot", "LF", "--out", out});
  const Words solar = SolarWithPoints();
  words.insert(words.end(), solar.begin(), solar.end());
  const auto result = RunCommand(
      words, {{"PLUMBFOOT_SETTINGS", (folder / "none.json").string()}});
  fs::permissions(out, fs::perms::owner_all);
  EXPECT_EQ(result.status, 4) << result.err;
  EXPECT_THAT(result.err, HasSubstr(out.string()));
  EXPECT_EQ(CountFiles(out), 1) << "something was half-written";
  EXPECT_EQ(ReadFile(out / "report.json"), "old");
}

TEST(BadInput, UsedWrongly) {
  const std::string solar = Yard::Get().solar().string();
  std::vector<Words> wrong = {
      {},
      {"measur"},
      {"measure"},
      {"measure", "--foot", "LF", "--out", "x"},
      {"measure", "--foot", "XX", "--solar", solar, "--out", "x"},
      {"check"},
      {"card"},
      {"check", "--board", "9x6", solar},
  };
  const std::vector<std::array<std::string, 2>> options = {
      {"--stage", "yesterday"},
      {"--date", "2026-02-30"},
      {"--known-mm", "130"},
  };
  for (const auto& [option, value] : options) {
    wrong.push_back({"measure",
                     "--foot",
                     "LF",
                     "--solar",
                     solar,
                     "--out",
                     "x",
                     option,
                     value});
  }
  for (const auto& words : wrong) {
    SCOPED_TRACE(testing::PrintToString(words));
    const auto result = Plumbfoot(words);
    EXPECT_EQ(result.status, 1) << result.out << result.err;
    EXPECT_NE(result.err, "");
  }
  EXPECT_FALSE(fs::exists("x"));
}

TEST(BadInput, SettingsAreDamaged) {
  const fs::path settings = Beside("settings.json", "{");
  const auto result =
      RunCommand({PLUMBFOOT_COMMAND, "check", Yard::Get().solar().string()},
                 {{"PLUMBFOOT_SETTINGS", settings.string()}});
  EXPECT_EQ(result.status, 2);
  EXPECT_THAT(result.err, HasSubstr(settings.string()));
  EXPECT_EQ(ReadFile(settings), "{");
}

}  // namespace
}  // namespace plumbfoot::tests
