// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/card_sheet.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "draw/outside.h"
#include "plumbfoot/draw/canvas.h"

extern "C" {
#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
}

namespace plumbfoot::draw {
namespace {

namespace fs = std::filesystem;

constexpr double kDotsPerInch = 600;
constexpr double kDotsPerMm = kDotsPerInch / 25.4;

/// A tag as libapriltag sees it: pixel-corner coordinates.
struct SeenTag {
  cv::Point2d centre;
  std::array<cv::Point2d, 4> corners;  // bottom left first, anticlockwise
};

/// What libapriltag finds on a sheet, in millimetres from its top left corner.
std::multimap<int, SeenTag> TagsOf(const cv::Mat& sheet) {
  constexpr double kReduced = 0.25;
  const cv::Rect whole(0, 0, sheet.cols / 4 * 4, sheet.rows / 4 * 4);
  cv::Mat small;
  cv::resize(sheet(whole), small, {}, kReduced, kReduced, cv::INTER_AREA);
  apriltag_family_t* family = tag36h11_create();
  apriltag_detector_t* detector = apriltag_detector_create();
  apriltag_detector_add_family(detector, family);
  detector->quad_decimate = 1;
  image_u8_t image{
      small.cols, small.rows, static_cast<int>(small.step), small.data};
  zarray_t* found = apriltag_detector_detect(detector, &image);
  const double to_mm = 1 / (kReduced * kDotsPerMm);
  std::multimap<int, SeenTag> tags;
  for (int i = 0; i < zarray_size(found); ++i) {
    apriltag_detection_t* tag = nullptr;
    zarray_get(found, i, &tag);
    SeenTag seen;
    seen.centre = to_mm * cv::Point2d(tag->c[0], tag->c[1]);
    for (std::size_t k = 0; k < 4; ++k) {
      seen.corners[k] = to_mm * cv::Point2d(tag->p[k][0], tag->p[k][1]);
    }
    tags.emplace(tag->id, seen);
  }
  apriltag_detections_destroy(found);
  apriltag_detector_destroy(detector);
  tag36h11_destroy(family);
  return tags;
}

/// How dark the sheet is along a line, one value a dot [0..1].
std::vector<double> Darkness(const cv::Mat& sheet,
                             cv::Point2d from_mm,
                             cv::Point2d to_mm) {
  std::vector<double> dark;
  const cv::Point2d step = to_mm - from_mm;
  const int dots =
      static_cast<int>(std::lround(std::hypot(step.x, step.y) * kDotsPerMm));
  for (int i = 0; i < dots; ++i) {
    const cv::Point2d p = from_mm + step * ((i + 0.5) / dots);
    const int x = static_cast<int>(std::floor(p.x * kDotsPerMm));
    const int y = static_cast<int>(std::floor(p.y * kDotsPerMm));
    dark.push_back(1 - sheet.at<unsigned char>(y, x) / 255.0);
  }
  return dark;
}

/// The middles of the dark strokes along a line, weighted by darkness, from
/// its begin [mm].
std::vector<double> Strokes(const cv::Mat& sheet,
                            cv::Point2d from_mm,
                            cv::Point2d to_mm) {
  std::vector<double> middles;
  double weight = 0;
  double moment = 0;
  double darkest = 0;
  int i = 0;
  for (const double dark : Darkness(sheet, from_mm, to_mm)) {
    if (dark > 0.05) {
      weight += dark;
      moment += dark * (i + 0.5);
      darkest = std::max(darkest, dark);
    } else if (weight > 0) {
      if (darkest > 0.4) middles.push_back(moment / weight / kDotsPerMm);
      weight = moment = darkest = 0;
    }
    ++i;
  }
  return middles;
}

/// Total length of what is dark along a line [mm].
double DarkLength(const cv::Mat& sheet,
                  cv::Point2d from_mm,
                  cv::Point2d to_mm) {
  double sum = 0;
  for (const double dark : Darkness(sheet, from_mm, to_mm)) sum += dark;
  return sum / kDotsPerMm;
}

/// A PDF as poppler prints it: 600 dots per inch, grey. Not through SVG or
/// another PDF, which poppler shrinks to the page.
cv::Mat Printed(const std::string& pdf, const fs::path& folder) {
  WriteAll(folder / "sheet.pdf", pdf);
  OutputOf("pdftocairo -r 600 -png -gray -singlefile '" +
               (folder / "sheet.pdf").string() + "' '" +
               (folder / "sheet").string() + "'",
           folder);
  return cv::imread((folder / "sheet.png").string(), cv::IMREAD_GRAYSCALE);
}

/// The middle of a tag's black frame to the dot: libapriltag's own centre is
/// some hundredths of a millimetre off at the resolution it is given.
cv::Point2d FrameMiddle(const cv::Mat& sheet, cv::Point2d about, double side) {
  const double reach = side / 2 + 1;
  const double frame = side / 2 - side / 16;
  const auto across = Strokes(sheet,
                              about + cv::Point2d(-reach, frame),
                              about + cv::Point2d(reach, frame));
  const auto down = Strokes(sheet,
                            about + cv::Point2d(frame, -reach),
                            about + cv::Point2d(frame, reach));
  EXPECT_EQ(across.size(), 1U);
  EXPECT_EQ(down.size(), 1U);
  return about + cv::Point2d(across.at(0) - reach, down.at(0) - reach);
}

/// Measures the card on a sheet as one does with a ruler. libapriltag finds
/// where it lies; everything else is dots.
void MeasureCard(const cv::Mat& sheet) {
  const auto tags = TagsOf(sheet);
  // Ids and places as the design of the card has them (x right, y up).
  const std::map<int, cv::Point2d> places = {{0, {24, 24}},
                                             {1, {80, 24}},
                                             {2, {136, 24}},
                                             {3, {24, 80}},
                                             {4, {24, 136}}};
  ASSERT_EQ(tags.size(), places.size());
  const cv::Point2d first = FrameMiddle(sheet, tags.find(0)->second.centre, 36);
  const cv::Point2d corner = first + cv::Point2d(-24, 24);
  const auto on_sheet = [&](double x, double y) {
    return corner + cv::Point2d(x, -y);
  };

  for (const auto& [id, place] : places) {
    ASSERT_EQ(tags.count(id), 1U) << id;
    const SeenTag& tag = tags.find(id)->second;
    const cv::Point2d wanted = on_sheet(place.x, place.y);
    const cv::Point2d middle = FrameMiddle(sheet, tag.centre, 36);
    EXPECT_NEAR(middle.x, wanted.x, 0.03) << id;
    EXPECT_NEAR(middle.y, wanted.y, 0.03) << id;
    // Upright: its first corner is at the bottom left.
    for (std::size_t k = 0; k < 4; ++k) {
      const double half = 18;
      const cv::Point2d at =
          wanted +
          cv::Point2d(k == 1 || k == 2 ? half : -half, k < 2 ? half : -half);
      EXPECT_NEAR(tag.corners[k].x, at.x, 0.15) << id << " corner " << k;
      EXPECT_NEAR(tag.corners[k].y, at.y, 0.15) << id << " corner " << k;
    }
    // The black frame's outer sides, to the dot, in its outermost cells.
    const double inside = 18 - 0.5 * 36 / 8;
    for (const double side : {-inside, inside}) {
      EXPECT_NEAR(DarkLength(sheet,
                             wanted + cv::Point2d(-20, side),
                             wanted + cv::Point2d(20, side)),
                  36.0,
                  0.05);
      EXPECT_NEAR(DarkLength(sheet,
                             wanted + cv::Point2d(side, -20),
                             wanted + cv::Point2d(side, 20)),
                  36.0,
                  0.05);
    }
    // The white rim, one cell wide, holds nothing.
    for (const double ring : {18.1, 19.0, 20.0, 21.0, 22.0, 22.45}) {
      const std::array<cv::Point2d, 4> box = {cv::Point2d(-ring, -ring),
                                              {ring, -ring},
                                              {ring, ring},
                                              {-ring, ring}};
      for (std::size_t k = 0; k < 4; ++k) {
        EXPECT_LT(DarkLength(sheet, wanted + box[k], wanted + box[(k + 1) % 4]),
                  0.02)
            << id << " at " << ring;
      }
    }
  }

  // The crosses: 150 mm, both above and below their arms.
  for (const double off : {-1.2, 1.2}) {
    const auto strokes =
        Strokes(sheet, on_sheet(1, -6 + off), on_sheet(159, -6 + off));
    ASSERT_GE(strokes.size(), 2U);
    EXPECT_NEAR(strokes.back() - strokes.front(), 150.0, 0.05);
    EXPECT_NEAR(strokes.front(), 4.0, 0.05);
  }
  for (const double x : {5.0 - 1.2, 155.0 + 1.2}) {
    const auto strokes = Strokes(sheet, on_sheet(x, -4), on_sheet(x, -8));
    ASSERT_EQ(strokes.size(), 1U);
    EXPECT_NEAR(strokes[0], 2.0, 0.05);
  }

  // The ticks of both edges: one each millimetre, between the cut lines.
  for (const bool bottom : {true, false}) {
    const auto along = [&](double mm, double deep) {
      return bottom ? on_sheet(mm, deep) : on_sheet(deep, mm);
    };
    const auto each = Strokes(sheet, along(0.5, 0.5), along(159.5, 0.5));
    ASSERT_EQ(each.size(), 159U);
    for (std::size_t i = 0; i < each.size(); ++i) {
      EXPECT_NEAR(each[i], 0.5 + static_cast<double>(i), 0.05);
    }
    EXPECT_NEAR(each[109] - each[9], 100.0, 0.05);
    // Longer each fifth, longest each tenth.
    EXPECT_EQ(Strokes(sheet, along(1.2, 0.95), along(159.5, 0.95)).size(), 31U);
    EXPECT_EQ(Strokes(sheet, along(1.2, 1.3), along(159.5, 1.3)).size(), 15U);
    // The cut lines.
    const auto cuts = Strokes(sheet, along(-0.25, 1.7), along(160.5, 1.7));
    ASSERT_GE(cuts.size(), 2U);
    EXPECT_NEAR(cuts.back() - cuts.front(), 160.0, 0.05);
    const auto across = Strokes(sheet, along(100, 46.9), along(100, 49));
    ASSERT_EQ(across.size(), 1U);
    EXPECT_NEAR(across[0], 48 - 46.9, 0.05);
  }
}

/// The widest margin that nothing is printed on [mm].
double FreeMargin(const cv::Mat& sheet) {
  const cv::Mat dark = sheet < 250;
  std::vector<cv::Point> places;
  cv::findNonZero(dark, places);
  const cv::Rect box = cv::boundingRect(places);
  return std::min(
             {box.x, box.y, sheet.cols - box.br().x, sheet.rows - box.br().y}) /
         kDotsPerMm;
}

// Source of the page sizes: ISO 216 and ANSI/ASME Y14.1; measured by poppler.
TEST(CardPdf, IsExactOnA4) {
  const fs::path folder = EmptyFolder("a4");
  const auto pdf = CardPdf(card::StandardLayout(), Paper::kA4);
  ASSERT_TRUE(pdf);
  const cv::Mat sheet = Printed(*pdf, folder);
  const std::string info =
      OutputOf("pdfinfo '" + (folder / "sheet.pdf").string() + "'", folder);
  EXPECT_NE(info.find("595.276 x 841.89 pts (A4)"), std::string::npos) << info;
  EXPECT_NE(info.find("Pages:           1\n"), std::string::npos) << info;
  MeasureCard(sheet);
  EXPECT_GE(FreeMargin(sheet), 7.95);
}

TEST(CardPdf, IsExactOnLetter) {
  const fs::path folder = EmptyFolder("letter");
  const auto pdf = CardPdf(card::StandardLayout(), Paper::kLetter);
  ASSERT_TRUE(pdf);
  const cv::Mat sheet = Printed(*pdf, folder);
  const std::string info =
      OutputOf("pdfinfo '" + (folder / "sheet.pdf").string() + "'", folder);
  EXPECT_NE(info.find("612 x 792 pts (letter)"), std::string::npos) << info;
  EXPECT_NE(info.find("Pages:           1\n"), std::string::npos) << info;
  MeasureCard(sheet);
  EXPECT_GE(FreeMargin(sheet), 7.95);
}

TEST(CardPdf, SaysHowToPutTheCardTogether) {
  const fs::path folder = EmptyFolder("words");
  WriteAll(folder / "sheet.pdf", *CardPdf(card::StandardLayout(), Paper::kA4));
  const std::string words =
      OutputOf("pdftotext '" + (folder / "sheet.pdf").string() + "' -", folder);
  for (const char* part :
       {"actual size", "150 mm", "--measured-mm", "stiff", "strut"}) {
    EXPECT_NE(words.find(part), std::string::npos) << part << "\n" << words;
  }
}

// Source: librsvg and libpng; both pictures are the same card.
TEST(CardSvg, IsThePngsEqual) {
  const fs::path folder = EmptyFolder("svg_png");
  WriteAll(folder / "card.svg", CardSvg(card::StandardLayout()));
  WriteAll(folder / "card.png", CardPng(card::StandardLayout(), kDotsPerInch));
  OutputOf("rsvg-convert -d 600 -p 600 -b white -o '" +
               (folder / "svg.png").string() + "' '" +
               (folder / "card.svg").string() + "'",
           folder);
  const cv::Mat svg = cv::imread((folder / "svg.png").string(), 0);
  const cv::Mat png = cv::imread((folder / "card.png").string(), 0);
  ASSERT_FALSE(svg.empty());
  EXPECT_NEAR(svg.cols, png.cols, 1);
  EXPECT_NEAR(svg.rows, png.rows, 1);
  // 160 mm of card and 12 mm of border on each side.
  EXPECT_NEAR(png.cols / kDotsPerMm, 184.0, 0.05);
  MeasureCard(svg);
  MeasureCard(png);
  const std::string info = OutputOf(
      "exiftool -s3 -PixelsPerUnitX '" + (folder / "card.png").string() + "'",
      folder);
  EXPECT_NEAR(std::stod(info) * 0.0254, 600.0, 0.01);
}

card::Layout OneTag() {
  card::Layout layout;
  layout.name = "one tag";
  layout.tags = {{7, {40, 30}, 24.0}};
  layout.outline = {{20, 10}, {60, 10}, {60, 50}, {20, 50}};
  layout.check_span_mm = 100;
  return layout;
}

TEST(CardPdf, PrintsOtherLayoutsWithoutTheStrut) {
  const fs::path folder = EmptyFolder("one_tag");
  const auto pdf = CardPdf(OneTag(), Paper::kA4);
  ASSERT_TRUE(pdf);
  const cv::Mat sheet = Printed(*pdf, folder);
  const auto tags = TagsOf(sheet);
  ASSERT_EQ(tags.size(), 1U);
  EXPECT_EQ(tags.begin()->first, 7);
  const SeenTag& tag = tags.begin()->second;
  EXPECT_NEAR(tag.corners[1].x - tag.corners[0].x, 24.0, 0.1);
  // The crosses stand about the card's middle, 6 mm below its edge.
  const cv::Point2d below = tag.centre + cv::Point2d(0, 20 + 6 + 1.2);
  const auto strokes =
      Strokes(sheet, below - cv::Point2d(52, 0), below + cv::Point2d(52, 0));
  ASSERT_GE(strokes.size(), 2U);
  EXPECT_NEAR(strokes.back() - strokes.front(), 100.0, 0.05);
  EXPECT_GE(FreeMargin(sheet), 7.95);
  const std::string words =
      OutputOf("pdftotext '" + (folder / "sheet.pdf").string() + "' -", folder);
  EXPECT_EQ(words.find("strut"), std::string::npos) << words;
  EXPECT_NE(words.find("100 mm"), std::string::npos) << words;
}

TEST(CardPng, HoldsCrossesThatStandWiderThanTheCard) {
  const fs::path folder = EmptyFolder("wide_crosses");
  WriteAll(folder / "card.png", CardPng(OneTag(), kDotsPerInch));
  const cv::Mat png = cv::imread((folder / "card.png").string(), 0);
  const double width = png.cols / kDotsPerMm;
  // 100 mm between the crosses, their arms of 2.5 mm and 2 mm of white.
  EXPECT_NEAR(width, 109.0, 0.05);
  // 12 mm of border and 40 mm of card above, the crosses 6 mm below the card.
  const double row = 12 + 40 + 6 + 1.2;
  const auto strokes = Strokes(png, {0.5, row}, {width - 0.5, row});
  ASSERT_GE(strokes.size(), 2U);
  EXPECT_NEAR(strokes.back() - strokes.front(), 100.0, 0.05);
}

TEST(CardPdf, RefusesACardThatDoesNotFit) {
  card::Layout large = OneTag();
  large.outline = {{0, 0}, {250, 0}, {250, 250}, {0, 250}};
  for (const Paper paper : {Paper::kA4, Paper::kLetter}) {
    const auto pdf = CardPdf(large, paper);
    ASSERT_FALSE(pdf);
    EXPECT_EQ(pdf.error().code, RefusalCode::kCardLayoutInvalid);
  }
  const fs::path folder = EmptyFolder("too_large");
  const auto files = WriteCard(large, folder / "out");
  ASSERT_FALSE(files);
  EXPECT_EQ(files.error().code, RefusalCode::kCardLayoutInvalid);
  EXPECT_FALSE(fs::exists(folder / "out"));
}

TEST(WriteCard, WritesFourFiles) {
  const fs::path folder = EmptyFolder("write_card");
  const auto files = WriteCard(card::StandardLayout(), folder / "new" / "deep");
  ASSERT_TRUE(files);
  std::vector<std::string> names;
  for (const fs::path& file : *files) {
    EXPECT_GT(fs::file_size(file), 10'000U);
    names.push_back(file.filename().string());
  }
  EXPECT_EQ(names,
            (std::vector<std::string>{
                "card-a4.pdf", "card-letter.pdf", "card.svg", "card.png"}));
}

TEST(WriteCard, RefusesWhereItCannotWrite) {
  const fs::path folder = EmptyFolder("cannot_write");
  WriteAll(folder / "file", "x");
  for (const fs::path& out : {folder / "file",
                              folder / "file" / "out",
                              fs::path("/proc/plumbfoot")}) {
    const auto files = WriteCard(OneTag(), out);
    ASSERT_FALSE(files) << out;
    EXPECT_EQ(files.error().code, RefusalCode::kCannotWrite) << out;
  }
  EXPECT_EQ(
      std::distance(fs::directory_iterator(folder), fs::directory_iterator()),
      1);
  EXPECT_EQ(ReadAll(folder / "file"), "x");
}

TEST(CrossPlaces, StandOutsideTheCard) {
  const auto crosses = CrossPlaces(card::StandardLayout());
  EXPECT_EQ(crosses[0], (geometry::CardPoint{5, -6}));
  EXPECT_EQ(crosses[1], (geometry::CardPoint{155, -6}));
}

}  // namespace
}  // namespace plumbfoot::draw
