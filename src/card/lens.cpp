// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/card/lens.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "card/json_file.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::card {
namespace {

using geometry::Camera;
using nlohmann::json;

// CHOSEN: with fewer views focal length and distortion can't be told apart.
constexpr int kLeastPhotos = 5;

Refusal Damaged(const std::filesystem::path& path, const std::string& what) {
  return {RefusalCode::kBadNumber,
          "In the lens profile " + path.string() + ", \"" + what +
              "\" is missing or no usable number.",
          "Make the profile again from photos of the chessboard."};
}

}  // namespace

Result<LensProfile> CalibrateLens(const std::vector<cv::Mat>& photos,
                                  cv::Size corners,
                                  double square_mm) {
  if (corners.width < 3 || corners.height < 3 || !(square_mm > 0)) {
    throw std::invalid_argument("CalibrateLens: no such board");
  }
  std::vector<cv::Point3f> board;
  for (int y = 0; y < corners.height; ++y) {
    for (int x = 0; x < corners.width; ++x) {
      board.emplace_back(static_cast<float>(x * square_mm),
                         static_cast<float>(y * square_mm),
                         0.0F);
    }
  }
  std::vector<std::vector<cv::Point2f>> seen;
  cv::Size size;
  for (const cv::Mat& photo : photos) {
    if (photo.type() != CV_8UC3) {
      throw std::invalid_argument("CalibrateLens: not rgb");
    }
    if (!seen.empty() && photo.size() != size) continue;
    cv::Mat grey;
    cv::cvtColor(photo, grey, cv::COLOR_RGB2GRAY);
    // The board is looked for in a reduced picture, which is as sure and many
    // times faster, and its corners are then refined in the full one.
    // CHOSEN: 1280 px.
    const double factor =
        std::min(1.0, 1280.0 / std::max(grey.cols, grey.rows));
    cv::Mat small = grey;
    if (factor < 1) {
      cv::resize(grey, small, cv::Size(), factor, factor, cv::INTER_AREA);
    }
    std::vector<cv::Point2f> points;
    const bool found = cv::findChessboardCorners(
        small,
        corners,
        points,
        cv::CALIB_CB_ADAPTIVE_THRESH | cv::CALIB_CB_NORMALIZE_IMAGE |
            cv::CALIB_CB_FAST_CHECK);
    if (!found) continue;
    // Between two sizes the pixel's corner stays, its centre does not.
    for (cv::Point2f& p : points) {
      p.x = static_cast<float>((p.x + 0.5) / factor - 0.5);
      p.y = static_cast<float>((p.y + 0.5) / factor - 0.5);
    }
    // CHOSEN: a third of the way to the next corner, so that the window never
    // holds two of them, and 11 px at most on a reduced photo.
    double nearest = INFINITY;
    for (std::size_t i = 1; i < points.size(); ++i) {
      nearest = std::min(nearest, cv::norm(points[i] - points[i - 1]));
    }
    const int reach =
        static_cast<int>(std::clamp(nearest / 3, 3.0, 11.0 / factor));
    cv::cornerSubPix(
        grey,
        points,
        cv::Size(reach, reach),
        cv::Size(-1, -1),
        cv::TermCriteria(
            cv::TermCriteria::EPS | cv::TermCriteria::COUNT, 60, 1e-4));
    size = photo.size();
    seen.push_back(std::move(points));
  }
  if (static_cast<int>(seen.size()) < kLeastPhotos) {
    return Refusal{RefusalCode::kLensTooFewPhotos,
                   "The chessboard was seen whole in " +
                       std::to_string(seen.size()) + " photos; " +
                       std::to_string(kLeastPhotos) + " are needed.",
                   "Take about ten photos of the whole board, sharp, from "
                   "different sides, filling the picture."};
  }

  cv::Mat matrix;
  cv::Mat distortion;
  cv::Mat deviations;
  std::vector<cv::Mat> rotations;
  std::vector<cv::Mat> translations;
  const std::vector<std::vector<cv::Point3f>> boards(seen.size(), board);
  // Our camera has square pixels: OpenCV's fixed aspect ratio, 1 to 1.
  matrix = cv::Mat::eye(3, 3, CV_64F);
  LensProfile profile;
  profile.rms_px = cv::calibrateCamera(boards,
                                       seen,
                                       size,
                                       matrix,
                                       distortion,
                                       rotations,
                                       translations,
                                       deviations,
                                       cv::noArray(),
                                       cv::noArray(),
                                       cv::CALIB_FIX_ASPECT_RATIO);
  Camera& camera = profile.camera;
  camera.focal_px = matrix.at<double>(0, 0);
  // OpenCV counts from the centre of the first pixel.
  camera.principal = {matrix.at<double>(0, 2) + 0.5,
                      matrix.at<double>(1, 2) + 0.5};
  camera.lens = {distortion.at<double>(0),
                 distortion.at<double>(1),
                 distortion.at<double>(2),
                 distortion.at<double>(3),
                 distortion.at<double>(4)};
  profile.width_px = size.width;
  profile.height_px = size.height;
  // fx is tied to fy, and then only fy has a deviation.
  profile.focal_sigma_px =
      std::max(deviations.at<double>(0), deviations.at<double>(1));
  profile.photos_used = static_cast<int>(seen.size());
  return profile;
}

Result<Done> SaveLens(const LensProfile& profile,
                      const std::filesystem::path& path) {
  const Camera& camera = profile.camera;
  json root;
  root["format"] = "plumbfoot-lens";
  root["version"] = 1;
  root["camera_name"] = profile.camera_name;
  root["width_px"] = profile.width_px;
  root["height_px"] = profile.height_px;
  root["focal_px"] = camera.focal_px;
  root["focal_sigma_px"] = profile.focal_sigma_px;
  root["principal_px"] = {camera.principal.x, camera.principal.y};
  root["distortion"] = {{"k1", camera.lens.k1},
                        {"k2", camera.lens.k2},
                        {"p1", camera.lens.p1},
                        {"p2", camera.lens.p2},
                        {"k3", camera.lens.k3}};
  root["rms_px"] = profile.rms_px;
  root["photos_used"] = profile.photos_used;
  // A camera's name comes from EXIF and may be no UTF-8 at all.
  const std::string text =
      root.dump(2, ' ', false, json::error_handler_t::replace) + "\n";
  return photo::WriteWhole(path, text);
}

Result<LensProfile> LoadLens(const std::filesystem::path& path) {
  auto file = ReadJson(path, "plumbfoot-lens", "a lens profile");
  if (!file) return file.error();
  const json& root = *file;
  LensProfile profile;
  Camera& camera = profile.camera;

  const auto width = ReadNumber(root, "width_px");
  const auto height = ReadNumber(root, "height_px");
  const auto focal = ReadNumber(root, "focal_px");
  const auto focal_sigma = ReadNumber(root, "focal_sigma_px");
  // CHOSEN: no photo has a side of more than a million pixels.
  constexpr double kLargest = 1e6;
  if (!width || !(*width >= 1) || *width > kLargest) {
    return Damaged(path, "width_px");
  }
  if (!height || !(*height >= 1) || *height > kLargest) {
    return Damaged(path, "height_px");
  }
  if (!focal || !(*focal > 0)) return Damaged(path, "focal_px");
  if (!focal_sigma || !(*focal_sigma >= 0)) {
    return Damaged(path, "focal_sigma_px");
  }
  profile.width_px = static_cast<int>(*width);
  profile.height_px = static_cast<int>(*height);
  camera.focal_px = *focal;
  profile.focal_sigma_px = *focal_sigma;

  if (!root.contains("principal_px") || !root["principal_px"].is_array() ||
      root["principal_px"].size() != 2 ||
      !root["principal_px"][0].is_number() ||
      !root["principal_px"][1].is_number()) {
    return Damaged(path, "principal_px");
  }
  camera.principal = {root["principal_px"][0].get<double>(),
                      root["principal_px"][1].get<double>()};
  if (!root.contains("distortion") || !root["distortion"].is_object()) {
    return Damaged(path, "distortion");
  }
  const json& distortion = root["distortion"];
  for (const auto& [key, target] : {std::pair{"k1", &camera.lens.k1},
                                    std::pair{"k2", &camera.lens.k2},
                                    std::pair{"p1", &camera.lens.p1},
                                    std::pair{"p2", &camera.lens.p2},
                                    std::pair{"k3", &camera.lens.k3}}) {
    const auto value = ReadNumber(distortion, key);
    if (!value) return Damaged(path, key);
    *target = *value;
  }
  profile.rms_px = ReadNumber(root, "rms_px").value_or(0.0);
  profile.photos_used = static_cast<int>(
      std::clamp(ReadNumber(root, "photos_used").value_or(0.0), 0.0, kLargest));
  if (root.contains("camera_name") && root["camera_name"].is_string()) {
    profile.camera_name = root["camera_name"].get<std::string>();
  }
  return profile;
}

std::optional<Camera> CameraFor(const LensProfile& profile, cv::Size size) {
  if (size.width <= 0 || size.height <= 0 || profile.width_px <= 0 ||
      profile.height_px <= 0) {
    return std::nullopt;
  }
  Camera camera = profile.camera;
  double width = profile.width_px;
  double height = profile.height_px;
  if ((size.width > size.height) != (width > height) &&
      size.width != size.height) {
    // Turned by a quarter, clockwise: (x, y) -> (height - y, x). Which way the
    // phone was held is not known here; the two ways differ by where the
    // principal point falls and by the sign of the small tangential terms.
    camera.principal = {height - profile.camera.principal.y,
                        profile.camera.principal.x};
    camera.lens.p1 = profile.camera.lens.p2;
    camera.lens.p2 = -profile.camera.lens.p1;
    std::swap(width, height);
  }
  const double x = size.width / width;
  const double y = size.height / height;
  // CHOSEN: the shapes match when the sides agree to 1 % (phones round the
  // sides of smaller pictures to multiples of 8 or 16).
  if (std::abs(x / y - 1) > 0.01) return std::nullopt;
  const double factor = std::sqrt(x * y);
  camera.focal_px *= factor;
  camera.principal = {camera.principal.x * x, camera.principal.y * y};
  return camera;
}

}  // namespace plumbfoot::card
