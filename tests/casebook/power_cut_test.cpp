// SPDX-License-Identifier: Apache-2.0
// Whatever a power cut leaves, it opens with every acknowledged visit whole and
// no other one half there.
#include "casebook/power_cut.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using testing::IsEmpty;

/// Thousands of casebooks are made: in memory, where it can be.
fs::path Scratch(const std::string& name) {
  const fs::path memory = "/dev/shm";
  if (!fs::is_directory(memory)) return FreshFolder(name);
  fs::path folder = memory / FreshFolder(name).filename();
  fs::remove_all(folder);
  fs::create_directories(folder);
  return folder;
}

constexpr const char* kNoTrace =
    "strace isn't installed, or may not trace here (ptrace)";

/// Four recordings: a new horse, its second half, a new visit, its second half.
std::vector<std::string> Recorder(const fs::path& book, int first, int days) {
  return {CASEBOOK_RECORDER,
          book.string(),
          "7",
          std::to_string(first),
          std::to_string(days),
          "both"};
}

TEST(PowerCut, LosesNothingThatWasAcknowledged) {
  const fs::path folder = Scratch("power");
  const fs::path book = folder / "book";
  const auto calls = Trace(Recorder(book, 0, 2), folder);
  if (!calls) GTEST_SKIP() << kNoTrace;
  const PowerCuts cuts = CutPower(
      folder / "none", book, *calls, folder / "cuts", {.seed = 20261126});
  EXPECT_THAT(cuts.faults, IsEmpty());
  EXPECT_EQ(cuts.acknowledged, 4);
  EXPECT_GE(cuts.moments, 200);
  EXPECT_GE(cuts.states, 500);
  ASSERT_FALSE(cuts.unfinished.empty());

  // The power fails again while the next program finishes what was left.
  for (std::size_t i = 0; i < cuts.unfinished.size(); ++i) {
    SCOPED_TRACE(i);
    const fs::path again = folder / ("again-" + std::to_string(i));
    fs::create_directories(again);
    fs::copy(cuts.unfinished[i], again / "book", fs::copy_options::recursive);
    const auto more = Trace(Recorder(again / "book", 5, 1), again);
    ASSERT_TRUE(more);
    const PowerCuts second = CutPower(cuts.unfinished[i],
                                      again / "book",
                                      *more,
                                      again / "cuts",
                                      {.seed = i, .random_states = 1});
    EXPECT_THAT(second.faults, IsEmpty());
    EXPECT_EQ(second.acknowledged, 2);
  }
  fs::remove_all(folder);
}

// The replay itself: a program that didn't sync its files, or its folders,
// would lose visits, and is found out.
TEST(PowerCut, WouldLoseWhatIsNotSynced) {
  const fs::path folder = Scratch("careless");
  const fs::path book = folder / "book";
  const auto calls = Trace(Recorder(book, 0, 1), folder);
  if (!calls) GTEST_SKIP() << kNoTrace;
  const auto faults = [&](const std::string& name, CutOptions options) {
    options.random_states = 1;
    return CutPower(folder / "none", book, *calls, folder / name, options)
        .faults.size();
  };
  EXPECT_EQ(faults("careful", {}), 0U);
  EXPECT_GE(faults("files", {.sync_files = false}), 10U);
  EXPECT_GE(faults("folders", {.sync_folders = false}), 10U);
  fs::remove_all(folder);
}

}  // namespace
}  // namespace plumbfoot::casebook
