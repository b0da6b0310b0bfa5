// SPDX-License-Identifier: Apache-2.0
/// @file
/// The second sheet of the owner's page: the case over months.
#pragma once

#include <string>

#include "plumbfoot/casebook/casebook.h"
#include "plumbfoot/report/owner_case.h"
#include "plumbfoot/report/owner_page.h"
#include "plumbfoot/report/owner_words.h"

namespace plumbfoot::report {

/// "All feet: trimmed, shoes: steel, size 5."; empty where nothing was done.
std::string WorkWords(const casebook::Work& work, const OwnerWords& words);

/// Adds the plots of every foot that was measured on two days or more, and the
/// visits that they number. Adds nothing if there is no such foot.
void AddHistory(const OwnerCase& visit,
                const OwnerWords& words,
                OwnerPage& page);

}  // namespace plumbfoot::report
