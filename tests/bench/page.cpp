// SPDX-License-Identifier: Apache-2.0
// How the page holds when many drag points at once:
//   page_bench PHOTOS [--people 20] [--feet 20] [--seconds 60]
//              [--requests 10000]
// PHOTOS has solar.jpg and lateral.jpg of one foot. Each person sends as often
// as the page does, at most every 70 ms and one at a time. Prints how long the
// answers took. Then they go on without a pause until so many requests have
// been answered, and the memory is printed as these went by.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <chrono>
#include <filesystem>
#include <mutex>
#include <thread>
#include <vector>

#include "serve/serving.h"

namespace plumbfoot::serve {
namespace {

using nlohmann::json;
using Clock = std::chrono::steady_clock;
// As kFollowMs of src/serve/page/editor.js.
constexpr std::chrono::milliseconds kPause(70);

struct Foot {
  std::string path;
  double x = 0.0;
  double y = 0.0;
};

struct Tally {
  std::mutex lock;
  std::vector<double> ms;
  std::vector<std::pair<std::size_t, double>> memory;
  std::size_t count = 0;
  std::size_t failed = 0;
};

void Drag(const Serving& serving,
          const Foot& foot,
          int person,
          Clock::time_point until,
          std::size_t requests,
          Tally& tally) {
  const auto goes_on = [&] {
    if (Clock::now() < until) return true;
    const std::lock_guard<std::mutex> guard(tally.lock);
    return tally.count < requests;
  };
  for (int i = 0; goes_on(); ++i) {
    json points;
    points["solar"]["toe"] = {foot.x + person % 7, foot.y - i % 25};
    const auto began = Clock::now();
    const std::string answer =
        serving.PostJson(foot.path + "/follow", {{"points", points}});
    const std::chrono::duration<double, std::milli> took = Clock::now() - began;
    {
      const std::lock_guard<std::mutex> guard(tally.lock);
      if (began < until) tally.ms.push_back(took.count());
      ++tally.count;
      if (!answer.starts_with("HTTP/1.1 200")) ++tally.failed;
      if (tally.count % 1000 == 0) {
        tally.memory.emplace_back(tally.count, MemoryMb());
      }
    }
    if (began < until) std::this_thread::sleep_until(began + kPause);
  }
}

int Run(const std::string& photos,
        int people,
        int feet,
        int seconds,
        std::size_t requests) {
  const std::filesystem::path folder =
      std::filesystem::temp_directory_path() / "plumbfoot-page-bench";
  std::filesystem::remove_all(folder);
  const Serving serving(folder);
  std::vector<Foot> all;
  for (int i = 0; i < feet; ++i) {
    const std::string id =
        serving.BeginVisit("Horse " + std::to_string(i + 1), photos);
    Foot foot{"/api/visits/" + id + "/feet/LF-before_trim"};
    const json first = BodyOf(serving.Ask("GET " + foot.path + " HTTP/1.1"));
    const json& toe = first.at("report").at("points").at("solar").at("toe");
    foot.x = toe.at("px")[0];
    foot.y = toe.at("px")[1];
    all.push_back(foot);
  }
  Tally tally;
  const double before = MemoryMb();
  const auto until = Clock::now() + std::chrono::seconds(seconds);
  std::vector<std::thread> threads;
  for (int person = 0; person < people; ++person) {
    threads.emplace_back([&, person] {
      Drag(serving,
           all[static_cast<std::size_t>(person % feet)],
           person,
           until,
           requests,
           tally);
    });
  }
  for (std::thread& thread : threads) thread.join();
  std::sort(tally.ms.begin(), tally.ms.end());
  const auto at = [&](double part) {
    return tally.ms[static_cast<std::size_t>(
        part * static_cast<double>(tally.ms.size() - 1))];
  };
  fmt::print("{} people, {} feet, {} s: {} answers; {} of {} failed\n",
             people,
             feet,
             seconds,
             tally.ms.size(),
             tally.failed,
             tally.count);
  fmt::print(
      "half within {:.0f} ms, 95 % within {:.0f} ms, all within {:.0f} "
      "ms\n",
      at(0.5),
      at(0.95),
      at(1.0));
  fmt::print("memory: {:.0f} MB before", before);
  for (const auto& [count, mb] : tally.memory) {
    fmt::print(", {:.0f} MB after {}", mb, count);
  }
  fmt::print("\n");
  std::filesystem::remove_all(folder);
  return tally.failed == 0 ? 0 : 1;
}

}  // namespace
}  // namespace plumbfoot::serve

int main(int argc, char** argv) {
  CLI::App app("How the page holds when many drag points at once");
  std::string photos;
  int people = 20;
  int feet = 20;
  int seconds = 60;
  std::size_t requests = 10'000;
  app.add_option("PHOTOS", photos)->required();
  app.add_option("--people", people)->check(CLI::Range(1, 500));
  app.add_option("--feet", feet)->check(CLI::Range(1, 60));
  app.add_option("--seconds", seconds)->check(CLI::Range(1, 3600));
  app.add_option("--requests", requests)->check(CLI::Range(0, 10'000'000));
  CLI11_PARSE(app, argc, argv);
  try {
    return plumbfoot::serve::Run(photos, people, feet, seconds, requests);
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "page_bench: {}\n", trouble.what());
    return 1;
  }
}
