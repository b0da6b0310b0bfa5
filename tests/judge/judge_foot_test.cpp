// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/judge_foot.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <set>

#include "plumbfoot/judge/figures.h"

namespace plumbfoot::judge {
namespace {

using measure::Measured;
using measure::MeasureId;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

/// A value with a 95 % interval of +/- half.
Measured Value(double value, double half = 0.0) {
  return {value, half / 1.96, value - half, value + half, PlacedBy::kPerson};
}

ViewToJudge Photo(const measure::Outcomes& outcomes) {
  ViewToJudge photo;
  photo.outcomes = outcomes;
  photo.scale = geometry::ScaleSource::kCard;
  photo.print_checked = true;
  photo.tilt_deg = 5.0;
  return photo;
}

Verdict Judge(Foot foot, MeasureId id, Measured value) {
  // The view doesn't matter to the figures, only to the photo's cautions.
  return JudgeFoot(foot, false, std::nullopt, Photo({{id, value}}));
}

std::optional<Observation> Find(const Verdict& verdict, const std::string& id) {
  for (const Observation& o : verdict.observations) {
    if (std::count(o.figures.begin(), o.figures.end(), id) > 0) return o;
  }
  return std::nullopt;
}

Relation RelationTo(const std::string& figure,
                    MeasureId id,
                    Measured value,
                    Foot foot = Foot::kLeftFore) {
  const auto observation = Find(Judge(foot, id, value), figure);
  EXPECT_TRUE(observation.has_value()) << figure;
  return observation ? observation->relation : Relation::kConflicting;
}

std::vector<std::string> Codes(const Verdict& verdict) {
  std::vector<std::string> codes;
  for (const Caution& c : verdict.cautions) codes.push_back(c.code);
  return codes;
}

// Turner: under-run if the heel is 5 degrees or more below the toe.
TEST(JudgeFoot, CallsAHeelUnderRunFromFiveDegreesOn) {
  const auto relation = [](double value, double half) {
    return RelationTo(
        "heel_under_run", MeasureId::kToeHeelDifference, Value(value, half));
  };
  EXPECT_EQ(relation(4.9, 0), Relation::kWithin);
  EXPECT_EQ(relation(5.0, 0), Relation::kAbove);
  EXPECT_EQ(relation(-3.0, 0), Relation::kWithin);
  // With a real uncertainty the whole interval must lie beyond.
  EXPECT_EQ(relation(5.0, 0.8), Relation::kCrosses);
  EXPECT_EQ(relation(5.7, 0.8), Relation::kCrosses);
  EXPECT_EQ(relation(5.9, 0.8), Relation::kAbove);
  EXPECT_EQ(relation(4.3, 0.8), Relation::kCrosses);
  EXPECT_EQ(relation(4.1, 0.8), Relation::kWithin);
}

TEST(JudgeFoot, SaysPlainlyWhatAPhotoCantTell) {
  const auto o = Find(
      Judge(Foot::kLeftFore, MeasureId::kToeHeelDifference, Value(5.0, 0.8)),
      "heel_under_run");
  ASSERT_TRUE(o.has_value());
  EXPECT_FALSE(o->stands_out);
  EXPECT_THAT(o->words, HasSubstr("can't be told from this photo"));
  EXPECT_THAT(o->words, HasSubstr("4.2° to 5.8°"));
}

// The cut-off of 10 degrees is common practice.
TEST(JudgeFoot, SendsToAVetOnlyWhatIsWhollyBeyondTenDegrees) {
  const auto codes = [](double value, double half) {
    return Codes(Judge(
        Foot::kLeftHind, MeasureId::kToeHeelDifference, Value(value, half)));
  };
  EXPECT_THAT(codes(9.9, 0), Not(Contains("heel_show_to_vet")));
  EXPECT_THAT(codes(10.0, 0), Contains("heel_show_to_vet"));
  EXPECT_THAT(codes(10.5, 0.8), Not(Contains("heel_show_to_vet")));
  EXPECT_THAT(codes(11.0, 0.8), Contains("heel_show_to_vet"));
}

// Turner: frog narrower than 67 % of its length; Taylor: 50-60 % is healthy.
// They disagree, so neither is a verdict unless both say the same.
TEST(JudgeFoot, ShowsTheFrogsSourcesAsConflicting) {
  const auto observe = [](double value, double half) {
    return *Find(Judge(Foot::kRightFore,
                       MeasureId::kFrogWidthToLength,
                       Value(value, half)),
                 "frog_turner");
  };
  EXPECT_EQ(observe(0.669, 0).relation, Relation::kConflicting);
  EXPECT_EQ(observe(0.670, 0).relation, Relation::kConflicting);
  EXPECT_EQ(observe(0.55, 0.02).relation, Relation::kConflicting);
  EXPECT_EQ(observe(0.45, 0.02).relation, Relation::kBelow);
  for (const double value : {0.3, 0.45, 0.55, 0.63, 0.66, 0.8}) {
    const Observation o = observe(value, 0.02);
    EXPECT_FALSE(o.stands_out) << value;
    EXPECT_THAT(o.figures, ElementsAre("frog_turner", "frog_taylor"));
    EXPECT_EQ(o.citations.size(), 2U);
    EXPECT_THAT(o.words, HasSubstr("Sources disagree"));
  }
}

// Turner: hoof lower than pastern is broken back, steeper broken forward.
TEST(JudgeFoot, TellsBrokenBackFromBrokenForward) {
  const auto relation = [](double value, double half = 0.0) {
    return RelationTo("pastern_straight",
                      MeasureId::kHoofPasternDifference,
                      Value(value, half));
  };
  EXPECT_EQ(relation(-0.1), Relation::kBelow);
  EXPECT_EQ(relation(0.0), Relation::kWithin);
  EXPECT_EQ(relation(0.1), Relation::kAbove);
  EXPECT_EQ(relation(-0.5, 0.8), Relation::kWithin);
  EXPECT_EQ(relation(-0.9, 0.8), Relation::kBelow);
}

// The tolerance of 3 degrees is common practice.
TEST(JudgeFoot, LetsThreeDegreesOffThePasternPass) {
  const auto verdict = [](double value) {
    return Judge(
        Foot::kLeftFore, MeasureId::kHoofPasternDifference, Value(value));
  };
  EXPECT_FALSE(Find(verdict(-3.0), "pastern_tolerance")->stands_out);
  EXPECT_FALSE(Find(verdict(3.0), "pastern_tolerance")->stands_out);
  EXPECT_TRUE(Find(verdict(-3.1), "pastern_tolerance")->stands_out);
  EXPECT_TRUE(Find(verdict(3.1), "pastern_tolerance")->stands_out);
  // Only broken back, and only with lameness, is a vet's matter.
  EXPECT_THAT(Codes(verdict(-3.1)), Contains("pastern_tolerance"));
  EXPECT_THAT(Codes(verdict(3.1)), Not(Contains("pastern_tolerance")));
  EXPECT_THAT(verdict(-3.1).cautions.front().words, HasSubstr("also lame"));
}

// Wiggers 2015: 49.9 flat, 50 to 55 medium, 55.1 upright.
TEST(JudgeFoot, ClassesToesAtTheirEdges) {
  const auto observe = [](double value) {
    return *Find(Judge(Foot::kLeftFore, MeasureId::kToeAngle, Value(value)),
                 "toe_angle_classes");
  };
  EXPECT_EQ(observe(49.9).relation, Relation::kBelow);
  EXPECT_THAT(observe(49.9).words, HasSubstr("this toe is flat"));
  EXPECT_EQ(observe(50.0).relation, Relation::kWithin);
  EXPECT_EQ(observe(55.0).relation, Relation::kWithin);
  EXPECT_THAT(observe(55.0).words, HasSubstr("this toe is medium"));
  EXPECT_EQ(observe(55.1).relation, Relation::kAbove);
  EXPECT_THAT(observe(55.1).words, HasSubstr("this toe is upright"));
}

// Dyson 2011 (quoted): toe height no more than three times heel height.
TEST(JudgeFoot, WantsTheHeelAThirdAsHighAsTheToe) {
  const auto relation = [](double heel, double toe) {
    return RelationTo(
        "heel_height_third", MeasureId::kHeelToToeHeight, Value(heel / toe));
  };
  EXPECT_EQ(relation(25, 75), Relation::kWithin);
  EXPECT_EQ(relation(25, 75.1), Relation::kBelow);
  EXPECT_EQ(relation(40, 75), Relation::kWithin);
}

// Fore and hind feet have different figures: 52 degrees is above the old norm
// of 45 to 50 for a fore foot and inside that of 50 to 55 for a hind foot.
TEST(JudgeFoot, HasOtherFiguresForAHindFoot) {
  const Verdict fore =
      Judge(Foot::kRightFore, MeasureId::kToeAngle, Value(52.0, 0.5));
  const Verdict hind =
      Judge(Foot::kRightHind, MeasureId::kToeAngle, Value(52.0, 0.5));
  EXPECT_FALSE(Find(fore, "toe_angle_norm_hind").has_value());
  EXPECT_FALSE(Find(hind, "toe_angle_norm_fore").has_value());
  EXPECT_EQ(Find(hind, "toe_angle_norm_hind")->relation, Relation::kWithin);
  EXPECT_EQ(Find(fore, "toe_angle_norm_fore")->relation,
            Relation::kConflicting);
  EXPECT_THAT(Find(fore, "toe_angle_norm_fore")->words,
              HasSubstr("disagree about a fore foot"));
}

TEST(JudgeFoot, SaysSoWhereDisagreeingSourcesAgreeOnAFoot) {
  const auto o = Find(Judge(Foot::kLeftFore, MeasureId::kToeAngle, Value(40.0)),
                      "toe_angle_hickman");
  ASSERT_TRUE(o.has_value());
  EXPECT_EQ(o->relation, Relation::kBelow);
  EXPECT_THAT(o->words, HasSubstr("below them all"));
  EXPECT_FALSE(o->stands_out);
}

// 2:1 against 2:1.5 in a hind foot: Stachurska 2008 against Adams & Stashak.
TEST(JudgeFoot, ShowsToeToHeelOfAHindFootAsConflicting) {
  const auto o = Find(
      Judge(Foot::kLeftHind, MeasureId::kToeToHeelLength, Value(1.9, 0.15)),
      "toe_to_heel_adams_hind");
  ASSERT_TRUE(o.has_value());
  EXPECT_EQ(o->relation, Relation::kConflicting);
  EXPECT_THAT(o->figures, Contains("toe_to_heel_mares"));
}

// Schade 2013, fore: 49.1 - 2 x 5.1 = 38.9, 49.1 + 2 x 5.1 = 59.3 degrees.
TEST(JudgeFoot, HoldsAFootAgainstTheSpreadOfAGroup) {
  const auto relation = [](double value) {
    return RelationTo(
        "toe_angle_cart_fore", MeasureId::kToeAngle, Value(value));
  };
  EXPECT_EQ(relation(38.8), Relation::kBelow);
  EXPECT_EQ(relation(39.0), Relation::kWithin);
  EXPECT_EQ(relation(59.2), Relation::kWithin);
  EXPECT_EQ(relation(59.4), Relation::kAbove);
}

// The outer side of a left foot is its left, of a right foot its right.
TEST(JudgeFoot, TurnsLeftLessRightToOuterLessInner) {
  const auto relation = [](Foot foot) {
    return RelationTo("outer_half_fuller",
                      MeasureId::kHalfWidthDifference,
                      Value(4.0, 1.0),
                      foot);
  };
  EXPECT_EQ(relation(Foot::kLeftFore), Relation::kAbove);
  EXPECT_EQ(relation(Foot::kLeftHind), Relation::kAbove);
  EXPECT_EQ(relation(Foot::kRightFore), Relation::kBelow);
  EXPECT_EQ(relation(Foot::kRightHind), Relation::kBelow);
}

// One third before the point of the frog (common practice): 40 of 120 mm.
TEST(JudgeFoot, SetsThePointOfTheFrogAgainstTheLength) {
  const auto observe = [](double apex) {
    const ViewToJudge photo =
        Photo({{MeasureId::kToeToFrogApex, Value(apex, 1.0)},
               {MeasureId::kBearingLength, Value(120.0, 1.0)}});
    return *Find(JudgeFoot(Foot::kLeftFore, false, photo, std::nullopt),
                 "frog_apex_third");
  };
  EXPECT_EQ(observe(40.0).relation, Relation::kWithin);
  EXPECT_EQ(observe(30.0).relation, Relation::kBelow);
  EXPECT_EQ(observe(50.0).relation, Relation::kAbove);
  EXPECT_THAT(observe(30.0).words, HasSubstr("0.250 ± 0.009"))
      << "hypot(1/30, 1/120) * 0.25 = 0.0086";
}

measure::Outcomes Everything(double step) {
  measure::Outcomes outcomes;
  for (const measure::MeasureInfo& info : measure::AllMeasures()) {
    double value = 0;
    switch (info.unit) {
      case measure::Unit::kMillimetre:
        value = 20 + 20 * step;
        break;
      case measure::Unit::kSquareMillimetre:
        value = 10000 + 1000 * step;
        break;
      case measure::Unit::kDegree:
        value = -15 + 13 * step;
        break;
      case measure::Unit::kPercent:
        value = 40 + 4 * step;
        break;
      case measure::Unit::kRatio:
        value = 0.25 + 0.35 * step;
        break;
    }
    outcomes[info.id] = Value(value, 0.02 * std::abs(value));
  }
  return outcomes;
}

/// Every sentence that may come out, over feet and values.
std::vector<std::string> AllSentences() {
  std::vector<std::string> sentences;
  for (const Foot foot :
       {Foot::kLeftFore, Foot::kRightFore, Foot::kLeftHind, Foot::kRightHind}) {
    for (int step = 0; step <= 6; ++step) {
      ViewToJudge photo = Photo(Everything(step));
      photo.print_checked = step % 2 == 0;
      photo.focal_assumed = step % 2 == 0;
      photo.tilt_deg = 10.0 * step;
      photo.scale = static_cast<geometry::ScaleSource>(step % 3);
      const Verdict verdict = JudgeFoot(foot, step % 2 == 0, photo, photo);
      for (const Observation& o : verdict.observations) {
        sentences.push_back(o.words);
        sentences.insert(
            sentences.end(), o.citations.begin(), o.citations.end());
      }
      for (const Caution& c : verdict.cautions) {
        sentences.push_back(c.words);
        sentences.push_back(c.why);
      }
    }
  }
  return sentences;
}

TEST(JudgeFoot, NeverNamesAnIllnessNorRaisesAnAlarm) {
  const std::vector<std::string> forbidden = {
      "diagnos",   "lame because", "caused by", "laminitis", "founder",
      "navicular", "disease",      "patholog",  "abnormal",  "danger",
      "warning",   "unhealthy",    "defect",    "suffer",    "treat",
      "cure",      "dorsopalmar",  "mediolat",  "palmar",    "from memory",
      "recalled",  "sigma",        "nan",       "inf "};
  const std::vector<std::string> sentences = AllSentences();
  ASSERT_GT(sentences.size(), 500U);
  for (std::string sentence : sentences) {
    std::transform(sentence.begin(),
                   sentence.end(),
                   sentence.begin(),
                   [](unsigned char c) { return std::tolower(c); });
    for (const std::string& word : forbidden) {
      // A title of a book is what it is.
      EXPECT_THAT(sentence, Not(HasSubstr(word)));
    }
  }
}

TEST(JudgeFoot, NeverUsesAFigureFromMemory) {
  std::set<std::string> recalled;
  for (const Figure& f : LoadFigures()) {
    if (f.status == FigureStatus::kFromMemory) recalled.insert(f.id);
  }
  ASSERT_FALSE(recalled.empty());
  for (int step = 0; step <= 6; ++step) {
    const Verdict verdict = JudgeFoot(
        Foot::kLeftFore, false, std::nullopt, Photo(Everything(step)));
    for (const Observation& o : verdict.observations) {
      for (const std::string& id : o.figures) {
        EXPECT_FALSE(recalled.contains(id)) << id;
      }
    }
  }
}

// Pairs and visits are for later: one foot says nothing about them.
TEST(JudgeFoot, LeavesPairsAndVisitsAlone) {
  const Verdict verdict =
      Judge(Foot::kLeftFore, MeasureId::kToeAngle, Value(50.0));
  EXPECT_FALSE(Find(verdict, "toe_angle_uneven_pair").has_value());
  EXPECT_FALSE(Find(verdict, "toe_angle_change_untrimmed").has_value());
}

TEST(JudgeFoot, SaysThatCommonPracticeIsNoMore) {
  const auto o =
      Find(Judge(Foot::kLeftFore, MeasureId::kHairlineAngle, Value(25.0, 1.0)),
           "hairline_usual");
  EXPECT_THAT(o->words, HasSubstr("(Common practice.)"));
}

TEST(JudgeFoot, CitesEveryFigure) {
  const Verdict verdict =
      JudgeFoot(Foot::kLeftFore, false, std::nullopt, Photo(Everything(3)));
  ASSERT_GT(verdict.observations.size(), 15U);
  for (const Observation& o : verdict.observations) {
    EXPECT_EQ(o.figures.size(), o.citations.size());
    EXPECT_FALSE(o.figures.empty());
  }
}

TEST(JudgeFoot, PutsWhatStandsOutFirst) {
  measure::Outcomes outcomes = Everything(3);
  outcomes[MeasureId::kToeHeelDifference] = Value(8.0, 0.5);
  const Verdict verdict =
      JudgeFoot(Foot::kLeftFore, false, std::nullopt, Photo(outcomes));
  EXPECT_TRUE(verdict.observations.front().stands_out);
  EXPECT_TRUE(
      std::is_partitioned(verdict.observations.begin(),
                          verdict.observations.end(),
                          [](const Observation& o) { return o.stands_out; }));
}

TEST(JudgeFoot, HasNothingToCompareWithoutMeasures) {
  const Verdict verdict =
      JudgeFoot(Foot::kLeftFore,
                false,
                Photo({{MeasureId::kToeAngle, measure::NotMeasured{"no toe"}}}),
                std::nullopt);
  EXPECT_TRUE(verdict.observations.empty());
}

TEST(Cautions, AlwaysNameTheUrgentSignsAndTheVet) {
  const auto codes =
      Codes(JudgeFoot(Foot::kLeftFore, false, std::nullopt, std::nullopt));
  EXPECT_THAT(codes,
              ElementsAre("urgent_signs", "law_and_vet_first", "sole_depth"));
}

TEST(Cautions, AskForAPersonsEyeWherePointsWereFoundByTheProgram) {
  Measured found = Value(50.0, 1.0);
  EXPECT_THAT(Codes(Judge(Foot::kLeftFore, MeasureId::kToeAngle, found)),
              Not(Contains("points_not_checked")));
  found.placed_by = PlacedBy::kFinder;
  EXPECT_THAT(Codes(Judge(Foot::kLeftFore, MeasureId::kToeAngle, found)),
              Contains("points_not_checked"));
}

TEST(Cautions, FollowFromThePhoto) {
  ViewToJudge photo = Photo({});
  const auto codes = [&](bool shod) {
    return Codes(JudgeFoot(Foot::kLeftFore, shod, photo, std::nullopt));
  };
  EXPECT_THAT(codes(true), Contains("shod"));
  EXPECT_THAT(codes(false), Not(Contains("shod")));
  EXPECT_THAT(codes(false), Not(Contains("print_not_checked")));
  photo.print_checked = false;
  EXPECT_THAT(codes(false), Contains("print_not_checked"));
  photo.tilt_deg = 15.0;
  EXPECT_THAT(codes(false), Not(Contains("solar_not_square")));
  photo.tilt_deg = 15.1;
  EXPECT_THAT(codes(false), Contains("solar_not_square"));
  photo.focal_assumed = true;
  EXPECT_THAT(codes(false), Contains("focal_assumed"));
  photo.scale = geometry::ScaleSource::kNone;
  EXPECT_THAT(codes(false), Contains("solar_no_scale"));
  EXPECT_THAT(codes(false), Not(Contains("print_not_checked")));
  photo.scale = geometry::ScaleSource::kKnownLength;
  EXPECT_THAT(codes(false), Contains("solar_known_length"));
}

}  // namespace
}  // namespace plumbfoot::judge
