// SPDX-License-Identifier: Apache-2.0
#include "scenes/photo_file.h"

#include <libexif/exif-data.h>
#include <libexif/exif-utils.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace plumbfoot::scenes {
namespace {

// An entry of the wanted format; libexif frees it with the data.
ExifEntry* AddEntry(ExifData* data,
                    ExifIfd ifd,
                    ExifTag tag,
                    ExifFormat format,
                    unsigned long components,
                    unsigned int size) {
  ExifEntry* entry = exif_entry_new();
  entry->tag = tag;
  entry->format = format;
  entry->components = components;
  entry->size = size;
  // exif_entry_free uses the data's allocator, which is malloc's.
  entry->data = static_cast<unsigned char*>(std::calloc(1, size));
  exif_content_add_entry(data->ifd[ifd], entry);
  exif_entry_unref(entry);
  return entry;
}

void AddShort(ExifData* data, ExifIfd ifd, ExifTag tag, int value) {
  ExifEntry* e = AddEntry(data, ifd, tag, EXIF_FORMAT_SHORT, 1, 2);
  exif_set_short(e->data, EXIF_BYTE_ORDER_INTEL, static_cast<ExifShort>(value));
}

void AddText(ExifData* data,
             ExifIfd ifd,
             ExifTag tag,
             const std::string& text) {
  const auto size = static_cast<unsigned int>(text.size() + 1);
  ExifEntry* e = AddEntry(data, ifd, tag, EXIF_FORMAT_ASCII, size, size);
  std::memcpy(e->data, text.c_str(), size);
}

std::vector<unsigned char> ExifBlock(const PhotoNotes& notes) {
  ExifData* data = exif_data_new();
  exif_data_set_byte_order(data, EXIF_BYTE_ORDER_INTEL);
  exif_data_set_option(data, EXIF_DATA_OPTION_FOLLOW_SPECIFICATION);
  exif_data_set_data_type(data, EXIF_DATA_TYPE_COMPRESSED);
  exif_data_fix(data);
  AddShort(data, EXIF_IFD_0, EXIF_TAG_ORIENTATION, notes.orientation);
  AddText(data, EXIF_IFD_0, EXIF_TAG_SOFTWARE, "plumbfoot scenes");
  AddText(data, EXIF_IFD_0, EXIF_TAG_DATE_TIME, notes.taken);
  AddText(data, EXIF_IFD_EXIF, EXIF_TAG_DATE_TIME_ORIGINAL, notes.taken);
  if (notes.focal_35mm > 0) {
    ExifEntry* e = AddEntry(
        data, EXIF_IFD_EXIF, EXIF_TAG_FOCAL_LENGTH, EXIF_FORMAT_RATIONAL, 1, 8);
    // CHOSEN: a sensor whose diagonal is 7.06 mm, as large phones have.
    const double focal = notes.focal_35mm * 7.06 / 43.2666;
    exif_set_rational(e->data,
                      EXIF_BYTE_ORDER_INTEL,
                      {static_cast<ExifLong>(std::lround(focal * 1000)), 1000});
    AddShort(data,
             EXIF_IFD_EXIF,
             EXIF_TAG_FOCAL_LENGTH_IN_35MM_FILM,
             static_cast<int>(std::lround(notes.focal_35mm)));
  }
  unsigned char* bytes = nullptr;
  unsigned int size = 0;
  exif_data_save_data(data, &bytes, &size);
  std::vector<unsigned char> block(bytes, bytes + size);
  std::free(bytes);
  exif_data_unref(data);
  return block;
}

}  // namespace

std::vector<unsigned char> EncodeJpeg(const cv::Mat& rgb,
                                      int quality,
                                      const PhotoNotes& notes) {
  cv::Mat bgr;
  cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
  std::vector<unsigned char> plain;
  if (!cv::imencode(".jpg", bgr, plain, {cv::IMWRITE_JPEG_QUALITY, quality})) {
    throw std::runtime_error("the photo can't be encoded");
  }
  const std::vector<unsigned char> exif = ExifBlock(notes);
  const std::size_t length = exif.size() + 2;
  // After the start-of-image marker: APP1, its length, "Exif", the block.
  const std::array<unsigned char, 6> head = {
      plain[0],
      plain[1],
      0xFF,
      0xE1,
      static_cast<unsigned char>(length >> 8),
      static_cast<unsigned char>(length & 0xFF)};
  std::vector<unsigned char> out(head.size() + exif.size() + plain.size() - 2);
  auto at = std::copy(head.begin(), head.end(), out.begin());
  at = std::copy(exif.begin(), exif.end(), at);
  std::copy(plain.begin() + 2, plain.end(), at);
  return out;
}

void WriteFile(const std::filesystem::path& path, const std::string& bytes) {
  std::ofstream file(path, std::ios::binary);
  file.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  file.close();
  if (!file) throw std::runtime_error(path.string() + " can't be written");
}

void SaveScene(const RenderedPhoto& rendered,
               const SceneOptions& options,
               const PhotoNotes& notes,
               const std::filesystem::path& folder,
               const std::string& name) {
  const auto jpeg =
      EncodeJpeg(rendered.photo, options.effects.jpeg_quality, notes);
  WriteFile(folder / (name + ".jpg"), std::string(jpeg.begin(), jpeg.end()));
  WriteFile(folder / (name + ".truth.json"),
            ToJson(rendered.truth).dump(1) + "\n");
}

}  // namespace plumbfoot::scenes
