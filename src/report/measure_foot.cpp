// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/measure_foot.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <future>
#include <stdexcept>
#include <utility>
#include <variant>
#include <vector>

namespace plumbfoot::report {
namespace {

using measure::MeasureId;

/// Half of the foot's width at the heels: by it the heel that one sees from the
/// side stands nearer than the middle plane.
struct HalfHeelWidth {
  double mm = 32.0;
  // CHOSEN: a horse's heels are some 50 to 80 mm apart, donkey to draught.
  double sigma_mm = 7.0;
};

/// From the sole's photo where it was measured, else a usual foot's.
HalfHeelWidth HalfHeelWidthOf(const std::optional<ViewReport>& solar) {
  if (!solar) return {};
  const auto it = solar->measures.outcomes.find(MeasureId::kHeelWidth);
  if (it == solar->measures.outcomes.end()) return {};
  const auto* width = std::get_if<measure::Measured>(&it->second);
  if (width == nullptr) return {};
  // The heel that one sees is the outside of the wall, a little outside of the
  // buttress. CHOSEN: 3 mm, as uncertain as it is large.
  return {width->value / 2 + 3.0,
          std::hypot(width->standard_uncertainty / 2, 3.0)};
}

card::CameraPrior PriorFor(const photo::Photo& photo,
                           const ScaleRequest& scale) {
  card::CameraPrior prior;
  prior.focal_px = photo::FocalPx(photo);
  if (scale.lens) {
    if (const auto camera = card::CameraFor(*scale.lens, photo.rgb.size())) {
      prior.focal_px = camera->focal_px;
      prior.focal_relative_sigma =
          scale.lens->focal_sigma_px / scale.lens->camera.focal_px;
      prior.lens = camera->lens;
      prior.principal = camera->principal;
    }
  }
  return prior;
}

ViewReport Describe(const ReadPhoto& read, const ScaleRequest& scale) {
  ViewReport view;
  view.file = read.photo.file_name;
  view.sha256 = read.photo.sha256;
  view.width_px = read.photo.rgb.cols;
  view.height_px = read.photo.rgb.rows;
  view.taken = read.photo.exif.taken;
  view.scale = read.plane.scale;
  if (read.card) {
    view.card = CardFacts{static_cast<int>(read.card->tags.size()),
                          static_cast<int>(scale.layout.tags.size()),
                          read.card->residual_px,
                          read.card->distance_mm,
                          read.card->tilt.value(),
                          read.card->px_per_mm,
                          read.card->blur_px,
                          read.card->focal_assumed,
                          scale.measured_mm};
  }
  return view;
}

/// Finds and measures one view. The refusal is kNoFoot where no foot is seen;
/// the view's quality then says so too.
struct ViewWork {
  ViewReport report;
  std::optional<Refusal> no_foot;
};

Result<ViewWork> WorkOn(View view,
                        const ReadPhoto& read,
                        const FootRequest& request,
                        const HalfHeelWidth& half_heel_width,
                        const find::Finder& finder) {
  ViewWork work;
  work.report = Describe(read, request.scale);
  const auto& given =
      view == View::kSolar ? request.points.solar : request.points.lateral;
  find::FindRequest find_request{
      .view = view,
      .photo = read.photo,
      .plane = read.plane,
      .card = read.card ? &*read.card : nullptr,
      .layout = read.card ? &request.scale.layout : nullptr,
      .given = {},
      .half_heel_width_mm = half_heel_width.mm,
      .half_heel_width_sigma_mm = half_heel_width.sigma_mm};
  if (given) {
    if (auto inside = find::CheckInside(*given, read.photo.rgb.size());
        !inside) {
      return inside.error();
    }
    find_request.given = *given;
  }
  find_request.given.view = view;

  std::optional<find::Finding> finding;
  if (auto found = find::FindPoints(find_request, finder)) {
    finding = std::move(*found);
  } else if (found.error().code == RefusalCode::kNoFoot) {
    work.no_foot = found.error();
    finding = find::Finding{};
    finding->points.view = view;
  } else {
    return found.error();
  }
  work.report.quality = QualityOf(read, request.scale, view, finding);

  measure::MeasureOptions options;
  options.shod = request.shod;
  options.half_heel_width_mm = half_heel_width.mm;
  options.half_heel_width_sigma_mm = half_heel_width.sigma_mm;
  work.report.measures =
      measure::MeasureView(finding->points, read.plane, options);
  work.report.points = std::move(finding->points);
  return work;
}

}  // namespace

Result<ReadPhoto> OpenPhoto(const std::filesystem::path& path,
                            const ScaleRequest& scale,
                            const std::optional<KnownLength>& known) {
  auto photo = photo::LoadPhoto(path);
  if (!photo) return photo.error();
  ReadPhoto read;
  read.photo = std::move(*photo);
  read.exposure = photo::MeasureExposure(read.photo.rgb);
  const card::CameraPrior prior = PriorFor(read.photo, scale);
  const cv::Size size = read.photo.rgb.size();

  if (known) {
    ViewPoints ends;
    ends.at(PointId::kToe).emplace().px = known->from;
    ends.at(PointId::kHeelLeft).emplace().px = known->to;
    if (auto inside = find::CheckInside(ends, size); !inside) {
      return Refusal{RefusalCode::kPointOutsidePhoto,
                     fmt::format("The known length does not lie inside {} "
                                 "({} x {} pixels).",
                                 read.photo.file_name,
                                 size.width,
                                 size.height),
                     "Give both ends in pixels from the photo's top left "
                     "corner."};
    }
    auto plane = card::PlaneFromKnownLength(
        size, known->from, known->to, known->mm, prior);
    if (!plane) return plane.error();
    read.plane = *plane;
    return read;
  }
  if (!scale.no_card) {
    auto found = card::FindCard(read.photo.rgb,
                                {.layout = scale.layout,
                                 .measured_mm = scale.measured_mm,
                                 .camera = prior});
    if (found) {
      read.card = std::move(*found);
      read.plane = read.card->plane;
      return read;
    }
    const Refusal& refusal = found.error();
    if (refusal.code != RefusalCode::kNoCard &&
        refusal.code != RefusalCode::kCardTooFewTags) {
      return Refusal{refusal.code,
                     read.photo.file_name + ": " + refusal.message,
                     refusal.remedy};
    }
    read.card_refusal = refusal;
  }
  read.plane = card::PlaneWithoutScale(size, prior);
  return read;
}

judge::PhotoQuality QualityOf(const ReadPhoto& read,
                              const ScaleRequest& scale,
                              std::optional<View> view,
                              const std::optional<find::Finding>& finding) {
  judge::PhotoFacts facts;
  facts.view = view;
  facts.width_px = read.photo.rgb.cols;
  facts.height_px = read.photo.rgb.rows;
  facts.scale = read.plane.scale;
  facts.card_wanted =
      !scale.no_card && read.plane.scale != geometry::ScaleSource::kKnownLength;
  facts.card_refusal = read.card_refusal;
  facts.print_checked = scale.measured_mm.has_value();
  if (read.card) {
    facts.tags_seen = static_cast<int>(read.card->tags.size());
    facts.tags_expected = static_cast<int>(scale.layout.tags.size());
    facts.focal_assumed = read.card->focal_assumed;
    facts.residual_px = read.card->residual_px;
    facts.px_per_mm = read.card->px_per_mm;
    facts.blur_px = read.card->blur_px;
    facts.tilt_deg = read.card->tilt.value();
    facts.distance_mm = read.card->distance_mm;
    if (view == View::kLateral && finding) {
      // Over the ground where the toe meets it, as far as the photo's own up is
      // up; without that point nothing is said.
      if (const auto& toe = finding->points.at(PointId::kToeGround)) {
        const auto map = geometry::NominalMap(read.plane);
        const auto ground = map.Apply(toe->px);
        const auto above = map.Apply({toe->px.x, toe->px.y - 10.0});
        if (ground && above) {
          const Eigen::Vector3d lens = map.CameraInPlane();
          const geometry::CardVector up = *above - *ground;
          facts.camera_height_mm =
              geometry::Dot(geometry::CardVector{lens.x() - ground->x,
                                                 lens.y() - ground->y},
                            up) /
              geometry::Norm(up);
        }
      }
    }
  }
  facts.mean_luma = read.exposure.mean;
  facts.burnt = read.exposure.burnt;
  facts.drowned = read.exposure.drowned;
  if (finding) {
    // A person who placed the points has seen the foot; the finder need not.
    const bool by_person =
        std::any_of(finding->points.points.begin(),
                    finding->points.points.end(),
                    [](const auto& point) {
                      return point && point->placed_by == PlacedBy::kPerson;
                    });
    if (!by_person) facts.foot_confidence = finding->foot_confidence;
    facts.cut_off = finding->cut_off;
  }
  return judge::JudgePhoto(facts);
}

find::PointsFile PointsOf(const FootReport& report) {
  find::PointsFile file;
  if (report.solar) file.solar = report.solar->points;
  if (report.lateral) file.lateral = report.lateral->points;
  return file;
}

namespace {

/// The photos of a request, not yet measured.
Result<MeasuredFoot> OpenPhotos(const FootRequest& request) {
  if (!request.solar && !request.lateral) {
    return Refusal{RefusalCode::kUsage,
                   "No photo was given.",
                   "Give --solar, --lateral or both."};
  }
  const auto known_in = [&](View view) {
    return request.known && request.known->view == view
               ? request.known
               : std::optional<KnownLength>{};
  };
  // Decoding and the search for the card take most of the time and don't depend
  // on each other.
  std::future<Result<ReadPhoto>> opening;
  if (request.solar && request.lateral) {
    opening = std::async(std::launch::async, [&] {
      return OpenPhoto(
          *request.lateral, request.scale, known_in(View::kLateral));
    });
  }
  MeasuredFoot foot;
  if (request.solar) {
    auto read =
        OpenPhoto(*request.solar, request.scale, known_in(View::kSolar));
    if (!read) return read.error();
    foot.solar = std::move(*read);
  }
  if (request.lateral) {
    auto read = opening.valid() ? opening.get()
                                : OpenPhoto(*request.lateral,
                                            request.scale,
                                            known_in(View::kLateral));
    if (!read) return read.error();
    foot.lateral = std::move(*read);
  }
  return foot;
}

/// What the request says of the foot.
FootReport BeginReport(const FootRequest& request) {
  FootReport report;
  report.foot = request.foot;
  report.shod = request.shod;
  report.horse = request.horse;
  report.date = request.date;
  report.stage = request.stage;
  report.software_version = PLUMBFOOT_VERSION;
  return report;
}

judge::Verdict VerdictOn(const FootReport& report) {
  const auto to_judge = [](const std::optional<ViewReport>& view) {
    return view ? std::optional<judge::ViewToJudge>(ToJudge(*view))
                : std::nullopt;
  };
  return judge::JudgeFoot(report.foot,
                          report.shod,
                          to_judge(report.solar),
                          to_judge(report.lateral));
}

/// A finder that is asked about each picture once. Pictures of one photo are
/// told apart by the place that they show.
class FinderWithMemory {
 public:
  find::Sightings See(const find::Finder& finder,
                      View view,
                      const find::PlaneImage& image,
                      find::Looks looks) {
    const Place place = {image.centre.x,
                         image.centre.y,
                         image.right.x,
                         image.right.y,
                         image.px_per_mm,
                         static_cast<double>(image.rgb.cols),
                         static_cast<double>(looks)};
    for (const auto& [seen_at, seen] : seen_) {
      if (seen_at == place) return seen;
    }
    return seen_.emplace_back(place, finder(view, image, looks)).second;
  }

 private:
  using Place = std::array<double, 7>;
  std::vector<std::pair<Place, find::Sightings>> seen_;
};

// CHOSEN: standard uncertainties are then good to 5 % (1 / sqrt(2 n)), and a
// view is worked out in a few milliseconds.
constexpr int kFollowTrials = 200;

find::PointsFile PointsOfView(const ViewPoints& points) {
  find::PointsFile file;
  (points.view == View::kSolar ? file.solar : file.lateral) = points;
  return file;
}

/// The points as last measured, with a person's in their place.
ViewPoints Followed(const ViewReport& last,
                    const ViewPoints& given,
                    const geometry::PlaneEstimate& plane) {
  const auto map = geometry::NominalMap(plane);
  const bool scaled = plane.scale != geometry::ScaleSource::kNone;
  const auto sigma = [&](geometry::PhotoPoint p) {
    const auto at = map.Apply(p);
    return find::PersonSigmaPx({last.width_px, last.height_px},
                               scaled && at
                                   ? std::optional(map.PixelsPerMillimetre(*at))
                                   : std::nullopt);
  };
  ViewPoints points = last.points;
  if (points.view == View::kLateral &&
      given.heel_plane == geometry::HeelPlane::kNear) {
    points.heel_plane = geometry::HeelPlane::kNear;
    for (const PointId id : {PointId::kHeelGround, PointId::kHeelHairline}) {
      auto& p = points.at(id);
      if (p && p->seen_px) p->px = *std::exchange(p->seen_px, std::nullopt);
    }
  }
  for (const PointId id : geometry::PointsOf(points.view)) {
    points.hidden[static_cast<std::size_t>(id)] = given.is_hidden(id);
    if (given.is_hidden(id)) points.at(id).reset();
    if (!given.at(id)) continue;
    auto& p = points.at(id) = given.at(id);
    p->covariance = geometry::PhotoCovariance::Round(sigma(p->px));
  }
  const auto take = [&](const std::optional<geometry::PlacedCurve>& from,
                        std::optional<geometry::PlacedCurve>& to) {
    if (!from || from->px.empty()) return;
    to = from;
    to->sigma_px = sigma(to->px.front());
  };
  take(given.outline, points.outline);
  take(given.dorsal_wall, points.dorsal_wall);
  return points;
}

}  // namespace

Result<MeasuredFoot> MeasureFoot(
    const FootRequest& request,
    const std::function<void(const MeasuredFoot&)>& on_sole) {
  auto opened = OpenPhotos(request);
  if (!opened) return opened.error();
  MeasuredFoot foot = std::move(*opened);
  foot.report = BeginReport(request);
  FootReport& report = foot.report;

  const find::Finder finder = find::NetworkFinder();
  std::optional<Refusal> no_foot;
  bool seen = false;
  if (foot.solar) {
    auto work = WorkOn(View::kSolar, *foot.solar, request, {}, finder);
    if (!work) return work.error();
    report.solar = std::move(work->report);
    no_foot = work->no_foot;
    seen = !work->no_foot;
  }
  std::future<Result<ViewWork>> side;
  if (foot.lateral) {
    const HalfHeelWidth half_heel_width = HalfHeelWidthOf(report.solar);
    side = std::async(
        std::launch::async, [&foot, &request, &finder, half_heel_width] {
          return WorkOn(
              View::kLateral, *foot.lateral, request, half_heel_width, finder);
        });
  }
  if (foot.solar && seen && on_sole) on_sole(foot);
  if (side.valid()) {
    auto work = side.get();
    if (!work) return work.error();
    report.lateral = std::move(work->report);
    if (work->no_foot) no_foot = work->no_foot;
    seen = seen || !work->no_foot;
  }
  if (!seen && no_foot) return *no_foot;

  report.verdict = VerdictOn(report);
  return foot;
}

FootSeen LookForFoot(const ReadPhoto& read,
                     const ScaleRequest& scale,
                     std::optional<View> view,
                     const find::Finder& finder) {
  // CHOSEN: one view this likely is not looked at as the other one too.
  constexpr double kNoOtherView = 0.8;
  std::optional<FootSeen> best;
  for (const View candidate : {View::kSolar, View::kLateral}) {
    if (view && *view != candidate) continue;
    find::FindRequest request{.view = candidate,
                              .photo = read.photo,
                              .plane = read.plane,
                              .card = read.card ? &*read.card : nullptr,
                              .layout = read.card ? &scale.layout : nullptr,
                              .given = {},
                              .looks = find::Looks::kOnce};
    request.given.view = candidate;
    auto found = find::FindPoints(request, finder);
    FootSeen look{candidate, find::Finding{}};
    look.finding.points.view = candidate;
    if (found) look.finding = std::move(*found);
    if (!best || look.finding.foot_confidence > best->finding.foot_confidence) {
      best = std::move(look);
    }
    if (best->finding.foot_confidence >= kNoOtherView) break;
  }
  return *best;
}

struct OpenedFoot::Kept {
  /// What came of a view, and of what.
  struct Worked {
    std::string points;
    HalfHeelWidth half_heel_width;
    ViewWork work;
  };
  FootRequest request;
  MeasuredFoot photos;
  find::Finder finder;
  FinderWithMemory solar_finder;
  FinderWithMemory lateral_finder;
  std::optional<FootReport> measured;
  std::optional<Worked> solar;
  std::optional<Worked> lateral;

  ReadPhoto* photo(View view) {
    auto& read = view == View::kSolar ? photos.solar : photos.lateral;
    return read ? &*read : nullptr;
  }

  Result<Done> ReadPixels(View view) {
    ReadPhoto& read = *photo(view);
    if (!read.photo.rgb.empty()) return Done{};
    auto again = photo::LoadPhoto(view == View::kSolar ? *request.solar
                                                       : *request.lateral);
    if (!again) return again.error();
    if (again->sha256 != read.photo.sha256) {
      return Refusal{RefusalCode::kDamaged,
                     read.photo.file_name + " is not what it was.",
                     "Take or choose the photo again."};
    }
    read.photo = std::move(*again);
    return Done{};
  }

  Result<ViewWork> Work(View view, const HalfHeelWidth& half_heel_width) {
    const bool sole = view == View::kSolar;
    const auto& given = sole ? request.points.solar : request.points.lateral;
    std::string points = given ? find::WritePoints(PointsOfView(*given)) : "";
    std::optional<Worked>& last = sole ? solar : lateral;
    if (last && last->points == points &&
        last->half_heel_width.mm == half_heel_width.mm &&
        last->half_heel_width.sigma_mm == half_heel_width.sigma_mm) {
      return last->work;
    }
    if (auto pixels = ReadPixels(view); !pixels) return pixels.error();
    auto work =
        WorkOn(view,
               sole ? *photos.solar : *photos.lateral,
               request,
               half_heel_width,
               [&](View of, const find::PlaneImage& image, find::Looks looks) {
                 return (sole ? solar_finder : lateral_finder)
                     .See(finder, of, image, looks);
               });
    if (!work) return work;
    last = Worked{std::move(points), half_heel_width, *work};
    return work;
  }
};

OpenedFoot::OpenedFoot(std::unique_ptr<Kept> kept) : kept_(std::move(kept)) {}
OpenedFoot::OpenedFoot(OpenedFoot&&) noexcept = default;
OpenedFoot& OpenedFoot::operator=(OpenedFoot&&) noexcept = default;
OpenedFoot::~OpenedFoot() = default;

Result<OpenedFoot> OpenedFoot::Open(FootRequest request, find::Finder finder) {
  auto photos = OpenPhotos(request);
  if (!photos) return photos.error();
  auto kept = std::make_unique<Kept>();
  kept->request = std::move(request);
  kept->photos = std::move(*photos);
  kept->finder = std::move(finder);
  return OpenedFoot(std::move(kept));
}

const FootRequest& OpenedFoot::request() const {
  return kept_->request;
}

Result<FootReport> OpenedFoot::Measure(const find::PointsFile& points) {
  kept_->request.points = points;
  FootReport report = BeginReport(kept_->request);
  std::optional<Refusal> no_foot;
  bool seen = false;
  for (const View view : {View::kSolar, View::kLateral}) {
    if (kept_->photo(view) == nullptr) continue;
    auto work = kept_->Work(
        view,
        view == View::kSolar ? HalfHeelWidth{} : HalfHeelWidthOf(report.solar));
    if (!work) return work.error();
    (view == View::kSolar ? report.solar : report.lateral) =
        std::move(work->report);
    if (work->no_foot) no_foot = work->no_foot;
    seen = seen || !work->no_foot;
  }
  if (!seen && no_foot) return *no_foot;
  report.verdict = VerdictOn(report);
  kept_->measured = report;
  return report;
}

Result<FootReport> OpenedFoot::Follow(const find::PointsFile& points) const {
  if (!kept_->measured) throw std::logic_error("OpenedFoot: nothing to follow");
  FootReport report = *kept_->measured;
  report.verdict = {};
  for (const View view : {View::kSolar, View::kLateral}) {
    auto& seen = view == View::kSolar ? report.solar : report.lateral;
    const auto& given = view == View::kSolar ? points.solar : points.lateral;
    const auto& before = view == View::kSolar ? kept_->request.points.solar
                                              : kept_->request.points.lateral;
    if (!seen || !given) continue;
    if (before && find::WritePoints(PointsOfView(*before)) ==
                      find::WritePoints(PointsOfView(*given))) {
      continue;
    }
    const geometry::PlaneEstimate& plane = kept_->photo(view)->plane;
    if (auto inside =
            find::CheckInside(*given, {seen->width_px, seen->height_px});
        !inside) {
      return inside.error();
    }
    seen->points = Followed(*seen, *given, plane);
    measure::MeasureOptions options;
    options.shod = report.shod;
    options.trials = kFollowTrials;
    const HalfHeelWidth half =
        view == View::kSolar ? HalfHeelWidth{} : HalfHeelWidthOf(report.solar);
    options.half_heel_width_mm = half.mm;
    options.half_heel_width_sigma_mm = half.sigma_mm;
    seen->measures = measure::MeasureView(seen->points, plane, options);
  }
  return report;
}

void OpenedFoot::DropPixels() {
  for (const View view : {View::kSolar, View::kLateral}) {
    if (ReadPhoto* read = kept_->photo(view)) read->photo.rgb.release();
  }
}

}  // namespace plumbfoot::report
