// SPDX-License-Identifier: Apache-2.0
/// @file
/// What was read of a horse before, kept in .plumbfoot/index/HORSE.cbor (CBOR,
/// RFC 8949) so that its hundreds of reports needn't be read each time. May be
/// deleted.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "casebook/read.h"
#include "plumbfoot/casebook/casebook.h"

namespace plumbfoot::casebook {

struct IndexedVisit {
  std::vector<Stamp> stamps;  ///< Of everything that it was made from.
  Visit visit;
};

/// Those visits of the index whose stamps are still right.
std::map<Day, IndexedVisit> LoadIndex(const Casebook& casebook,
                                      const std::string& horse);

/// Writes it, if it can and nobody else is writing in the casebook.
void SaveIndex(const Casebook& casebook,
               const std::string& horse,
               const std::map<Day, IndexedVisit>& visits);

}  // namespace plumbfoot::casebook
