// SPDX-License-Identifier: Apache-2.0
#include "cli/yard.h"

#include <gtest/gtest.h>

#include <fstream>
#include <sstream>
#include <utility>

namespace plumbfoot::tests {

using nlohmann::json;

fs::path FreshFolder(const std::string& name) {
  fs::path folder = fs::path(testing::TempDir()) /
                    ("plumbfoot-" + std::to_string(getpid()) + "-" + name);
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

const Yard& Yard::Get() {
  static const Yard yard;
  return yard;
}

Yard::Yard()
    : folder_(PLUMBFOOT_YARD), truth_(ReadJson(folder_ / "truth.json")) {}

CommandResult Plumbfoot(std::vector<std::string> words) {
  words.insert(words.begin(), PLUMBFOOT_COMMAND);
  const std::string settings =
      (Yard::Get().folder() / "no-settings.json").string();
  return RunCommand(words, {{"PLUMBFOOT_SETTINGS", settings}});
}

CommandResult Measure(const fs::path& out, const Words& more) {
  Words words = {"measure", "--foot", "LF"};
  words.insert(words.end(), more.begin(), more.end());
  words.insert(words.end(), {"--out", out.string()});
  return Plumbfoot(std::move(words));
}

json MeasuredReport(const fs::path& out, const Words& more) {
  const CommandResult result = Measure(out, more);
  EXPECT_TRUE(result.status == 0 || result.status == 3)
      << "status " << result.status << ": " << result.err;
  return ReadJson(out / "report.json");
}

Words SolarWithPoints() {
  return {"--solar", Yard::Get().solar(), "--points", Yard::Get().points()};
}

std::string ReadFile(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

void WriteFile(const fs::path& path, const std::string& bytes) {
  std::ofstream file(path, std::ios::binary);
  file << bytes;
}

json ReadJson(const fs::path& path) {
  return json::parse(ReadFile(path));
}

int CountFiles(const fs::path& folder) {
  if (!fs::exists(folder)) return 0;
  int count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_directory()) ++count;
  }
  return count;
}

fs::path PairReport(const std::string& name, const Words& more) {
  const fs::path out = FreshFolder(name);
  Words words = {"--solar",
                 Yard::Get().solar(),
                 "--lateral",
                 Yard::Get().lateral(),
                 "--points",
                 Yard::Get().points()};
  words.insert(words.end(), more.begin(), more.end());
  MeasuredReport(out, words);
  return out / "report.json";
}

}  // namespace plumbfoot::tests
