// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/zip_files.h"

#include <zip.h>

#include <memory>
#include <stdexcept>

namespace plumbfoot::report {
namespace {

[[noreturn]] void Fail(const char* what) {
  throw std::runtime_error(std::string("ZipOf: ") + what);
}

struct FreeSource {
  void operator()(zip_source_t* source) const { zip_source_free(source); }
};
struct Discard {
  void operator()(zip_t* archive) const { zip_discard(archive); }
};

}  // namespace

std::string ZipOf(const std::vector<photo::NamedBytes>& files) {
  zip_error_t error;
  zip_error_init(&error);
  const std::unique_ptr<zip_source_t, FreeSource> to(
      zip_source_buffer_create(nullptr, 0, 0, &error));
  if (!to) Fail("no buffer");
  // The archive frees its source; the bytes are read afterwards.
  zip_source_keep(to.get());
  std::unique_ptr<zip_t, Discard> archive(
      zip_open_from_source(to.get(), ZIP_TRUNCATE, &error));
  if (!archive) {
    zip_source_free(to.get());
    Fail(zip_error_strerror(&error));
  }
  for (const photo::NamedBytes& file : files) {
    zip_source_t* const from = zip_source_buffer(
        archive.get(), file.bytes.data(), file.bytes.size(), 0);
    if (from == nullptr) Fail(zip_strerror(archive.get()));
    const auto at =
        zip_file_add(archive.get(), file.name.c_str(), from, ZIP_FL_ENC_UTF_8);
    if (at < 0) {
      zip_source_free(from);
      Fail(zip_strerror(archive.get()));
    }
    const auto index = static_cast<zip_uint64_t>(at);
    // Photos don't become smaller. The time is the format's first, so that the
    // same files give the same bytes.
    const bool photo = file.name.size() > 4 &&
                       file.name.substr(file.name.size() - 4) == ".jpg";
    zip_set_file_compression(
        archive.get(), index, photo ? ZIP_CM_STORE : ZIP_CM_DEFLATE, 0);
    zip_file_set_dostime(archive.get(), index, 0, (1 << 5) | 1, 0);
  }
  if (zip_close(archive.get()) != 0) Fail(zip_strerror(archive.get()));
  (void)archive.release();

  if (zip_source_open(to.get()) != 0) Fail("cannot be read again");
  zip_source_seek(to.get(), 0, SEEK_END);
  const zip_int64_t size = zip_source_tell(to.get());
  zip_source_seek(to.get(), 0, SEEK_SET);
  std::string bytes(static_cast<std::size_t>(size), '\0');
  const zip_int64_t got = zip_source_read(to.get(), bytes.data(), bytes.size());
  zip_source_close(to.get());
  if (got != size) Fail("cut short");
  return bytes;
}

}  // namespace plumbfoot::report
