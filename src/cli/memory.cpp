// SPDX-License-Identifier: Apache-2.0
#include "cli/memory.h"

#include <cstdlib>

#ifdef __GLIBC__
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#endif

namespace plumbfoot::cli {

void KeepFreedMemory() {
#ifdef __GLIBC__
  // By default every large block is fetched from the system and given back, and
  // the system clears each of its pages at the first touch: a third of the time
  // of a pair of photos.
  mallopt(M_MMAP_MAX, 0);
  mallopt(M_ARENA_MAX, 1);
  // CHOSEN: as much as a pair of photos of 12 megapixels is measured in. Room
  // that nobody touches costs nothing.
  constexpr int kRoom = 256 << 20;
  mallopt(M_TRIM_THRESHOLD, 2 * kRoom - 1);
  mallopt(M_TOP_PAD, kRoom);
  auto* const begin = static_cast<char*>(sbrk(0));
  // Volatile: else the compiler leaves both calls out.
  void* volatile block = std::malloc(std::size_t{1} << 20);
  std::free(block);
  const auto grown = static_cast<char*>(sbrk(0)) - begin;
  mallopt(M_TOP_PAD, kRoom / 16);
  const auto page = static_cast<std::uintptr_t>(sysconf(_SC_PAGESIZE));
  const auto skipped = static_cast<std::ptrdiff_t>(
      (page - reinterpret_cast<std::uintptr_t>(begin) % page) % page);
  // Advice: where the system doesn't take it, all goes on as before.
  if (skipped < grown) {
    madvise(begin + skipped,
            static_cast<std::size_t>(grown - skipped),
            MADV_HUGEPAGE);
  }
#endif
}

}  // namespace plumbfoot::cli
