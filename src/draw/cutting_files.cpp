// SPDX-License-Identifier: Apache-2.0
// SVG and DXF for those who cut or print. Not by cairo, whose SVG has no named
// layers and no closed shapes that a cutter could follow.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <span>

#include "draw/template_shapes.h"

namespace plumbfoot::draw {
namespace {

using geometry::FootPoint;
using geometry::FootPolyline;
using geometry::FootVector;

struct Shape {
  FootPolyline line;
  bool closed = true;
};

struct Layer {
  std::string_view name;
  std::string_view stroke;  ///< SVG's, with its width.
  int colour = 7;           ///< DXF's colour number.
  std::vector<Shape> shapes;
};

constexpr double kRound = 10.0;

std::vector<Layer> LayersOf(const ShoeTemplate& t) {
  const FootBounds b = BoundsOf(t);
  std::vector<Layer> layers;
  Layer grid{"grid", "stroke=\"#bbbbbb\" stroke-width=\"0.1\"", 9, {}};
  for (double x = std::ceil(b.low_x / kRound) * kRound; x <= b.high_x;
       x += kRound) {
    grid.shapes.push_back({{{x, b.low_y}, {x, b.high_y}}, false});
  }
  for (double y = std::ceil(b.low_y / kRound) * kRound; y <= b.high_y;
       y += kRound) {
    grid.shapes.push_back({{{b.low_x, y}, {b.high_x, y}}, false});
  }
  layers.push_back(std::move(grid));
  layers.push_back(
      {"centre",
       "stroke=\"#0072b2\" stroke-width=\"0.2\"",
       5,
       {{{{b.low_x, t.sole.axis_y}, {b.high_x, t.sole.axis_y}}, false}}});
  layers.push_back({"foot",
                    "stroke=\"#9e4d14\" stroke-width=\"0.2\"",
                    30,
                    {{t.sole.outline, true}}});
  layers.push_back({"shoe",
                    "stroke=\"#000000\" stroke-width=\"0.2\"",
                    7,
                    {{t.shoe.body, true}}});
  Layer nails{"nails", "stroke=\"#d55e00\" stroke-width=\"0.2\"", 1, {}};
  for (const fit::Slot& slot : t.nails.slots) {
    if (const fit::Nail* nail = slot.nail()) {
      const auto corners = fit::HoleCorners(*nail);
      nails.shapes.push_back({{corners.begin(), corners.end()}, true});
    }
  }
  layers.push_back(std::move(nails));
  Layer clips{"clips", "stroke=\"#009e73\" stroke-width=\"0.2\"", 3, {}};
  for (const fit::Clip& clip : t.nails.clips) {
    clips.shapes.push_back({ClipShape(clip), true});
  }
  layers.push_back(std::move(clips));
  Layer roll{"roll", "stroke=\"#cc79a7\" stroke-width=\"0.2\"", 6, {}};
  if (!t.shoe.roll.empty()) roll.shapes.push_back({t.shoe.roll, false});
  layers.push_back(std::move(roll));
  // Below the heels: who cuts leaves it out, who prints lays a ruler on it.
  const double middle = (b.low_y + b.high_y) / 2;
  layers.push_back(
      {"check",
       "stroke=\"#000000\" stroke-width=\"0.1\"",
       8,
       {{{{b.low_x + 2, middle - 50}, {b.low_x + 2, middle + 50}}, false}}});
  return layers;
}

/// The horse's left is on the right, the toe is up.
struct Sheet {
  double left;
  double front;
  double x(FootPoint p) const { return p.y - left; }
  double down(FootPoint p) const { return front - p.x; }
};

std::string XmlText(std::string_view text) {
  std::string escaped;
  for (const char c : text) {
    switch (c) {
      case '&':
        escaped += "&amp;";
        break;
      case '<':
        escaped += "&lt;";
        break;
      case '>':
        escaped += "&gt;";
        break;
      default:
        escaped += c;
    }
  }
  return escaped;
}

/// A DXF comment is one line of ASCII.
std::string DxfText(std::string_view text) {
  std::string plain;
  for (const char c : text) plain += c >= ' ' && c <= '~' ? c : '?';
  return plain;
}

}  // namespace

FootBounds BoundsOf(const ShoeTemplate& t) {
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  FootBounds b{kInfinity, -kInfinity, kInfinity, -kInfinity};
  const auto hold = [&b](const FootPolyline& line) {
    for (const FootPoint& p : line) {
      b.low_x = std::min(b.low_x, p.x);
      b.high_x = std::max(b.high_x, p.x);
      b.low_y = std::min(b.low_y, p.y);
      b.high_y = std::max(b.high_y, p.y);
    }
  };
  hold(t.shoe.body);
  hold(t.sole.outline);
  for (const fit::Clip& clip : t.nails.clips) hold(ClipShape(clip));
  // CHOSEN: the nails' numbers stand 8.5 mm outside of the foot.
  constexpr double kBeside = 14.0;
  constexpr double kAbove = 6.0;
  return {b.low_x - kAbove,
          b.high_x + kAbove,
          b.low_y - kBeside,
          b.high_y + kBeside};
}

FootPolyline ClipShape(const fit::Clip& clip) {
  FootVector out = geometry::Perpendicular(clip.along);
  // Away from the heels' middle, which lies at the origin.
  if (geometry::Dot(out, clip.at - FootPoint{}) < 0) out = -out;
  const FootVector along = clip.along;
  const double half = clip.width_mm / 2;
  // A round-topped leaf.
  FootPolyline shape{clip.at - half * along};
  constexpr int kSteps = 24;
  for (int i = 1; i < kSteps; ++i) {
    const double u = 2.0 * i / kSteps - 1;
    shape.push_back(clip.at + (half * u) * along +
                    (clip.height_mm * (1 - std::abs(u * u * u))) * out);
  }
  shape.push_back(clip.at + half * along);
  return shape;
}

std::string TemplateSvg(const ShoeTemplate& t) {
  const FootBounds b = BoundsOf(t);
  const Sheet sheet{b.low_y, b.high_x};
  const double width = b.high_y - b.low_y;
  const double height = b.high_x - b.low_x;
  std::string svg = fmt::format(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
      "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0:.4f}mm\" "
      "height=\"{1:.4f}mm\" viewBox=\"0 0 {0:.4f} {1:.4f}\">\n"
      "<title>{2}</title>\n"
      "<desc>{3} Millimetres, 1:1, seen as one looks at the sole. The line of "
      "the layer check is 100 mm.</desc>\n",
      width,
      height,
      XmlText(t.title),
      XmlText(t.subtitle));
  for (const Layer& layer : LayersOf(t)) {
    svg += fmt::format(
        "<g id=\"{}\" fill=\"none\" {}>\n", layer.name, layer.stroke);
    for (const Shape& shape : layer.shapes) {
      svg += "<path d=\"";
      char command = 'M';
      for (const FootPoint& p : shape.line) {
        svg +=
            fmt::format("{}{:.4f} {:.4f}", command, sheet.x(p), sheet.down(p));
        command = 'L';
      }
      svg += shape.closed ? "Z\"/>\n" : "\"/>\n";
    }
    svg += "</g>\n";
  }
  return svg + "</svg>\n";
}

std::string TemplateDxf(const ShoeTemplate& t) {
  const FootBounds b = BoundsOf(t);
  const Sheet sheet{b.low_y, b.high_x};
  const double width = b.high_y - b.low_y;
  const double height = b.high_x - b.low_x;
  std::string dxf;
  const auto pair = [&dxf](int code, std::string_view value) {
    dxf += fmt::format("{:>3}\n{}\n", code, value);
  };
  const auto number = [&dxf](int code, double value) {
    dxf += fmt::format("{:>3}\n{:.6f}\n", code, value);
  };
  const auto whole = [&dxf](int code, int value) {
    dxf += fmt::format("{:>3}\n{:>6}\n", code, value);
  };
  const std::vector<Layer> layers = LayersOf(t);
  const auto capitals = [](std::string_view name) {
    std::string upper(name);
    for (char& c : upper) c = static_cast<char>(c - 'a' + 'A');
    return upper;
  };

  pair(999, DxfText(t.title));
  pair(0, "SECTION");
  pair(2, "HEADER");
  pair(9, "$ACADVER");
  pair(1, "AC1009");
  pair(9, "$INSUNITS");
  whole(70, 4);  // millimetres
  pair(9, "$MEASUREMENT");
  whole(70, 1);  // metric
  pair(9, "$EXTMIN");
  number(10, 0);
  number(20, 0);
  pair(9, "$EXTMAX");
  number(10, width);
  number(20, height);
  pair(0, "ENDSEC");
  pair(0, "SECTION");
  pair(2, "TABLES");
  pair(0, "TABLE");
  pair(2, "LTYPE");
  whole(70, 1);
  pair(0, "LTYPE");
  pair(2, "CONTINUOUS");
  whole(70, 0);
  pair(3, "Solid line");
  whole(72, 65);
  whole(73, 0);
  number(40, 0);
  pair(0, "ENDTAB");
  pair(0, "TABLE");
  pair(2, "LAYER");
  whole(70, static_cast<int>(layers.size()));
  for (const Layer& layer : layers) {
    pair(0, "LAYER");
    pair(2, capitals(layer.name));
    whole(70, 0);
    whole(62, layer.colour);
    pair(6, "CONTINUOUS");
  }
  pair(0, "ENDTAB");
  pair(0, "ENDSEC");
  pair(0, "SECTION");
  pair(2, "ENTITIES");
  for (const Layer& layer : layers) {
    const std::string name = capitals(layer.name);
    for (const Shape& shape : layer.shapes) {
      pair(0, "POLYLINE");
      pair(8, name);
      whole(66, 1);
      number(10, 0);
      number(20, 0);
      number(30, 0);
      whole(70, shape.closed ? 1 : 0);
      for (const FootPoint& p : shape.line) {
        pair(0, "VERTEX");
        pair(8, name);
        number(10, sheet.x(p));
        // DXF's y runs up.
        number(20, height - sheet.down(p));
        number(30, 0);
      }
      pair(0, "SEQEND");
      pair(8, name);
    }
  }
  pair(0, "ENDSEC");
  pair(0, "EOF");
  return dxf;
}

}  // namespace plumbfoot::draw
