// SPDX-License-Identifier: Apache-2.0
#include <webp/decode.h>
#include <webp/demux.h>

#include <memory>
#include <vector>

#include "photo/decode.h"
#include "photo/exif.h"
#include "photo/refusals.h"
#include "photo/upright.h"

namespace plumbfoot::photo {
namespace {

ExifBlock ExifOf(const WebPDemuxer* demuxer) {
  WebPChunkIterator chunk;
  ExifBlock out;
  if (WebPDemuxGetChunk(demuxer, "EXIF", 1, &chunk) != 0) {
    out = ReadExif({chunk.chunk.bytes, chunk.chunk.size});
  }
  WebPDemuxReleaseChunkIterator(&chunk);
  return out;
}

std::size_t SizeOf(const cv::Mat& image) {
  return image.total() * image.elemSize();
}

}  // namespace

Result<Decoded> DecodeWebp(const Source& source) {
  WebPBitstreamFeatures features;
  if (WebPGetFeatures(source.bytes.data(), source.bytes.size(), &features) !=
      VP8_STATUS_OK) {
    return Damaged(source.name);
  }
  if (features.has_animation != 0) {
    return UnreadableKind(source.name, "a moving picture");
  }
  if (IsTooLarge(source,
                 static_cast<std::uint64_t>(features.width),
                 static_cast<std::uint64_t>(features.height))) {
    return TooManyPixels(source.name,
                         static_cast<std::uint64_t>(features.width),
                         static_cast<std::uint64_t>(features.height),
                         source.megapixels);
  }
  // Nothing where the file breaks off, in whatever chunk.
  const WebPData data{source.bytes.data(), source.bytes.size()};
  const std::unique_ptr<WebPDemuxer, decltype(&WebPDemuxDelete)> demuxer(
      WebPDemux(&data), &WebPDemuxDelete);
  if (demuxer == nullptr) return Damaged(source.name);

  cv::Mat rgb(features.height, features.width, CV_8UC3);
  if (features.has_alpha == 0) {
    if (WebPDecodeRGBInto(data.bytes,
                          data.size,
                          rgb.data,
                          SizeOf(rgb),
                          static_cast<int>(rgb.step)) == nullptr) {
      return Damaged(source.name);
    }
  } else {
    cv::Mat rgba(rgb.size(), CV_8UC4);
    if (WebPDecodeRGBAInto(data.bytes,
                           data.size,
                           rgba.data,
                           SizeOf(rgba),
                           static_cast<int>(rgba.step)) == nullptr) {
      return Damaged(source.name);
    }
    for (int y = 0; y < rgba.rows; ++y) {
      OverWhite(rgba.ptr(y), rgba.cols, rgb.ptr(y));
    }
  }
  const ExifBlock exif = ExifOf(demuxer.get());
  return Decoded{Upright(rgb, exif.orientation), exif.facts};
}

}  // namespace plumbfoot::photo
