// SPDX-License-Identifier: Apache-2.0
/// @file
/// The invented case as the owner's page gets it: four feet, with photos.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "plumbfoot/report/owner_case.h"
#include "report/invented_case.h"
#include "report/owner_sample.h"

namespace plumbfoot::report {

/// The page's input of the last of so many visits. The hind feet are the fore
/// feet once more.
inline OwnerCase InventedOwnerCase(int visits, bool wordy = false) {
  std::vector<FootReport> reports = InventedReports(visits);
  const std::size_t fore = reports.size();
  for (std::size_t i = 0; i < fore; ++i) {
    FootReport hind = reports[i];
    hind.foot =
        geometry::IsLeft(hind.foot) ? Foot::kLeftHind : Foot::kRightHind;
    reports.push_back(std::move(hind));
  }
  OwnerCase page;
  page.practice = {"Hollin & Daughter, farriers", "+44 (0)1632 960 123"};
  page.horse = {"juno", "Juno", "Low Beck"};
  page.notes.by = "A. Hollin";
  casebook::Work work;
  work.trimmed = true;
  work.shoe = "none";
  page.notes.work = {work};
  if (wordy) {
    work.feet = {Foot::kLeftFore, Foot::kRightFore};
    work.shoe = "steel, toe clips";
    work.size = "5";
    work.nails = "6";
    work.pads = "leather";
    casebook::Work hind;
    hind.feet = {Foot::kLeftHind, Foot::kRightHind};
    hind.trimmed = true;
    hind.shoe = "none";
    page.notes.work = {work, hind};
    page.notes.remarks =
        "Old nail holes at the outer quarter of the left fore are growing "
        "down; the frog of the right hind was soft and was only tidied.";
    page.notes.vet =
        "Bring the toe back a little each time, keep the heels, and send the "
        "photos from the side after every visit.";
  }
  HistoryRequest request;
  request.horse = "Juno";
  std::map<Foot, OwnerCaseFoot> feet;
  for (const FootReport& report : reports) {
    nlohmann::json json = ToJson(report);
    page.date = *report.date;
    request.reports.push_back(*ReadReport(json));
    OwnerCaseFoot& foot = feet[report.foot];
    foot.earlier = std::move(foot.now);
    foot.now = {*report.date, std::move(json)};
    foot.pictures = {SamplePicture(""), SamplePicture("")};
  }
  for (auto& [unused, foot] : feet) page.feet.push_back(std::move(foot));
  for (int visit = 0; visit < visits; ++visit) {
    const std::string date =
        DateOfDay(DayOfDate(kFirstDay) + visit * kSpellDays);
    request.visits.push_back({date, ""});
    page.visits.push_back({date, page.notes});
  }
  if (visits > 1) {
    Target target;
    target.foot = Foot::kLeftFore;
    target.value = 55;
    target.by = "Dr. Moor, vet";
    target.set_on = kFirstDay;
    request.targets = {target};
    page.history = *MakeHistory(std::move(request));
  }
  return page;
}

}  // namespace plumbfoot::report
