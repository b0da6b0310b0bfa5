// SPDX-License-Identifier: Apache-2.0
#include <libheif/heif.h>

#include <cstring>
#include <memory>
#include <vector>

#include "photo/decode.h"
#include "photo/exif.h"
#include "photo/refusals.h"

namespace plumbfoot::photo {
namespace {

template <auto kFree>
struct Freer {
  template <typename T>
  void operator()(T* held) const {
    kFree(held);
  }
};
using Context = std::unique_ptr<heif_context, Freer<heif_context_free>>;
using Handle =
    std::unique_ptr<heif_image_handle, Freer<heif_image_handle_release>>;
using Image = std::unique_ptr<heif_image, Freer<heif_image_release>>;
using Options =
    std::unique_ptr<heif_decoding_options, Freer<heif_decoding_options_free>>;

Refusal Refuse(const Source& source, const heif_error& error) {
  if (error.code == heif_error_Unsupported_filetype ||
      error.code == heif_error_Unsupported_feature) {
    return UnreadableKind(source.name, "an unusual HEIC file");
  }
  if (error.subcode == heif_suberror_Security_limit_exceeded) {
    return {RefusalCode::kPhotoTooLarge,
            std::string(source.name) + " says that it is enormous.",
            "Save it as a JPEG photo first, or give another photo."};
  }
  return Damaged(source.name);
}

ExifBlock ExifOf(const heif_image_handle* handle) {
  heif_item_id id = 0;
  if (heif_image_handle_get_list_of_metadata_block_IDs(handle, "Exif", &id, 1) <
      1) {
    return {};
  }
  std::vector<std::uint8_t> item(
      heif_image_handle_get_metadata_size(handle, id));
  if (heif_image_handle_get_metadata(handle, id, item.data()).code !=
      heif_error_Ok) {
    return {};
  }
  // ISO/IEC 23008-12, A.2.1: four bytes say how far on the TIFF header is.
  constexpr std::size_t kOffset = 4;
  if (item.size() < kOffset) return {};
  const std::size_t skip = (std::size_t{item[0]} << 24U) |
                           (std::size_t{item[1]} << 16U) |
                           (std::size_t{item[2]} << 8U) | std::size_t{item[3]};
  if (skip > item.size() - kOffset) return {};
  return ReadExif(Bytes(item).subspan(kOffset + skip));
}

}  // namespace

Result<Decoded> DecodeHeic(const Source& source) {
  const Context context(heif_context_alloc());
  heif_error error = heif_context_read_from_memory_without_copy(
      context.get(), source.bytes.data(), source.bytes.size(), nullptr);
  if (error.code != heif_error_Ok) return Refuse(source, error);
  heif_image_handle* raw_handle = nullptr;
  error = heif_context_get_primary_image_handle(context.get(), &raw_handle);
  if (error.code != heif_error_Ok) return Refuse(source, error);
  const Handle handle(raw_handle);
  const int width = heif_image_handle_get_width(handle.get());
  const int height = heif_image_handle_get_height(handle.get());
  if (width <= 0 || height <= 0) return Damaged(source.name);
  if (IsTooLarge(source,
                 static_cast<std::uint64_t>(width),
                 static_cast<std::uint64_t>(height))) {
    return TooManyPixels(source.name,
                         static_cast<std::uint64_t>(width),
                         static_cast<std::uint64_t>(height),
                         source.megapixels);
  }

  const Options options(heif_decoding_options_alloc());
  options->convert_hdr_to_8bit = 1;
  options->strict_decoding = 1;
  const bool has_alpha = heif_image_handle_has_alpha_channel(handle.get()) != 0;
  heif_image* raw_image = nullptr;
  error = heif_decode_image(
      handle.get(),
      &raw_image,
      heif_colorspace_RGB,
      has_alpha ? heif_chroma_interleaved_RGBA : heif_chroma_interleaved_RGB,
      options.get());
  if (error.code != heif_error_Ok) return Refuse(source, error);
  const Image image(raw_image);
  if (heif_image_get_decoding_warnings(image.get(), 0, nullptr, 0) > 0) {
    return Damaged(source.name);
  }
  int stride = 0;
  const std::uint8_t* plane = heif_image_get_plane_readonly(
      image.get(), heif_channel_interleaved, &stride);
  const int decoded_width =
      heif_image_get_width(image.get(), heif_channel_interleaved);
  const int decoded_height =
      heif_image_get_height(image.get(), heif_channel_interleaved);
  if (plane == nullptr || decoded_width <= 0 || decoded_height <= 0) {
    return Damaged(source.name);
  }

  Decoded out;
  // Its orientation is passed over: libheif has turned the picture as the
  // file's own boxes say.
  out.exif = ExifOf(handle.get()).facts;
  out.rgb.create(decoded_height, decoded_width, CV_8UC3);
  for (int y = 0; y < decoded_height; ++y) {
    const std::uint8_t* row = plane + static_cast<std::ptrdiff_t>(stride) * y;
    if (has_alpha) {
      OverWhite(row, decoded_width, out.rgb.ptr(y));
    } else {
      std::memcpy(
          out.rgb.ptr(y), row, 3UL * static_cast<unsigned>(decoded_width));
    }
  }
  return out;
}

}  // namespace plumbfoot::photo
