// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/owner_case.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "plumbfoot/judge/figures.h"
#include "report/invented_owner.h"
#include "support/command.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using testing::Contains;
using testing::HasSubstr;
using testing::Not;

OwnerPage PageOf(const OwnerCase& of, std::string_view language) {
  auto page = MakeOwnerPage(of, *OwnerWordsOf(language));
  EXPECT_TRUE(page) << page.error().message;
  return std::move(*page);
}

TEST(OwnerCase, TellsOfTheMonthsWhereThereAreSome) {
  const OwnerPage page = PageOf(InventedOwnerCase(8), "en");
  ASSERT_EQ(page.plots.size(), 4U);
  ASSERT_EQ(page.visits.size(), 8U);
  EXPECT_EQ(page.visits[0].date, "10 January 2026");
  EXPECT_EQ(page.visits[0].done, "All feet: trimmed, no shoes.");
  const OwnerPlot& left = page.plots[0];
  EXPECT_EQ(left.name, "Left fore");
  EXPECT_EQ(left.chart.panels.size(), 2U);
  EXPECT_EQ(left.chart.panels[0].title, "Toe angle [°]");
  EXPECT_EQ(left.chart.panels[0].target, 55.0);
  EXPECT_EQ(left.chart.panels[0].points.size(), 16U);
  // The truth: 13 mm and 1.6° in six weeks, 0.7° steeper from visit to visit.
  EXPECT_THAT(left.facts[0], HasSubstr("it gains 1"));
  EXPECT_THAT(left.facts[1], HasSubstr("flatter"));
  EXPECT_THAT(left.facts[2], HasSubstr("after the trim"));
  EXPECT_THAT(left.facts[2], HasSubstr("steeper a month"));
  EXPECT_THAT(left.facts[3],
              HasSubstr("the aim is 55°, set by Dr. Moor, vet on 10 January "
                        "2026. The last photo is"));
  EXPECT_THAT(page.plots[1].facts, Not(Contains(HasSubstr("aim"))));
  EXPECT_THAT(page.plots[1].facts, Contains(HasSubstr("no trend")));
}

TEST(OwnerCase, HasNoSecondSheetForOneVisit) {
  const OwnerPage page = PageOf(InventedOwnerCase(1), "en");
  EXPECT_TRUE(page.plots.empty());
  EXPECT_TRUE(page.visits.empty());
  EXPECT_THAT(page.sources, Not(Contains(HasSubstr("Sen PK"))));
}

TEST(OwnerCase, DrawsTheLastVisitsOfALongHistory) {
  const OwnerPage page = PageOf(InventedOwnerCase(20), "de");
  EXPECT_EQ(page.visits.size(), 12U);
  EXPECT_EQ(page.visits.front().number, "9");
  EXPECT_EQ(page.plots[0].chart.panels[0].points.size(), 24U);
  EXPECT_THAT(page.case_words, Contains(HasSubstr("die letzten 12 von 20")));
}

TEST(OwnerCase, SpeaksTheLanguageOnItsPlotsToo) {
  const OwnerPage page = PageOf(InventedOwnerCase(8), "de");
  const draw::TimeChart& chart = page.plots[0].chart;
  EXPECT_EQ(chart.panels[0].title, "Zehenwinkel [°]");
  EXPECT_EQ(chart.words.before, "vor dem Ausschneiden");
  EXPECT_EQ(chart.words.decimal_mark, ",");
  EXPECT_THAT(page.plots[0].facts, Contains(HasSubstr("Das Ziel ist 55°")));
}

// Whatever may stand out has its words in every language, and so has what sends
// to the vet.
TEST(OwnerCase, HasWordsForEveryFigureThatStandsOut) {
  std::size_t found = 0;
  for (const judge::Figure& figure : judge::LoadFigures()) {
    for (const std::string_view language : OwnerLanguages()) {
      const OwnerWords words = *OwnerWordsOf(language);
      if (figure.vet) {
        EXPECT_TRUE(words.Has("vet." + figure.id)) << figure.id;
      }
      if (!figure.stands_out) continue;
      ++found;
      EXPECT_TRUE(words.Has("source." + figure.id)) << figure.id;
      for (const std::string relation : {"below", "above"}) {
        // A limit is passed on one side only.
        const bool passed =
            !figure.side ||
            relation == (*figure.side == judge::LimitSide::kLessThan ||
                                 *figure.side == judge::LimitSide::kAtMost
                             ? "below"
                             : "above");
        EXPECT_EQ(words.Has("stands_out." + figure.id + "." + relation), passed)
            << language << ": " << figure.id << " " << relation;
      }
    }
  }
  EXPECT_GE(found, 4U * 2);
}

TEST(OwnerCase, SaysWhatStandsOutInItsLanguage) {
  OwnerCase of = InventedOwnerCase(1);
  of.feet.resize(1);
  nlohmann::json& report = of.feet[0].now.report;
  report["measures"]["toe_heel_difference"]["value"] = 12.0;
  report["measures"]["toe_heel_difference"]["interval95"] = {11.0, 13.0};
  report["measures"]["toe_heel_difference"]["standard_uncertainty"] = 0.5;
  report["observations"] = {{{"measure", "toe_heel_difference"},
                             {"figures", {"heel_show_to_vet"}},
                             {"relation", "above"},
                             {"words", "English words."},
                             {"citations", {"common practice"}},
                             {"stands_out", true}},
                            {{"measure", "toe_angle"},
                             {"figures", {"of_the_future"}},
                             {"relation", "above"},
                             {"words", "English words."},
                             {"citations", {"Somebody 2030"}},
                             {"stands_out", true}}};
  report["cautions"] = {{{"code", "heel_show_to_vet"},
                         {"kind", "vet"},
                         {"words", "English words."},
                         {"why", "English words."}}};
  const OwnerPage page = PageOf(of, "de");
  ASSERT_EQ(page.feet[0].stands_out.size(), 2U);
  EXPECT_THAT(page.feet[0].stands_out[0],
              HasSubstr("12,0° ± 1,0° flacher als die Zehe"));
  EXPECT_THAT(page.feet[0].stands_out[1], HasSubstr("Eine Zahl dieses Hufs"));
  EXPECT_THAT(page.call_the_vet,
              Contains(HasSubstr("Zeigen Sie das einem Tierarzt")));
  EXPECT_THAT(page.sources, Contains("Somebody 2030"));
  const OwnerWords words = *OwnerWordsOf("de");
  EXPECT_THAT(OwnerHtml(page, words), Not(HasSubstr("English words")));
}

// poppler-utils: pdfinfo, pdftotext.
TEST(OwnerCase, TakesOneSheetAndASecondForTheCase) {
  for (const auto& [visits, wordy] :
       {std::pair{1, true}, std::pair{6, true}, std::pair{20, true}}) {
    const OwnerWords words = *OwnerWordsOf("de");
    const OwnerPage page = PageOf(InventedOwnerCase(visits, wordy), "de");
    const fs::path pdf =
        fs::path(testing::TempDir()) / (std::to_string(getpid()) + "-case.pdf");
    std::ofstream(pdf, std::ios::binary) << OwnerPdf(page, words);
    const auto info = tests::RunCommand({"pdfinfo", pdf.string()});
    EXPECT_THAT(
        info.out,
        HasSubstr("Pages:           " + std::to_string(visits == 1 ? 1 : 2)));
    const auto text =
        tests::RunCommand({"pdftotext", "-layout", pdf.string(), "-"});
    EXPECT_THAT(text.out, HasSubstr(words.Say("heading.call_the_vet")));
    if (visits > 1) {
      // All of it: nothing has run off the sheet.
      EXPECT_THAT(text.out, HasSubstr(page.visits.back().date));
      EXPECT_THAT(text.out, HasSubstr("Zehenwinkel [°]"));
    }
    fs::remove(pdf);
  }
}

}  // namespace
}  // namespace plumbfoot::report
