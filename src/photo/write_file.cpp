// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/photo/write_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>

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

}  // namespace

Result<Done> WriteWhole(const fs::path& path, std::string_view bytes) {
  // A rename would put a file in the place of a device or a pipe.
  struct stat there {};
  if (::stat(path.c_str(), &there) == 0 && !S_ISREG(there.st_mode)) {
    return CannotWrite(path, S_ISDIR(there.st_mode) ? EISDIR : EINVAL);
  }

  fs::path part;
  const int file = OpenBeside(path, part);
  if (file < 0) return CannotWrite(path, errno);
  int error = WriteAll(file, bytes);
  if (::close(file) != 0 && error == 0) error = errno;
  if (error == 0 && ::rename(part.c_str(), path.c_str()) != 0) error = errno;
  if (error != 0) {
    ::unlink(part.c_str());
    return CannotWrite(path, error);
  }

  // The name too must outlive a power cut. Not every file system can sync a
  // folder, and the file itself is safe by now, so a failure here is let be.
  const fs::path folder = path.has_parent_path() ? path.parent_path() : ".";
  const int handle = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (handle >= 0) {
    ::fsync(handle);
    ::close(handle);
  }
  return Done{};
}

}  // namespace plumbfoot::photo
