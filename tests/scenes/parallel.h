// SPDX-License-Identifier: Apache-2.0
/// @file
/// Jobs shared among a few threads.
#pragma once

#include <atomic>
#include <functional>
#include <thread>
#include <vector>

namespace plumbfoot::scenes {

/// Calls job(0) .. job(count - 1), each once, in any order. `job` must not
/// throw.
inline void Parallel(int threads,
                     int count,
                     const std::function<void(int)>& job) {
  std::atomic<int> next{0};
  const auto work = [&] {
    for (int i = next++; i < count; i = next++) job(i);
  };
  std::vector<std::thread> pool;
  for (int t = 1; t < threads; ++t) pool.emplace_back(work);
  work();
  for (std::thread& t : pool) t.join();
}

}  // namespace plumbfoot::scenes
