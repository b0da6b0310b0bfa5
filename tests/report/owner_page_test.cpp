// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/owner_page.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "plumbfoot/report/owner_words.h"
#include "report/owner_sample.h"
#include "support/command.h"

namespace plumbfoot::report {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::Not;

OwnerWords Words(std::string_view language) {
  auto words = OwnerWordsOf(language);
  EXPECT_TRUE(words) << words.error().message;
  return *words;
}

fs::path Written(const std::string& name, const std::string& bytes) {
  const fs::path path =
      fs::path(testing::TempDir()) / (std::to_string(getpid()) + "-" + name);
  std::ofstream(path, std::ios::binary) << bytes;
  return path;
}

TEST(OwnerWords, FillPlacesNumbersAndDates) {
  const OwnerWords english = Words("en");
  EXPECT_EQ(english.Date("2026-03-04"), "4 March 2026");
  EXPECT_EQ(english.Number("50.2°"), "50.2°");
  EXPECT_EQ(english.Say("title", {{"horse", "Juno"}, {"date", "today"}}),
            "Juno: feet on today");
  const OwnerWords german = Words("de");
  EXPECT_EQ(german.Date("2026-03-04"), "4. März 2026");
  EXPECT_EQ(german.Number("50.2 ± 0.6"), "50,2 ± 0,6");
}

TEST(OwnerWords, EveryLanguageSaysEverything) {
  const OwnerWords english = Words("en");
  for (const std::string_view language : OwnerLanguages()) {
    const OwnerWords words = Words(language);
    EXPECT_EQ(words.language(), language);
    EXPECT_EQ(words.texts().size(), english.texts().size()) << language;
    for (const auto& [key, text] : words.texts()) {
      EXPECT_FALSE(text.empty()) << language << ": " << key;
    }
  }
}

TEST(OwnerWords, AFileThatLacksATextIsNamed) {
  const OwnerWords english = Words("en");
  nlohmann::json file = {{"format", "plumbfoot-words"},
                         {"version", 1},
                         {"language", "eo"},
                         {"texts", english.texts()}};
  ASSERT_TRUE(ParseOwnerWords(file.dump()));
  file["texts"]["title"] = "{horse}";
  auto refused = ParseOwnerWords(file.dump());
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().code, RefusalCode::kNotOurFormat);
  EXPECT_THAT(refused.error().message, HasSubstr("\"title\""));
  file["texts"].erase("title");
  EXPECT_THAT(ParseOwnerWords(file.dump()).error().message,
              HasSubstr("\"title\" is missing"));
  file["version"] = 2;
  EXPECT_EQ(ParseOwnerWords(file.dump()).error().code,
            RefusalCode::kVersionUnknown);
  EXPECT_EQ(ParseOwnerWords("{").error().code, RefusalCode::kNotJson);
  EXPECT_EQ(OwnerWordsOf("xx").error().code, RefusalCode::kUsage);
}

TEST(OwnerHtml, IsOneFileThatLoadsNothing) {
  const OwnerWords words = Words("en");
  const std::string html = OwnerHtml(SampleOwnerPage(words), words);
  EXPECT_THAT(html, HasSubstr("<html lang=\"en\">"));
  EXPECT_THAT(html, HasSubstr("Juno: feet on 14 March 2026"));
  EXPECT_THAT(html, HasSubstr("href=\"tel:+4401632960123\""));
  EXPECT_THAT(html, Not(HasSubstr("http")));
  EXPECT_THAT(html, Not(HasSubstr("<script")));
  EXPECT_THAT(html, Not(HasSubstr("{{")));
}

TEST(OwnerHtml, WhatPeopleWriteIsText) {
  const OwnerWords words = Words("en");
  OwnerPage page = SampleOwnerPage(words);
  page.title = "<b>Juno</b> & co";
  page.vet = "\"<script>alert(1)</script>\"";
  page.feet[0].pictures[0].words = "\"><script>";
  const std::string html = OwnerHtml(page, words);
  EXPECT_THAT(html, Not(HasSubstr("<script")));
  EXPECT_THAT(html, HasSubstr("&lt;b&gt;Juno&lt;/b&gt; &amp; co"));
}

// poppler-utils: pdfinfo, pdffonts, pdftotext.
TEST(OwnerPdf, IsAnA4SheetWithItsFontsInside) {
  for (const std::string_view language : OwnerLanguages()) {
    const OwnerWords words = Words(language);
    const OwnerPage page = SampleOwnerPage(words);
    const fs::path pdf = Written("owner.pdf", OwnerPdf(page, words));
    const auto info = tests::RunCommand({"pdfinfo", pdf.string()});
    ASSERT_EQ(info.status, 0) << info.err;
    EXPECT_THAT(info.out, HasSubstr("Pages:           1"));
    EXPECT_THAT(info.out, HasSubstr("(A4)"));
    const auto fonts = tests::RunCommand({"pdffonts", pdf.string()});
    EXPECT_THAT(fonts.out, HasSubstr(" yes "));
    EXPECT_THAT(fonts.out, Not(HasSubstr(" no  yes no")));
    const auto text =
        tests::RunCommand({"pdftotext", "-layout", pdf.string(), "-"});
    EXPECT_THAT(text.out, HasSubstr(page.title));
    EXPECT_THAT(text.out, HasSubstr(words.Say("heading.next")));
    EXPECT_THAT(text.out, HasSubstr(page.telephone));
    fs::remove(pdf);
  }
}

TEST(OwnerPdf, PutsTheCaseOnASecondSheet) {
  const OwnerWords words = Words("en");
  OwnerPage page = SampleOwnerPage(words);
  OwnerPlot plot;
  plot.name = "Left fore";
  plot.words = "Toe angle over the visits";
  plot.facts = {"Toe angle: 1° steeper."};
  draw::TimePanel panel;
  panel.title = "Toe angle [°]";
  panel.points = {{0.0, 50.0, 49.0, 51.0, draw::TimeMark::kAfter},
                  {42.0, 51.0, 50.0, 52.0, draw::TimeMark::kBefore}};
  plot.chart.panels = {panel};
  page.plots = {plot, plot};
  const fs::path pdf = Written("case.pdf", OwnerPdf(page, words));
  const auto info = tests::RunCommand({"pdfinfo", pdf.string()});
  EXPECT_THAT(info.out, HasSubstr("Pages:           2"));
  fs::remove(pdf);
}

}  // namespace
}  // namespace plumbfoot::report
