// SPDX-License-Identifier: Apache-2.0
#include "cli/visit_photos.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <set>

#include "plumbfoot/casebook/sort_photos.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/photo/read_file.h"

namespace plumbfoot::cli {
namespace {

namespace fs = std::filesystem;
using casebook::PhotoPlace;

struct Photo {
  fs::path path;
  PhotoPlace place;
  std::optional<fs::path> points;
};

bool IsPointsFile(const fs::path& path) {
  std::string ending = path.extension().string();
  for (char& c : ending) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  }
  return ending == ".json";
}

/// What is missing of a photo's place, for people.
std::string Missing(const PhotoPlace& place) {
  std::string words;
  const auto add = [&](bool missing, const char* word) {
    if (missing) words += (words.empty() ? "" : ", ") + std::string(word);
  };
  add(!place.foot, "foot");
  add(!place.view, "view");
  add(!place.stage, "stage");
  return words;
}

Result<Done> ReadTable(const PhotoWords& words, std::vector<Photo>& photos) {
  if (words.table.empty()) return Done{};
  const fs::path path = words.table;
  const auto text = photo::ReadBytes(path, 10'000'000);
  if (!text) return text.error();
  const auto rows = casebook::ParseTable(*text);
  if (!rows) {
    return Refusal{rows.error().code,
                   words.table + ": " + rows.error().message,
                   rows.error().remedy};
  }
  for (const casebook::TableRow& row : *rows) {
    const fs::path named = row.photo;
    const auto known =
        std::find_if(photos.begin(), photos.end(), [&](const Photo& photo) {
          return photo.path == named ||
                 photo.path.filename() == named.filename();
        });
    Photo& photo =
        known != photos.end()
            ? *known
            : photos.emplace_back(Photo{path.parent_path() / named, {}, {}});
    photo.place = row.place;
    if (row.points) photo.points = path.parent_path() / *row.points;
  }
  return Done{};
}

/// Fills in the stages that nobody told from the times of the photos.
void TellByTime(std::vector<Photo>& photos) {
  const bool needed =
      std::any_of(photos.begin(), photos.end(), [](const Photo& photo) {
        return photo.place.foot && photo.place.view && !photo.place.stage;
      });
  if (!needed) return;
  std::vector<casebook::TimedPhoto> timed;
  for (const Photo& photo : photos) {
    // One that can't be read is refused when it is measured.
    const auto read = photo::LoadPhoto(photo.path);
    timed.push_back({photo.place, read ? read->exif.taken : std::nullopt});
  }
  casebook::TellStagesByTime(timed);
  for (std::size_t i = 0; i < photos.size(); ++i) {
    photos[i].place = timed[i].place;
  }
}

/// Asks for what is missing. @return False where the person is gone.
bool Ask(Photo& photo) {
  const auto ask = [&](const char* what) -> std::optional<PhotoPlace> {
    fmt::print(stderr, "{}: {}? ", photo.path.filename().string(), what);
    std::string answer;
    if (!std::getline(std::cin, answer)) return std::nullopt;
    return casebook::ReadPlace(answer);
  };
  while (!photo.place.foot) {
    const auto place = ask("which foot (LF, RF, LH, RH)");
    if (!place) return false;
    photo.place.foot = place->foot;
  }
  while (!photo.place.view) {
    const auto place = ask("which view (solar, lateral)");
    if (!place) return false;
    photo.place.view = place->view;
  }
  while (!photo.place.stage) {
    const auto place = ask("which stage (before, after, shod, other)");
    if (!place) return false;
    photo.place.stage = place->stage;
  }
  return true;
}

Refusal Unsorted(const std::vector<std::string>& lines) {
  std::string message = "These photos can't be sorted:";
  for (const std::string& line : lines) message += "\n  " + line;
  return {RefusalCode::kUnsorted,
          message,
          "Name them like LF-solar-before.jpg, or write a table (photo,foot,"
          "view,stage) for --table, or give --stage if it is only the stage."};
}

/// Puts the points of a file to a foot's; those of a view replace others.
Result<Done> AddPoints(const fs::path& path, find::PointsFile& points) {
  auto loaded = find::LoadPoints(path);
  if (!loaded) {
    return Refusal{loaded.error().code,
                   path.string() + ": " + loaded.error().message,
                   loaded.error().remedy};
  }
  if (loaded->solar) points.solar = std::move(loaded->solar);
  if (loaded->lateral) points.lateral = std::move(loaded->lateral);
  return Done{};
}

using Feet = std::map<std::pair<Foot, Stage>, FootPhotos>;

/// The foot that a name such as "LF-before" means, among the feet there are.
Result<FootPhotos*> FootNamed(const std::string& name, Feet& feet) {
  const PhotoPlace place = casebook::ReadPlace(name);
  std::vector<FootPhotos*> meant;
  for (auto& [key, foot] : feet) {
    if (place.foot == foot.foot &&
        (!place.stage || *place.stage == foot.stage)) {
      meant.push_back(&foot);
    }
  }
  if (meant.size() == 1) return meant.front();
  // Points for photos that the casebook has already.
  if (meant.empty() && place.foot && place.stage) {
    FootPhotos& foot = feet[{*place.foot, *place.stage}];
    foot.foot = *place.foot;
    foot.stage = *place.stage;
    return &foot;
  }
  return Refusal{
      RefusalCode::kUsage,
      fmt::format("It isn't clear which foot's points \"{}\" are.", name),
      "Name foot and stage, such as LF-before."};
}

Result<Done> GivePoints(const PhotoWords& words,
                        const std::vector<Photo>& photos,
                        Feet& feet) {
  for (const Photo& photo : photos) {
    fs::path beside = photo.path;
    beside.replace_extension(".points.json");
    std::error_code ignored;
    FootPhotos& foot = feet.at({*photo.place.foot, *photo.place.stage});
    if (photo.points) {
      if (auto added = AddPoints(*photo.points, foot.points); !added) {
        return added;
      }
    } else if (fs::exists(beside, ignored)) {
      if (auto added = AddPoints(beside, foot.points); !added) return added;
    }
  }
  for (const std::string& file : words.files) {
    if (!IsPointsFile(file)) continue;
    const auto foot = FootNamed(fs::path(file).filename().string(), feet);
    if (!foot) return foot.error();
    if (auto added = AddPoints(file, (*foot)->points); !added) return added;
  }
  for (const std::string& option : words.points) {
    const std::size_t equals = option.find('=');
    if (equals == std::string::npos) {
      return Refusal{
          RefusalCode::kUsage,
          fmt::format("--points \"{}\" doesn't say whose they are.", option),
          "Write --points LF-before=points.json."};
    }
    const auto foot = FootNamed(option.substr(0, equals), feet);
    if (!foot) return foot.error();
    if (auto added = AddPoints(option.substr(equals + 1), (*foot)->points);
        !added) {
      return added;
    }
  }
  return Done{};
}

}  // namespace

Result<std::vector<FootPhotos>> SortPhotos(const PhotoWords& words) {
  std::vector<Photo> photos;
  std::set<fs::path> named;
  for (const std::string& file : words.files) {
    // Given twice is given once.
    if (IsPointsFile(file) || !named.insert(file).second) continue;
    photos.push_back(
        {file, casebook::ReadPlace(fs::path(file).filename().string()), {}});
  }
  if (auto read = ReadTable(words, photos); !read) return read.error();
  for (const Photo& photo : photos) {
    std::error_code ignored;
    if (!fs::exists(photo.path, ignored)) {
      return Refusal{RefusalCode::kFileMissing,
                     fmt::format("There is no file {}.", photo.path.string()),
                     "Check the name and the folder."};
    }
  }
  TellByTime(photos);
  if (!words.stage.empty()) {
    const auto stage = geometry::ParseStage(words.stage);
    if (!stage) return stage.error();
    for (Photo& photo : photos) {
      if (!photo.place.stage) photo.place.stage = *stage;
    }
  }
  std::vector<std::string> unsorted;
  for (Photo& photo : photos) {
    if (Missing(photo.place).empty()) continue;
    if (::isatty(STDIN_FILENO) == 0 || !Ask(photo)) {
      unsorted.push_back(photo.path.string() +
                         " (not told: " + Missing(photo.place) + ")");
    }
  }
  if (!unsorted.empty()) return Unsorted(unsorted);

  Feet feet;
  std::vector<std::string> twice;
  for (const Photo& photo : photos) {
    FootPhotos& foot = feet[{*photo.place.foot, *photo.place.stage}];
    foot.foot = *photo.place.foot;
    foot.stage = *photo.place.stage;
    const auto [it, is_new] =
        foot.photos.emplace(*photo.place.view, photo.path);
    if (!is_new) {
      twice.push_back(fmt::format("{} and {}: both {} {}",
                                  it->second.string(),
                                  photo.path.string(),
                                  report::NameOf(foot.foot, foot.stage),
                                  geometry::ViewName(*photo.place.view)));
    }
  }
  if (!twice.empty()) return Unsorted(twice);
  if (auto given = GivePoints(words, photos, feet); !given) {
    return given.error();
  }
  std::vector<FootPhotos> sorted;
  for (auto& [key, foot] : feet) sorted.push_back(std::move(foot));
  return sorted;
}

}  // namespace plumbfoot::cli
