// SPDX-License-Identifier: Apache-2.0
// Every acknowledged visit is there and whole, no other is half there. The same
// at full size: tests/studies/run casebook-killed, casebook-together, ...
#include "casebook/torture.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <functional>
#include <map>

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

/// What stands in the casebook, but for .plumbfoot.
std::map<std::string, std::string> Contents(const fs::path& book) {
  std::map<std::string, std::string> contents;
  for (const auto& entry : fs::recursive_directory_iterator(book)) {
    const std::string path = entry.path().lexically_relative(book).string();
    if (!path.starts_with(".plumbfoot") && entry.is_regular_file()) {
      contents[path] = ReadFile(entry.path());
    }
  }
  return contents;
}

// The power fails after each of the renames of a plan, and before the plan.
TEST(Casebook, FinishesWhatWasDecidedAndNothingElse) {
  const fs::path folder = FreshFolder("resume");
  const Casebook before = MakeCasebook(folder / "before").value();
  ASSERT_TRUE(RecordVisit(before, InventVisit("Juno", DayNumber(0), 1)));
  fs::remove_all(before.folder / ".plumbfoot");
  const fs::path after = folder / "after";
  fs::copy(before.folder, after, fs::copy_options::recursive);
  VisitToRecord more = InventVisit("Juno", DayNumber(0), 1);
  more.feet = {InventFoot(Foot::kLeftFore, Stage::kAfterTrim, 2),
               InventFoot(Foot::kRightFore, Stage::kAfterTrim, 2)};
  more.change_notes = [](Notes& notes) { notes.remarks = "evening"; };
  ASSERT_TRUE(RecordVisit({after}, more));

  const std::string visit = "horses/juno/visits/2026-01-01/";
  const std::vector<std::string> steps = {
      "LF-after_trim", "RF-after_trim", "visit.json"};
  std::string plan;
  for (const std::string& step : steps) {
    if (!plan.empty()) plan += ", ";
    plan.append(R"({"from": ")").append(step).append(R"(", "to": ")");
    plan.append(visit).append(step).append("\"}");
  }
  for (std::size_t done = 0; done <= steps.size() + 1; ++done) {
    SCOPED_TRACE(done);
    const fs::path book = folder / "book";
    fs::remove_all(book);
    fs::copy(before.folder, book, fs::copy_options::recursive);
    const fs::path staging = book / ".plumbfoot" / "staging" / "abc";
    fs::create_directories(staging);
    const bool decided = done > 0;
    for (std::size_t i = 0; i < steps.size(); ++i) {
      const bool moved = i + 1 < done;
      const fs::path to = (moved ? book / visit : staging) / steps[i];
      if (moved) fs::remove_all(to);
      fs::copy(after / visit / steps[i], to, fs::copy_options::recursive);
    }
    if (decided) {
      WriteFile(staging / "plan.json", "{\"steps\": [" + plan + "]}");
    } else {
      WriteFile(staging / "plan.json.part7-0", "{\"steps\": [");
    }
    // Whoever reads meanwhile sees the one or the other.
    const Horse juno = FindHorse({book}, "Juno").value();
    const std::size_t feet = ReadHistory({book}, juno).visits.at(0).feet.size();
    EXPECT_EQ(feet, done > steps.size() ? 6U : 4U);
    ASSERT_TRUE(OpenCasebook(book));
    EXPECT_EQ(Contents(book), Contents(decided ? after : before.folder));
    EXPECT_TRUE(fs::is_empty(book / ".plumbfoot" / "staging"));
    EXPECT_THAT(VerifyCasebook({book}).damage, IsEmpty());
  }
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
    ASSERT_TRUE(OpenCasebook(book.folder));
    EXPECT_EQ(
        RecordVisit(book, InventVisit("Juno", DayNumber(0), 1)).error().code,
        RefusalCode::kDamaged);
    EXPECT_EQ(VerifyCasebook(book).damage.size(), 1U);
    EXPECT_FALSE(fs::exists(folder / "outside"));
    EXPECT_TRUE(fs::exists(staging / "x"));
  }
  fs::remove_all(folder);
}

}  // namespace
}  // namespace plumbfoot::casebook
