// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/derived.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <stdexcept>
#include <vector>

#include "casebook/read.h"
#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

// The file's lines: the SHA-256 of all that follows and of the stamps; this
// word; the rules; the text; and the paths, whose stamps are not in the file.
// Hundreds of horses are looked at at once: there is nothing to parse.
constexpr std::string_view kFirstWord = "plumbfoot-derived 1";

fs::path DerivedPath(const Casebook& casebook,
                     const std::string& horse,
                     const std::string& name) {
  return casebook.folder / kHidden / "index" / (horse + "." + name);
}

void Append(const Stamp& stamp, std::string& bytes) {
  const auto add = [&bytes](auto number) {
    bytes.append(reinterpret_cast<const char*>(&number), sizeof(number));
  };
  add(stamp.size);
  add(stamp.number);
  add(stamp.modified_ns);
  add(stamp.changed_ns);
}

/// The line that ends at the next line break, taken off.
std::optional<std::string_view> TakeLine(std::string_view& text) {
  const std::size_t end = text.find('\n');
  if (end == std::string_view::npos) return std::nullopt;
  const std::string_view line = text.substr(0, end);
  text.remove_prefix(end + 1);
  return line;
}

}  // namespace

std::optional<std::string> LoadDerived(const Casebook& casebook,
                                       const Horse& horse,
                                       const DerivedName& name) {
  // CHOSEN: a thousand visits have some 700 kB of paths.
  const auto bytes = photo::ReadBytes(
      DerivedPath(casebook, horse.folder, name.name), 100'000'000);
  if (!bytes) return std::nullopt;
  std::string_view rest = *bytes;
  const auto sha256 = TakeLine(rest);
  std::string all(rest);
  const auto first = TakeLine(rest);
  const auto rules = TakeLine(rest);
  const auto text = TakeLine(rest);
  if (!text || first != kFirstWord || rules != name.rules) return std::nullopt;
  const FolderHandle folder(HorseFolder(casebook, horse.folder));
  while (const auto path = TakeLine(rest)) {
    Append(folder.StampOf(std::string(*path)), all);
  }
  if (!rest.empty() || photo::Sha256(all) != sha256) return std::nullopt;
  return std::string(*text);
}

void SaveDerived(const Casebook& casebook,
                 const History& history,
                 const DerivedName& name,
                 std::string_view text) {
  if (text.find('\n') != std::string_view::npos ||
      name.rules.find('\n') != std::string::npos) {
    throw std::invalid_argument("SaveDerived: more than a line");
  }
  const std::int64_t settled =
      history.read_at_ns - std::chrono::nanoseconds(kSettling).count();
  if (!history.set_aside.empty() ||
      std::any_of(
          history.stamps.begin(),
          history.stamps.end(),
          [settled](const Stamp& s) { return s.changed_ns >= settled; })) {
    return;
  }
  std::string rest(kFirstWord);
  rest.append("\n").append(name.rules).append("\n").append(text).append("\n");
  for (const Stamp& stamp : history.stamps) rest.append(stamp.path + "\n");
  std::string all = rest;
  for (const Stamp& stamp : history.stamps) Append(stamp, all);
  const auto lock = WriterLock::Take(casebook, std::chrono::milliseconds(0));
  if (!lock) return;
  const fs::path path = DerivedPath(casebook, history.horse.folder, name.name);
  if (!photo::MakeFolders(path.parent_path())) return;
  // A refusal is let be: the next reader works it out again.
  (void)photo::WriteWhole(path, photo::Sha256(all) + "\n" + rest);
}

}  // namespace plumbfoot::casebook
