// SPDX-License-Identifier: Apache-2.0
/// @file
/// Who is due, drift and all.
#pragma once

#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::report {

/// As casebook::WhoIsDue; a horse whose toe angle drifts by more than is
/// allowed is due before that, unless a person has set the day.
///
/// The day of such a horse follows from all its visits. It is kept beside the
/// index (casebook/derived.h) and worked out again, on as many threads as there
/// are processors, where anything that it follows from has changed.
casebook::DueList DueUntil(const casebook::Casebook& casebook,
                           casebook::Day until);

/// After something was recorded of a horse: works its day out now, so that
/// DueUntil needn't. Nothing to do for a horse without an allowed drift; else
/// some 0.1 s.
void KeepDue(const casebook::Casebook& casebook, const casebook::Horse& horse);

}  // namespace plumbfoot::report
