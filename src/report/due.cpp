// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/due.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <iterator>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "plumbfoot/casebook/derived.h"
#include "plumbfoot/report/horse_history.h"
#include "plumbfoot/report/recorded_case.h"

namespace plumbfoot::report {
namespace {

using casebook::Casebook;
using casebook::Damage;
using casebook::Day;
using casebook::Horse;

/// What is kept where the angle asks for no earlier day.
constexpr std::string_view kUsual = "usual";

/// The number goes up with every change of the rules between two releases.
casebook::DerivedName DueName() {
  return {"due", std::string(PLUMBFOOT_VERSION) + " 1"};
}

bool MayDrift(const std::vector<casebook::Aim>& aims) {
  const auto count = casebook::AimsThatCount(aims);
  return std::any_of(count.begin(), count.end(), [](const casebook::Aim& aim) {
    return aim.what == casebook::kAllowedDrift;
  });
}

/// The day by which the angle asks to come, from the horse's whole history.
std::optional<Day> WorkOut(const Casebook& casebook,
                           const Horse& horse,
                           std::vector<Damage>& set_aside) {
  const casebook::History record = ReadHistory(casebook, horse);
  set_aside.insert(
      set_aside.end(), record.set_aside.begin(), record.set_aside.end());
  std::optional<Day> day;
  std::vector<Damage> unreadable;
  if (!record.visits.empty() && !record.visits.back().notes.next_visit) {
    const auto history =
        MakeHistory(HistoryRequestOf(record, {}, {}, unreadable));
    if (history && history->because == trend::DueBecause::kAngleDrifts) {
      day = *casebook::ParseDay(history->next_visit);
    }
  }
  if (unreadable.empty()) {
    casebook::SaveDerived(casebook,
                          record,
                          DueName(),
                          day ? casebook::DayText(*day) : std::string(kUsual));
  }
  set_aside.insert(set_aside.end(), unreadable.begin(), unreadable.end());
  return day;
}

/// Makes the day of one horse what its angle asks for.
void Hasten(const Casebook& casebook,
            casebook::Due& due,
            std::vector<Damage>& set_aside) {
  const auto aims = casebook::ReadAims(casebook, due.horse);
  if (!aims) {
    set_aside.push_back({due.horse.folder, aims.error()});
    return;
  }
  if (!MayDrift(*aims)) return;
  std::optional<Day> day;
  const auto kept = casebook::LoadDerived(casebook, due.horse, DueName());
  if (kept && *kept == kUsual) return;
  if (kept) {
    if (const auto parsed = casebook::ParseDay(*kept)) day = *parsed;
  }
  if (!day) day = WorkOut(casebook, due.horse, set_aside);
  if (day) due.next_visit = std::min(due.next_visit, *day);
}

}  // namespace

casebook::DueList DueUntil(const Casebook& casebook, Day until) {
  // CHOSEN: as far ahead as a year of four digits allows.
  const Day for_ever(std::chrono::year(9999) / 12 / 31);
  casebook::DueList list = casebook::WhoIsDue(casebook, for_ever);
  std::vector<std::vector<Damage>> set_aside(list.due.size());
  std::atomic<std::size_t> next{0};
  std::exception_ptr trouble;
  std::mutex guard;
  const auto work = [&] {
    try {
      for (std::size_t i = next++; i < list.due.size(); i = next++) {
        Hasten(casebook, list.due[i], set_aside[i]);
      }
    } catch (...) {
      const std::lock_guard<std::mutex> hold(guard);
      trouble = std::current_exception();
    }
  };
  std::vector<std::thread> threads;
  // CHOSEN: a thread is worth its start for some ten horses.
  const std::size_t workers =
      std::min<std::size_t>(std::max(1U, std::thread::hardware_concurrency()),
                            list.due.size() / 10 + 1);
  for (std::size_t i = 1; i < workers; ++i) threads.emplace_back(work);
  work();
  for (std::thread& thread : threads) thread.join();
  if (trouble) std::rethrow_exception(trouble);
  for (std::vector<Damage>& of_horse : set_aside) {
    std::move(
        of_horse.begin(), of_horse.end(), std::back_inserter(list.set_aside));
  }
  std::erase_if(list.due, [until](const casebook::Due& due) {
    return due.next_visit > until;
  });
  std::stable_sort(list.due.begin(),
                   list.due.end(),
                   [](const casebook::Due& a, const casebook::Due& b) {
                     return a.next_visit < b.next_visit;
                   });
  return list;
}

void KeepDue(const Casebook& casebook, const Horse& horse) {
  const auto aims = casebook::ReadAims(casebook, horse);
  if (!aims || !MayDrift(*aims) ||
      casebook::LoadDerived(casebook, horse, DueName())) {
    return;
  }
  // What was recorded a moment ago would not be kept.
  std::this_thread::sleep_for(casebook::kSettling +
                              std::chrono::milliseconds(10));
  std::vector<Damage> set_aside;
  (void)WorkOut(casebook, horse, set_aside);
}

}  // namespace plumbfoot::report
