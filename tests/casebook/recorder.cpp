// SPDX-License-Identifier: Apache-2.0
// Records invented visits until somebody kills it:
//   casebook_recorder BOOK SEED FIRST COUNT both|fore|hind
// Every visit that is recorded is acknowledged with a line, see torture.h.
#include <unistd.h>

#include <csignal>
#include <cstdio>
#include <exception>
#include <string>

#include "casebook/torture.h"

int main(int argc, char** argv) {
  using namespace plumbfoot::casebook;
  if (argc != 6) return 1;
  // A file that grows too large is a refusal, as a full disk is.
  std::signal(SIGXFSZ, SIG_IGN);
  try {
    return RecordUntilKilled({argv[1],
                              std::stoull(argv[2]),
                              std::stoi(argv[3]),
                              std::stoi(argv[4]),
                              argv[5]},
                             STDOUT_FILENO);
  } catch (const std::exception& trouble) {
    std::fprintf(stderr, "casebook_recorder: %s\n", trouble.what());
  }
  return 70;
}
