// SPDX-License-Identifier: Apache-2.0
/// @file
/// One drawing layer for everything: cairo with pango text, on a PDF page, an
/// SVG picture, a PNG of known size, or on top of a photo. What draws does not
/// know on which of them it draws.
///
/// Canvas frame: origin at the top left corner, x right, y down; in
/// millimetres on paper and in pixels on a picture. Angles run from +x towards
/// +y, so clockwise as it is seen [rad].
#pragma once

#include <array>
#include <memory>
#include <opencv2/core/mat.hpp>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/geometry/points.h"

namespace plumbfoot::draw {

struct CanvasFrame {};
using CanvasPoint = geometry::Point<CanvasFrame>;
using CanvasVector = geometry::Vector<CanvasFrame>;

/// sRGB and how much it covers, each [0..1].
struct Colour {
  double red = 0.0;
  double green = 0.0;
  double blue = 0.0;
  double cover = 1.0;
};

/// The same colour, covering less.
constexpr Colour Faded(Colour colour, double cover) {
  colour.cover = cover;
  return colour;
}

inline constexpr Colour kBlack{0, 0, 0};
inline constexpr Colour kWhite{1, 1, 1};

/// Eight colours that people of every kind of colour vision tell apart:
/// M. Okabe and K. Ito, "Color universal design (CUD): how to make figures and
/// presentations that are friendly to colorblind people", 2008.
inline constexpr Colour kOrange{230 / 255.0, 159 / 255.0, 0};
inline constexpr Colour kSkyBlue{86 / 255.0, 180 / 255.0, 233 / 255.0};
inline constexpr Colour kBluishGreen{0, 158 / 255.0, 115 / 255.0};
inline constexpr Colour kYellow{240 / 255.0, 228 / 255.0, 66 / 255.0};
inline constexpr Colour kBlue{0, 114 / 255.0, 178 / 255.0};
inline constexpr Colour kVermilion{213 / 255.0, 94 / 255.0, 0};
inline constexpr Colour kReddishPurple{204 / 255.0, 121 / 255.0, 167 / 255.0};

/// How a line is drawn.
struct Pen {
  Colour colour = kBlack;
  double width = 0.2;
  std::vector<double> dashes =
      {};  ///< Drawn, left out, drawn, ...; empty: whole.
  /// A wider, dark line below it, so that it is seen on any ground; 0: none.
  double halo = 0.0;
};

/// How text is set.
struct TextStyle {
  Colour colour = kBlack;
  double size = 3.0;  ///< Height of the letters' body, in canvas units.
  bool bold = false;
  /// Lines are broken at this width; 0: only where the text breaks them.
  double wrap = 0.0;
  double halo = 0.0;  ///< As of Pen.
};

/// A rectangle with its sides along the axes.
struct Box {
  double x = 0.0;
  double y = 0.0;
  double width = 0.0;
  double height = 0.0;

  double right() const { return x + width; }
  double bottom() const { return y + height; }
  CanvasPoint middle() const { return {x + width / 2, y + height / 2}; }
};

/// Do the two share more than an edge?
bool Overlap(const Box& a, const Box& b);
/// Is `inner` nowhere outside `outer`?
bool Contains(const Box& outer, const Box& inner);
/// `box` made larger by `by` on each side.
Box Grown(const Box& box, double by);

/// Where a text stands relative to the place that is named.
enum class Anchor { kLeft, kMiddle, kRight };

/// What the finished file says of itself.
struct DocumentInfo {
  std::string title;
  std::string subject;
};

/// Something to draw on. Movable, not copyable.
class Canvas {
  struct State;

 public:
  /// A PDF of one page (more with NextPage), measured in millimetres.
  static Canvas Pdf(double width_mm,
                    double height_mm,
                    const DocumentInfo& info = {});
  /// An SVG picture, measured in millimetres.
  static Canvas Svg(double width_mm, double height_mm);
  /// A white PNG picture, measured in millimetres; its pHYs chunk tells the
  /// resolution (PNG specification, 11.3.5.3).
  static Canvas Png(double width_mm, double height_mm, double dots_per_inch);
  /// On a picture, measured in pixels.
  /// @param rgb  CV_8UC3, red first; copied, not altered.
  static Canvas OnPicture(const cv::Mat& rgb);

  Canvas(Canvas&&) noexcept;
  Canvas& operator=(Canvas&&) noexcept;
  ~Canvas();

  double width() const;
  double height() const;

  void Line(CanvasPoint from, CanvasPoint to, const Pen& pen);
  /// Many lines as one stroke, which takes a fraction of the time. Where they
  /// cross, a pen that lets the ground through covers no more than once.
  void Lines(std::span<const std::array<CanvasPoint, 2>> lines, const Pen& pen);
  void Polyline(std::span<const CanvasPoint> points,
                const Pen& pen,
                bool closed = false);
  void Fill(std::span<const CanvasPoint> polygon, Colour colour);
  /// All boxes as one shape, so that no seam shows between neighbours.
  void FillBoxes(std::span<const Box> boxes, Colour colour);
  /// @param radius  Of the corners.
  void FillRounded(const Box& box, double radius, Colour colour);
  void Circle(CanvasPoint centre, double radius, const Pen& pen);
  void Disc(CanvasPoint centre, double radius, Colour colour);
  /// From the angle `from` on, in the way of growing angles, to `to`.
  void Arc(CanvasPoint centre,
           double radius,
           double from,
           double to,
           const Pen& pen);
  /// A line with a filled head at `to`.
  void Arrow(CanvasPoint from, CanvasPoint to, double head, const Pen& pen);

  /// Puts a picture into a box, as large as it fits, in the box's middle.
  /// @param rgb   CV_8UC3, red first.
  /// @param jpeg  The same picture as the bytes of a JPEG file, which a PDF or
  ///   an SVG takes as they are instead of the pixels; empty: the pixels.
  /// @return The box that it takes.
  Box PlacePicture(const cv::Mat& rgb,
                   const Box& box,
                   std::string_view jpeg = {});

  /// The box that the text takes with its top left corner at the origin.
  Box MeasureText(std::string_view text, const TextStyle& style) const;
  /// Sets text; `at` is the top of its box, at its left, middle or right.
  /// @return The box that it takes.
  Box Text(std::string_view text,
           CanvasPoint at,
           const TextStyle& style,
           Anchor anchor = Anchor::kLeft);
  /// Sets text about its middle, turned by `angle`.
  void TurnedText(std::string_view text,
                  CanvasPoint middle,
                  double angle,
                  const TextStyle& style);

  /// Takes back what Clip or Frame set, when it goes.
  class [[nodiscard]] Guard {
   public:
    ~Guard();
    Guard(const Guard&) = delete;
    Guard& operator=(const Guard&) = delete;

   private:
    friend class Canvas;
    explicit Guard(const State& state);
    const State& state_;
  };
  /// Draws only inside the polygon until the guard goes.
  Guard Clip(std::span<const CanvasPoint> polygon);
  /// Moves, then turns and stretches the frame until the guard goes.
  Guard Frame(CanvasPoint origin, double turn = 0.0, double stretch = 1.0);

  /// A PDF's next page.
  void NextPage();

  /// Ends a PDF, SVG or PNG and gives its bytes. Nothing can be drawn after.
  std::string Finish();
  /// The picture as it is now, CV_8UC3, red first. OnPicture only.
  cv::Mat Picture() const;
  /// The same, into part of a larger picture: CV_8UC3 of the canvas's size.
  void PictureInto(cv::Mat rgb) const;

 private:
  explicit Canvas(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace plumbfoot::draw
