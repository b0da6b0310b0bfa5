// SPDX-License-Identifier: Apache-2.0
// Every acknowledged visit is there and whole, no other is half there. The same
// at full size: tests/studies/run casebook-killed, casebook-together, ...
#include "casebook/torture.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using testing::IsEmpty;

TEST(Casebook, LosesNothingWhenItsProgramIsKilled) {
  const fs::path folder = FreshFolder("killed");
  const Outcome outcome =
      KillWhileRecording(CASEBOOK_RECORDER, folder, 30, 20261125);
  EXPECT_THAT(outcome.faults, IsEmpty());
  EXPECT_GE(outcome.interruptions, 25);
  EXPECT_GE(outcome.acknowledged, 10);
  fs::remove_all(folder);
}

TEST(Casebook, LosesNothingWhenFilesCannotGrow) {
  const fs::path folder = FreshFolder("limited");
  const Outcome outcome =
      LimitFilesWhileRecording(CASEBOOK_RECORDER, folder, 30, 20261126);
  EXPECT_THAT(outcome.faults, IsEmpty());
  EXPECT_GE(outcome.interruptions, 15);
  EXPECT_GE(outcome.acknowledged, 1);
  fs::remove_all(folder);
}

TEST(Casebook, LosesNothingWhenTheDiskIsFull) {
  const fs::path folder = FreshFolder("full");
  const auto outcome = FillDiskWhileRecording(folder, 10, 20261127);
  if (!outcome) GTEST_SKIP() << "no disk of its own is allowed here";
  EXPECT_THAT(outcome->faults, IsEmpty());
  EXPECT_GE(outcome->interruptions, 10);
  EXPECT_GE(outcome->acknowledged, 5);
  fs::remove_all(folder);
}

TEST(Casebook, TakesTwoProgramsAtOnce) {
  const fs::path folder = FreshFolder("together");
  const Outcome outcome =
      RecordTogether(CASEBOOK_RECORDER, folder, 2.0, 20261128);
  EXPECT_THAT(outcome.faults, IsEmpty());
  EXPECT_GE(outcome.acknowledged, 10);
  fs::remove_all(folder);
}

/// Runs `act` as somebody who may not write there; its answer.
int AsAStranger(const std::function<int()>& act) {
  const pid_t pid = ::fork();
  if (pid == 0) {
    // Nobody, on Debian. Root may write wherever it likes.
    if (::geteuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0)) {
      ::_exit(70);
    }
    ::_exit(act());
  }
  int status = 0;
  ::waitpid(pid, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

TEST(Casebook, CanBeReadWhereNobodyMayWrite) {
  const fs::path folder = FreshFolder("readonly");
  const fs::path path = folder / "book";
  {
    const Casebook book = MakeCasebook(path).value();
    ASSERT_TRUE(RecordVisit(book, InventVisit("Juno", DayNumber(0), 1)));
  }
  for (const fs::path& place : {path / "horses" / "juno" / "visits",
                                path / "horses" / "juno",
                                path / "horses",
                                path / ".plumbfoot" / "lock",
                                path / ".plumbfoot" / "staging",
                                path / ".plumbfoot",
                                path}) {
    fs::permissions(place, fs::perms(fs::is_directory(place) ? 0555 : 0444));
  }
  EXPECT_EQ(AsAStranger([&] {
              const auto book = OpenCasebook(path);
              if (!book) return 1;
              const auto horse = FindHorse(*book, "Juno");
              if (!horse) return 2;
              const History history = ReadHistory(*book, *horse);
              if (history.visits.size() != 1 || !history.set_aside.empty()) {
                return 3;
              }
              const auto refused =
                  RecordVisit(*book, InventVisit("Juno", DayNumber(42), 1));
              if (refused) return 4;
              return refused.error().code == RefusalCode::kCannotWrite ? 0 : 5;
            }),
            0);
  for (const fs::path& place : {path,
                                path / ".plumbfoot",
                                path / ".plumbfoot" / "staging",
                                path / ".plumbfoot" / "lock",
                                path / "horses",
                                path / "horses" / "juno",
                                path / "horses" / "juno" / "visits"}) {
    fs::permissions(place, fs::perms(0755));
  }
  const Casebook book = OpenCasebook(path).value();
  EXPECT_EQ(VerifyCasebook(book).visits, 1);
  EXPECT_THAT(VerifyCasebook(book).damage, IsEmpty());
  fs::remove_all(folder);
}

// A plan that comes with a foreign casebook mustn't reach out of it.
TEST(Casebook, APlanStaysInsideTheCasebook) {
  const fs::path folder = FreshFolder("plan");
  const Casebook book = MakeCasebook(folder / "book").value();
  const fs::path staging = book.folder / ".plumbfoot" / "staging" / "evil";
  fs::create_directories(staging);
  WriteFile(staging / "x", "x");
  for (const char* to : {"../outside", "/tmp/plumbfoot-outside", ""}) {
    WriteFile(
        staging / "plan.json",
        std::string(R"({"steps": [{"from": "x", "to": ")") + to + "\"}]}");
    EXPECT_EQ(OpenCasebook(book.folder).error().code, RefusalCode::kDamaged);
    EXPECT_FALSE(fs::exists(folder / "outside"));
    EXPECT_TRUE(fs::exists(staging / "x"));
  }
  fs::remove_all(folder);
}

}  // namespace
}  // namespace plumbfoot::casebook
