// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "plumbfoot/geometry/result.h"

namespace plumbfoot::cli {

/// What the command's exit status says. Never renumbered.
enum class ExitStatus {
  kDone = 0,
  kUsedWrongly = 1,
  kRefused = 2,       ///< The input; the reason and what to do are on stderr.
  kNeedsPerson = 3,   ///< Done, but retake a photo or place a point by hand.
  kSurroundings = 4,  ///< Disk full, folder not writable, port taken.
  kOurFault = 70,     ///< A fault in Plumbfoot (sysexits.h: EX_SOFTWARE).
};

/// The status that a refusal ends the command with.
ExitStatus StatusOf(RefusalCode code);

/// Prints a refusal on stderr, its remedy on a line of its own, and gives its
/// status.
ExitStatus Refuse(const Refusal& refusal);

}  // namespace plumbfoot::cli
