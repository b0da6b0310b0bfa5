// SPDX-License-Identifier: Apache-2.0
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <nlohmann/json.hpp>

#include "casebook/invented.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using testing::IsEmpty;
using testing::SizeIs;

class Aims : public testing::Test {
 protected:
  Aims()
      : folder_(FreshFolder(
            std::string("aims-") +
            testing::UnitTest::GetInstance()->current_test_info()->name())) {
    book_ = MakeCasebook(folder_ / "book").value();
    horse_ =
        RecordVisit(book_, InventVisit("Juno", DayNumber(0), 1)).value().horse;
    file_ = folder_ / "book" / "horses" / horse_.folder / "aims.json";
  }
  ~Aims() override { fs::remove_all(folder_); }

  static Aim Of(const std::string& what,
                std::optional<Foot> foot,
                std::optional<double> value,
                const std::string& by = "Dr. Moor") {
    return {what, foot, value, by, DayNumber(3)};
  }

  fs::path folder_;
  Casebook book_;
  Horse horse_;
  fs::path file_;
};

TEST_F(Aims, AreKeptWithWhoSetThemAndWhen) {
  // As every casebook of an earlier Plumbfoot is.
  EXPECT_FALSE(fs::exists(file_));
  EXPECT_THAT(ReadHistory(book_, horse_).aims, IsEmpty());
  const std::vector<Aim> said = {
      Of("toe_angle", Foot::kLeftFore, 52.5),
      Of(std::string(kAllowedDrift), std::nullopt, 2, "A. Hollin")};
  EXPECT_EQ(RecordAims(book_, horse_, said).value(), 2);
  EXPECT_EQ(ReadHistory(OpenCasebook(book_.folder).value(), horse_).aims, said);
  EXPECT_THAT(VerifyCasebook(book_).damage, IsEmpty());
}

TEST_F(Aims, OfEachFootTheLastCounts) {
  const std::vector<Aim> said = {Of("toe_angle", Foot::kLeftFore, 50),
                                 Of("toe_angle", std::nullopt, 52),
                                 Of("toe_angle", Foot::kRightFore, 53),
                                 Of("toe_angle", Foot::kLeftHind, std::nullopt),
                                 Of("heel_angle", Foot::kRightHind, 45)};
  std::map<std::pair<std::string, Foot>, double> count;
  for (const Aim& aim : AimsThatCount(said)) {
    count[{aim.what, *aim.foot}] = *aim.value;
  }
  const std::map<std::pair<std::string, Foot>, double> expected = {
      {{"toe_angle", Foot::kLeftFore}, 52},
      {{"toe_angle", Foot::kRightFore}, 53},
      {{"toe_angle", Foot::kRightHind}, 52},
      {{"heel_angle", Foot::kRightHind}, 45}};
  EXPECT_EQ(count, expected);
}

TEST_F(Aims, AreNotSaidTwice) {
  EXPECT_EQ(
      RecordAims(book_, horse_, {Of("toe_angle", std::nullopt, 52)}).value(),
      1);
  EXPECT_EQ(
      RecordAims(book_, horse_, {Of("toe_angle", Foot::kLeftFore, 52)}).value(),
      0);
  // Somebody else says so: that is news.
  EXPECT_EQ(
      RecordAims(
          book_, horse_, {Of("toe_angle", Foot::kLeftFore, 52, "A. Hollin")})
          .value(),
      1);
  // What isn't there can't be taken back.
  EXPECT_EQ(
      RecordAims(book_, horse_, {Of("heel_angle", std::nullopt, std::nullopt)})
          .value(),
      0);
  EXPECT_THAT(ReadAims(book_, horse_).value(), SizeIs(2));
}

TEST_F(Aims, OfANewerPlumbfootAreNamedAndSetAside) {
  WriteFile(file_,
            R"({"format": "plumbfoot-aims", "version": 99, "aims": []})");
  const History history = ReadHistory(book_, horse_);
  EXPECT_THAT(history.visits, SizeIs(1));
  ASSERT_THAT(history.set_aside, SizeIs(1));
  EXPECT_EQ(history.set_aside[0].refusal.code, RefusalCode::kVersionUnknown);
  EXPECT_EQ(RecordAims(book_, horse_, {Of("toe_angle", std::nullopt, 52)})
                .error()
                .code,
            RefusalCode::kVersionUnknown);
  EXPECT_THAT(VerifyCasebook(book_).damage, SizeIs(1));
}

TEST_F(Aims, ThatAreDamagedAreNamedAndNeverWrittenOver) {
  for (const auto& [text, code] :
       {std::pair{std::string("{\"format"), RefusalCode::kNotJson},
        std::pair{std::string(R"({"format": "plumbfoot-aims", "version": 1,
                                  "aims": [{"what": "toe_angle"}]})"),
                  RefusalCode::kDamaged}}) {
    WriteFile(file_, text);
    EXPECT_EQ(ReadAims(book_, horse_).error().code, code);
    EXPECT_FALSE(RecordAims(book_, horse_, {Of("toe_angle", std::nullopt, 1)}));
    EXPECT_EQ(ReadFile(file_), text);
  }
}

TEST_F(Aims, MustSayWhatAndWho) {
  EXPECT_THROW((void)RecordAims(book_, horse_, {Of("", std::nullopt, 1)}),
               std::invalid_argument);
  EXPECT_THROW(
      (void)RecordAims(book_, horse_, {Of("toe_angle", std::nullopt, 1, "")}),
      std::invalid_argument);
  EXPECT_THROW((void)RecordAims(book_,
                                horse_,
                                {Of("toe_angle",
                                    std::nullopt,
                                    std::numeric_limits<double>::quiet_NaN())}),
               std::invalid_argument);
}

}  // namespace
}  // namespace plumbfoot::casebook
