// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/sort_photos.h"

#include <gtest/gtest.h>

namespace plumbfoot::casebook {
namespace {

constexpr auto kLf = Foot::kLeftFore;
constexpr auto kRf = Foot::kRightFore;
constexpr auto kLh = Foot::kLeftHind;
constexpr auto kRh = Foot::kRightHind;
constexpr auto kSolar = View::kSolar;
constexpr auto kLateral = View::kLateral;
constexpr auto kBefore = Stage::kBeforeTrim;
constexpr auto kAfter = Stage::kAfterTrim;
constexpr auto kShod = Stage::kAfterShoeing;
constexpr std::nullopt_t kOpen = std::nullopt;

TEST(ReadPlace, IsGenerousWithNames) {
  const struct {
    const char* name;
    PhotoPlace place;
  } names[] = {
      {"LF-solar-before.jpg", {kLf, kSolar, kBefore}},
      {"before_lf_sole.JPG", {kLf, kSolar, kBefore}},
      {"2026-03-14 rh lateral after trim.heic", {kRh, kLateral, kAfter}},
      {"RightHindSideAfterShoeing.png", {kRh, kLateral, kShod}},
      {"offhind-sole-post.jpg", {kRh, kSolar, kAfter}},
      {"near-fore side pre-trim.jpg", {kLf, kLateral, kBefore}},
      {"nearside-hind-solar-shod.jpg", {kLh, kSolar, kShod}},
      {"Juno near side fore sole before (2).jpg", {kLf, kSolar, kBefore}},
      {"photo of the left hind, side, trimmed.jpg", {kLh, kLateral, kAfter}},
      {"OF-sole-before.jpg", {kRf, kSolar, kBefore}},
      {"front_right_lat_before.jpg", {kRf, kLateral, kBefore}},
      {"l.hind-bottom-other.jpg", {kLh, kSolar, Stage::kOther}},
      {"LF12solar3before.jpg", {kLf, kSolar, kBefore}},
      {"IMG_1234.jpg", {kOpen, kOpen, kOpen}},
      {"LF-solar.jpg", {kLf, kSolar, kOpen}},
      // Said in two ways.
      {"LF-RF-solar-before.jpg", {kOpen, kSolar, kBefore}},
      {"LF-solar-lateral-before.jpg", {kLf, kOpen, kBefore}},
      {"LF-solar-before-after.jpg", {kLf, kSolar, kOpen}},
      {"LF-solar-before-shoeing.jpg", {kLf, kSolar, kOpen}},
      // Words that only begin like ours.
      {"Nearly-Beforehand-Solaris.jpg", {kOpen, kOpen, kOpen}},
      {"self-offer-sideways.jpg", {kOpen, kOpen, kOpen}},
  };
  for (const auto& [name, place] : names) {
    EXPECT_EQ(ReadPlace(name), place) << name;
  }
}

TEST(ParseTable, ReadsWhatSpreadsheetsWrite) {
  // Quotation after RFC 4180, section 2, rules 5 to 7.
  const auto rows = ParseTable(
      "\xEF\xBB\xBFPhoto,Foot,View,Stage\r\n"
      "\"IMG \"\"1\"\", 2.jpg\",LF,sole,before\r\n"
      "RF-side.jpg,,,shod\r\n"
      "\r\n"
      "x.jpg,,,\r\n");
  ASSERT_TRUE(rows) << rows.error().message;
  ASSERT_EQ(rows->size(), 3U);
  EXPECT_EQ((*rows)[0].photo, "IMG \"1\", 2.jpg");
  EXPECT_EQ((*rows)[0].place, (PhotoPlace{kLf, kSolar, kBefore}));
  EXPECT_EQ((*rows)[1].place, (PhotoPlace{kRf, kLateral, kShod}));
  EXPECT_EQ((*rows)[2].place, PhotoPlace{});
  for (const char separator : {';', '\t'}) {
    std::string text = "stage;photo;points\nafter;LH-sole.jpg;p.json";
    for (char& c : text) {
      if (c == ';') c = separator;
    }
    const auto other = ParseTable(text);
    ASSERT_TRUE(other);
    EXPECT_EQ((*other)[0].place, (PhotoPlace{kLh, kSolar, kAfter}));
    EXPECT_EQ((*other)[0].points, "p.json");
  }
}

TEST(ParseTable, RefusesWhatItDoesNotUnderstand) {
  for (const char* text : {"",
                           "foot,view\nLF,solar",
                           "photo,colour\nx.jpg,red",
                           "photo,foot\nx.jpg,fifth",
                           "photo,foot\n,LF",
                           "photo\n\"x.jpg"}) {
    EXPECT_EQ(ParseTable(text).error().code, RefusalCode::kNotOurFormat)
        << text;
  }
}

TEST(TellStagesByTime, TheEarlierIsBeforeTheTrim) {
  const PhotoPlace open{kLf, kSolar, kOpen};
  const auto tell = [](std::vector<TimedPhoto> photos) {
    TellStagesByTime(photos);
    std::vector<std::optional<Stage>> stages;
    stages.reserve(photos.size());
    for (const TimedPhoto& photo : photos) stages.push_back(photo.place.stage);
    return stages;
  };
  using Stages = std::vector<std::optional<Stage>>;
  const std::string early = "2026-03-14T09:30:00";
  const std::string late = "2026-03-14T10:00:00";
  EXPECT_EQ(tell({{open, late}, {open, early}}), (Stages{kAfter, kBefore}));
  EXPECT_EQ(tell({{{kLf, kSolar, kBefore}, early}, {open, late}}),
            (Stages{kBefore, kAfter}));
  EXPECT_EQ(tell({{{kLf, kSolar, kShod}, late}, {open, early}}),
            (Stages{kShod, kBefore}));
  // What contradicts the times is left open.
  EXPECT_EQ(tell({{{kLf, kSolar, kBefore}, late}, {open, early}}),
            (Stages{kBefore, kOpen}));
  // Two tries one after the other, one alone, three, no time, other views.
  EXPECT_EQ(
      tell({{open, "2026-03-14T09:30:00"}, {open, "2026-03-14T09:31:00"}}),
      (Stages{kOpen, kOpen}));
  EXPECT_EQ(tell({{open, early}}), (Stages{kOpen}));
  EXPECT_EQ(tell({{open, early}, {open, late}, {open, late}}),
            (Stages{kOpen, kOpen, kOpen}));
  EXPECT_EQ(tell({{open, early}, {open, kOpen}}), (Stages{kOpen, kOpen}));
  EXPECT_EQ(tell({{open, early}, {{kLf, kLateral, kOpen}, late}}),
            (Stages{kOpen, kOpen}));
}

}  // namespace
}  // namespace plumbfoot::casebook
