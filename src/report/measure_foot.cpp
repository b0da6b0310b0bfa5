// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/report/measure_foot.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <future>
#include <utility>
#include <variant>

#include "plumbfoot/photo/exposure.h"

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
  const photo::Exposure exposure = photo::MeasureExposure(read.photo.rgb);
  facts.mean_luma = exposure.mean;
  facts.burnt = exposure.burnt;
  facts.drowned = exposure.drowned;
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

Result<MeasuredFoot> MeasureFoot(
    const FootRequest& request,
    const std::function<void(const MeasuredFoot&)>& on_sole) {
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

  FootReport& report = foot.report;
  report.foot = request.foot;
  report.shod = request.shod;
  report.horse = request.horse;
  report.date = request.date;
  report.stage = request.stage;
  report.software_version = PLUMBFOOT_VERSION;

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

  const auto to_judge = [](const std::optional<ViewReport>& view) {
    return view ? std::optional<judge::ViewToJudge>(ToJudge(*view))
                : std::nullopt;
  };
  report.verdict = judge::JudgeFoot(report.foot,
                                    report.shod,
                                    to_judge(report.solar),
                                    to_judge(report.lateral));
  return foot;
}

}  // namespace plumbfoot::report
