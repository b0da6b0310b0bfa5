// SPDX-License-Identifier: Apache-2.0
/// @file
/// What a farrier does next with a measured foot: the trim, the shoe, the bar,
/// the nails, and the template, in words and in files.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "plumbfoot/draw/shoe_template.h"
#include "plumbfoot/fit/bar.h"
#include "plumbfoot/fit/nails.h"
#include "plumbfoot/fit/shoe.h"
#include "plumbfoot/fit/shoe_gap.h"
#include "plumbfoot/fit/shoe_level.h"
#include "plumbfoot/fit/sizes.h"
#include "plumbfoot/fit/sole.h"
#include "plumbfoot/fit/trim.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/photo/write_file.h"
#include "plumbfoot/report/measure_foot.h"
#include "plumbfoot/report/saved_report.h"

namespace plumbfoot::report {

/// An old or finished shoe that was photographed beside the card.
struct LooseShoe {
  std::string file;  ///< Name without its folder.
  /// Its outline, closed [mm]; of the same hand as a solar foot frame.
  geometry::FootPolyline edge;
  PlacedBy placed_by = PlacedBy::kFinder;
};

struct LooseShoeRequest {
  std::filesystem::path photo;
  ScaleRequest scale;
  /// Its outer edge in the photo, placed by hand; nothing: to be found.
  std::optional<geometry::PhotoPolyline> outline;
  /// How far its upper face stands above the card's print [mm]: the shoe's
  /// thickness less that of the card's board, both lying on one ground.
  double above_card_mm = 7.0;
  bool foot_side_up = false;
};

/// @return the shoe; or the refusal of a photo that can't be read, kNoScale
///   without a card, kNoFoot if no shoe is found.
Result<LooseShoe> ReadLooseShoe(const LooseShoeRequest& request);

/// The shoe that a shod foot wears, from its report: the outline of the sole is
/// the shoe's.
/// @return kUsage if the foot is bare, kPointMissing without an outline.
Result<LooseShoe> WornShoe(const SavedReport& shod);

/// What the side photo of the shod foot tells of the shoe that it wears.
struct WornSide {
  photo::Photo photo;
  PlacedBy placed_by = PlacedBy::kFinder;
  fit::Side side = fit::Side::kLeft;  ///< The branch that faces the camera.
  fit::BranchEdges edges;             ///< Empty where nothing was found.
  /// Where the ground edge of a level shoe was expected.
  geometry::PhotoPolyline looked;
  std::optional<fit::ShoeLevel> level;
  std::optional<Refusal> not_told;  ///< Why there is no `level`.
};

struct WornSideRequest {
  std::filesystem::path photo;  ///< The side photo that `shod` measured.
  ScaleRequest scale;
  const SavedReport& shod;
  const SavedReport& bare;  ///< For the branch's depth, where `shod` has no
                            ///< sole.
  /// What a person placed: shoe_ground, shoe_foot, horn_edge, toe_ground,
  /// heel_ground (on the near branch); nothing: to be found.
  std::optional<ViewPoints> given;
};

/// Is the worn shoe level, or sprung? What the photo can't tell is no refusal:
/// it stands in `not_told`.
/// @return kUsage where the foot is bare or the photo is another one than the
///   report's, kPointMissing without toe and heel on the ground or without the
///   outline of a sole, kNoScale without a card; or the refusal of a photo that
///   can't be read.
Result<WornSide> ReadWornSide(const WornSideRequest& request);

struct FitOptions {
  fit::ShoeOptions shoe;
  /// How long the heels are left where shoe.heel_length_mm is nothing; nothing:
  /// by the toe angle, where it was measured.
  std::optional<fit::HeelRule> heels;
  fit::NailOptions nails;
  fit::BarOptions bar;
  fit::TrimOptions trim;
  std::vector<fit::Size> sizes;         ///< Empty: no table was given.
  std::optional<LooseShoe> loose_shoe;  ///< To be laid on the first foot.
  std::optional<WornSide> worn_side;    ///< Of the first foot.
};

/// Something to mind before hot steel or a knife touches the foot.
struct FitCaution {
  std::string code;   ///< Stable.
  std::string words;  ///< For people.
};

struct FootFit {
  SavedReport report;
  FitOptions options;
  fit::TrimPlan trim;
  fit::Sole sole;  ///< After the trim, which the shoe is made for.
  fit::NailPlan nails;
  fit::Shoe shoe;
  fit::Bar bar;
  fit::HeelRule heels = fit::HeelRule::kRegular;
  std::optional<fit::NearestSize> size;
  std::optional<fit::ShoeGap> gap;  ///< Of the loose shoe.
  std::vector<FitCaution> cautions;
  /// Rests on a point that the program isn't sure of, or on a photo that should
  /// be retaken (exit status 3).
  bool needs_person = false;
};

/// Two feet of a pair.
struct PairFit {
  FootFit first;
  std::optional<FootFit> other;
};

/// @return the fit of one foot; or kImplausible (shod: the bare foot's edge is
///   under the shoe; or as MakeSole, PlanTrim, FitShoe), kPointMissing.
Result<FootFit> FitFoot(SavedReport report, const FitOptions& options);

/// Both feet with the same options.
/// @param match  Each is trimmed to the mean of both toe angles, so that each
///   gives half.
/// @return as FitFoot; kUsage if the two are no pair of one horse.
Result<PairFit> FitPair(SavedReport report,
                        std::optional<SavedReport> other,
                        bool match,
                        FitOptions options);

/// "format": "plumbfoot-fit", "version": 1; see
/// src/report/schema/fit.schema.json.
nlohmann::json ToJson(const PairFit& fit);
std::string_view FitSchema();
/// @throws std::logic_error if it doesn't keep to the schema: our fault.
std::string FitText(const PairFit& fit);

/// For a terminal: UTF-8, no line wider than 80 columns.
std::string FitTable(const PairFit& fit, bool colour);

draw::ShoeTemplate TemplateOf(const FootFit& fit);

/// fit.json; template.pdf (A4), template-letter.pdf, template.svg and
/// template.dxf; the same mirrored for the other foot, or of the other foot
/// where that was measured too; shoe-on-foot.png and .svg of a loose shoe, and
/// shoe-side.jpg of a worn one.
std::vector<photo::NamedBytes> FitFiles(const PairFit& fit);

}  // namespace plumbfoot::report
