// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/casebook/unfinished.h"

#include <fcntl.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <system_error>

#include "casebook/names.h"
#include "casebook/read.h"
#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/photo/read_file.h"
#include "plumbfoot/photo/write_file.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

constexpr const char* kUnfinished = "unfinished";
// As RecordVisit waits.
constexpr std::chrono::seconds kPatience(30);

/// "2026-03-14-k3fz08qa", and nothing that could mean another place.
bool IsId(std::string_view id) {
  return id.size() > 11 && id.size() <= 40 &&
         ParseDay(id.substr(0, 10)).has_value() && id[10] == '-' &&
         std::all_of(id.begin() + 11, id.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
         });
}

bool IsRealFolder(const fs::path& path) {
  struct stat is {};
  return ::lstat(path.c_str(), &is) == 0 && S_ISDIR(is.st_mode);
}

Refusal NoSuch(std::string_view id) {
  return {
      RefusalCode::kFileMissing,
      "There is no unfinished visit \"" + std::string(id.substr(0, 40)) + "\".",
      "It may have been recorded; look at the horse's visits."};
}

Refusal CannotRead(const fs::path& path, int error) {
  return {error == ENOENT || error == ENOTDIR || error == ELOOP
              ? RefusalCode::kFileMissing
              : RefusalCode::kCannotRead,
          path.string() + ": " +
              std::error_code(error, std::generic_category()).message() + ".",
          "Check that it is there, is a file, and that you may read it."};
}

/// A file descriptor that is closed.
class Handle {
 public:
  explicit Handle(int file) : file_(file) {}
  ~Handle() {
    if (file_ >= 0) ::close(file_);
  }
  Handle(const Handle&) = delete;
  Handle& operator=(const Handle&) = delete;
  Handle(Handle&&) = delete;
  Handle& operator=(Handle&&) = delete;
  int get() const { return file_; }
  void Become(int file) {
    if (file_ >= 0) ::close(file_);
    file_ = file;
  }

 private:
  int file_;
};

/// Eight letters and digits that nobody guesses.
Result<std::string> RandomName() {
  constexpr std::string_view kLetters = "0123456789abcdefghjkmnpqrstvwxyz";
  std::array<unsigned char, 8> bytes{};
  if (::getrandom(bytes.data(), bytes.size(), 0) !=
      static_cast<ssize_t>(bytes.size())) {
    return Refusal{RefusalCode::kCannotWrite,
                   "The system gives no random numbers.",
                   "Start it again."};
  }
  std::string name;
  for (const unsigned char byte : bytes) name += kLetters[byte % 32U];
  return name;
}

fs::path FolderOf(const Casebook& casebook, std::string_view id) {
  return casebook.folder / kUnfinished / id;
}

}  // namespace

Result<std::string> ReadBelow(const fs::path& folder,
                              const fs::path& inside,
                              std::size_t at_most) {
  const fs::path whole = folder / inside;
  if (inside.empty() || inside.is_absolute()) return CannotRead(whole, ENOENT);
  Handle at(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (at.get() < 0) return CannotRead(whole, errno);
  for (auto step = inside.begin(); step != inside.end(); ++step) {
    if (*step == ".." || *step == "." || step->empty()) {
      return CannotRead(whole, ENOENT);
    }
    const bool last = std::next(step) == inside.end();
    const int next = ::openat(at.get(),
                              step->c_str(),
                              O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK |
                                  (last ? 0 : O_DIRECTORY));
    if (next < 0) return CannotRead(whole, errno);
    at.Become(next);
  }
  struct stat is {};
  if (::fstat(at.get(), &is) != 0) return CannotRead(whole, errno);
  if (!S_ISREG(is.st_mode)) return CannotRead(whole, ENOENT);
  if (static_cast<std::uintmax_t>(is.st_size) > at_most) {
    return Refusal{RefusalCode::kFileTooLarge,
                   whole.string() + " is too large.",
                   "Look at what it is."};
  }
  std::string bytes(static_cast<std::size_t>(is.st_size), '\0');
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t got =
        ::read(at.get(), bytes.data() + done, bytes.size() - done);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return CannotRead(whole, got < 0 ? errno : EIO);
    done += static_cast<std::size_t>(got);
  }
  return bytes;
}

Result<Unfinished> ReadUnfinished(const Casebook& casebook,
                                  std::string_view id) {
  if (!IsId(id) || !IsRealFolder(casebook.folder / kUnfinished) ||
      !IsRealFolder(FolderOf(casebook, id))) {
    return NoSuch(id);
  }
  const fs::path folder = FolderOf(casebook, id);
  const auto text = ReadBelow(folder, kVisitFile, 16'000'000);
  if (!text) return text.error();
  json said = json::parse(*text, nullptr, false);
  if (!said.is_object()) {
    return Refusal{RefusalCode::kNotJson,
                   (folder / kVisitFile).string() + " is damaged.",
                   "The photos beside it are whole: record them with "
                   "\"plumbfoot visit\"."};
  }
  return Unfinished{std::string(id), folder, std::move(said)};
}

UnfinishedList ListUnfinished(const Casebook& casebook) {
  UnfinishedList list;
  std::vector<std::string> names = NamesIn(casebook.folder / kUnfinished);
  std::sort(names.begin(), names.end());
  for (const std::string& name : names) {
    auto read = ReadUnfinished(casebook, name);
    if (read) {
      list.visits.push_back(std::move(*read));
    } else {
      list.set_aside.push_back({fs::path(kUnfinished) / name, read.error()});
    }
  }
  return list;
}

Result<Unfinished> BeginUnfinished(const Casebook& casebook,
                                   Day day,
                                   const json& said) {
  const auto name = RandomName();
  if (!name) return name.error();
  Unfinished begun{DayText(day) + "-" + *name, {}, said};
  begun.folder = FolderOf(casebook, begun.id);
  if (auto made = photo::MakeFolders(begun.folder); !made) return made.error();
  if (auto written =
          photo::WriteWhole(begun.folder / kVisitFile, said.dump(1) + "\n");
      !written) {
    return written.error();
  }
  return begun;
}

Result<json> ChangeUnfinished(
    const Casebook& casebook,
    std::string_view id,
    const std::function<Result<Done>(json&)>& change) {
  if (!IsId(id)) return NoSuch(id);
  const auto lock = WriterLock::Take(casebook, kPatience);
  if (!lock) return lock.error();
  auto read = ReadUnfinished(casebook, id);
  if (!read) return read.error();
  if (auto changed = change(read->said); !changed) return changed.error();
  if (auto written = photo::WriteWhole(read->folder / kVisitFile,
                                       read->said.dump(1) + "\n");
      !written) {
    return written.error();
  }
  return std::move(read->said);
}

Result<std::string> KeepUnfinishedPhoto(const Casebook& casebook,
                                        std::string_view id,
                                        std::string_view original_name,
                                        std::string_view bytes) {
  const auto read = ReadUnfinished(casebook, id);
  if (!read) return read.error();
  const std::string file =
      photo::Sha256(bytes) + SafeEnding(std::string(original_name));
  struct stat is {};
  if (::lstat((read->folder / file).c_str(), &is) == 0 && S_ISREG(is.st_mode) &&
      static_cast<std::size_t>(is.st_size) == bytes.size()) {
    return file;
  }
  if (auto written = photo::WriteWhole(read->folder / file, bytes); !written) {
    return written.error();
  }
  return file;
}

Result<Done> RemoveUnfinished(const Casebook& casebook, std::string_view id) {
  const auto read = ReadUnfinished(casebook, id);
  if (!read) return read.error();
  const auto lock = WriterLock::Take(casebook, kPatience);
  if (!lock) return lock.error();
  // Out of sight at once; what a killed program leaves there is thrown away.
  const fs::path staging = casebook.folder / kHidden / "staging";
  if (auto made = photo::MakeFolders(staging); !made) return made;
  const fs::path away = staging / read->id;
  if (auto moved = photo::MoveInto(read->folder, away); !moved) return moved;
  std::error_code ignored;
  fs::remove_all(away, ignored);
  return Done{};
}

}  // namespace plumbfoot::casebook
