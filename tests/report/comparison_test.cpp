// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/comparison.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "plumbfoot/report/report_json.h"
#include "report/measured_report.h"
#include "report/text.h"

namespace plumbfoot::report {
namespace {

using measure::MeasureId;
using measure::Side;
using measure::Sole;
using nlohmann::json;
using testing::HasSubstr;

SavedReport Saved(const FootReport& report) {
  const auto saved = ReadReport(ToJson(report));
  EXPECT_TRUE(saved.has_value());
  return *saved;
}

/// A trim: 7 mm off the toe and 3 mm all round; 2 degrees steeper.
struct Trim {
  Sole sole_before;
  Side side_before;
  Sole sole_after;
  Side side_after;

  Trim() {
    sole_after.length = sole_before.length - 7;
    sole_after.width = sole_before.width - 6;
    sole_after.widest_at = sole_before.widest_at - 3;
    side_after.toe_angle = side_before.toe_angle + 4;
    side_after.toe_length = side_before.toe_length - 9;
    side_after.heel_length = side_before.heel_length - 4;
    side_after.support = side_before.support - 5;
  }
};

Comparison Trimmed() {
  const Trim trim;
  geometry::Random random(3);
  FootReport before = ReportOf(trim.sole_before, trim.side_before);
  before.stage = Stage::kBeforeTrim;
  FootReport after = ReportOf(trim.sole_after, trim.side_after, &random);
  after.stage = Stage::kAfterTrim;
  const auto comparison = CompareReports(Saved(before), Saved(after));
  EXPECT_TRUE(comparison.has_value());
  return *comparison;
}

const trend::Change& ChangeOf(const Comparison& comparison, MeasureId id) {
  return std::get<trend::Change>(comparison.change.comparisons.at(id));
}

TEST(Comparison, FindsATrimAndItsSize) {
  const Trim trim;
  const Comparison comparison = Trimmed();
  EXPECT_EQ(comparison.same_print.size(), 2U);
  EXPECT_EQ(comparison.change.compared, 30);
  for (const auto& [id, compared] : comparison.change.comparisons) {
    const auto& info = measure::InfoOf(id);
    SCOPED_TRACE(info.key);
    const auto& change = std::get<trend::Change>(compared);
    const double truth =
        info.view == View::kSolar
            ? trim.sole_after.Truth(id) - trim.sole_before.Truth(id)
            : trim.side_after.Truth(id) - trim.side_before.Truth(id);
    EXPECT_LT(std::abs(change.difference - truth),
              3.5 * change.standard_uncertainty);
  }
  for (const MeasureId id : {MeasureId::kBearingLength,
                             MeasureId::kBearingWidth,
                             MeasureId::kToeAngle,
                             MeasureId::kDorsalWallLength,
                             MeasureId::kBearingArea}) {
    EXPECT_TRUE(ChangeOf(comparison, id).changed) << measure::InfoOf(id).key;
  }
  EXPECT_FALSE(ChangeOf(comparison, MeasureId::kFrogLength).changed);
  EXPECT_FALSE(ChangeOf(comparison, MeasureId::kHeelWidth).changed);
}

TEST(Comparison, ThePrintOfOneCardCancels) {
  const Trim trim;
  const FootReport foot = ReportOf(trim.sole_before, trim.side_before);
  SavedReport other = Saved(foot);
  other.solar->measured_mm = 149.0;
  const auto same = CompareReports(Saved(foot), Saved(foot));
  const auto apart = CompareReports(Saved(foot), other);
  ASSERT_TRUE(same && apart);
  const auto u = [](const Comparison& c, MeasureId id) {
    return ChangeOf(c, id).standard_uncertainty;
  };
  EXPECT_LT(u(*same, MeasureId::kBearingLength),
            0.99 * u(*apart, MeasureId::kBearingLength));
  EXPECT_DOUBLE_EQ(u(*same, MeasureId::kToeAngle),
                   u(*apart, MeasureId::kToeAngle));
  EXPECT_EQ(apart->same_print, std::set<View>{View::kLateral});
  // A print that nobody has measured may be another.
  other.solar->measured_mm.reset();
  EXPECT_FALSE(SamePrint(other, other, View::kSolar));
  ComparisonOptions said;
  said.same_card = true;
  EXPECT_EQ(CompareReports(other, other, said)->same_print.size(), 2U);
}

// Unmirrored, the halves would differ by 4 and their differences by 15 mm; the
// camera, which looks a little askew, is not mirrored with the foot.
TEST(Comparison, LaysARightFootOverALeftOneAsAMirrorDoes) {
  Sole lopsided;
  lopsided.lopsided = 0.06;
  FootReport left = ReportOf(lopsided, {});
  Sole other = lopsided;
  other.lopsided = -0.06;
  other.axis_y = -lopsided.axis_y;
  FootReport right = ReportOf(other, {});
  right.foot = Foot::kRightFore;
  const auto pair = CompareReports(Saved(left), Saved(right));
  ASSERT_TRUE(pair.has_value());
  EXPECT_TRUE(pair->mirrored);
  EXPECT_NEAR(
      ChangeOf(*pair, MeasureId::kHalfWidthDifference).difference, 0, 1.0);
  EXPECT_NEAR(ChangeOf(*pair, MeasureId::kLeftHalfWidth).difference, 0, 1.0);
  EXPECT_FALSE(pair->change.changed());
  // The picture too: the outlines cover each other.
  const draw::Overlay overlay = OverlayOf(*pair);
  double widest_before = 0;
  double widest_after = 0;
  for (const auto& p : overlay.panels.at(0).before.region) {
    widest_before = std::max(widest_before, p.y);
  }
  for (const auto& p : overlay.panels.at(0).after.region) {
    widest_after = std::max(widest_after, p.y);
  }
  EXPECT_NEAR(widest_before, widest_after, 1.0);
}

TEST(Comparison, RefusesWhatIsNotToBeCompared) {
  const FootReport fore = ReportOf({}, {});
  FootReport hind = fore;
  hind.foot = Foot::kLeftHind;
  const auto feet = CompareReports(Saved(fore), Saved(hind));
  ASSERT_FALSE(feet.has_value());
  EXPECT_EQ(feet.error().code, RefusalCode::kUsage);
  FootReport other = fore;
  other.horse = "Bella";
  const auto horses = CompareReports(Saved(fore), Saved(other));
  ASSERT_FALSE(horses.has_value());
  EXPECT_THAT(horses.error().message, HasSubstr("Bella"));
  other.horse = "juno";
  EXPECT_TRUE(CompareReports(Saved(fore), Saved(other)).has_value());
  other.horse.reset();
  EXPECT_TRUE(CompareReports(Saved(fore), Saved(other)).has_value());
}

TEST(Comparison, SaysWhatToMind) {
  FootReport bare = ReportOf({}, {});
  FootReport shod = bare;
  shod.shod = true;
  shod.date = "2026-01-02";
  shod.lateral->quality.grade = judge::Grade::kRetake;
  shod.solar->points.at(PointId::kToe)->placed_by = PlacedBy::kFinder;
  shod.solar->points.at(PointId::kToe)->confidence = 0.6;
  const auto comparison = CompareReports(Saved(bare), Saved(shod));
  ASSERT_TRUE(comparison.has_value());
  EXPECT_TRUE(comparison->needs_person);
  std::string notes;
  for (const std::string& note : comparison->notes) notes += note + "\n";
  EXPECT_THAT(notes, HasSubstr("shod"));
  EXPECT_THAT(notes, HasSubstr("older"));
  EXPECT_THAT(notes, HasSubstr("retake"));
  EXPECT_THAT(notes, HasSubstr("toe"));
  EXPECT_THAT(notes, HasSubstr("same photo"));
  EXPECT_EQ(comparison->change.compared, 7);
  const std::string table = ComparisonTable(*comparison, false);
  EXPECT_THAT(table, HasSubstr("Not compared"));
}

TEST(Comparison, TableFitsTheTerminalAndSaysItPlainly) {
  const std::string table = ComparisonTable(Trimmed(), false);
  std::istringstream lines(table);
  for (std::string line; std::getline(lines, line);) {
    EXPECT_LE(Columns(line), 80) << line;
  }
  std::string in_a_row = table;
  std::replace(in_a_row.begin(), in_a_row.end(), '\n', ' ');
  EXPECT_THAT(in_a_row, HasSubstr("changed"));
  EXPECT_THAT(in_a_row, HasSubstr("no change that these photos can show"));
  const Trim trim;
  const FootReport foot = ReportOf(trim.sole_before, trim.side_before);
  const auto none = CompareReports(Saved(foot), Saved(foot));
  EXPECT_THAT(ComparisonTable(*none, false),
              HasSubstr("No change that these photos can show"));
}

// python3-jsonschema (Debian's), an implementation of its own.
TEST(Comparison, JsonKeepsToItsSchemaSaysASecondValidator) {
  const std::filesystem::path folder =
      std::filesystem::path(testing::TempDir()) /
      ("comparison_" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  FootReport shod = ReportOf({}, {});
  shod.shod = true;
  shod.horse.reset();
  shod.date.reset();
  const auto mixed = CompareReports(Saved(ReportOf({}, {})), Saved(shod));
  int number = 0;
  for (const Comparison& comparison : {Trimmed(), *mixed}) {
    std::ofstream(folder / "schema.json") << ComparisonSchema();
    const auto name = folder / (std::to_string(number++) + ".json");
    std::ofstream(name) << ComparisonText(comparison);
    const std::string command =
        std::string(PLUMBFOOT_PYTHON) +
        " -c 'import json,sys,jsonschema;"
        "jsonschema.Draft7Validator(json.load(open(sys.argv[1]))).validate("
        "json.load(open(sys.argv[2])))' '" +
        (folder / "schema.json").string() + "' '" + name.string() + "'";
    // NOLINTNEXTLINE(cert-env33-c): a fixed command on files made here.
    EXPECT_EQ(std::system(command.c_str()), 0);
  }
  std::filesystem::remove_all(folder);
}

TEST(SavedReport, GivesBackWhatTheReportHolds) {
  FootReport report = ReportOf({}, {});
  report.stage = Stage::kAfterTrim;
  const SavedReport saved = Saved(report);
  EXPECT_EQ(saved.foot, report.foot);
  EXPECT_EQ(saved.horse, report.horse);
  EXPECT_EQ(saved.date, report.date);
  EXPECT_EQ(saved.stage, report.stage);
  ASSERT_TRUE(saved.solar && saved.lateral);
  EXPECT_EQ(saved.solar->measured_mm, 149.4);
  EXPECT_EQ(saved.solar->outline.size(), report.solar->measures.outline.size());
  EXPECT_NEAR(saved.lateral->at(PointId::kToeHairline)->y,
              report.lateral->measures.points
                  .at(static_cast<std::size_t>(PointId::kToeHairline))
                  ->mm.y,
              1e-6);
  for (const auto& [id, outcome] : report.solar->measures.outcomes) {
    const auto& a = std::get<measure::Measured>(outcome);
    const auto& b = std::get<measure::Measured>(saved.outcomes.at(id));
    EXPECT_NEAR(a.value, b.value, 1e-6);
    EXPECT_NEAR(a.standard_uncertainty, b.standard_uncertainty, 1e-6);
    EXPECT_NEAR(a.shared_uncertainty, b.shared_uncertainty, 1e-6);
  }
  // The summary that a casebook keeps: no points.
  json summary = ToJson(report);
  summary.erase("points");
  const auto read = ReadReport(summary);
  ASSERT_TRUE(read.has_value());
  EXPECT_TRUE(read->solar->outline.empty());
  EXPECT_EQ(read->outcomes.size(), measure::kMeasureCount);
}

TEST(SavedReport, RefusesWhatIsNone) {
  EXPECT_EQ(ReadReport(json::array()).error().code, RefusalCode::kNotOurFormat);
  json report = ToJson(ReportOf({}, {}));
  report["version"] = 2;
  EXPECT_EQ(ReadReport(report).error().code, RefusalCode::kVersionUnknown);
  report["version"] = 1;
  report["measures"]["toe_angle"].erase("value");
  EXPECT_EQ(ReadReport(report).error().code, RefusalCode::kNotOurFormat);
  EXPECT_EQ(LoadReport("/nowhere/report.json").error().code,
            RefusalCode::kFileMissing);
}

}  // namespace
}  // namespace plumbfoot::report
