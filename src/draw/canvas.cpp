// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/draw/canvas.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <cairo.h>
#include <pango/pangocairo.h>
#include <png.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <utility>

namespace plumbfoot::draw {
namespace {

constexpr double kPointsPerMillimetre = 72.0 / 25.4;

/// Below every line or letter that has a halo.
constexpr Colour kHalo{0.05, 0.05, 0.07, 0.62};

struct FreeSurface {
  void operator()(cairo_surface_t* surface) const {
    cairo_surface_destroy(surface);
  }
};
struct FreeContext {
  void operator()(cairo_t* context) const { cairo_destroy(context); }
};
struct FreeObject {
  void operator()(void* object) const { g_object_unref(object); }
};
struct FreeFont {
  void operator()(PangoFontDescription* font) const {
    pango_font_description_free(font);
  }
};
struct FreeFontOptions {
  void operator()(cairo_font_options_t* options) const {
    cairo_font_options_destroy(options);
  }
};
using Surface = std::unique_ptr<cairo_surface_t, FreeSurface>;
using Layout = std::unique_ptr<PangoLayout, FreeObject>;

void Require(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS) {
    throw std::logic_error(std::string("Canvas: ") +
                           cairo_status_to_string(status));
  }
}

cairo_status_t Append(void* closure,
                      const unsigned char* data,
                      unsigned int length) {
  static_cast<std::string*>(closure)->append(
      reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

void SetColour(cairo_t* context, Colour c) {
  cairo_set_source_rgba(context, c.red, c.green, c.blue, c.cover);
}

void Trace(cairo_t* context, std::span<const CanvasPoint> points) {
  cairo_new_path(context);
  for (const CanvasPoint& p : points) cairo_line_to(context, p.x, p.y);
}

/// Strokes the path that stands, and clears it.
void Stroke(cairo_t* context, const Pen& pen) {
  if (pen.halo > 0) {
    SetColour(context, kHalo);
    cairo_set_line_width(context, pen.width + 2 * pen.halo);
    cairo_set_dash(context, nullptr, 0, 0);
    cairo_stroke_preserve(context);
  }
  SetColour(context, pen.colour);
  cairo_set_line_width(context, pen.width);
  cairo_set_dash(
      context, pen.dashes.data(), static_cast<int>(pen.dashes.size()), 0);
  cairo_stroke(context);
}

void AppendBigEndian(std::string& bytes, std::uint32_t value) {
  for (int shift = 24; shift >= 0; shift -= 8) {
    bytes.push_back(static_cast<char>((value >> shift) & 0xFFU));
  }
}

/// CRC-32 as the PNG specification (annex D) has it.
std::uint32_t Crc(std::string_view bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const char byte : bytes) {
    crc ^= static_cast<unsigned char>(byte);
    for (int bit = 0; bit < 8; ++bit) {
      crc = (crc & 1U) != 0 ? 0xEDB88320U ^ (crc >> 1) : crc >> 1;
    }
  }
  return ~crc;
}

/// cairo doesn't tell the resolution: the pHYs chunk goes in after the header,
/// which is 8 + 25 bytes long.
void TellResolution(std::string& png, double dots_per_inch) {
  const auto per_metre =
      static_cast<std::uint32_t>(std::lround(dots_per_inch / 0.0254));
  std::string body = "pHYs";
  AppendBigEndian(body, per_metre);
  AppendBigEndian(body, per_metre);
  body.push_back(1);  // the unit is the metre
  std::string chunk;
  AppendBigEndian(chunk, static_cast<std::uint32_t>(body.size() - 4));
  chunk += body;
  AppendBigEndian(chunk, Crc(body));
  constexpr std::size_t kHeader = 33;
  png.insert(kHeader, chunk);
}

/// cairo's own writer packs as tightly as zlib does by default, which takes
/// most of a plot's time and saves a few per cent of a drawing.
std::string PngOf(cairo_surface_t* surface) {
  cairo_surface_flush(surface);
  const cv::Mat drawn(
      cairo_image_surface_get_height(surface),
      cairo_image_surface_get_width(surface),
      CV_8UC4,
      cairo_image_surface_get_data(surface),
      static_cast<std::size_t>(cairo_image_surface_get_stride(surface)));
  cv::Mat rgb;
  cv::cvtColor(drawn, rgb, cv::COLOR_BGRA2RGB);
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = static_cast<png_uint_32>(rgb.cols);
  image.height = static_cast<png_uint_32>(rgb.rows);
  image.format = PNG_FORMAT_RGB;
  image.flags = PNG_IMAGE_FLAG_FAST;
  png_alloc_size_t size = PNG_IMAGE_PNG_SIZE_MAX(image);
  // Some ten times as much as it becomes: not filled, and given back.
  const std::unique_ptr<char[]> room(new char[size]);
  if (png_image_write_to_memory(
          &image, room.get(), &size, 0, rgb.data, 0, nullptr) == 0) {
    throw std::runtime_error(std::string("libpng: ") + image.message);
  }
  return {room.get(), size};
}

enum class Kind { kPdf, kSvg, kPng, kPicture };

}  // namespace

bool Overlap(const Box& a, const Box& b) {
  return a.x < b.right() && b.x < a.right() && a.y < b.bottom() &&
         b.y < a.bottom();
}

bool Contains(const Box& outer, const Box& inner) {
  return inner.x >= outer.x && inner.y >= outer.y &&
         inner.right() <= outer.right() && inner.bottom() <= outer.bottom();
}

Box Grown(const Box& box, double by) {
  return {box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by};
}

struct Canvas::State {
  Kind kind = Kind::kPicture;
  double width = 0.0;
  double height = 0.0;
  double dots_per_inch = 0.0;
  std::string bytes;  ///< Where PDF and SVG go.
  cv::Mat bgra;       ///< The pixels of a picture; the surface looks at them.
  Surface surface;
  std::unique_ptr<cairo_t, FreeContext> context;

  cairo_t* cairo() const { return context.get(); }

  void Open(cairo_surface_t* opened, double units) {
    surface.reset(opened);
    Require(cairo_surface_status(opened));
    context.reset(cairo_create(opened));
    cairo_scale(cairo(), units, units);
    cairo_set_line_join(cairo(), CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(cairo(), CAIRO_LINE_CAP_BUTT);
  }

  Layout Lay(std::string_view text,
             const TextStyle& style,
             Anchor anchor) const {
    Layout layout(pango_cairo_create_layout(cairo()));
    PangoContext* pango = pango_layout_get_context(layout.get());
    // Without these, letters are moved to whole units, which are whole
    // millimetres on paper.
    pango_context_set_round_glyph_positions(pango, FALSE);
    const std::unique_ptr<cairo_font_options_t, FreeFontOptions> options(
        cairo_font_options_create());
    cairo_font_options_set_hint_metrics(options.get(), CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_hint_style(options.get(), CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_antialias(options.get(), CAIRO_ANTIALIAS_GRAY);
    pango_cairo_context_set_font_options(pango, options.get());

    const std::unique_ptr<PangoFontDescription, FreeFont> font(
        pango_font_description_new());
    pango_font_description_set_family(font.get(), "DejaVu Sans");
    pango_font_description_set_weight(
        font.get(), style.bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font.get(),
                                             style.size * PANGO_SCALE);
    pango_layout_set_font_description(layout.get(), font.get());
    pango_layout_set_text(
        layout.get(), text.data(), static_cast<int>(text.size()));
    if (style.wrap > 0) {
      pango_layout_set_width(layout.get(),
                             static_cast<int>(style.wrap * PANGO_SCALE));
    }
    pango_layout_set_alignment(
        layout.get(),
        anchor == Anchor::kLeft
            ? PANGO_ALIGN_LEFT
            : (anchor == Anchor::kMiddle ? PANGO_ALIGN_CENTER
                                         : PANGO_ALIGN_RIGHT));
    return layout;
  }

  static Box SizeOf(PangoLayout* layout) {
    PangoRectangle logical;
    pango_layout_get_extents(layout, nullptr, &logical);
    return {logical.x / static_cast<double>(PANGO_SCALE),
            logical.y / static_cast<double>(PANGO_SCALE),
            logical.width / static_cast<double>(PANGO_SCALE),
            logical.height / static_cast<double>(PANGO_SCALE)};
  }

  void Show(PangoLayout* layout, CanvasPoint at, const TextStyle& style) const {
    cairo_new_path(cairo());
    if (style.halo > 0) {
      cairo_move_to(cairo(), at.x, at.y);
      pango_cairo_layout_path(cairo(), layout);
      SetColour(cairo(), Faded(kHalo, 0.9));
      cairo_set_line_width(cairo(), 2 * style.halo);
      cairo_set_dash(cairo(), nullptr, 0, 0);
      cairo_stroke(cairo());
    }
    cairo_move_to(cairo(), at.x, at.y);
    SetColour(cairo(), style.colour);
    pango_cairo_show_layout(cairo(), layout);
    cairo_new_path(cairo());
  }
};

Canvas::Canvas(std::unique_ptr<State> state) : state_(std::move(state)) {}
Canvas::Canvas(Canvas&&) noexcept = default;
Canvas& Canvas::operator=(Canvas&&) noexcept = default;
Canvas::~Canvas() = default;

Canvas Canvas::Pdf(double width_mm,
                   double height_mm,
                   const DocumentInfo& info) {
  auto state = std::make_unique<State>();
  state->kind = Kind::kPdf;
  state->width = width_mm;
  state->height = height_mm;
  cairo_surface_t* surface =
      cairo_pdf_surface_create_for_stream(Append,
                                          &state->bytes,
                                          width_mm * kPointsPerMillimetre,
                                          height_mm * kPointsPerMillimetre);
  cairo_pdf_surface_set_metadata(
      surface, CAIRO_PDF_METADATA_TITLE, info.title.c_str());
  cairo_pdf_surface_set_metadata(
      surface, CAIRO_PDF_METADATA_SUBJECT, info.subject.c_str());
  cairo_pdf_surface_set_metadata(
      surface, CAIRO_PDF_METADATA_CREATOR, "Plumbfoot");
  state->Open(surface, kPointsPerMillimetre);
  return Canvas(std::move(state));
}

Canvas Canvas::Svg(double width_mm, double height_mm) {
  auto state = std::make_unique<State>();
  state->kind = Kind::kSvg;
  state->width = width_mm;
  state->height = height_mm;
  cairo_surface_t* surface = cairo_svg_surface_create_for_stream(
      Append, &state->bytes, width_mm, height_mm);
  // With this, cairo writes width and height as they are, followed by "mm",
  // and one unit of the picture is a millimetre.
  cairo_svg_surface_set_document_unit(surface, CAIRO_SVG_UNIT_MM);
  state->Open(surface, 1.0);
  return Canvas(std::move(state));
}

Canvas Canvas::Png(double width_mm, double height_mm, double dots_per_inch) {
  auto state = std::make_unique<State>();
  state->kind = Kind::kPng;
  state->width = width_mm;
  state->height = height_mm;
  state->dots_per_inch = dots_per_inch;
  const double per_mm = dots_per_inch / 25.4;
  state->Open(cairo_image_surface_create(
                  CAIRO_FORMAT_RGB24,
                  static_cast<int>(std::lround(width_mm * per_mm)),
                  static_cast<int>(std::lround(height_mm * per_mm))),
              per_mm);
  SetColour(state->cairo(), kWhite);
  cairo_paint(state->cairo());
  return Canvas(std::move(state));
}

Canvas Canvas::OnPicture(const cv::Mat& rgb) {
  if (rgb.empty() || rgb.type() != CV_8UC3) {
    throw std::invalid_argument("Canvas::OnPicture: not an RGB picture");
  }
  auto state = std::make_unique<State>();
  state->kind = Kind::kPicture;
  state->width = rgb.cols;
  state->height = rgb.rows;
  cv::cvtColor(rgb, state->bgra, cv::COLOR_RGB2BGRA);
  state->Open(
      cairo_image_surface_create_for_data(state->bgra.data,
                                          CAIRO_FORMAT_RGB24,
                                          rgb.cols,
                                          rgb.rows,
                                          static_cast<int>(state->bgra.step)),
      1.0);
  return Canvas(std::move(state));
}

double Canvas::width() const {
  return state_->width;
}
double Canvas::height() const {
  return state_->height;
}

void Canvas::Line(CanvasPoint from, CanvasPoint to, const Pen& pen) {
  Polyline(std::array{from, to}, pen);
}

void Canvas::Lines(std::span<const std::array<CanvasPoint, 2>> lines,
                   const Pen& pen) {
  cairo_new_path(state_->cairo());
  for (const auto& [from, to] : lines) {
    cairo_move_to(state_->cairo(), from.x, from.y);
    cairo_line_to(state_->cairo(), to.x, to.y);
  }
  Stroke(state_->cairo(), pen);
}

void Canvas::Polyline(std::span<const CanvasPoint> points,
                      const Pen& pen,
                      bool closed) {
  Trace(state_->cairo(), points);
  if (closed) cairo_close_path(state_->cairo());
  Stroke(state_->cairo(), pen);
}

void Canvas::Fill(std::span<const CanvasPoint> polygon, Colour colour) {
  Trace(state_->cairo(), polygon);
  cairo_close_path(state_->cairo());
  SetColour(state_->cairo(), colour);
  cairo_fill(state_->cairo());
}

void Canvas::FillBoxes(std::span<const Box> boxes, Colour colour) {
  cairo_t* cairo = state_->cairo();
  cairo_new_path(cairo);
  for (const Box& b : boxes)
    cairo_rectangle(cairo, b.x, b.y, b.width, b.height);
  SetColour(cairo, colour);
  cairo_fill(cairo);
}

void Canvas::FillRounded(const Box& box, double radius, Colour colour) {
  cairo_t* cairo = state_->cairo();
  const double r = std::min({radius, box.width / 2, box.height / 2});
  constexpr double kQuarter = std::numbers::pi / 2;
  cairo_new_path(cairo);
  cairo_arc(cairo, box.right() - r, box.y + r, r, -kQuarter, 0);
  cairo_arc(cairo, box.right() - r, box.bottom() - r, r, 0, kQuarter);
  cairo_arc(cairo, box.x + r, box.bottom() - r, r, kQuarter, 2 * kQuarter);
  cairo_arc(cairo, box.x + r, box.y + r, r, 2 * kQuarter, 3 * kQuarter);
  cairo_close_path(cairo);
  SetColour(cairo, colour);
  cairo_fill(cairo);
}

void Canvas::Circle(CanvasPoint centre, double radius, const Pen& pen) {
  Arc(centre, radius, 0, 2 * std::numbers::pi, pen);
}

void Canvas::Disc(CanvasPoint centre, double radius, Colour colour) {
  cairo_t* cairo = state_->cairo();
  cairo_new_path(cairo);
  cairo_arc(cairo, centre.x, centre.y, radius, 0, 2 * std::numbers::pi);
  SetColour(cairo, colour);
  cairo_fill(cairo);
}

void Canvas::Arc(
    CanvasPoint centre, double radius, double from, double to, const Pen& pen) {
  cairo_new_path(state_->cairo());
  cairo_arc(state_->cairo(), centre.x, centre.y, radius, from, to);
  Stroke(state_->cairo(), pen);
}

void Canvas::Arrow(CanvasPoint from,
                   CanvasPoint to,
                   double head,
                   const Pen& pen) {
  const CanvasVector along = to - from;
  const double length = geometry::Norm(along);
  if (!(length > 0)) return;
  const CanvasVector unit = along / length;
  const CanvasVector side = geometry::Perpendicular(unit);
  const CanvasPoint neck = to - head * unit;
  Line(from, neck, pen);
  // CHOSEN: a head as slim as two in five reads as an arrow and not as a wedge.
  const std::array<CanvasPoint, 3> tip = {
      to, neck + 0.4 * head * side, neck - 0.4 * head * side};
  Fill(tip, pen.colour);
}

Box Canvas::PlacePicture(const cv::Mat& rgb,
                         const Box& box,
                         std::string_view jpeg) {
  if (rgb.empty() || rgb.type() != CV_8UC3) {
    throw std::invalid_argument("Canvas::PlacePicture: not an RGB picture");
  }
  const double scale = std::min(box.width / rgb.cols, box.height / rgb.rows);
  const Box taken{box.x + (box.width - scale * rgb.cols) / 2,
                  box.y + (box.height - scale * rgb.rows) / 2,
                  scale * rgb.cols,
                  scale * rgb.rows};
  const Surface surface(
      cairo_image_surface_create(CAIRO_FORMAT_RGB24, rgb.cols, rgb.rows));
  Require(cairo_surface_status(surface.get()));
  cairo_surface_flush(surface.get());
  cv::Mat to(
      rgb.rows,
      rgb.cols,
      CV_8UC4,
      cairo_image_surface_get_data(surface.get()),
      static_cast<std::size_t>(cairo_image_surface_get_stride(surface.get())));
  cv::cvtColor(rgb, to, cv::COLOR_RGB2BGRA);
  cairo_surface_mark_dirty(surface.get());
  if (!jpeg.empty()) {
    // cairo keeps the bytes until it has written them.
    auto kept = std::make_unique<std::string>(jpeg);
    const auto* bytes = reinterpret_cast<const unsigned char*>(kept->data());
    Require(cairo_surface_set_mime_data(
        surface.get(),
        CAIRO_MIME_TYPE_JPEG,
        bytes,
        kept->size(),
        [](void* closure) { delete static_cast<std::string*>(closure); },
        kept.get()));
    (void)kept.release();
  }
  cairo_t* const context = state_->cairo();
  cairo_save(context);
  cairo_translate(context, taken.x, taken.y);
  cairo_scale(context, scale, scale);
  cairo_set_source_surface(context, surface.get(), 0, 0);
  cairo_paint(context);
  cairo_restore(context);
  return taken;
}

Box Canvas::MeasureText(std::string_view text, const TextStyle& style) const {
  const Box size = State::SizeOf(state_->Lay(text, style, Anchor::kLeft).get());
  return {0, 0, size.width, size.height};
}

Box Canvas::Text(std::string_view text,
                 CanvasPoint at,
                 const TextStyle& style,
                 Anchor anchor) {
  const Layout layout = state_->Lay(text, style, anchor);
  const Box size = State::SizeOf(layout.get());
  double left = at.x;
  if (anchor == Anchor::kMiddle) left -= size.width / 2;
  if (anchor == Anchor::kRight) left -= size.width;
  // In wrapped text that is not set to the left, the lines begin at size.x.
  state_->Show(layout.get(), {left - size.x, at.y}, style);
  return {left, at.y, size.width, size.height};
}

void Canvas::TurnedText(std::string_view text,
                        CanvasPoint middle,
                        double angle,
                        const TextStyle& style) {
  const Guard guard = Frame(middle, angle);
  const Box size = MeasureText(text, style);
  Text(text, {0, -size.height / 2}, style, Anchor::kMiddle);
}

Canvas::Guard::Guard(const State& state) : state_(state) {}
Canvas::Guard::~Guard() {
  cairo_restore(state_.cairo());
}

Canvas::Guard Canvas::Clip(std::span<const CanvasPoint> polygon) {
  cairo_save(state_->cairo());
  Trace(state_->cairo(), polygon);
  cairo_close_path(state_->cairo());
  cairo_clip(state_->cairo());
  return Guard(*state_);
}

Canvas::Guard Canvas::Frame(CanvasPoint origin, double turn, double stretch) {
  cairo_save(state_->cairo());
  cairo_translate(state_->cairo(), origin.x, origin.y);
  cairo_rotate(state_->cairo(), turn);
  cairo_scale(state_->cairo(), stretch, stretch);
  return Guard(*state_);
}

void Canvas::NextPage() {
  cairo_show_page(state_->cairo());
}

std::string Canvas::Finish() {
  if (state_->kind == Kind::kPicture) {
    throw std::logic_error("Canvas::Finish: a picture has Picture()");
  }
  Require(cairo_status(state_->cairo()));
  if (state_->kind == Kind::kPng) {
    state_->bytes = PngOf(state_->surface.get());
    TellResolution(state_->bytes, state_->dots_per_inch);
  }
  cairo_surface_finish(state_->surface.get());
  Require(cairo_surface_status(state_->surface.get()));
  return std::move(state_->bytes);
}

cv::Mat Canvas::Picture() const {
  cv::Mat rgb(state_->bgra.size(), CV_8UC3);
  PictureInto(rgb);
  return rgb;
}

void Canvas::PictureInto(cv::Mat rgb) const {
  if (state_->kind != Kind::kPicture) {
    throw std::logic_error("Canvas::Picture: not a picture");
  }
  if (rgb.size() != state_->bgra.size() || rgb.type() != CV_8UC3) {
    throw std::invalid_argument("Canvas::PictureInto: not of the same size");
  }
  Require(cairo_status(state_->cairo()));
  cairo_surface_flush(state_->surface.get());
  cv::cvtColor(state_->bgra, rgb, cv::COLOR_BGRA2RGB);
}

}  // namespace plumbfoot::draw
