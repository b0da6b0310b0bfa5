// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>
#include <openssl/evp.h>

#include <algorithm>
#include <cmath>
#include <kainjow/mustache.hpp>
#include <stdexcept>
#include <string>
#include <string_view>

#include "plumbfoot/report/owner_page.h"

namespace plumbfoot::report {

extern const std::string_view kOwnerPageHtml;

namespace {

using kainjow::mustache::data;
using kainjow::mustache::mustache;

std::string Base64(const std::string& bytes) {
  std::string out(4 * ((bytes.size() + 2) / 3) + 1, '\0');
  const int n =
      EVP_EncodeBlock(reinterpret_cast<unsigned char*>(out.data()),
                      reinterpret_cast<const unsigned char*>(bytes.data()),
                      static_cast<int>(bytes.size()));
  out.resize(static_cast<std::size_t>(n));
  return out;
}

/// What a telephone dials (RFC 3966: digits and a leading plus).
std::string Dial(std::string_view telephone) {
  std::string out;
  for (const char c : telephone) {
    if ((c >= '0' && c <= '9') || (c == '+' && out.empty())) out += c;
  }
  return out;
}

data Lines(const std::vector<std::string>& lines) {
  data out{data::type::list};
  for (const std::string& line : lines) out.push_back(line);
  return out;
}

std::string Path(const std::vector<geometry::FootPoint>& outline) {
  std::string path;
  for (const auto& p : outline) {
    // From below, toe up, the horse's left is on the right.
    path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", p.y, -p.x);
  }
  return path + "Z";
}

/// All feet to one scale: the side of a square that holds any of them [mm].
double SquareFor(const OwnerPage& page) {
  double side = 0.0;
  for (const OwnerFoot& foot : page.feet) {
    for (const auto* outline : {&foot.outline, &foot.earlier_outline}) {
      for (const auto& p : *outline) {
        side = std::max({side, 2 * std::abs(p.y), p.x});
      }
    }
  }
  return 1.1 * side;
}

/// The outlines in a square of `side` millimetres.
std::string Drawing(const OwnerFoot& foot, double side) {
  double low = 0.0;
  double high = 0.0;
  for (const auto& p : foot.outline) {
    low = std::min(low, p.x);
    high = std::max(high, p.x);
  }
  std::string svg = fmt::format(
      "<svg viewBox=\"{:.1f} {:.1f} {:.1f} {:.1f}\" aria-hidden=\"true\" "
      "focusable=\"false\">",
      -side / 2,
      -(low + high) / 2 - side / 2,
      side,
      side);
  svg += fmt::format(
      "<path d=\"{}\" fill=\"#efe6d6\" stroke=\"#22201c\" "
      "stroke-width=\"1.6\"/>",
      Path(foot.outline));
  if (!foot.earlier_outline.empty()) {
    svg += fmt::format(
        "<path d=\"{}\" fill=\"none\" stroke=\"#0b5a52\" stroke-width=\"1.3\" "
        "stroke-dasharray=\"5 4\"/>",
        Path(foot.earlier_outline));
  }
  return svg + "</svg>";
}

}  // namespace

bool SaidAtAGlance(const OwnerPage& page, const OwnerTerm& term) {
  // A name may stand within a sentence. Whatever isn't ASCII has to be alike.
  const auto same = [](char a, char b) {
    const auto lower = [](char c) {
      return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    };
    return lower(a) == lower(b);
  };
  const auto says = [&](const std::string& text) {
    return std::search(text.begin(),
                       text.end(),
                       term.term.begin(),
                       term.term.end(),
                       same) != text.end();
  };
  const auto any = [&says](const std::vector<std::string>& texts) {
    return std::any_of(texts.begin(), texts.end(), says);
  };
  return any(page.done) || any(page.outline_words) ||
         std::any_of(
             page.feet.begin(), page.feet.end(), [&](const OwnerFoot& foot) {
               return any(foot.numbers) || says(foot.verdict_words) ||
                      any(foot.stands_out);
             });
}

std::string OwnerHtml(const OwnerPage& page, const OwnerWords& words) {
  data out;
  out["language"] = words.language();
  out["title"] = page.title;
  out["has_practice"] = !page.practice.empty() || !page.telephone.empty();
  out["practice"] = page.practice;
  if (!page.telephone.empty()) {
    out["telephone"] = page.telephone;
    out["dial"] = Dial(page.telephone);
  }
  if (!page.yard.empty()) out["yard"] = page.yard;
  for (const std::string_view heading : {"summary",
                                         "glance",
                                         "done",
                                         "vet",
                                         "next",
                                         "changes",
                                         "photos",
                                         "case",
                                         "call_the_vet",
                                         "cautions",
                                         "terms",
                                         "sources",
                                         "stands_out"}) {
    out["heading_" + std::string(heading)] =
        words.Say("heading." + std::string(heading));
  }
  for (const std::string_view column :
       {"foot", "measure", "now", "earlier", "change"}) {
    out["column_" + std::string(column)] =
        words.Say("column." + std::string(column));
  }
  out["summary"] = Lines(page.summary);
  data feet{data::type::list};
  data tables{data::type::list};
  data galleries{data::type::list};
  std::vector<std::string> stands_out;
  bool any_picture = false;
  for (const OwnerFoot& foot : page.feet) {
    data glance;
    glance["name"] = foot.name;
    if (!foot.outline.empty()) {
      data drawing;
      drawing["svg"] = Drawing(foot, SquareFor(page));
      glance.set("drawing", drawing);
    }
    glance["numbers"] = Lines(foot.numbers);
    glance["verdict"] = foot.verdict_words;
    glance["verdict_class"] = std::string(
        foot.verdict == OwnerVerdict::kChanged ? "changed" : "soft");
    feet.push_back(glance);

    data table;
    table["name"] = foot.name;
    bool any_earlier = false;
    data rows{data::type::list};
    for (const OwnerRow& row : foot.rows) {
      data line;
      line["name"] = row.name;
      line["now"] = row.now;
      line["earlier"] = row.earlier;
      line["earlier_class"] =
          std::string(row.earlier.empty() ? "empty" : "earlier");
      any_earlier = any_earlier || !row.earlier.empty();
      line["change"] = row.change;
      line["change_class"] = std::string(row.changed          ? "changed"
                                         : row.change.empty() ? "empty"
                                                              : "soft");
      rows.push_back(line);
    }
    table.set("rows", rows);
    table["any_earlier"] = any_earlier;
    for (const std::string& line : foot.stands_out) {
      stands_out.push_back(foot.name + ": " + line);
    }
    if (!foot.rows.empty()) tables.push_back(table);

    if (foot.pictures.empty()) continue;
    any_picture = true;
    data gallery;
    gallery["name"] = foot.name;
    data pictures{data::type::list};
    for (const OwnerPicture& picture : foot.pictures) {
      data shown;
      shown["words"] = picture.words;
      shown["data"] = Base64(picture.jpeg);
      pictures.push_back(shown);
    }
    gallery.set("pictures", pictures);
    galleries.push_back(gallery);
  }
  out.set("feet", feet);
  out["outline_words"] = Lines(page.outline_words);
  out.set("tables", tables);
  out.set("galleries", galleries);
  out["has_pictures"] = any_picture;
  out["has_stands_out"] = !stands_out.empty();
  out["stands_out"] = Lines(stands_out);
  out["done"] = Lines(page.done);
  if (!page.vet.empty()) out["vet"] = page.vet;
  out["next_visit"] = page.next_visit;
  out["has_plots"] = !page.plots.empty();
  out["case_words"] = Lines(page.case_words);
  out["case_visits"] = words.Say("case.visits");
  data plots{data::type::list};
  for (const OwnerPlot& plot : page.plots) {
    data shown;
    shown["name"] = plot.name;
    shown["words"] = plot.words;
    shown["data"] = Base64(draw::TimeChartSvg(plot.chart));
    shown["facts"] = Lines(plot.facts);
    shown["has_facts"] = !plot.facts.empty();
    plots.push_back(shown);
  }
  out.set("plots", plots);
  data visits{data::type::list};
  for (const OwnerVisit& visit : page.visits) {
    data shown;
    shown["number"] = visit.number;
    shown["date"] = visit.date;
    shown["done"] = visit.done;
    visits.push_back(shown);
  }
  out.set("visits", visits);
  out["call_the_vet"] = Lines(page.call_the_vet);
  out["cautions"] = Lines(page.cautions);
  data terms{data::type::list};
  for (const OwnerTerm& term : page.terms) {
    data shown;
    shown["term"] = term.term;
    shown["meaning"] = term.meaning;
    shown["term_class"] =
        std::string(SaidAtAGlance(page, term) ? "printed" : "unprinted");
    terms.push_back(shown);
  }
  out.set("terms", terms);
  out["has_sources"] = !page.sources.empty();
  out["sources"] = Lines(page.sources);
  out["made_with"] = page.made_with;

  mustache form{std::string(kOwnerPageHtml)};
  if (!form.is_valid()) throw std::logic_error(form.error_message());
  return form.render(out);
}

}  // namespace plumbfoot::report
