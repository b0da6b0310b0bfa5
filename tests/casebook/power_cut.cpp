// SPDX-License-Identifier: Apache-2.0
#include "casebook/power_cut.h"

#include <fcntl.h>
#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <functional>
#include <set>
#include <stdexcept>
#include <string_view>

#include "casebook/invented.h"
#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/geometry/random.h"
#include "plumbfoot/photo/read_file.h"
#include "support/command.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

// ---------------------------------------------------------------- the trace

/// strace -xx writes every text as "\x2f\x74...".
std::string TextOf(std::string_view quoted) {
  std::string text;
  for (std::size_t i = 1; i + 1 < quoted.size(); i += 4) {
    if (quoted.substr(i, 2) != "\\x") {
      throw std::runtime_error("strace: not a text: " + std::string(quoted));
    }
    text += static_cast<char>(
        std::stoi(std::string(quoted.substr(i + 2, 2)), nullptr, 16));
  }
  return text;
}

std::vector<std::string> ArgumentsOf(std::string_view list) {
  std::vector<std::string> arguments;
  int depth = 0;
  std::string one;
  const auto end = [&] {
    if (one.starts_with('"')) {
      if (one.ends_with("...")) throw std::runtime_error("strace: cut short");
      one = TextOf(one);
    }
    arguments.push_back(std::exchange(one, {}));
  };
  for (std::size_t i = 0; i < list.size(); ++i) {
    const char c = list[i];
    if (c == '{' || c == '[' || c == '(') ++depth;
    if (c == '}' || c == ']' || c == ')') --depth;
    if (c == ',' && depth == 0) {
      end();
      ++i;  // And the space.
    } else {
      one += c;
    }
  }
  if (!one.empty()) end();
  return arguments;
}

/// "write(3, "\x7b", 1) = 1", without the process's number.
std::optional<SystemCall> CallOf(std::string_view line) {
  const std::size_t open = line.find('(');
  const std::size_t equals = line.rfind(" = ");
  if (open == std::string_view::npos || equals == std::string_view::npos) {
    return std::nullopt;
  }
  const std::string result(line.substr(equals + 3));
  if (result.starts_with('-') || result.starts_with('?')) return std::nullopt;
  SystemCall call;
  call.name = line.substr(0, open);
  const std::size_t close = line.rfind(')', equals);
  call.arguments = ArgumentsOf(line.substr(open + 1, close - open - 1));
  call.result = std::stoll(result, nullptr, 0);
  return call;
}

std::vector<SystemCall> CallsOf(const fs::path& file) {
  constexpr std::string_view kUnfinished = " <unfinished ...>";
  constexpr std::string_view kResumed = " resumed>";
  std::vector<SystemCall> calls;
  std::map<std::string, std::string> begun;  // By thread.
  std::ifstream in(file);
  for (std::string line; std::getline(in, line);) {
    const std::size_t space = line.find(' ');
    const std::string thread = line.substr(0, space);
    std::string rest = line.substr(line.find_first_not_of(' ', space));
    if (rest.ends_with(kUnfinished)) {
      rest.resize(rest.size() - kUnfinished.size());
      begun[thread] = rest;
      continue;
    }
    if (rest.starts_with("<... ")) {
      rest = begun[thread] + rest.substr(rest.find(kResumed) + kResumed.size());
    }
    if (auto call = CallOf(rest)) calls.push_back(std::move(*call));
  }
  return calls;
}

// ----------------------------------------------------------------- the disk

/// A file or a folder, whatever its name.
struct Node {
  bool folder = false;
  std::string bytes;  ///< As programs see them.
  std::string safe;   ///< As they are on the disk at least.
};

struct Entry {
  int folder = 0;
  std::string name;
  int node = -1;  ///< -1: no more.
};

/// One change of names, which happens whole or not at all.
struct Change {
  std::vector<Entry> entries;
  int anchor = 0;  ///< The folder whose fsync makes it safe.
  bool safe = false;
};

using Names = std::map<std::pair<int, std::string>, int>;

void Apply(const Change& change, Names& names) {
  for (const Entry& entry : change.entries) {
    if (entry.node < 0) {
      names.erase({entry.folder, entry.name});
    } else {
      names[{entry.folder, entry.name}] = entry.node;
    }
  }
}

class Disk {
 public:
  /// @param book    It is replayed, and its name in the folder above it.
  /// @param before  The folder above it as it was before; all safe.
  Disk(const fs::path& book, const fs::path& before, const CutOptions& options)
      : top_(book.parent_path()),
        name_(book.filename().string()),
        options_(options),
        nodes_{{true, "", ""}} {
    if (fs::exists(before)) Load(before, 0);
    begin_ = names_;
  }

  /// @return Has something been changed or synced, or said?
  bool Do(const SystemCall& call);
  int said() const { return said_; }

  /// The tree as programs see it.
  Names Now() const { return names_; }
  /// The changes that a power cut may undo.
  std::vector<std::size_t> Pending() const {
    std::vector<std::size_t> pending;
    for (std::size_t i = 0; i < changes_.size(); ++i) {
      if (!changes_[i].safe) pending.push_back(i);
    }
    return pending;
  }
  /// The tree when those changes have been lost.
  Names Without(const std::set<std::size_t>& lost) const {
    Names names = begin_;
    for (std::size_t i = 0; i < changes_.size(); ++i) {
      if (!lost.contains(i)) Apply(changes_[i], names);
    }
    return names;
  }
  const Node& node(int number) const {
    return nodes_.at(static_cast<std::size_t>(number));
  }

 private:
  struct Open {
    int node = 0;
    std::size_t at = 0;
  };

  void Load(const fs::path& folder, int number) {
    for (const auto& entry : fs::directory_iterator(folder)) {
      const int child = static_cast<int>(nodes_.size());
      names_[{number, entry.path().filename().string()}] = child;
      nodes_.push_back({entry.is_directory(), "", ""});
      if (entry.is_directory()) {
        Load(entry.path(), child);
      } else {
        nodes_.back().bytes = nodes_.back().safe = ReadFile(entry.path());
      }
    }
  }

  /// Where a path leads: the folder and the name in it. Nothing outside `top`.
  std::optional<std::pair<int, std::string>> Place(const std::string& from,
                                                   const std::string& path) {
    int number = 0;
    fs::path rest(path);
    if (rest.is_absolute()) {
      rest = rest.lexically_normal().lexically_relative(top_);
      if (rest.empty() || (*rest.begin() != "." && *rest.begin() != name_)) {
        return std::nullopt;
      }
    } else {
      const auto open = open_.find(NumberOf(from));
      if (open == open_.end()) return std::nullopt;
      number = open->second.node;
    }
    std::string name = ".";
    for (const fs::path& step : rest) {
      if (step.empty()) continue;  // "folder/"
      if (name != ".") {
        const auto it = names_.find({number, name});
        if (it == names_.end()) return std::nullopt;
        number = it->second;
      }
      name = step.string();
    }
    return std::pair(number, name);
  }
  std::optional<int> Find(const std::pair<int, std::string>& place) const {
    if (place.second == ".") return place.first;
    const auto it = names_.find(place);
    if (it == names_.end()) return std::nullopt;
    return it->second;
  }
  static int NumberOf(const std::string& argument) {
    return argument == "AT_FDCWD" ? -100 : std::stoi(argument);
  }
  void Make(const std::pair<int, std::string>& place, bool folder) {
    Change({{{place.first, place.second, static_cast<int>(nodes_.size())}},
            place.first});
    nodes_.push_back({folder, "", ""});
  }
  void Change(struct Change change) {
    Apply(change, names_);
    changes_.push_back(std::move(change));
  }
  bool Opened(const SystemCall& call,
              const std::string& from,
              const std::string& path,
              const std::string& flags);
  bool Renamed(const std::string& from,
               const std::string& old_path,
               const std::string& to,
               const std::string& new_path);
  bool Removed(const std::string& from, const std::string& path);
  bool Wrote(const SystemCall& call);
  bool Synced(int file);

  fs::path top_;
  std::string name_;
  CutOptions options_;
  std::vector<Node> nodes_;  ///< 0 is `top`.
  Names begin_;
  Names names_;
  std::vector<struct Change> changes_;
  std::map<int, Open> open_;
  int said_ = 0;
};

bool Disk::Opened(const SystemCall& call,
                  const std::string& from,
                  const std::string& path,
                  const std::string& flags) {
  const int file = static_cast<int>(call.result);
  open_.erase(file);
  const auto place = Place(from, path);
  if (!place) return false;
  bool changed = false;
  if (!Find(*place)) {
    if (flags.find("O_CREAT") == std::string::npos) {
      throw std::logic_error("replay: opens what isn't there: " + path);
    }
    Make(*place, false);
    changed = true;
  }
  const int number = *Find(*place);
  Node& node = nodes_.at(static_cast<std::size_t>(number));
  if (flags.find("O_TRUNC") != std::string::npos && !node.bytes.empty()) {
    node.bytes.clear();
    changed = true;
  }
  if (flags.find("O_APPEND") != std::string::npos) {
    throw std::logic_error("replay: knows no O_APPEND");
  }
  open_[file] = {number, 0};
  return changed;
}

bool Disk::Renamed(const std::string& from,
                   const std::string& old_path,
                   const std::string& to,
                   const std::string& new_path) {
  const auto source = Place(from, old_path);
  const auto target = Place(to, new_path);
  if (!source && !target) return false;
  if (!source || !target) throw std::logic_error("replay: renames across");
  Change({{{source->first, source->second, -1},
           {target->first, target->second, *Find(*source)}},
          target->first});
  return true;
}

bool Disk::Removed(const std::string& from, const std::string& path) {
  const auto place = Place(from, path);
  if (!place) return false;
  Change({{{place->first, place->second, -1}}, place->first});
  return true;
}

bool Disk::Wrote(const SystemCall& call) {
  const int file = NumberOf(call.arguments.at(0));
  const auto open = open_.find(file);
  if (open == open_.end()) {
    if (file != 1) return false;
    ++said_;
    return true;
  }
  std::string& bytes =
      nodes_.at(static_cast<std::size_t>(open->second.node)).bytes;
  const std::string written =
      call.arguments.at(1).substr(0, static_cast<std::size_t>(call.result));
  std::size_t& at = open->second.at;
  if (bytes.size() < at + written.size()) bytes.resize(at + written.size());
  bytes.replace(at, written.size(), written);
  at += written.size();
  return true;
}

bool Disk::Synced(int file) {
  const auto open = open_.find(file);
  if (open == open_.end()) return false;
  Node& node = nodes_.at(static_cast<std::size_t>(open->second.node));
  if (!node.folder) {
    if (options_.sync_files) node.safe = node.bytes;
    return true;
  }
  for (struct Change& change : changes_) {
    if (options_.sync_folders && change.anchor == open->second.node) {
      change.safe = true;
    }
  }
  return true;
}

bool Disk::Do(const SystemCall& call) {
  const auto& words = call.arguments;
  const std::string& name = call.name;
  static const std::string here = "AT_FDCWD";
  if (name == "open") return Opened(call, here, words.at(0), words.at(1));
  if (name == "openat") {
    return Opened(call, words.at(0), words.at(1), words.at(2));
  }
  if (name == "close") {
    open_.erase(NumberOf(words.at(0)));
    return false;
  }
  if (name == "write") return Wrote(call);
  if (name == "fsync" || name == "fdatasync") {
    return Synced(NumberOf(words.at(0)));
  }
  if (name == "rename") return Renamed(here, words.at(0), here, words.at(1));
  if (name == "renameat" || (name == "renameat2" && words.at(4) == "0")) {
    return Renamed(words.at(0), words.at(1), words.at(2), words.at(3));
  }
  if (name == "unlink" || name == "rmdir") return Removed(here, words.at(0));
  if (name == "unlinkat") return Removed(words.at(0), words.at(1));
  if (name == "mkdir" || name == "mkdirat") {
    const bool at = name == "mkdirat";
    const auto place = Place(at ? words.at(0) : here, words.at(at ? 1 : 0));
    if (!place) return false;
    Make(*place, true);
    return true;
  }
  if (name == "fcntl" && words.at(1).find("F_DUPFD") == std::string::npos) {
    return false;
  }
  if (name == "mmap") {
    if (words.at(2).find("PROT_WRITE") == std::string::npos ||
        words.at(3).find("MAP_SHARED") == std::string::npos) {
      return false;
    }
  }
  // Whatever else was traced: of our files, it isn't known what it does.
  for (const std::string& word : words) {
    const bool number =
        !word.empty() &&
        word.find_first_not_of("0123456789") == std::string::npos &&
        word.size() < 5;
    if ((number && open_.contains(std::stoi(word))) ||
        word.find((top_ / name_).string()) != std::string::npos) {
      throw std::logic_error("replay: doesn't know " + name);
    }
  }
  return false;
}

// --------------------------------------------------------------- the states

/// What may be left of a file that wasn't synced.
std::string Left(const Node& node, int how, geometry::Random& random) {
  if (node.bytes == node.safe) return node.safe;
  switch (how) {
    case 0:
      return node.safe;
    case 1:
      return node.bytes;
    case 2:  // Cut anywhere.
      return node.bytes.substr(0,
                               static_cast<std::size_t>(random.Below(
                                   static_cast<int>(node.bytes.size()) + 1)));
    default:  // Its length has reached the disk, its bytes haven't.
      return std::string(node.bytes.size(), '\0');
  }
}

/// A tree: paths and bytes; a folder has none.
using Tree = std::map<std::string, std::optional<std::string>>;

void Fill(const Disk& disk,
          const Names& names,
          int folder,
          const std::string& path,
          const std::function<std::string(const Node&)>& left,
          Tree& tree) {
  for (auto it = names.lower_bound({folder, ""});
       it != names.end() && it->first.first == folder;
       ++it) {
    const std::string at =
        path.empty() ? it->first.second : path + "/" + it->first.second;
    const Node& node = disk.node(it->second);
    if (node.folder) {
      tree[at] = std::nullopt;
      Fill(disk, names, it->second, at, left, tree);
    } else {
      tree[at] = left(node);
    }
  }
}

/// The casebook of a tree, but for .plumbfoot.
Contents ContentsIn(const Tree& tree, const std::string& book) {
  Contents contents;
  for (const auto& [path, bytes] : tree) {
    if (!bytes || !path.starts_with(book + "/")) continue;
    const std::string inside = path.substr(book.size() + 1);
    if (!inside.starts_with(".plumbfoot/")) contents[inside] = *bytes;
  }
  return contents;
}

/// Puts trees on the real disk. What has the same bytes is one file with many
/// names: nothing in a casebook is written in its place.
class Shelf {
 public:
  explicit Shelf(fs::path folder) : folder_(std::move(folder)) {
    fs::create_directories(folder_);
  }
  void Put(const Tree& tree, const fs::path& where) {
    fs::create_directories(where);
    for (const auto& [path, bytes] : tree) {
      if (!bytes) {
        fs::create_directory(where / path);
        continue;
      }
      const fs::path kept = folder_ / photo::Sha256(*bytes);
      if (!fs::exists(kept)) WriteFile(kept, *bytes);
      fs::create_hard_link(kept, where / path);
    }
  }

 private:
  fs::path folder_;
};

/// Opens the casebook as the next program would.
void Look(const fs::path& book,
          const std::vector<const Contents*>& valid,
          bool any_acknowledged,
          const std::string& when,
          std::vector<std::string>& faults) {
  const auto opened = OpenCasebook(book);
  if (!opened) {
    // Before it was made, there is none; it can be made then.
    if (any_acknowledged || opened.error().code != RefusalCode::kFileMissing ||
        !MakeCasebook(book)) {
      faults.push_back(when + ": can't be opened: " + opened.error().message);
    }
    return;
  }
  for (const Damage& damage : VerifyCasebook(*opened).damage) {
    faults.push_back(when + ": " + damage.where.string() + ": " +
                     damage.refusal.message);
  }
  Contents contents = ContentsOf(book);
  if (!any_acknowledged) contents.erase("casebook.json");
  if (std::none_of(valid.begin(), valid.end(), [&](const Contents* all) {
        Contents wanted = *all;
        if (!any_acknowledged) wanted.erase("casebook.json");
        return contents == wanted;
      })) {
    std::string names;
    for (const auto& [path, bytes] : contents) {
      const auto it = valid.back()->find(path);
      if (it == valid.back()->end())
        names += " +" + path;
      else if (it->second != bytes)
        names += " ~" + path;
    }
    for (const auto& [path, bytes] : *valid.back()) {
      if (!contents.contains(path)) names += " -" + path;
    }
    faults.push_back(when + ": something is lost, or half there:" + names);
  }
  const fs::path staging = book / ".plumbfoot" / "staging";
  if (fs::exists(staging) && !fs::is_empty(staging)) {
    faults.push_back(when + ": something was left over");
  }
}

bool HasPlan(const Tree& tree) {
  return std::any_of(tree.begin(), tree.end(), [](const auto& entry) {
    return entry.first.ends_with("/plan.json");
  });
}

}  // namespace

std::optional<std::vector<SystemCall>> Trace(
    const std::vector<std::string>& words,
    const fs::path& scratch,
    const std::vector<std::pair<std::string, std::string>>& environment) {
  const fs::path file = scratch / "calls";
  // Whatever may change a file, so that what isn't known is noticed.
  const std::vector<std::string> strace = {
      "strace",
      "-f",
      "-xx",
      "-s",
      "100000000",
      "-o",
      file.string(),
      "-e",
      "trace=open,openat,openat2,creat,close,write,writev,pwrite64,pwritev,"
      "pwritev2,ftruncate,truncate,fallocate,rename,renameat,renameat2,link,"
      "linkat,symlink,symlinkat,mknod,mknodat,mkdir,mkdirat,unlink,unlinkat,"
      "rmdir,fsync,fdatasync,sendfile,copy_file_range,splice,dup,dup2,dup3,"
      "fcntl,mmap,io_uring_setup"};
  std::vector<std::string> all = strace;
  all.emplace_back("true");
  if (tests::RunCommand(all).status != 0) return std::nullopt;
  all = strace;
  all.insert(all.end(), words.begin(), words.end());
  auto around = environment;
  // It can't look for leaks while it is traced.
  around.emplace_back("ASAN_OPTIONS", "detect_leaks=0");
  const auto ran = tests::RunCommand(all, around);
  if (ran.status != 0 && ran.status != 3) {
    throw std::runtime_error("traced: " + ran.err);
  }
  return CallsOf(file);
}

Contents ContentsOf(const fs::path& book) {
  Contents contents;
  for (const auto& entry : fs::recursive_directory_iterator(book)) {
    const std::string path = entry.path().lexically_relative(book).string();
    if (!path.starts_with(".plumbfoot") && entry.is_regular_file()) {
      contents[path] = ReadFile(entry.path());
    }
  }
  return contents;
}

PowerCuts CutPower(const fs::path& before,
                   const fs::path& book,
                   const std::vector<SystemCall>& calls,
                   const fs::path& scratch,
                   const CutOptions& options) {
  const std::string name = book.filename().string();
  Shelf shelf(scratch / "shelf");
  const fs::path base = scratch / "base";
  fs::create_directories(base);
  if (fs::exists(before)) {
    fs::copy(before, base / name, fs::copy_options::recursive);
  }

  // What was acknowledged, and what it held then.
  std::vector<Contents> held(1);
  const auto all = [](const Node& node) { return node.bytes; };
  {
    Disk disk(book, base, options);
    for (const SystemCall& call : calls) {
      const int said = disk.said();
      disk.Do(call);
      if (disk.said() == said) continue;
      Tree tree;
      Fill(disk, disk.Now(), 0, "", all, tree);
      held.push_back(ContentsIn(tree, name));
    }
  }
  if (fs::exists(before)) {
    // What was there may have a plan to be finished.
    const fs::path whole = scratch / "whole";
    fs::copy(base, whole, fs::copy_options::recursive);
    if (!OpenCasebook(whole / name)) throw std::runtime_error("no casebook");
    held.front() = ContentsOf(whole / name);
  }

  PowerCuts cuts;
  geometry::Random random(options.seed);
  std::set<std::string> seen;
  Disk disk(book, base, options);
  const auto cut = [&](const std::set<std::size_t>& lost, int how) {
    const std::string when =
        fmt::format("moment {}, {} names lost", cuts.moments, lost.size());
    Tree tree;
    Fill(
        disk,
        disk.Without(lost),
        0,
        "",
        [&](const Node& node) {
          return Left(node, how >= 0 ? how : random.Below(4), random);
        },
        tree);
    std::string whole = std::to_string(disk.said());
    for (const auto& [path, bytes] : tree) {
      whole += "\n" + path + " " + (bytes ? photo::Sha256(*bytes) : "folder");
    }
    if (!seen.insert(photo::Sha256(whole)).second) return;
    ++cuts.states;
    const fs::path where = scratch / "state";
    shelf.Put(tree, where);
    // CHOSEN: a few of them are enough to go on from.
    if (HasPlan(tree) && cuts.unfinished.size() < 3) {
      const fs::path kept =
          scratch / fmt::format("unfinished-{}", cuts.unfinished.size());
      shelf.Put(tree, kept);
      cuts.unfinished.push_back(kept / name);
    }
    const auto said = static_cast<std::size_t>(disk.said());
    std::vector<const Contents*> valid{&held.at(said)};
    if (said + 1 < held.size()) valid.push_back(&held[said + 1]);
    Look(
        where / name, valid, said > 0 || fs::exists(before), when, cuts.faults);
    fs::remove_all(where);
  };
  for (const SystemCall& call : calls) {
    if (!disk.Do(call)) continue;
    if (cuts.faults.size() >= options.enough_faults) break;
    ++cuts.moments;
    const std::vector<std::size_t> pending = disk.Pending();
    for (const int how : {0, 1, 3}) {
      cut({pending.begin(), pending.end()}, how);
      cut({}, how);
    }
    for (const std::size_t one : pending) {
      std::set<std::size_t> others(pending.begin(), pending.end());
      others.erase(one);
      cut({one}, -1);
      cut(others, -1);
    }
    for (int i = 0; i < options.random_states; ++i) {
      std::set<std::size_t> lost;
      for (const std::size_t one : pending) {
        if (random.Below(2) == 0) lost.insert(one);
      }
      cut(lost, -1);
    }
  }
  cuts.acknowledged = disk.said();
  return cuts;
}

}  // namespace plumbfoot::casebook
