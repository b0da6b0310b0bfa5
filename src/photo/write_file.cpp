// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/write_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>
#include <utility>

namespace plumbfoot::photo {
namespace {

namespace fs = std::filesystem;

Refusal CannotWrite(const fs::path& path, int error) {
  return Refusal{
      RefusalCode::kCannotWrite,
      "\"" + path.string() + "\" can't be written: " +
          std::error_code(error, std::generic_category()).message() + ".",
      error == ENOSPC || error == EDQUOT
          ? "Make room on the disk and run it again."
          : "Choose another folder for the output, or allow writing there."};
}

/// Zero, or the errno of what went wrong.
int WriteAll(int file, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(file, bytes.data(), bytes.size());
    if (written < 0) {
      if (errno == EINTR) continue;
      return errno;
    }
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return ::fsync(file) == 0 ? 0 : errno;
}

/// A new file beside `path` with a name that nobody has: its descriptor, or -1.
int OpenBeside(const fs::path& path, fs::path& part) {
  // CHOSEN: as many tries as leftovers of this process number could stand
  // there.
  for (int i = 0; i < 100; ++i) {
    part = path;
    part += ".part" + std::to_string(::getpid()) + "-" + std::to_string(i);
    const int file =
        ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (file >= 0 || errno != EEXIST) return file;
  }
  return -1;
}

/// A file that is on the disk under a name of its own and waits for its place.
/// What never gets there is deleted.
class Staged {
 public:
  Staged(fs::path path, std::string_view bytes) : path_(std::move(path)) {
    // A rename would put a file in the place of a device or a pipe.
    struct stat there {};
    if (::stat(path_.c_str(), &there) == 0 && !S_ISREG(there.st_mode)) {
      error_ = S_ISDIR(there.st_mode) ? EISDIR : EINVAL;
      return;
    }
    const int file = OpenBeside(path_, part_);
    if (file < 0) {
      error_ = errno;
      part_.clear();
      return;
    }
    error_ = WriteAll(file, bytes);
    if (::close(file) != 0 && error_ == 0) error_ = errno;
  }
  ~Staged() {
    if (!part_.empty()) ::unlink(part_.c_str());
  }
  Staged(Staged&& other) noexcept
      : path_(std::move(other.path_)),
        part_(std::exchange(other.part_, fs::path())),
        error_(other.error_) {}
  Staged(const Staged&) = delete;
  Staged& operator=(const Staged&) = delete;
  Staged& operator=(Staged&&) = delete;

  /// Zero, or the errno of what went wrong so far.
  int error() const { return error_; }
  const fs::path& path() const { return path_; }

  void TakePlace() {
    if (error_ == 0 && ::rename(part_.c_str(), path_.c_str()) != 0) {
      error_ = errno;
    }
    if (error_ == 0) part_.clear();
  }

 private:
  fs::path path_;
  fs::path part_;
  int error_ = 0;
};

}  // namespace

Result<Done> WriteWhole(const fs::path& path, std::string_view bytes) {
  Staged staged(path, bytes);
  staged.TakePlace();
  if (staged.error() != 0) return CannotWrite(path, staged.error());
  SyncFolder(path.parent_path());
  return Done{};
}

Result<std::vector<fs::path>> WriteSet(const fs::path& folder,
                                       const std::vector<NamedBytes>& files) {
  if (auto made = MakeFolders(folder); !made) return made.error();
  std::vector<Staged> staged;
  staged.reserve(files.size());
  for (const NamedBytes& file : files) {
    staged.emplace_back(folder / file.name, file.bytes);
    if (staged.back().error() != 0) {
      return CannotWrite(staged.back().path(), staged.back().error());
    }
  }
  std::vector<fs::path> paths;
  paths.reserve(files.size());
  for (Staged& file : staged) {
    file.TakePlace();
    if (file.error() != 0) return CannotWrite(file.path(), file.error());
    paths.push_back(file.path());
  }
  SyncFolder(folder);
  return paths;
}

Result<Done> MakeFolders(const fs::path& folder) {
  std::error_code failed;
  if (fs::is_directory(folder, failed)) return Done{};
  const fs::path above = folder.parent_path();
  if (!above.empty() && above != folder) {
    if (auto made = MakeFolders(above); !made) return made;
  }
  fs::create_directory(folder, failed);
  if (failed) return CannotWrite(folder, failed.value());
  SyncFolder(above);
  return Done{};
}

void SyncFolder(const fs::path& folder) {
  const int handle = ::open(folder.empty() ? "." : folder.c_str(),
                            O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (handle < 0) return;
  ::fsync(handle);
  ::close(handle);
}

Result<Done> MoveInto(const fs::path& from, const fs::path& to) {
  if (::rename(from.c_str(), to.c_str()) != 0) return CannotWrite(to, errno);
  SyncFolder(to.parent_path());
  SyncFolder(from.parent_path());
  return Done{};
}

}  // namespace plumbfoot::photo
