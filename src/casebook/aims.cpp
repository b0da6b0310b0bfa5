// SPDX-License-Identifier: Apache-2.0
#include <array>
#include <cmath>
#include <map>
#include <stdexcept>
#include <utility>

#include "casebook/stored.h"
#include "casebook/writer.h"
#include "plumbfoot/casebook/record.h"

namespace plumbfoot::casebook {
namespace {

namespace fs = std::filesystem;

constexpr std::array kFeet = {
    Foot::kLeftFore, Foot::kRightFore, Foot::kLeftHind, Foot::kRightHind};

/// An aim of every foot, or of one: said for each of them.
std::vector<Aim> OfEachFoot(const Aim& aim) {
  if (aim.foot || aim.what == kAllowedDrift) return {aim};
  std::vector<Aim> each;
  for (const Foot foot : kFeet) {
    each.push_back(aim);
    each.back().foot = foot;
  }
  return each;
}

/// The last that was said of each, taken back or not.
std::map<std::pair<std::string, std::optional<Foot>>, Aim> Last(
    const std::vector<Aim>& aims) {
  std::map<std::pair<std::string, std::optional<Foot>>, Aim> last;
  for (const Aim& aim : aims) {
    for (Aim& one : OfEachFoot(aim)) last[{one.what, one.foot}] = one;
  }
  return last;
}

/// Does it change what counts, or who says so?
bool IsNews(const Aim& aim, const std::vector<Aim>& known) {
  const auto last = Last(known);
  for (const Aim& one : OfEachFoot(aim)) {
    const auto found = last.find({one.what, one.foot});
    if (found == last.end()) {
      if (one.value) return true;
      continue;
    }
    if (found->second.value != one.value ||
        (one.value && found->second.by != one.by)) {
      return true;
    }
  }
  return false;
}

}  // namespace

std::vector<Aim> AimsThatCount(const std::vector<Aim>& aims) {
  std::vector<Aim> count;
  for (auto& [unused, aim] : Last(aims)) {
    if (aim.value) count.push_back(aim);
  }
  return count;
}

Result<std::vector<Aim>> ReadAims(const Casebook& casebook,
                                  const Horse& horse) {
  const auto text = ReadJson(HorseFolder(casebook, horse.folder) / kAimsFile);
  if (!text) {
    if (text.error().code == RefusalCode::kFileMissing) {
      return std::vector<Aim>();
    }
    return text.error();
  }
  return ParseAims(text->root);
}

Result<int> RecordAims(const Casebook& casebook,
                       const Horse& horse,
                       const std::vector<Aim>& aims) {
  for (const Aim& aim : aims) {
    if (aim.what.empty() || aim.by.empty() ||
        (aim.value && !std::isfinite(*aim.value))) {
      throw std::invalid_argument("RecordAims: not an aim");
    }
  }
  // CHOSEN: as RecordVisit.
  const auto lock = WriterLock::Take(casebook, std::chrono::seconds(30));
  if (!lock) return lock.error();
  if (auto cleared = ClearLeftovers(casebook, *lock); !cleared) {
    return cleared.error();
  }
  auto known = ReadAims(casebook, horse);
  if (!known) return known.error();
  int added = 0;
  for (const Aim& aim : aims) {
    if (!IsNews(aim, *known)) continue;
    known->push_back(aim);
    ++added;
  }
  if (added == 0) return added;
  auto staging = Staging::Begin(casebook, *lock);
  if (!staging) return staging.error();
  if (auto written = staging->Write("", {{kAimsFile, AimsText(*known)}});
      !written) {
    return written.error();
  }
  staging->Move(kAimsFile, fs::path(kHorses) / horse.folder / kAimsFile);
  if (auto done = staging->Commit(); !done) return done.error();
  return added;
}

}  // namespace plumbfoot::casebook
