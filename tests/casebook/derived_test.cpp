// SPDX-License-Identifier: Apache-2.0
// What was worked out is given back as long as nothing that it was worked out
// from has changed, and never after.
#include "plumbfoot/casebook/derived.h"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <functional>
#include <stdexcept>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

const DerivedName kName{"due", "0.1.0 1"};

class DerivedTest : public testing::Test {
 protected:
  DerivedTest()
      : folder_(FreshFolder(
            std::string("derived-") +
            testing::UnitTest::GetInstance()->current_test_info()->name())),
        book_(MakeCasebook(folder_ / "book").value()) {
    for (const int day : {0, 42, 84}) {
      Record(InventVisit("Juno", DayNumber(day), 1));
    }
    juno_ = FindHorse(book_, "Juno").value();
    kept_ = book_.folder / ".plumbfoot" / "index" / "juno.due";
    home_ = book_.folder / "horses" / "juno";
    visit_ = home_ / "visits" / DayText(DayNumber(42));
  }
  ~DerivedTest() override { fs::remove_all(folder_); }

  void Record(const VisitToRecord& visit) {
    if (!RecordVisit(book_, visit)) throw std::runtime_error("not recorded");
  }
  /// As it is read an hour later: nothing has been changed a moment ago.
  History ReadLater() {
    History history = ReadHistory(book_, juno_);
    history.read_at_ns += 3'600'000'000'000;
    return history;
  }
  void Keep(const std::string& text = "2026-05-01") {
    SaveDerived(book_, ReadLater(), kName, text);
  }
  std::optional<std::string> Kept() { return LoadDerived(book_, juno_, kName); }

  fs::path folder_;
  Casebook book_;
  Horse juno_;
  fs::path kept_;
  fs::path home_;
  fs::path visit_;
};

TEST_F(DerivedTest, IsGivenBackWhileNothingChanges) {
  EXPECT_EQ(Kept(), std::nullopt);
  Keep();
  EXPECT_EQ(Kept(), "2026-05-01");
  // Another horse's visit is none of this one's.
  Record(InventVisit("Vesta", DayNumber(90), 2));
  EXPECT_EQ(Kept(), "2026-05-01");
  Keep("");
  EXPECT_EQ(Kept(), "");
  EXPECT_THROW(Keep("two\nlines"), std::invalid_argument);
  fs::remove_all(book_.folder / ".plumbfoot");
  EXPECT_EQ(Kept(), std::nullopt);
}

/// Another byte at the file's middle, its size and its time as they were.
void EditUnseen(const fs::path& path) {
  struct stat before {};
  ASSERT_EQ(::stat(path.c_str(), &before), 0);
  std::string bytes = ReadFile(path);
  char& byte = bytes.at(bytes.size() / 2);
  byte = static_cast<char>(byte ^ 1);
  {
    std::FILE* const file = std::fopen(path.c_str(), "r+b");
    ASSERT_NE(file, nullptr);
    ASSERT_EQ(std::fwrite(bytes.data(), 1, bytes.size(), file), bytes.size());
    ASSERT_EQ(std::fclose(file), 0);
  }
  const std::array times{before.st_atim, before.st_mtim};
  ASSERT_EQ(::utimensat(AT_FDCWD, path.c_str(), times.data(), 0), 0);
  struct stat after {};
  ASSERT_EQ(::stat(path.c_str(), &after), 0);
  ASSERT_EQ(before.st_size, after.st_size);
  ASSERT_EQ(before.st_mtim.tv_nsec, after.st_mtim.tv_nsec);
}

TEST_F(DerivedTest, IsGoneWithAnyChange) {
  Aim drift{.what = std::string(kAllowedDrift),
            .value = 1.0,
            .by = "vet",
            .set_on = DayNumber(0)};
  const fs::path record = visit_ / "RH-before_trim";
  const std::vector<std::pair<const char*, std::function<void()>>> changes = {
      {"a later visit",
       [&] { Record(InventVisit("Juno", DayNumber(126), 3)); }},
      {"an earlier visit",
       [&] { Record(InventVisit("Juno", DayNumber(-42), 3)); }},
      {"a foot of a visit measured again",
       [&] {
         VisitToRecord again = InventVisit("Juno", DayNumber(42), 1);
         again.feet = {InventFoot(Foot::kLeftFore, Stage::kBeforeTrim, 9)};
         Record(again);
       }},
      {"notes of a visit",
       [&] {
         VisitToRecord notes = InventVisit("Juno", DayNumber(0), 1);
         notes.feet.clear();
         notes.change_notes = [](Notes& n) { n.next_visit = DayNumber(7); };
         Record(notes);
       }},
      {"the first aim",
       [&] { ASSERT_TRUE(RecordAims(book_, juno_, {drift})); }},
      {"a second aim",
       [&] {
         drift.value = 2.0;
         ASSERT_TRUE(RecordAims(book_, juno_, {drift}));
       }},
      {"an edited aim", [&] { EditUnseen(home_ / "aims.json"); }},
      {"no aims any more", [&] { fs::remove(home_ / "aims.json"); }},
      {"an edited visit", [&] { EditUnseen(visit_ / "visit.json"); }},
      {"it is put right", [&] { EditUnseen(visit_ / "visit.json"); }},
      {"an edited report", [&] { EditUnseen(record / "report.json"); }},
      {"it is put right", [&] { EditUnseen(record / "report.json"); }},
      {"a record taken away",
       [&] { fs::rename(record, folder_ / "elsewhere"); }},
      {"and brought back", [&] { fs::rename(folder_ / "elsewhere", record); }},
      {"a visit taken away", [&] { fs::rename(visit_, folder_ / "visit"); }},
      {"and brought back", [&] { fs::rename(folder_ / "visit", visit_); }},
      {"the horse copied",
       [&] {
         fs::copy(home_, folder_ / "copy", fs::copy_options::recursive);
         fs::remove_all(home_);
         fs::rename(folder_ / "copy", home_);
       }},
  };
  int i = 0;
  for (const auto& [what, change] : changes) {
    SCOPED_TRACE(what);
    const bool whole = ReadHistory(book_, juno_).set_aside.empty();
    Keep(std::to_string(++i));
    // What is damaged is named each time: nothing is kept.
    ASSERT_EQ(Kept().has_value(), whole);
    change();
    ASSERT_EQ(Kept(), std::nullopt);
  }
}

TEST_F(DerivedTest, OfOtherRulesIsNotGivenBack) {
  Keep();
  EXPECT_EQ(LoadDerived(book_, juno_, {"due", "0.1.0 2"}), std::nullopt);
  EXPECT_EQ(LoadDerived(book_, juno_, {"else", "0.1.0 1"}), std::nullopt);
  // Nor is another horse's, whose file is put in its place.
  Record(InventVisit("Vesta", DayNumber(90), 2));
  const Horse vesta = FindHorse(book_, "Vesta").value();
  fs::copy_file(kept_, kept_.parent_path() / "vesta.due");
  EXPECT_EQ(LoadDerived(book_, vesta, kName), std::nullopt);
}

TEST_F(DerivedTest, DamagedIsNotGivenBack) {
  Keep();
  const std::string whole = ReadFile(kept_);
  for (std::size_t i = 0; i < whole.size(); i += i < 200 ? 1 : 37) {
    SCOPED_TRACE(i);
    std::string flipped = whole;
    flipped[i] = static_cast<char>(flipped[i] ^ 4);
    WriteFile(kept_, flipped);
    ASSERT_EQ(Kept(), std::nullopt);
    WriteFile(kept_, whole.substr(0, i));
    ASSERT_EQ(Kept(), std::nullopt);
  }
  WriteFile(kept_, whole + "visits\n");
  EXPECT_EQ(Kept(), std::nullopt);
  WriteFile(kept_, whole);
  EXPECT_EQ(Kept(), "2026-05-01");
}

// A file that is changed again in the same tick of the clock looks the same.
TEST_F(DerivedTest, IsNotKeptOfWhatWasChangedAMomentAgo) {
  History history = ReadHistory(book_, juno_);
  std::int64_t newest = 0;
  for (const Stamp& stamp : history.stamps) {
    newest = std::max(newest, stamp.changed_ns);
  }
  const std::int64_t settling = std::chrono::nanoseconds(kSettling).count();
  history.read_at_ns = newest + settling;
  SaveDerived(book_, history, kName, "x");
  EXPECT_EQ(Kept(), std::nullopt);
  history.read_at_ns = newest + settling + 1;
  SaveDerived(book_, history, kName, "x");
  EXPECT_EQ(Kept(), "x");
}

// The stamps are of before the files were read, not of when it is kept.
TEST_F(DerivedTest, OfWhatHasChangedMeanwhileIsNotGivenBack) {
  const History history = ReadLater();
  Record(InventVisit("Juno", DayNumber(126), 3));
  SaveDerived(book_, history, kName, "x");
  EXPECT_EQ(Kept(), std::nullopt);
}

}  // namespace
}  // namespace plumbfoot::casebook
