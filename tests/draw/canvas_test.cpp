// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/canvas.h"

#include <gtest/gtest.h>

#include <array>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

#include "draw/outside.h"
#include "plumbfoot/photo/encode_jpeg.h"

namespace plumbfoot::draw {
namespace {

namespace fs = std::filesystem;

/// A black square of 20 mm, 10 mm from the left and 15 mm from the top.
void DrawSquare(Canvas& canvas) {
  canvas.FillBoxes(std::array{Box{10, 15, 20, 20}}, kBlack);
}

/// Where the dark pixels of a picture are [px].
cv::Rect DarkBox(const cv::Mat& grey) {
  const cv::Mat dark = grey < 128;
  cv::Rect box(grey.cols, grey.rows, 0, 0);
  int right = 0;
  int bottom = 0;
  for (int y = 0; y < dark.rows; ++y) {
    for (int x = 0; x < dark.cols; ++x) {
      if (dark.at<unsigned char>(y, x) == 0) continue;
      box.x = std::min(box.x, x);
      box.y = std::min(box.y, y);
      right = std::max(right, x + 1);
      bottom = std::max(bottom, y + 1);
    }
  }
  box.width = right - box.x;
  box.height = bottom - box.y;
  return box;
}

// Source: poppler's pdfinfo and pdftocairo, which know nothing of cairo's
// units; 72 points are an inch.
TEST(Canvas, MakesAPdfOfExactSize) {
  const fs::path folder = EmptyFolder("pdf");
  Canvas canvas = Canvas::Pdf(210, 297, {"A title", "A subject"});
  DrawSquare(canvas);
  canvas.NextPage();
  WriteAll(folder / "f.pdf", canvas.Finish());
  const std::string info =
      OutputOf("pdfinfo '" + (folder / "f.pdf").string() + "'", folder);
  EXPECT_NE(info.find("595.276 x 841.89 pts (A4)"), std::string::npos) << info;
  EXPECT_NE(info.find("A title"), std::string::npos) << info;
  OutputOf("pdftocairo -r 254 -png -gray -singlefile '" +
               (folder / "f.pdf").string() + "' '" + (folder / "f").string() +
               "'",
           folder);
  // 254 dots per inch are 10 per millimetre.
  EXPECT_EQ(DarkBox(cv::imread((folder / "f.png").string(), 0)),
            cv::Rect(100, 150, 200, 200));
}

// Source: librsvg.
TEST(Canvas, MakesAnSvgInMillimetres) {
  const fs::path folder = EmptyFolder("svg");
  Canvas canvas = Canvas::Svg(80, 60);
  DrawSquare(canvas);
  WriteAll(folder / "f.svg", canvas.Finish());
  OutputOf("rsvg-convert -d 254 -p 254 -b white -o '" +
               (folder / "f.png").string() + "' '" +
               (folder / "f.svg").string() + "'",
           folder);
  const cv::Mat grey = cv::imread((folder / "f.png").string(), 0);
  EXPECT_EQ(grey.size(), cv::Size(800, 600));
  EXPECT_EQ(DarkBox(grey), cv::Rect(100, 150, 200, 200));
}

// Source: exiftool reads the pHYs chunk and libpng (in OpenCV) its checksum.
TEST(Canvas, TellsThePngsResolution) {
  const fs::path folder = EmptyFolder("png");
  Canvas canvas = Canvas::Png(80, 60, 254);
  DrawSquare(canvas);
  WriteAll(folder / "f.png", canvas.Finish());
  const std::string info = OutputOf(
      "exiftool -s -PixelsPerUnitX -PixelsPerUnitY -PixelUnits -Warning '" +
          (folder / "f.png").string() + "'",
      folder);
  EXPECT_NE(info.find("PixelsPerUnitX                  : 10000"),
            std::string::npos)
      << info;
  EXPECT_NE(info.find("PixelsPerUnitY                  : 10000"),
            std::string::npos)
      << info;
  EXPECT_NE(info.find("meters"), std::string::npos) << info;
  EXPECT_EQ(info.find("Warning"), std::string::npos) << info;
  const cv::Mat grey = cv::imread((folder / "f.png").string(), 0);
  EXPECT_EQ(grey.size(), cv::Size(800, 600));
  EXPECT_EQ(DarkBox(grey), cv::Rect(100, 150, 200, 200));
}

TEST(Canvas, LeavesThePictureItIsGivenAlone) {
  const cv::Mat rgb(50, 80, CV_8UC3, cv::Scalar(200, 100, 50));
  const cv::Mat before = rgb.clone();
  Canvas canvas = Canvas::OnPicture(rgb);
  canvas.FillBoxes(std::array{Box{10, 10, 20, 20}}, kOrange);
  EXPECT_EQ(cv::norm(rgb, before, cv::NORM_INF), 0);
  const cv::Mat drawn = canvas.Picture();
  // Red stays first, and what is not drawn on stays as it was.
  EXPECT_EQ(drawn.at<cv::Vec3b>(15, 15), cv::Vec3b(230, 159, 0));
  EXPECT_EQ(drawn.at<cv::Vec3b>(5, 5), cv::Vec3b(200, 100, 50));
  const std::string jpeg = photo::EncodeJpeg(drawn, 95);
  const cv::Mat back = cv::imdecode(
      std::vector<unsigned char>(jpeg.begin(), jpeg.end()), cv::IMREAD_COLOR);
  ASSERT_EQ(back.size(), rgb.size());
  EXPECT_NEAR(back.at<cv::Vec3b>(45, 60)[2], 200, 4);
  EXPECT_NEAR(back.at<cv::Vec3b>(45, 60)[0], 50, 4);
}

// Source: Okabe and Ito (2008), as the hexadecimal codes in which the palette
// is usually given.
TEST(Canvas, HasTheColoursOfOkabeAndIto) {
  const auto code = [](Colour c) {
    return static_cast<int>(std::lround(255 * c.red)) << 16 |
           static_cast<int>(std::lround(255 * c.green)) << 8 |
           static_cast<int>(std::lround(255 * c.blue));
  };
  EXPECT_EQ(code(kOrange), 0xE69F00);
  EXPECT_EQ(code(kSkyBlue), 0x56B4E9);
  EXPECT_EQ(code(kBluishGreen), 0x009E73);
  EXPECT_EQ(code(kYellow), 0xF0E442);
  EXPECT_EQ(code(kBlue), 0x0072B2);
  EXPECT_EQ(code(kVermilion), 0xD55E00);
  EXPECT_EQ(code(kReddishPurple), 0xCC79A7);
}

TEST(Canvas, SetsTextWhereItSaysItDoes) {
  const cv::Mat white(200, 400, CV_8UC3, cv::Scalar::all(255));
  for (const Anchor anchor : {Anchor::kLeft, Anchor::kMiddle, Anchor::kRight}) {
    Canvas canvas = Canvas::OnPicture(white);
    const Box box = canvas.Text(
        "±51.2° frog", {200, 60}, {.colour = kBlack, .size = 24}, anchor);
    const Box size = canvas.MeasureText("±51.2° frog", {.size = 24});
    EXPECT_NEAR(box.width, size.width, 1e-6);
    const cv::Mat picture = canvas.Picture();
    cv::Mat grey;
    cv::extractChannel(picture, grey, 0);
    const cv::Rect ink = DarkBox(grey);
    ASSERT_GT(ink.width, 100);
    EXPECT_TRUE(Contains(Grown(box, 1),
                         {static_cast<double>(ink.x),
                          static_cast<double>(ink.y),
                          static_cast<double>(ink.width),
                          static_cast<double>(ink.height)}));
  }
}

TEST(Canvas, WrapsLongText) {
  Canvas canvas = Canvas::Pdf(100, 100);
  const TextStyle style{.size = 3, .wrap = 40};
  const Box one = canvas.MeasureText("word", style);
  const Box many = canvas.MeasureText(
      "many words that need more than one line of forty millimetres", style);
  EXPECT_LE(many.width, 40 + 1e-6);
  EXPECT_GT(many.height, 1.9 * one.height);
}

TEST(Canvas, ClipsAndMovesUntilTheGuardGoes) {
  const cv::Mat white(100, 100, CV_8UC3, cv::Scalar::all(255));
  Canvas canvas = Canvas::OnPicture(white);
  {
    const std::array<CanvasPoint, 4> left = {
        CanvasPoint{0, 0}, {50, 0}, {50, 100}, {0, 100}};
    const Canvas::Guard clip = canvas.Clip(left);
    const Canvas::Guard frame = canvas.Frame({40, 40}, 0, 2);
    canvas.FillBoxes(std::array{Box{0, 0, 10, 10}}, kBlack);
  }
  canvas.FillBoxes(std::array{Box{80, 80, 10, 10}}, kBlack);
  const cv::Mat drawn = canvas.Picture();
  const auto dark = [&](int x, int y) {
    return drawn.at<cv::Vec3b>(y, x)[0] < 128;
  };
  EXPECT_TRUE(dark(45, 55));
  EXPECT_FALSE(dark(55, 55));  // clipped
  EXPECT_FALSE(dark(35, 35));  // moved
  EXPECT_TRUE(dark(85, 85));
}

TEST(Canvas, ThrowsWhenItIsUsedWrongly) {
  EXPECT_THROW(Canvas::OnPicture(cv::Mat()), std::invalid_argument);
  EXPECT_THROW(Canvas::OnPicture(cv::Mat(5, 5, CV_8UC1)),
               std::invalid_argument);
  EXPECT_THROW(Canvas::Pdf(10, 10).Picture(), std::logic_error);
  EXPECT_THROW(Canvas::OnPicture(cv::Mat(5, 5, CV_8UC3)).Finish(),
               std::logic_error);
}

TEST(Box, OverlapIsMoreThanAnEdge) {
  const Box box{0, 0, 10, 10};
  EXPECT_FALSE(Overlap(box, {10, 0, 5, 5}));
  EXPECT_TRUE(Overlap(box, {9.9, 0, 5, 5}));
  EXPECT_TRUE(Contains(box, {0, 0, 10, 10}));
  EXPECT_FALSE(Contains(box, {0, 0, 10.1, 10}));
  EXPECT_TRUE(Overlap(Grown(box, 1), {10, 0, 5, 5}));
}

}  // namespace
}  // namespace plumbfoot::draw
