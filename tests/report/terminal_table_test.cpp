// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/terminal_table.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <sstream>

#include "report/sample_report.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using testing::HasSubstr;
using testing::Not;

void ExpectNarrow(const std::string& table) {
  std::istringstream lines(table);
  for (std::string line; std::getline(lines, line);) {
    EXPECT_LE(Columns(line), 80) << line;
  }
}

TEST(TerminalTable, IsNoWiderThanEightyColumns) {
  ExpectNarrow(TerminalTable(SampleReport(), false));
  ExpectNarrow(TerminalTable(BareReport(), false));
}

TEST(TerminalTable, StaysNarrowWithLongNamesAndLargeNumbers) {
  FootReport report = SampleReport();
  report.horse = "Windspiel von der Au " + std::string(120, 'x') + " 馬馬馬";
  report.solar->file = std::string(200, 'y') + ".jpg";
  for (auto& [id, outcome] : report.solar->measures.outcomes) {
    outcome = measure::Measured{
        -234.5678, 0.0, -234.5678, -234.5678, PlacedBy::kPerson};
  }
  for (auto& [id, outcome] : report.lateral->measures.outcomes) {
    outcome = measure::NotMeasured{
        "the outline crosses itself between the heel and the widest part, so "
        "that no area can be told"};
  }
  Judge(report);
  ExpectNarrow(TerminalTable(report, false));
}

TEST(TerminalTable, ShowsEveryMeasureOfAViewWithItsInterval) {
  const std::string table = TerminalTable(SampleReport(), false);
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    EXPECT_THAT(table, HasSubstr("  " + std::string(info.name) + " "));
  }
  // 51.25 with u = 0.41: half of the interval is 1.96 x 0.41 = 0.80.
  EXPECT_THAT(table, HasSubstr("51.2 ± 0.8"));
  EXPECT_THAT(table, HasSubstr("50.4 to 52.1"));
  EXPECT_THAT(table, HasSubstr("133.1 ± 2.1    cm²"));
}

TEST(TerminalTable, LeavesOutTheViewWithoutAPhoto) {
  const std::string table = TerminalTable(BareReport(), false);
  EXPECT_THAT(table, Not(HasSubstr("\nSole")));
  EXPECT_THAT(table, HasSubstr("Right hind foot, shod"));
  EXPECT_THAT(table, HasSubstr("not measured: no scale"));
}

TEST(TerminalTable, TellsWhatStandsOutWithItsSource) {
  const std::string table = TerminalTable(SampleReport(), false);
  EXPECT_THAT(table, HasSubstr("What stands out\n"));
  EXPECT_THAT(table, HasSubstr("[Turner TA"));
  EXPECT_THAT(table, HasSubstr("Show this foot to a vet"));
  EXPECT_THAT(table, HasSubstr("What these photos can't tell"));
}

TEST(TerminalTable, TellsWhatToPlaceAndWhatToRetake) {
  FootReport report = BareReport();
  report.lateral->quality = {judge::Grade::kRetake,
                             {{"cut_off",
                               judge::Grade::kRetake,
                               "Part of the foot is outside the picture.",
                               "Step back."}}};
  const std::string table = TerminalTable(report, false);
  EXPECT_THAT(table, HasSubstr("- Retake. Side: Part of the foot is outside"));
  EXPECT_THAT(table, HasSubstr("pastern upper."));
  EXPECT_THAT(table, Not(HasSubstr("pastern lower")));  // It is hidden.
}

TEST(TerminalTable, DiffersInColoursOnlyByThem) {
  const std::string plain = TerminalTable(SampleReport(), false);
  const std::string coloured = TerminalTable(SampleReport(), true);
  EXPECT_THAT(plain, Not(HasSubstr("\x1b")));
  EXPECT_THAT(coloured, HasSubstr("\x1b[1m"));
  EXPECT_EQ(std::regex_replace(coloured, std::regex("\x1b\\[[0-9]*m"), ""),
            plain);
}

TEST(TerminalTable, CantBeTakenOverByAFileName) {
  FootReport report = SampleReport();
  report.solar->file = "x\x1b]0;title\x07.jpg";
  report.horse = "B\nella";
  const std::string table = TerminalTable(report, false);
  EXPECT_THAT(table, Not(HasSubstr("\x1b")));
  EXPECT_THAT(table, HasSubstr("B?ella"));
}

}  // namespace
}  // namespace plumbfoot::report
