// SPDX-License-Identifier: Apache-2.0
//
// The demo's yard (demo/yard.json), whose growth, trims and drift are known,
// from points with noise instead of rendered photos. With the photos:
// tests/studies/run demo-case.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <numbers>
#include <string>
#include <vector>

#include "plumbfoot/report/comparison.h"
#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/report_json.h"
#include "report/history_words.h"
#include "report/measured_report.h"

namespace plumbfoot::report {
namespace {

using measure::MeasureId;
using nlohmann::json;

struct Shape {
  measure::Sole sole;
  measure::Side side;

  double Truth(MeasureId id) const {
    return measure::InfoOf(id).view == View::kSolar ? sole.Truth(id)
                                                    : side.Truth(id);
  }
};

/// As make_case: what the toe and the heel gain runs forward on the ground.
void Take(const json& step, double times, Shape& shape) {
  constexpr double kDegree = std::numbers::pi / 180;
  const double toe = times * step.value("toe_mm", 0.0);
  const double heel = times * step.value("heel_mm", 0.0);
  const double forward = toe * std::cos(shape.side.toe_angle * kDegree) -
                         heel * std::cos(shape.side.heel_angle * kDegree);
  shape.sole.length += forward;
  shape.side.support += forward;
  shape.side.toe_length += toe;
  shape.side.heel_length += heel;
  shape.side.toe_angle += times * step.value("toe_angle_deg", 0.0);
  shape.side.heel_angle += times * step.value("heel_angle_deg", 0.0);
}

Shape ShapeOf(const json& wishes) {
  Shape shape;
  shape.sole.length = wishes.value("length", shape.sole.length);
  shape.side.toe_angle = wishes.value("toe_angle", shape.side.toe_angle);
  shape.side.heel_angle = wishes.value("heel_angle", shape.side.heel_angle);
  shape.side.toe_length = wishes.value("dorsal_length", shape.side.toe_length);
  shape.side.heel_length = wishes.value("heel_length", shape.side.heel_length);
  shape.side.pastern_angle =
      wishes.value("pastern_angle", shape.side.pastern_angle);
  return shape;
}

struct Told {
  SavedReport report;
  Shape truth;
  int day = 0;
};

/// Every foot of a horse at every visit, measured and as it truly was.
std::map<Foot, std::vector<Told>> Measure(const json& horse,
                                          geometry::Random& random) {
  std::map<Foot, std::vector<Told>> told;
  for (const auto& [code, wishes] : horse.at("feet").items()) {
    const Foot foot = *geometry::ParseFoot(code);
    Shape shape = ShapeOf(wishes.value("shape", json::object()));
    int before = 0;
    for (const json& visit : horse.at("visits")) {
      const auto date = visit.at("date").get<std::string>();
      const int day = DayOfDate(date);
      if (before != 0) Take(wishes.at("per_day"), day - before, shape);
      before = day;
      const json trim = visit.value("trim", json::object());
      for (const Stage stage : {Stage::kBeforeTrim, Stage::kAfterTrim}) {
        if (stage == Stage::kAfterTrim) {
          if (!trim.contains(code)) continue;
          Take(trim.at(code), 1.0, shape);
        }
        FootReport report = ReportOf(shape.sole, shape.side, &random);
        report.foot = foot;
        report.date = date;
        report.stage = stage;
        told[foot].push_back({*ReadReport(ToJson(report)), shape, day});
      }
    }
  }
  return told;
}

const Told& At(const std::vector<Told>& told, int day, Stage stage) {
  return *std::find_if(told.begin(), told.end(), [&](const Told& t) {
    return t.day == day && t.report.stage == stage;
  });
}

/// How often something held.
struct Tally {
  int held = 0;
  int of = 0;
  void Add(bool holds) {
    ++of;
    held += holds ? 1 : 0;
  }
};

/// Growth and drift between visits against the truth.
void TallySpells(const HorseHistory& history,
                 const std::map<Foot, std::vector<Told>>& told,
                 Tally& spells,
                 Tally& means) {
  for (const FootHistory& foot : history.feet) {
    const std::vector<Told>& truth = told.at(foot.foot);
    for (const MeasureHistory& of : foot.measures) {
      if (!Grows(of.id) && !Drifts(of.id)) continue;
      double gained = 0.0;
      int days = 0;
      for (const Spell& spell : of.spells) {
        const double gain =
            At(truth, spell.to_day, Stage::kBeforeTrim).truth.Truth(of.id) -
            At(truth, spell.from_day, Stage::kAfterTrim).truth.Truth(of.id);
        const int over = spell.to_day - spell.from_day;
        spells.Add(spell.rate.low95 <= gain / over &&
                   gain / over <= spell.rate.high95);
        gained += gain;
        days += over;
      }
      if (!of.mean_rate) continue;
      means.Add(of.mean_rate->low95 <= gained / days &&
                gained / days <= of.mean_rate->high95);
    }
  }
}

/// Trims, and visits after which a foot was what it had been.
void TallyChanges(const std::vector<Told>& told,
                  Tally& trims,
                  Tally& found,
                  Tally& unchanged) {
  for (std::size_t i = 0; i < told.size(); ++i) {
    for (std::size_t k = i + 1; k < told.size(); ++k) {
      const bool trim = told[i].day == told[k].day;
      const bool after = told[i].report.stage == Stage::kAfterTrim &&
                         told[k].report.stage == Stage::kAfterTrim;
      if (!trim && !after) continue;
      const auto comparison = CompareReports(told[i].report, told[k].report);
      ASSERT_TRUE(comparison.has_value());
      bool alike = true;
      for (const auto& [id, of] : comparison->change.comparisons) {
        const auto* change = std::get_if<trend::Change>(&of);
        const double truth = told[k].truth.Truth(id) - told[i].truth.Truth(id);
        // A trim is given with two decimals.
        alike = alike && std::abs(truth) < 1e-6;
        if (change == nullptr || !trim) continue;
        trims.Add(change->low95 <= truth && truth <= change->high95);
        if (id == MeasureId::kDorsalWallLength) {
          found.Add(change->changed && (change->difference > 0) == (truth > 0));
        }
      }
      if (alike) unchanged.Add(!comparison->change.changed());
    }
  }
}

TEST(DemoCase, TheTruthLiesInsideWhatIsPrinted) {
  std::ifstream file(PLUMBFOOT_DEMO_YARD);
  ASSERT_TRUE(file) << PLUMBFOOT_DEMO_YARD;
  const json yard = json::parse(file);
  Tally spells;
  Tally means;
  Tally trims;
  Tally found;
  Tally unchanged;
  for (const std::uint64_t seed : {1U, 2U, 3U}) {
    geometry::Random random(seed);
    for (const json& horse : yard.at("horses")) {
      const auto told = Measure(horse, random);
      HistoryRequest request;
      request.horse = horse.at("name");
      for (const auto& [foot, of] : told) {
        for (const Told& t : of) request.reports.push_back(t.report);
        TallyChanges(of, trims, found, unchanged);
      }
      const auto history = MakeHistory(std::move(request));
      ASSERT_TRUE(history.has_value());
      TallySpells(*history, told, spells, means);
    }
  }
  const auto share = [](const Tally& tally) {
    return static_cast<double>(tally.held) / tally.of;
  };
  // Measures of one photo go together, so that the counts spread more than
  // binomially: 95 in 100, give or take.
  EXPECT_GE(spells.of, 600);
  EXPECT_GE(share(spells), 0.92);
  EXPECT_GE(means.of, 120);
  EXPECT_GE(share(means), 0.90);
  EXPECT_GE(trims.of, 2000);
  EXPECT_GE(share(trims), 0.92);
  // Every trim took 9 mm or more off the toe.
  EXPECT_GE(found.of, 70);
  EXPECT_EQ(found.held, found.of);
  // The hind feet of Juno and both of Bramble's were trimmed back to what they
  // had been: false alarms at most 5 in 100, and three standard deviations.
  EXPECT_GE(unchanged.of, 90);
  EXPECT_GE(share(unchanged), 0.95 - 3 * std::sqrt(0.05 * 0.95 / unchanged.of));
  std::cout << "spells " << spells.held << "/" << spells.of << ", means "
            << means.held << "/" << means.of << ", trims " << trims.held << "/"
            << trims.of << ", unchanged " << unchanged.held << "/"
            << unchanged.of << "\n";
}

}  // namespace
}  // namespace plumbfoot::report
