// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <exception>
#include <opencv2/core/utils/logger.hpp>

#include "cli/commands.h"
#include "cli/exit_status.h"
#include "cli/memory.h"

namespace {

using plumbfoot::cli::Action;
using plumbfoot::cli::ExitStatus;

ExitStatus Run(int argc, char** argv) {
  CLI::App program(
      "Measures a horse's foot from two photos with a scale card in them.",
      "plumbfoot");
  program.set_version_flag("--version", "plumbfoot " PLUMBFOOT_VERSION);
  program.require_subcommand(1);
  program.footer(
      "Exit status: 0 done, 1 used wrongly, 2 input refused, 3 done but "
      "something\nmust be retaken or placed by hand, 4 the surroundings (disk "
      "full, folder not\nwritable, port taken), 70 a fault in Plumbfoot.\n"
      "\"plumbfoot COMMAND --help\" tells more about each command.");
  Action action;
  plumbfoot::cli::AddCard(program, action);
  plumbfoot::cli::AddCheck(program, action);
  plumbfoot::cli::AddMeasure(program, action);
  plumbfoot::cli::AddCompare(program, action);
  plumbfoot::cli::AddVisit(program, action);
  plumbfoot::cli::AddHistory(program, action);
  plumbfoot::cli::AddReport(program, action);
  plumbfoot::cli::AddServe(program, action);
  plumbfoot::cli::AddFit(program, action);
  try {
    program.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    // CLI11 has its own statuses; ours are fixed: help is done, the rest is
    // used wrongly.
    const bool help =
        error.get_exit_code() == static_cast<int>(CLI::ExitCodes::Success);
    program.exit(error);
    return help ? ExitStatus::kDone : ExitStatus::kUsedWrongly;
  }
  return action();
}

}  // namespace

int main(int argc, char** argv) {
  plumbfoot::cli::KeepFreedMemory();
  // What OpenCV has to say about a damaged file is said in our words.
  cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
  try {
    return static_cast<int>(Run(argc, argv));
  } catch (const std::exception& fault) {
    fmt::print(stderr,
               "plumbfoot: a fault in Plumbfoot: {}\n"
               "Nothing was changed. Please report it with the photo that "
               "caused it.\n",
               fault.what());
  } catch (...) {
    fmt::print(stderr, "plumbfoot: a fault in Plumbfoot of no known kind.\n");
  }
  return static_cast<int>(ExitStatus::kOurFault);
}
