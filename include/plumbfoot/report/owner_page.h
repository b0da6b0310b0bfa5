// SPDX-License-Identifier: Apache-2.0
/// @file
/// The owner's page: one visit of one horse, in plain words, as one HTML file
/// that opens on a phone and as a PDF of A4 for print. Everything on it is
/// already in the page's language (OwnerWords); what writes HTML and PDF only
/// lays it out.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "plumbfoot/draw/time_chart.h"
#include "plumbfoot/geometry/foot.h"
#include "plumbfoot/geometry/points.h"
#include "plumbfoot/report/owner_words.h"

namespace plumbfoot::report {

/// A photo with its measures drawn on.
struct OwnerPicture {
  cv::Mat rgb;        ///< CV_8UC3, red first.
  std::string jpeg;   ///< The same, as the bytes of a file.
  std::string words;  ///< What is to be seen, for those who can't see it.
};

/// One number of one foot.
struct OwnerRow {
  std::string name;     ///< "Toe angle"
  std::string now;      ///< "50.2° ± 0.6°"
  std::string earlier;  ///< The same at the earlier photo; may be empty.
  std::string change;   ///< "1.4° steeper", "no change to be seen", "".
  bool changed = false;
};

/// Is a foot another than it was?
enum class OwnerVerdict { kFirst, kChanged, kNoChange, kNotCompared };

/// One foot of the page.
struct OwnerFoot {
  geometry::Foot foot = geometry::Foot::kLeftFore;
  std::string name;                  ///< "Left fore"
  std::vector<std::string> numbers;  ///< The two or three that matter most.
  OwnerVerdict verdict = OwnerVerdict::kFirst;
  std::string verdict_words;  ///< A short line.
  /// The bearing edge seen from below, toe up, [mm]; may be empty.
  std::vector<geometry::FootPoint> outline;
  /// The same at the earlier photo; may be empty.
  std::vector<geometry::FootPoint> earlier_outline;
  std::vector<OwnerRow> rows;
  std::vector<std::string> stands_out;  ///< Sentences; usually none.
  std::vector<OwnerPicture> pictures;
};

/// A word of the trade and what it means.
struct OwnerTerm {
  std::string term;
  std::string meaning;
};

/// One foot over months.
struct OwnerPlot {
  std::string name;  ///< "Left fore"
  draw::TimeChart chart;
  std::string words;  ///< What is to be seen, for those who can't see it.
  std::vector<std::string> facts;  ///< What it says, in sentences.
};

/// A visit of the case, as the plots number it.
struct OwnerVisit {
  std::string number;  ///< "3"
  std::string date;
  std::string done;  ///< May be empty.
};

struct OwnerPage {
  std::string practice;   ///< May be empty.
  std::string telephone;  ///< May be empty.
  std::string title;      ///< "Juno: feet on 14 March 2026"
  std::string yard;       ///< May be empty.
  std::vector<std::string> summary;
  std::vector<OwnerFoot> feet;             ///< Each foot at most once.
  std::vector<std::string> outline_words;  ///< What the drawn outlines are.
  std::vector<std::string> done;
  std::string vet;         ///< The vet's instructions; may be empty.
  std::string next_visit;  ///< A sentence; may be empty.
  std::vector<std::string> case_words;  ///< How to read the plots.
  std::vector<OwnerPlot> plots;         ///< Empty: no case.
  std::vector<OwnerVisit> visits;       ///< Of the plots.
  std::vector<std::string> call_the_vet;
  std::vector<std::string> cautions;
  std::vector<OwnerTerm> terms;
  std::vector<std::string> sources;
  std::string made_with;
};

/// Is the word used on the printed sheet, which leaves out the tables? It is
/// explained there then.
bool SaidAtAGlance(const OwnerPage& page, const OwnerTerm& term);

/// One file, UTF-8, with its pictures and its style inside, that loads nothing.
/// Printed it takes what the PDF takes.
std::string OwnerHtml(const OwnerPage& page, const OwnerWords& words);

/// A4: the visit on one sheet; the case, if there are plots, on a second.
std::string OwnerPdf(const OwnerPage& page, const OwnerWords& words);

}  // namespace plumbfoot::report
