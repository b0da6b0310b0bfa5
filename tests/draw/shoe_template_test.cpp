// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/shoe_template.h"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "draw/outside.h"
#include "fit/feet.h"

namespace plumbfoot::draw {
namespace {

namespace fs = std::filesystem;
using geometry::FootPoint;
using geometry::FootVector;
using testing::HasSubstr;

constexpr double kDotsPerMm = 600 / 25.4;

/// A template of a model's foot, of the words that one has.
ShoeTemplate TemplateOf(const measure::Sole& model) {
  ShoeTemplate t;
  t.title = "Juno & <Co>, left fore";
  t.subtitle = "Photographed 2026-03-14 after the trim.";
  t.sole = fit::SoleOf(fit::ViewOf(model));
  t.nails = fit::PlaceNails(t.sole, {});
  t.shoe = fit::FitShoe(t.sole, t.nails, {}).value();
  t.heart = {"133 × 140 mm", "cut 360 mm"};
  for (int i = 0; i < 9; ++i) t.facts.push_back({"What", "how much"});
  t.notes = {"Hold the template to the foot before you hold the shoe to it."};
  return t;
}

measure::Sole LargeFoot() {
  measure::Sole model;
  model.width = 225;
  model.length = 232;
  model.widest_at = 110;
  model.heel_half_width = 70;
  model.frog_length = 150;
  model.frog_width = 80;
  return model;
}

/// Every page, 600 dots an inch, grey, as poppler prints it.
std::vector<cv::Mat> Printed(const std::string& pdf, const std::string& name) {
  const fs::path folder = EmptyFolder(name);
  WriteAll(folder / "sheet.pdf", pdf);
  OutputOf("pdftocairo -r 600 -png -gray '" + (folder / "sheet.pdf").string() +
               "' '" + (folder / "page").string() + "'",
           folder);
  std::vector<fs::path> files;
  for (const auto& entry : fs::directory_iterator(folder)) {
    if (entry.path().extension() == ".png") files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  std::vector<cv::Mat> pages;
  for (const fs::path& file : files) {
    pages.push_back(cv::imread(file.string(), cv::IMREAD_GRAYSCALE));
  }
  fs::remove_all(folder);
  return pages;
}

/// How dark a place is, between the dots' middles [0..1].
double DarkAt(const cv::Mat& page, double x_mm, double y_mm) {
  const double x = x_mm * kDotsPerMm - 0.5;
  const double y = y_mm * kDotsPerMm - 0.5;
  const int c = static_cast<int>(std::floor(x));
  const int r = static_cast<int>(std::floor(y));
  if (c < 0 || r < 0 || c + 1 >= page.cols || r + 1 >= page.rows) return 0.0;
  const double u = x - c;
  const double v = y - r;
  const auto at = [&page](int row, int column) {
    return 1 - page.at<unsigned char>(row, column) / 255.0;
  };
  return (1 - v) * ((1 - u) * at(r, c) + u * at(r, c + 1)) +
         v * ((1 - u) * at(r + 1, c) + u * at(r + 1, c + 1));
}

/// Length of the check line: between the middles of its two end strokes, along
/// a line on which only those stand.
double CheckLength(const cv::Mat& page) {
  const double width = page.cols / kDotsPerMm;
  const double height = page.rows / kDotsPerMm;
  const double y = height - 8 - 9 - 2.2;
  std::vector<double> middles;
  double weight = 0;
  double moment = 0;
  for (double x = 0; x < width; x += 0.02) {
    const double dark = DarkAt(page, x, y);
    if (dark > 0.1) {
      weight += dark;
      moment += dark * x;
    } else if (weight > 0) {
      middles.push_back(moment / weight);
      weight = moment = 0;
    }
  }
  if (middles.size() != 2) return 0.0;
  return middles[1] - middles[0];
}

/// How far the drawn edge lies from where the numbers have it, along the normal
/// at a corner of the body [mm]; NaN where something else stands.
double EdgeOff(const ShoeTemplate& t,
               Paper paper,
               const std::vector<cv::Mat>& pages,
               std::size_t corner) {
  const auto& body = t.shoe.body;
  const FootPoint p = body[corner];
  const FootVector way = body[(corner + 1) % body.size()] -
                         body[(corner + body.size() - 1) % body.size()];
  const FootVector normal = geometry::Perpendicular(way) / geometry::Norm(way);
  const SheetPlace place = PlaceOnSheet(t, paper, p);
  const cv::Mat& page = pages[static_cast<std::size_t>(place.sheet)];
  double weight = 0;
  double moment = 0;
  for (double d = -1.0; d <= 1.0; d += 0.01) {
    const double dark =
        DarkAt(page, place.x + d * normal.y, place.y - d * normal.x);
    if (dark < 0.55) continue;  // The grid and the steel are lighter.
    weight += dark;
    moment += dark * d;
  }
  return weight > 0 ? moment / weight : std::nan("");
}

double DistanceTo(const geometry::FootPolyline& line, FootPoint p) {
  double least = 1e9;
  for (std::size_t i = 1; i < line.size(); ++i) {
    const FootVector way = line[i] - line[i - 1];
    const double t = std::clamp(
        geometry::Dot(p - line[i - 1], way) / geometry::Dot(way, way),
        0.0,
        1.0);
    least = std::min(least, geometry::Distance(p, line[i - 1] + t * way));
  }
  return least;
}

void ExpectEdgeWhereTheNumbersHaveIt(const ShoeTemplate& t,
                                     Paper paper,
                                     const std::vector<cv::Mat>& pages) {
  const double widest = (t.sole.widest_left.x + t.sole.widest_right.x) / 2;
  int seen = 0;
  double most = 0.0;
  for (std::size_t i = 0; i < t.shoe.body.size(); i += 7) {
    const FootPoint p = t.shoe.body[i];
    // Where no other line crosses: the foot's edge runs between the heels.
    if (std::abs(p.y - t.sole.axis_y) < 4 || std::abs(p.x - widest) < 3 ||
        (p.x > -3 && p.x < 15)) {
      continue;
    }
    // Nor the foot's own edge beside it.
    auto foot = t.sole.outline;
    foot.push_back(foot.front());
    const double beside =
        std::min(DistanceTo(t.sole.wall, p), DistanceTo(foot, p));
    if (beside > 0.1 && beside < 1.6) continue;
    const double off = EdgeOff(t, paper, pages, i);
    ASSERT_TRUE(std::isfinite(off)) << p.x << ' ' << p.y;
    EXPECT_LT(std::abs(off), 0.2) << p.x << " " << p.y;
    most = std::max(most, std::abs(off));
    ++seen;
  }
  EXPECT_GT(seen, 40);
  EXPECT_LT(most, 0.2);
}

TEST(ShoeTemplate, OnPaperAHundredMillimetresAreAHundred) {
  const ShoeTemplate t = TemplateOf({});
  for (const Paper paper : {Paper::kA4, Paper::kLetter}) {
    SCOPED_TRACE(paper == Paper::kA4 ? "A4" : "Letter");
    const auto pages = Printed(TemplatePdf(t, paper), "template");
    ASSERT_EQ(pages.size(), 1U);
    // ISO 216: 210 x 297 mm; ANSI/ASME Y14.1: 8.5 x 11 in.
    const double width = paper == Paper::kA4 ? 210 : 215.9;
    EXPECT_NEAR(pages[0].cols / kDotsPerMm, width, 0.1);
    EXPECT_NEAR(CheckLength(pages[0]), 100.0, 0.1);
    ExpectEdgeWhereTheNumbersHaveIt(t, paper, pages);
  }
}

TEST(ShoeTemplate, ALargeFootIsTiledAndEachSheetCanBeChecked) {
  const ShoeTemplate t = TemplateOf(LargeFoot());
  for (const Paper paper : {Paper::kA4, Paper::kLetter}) {
    SCOPED_TRACE(paper == Paper::kA4 ? "A4" : "Letter");
    const auto pages = Printed(TemplatePdf(t, paper), "tiled");
    ASSERT_EQ(pages.size(), 5U);  // Two by two, and the table.
    for (const cv::Mat& page : pages) {
      EXPECT_NEAR(CheckLength(page), 100.0, 0.1);
    }
    ExpectEdgeWhereTheNumbersHaveIt(t, paper, pages);
    // Where the edge goes from one sheet to the next, on either side of the
    // joint.
    int joints = 0;
    const auto& body = t.shoe.body;
    for (std::size_t i = 0; i + 1 < body.size(); ++i) {
      const int here = PlaceOnSheet(t, paper, body[i]).sheet;
      const int next = PlaceOnSheet(t, paper, body[i + 1]).sheet;
      if (here == next || std::abs(body[i].y - t.sole.axis_y) < 4) continue;
      for (const std::size_t k : {i, i + 1}) {
        const double off = EdgeOff(t, paper, pages, k);
        if (!std::isfinite(off)) continue;
        EXPECT_LT(std::abs(off), 0.2) << body[k].x;
      }
      ++joints;
    }
    EXPECT_GE(joints, 2);
  }
}

/// The numbers of the first path of a layer.
std::vector<std::pair<double, double>> PathOf(const std::string& svg,
                                              const std::string& layer) {
  const auto group = svg.find("<g id=\"" + layer + "\"");
  const auto from = svg.find("d=\"M", group) + 4;
  std::string numbers = svg.substr(from, svg.find('"', from) - from);
  std::replace(numbers.begin(), numbers.end(), 'L', ' ');
  std::replace(numbers.begin(), numbers.end(), 'Z', ' ');
  std::istringstream in(numbers);
  std::vector<std::pair<double, double>> points;
  double x = 0;
  double y = 0;
  while (in >> x >> y) points.emplace_back(x, y);
  return points;
}

TEST(ShoeTemplate, TheSvgIsInMillimetres) {
  const ShoeTemplate t = TemplateOf({});
  const std::string svg = TemplateSvg(t);
  EXPECT_THAT(svg, HasSubstr("Juno &amp; &lt;Co&gt;"));
  // As librsvg draws it.
  const fs::path folder = EmptyFolder("svg");
  WriteAll(folder / "t.svg", svg);
  OutputOf("rsvg-convert -d 600 -p 600 -b white -o '" +
               (folder / "t.png").string() + "' '" +
               (folder / "t.svg").string() + "'",
           folder);
  const cv::Mat page =
      cv::imread((folder / "t.png").string(), cv::IMREAD_GRAYSCALE);
  fs::remove_all(folder);
  ASSERT_FALSE(page.empty());
  const auto check = PathOf(svg, "check");
  ASSERT_EQ(check.size(), 2U);
  EXPECT_NEAR(check[1].first - check[0].first, 100.0, 1e-3);
  double length = 0.0;
  for (double x = 0; x < page.cols / kDotsPerMm; x += 0.02) {
    // The grid crosses it now and then, and is paler.
    if (DarkAt(page, x, check[0].second) > 0.5) length += 0.02;
  }
  EXPECT_NEAR(length, 100.0, 0.1);
  const auto shoe = PathOf(svg, "shoe");
  ASSERT_EQ(shoe.size(), t.shoe.body.size());
  for (std::size_t i = 0; i < shoe.size(); ++i) {
    // Right is the horse's left, up is forward.
    EXPECT_NEAR(shoe[i].first - shoe[0].first,
                t.shoe.body[i].y - t.shoe.body[0].y,
                2e-4);
    EXPECT_NEAR(shoe[0].second - shoe[i].second,
                t.shoe.body[i].x - t.shoe.body[0].x,
                2e-4);
  }
}

/// Debian's python3-ezdxf 0.18.1: its auditor, and what it reads.
constexpr std::string_view kReadDxf = R"(
import sys, ezdxf
doc = ezdxf.readfile(sys.argv[1])
audit = doc.audit()
print('errors', len(audit.errors), 'fixes', len(audit.fixes))
print('units', doc.header['$INSUNITS'], 'metric', doc.header['$MEASUREMENT'])
for e in doc.modelspace():
    points = [v.dxf.location for v in e.vertices]
    print(e.dxftype(), e.dxf.layer, int(e.is_closed), len(points),
          *[f'{p.x:.6f} {p.y:.6f}' for p in points])
)";

TEST(ShoeTemplate, TheDxfIsReadByEzdxfWithoutComplaints) {
  const ShoeTemplate t = TemplateOf({});
  const fs::path folder = EmptyFolder("dxf");
  WriteAll(folder / "t.dxf", TemplateDxf(t));
  WriteAll(folder / "read.py", std::string(kReadDxf));
  const std::string said =
      OutputOf("/usr/bin/python3 '" + (folder / "read.py").string() + "' '" +
                   (folder / "t.dxf").string() + "'",
               folder);
  fs::remove_all(folder);
  EXPECT_THAT(said, HasSubstr("errors 0 fixes 0\n"));
  EXPECT_THAT(said, HasSubstr("units 4 metric 1\n"));
  std::istringstream lines(said);
  std::string line;
  int nails = 0;
  bool shoe = false;
  bool foot = false;
  while (std::getline(lines, line)) {
    std::istringstream in(line);
    std::string type;
    std::string layer;
    int closed = 0;
    std::size_t count = 0;
    if (!(in >> type >> layer >> closed >> count)) continue;
    if (type != "POLYLINE") continue;
    const bool open = layer == "GRID" || layer == "CENTRE" || layer == "CHECK";
    EXPECT_EQ(closed, open ? 0 : 1) << layer;
    if (layer == "NAILS") ++nails;
    if (layer == "FOOT") foot = count == t.sole.outline.size();
    if (layer != "SHOE") continue;
    shoe = true;
    ASSERT_EQ(count, t.shoe.body.size());
    double x0 = 0;
    double y0 = 0;
    for (std::size_t i = 0; i < count; ++i) {
      double x = 0;
      double y = 0;
      in >> x >> y;
      if (i == 0) {
        x0 = x;
        y0 = y;
      }
      EXPECT_NEAR(x - x0, t.shoe.body[i].y - t.shoe.body[0].y, 2e-6);
      EXPECT_NEAR(y - y0, t.shoe.body[i].x - t.shoe.body[0].x, 2e-6);
    }
  }
  EXPECT_TRUE(shoe);
  EXPECT_TRUE(foot);
  EXPECT_EQ(nails, t.nails.placed());
}

TEST(ShoeTemplate, MirroredTwiceIsTheSame) {
  const ShoeTemplate t = TemplateOf({});
  const ShoeTemplate twice = Mirrored(Mirrored(t));
  EXPECT_EQ(TemplateSvg(twice), TemplateSvg(t));
  EXPECT_EQ(TemplateDxf(twice), TemplateDxf(t));
  const ShoeTemplate once = Mirrored(t);
  EXPECT_EQ(once.sole.foot, geometry::Foot::kRightFore);
  // The same shoe, seen in a mirror: x turned over, y as it was.
  const auto a = PathOf(TemplateSvg(t), "shoe");
  const auto b = PathOf(TemplateSvg(once), "shoe");
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    const auto& other = b[b.size() - 1 - i];
    EXPECT_NEAR(a[i].second, other.second, 2e-4);
    EXPECT_NEAR(a[i].first + other.first, a[0].first + b.back().first, 3e-4);
  }
}

}  // namespace
}  // namespace plumbfoot::draw
