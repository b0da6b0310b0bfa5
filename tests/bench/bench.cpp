// SPDX-License-Identifier: Apache-2.0
// What each step of measuring a pair of photos takes, beside decoding the two
// JPEGs alone. `run`, beside this file, makes the photos and calls this.
#include <benchmark/benchmark.h>
#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "find/network.h"
#include "plumbfoot/card/find_card.h"
#include "plumbfoot/draw/annotate.h"
#include "plumbfoot/draw/canvas.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/plane_image.h"
#include "plumbfoot/measure/measure.h"
#include "plumbfoot/photo/encode_jpeg.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/report_json.h"
#include "table.h"
#include "whole_command.h"

namespace plumbfoot::bench {
namespace {

namespace fs = std::filesystem;
using geometry::View;

constexpr std::array kViews = {View::kSolar, View::kLateral};

struct Places {
  fs::path photos;   ///< A folder with solar.jpg and lateral.jpg.
  fs::path command;  ///< The plumbfoot command.
  fs::path out;      ///< A folder to write into.

  fs::path PhotoOf(View view) const {
    return photos / (std::string(geometry::ViewName(view)) + ".jpg");
  }
};

/// One photo, and what each step makes of it for the next.
struct Stages {
  View view = View::kSolar;
  fs::path path;
  std::vector<std::uint8_t> jpeg;
  photo::Photo photo;
  card::CardOptions options;
  card::SeenCard card;
  find::Finding finding;
  measure::ViewMeasures measures;

  find::FindRequest Request() const {
    return {.view = view,
            .photo = photo,
            .plane = card.plane,
            .card = &card,
            .layout = &options.layout};
  }
};

template <typename T>
T Taken(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().message);
  return std::move(result).value();
}

Stages Prepare(View view, const fs::path& path, const find::Finder& finder) {
  Stages s;
  s.view = view;
  s.path = path;
  std::ifstream file(path, std::ios::binary);
  s.jpeg.assign(std::istreambuf_iterator<char>(file), {});
  s.photo = Taken(photo::LoadPhoto(path));
  s.options.camera.focal_px = photo::FocalPx(s.photo);
  s.card = Taken(card::FindCard(s.photo.rgb, s.options));
  s.finding = Taken(find::FindPoints(s.Request(), finder));
  s.measures = measure::MeasureView(s.finding.points, s.card.plane);
  return s;
}

/// Both photos, prepared when the first step is measured and not before: the
/// command has to be run while this program is small.
class Pair {
 public:
  explicit Pair(Places places) : places_(std::move(places)) {}
  const std::vector<Stages>& Get() {
    if (stages_.empty()) {
      for (const View view : kViews) {
        stages_.push_back(Prepare(view, places_.PhotoOf(view), finder_));
      }
    }
    return stages_;
  }
  /// Loaded once, as in the command.
  const find::Finder& Finder() const { return finder_; }

 private:
  Places places_;
  find::Finder finder_ = find::NetworkFinder();
  std::vector<Stages> stages_;
};

/// Measures `step` of both photos, one after the other.
template <typename Step>
void AddStep(const std::string& name,
             const std::shared_ptr<Pair>& pair,
             Step step) {
  benchmark::RegisterBenchmark(name.c_str(),
                               [pair, step](benchmark::State& state) {
                                 const std::vector<Stages>* stages = nullptr;
                                 try {
                                   stages = &pair->Get();
                                 } catch (const std::runtime_error& trouble) {
                                   state.SkipWithError(trouble.what());
                                   return;
                                 }
                                 for (auto _ : state) {
                                   for (const Stages& s : *stages) {
                                     auto made = step(s);
                                     benchmark::DoNotOptimize(made);
                                   }
                                 }
                               })
      ->Unit(benchmark::kMillisecond)
      ->MeasureProcessCPUTime()
      ->UseRealTime();
}

/// Seconds that all threads of this program have computed.
double CpuSeconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) +
         static_cast<double>(now.tv_nsec) * 1e-9;
}

double WallSeconds() {
  return std::chrono::duration<double>(
             std::chrono::steady_clock::now().time_since_epoch())
      .count();
}

/// Measures what the finder's network takes while the points are found: all
/// pictures that it is asked about.
void AddNetwork(const std::string& name, const std::shared_ptr<Pair>& pair) {
  benchmark::RegisterBenchmark(
      name.c_str(),
      [pair](benchmark::State& state) {
        double wall_s = 0.0;
        double cpu_s = 0.0;
        const auto timed =
            [&](View view, const find::PlaneImage& image, find::Looks looks) {
              const double wall = WallSeconds();
              const double cpu = CpuSeconds();
              auto seen = pair->Finder()(view, image, looks);
              wall_s += WallSeconds() - wall;
              cpu_s += CpuSeconds() - cpu;
              return seen;
            };
        double all_cpu_s = 0.0;
        double runs = 0.0;
        for (auto _ : state) {
          wall_s = 0.0;
          cpu_s = 0.0;
          for (const Stages& s : pair->Get()) {
            auto made = find::FindPoints(s.Request(), timed);
            benchmark::DoNotOptimize(made);
          }
          state.SetIterationTime(wall_s);
          all_cpu_s += cpu_s;
          runs += 1.0;
        }
        state.counters[kCpu] = 1e3 * all_cpu_s / runs;
      })
      ->Unit(benchmark::kMillisecond)
      ->UseManualTime();
}

/// The words of the main job, after the command's name.
std::vector<std::string> MeasureWords(const Places& places) {
  return {"measure",
          "--foot",
          "LF",
          "--solar",
          places.PhotoOf(View::kSolar).string(),
          "--lateral",
          places.PhotoOf(View::kLateral).string(),
          "--out",
          (places.out / "LF").string()};
}

double Median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values.at(values.size() / 2);
}

/// Measures the command as a process of its own: the median of several runs,
/// for the first ones also wait for memory that the system has to find.
/// @param first Settings of a run that comes before and isn't measured, if any.
/// @param settings For the runs that are.
void AddCommand(const std::string& name,
                const Places& places,
                std::vector<std::string> words,
                const std::vector<std::string>& first = {},
                const std::vector<std::string>& settings = {}) {
  words.insert(words.begin(), places.command.string());
  benchmark::RegisterBenchmark(
      name.c_str(),
      [words, first, settings](benchmark::State& state) {
        // 3: done, but a person should look at something.
        const auto done = [](const CommandCost& cost) {
          return cost.exit_status == 0 || cost.exit_status == 3;
        };
        if (!first.empty() && !done(RunCommand(words, first))) {
          state.SkipWithError("the command gives up");
          return;
        }
        constexpr int kRuns = 9;
        double peak_mb = 0.0;
        std::vector<double> wall_s;
        std::vector<double> cpu_s;
        for (auto _ : state) {
          for (int i = 0; i < kRuns; ++i) {
            const CommandCost cost = RunCommand(words, settings);
            if (!done(cost)) {
              state.SkipWithError("the command gives up");
              return;
            }
            wall_s.push_back(cost.wall_s);
            cpu_s.push_back(cost.cpu_s);
            peak_mb = std::max(peak_mb, cost.peak_mb);
          }
          state.SetIterationTime(Median(wall_s));
        }
        state.counters[kCpu] = 1e3 * Median(cpu_s);
        state.counters[kPeak] = peak_mb;
      })
      ->Unit(benchmark::kMillisecond)
      ->Iterations(1)
      ->UseManualTime();
}

void AddAll(const Places& places) {
  const auto pair = std::make_shared<Pair>(places);
  AddCommand(kPair, places, MeasureWords(places));
  const fs::path answers = places.out / "answers";
  fs::create_directories(answers);
  const std::vector<std::string> ready = {
      "LD_PRELOAD=" READY_ANSWERS, "PLUMBFOOT_ANSWERS=" + answers.string()};
  std::vector<std::string> asking = ready;
  asking.emplace_back("PLUMBFOOT_ASK=1");
  AddCommand(kRest, places, MeasureWords(places), asking, ready);
  AddCommand(kCheck, places, {"check", places.PhotoOf(View::kSolar).string()});
  AddCommand("command, started only", places, {"--version"});
  AddStep(kDecode, pair, [](const Stages& s) {
    return cv::imdecode(s.jpeg, cv::IMREAD_COLOR);
  });
  AddStep("load (photo)", pair, [](const Stages& s) {
    return photo::LoadPhoto(s.path);
  });
  AddStep("tags (card)", pair, [](const Stages& s) {
    return card::FindCard(s.photo.rgb, s.options);
  });
  AddStep("resample (find)", pair, [](const Stages& s) {
    const auto map = geometry::NominalMap(s.card.plane);
    const auto windows = find::ExpectedWindows(
        s.view, s.photo.rgb.size(), map, &s.options.layout);
    constexpr int kSidePx = 512;
    return find::ResampleToPlane(
        s.photo.rgb, map, windows.front(), kSidePx, &s.options.layout);
  });
  AddStep("find, all of it (find)", pair, [pair](const Stages& s) {
    return find::FindPoints(s.Request(), pair->Finder());
  });
  AddNetwork("  of which its network", pair);
  benchmark::RegisterBenchmark("network, loaded (find)",
                               [](benchmark::State& state) {
                                 for (auto _ : state) {
                                   auto made = find::LoadNetwork();
                                   benchmark::DoNotOptimize(made);
                                 }
                               })
      ->Unit(benchmark::kMillisecond)
      ->MeasureProcessCPUTime()
      ->UseRealTime();
  AddStep("measure (measure)", pair, [](const Stages& s) {
    return measure::MeasureView(s.finding.points, s.card.plane);
  });
  const auto drawn = [](const Stages& s) {
    draw::AnnotateOptions options;
    options.plane = s.card.plane;
    return draw::DrawAnnotated(
               s.photo, s.finding.points, s.measures, {}, options)
        .rgb;
  };
  AddStep("draw (draw)", pair, drawn);
  AddStep("draw and encode (draw)", pair, [drawn](const Stages& s) {
    return photo::EncodeJpeg(drawn(s));
  });
}

/// Takes "--name=value" out of the words; the rest is for the library.
std::string TakeOption(std::vector<char*>& words, const std::string& name) {
  const std::string start = "--" + name + "=";
  for (auto word = words.begin(); word != words.end(); ++word) {
    const std::string text = *word;
    if (text.starts_with(start)) {
      words.erase(word);
      return text.substr(start.size());
    }
  }
  return {};
}

int Main(std::vector<char*> words) {
  Places places;
  places.photos = TakeOption(words, "photos");
  places.command = TakeOption(words, "command");
  places.out = TakeOption(words, "out");
  int count = static_cast<int>(words.size());
  benchmark::Initialize(&count, words.data());
  if (benchmark::ReportUnrecognizedArguments(count, words.data()) ||
      places.photos.empty() || places.command.empty() || places.out.empty()) {
    fmt::print(stderr,
               "usage: plumbfoot_bench --photos=DIR --command=PLUMBFOOT "
               "--out=DIR [--benchmark_...]\n");
    return 1;
  }
  AddAll(places);
  Table table;
  benchmark::RunSpecifiedBenchmarks(&table);
  benchmark::Shutdown();
  return 0;
}

}  // namespace
}  // namespace plumbfoot::bench

int main(int argc, char** argv) {
  try {
    return plumbfoot::bench::Main({argv, argv + argc});
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "plumbfoot_bench: {}\n", trouble.what());
    return 70;
  }
}
