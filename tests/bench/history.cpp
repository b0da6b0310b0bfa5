// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <exception>
#include <string_view>
#include <vector>

#include "report/invented_case.h"

namespace {

using namespace plumbfoot;  // NOLINT(google-build-using-namespace)

/// Median and worst of a few runs [s].
template <typename Do>
void Time(std::string_view what, Do&& run) {
  std::vector<double> seconds;
  for (int i = 0; i < 7; ++i) {
    const auto begin = std::chrono::steady_clock::now();
    run();
    const std::chrono::duration<double> took =
        std::chrono::steady_clock::now() - begin;
    seconds.push_back(took.count());
  }
  std::sort(seconds.begin(), seconds.end());
  fmt::print("{:44} {:6.3f} s  (worst {:.3f} s)\n",
             what,
             seconds[seconds.size() / 2],
             seconds.back());
}

void Run() {
  constexpr int kVisits = 87;  // Ten years.
  report::HistoryRequest request = report::InventedCase(kVisits);
  const std::size_t fore = request.reports.size();
  for (std::size_t i = 0; i < fore; ++i) {
    report::SavedReport hind = request.reports[i];
    hind.foot =
        geometry::IsLeft(hind.foot) ? Foot::kLeftHind : Foot::kRightHind;
    request.reports.push_back(std::move(hind));
  }
  fmt::print("{} visits, {} foot records\n", kVisits, request.reports.size());
  Time("work it out", [&] { (void)report::MakeHistory(request).value(); });
  const report::HorseHistory history = *report::MakeHistory(request);
  const draw::TimeChart chart =
      report::ChartOf(history, history.feet.front(), View::kSolar);
  Time("one page of 16 plots, SVG", [&] { (void)draw::TimeChartSvg(chart); });
  Time("one page of 16 plots, PNG", [&] { (void)draw::TimeChartPng(chart); });
  Time("history.json, checked", [&] { (void)report::HistoryText(history); });
  Time("history.csv", [&] { (void)report::HistoryCsv(history); });
  Time("the table", [&] { (void)report::HistoryTable(history, false); });
}

}  // namespace

int main() {
  try {
    Run();
  } catch (const std::exception& trouble) {
    fmt::print(stderr, "history_bench: {}\n", trouble.what());
    return 70;
  }
  return 0;
}
