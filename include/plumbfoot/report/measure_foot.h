// SPDX-License-Identifier: Apache-2.0
/// @file
/// The main job in one call: photos in, points and measures out, judged and
/// ready to be reported and drawn.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "plumbfoot/card/find_card.h"
#include "plumbfoot/card/lens.h"
#include "plumbfoot/find/finder.h"
#include "plumbfoot/find/points_file.h"
#include "plumbfoot/geometry/result.h"
#include "plumbfoot/photo/exposure.h"
#include "plumbfoot/photo/photo.h"
#include "plumbfoot/report/foot_report.h"

namespace plumbfoot::report {

/// How the millimetres are to come into a photo.
struct ScaleRequest {
  card::Layout layout = card::StandardLayout();
  std::optional<double> measured_mm;      ///< See card::CardOptions.
  std::optional<card::LensProfile> lens;  ///< Used where it fits the photo.
  /// Don't look for a card: an old photo.
  bool no_card = false;
};

/// A length that a person knows in one of the photos.
struct KnownLength {
  View view = View::kSolar;
  double mm = 0.0;
  geometry::PhotoPoint from;
  geometry::PhotoPoint to;
};

struct FootRequest {
  Foot foot = Foot::kLeftFore;
  bool shod = false;
  std::optional<std::string> horse;
  std::optional<std::string> date;
  Stage stage = Stage::kOther;
  std::optional<std::filesystem::path> solar;
  std::optional<std::filesystem::path> lateral;
  find::PointsFile points;
  ScaleRequest scale;
  std::optional<KnownLength> known;
};

/// A photo that has been looked at, before anybody looks for points: what
/// `check` tells and `measure` goes on from.
struct ReadPhoto {
  photo::Photo photo;
  geometry::PlaneEstimate plane;
  std::optional<card::SeenCard> card;
  /// Why there is no card, where one was looked for in vain.
  std::optional<Refusal> card_refusal;
  photo::Exposure exposure;
};

/// Loads a photo and finds its scale.
///
/// A photo without a card, or with too little of it, is still read: ratios and
/// angles need none. One that would mislead is refused: two cards, a mirrored
/// photo, a bent card.
Result<ReadPhoto> OpenPhoto(const std::filesystem::path& path,
                            const ScaleRequest& scale,
                            const std::optional<KnownLength>& known = {});

/// What there is to say about a photo: `finding` where somebody has looked for
/// the foot, `view` where it is known which view it is.
judge::PhotoQuality QualityOf(const ReadPhoto& read,
                              const ScaleRequest& scale,
                              std::optional<View> view,
                              const std::optional<find::Finding>& finding);

/// One measured foot: the report, and the photos for whoever draws on them.
struct MeasuredFoot {
  FootReport report;
  std::optional<ReadPhoto> solar;
  std::optional<ReadPhoto> lateral;
};

/// The points that the report rests on, as a points file.
find::PointsFile PointsOf(const FootReport& report);

/// A photo's foot, as it is seen at one look: for "is there one, all of it?".
struct FootSeen {
  View view = View::kSolar;
  find::Finding finding;  ///< Empty where no foot is made out.
};

/// Looks for the foot: in the given view, else in both, and keeps the one that
/// is seen more clearly.
FootSeen LookForFoot(const ReadPhoto& read,
                     const ScaleRequest& scale,
                     std::optional<View> view,
                     const find::Finder& finder);

/// The photos of a foot, opened once and measured again and again as somebody
/// moves its points. What the finder saw is kept, and so is the view that a
/// change doesn't touch: only what the points change is worked out anew. Points
/// are told apart as in a points file, to a hundredth of a pixel.
///
/// Not to be used from two threads at once.
class OpenedFoot {
 public:
  /// @param request  Its points are not looked at.
  /// @param finder   Asked once about each picture; see find::NetworkFinder.
  /// @return As MeasureFoot, of a photo that can't be read.
  static Result<OpenedFoot> Open(FootRequest request, find::Finder finder);

  OpenedFoot(OpenedFoot&&) noexcept;
  OpenedFoot& operator=(OpenedFoot&&) noexcept;
  ~OpenedFoot();

  const FootRequest& request() const;

  /// @return The report, number for number MeasureFoot's of the same request
  ///   with these points; or a point outside its photo, or kNoFoot, or what
  ///   LoadPhoto refuses where the pixels had been dropped.
  Result<FootReport> Measure(const find::PointsFile& points);

  /// For the eye while a point is on its way: the points as last measured, with
  /// those of `points` in their place, and nothing looked for anew. Values are
  /// what they are then; the uncertainties, from fewer trials, are rougher
  /// (some 5 % of them). Needs no pixels.
  /// @return The report without its verdict; or a point outside its photo.
  /// @throws std::logic_error where nothing was measured yet.
  Result<FootReport> Follow(const find::PointsFile& points) const;

  /// The photos are read again when they are next needed: a pair takes some
  /// 70 MB.
  void DropPixels();

 private:
  struct Kept;
  explicit OpenedFoot(std::unique_ptr<Kept> kept);
  std::unique_ptr<Kept> kept_;
};

/// Does the main job. Deterministic: the same request gives the same report.
///
/// @param on_sole  Called in this thread as soon as the sole is measured, while
///   another thread still works on the side view: what can be drawn of the sole
///   can be drawn by then. `report.solar` and `solar` are there, the verdict is
///   not.
/// @return The foot; or the refusal of the first photo that can't be read, of a
///   point outside its photo, or kNoFoot if no photo shows a foot.
Result<MeasuredFoot> MeasureFoot(
    const FootRequest& request,
    const std::function<void(const MeasuredFoot&)>& on_sole = {});

}  // namespace plumbfoot::report
