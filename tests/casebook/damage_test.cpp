// SPDX-License-Identifier: Apache-2.0
// Whatever happens to the files: it is named, set aside, and the rest works.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "casebook/invented.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::IsEmpty;
using testing::SizeIs;

void Edit(const fs::path& path, const std::function<void(json&)>& edit) {
  json root = json::parse(ReadFile(path));
  edit(root);
  WriteFile(path, root.dump(2));
}

struct Harm {
  const char* name;
  std::function<void(const fs::path& visit)> harm;
  RefusalCode code;
  const char* where;     ///< Below the visit's folder.
  std::size_t feet;      ///< Of the visit's four, how many are left.
  bool seen_by_history;  ///< Or only by who reads the photos too.
};

const std::vector<Harm>& Harms() {
  static const std::vector<Harm> harms = {
      {"cut visit",
       [](const fs::path& v) {
         const std::string text = ReadFile(v / "visit.json");
         WriteFile(v / "visit.json", text.substr(0, text.size() / 2));
       },
       RefusalCode::kNotJson,
       "visit.json",
       0,
       true},
      {"empty visit",
       [](const fs::path& v) { WriteFile(v / "visit.json", ""); },
       RefusalCode::kFileEmpty,
       "visit.json",
       0,
       true},
      {"missing visit",
       [](const fs::path& v) { fs::remove(v / "visit.json"); },
       RefusalCode::kFileMissing,
       "visit.json",
       0,
       true},
      {"future visit",
       [](const fs::path& v) {
         Edit(v / "visit.json", [](json& root) { root["version"] = 2; });
       },
       RefusalCode::kVersionUnknown,
       "visit.json",
       0,
       true},
      {"visit with a number for a text",
       [](const fs::path& v) {
         Edit(v / "visit.json", [](json& root) { root["notes"]["by"] = 7; });
       },
       RefusalCode::kDamaged,
       "visit.json",
       0,
       true},
      {"a record's way out of its folder",
       [](const fs::path& v) {
         Edit(v / "visit.json", [](json& root) {
           root["records"][0]["folder"] = "../../../../x";
         });
       },
       RefusalCode::kDamaged,
       "visit.json",
       0,
       true},
      {"cut record",
       [](const fs::path& v) {
         WriteFile(v / "LF-before_trim" / "record.json", "{\"format\":");
       },
       RefusalCode::kNotJson,
       "LF-before_trim/record.json",
       3,
       true},
      {"future record",
       [](const fs::path& v) {
         Edit(v / "LF-before_trim" / "record.json",
              [](json& root) { root["version"] = 99; });
       },
       RefusalCode::kVersionUnknown,
       "LF-before_trim/record.json",
       3,
       true},
      {"changed record",
       [](const fs::path& v) {
         Edit(v / "LF-before_trim" / "record.json",
              [](json& root) { root["made_from"] = "x"; });
       },
       RefusalCode::kDamaged,
       "LF-before_trim/record.json",
       3,
       true},
      {"missing record",
       [](const fs::path& v) { fs::remove_all(v / "LF-before_trim"); },
       RefusalCode::kFileMissing,
       "LF-before_trim/record.json",
       3,
       true},
      {"missing photo",
       [](const fs::path& v) {
         fs::remove(v / "LF-before_trim" / "solar.jpg");
       },
       RefusalCode::kFileMissing,
       "LF-before_trim/solar.jpg",
       3,
       true},
      {"cut photo",
       [](const fs::path& v) {
         fs::resize_file(v / "LF-before_trim" / "solar.jpg", 1000);
       },
       RefusalCode::kDamaged,
       "LF-before_trim/solar.jpg",
       3,
       true},
      {"one bit of a photo",
       [](const fs::path& v) {
         std::string bytes = ReadFile(v / "LF-before_trim" / "solar.jpg");
         bytes[500] = static_cast<char>(bytes[500] ^ 1);
         WriteFile(v / "LF-before_trim" / "solar.jpg", bytes);
       },
       RefusalCode::kDamaged,
       "LF-before_trim/solar.jpg",
       4,
       false},
      {"one digit of a report",
       [](const fs::path& v) {
         const fs::path path = v / "LF-before_trim" / "report.json";
         std::string text = ReadFile(path);
         char& digit = text[text.find("\"value\": ") + 9];
         digit = digit == '1' ? '2' : '1';
         WriteFile(path, text);
       },
       RefusalCode::kDamaged,
       "LF-before_trim/report.json",
       3,
       true}};
  return harms;
}

class Damaged : public testing::TestWithParam<std::size_t> {};

TEST_P(Damaged, IsNamedAndSetAside) {
  const Harm& harm = Harms().at(GetParam());
  SCOPED_TRACE(harm.name);
  const fs::path folder =
      FreshFolder("harm-" + std::to_string(GetParam())) / "book";
  const Casebook book = MakeCasebook(folder).value();
  for (const int day : {0, 42, 84}) {
    ASSERT_TRUE(RecordVisit(book, InventVisit("Juno", DayNumber(day), 1)));
  }
  ASSERT_TRUE(RecordVisit(book, InventVisit("Vesta", DayNumber(0), 2)));
  const Horse juno = FindHorse(book, "Juno").value();
  ASSERT_THAT(ReadHistory(book, juno).set_aside, IsEmpty());  // The index too.

  const fs::path visit =
      folder / "horses" / "juno" / "visits" / DayText(DayNumber(42));
  harm.harm(visit);
  const fs::path where = (visit / harm.where).lexically_relative(folder);

  const Verified verified = VerifyCasebook(book);
  ASSERT_THAT(verified.damage, SizeIs(1));
  EXPECT_EQ(verified.damage[0].where, where);
  EXPECT_EQ(verified.damage[0].refusal.code, harm.code);
  EXPECT_FALSE(verified.damage[0].refusal.message.empty());
  EXPECT_FALSE(verified.damage[0].refusal.remedy.empty());

  const History history = ReadHistory(book, juno);
  EXPECT_THAT(history.set_aside, SizeIs(harm.seen_by_history ? 1 : 0));
  if (harm.seen_by_history) {
    EXPECT_EQ(history.set_aside[0].where, where);
    EXPECT_EQ(history.set_aside[0].refusal.code, harm.code);
  }
  std::size_t feet = 0;
  for (const Visit& v : history.visits) feet += v.feet.size();
  EXPECT_EQ(feet, 8 + harm.feet);
  EXPECT_THAT(ReadHistory(book, FindHorse(book, "Vesta").value()).visits,
              SizeIs(1));

  // The next visit can be recorded all the same, and damage is not covered up.
  ASSERT_TRUE(RecordVisit(book, InventVisit("Juno", DayNumber(126), 5)));
  EXPECT_THAT(VerifyCasebook(book).damage, SizeIs(1));
  fs::remove_all(folder.parent_path());
}

INSTANTIATE_TEST_SUITE_P(Each,
                         Damaged,
                         testing::Range<std::size_t>(0, Harms().size()));

TEST(Damage, OfAHorsesNameBeginsNoSecondHistory) {
  const fs::path folder = FreshFolder("horse-damaged");
  const Casebook book = MakeCasebook(folder / "book").value();
  ASSERT_TRUE(RecordVisit(book, InventVisit("Juno", DayNumber(0), 1)));
  ASSERT_TRUE(RecordVisit(book, InventVisit("Vesta", DayNumber(0), 1)));
  WriteFile(book.folder / "horses" / "juno" / "horse.json", "{");
  EXPECT_THAT(ListHorses(book).horses, SizeIs(1));
  ASSERT_THAT(ListHorses(book).set_aside, SizeIs(1));
  EXPECT_FALSE(RecordVisit(book, InventVisit("Juno", DayNumber(42), 2)));
  EXPECT_TRUE(RecordVisit(book, InventVisit("Vesta", DayNumber(42), 2)));
  fs::remove_all(folder);
}

// The form before the first release; written out here as it was.
class OldVersion : public testing::Test {
 protected:
  OldVersion() : folder_(FreshFolder("version0")) {
    const VisitToRecord visit = InventVisit("Juno", DayNumber(0), 1);
    book_ = MakeCasebook(folder_ / "new").value();
    if (!RecordVisit(book_, visit)) throw std::runtime_error("not recorded");
    WriteFile(book_.folder / "casebook.json",
              R"({"format": "plumbfoot-casebook", "version": 0})");
    const fs::path horse = book_.folder / "horses" / "juno";
    WriteFile(
        horse / "horse.json",
        R"({"format": "plumbfoot-horse", "version": 0, "horse": "Juno"})");
    visit_ = horse / "visits" / DayText(DayNumber(0));
    WriteFile(visit_ / "visit.json",
              R"({"format": "plumbfoot-visit", "version": 0,
                  "date": "2026-01-01", "done": ["trim", "shoe"],
                  "remarks": "old", "next": "2026-02-05"})");
    for (const auto& record : fs::directory_iterator(visit_)) {
      if (!record.is_directory()) continue;
      json root = json::parse(ReadFile(record.path() / "record.json"));
      json old = {{"format", "plumbfoot-record"}, {"version", 0}};
      for (const auto& [name, file] : root["files"].items()) {
        old["sha256"][name] = file["sha256"];
      }
      WriteFile(record.path() / "record.json", old.dump());
    }
    fs::remove_all(book_.folder / ".plumbfoot");
  }
  ~OldVersion() override { fs::remove_all(folder_); }

  fs::path folder_;
  Casebook book_;
  fs::path visit_;
};

TEST_F(OldVersion, IsRead) {
  ASSERT_TRUE(OpenCasebook(book_.folder));
  const Horse juno = FindHorse(book_, "Juno").value();
  const History history = ReadHistory(book_, juno);
  EXPECT_THAT(history.set_aside, IsEmpty());
  ASSERT_THAT(history.visits, SizeIs(1));
  const Visit& visit = history.visits[0];
  EXPECT_TRUE(visit.notes.work.at(0).trimmed);
  EXPECT_EQ(visit.notes.work.at(0).shoe, "shoe");
  EXPECT_EQ(visit.notes.remarks, "old");
  EXPECT_EQ(visit.notes.next_visit, ParseDay("2026-02-05").value());
  ASSERT_THAT(visit.feet, SizeIs(4));
  EXPECT_EQ(visit.feet[1].foot, Foot::kRightFore);
  EXPECT_EQ(visit.feet[1].stage, Stage::kBeforeTrim);
  EXPECT_EQ(visit.feet[1].photos.at(View::kSolar).file, "solar.jpg");
  EXPECT_TRUE(visit.feet[1].summary.contains("measures"));
  const Verified verified = VerifyCasebook(book_);
  EXPECT_THAT(verified.damage, IsEmpty());
  EXPECT_EQ(verified.records, 4);
  EXPECT_EQ(WhoIsDue(book_, DayNumber(60)).due.at(0).next_visit,
            ParseDay("2026-02-05").value());
}

TEST_F(OldVersion, IsVerified) {
  std::string bytes = ReadFile(visit_ / "LF-before_trim" / "lateral.jpeg");
  bytes[7] = static_cast<char>(bytes[7] ^ 4);
  WriteFile(visit_ / "LF-before_trim" / "lateral.jpeg", bytes);
  ASSERT_THAT(VerifyCasebook(book_).damage, SizeIs(1));
}

TEST_F(OldVersion, BecomesThePresentOneWhereItIsWritten) {
  VisitToRecord more = InventVisit("Juno", DayNumber(0), 1);
  more.feet = {InventFoot(Foot::kLeftFore, Stage::kAfterTrim, 2)};
  ASSERT_TRUE(RecordVisit(book_, more));
  const json visit = json::parse(ReadFile(visit_ / "visit.json"));
  EXPECT_EQ(visit["version"], 1);
  EXPECT_THAT(visit["records"], SizeIs(5));
  const Horse juno = FindHorse(book_, "Juno").value();
  const History history = ReadHistory(book_, juno);
  EXPECT_THAT(history.visits.at(0).feet, SizeIs(5));
  EXPECT_EQ(history.visits[0].notes.remarks, "old");
  EXPECT_THAT(VerifyCasebook(book_).damage, IsEmpty());
}

}  // namespace
}  // namespace plumbfoot::casebook
