// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/casebook.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

class CasebookTest : public testing::Test {
 protected:
  CasebookTest()
      : folder_(FreshFolder(
            testing::UnitTest::GetInstance()->current_test_info()->name())),
        book_(MakeCasebook(folder_ / "book").value()) {}
  ~CasebookTest() override { fs::remove_all(folder_); }

  Recorded Record(const VisitToRecord& visit) {
    auto recorded = RecordVisit(book_, visit);
    if (!recorded) throw std::runtime_error(recorded.error().message);
    return *recorded;
  }
  History Read(const std::string& horse) {
    return ReadHistory(book_, FindHorse(book_, horse).value());
  }
  fs::path VisitPath(const std::string& horse, Day day) {
    return book_.folder / "horses" / horse / "visits" / DayText(day);
  }

  fs::path folder_;
  Casebook book_;
};

TEST_F(CasebookTest, GivesBackWhatWasRecorded) {
  VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
  Notes notes;
  notes.work = {{{Foot::kLeftFore, Foot::kRightFore},
                 true,
                 "steel, toe clips",
                 "3",
                 "6",
                 "leather",
                 "2 degrees"}};
  notes.by = "A. Smith";
  notes.remarks = "stood well\nsecond line";
  notes.vet = "heels up a little";
  notes.next_visit = DayNumber(35);
  visit.change_notes = [&](Notes& n) { n = notes; };
  const Recorded recorded = Record(visit);
  EXPECT_TRUE(recorded.horse_is_new);
  EXPECT_TRUE(recorded.visit_is_new);
  EXPECT_THAT(recorded.added, SizeIs(4));

  const History history = Read("Juno");
  EXPECT_THAT(history.set_aside, IsEmpty());
  ASSERT_THAT(history.visits, SizeIs(1));
  EXPECT_EQ(history.visits[0].day, DayNumber(0));
  EXPECT_EQ(history.visits[0].notes, notes);
  ASSERT_THAT(history.visits[0].feet, SizeIs(4));
  for (std::size_t i = 0; i < 4; ++i) {
    const FootRecord& record = history.visits[0].feet[i];
    EXPECT_TRUE(IsInvented(record, visit.feet[i]));
    EXPECT_EQ(record.recorded, visit.now);
    const json report = json::parse(visit.feet[i].report_json);
    EXPECT_EQ(LoadReport(record).value(), report);
    EXPECT_EQ(record.summary["measures"], report["measures"]);
    EXPECT_FALSE(record.summary.contains("points"));
  }
}

TEST_F(CasebookTest, RecordsNothingTwice) {
  const VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
  Record(visit);
  const Recorded again = Record(visit);
  EXPECT_FALSE(again.horse_is_new);
  EXPECT_FALSE(again.visit_is_new);
  EXPECT_THAT(again.added, IsEmpty());
  EXPECT_THAT(again.known, SizeIs(4));
  EXPECT_THAT(Read("Juno").visits, SizeIs(1));
}

TEST_F(CasebookTest, KeepsTheFirstTakeBesideTheSecond) {
  VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
  Record(visit);
  VisitToRecord second = visit;
  second.feet = {InventFoot(Foot::kLeftFore, Stage::kBeforeTrim, 2)};
  EXPECT_THAT(Record(second).added, ElementsAre("LF-before_trim-2"));
  // Other points on the same photos.
  second.feet[0].made_from = "points of a person";
  EXPECT_THAT(Record(second).added, ElementsAre("LF-before_trim-3"));
  const History history = Read("Juno");
  ASSERT_THAT(history.visits[0].feet, SizeIs(4));
  EXPECT_EQ(history.visits[0].feet[0].take, 3);
  ASSERT_THAT(history.visits[0].replaced, SizeIs(2));
  EXPECT_TRUE(IsInvented(history.visits[0].replaced[0], visit.feet[0]));
  EXPECT_TRUE(IsInvented(history.visits[0].replaced[1], second.feet[0]));
}

TEST_F(CasebookTest, AddsToAVisitAndKeepsTheNotesThatWere) {
  VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
  visit.change_notes = [](Notes& n) { n.remarks = "first"; };
  Record(visit);
  visit.feet = {InventFoot(Foot::kLeftFore, Stage::kAfterTrim, 1)};
  visit.change_notes = [](Notes& n) { n.vet = "rest"; };
  const Recorded recorded = Record(visit);
  EXPECT_TRUE(recorded.notes_changed);
  EXPECT_FALSE(recorded.visit_is_new);
  const History history = Read("Juno");
  ASSERT_THAT(history.visits[0].feet, SizeIs(5));
  EXPECT_EQ(history.visits[0].notes.remarks, "first");
  EXPECT_EQ(history.visits[0].notes.vet, "rest");
  ASSERT_THAT(history.visits[0].earlier_notes, SizeIs(1));
  EXPECT_EQ(history.visits[0].earlier_notes[0].remarks, "first");
  EXPECT_THAT(VerifyCasebook(book_).damage, IsEmpty());
}

TEST_F(CasebookTest, VisitsComeOldestFirst) {
  for (const int day : {84, 0, 42}) {
    Record(InventVisit("Juno", DayNumber(day), 1));
  }
  std::vector<Day> days;
  for (const Visit& visit : Read("Juno").visits) days.push_back(visit.day);
  EXPECT_THAT(days, ElementsAre(DayNumber(0), DayNumber(42), DayNumber(84)));
}

TEST_F(CasebookTest, NamesInAnyScriptGetPlainFolders) {
  const std::vector<std::string> names = {"Žofie",
                                          "Буян",
                                          "星の川",
                                          "عاصفة",
                                          "O'Malley's \"Pride\"",
                                          "con",
                                          "a:b/c\\d*?",
                                          "..",
                                          "ÅNGSTRÖM",
                                          "Nr 7 "};
  for (const std::string& name : names) {
    SCOPED_TRACE(name);
    const auto recorded =
        RecordVisit(book_, InventVisit(name, DayNumber(0), 1));
    if (name == "..") {  // No letter, no name.
      ASSERT_FALSE(recorded);
      EXPECT_EQ(recorded.error().code, RefusalCode::kUsage);
      continue;
    }
    ASSERT_TRUE(recorded);
    EXPECT_TRUE(recorded->horse_is_new);
    EXPECT_THAT(recorded->horse.folder, testing::MatchesRegex("[a-z0-9-]+"));
    EXPECT_NE(recorded->horse.folder, "con");
    EXPECT_EQ(FindHorse(book_, name)->name, name);
  }
  EXPECT_THAT(ListHorses(book_).horses, SizeIs(names.size() - 1));
  EXPECT_EQ(
      RecordVisit(book_, InventVisit("\xff\xfe", DayNumber(0), 1)).error().code,
      RefusalCode::kUsage);
}

TEST_F(CasebookTest, ANameWrittenAnotherWayIsTheSameHorse) {
  Record(InventVisit("Zo\xC3\xA9 Star", DayNumber(0), 1));
  // Decomposed (NFD), other case, more spaces.
  const Recorded again =
      Record(InventVisit(" ZOE\xCC\x81   star", DayNumber(42), 2));
  EXPECT_FALSE(again.horse_is_new);
  EXPECT_THAT(ListHorses(book_).horses, SizeIs(1));
  // Another letter is another horse, though its folder would be the same.
  EXPECT_TRUE(Record(InventVisit("Zoe Star", DayNumber(0), 3)).horse_is_new);
  EXPECT_TRUE(Record(InventVisit("zoe-star-2", DayNumber(0), 3)).horse_is_new);
}

TEST_F(CasebookTest, TwoHorsesOfOneNameDoNotMerge) {
  VisitToRecord first = InventVisit("Juno", DayNumber(0), 1);
  Record(first);
  VisitToRecord second = InventVisit("Juno", DayNumber(0), 2);
  second.yard = "Hill Farm";
  const auto refused = RecordVisit(book_, second);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, RefusalCode::kNoSuchHorse);
  second.new_horse = true;
  EXPECT_TRUE(Record(second).horse_is_new);

  const auto which = RecordVisit(book_, InventVisit("Juno", DayNumber(9), 3));
  ASSERT_FALSE(which);
  EXPECT_EQ(which.error().code, RefusalCode::kSeveralHorses);
  VisitToRecord third = InventVisit("juno", DayNumber(9), 3);
  third.yard = "hill farm";
  EXPECT_EQ(Record(third).horse.folder, "juno-2");
  third.yard = "";
  EXPECT_EQ(Record(third).horse.folder, "juno");
  // A third one without a yard could not be told from the first.
  third.yard.reset();
  third.new_horse = true;
  EXPECT_EQ(RecordVisit(book_, third).error().code, RefusalCode::kUsage);
}

// Common practice: six weeks.
TEST_F(CasebookTest, TellsWhoIsDue) {
  Record(InventVisit("Six Weeks", DayNumber(0), 1));
  Record(InventVisit("Later", DayNumber(10), 1));
  VisitToRecord soon = InventVisit("Soon", DayNumber(20), 1);
  soon.change_notes = [](Notes& n) { n.next_visit = DayNumber(34); };
  Record(soon);
  VisitToRecord gone = InventVisit("Gone", DayNumber(0), 1);
  gone.change_notes = [](Notes& n) { n.no_next_visit = true; };
  Record(gone);
  const DueList list = WhoIsDue(book_, DayNumber(42));
  ASSERT_THAT(list.due, SizeIs(2));
  EXPECT_EQ(list.due[0].horse.name, "Soon");
  EXPECT_EQ(list.due[0].next_visit, DayNumber(34));
  EXPECT_EQ(list.due[1].horse.name, "Six Weeks");
  EXPECT_EQ(list.due[1].next_visit, DayNumber(42));
  EXPECT_THAT(WhoIsDue(book_, DayNumber(52)).due, SizeIs(3));
}

TEST_F(CasebookTest, AHorseWhoseLastNotesAreLostIsStillDue) {
  Record(InventVisit("Juno", DayNumber(0), 1));
  WriteFile(VisitPath("juno", DayNumber(0)) / "visit.json", "{");
  const DueList list = WhoIsDue(book_, DayNumber(42));
  EXPECT_THAT(list.due, SizeIs(1));
  EXPECT_THAT(list.set_aside, SizeIs(1));
}

TEST_F(CasebookTest, TheIndexIsNoticedWhenStaleAndCanBeThrownAway) {
  for (const int day : {0, 42}) {
    Record(InventVisit("Juno", DayNumber(day), 1));
  }
  const auto remarks = [&] { return Read("Juno").visits.at(0).notes.remarks; };
  EXPECT_EQ(remarks(), "");  // Makes the index.
  const fs::path index = book_.folder / ".plumbfoot" / "index" / "juno.cbor";
  ASSERT_TRUE(fs::exists(index));
  // A person writes into a file; its size stays the same the second time.
  const fs::path visit = VisitPath("juno", DayNumber(0)) / "visit.json";
  for (const char* words : {"one", "two"}) {
    json root = json::parse(ReadFile(visit));
    root["notes"]["remarks"] = words;
    WriteFile(visit, root.dump(2));
    EXPECT_EQ(remarks(), words);
    EXPECT_EQ(remarks(), words);
  }
  // Visits come and go.
  Record(InventVisit("Juno", DayNumber(84), 1));
  EXPECT_THAT(Read("Juno").visits, SizeIs(3));
  fs::remove_all(VisitPath("juno", DayNumber(42)));
  EXPECT_THAT(Read("Juno").visits, SizeIs(2));
  // Damaged, or gone.
  const std::string whole = ReadFile(index);
  WriteFile(index, whole.substr(0, whole.size() / 2));
  EXPECT_EQ(remarks(), "two");
  fs::remove_all(book_.folder / ".plumbfoot");
  EXPECT_EQ(remarks(), "two");
  EXPECT_TRUE(fs::exists(index));
}

TEST_F(CasebookTest, ACopyIsTheSameCasebook) {
  const VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
  Record(visit);
  Read("Juno");
  const fs::path copy = folder_ / "copy";
  fs::copy(book_.folder, copy, fs::copy_options::recursive);
  fs::remove_all(book_.folder);
  const Casebook second = OpenCasebook(copy).value();
  EXPECT_THAT(VerifyCasebook(second).damage, IsEmpty());
  const History history =
      ReadHistory(second, FindHorse(second, "Juno").value());
  EXPECT_TRUE(IsInvented(history.visits.at(0).feet.at(0), visit.feet[0]));
}

TEST_F(CasebookTest, OpensNothingThatIsNone) {
  EXPECT_EQ(OpenCasebook(folder_ / "none").error().code,
            RefusalCode::kFileMissing);
  fs::create_directory(folder_ / "other");
  WriteFile(folder_ / "other" / "letter.txt", "x");
  EXPECT_EQ(MakeCasebook(folder_ / "other").error().code,
            RefusalCode::kNotOurFormat);
  WriteFile(folder_ / "other" / "casebook.json", "[]");
  EXPECT_EQ(OpenCasebook(folder_ / "other").error().code,
            RefusalCode::kNotOurFormat);
  WriteFile(folder_ / "other" / "casebook.json",
            R"({"format": "plumbfoot-casebook", "version": 2})");
  EXPECT_EQ(OpenCasebook(folder_ / "other").error().code,
            RefusalCode::kVersionUnknown);
}

TEST(ParseDay, KnowsTheCalendar) {
  EXPECT_EQ(DayText(ParseDay("2028-02-29").value()), "2028-02-29");
  for (const char* text :
       {"2026-02-29", "2026-3-14", "14.03.2026", "", "2026-00-10"}) {
    EXPECT_EQ(ParseDay(text).error().code, RefusalCode::kUsage) << text;
  }
}

}  // namespace
}  // namespace plumbfoot::casebook
