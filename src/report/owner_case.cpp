// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/owner_case.h"

#include <fmt/core.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <string_view>
#include <utility>

#include "plumbfoot/judge/words.h"
#include "plumbfoot/report/comparison.h"
#include "plumbfoot/report/saved_report.h"
#include "report/comparison_words.h"
#include "report/owner_history.h"

namespace plumbfoot::report {
namespace {

using measure::Measured;
using measure::MeasureId;

// CHOSEN: what an owner asks about; the rest stands in the report.
constexpr std::array kOwnersMeasures = {MeasureId::kToeAngle,
                                        MeasureId::kHeelAngle,
                                        MeasureId::kHoofPasternDifference,
                                        MeasureId::kDorsalWallLength,
                                        MeasureId::kBearingWidth,
                                        MeasureId::kBearingLength,
                                        MeasureId::kHeelWidth,
                                        MeasureId::kHalfWidthDifference};

const Measured* Of(const SavedReport& report, MeasureId id) {
  const auto found = report.outcomes.find(id);
  return found == report.outcomes.end() ? nullptr
                                        : std::get_if<Measured>(&found->second);
}

std::string Key(std::string_view group, MeasureId id) {
  return fmt::format("{}.{}", group, measure::InfoOf(id).key);
}

std::string FootName(Foot foot, const OwnerWords& words) {
  return words.Say(fmt::format("foot.{}", geometry::FootName(foot)));
}

std::string StageName(Stage stage, const OwnerWords& words) {
  return words.Say(fmt::format("stage.{}", geometry::StageName(stage)));
}

/// "A, B and C".
std::string Listed(const std::vector<std::string>& items,
                   const OwnerWords& words) {
  if (items.empty()) return {};
  if (items.size() == 1) return items.front();
  const std::vector<std::string> first(items.begin(), items.end() - 1);
  return words.Say("list.and",
                   {{"first", fmt::format("{}", fmt::join(first, ", "))},
                    {"last", items.back()}});
}

/// A measure with its uncertainty; empty if it isn't measured.
/// @param amount  Without its sign, where words say which way.
std::string Shown(const SavedReport& report,
                  MeasureId id,
                  const OwnerWords& words,
                  bool amount = false) {
  const Measured* measured = Of(report, id);
  if (measured == nullptr) return {};
  Measured m = *measured;
  if (amount && m.value < 0) {
    m.value = -m.value;
    m.low95 = -measured->high95;
    m.high95 = -measured->low95;
  }
  const std::string number =
      words.Number(judge::ShowInLine(m, measure::InfoOf(id).unit));
  return report.unsure.contains(id)
             ? words.Say("unsure_mark", {{"number", number}})
             : number;
}

/// "1.4° steeper".
std::string Words(const trend::Change& change,
                  MeasureId id,
                  const OwnerWords& words) {
  const ShownChange shown = Show(change, measure::InfoOf(id).unit);
  std::string amount = shown.difference;
  const std::size_t digit = amount.find_first_of("0123456789");
  if (digit != std::string::npos) amount.erase(0, digit);
  return words.Say(Key(change.difference > 0 ? "more" : "less", id),
                   {{"amount", words.Number(amount + shown.unit)}});
}

/// What the page is made of, as it comes together.
struct Draft {
  OwnerPage page;
  std::vector<std::string> changed;  ///< Names of feet.
  std::set<std::string> earlier;     ///< What was compared with, in words.
  std::set<MeasureId> shown;
  std::set<std::string> sources;
  std::map<std::string, std::vector<std::string>> show_to_vet;  ///< Feet.
  bool compared = false;
  bool unsure = false;
  bool print_unchecked = false;
};

std::string EarlierWords(const OwnerCase& visit,
                         const DatedReport& earlier,
                         const SavedReport& report,
                         const OwnerWords& words) {
  std::string stage = StageName(report.stage, words);
  if (earlier.date == visit.date) return stage;
  return words.Say("earlier.visit",
                   {{"date", words.Date(earlier.date)}, {"stage", stage}});
}

void AddRows(const SavedReport& now,
             const std::optional<Comparison>& comparison,
             const OwnerWords& words,
             OwnerFoot& foot,
             Draft& draft) {
  std::vector<std::string> changes;
  for (const MeasureId id : kOwnersMeasures) {
    if (Of(now, id) == nullptr) continue;
    OwnerRow row;
    row.name = words.Say(Key("measure", id));
    row.now = Shown(now, id, words);
    draft.unsure = draft.unsure || now.unsure.contains(id);
    draft.shown.insert(id);
    if (comparison) {
      row.earlier = Shown(comparison->before, id, words);
      const auto found = comparison->change.comparisons.find(id);
      const auto* change = found == comparison->change.comparisons.end()
                               ? nullptr
                               : std::get_if<trend::Change>(&found->second);
      if (change != nullptr) {
        draft.compared = true;
        if (foot.verdict == OwnerVerdict::kNotCompared) {
          foot.verdict = OwnerVerdict::kNoChange;
        }
        row.changed = change->changed;
        row.change = change->changed ? Words(*change, id, words)
                                     : words.Say("no_change");
        if (row.changed) changes.push_back(row.name + " " + row.change);
      }
    }
    foot.rows.push_back(std::move(row));
  }
  if (!changes.empty()) {
    foot.verdict = OwnerVerdict::kChanged;
    foot.verdict_words =
        words.Say("verdict.changed",
                  {{"what", fmt::format("{}", fmt::join(changes, "; "))}});
    draft.changed.push_back(foot.name);
  } else if (foot.verdict == OwnerVerdict::kNoChange) {
    foot.verdict_words = words.Say("verdict.no_change");
  }
}

void AddOutlines(const SavedReport& now,
                 const std::optional<Comparison>& comparison,
                 OwnerFoot& foot) {
  if (now.solar) foot.outline = now.solar->outline;
  if (!comparison || !comparison->before.solar) return;
  // Laid over each other as in the comparison's picture.
  for (const draw::OverlayPanel& panel : OverlayOf(*comparison).panels) {
    if (!panel.toe_up || panel.after.region.empty() ||
        panel.before.region.empty()) {
      continue;
    }
    foot.outline = panel.after.region;
    foot.earlier_outline = panel.before.region;
  }
}

void AddNumbers(const SavedReport& now,
                const OwnerWords& words,
                OwnerFoot& foot) {
  const Measured* width = Of(now, MeasureId::kBearingWidth);
  const Measured* length = Of(now, MeasureId::kBearingLength);
  if (width != nullptr && length != nullptr) {
    const auto w = judge::Show(*width, measure::Unit::kMillimetre);
    const auto l = judge::Show(*length, measure::Unit::kMillimetre);
    foot.numbers.push_back(
        words.Number(fmt::format("{} × {}{}", w.value, l.value, l.unit)));
  }
  if (const Measured* toe = Of(now, MeasureId::kToeAngle)) {
    const auto shown = judge::Show(*toe, measure::Unit::kDegree);
    foot.numbers.push_back(words.Say(Key("measure", MeasureId::kToeAngle)) +
                           " " + words.Number(shown.value + shown.unit));
  }
}

/// A figure's place among the small print, in the page's language where it is
/// one of ours.
std::string SourceWords(const std::string& figure,
                        const std::string& citation,
                        const OwnerWords& words) {
  const std::string key = "source." + figure;
  return words.Has(key) ? words.Say(key) : citation;
}

void AddWhatStandsOut(const nlohmann::json& report,
                      const SavedReport& now,
                      const OwnerWords& words,
                      OwnerFoot& foot,
                      Draft& draft) {
  for (const auto& o : report.value("observations", nlohmann::json::array())) {
    if (!o.value("stands_out", false)) continue;
    const auto figure = o.at("figures").at(0).get<std::string>();
    const std::string key = fmt::format(
        "stands_out.{}.{}", figure, o.at("relation").get<std::string>());
    const auto id = measure::ParseMeasure(o.at("measure").get<std::string>());
    const std::string number =
        id ? Shown(now, *id, words, true) : std::string();
    // A figure of another Plumbfoot, that these words don't know.
    foot.stands_out.push_back(words.Has(key) && !number.empty()
                                  ? words.Say(key, {{"number", number}})
                                  : words.Say("stands_out.other"));
    draft.unsure = draft.unsure || (id && now.unsure.contains(*id));
    for (const auto& citation : o.at("citations")) {
      draft.sources.insert(
          SourceWords(figure, citation.get<std::string>(), words));
    }
  }
  for (const auto& c : report.value("cautions", nlohmann::json::array())) {
    if (c.value("kind", "") != "vet") continue;
    const std::string key = "vet." + c.value("code", std::string());
    if (words.Has(key)) draft.show_to_vet[key].push_back(foot.name);
  }
}

Result<Done> AddFoot(const OwnerCase& visit,
                     const OwnerCaseFoot& given,
                     const OwnerWords& words,
                     Draft& draft) {
  auto now = ReadReport(given.now.report);
  if (!now) return now.error();
  OwnerFoot foot;
  foot.foot = now->foot;
  foot.name = FootName(now->foot, words);
  foot.verdict_words = words.Say("verdict.first");
  std::optional<Comparison> comparison;
  if (given.earlier) {
    auto before = ReadReport(given.earlier->report);
    if (!before) return before.error();
    draft.earlier.insert(EarlierWords(visit, *given.earlier, *before, words));
    const bool shoe = before->shod != now->shod;
    foot.verdict = OwnerVerdict::kNotCompared;
    foot.verdict_words =
        words.Say("verdict.not_compared",
                  {{"why", words.Say(shoe ? "why.shoe" : "why.not_measured")}});
    auto compared = CompareReports(std::move(*before), *now);
    if (compared) comparison = std::move(*compared);
  }
  AddNumbers(*now, words, foot);
  AddOutlines(*now, comparison, foot);
  AddRows(*now, comparison, words, foot, draft);
  AddWhatStandsOut(given.now.report, *now, words, foot, draft);
  for (const auto* view : {&now->solar, &now->lateral}) {
    if (*view && (*view)->scale == geometry::ScaleSource::kCard &&
        !(*view)->measured_mm) {
      draft.print_unchecked = true;
    }
  }
  foot.pictures = given.pictures;
  draft.page.feet.push_back(std::move(foot));
  return Done{};
}

void AddNotes(const OwnerCase& visit,
              const OwnerWords& words,
              OwnerPage& page) {
  for (const casebook::Work& work : visit.notes.work) {
    std::string line = WorkWords(work, words);
    if (!line.empty()) page.done.push_back(std::move(line));
  }
  if (!visit.notes.remarks.empty()) {
    page.done.push_back(
        words.Say("done.remarks", {{"what", visit.notes.remarks}}));
  }
  if (!visit.notes.by.empty()) {
    page.done.push_back(words.Say("done.by", {{"who", visit.notes.by}}));
  }
  if (page.done.empty()) page.done.push_back(words.Say("done.nothing"));
  page.vet = visit.notes.vet;
}

}  // namespace

Result<OwnerPage> MakeOwnerPage(const OwnerCase& visit,
                                const OwnerWords& words) {
  if (visit.feet.empty()) {
    return Refusal{RefusalCode::kUsage,
                   "No foot was photographed at this visit.",
                   "Choose a visit with photos."};
  }
  Draft draft;
  for (const OwnerCaseFoot& foot : visit.feet) {
    const auto added = AddFoot(visit, foot, words, draft);
    if (!added) return added.error();
  }
  OwnerPage& page = draft.page;
  page.practice = visit.practice.name;
  page.telephone = visit.practice.telephone;
  page.title = words.Say(
      "title", {{"horse", visit.horse.name}, {"date", words.Date(visit.date)}});
  page.yard = visit.horse.yard;
  const std::vector<std::string> earlier(draft.earlier.begin(),
                                         draft.earlier.end());
  if (!draft.compared) {
    page.summary.push_back(
        words.Say("summary.first", {{"horse", visit.horse.name}}));
  } else if (draft.changed.empty()) {
    page.summary.push_back(
        words.Say("summary.unchanged", {{"earlier", Listed(earlier, words)}}));
  } else if (draft.changed.size() == page.feet.size() &&
             draft.changed.size() > 1) {
    page.summary.push_back(words.Say("summary.changed.all",
                                     {{"earlier", Listed(earlier, words)}}));
  } else {
    page.summary.push_back(words.Say("summary.changed",
                                     {{"earlier", Listed(earlier, words)},
                                      {"feet", Listed(draft.changed, words)}}));
  }
  if (draft.unsure) page.summary.push_back(words.Say("summary.unsure"));

  const auto first = ReadReport(visit.feet.front().now.report);
  const std::string now = StageName(first->stage, words);
  for (std::size_t i = 0; i < page.feet.size(); ++i) {
    const auto report = ReadReport(visit.feet[i].now.report);
    const std::string stage = StageName(report->stage, words);
    const auto has = [&](View view) { return report->view(view).has_value(); };
    std::vector<std::string> keys;
    for (const View view : {View::kSolar, View::kLateral}) {
      if (has(view)) {
        keys.push_back(fmt::format("picture.{}", geometry::ViewName(view)));
      }
    }
    for (std::size_t k = 0; k < page.feet[i].pictures.size(); ++k) {
      if (k >= keys.size()) break;
      page.feet[i].pictures[k].words =
          words.Say(keys[k], {{"foot", page.feet[i].name}, {"stage", stage}});
    }
  }
  const bool any_outline = std::any_of(
      page.feet.begin(), page.feet.end(), [](const OwnerFoot& foot) {
        return !foot.outline.empty();
      });
  const bool any_earlier = std::any_of(
      page.feet.begin(), page.feet.end(), [](const OwnerFoot& foot) {
        return !foot.earlier_outline.empty();
      });
  if (any_outline) {
    page.outline_words.push_back(
        any_earlier
            ? words.Say("outline.earlier",
                        {{"now", now}, {"earlier", Listed(earlier, words)}})
            : words.Say("outline.now", {{"now", now}}));
  }

  AddNotes(visit, words, page);
  const auto day = casebook::ParseDay(visit.date);
  if (!day) return day.error();
  const auto next = casebook::NextVisit(*day, visit.notes);
  const bool drifts = next && !visit.notes.next_visit && visit.history &&
                      visit.history->because == trend::DueBecause::kAngleDrifts;
  page.next_visit =
      !next ? words.Say("next_visit.none")
      : drifts
          ? words.Say("next_visit.drift",
                      {{"date", words.Date(visit.history->next_visit)},
                       {"foot", FootName(*visit.history->due_foot, words)}})
          : words.Say("next_visit",
                      {{"date", words.Date(casebook::DayText(*next))}});
  AddHistory(visit, words, page);
  page.call_the_vet = {words.Say("vet.signs")};
  for (const auto& [key, feet] : draft.show_to_vet) {
    page.call_the_vet.push_back(
        words.Say(key, {{"feet", Listed(feet, words)}}));
  }
  page.call_the_vet.push_back(words.Say("vet.law"));
  page.cautions = {words.Say("caution.not_a_diagnosis"),
                   words.Say("caution.uncertainty"),
                   words.Say("caution.change"),
                   words.Say("caution.sole")};
  if (draft.unsure) page.cautions.push_back(words.Say("caution.unsure"));
  if (draft.print_unchecked) {
    page.cautions.push_back(words.Say("caution.print"));
  }
  page.terms.push_back({words.Say("term.trim.name"), words.Say("term.trim")});
  for (const MeasureId id : kOwnersMeasures) {
    if (!draft.shown.contains(id)) continue;
    page.terms.push_back(
        {words.Say(Key("measure", id)), words.Say(Key("term", id))});
  }
  page.sources.assign(draft.sources.begin(), draft.sources.end());
  page.sources.push_back(words.Say("source.uncertainty"));
  if (draft.compared) page.sources.push_back(words.Say("source.change"));
  if (!page.plots.empty()) page.sources.push_back(words.Say("source.trend"));
  page.sources.push_back(words.Say("source.practice"));
  page.made_with =
      words.Say("made_with", {{"version", std::string(PLUMBFOOT_VERSION)}});
  return std::move(draft.page);
}

}  // namespace plumbfoot::report
