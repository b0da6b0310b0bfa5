// SPDX-License-Identifier: Apache-2.0
/// @file
/// Photos for the tests of this room, made while they run.
#pragma once

#include <cstdint>
#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace plumbfoot::photo {

using FileBytes = std::vector<std::uint8_t>;

/// A picture that looks different from every side: smooth colours, seeded
/// grain, and a corner each of red, green, blue and white (clockwise from the
/// top left). CV_8UC3, red first.
cv::Mat TestPicture(int width, int height);

/// By OpenCV: ".jpg", ".png", ".tiff", ".webp".
/// @param picture  Red first, or grey.
FileBytes Encoded(const cv::Mat& picture,
                  const std::string& extension,
                  const std::vector<int>& parameters = {});
/// By libheif.
/// @param orientation  As Exif's tag 0x0112; written as the file's own boxes.
FileBytes EncodedHeic(const cv::Mat& rgb, int orientation = 1);
/// Four inks as Adobe's programs store them, by libjpeg.
FileBytes EncodedCmykJpeg(const cv::Mat& cmyk);

/// The place of a file below testing::TempDir(), in a folder of this process:
/// tests run side by side.
std::filesystem::path PathOf(std::string_view name);
/// Writes to PathOf(name).
std::filesystem::path Write(std::string_view name, const FileBytes& bytes);
FileBytes ReadBytes(const std::filesystem::path& path);

/// What a command of the shell prints.
/// @throws std::runtime_error if it fails.
std::string Output(const std::string& command);

/// OpenCV's reading of a file, red first: turned upright for JPEG.
cv::Mat ByOpenCv(const FileBytes& bytes);
/// Largest difference of two pictures of one size and type.
double LargestDifference(const cv::Mat& a, const cv::Mat& b);
double MeanDifference(const cv::Mat& a, const cv::Mat& b);

}  // namespace plumbfoot::photo
