// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/judge/judge_photo.h"

#include <fmt/core.h>

#include <algorithm>
#include <utility>

namespace plumbfoot::judge {
namespace {

/// From where on a photo is no longer good, and from where it must be retaken.
struct Steps {
  double usable;
  double retake;
};

// CHOSEN: corners fit to a few tenths of a pixel on a flat card; a lens that
// nobody measured adds up to about one. More means that the card is bent.
constexpr Steps kResidualPx{1.0, 3.0};
// CHOSEN: below 2 px/mm a point placed to a pixel is half a millimetre off,
// which is 0.6 degrees of toe angle; below 1 px/mm it is twice that, and the
// 1.5 degrees by which pairs are called uneven can't be seen any more.
constexpr Steps kPxPerMm{2.0, 1.0};
// CHOSEN: an edge blurred by 0.5 mm is placed to a fraction of that; at 1 mm
// hairs, white line and horn run into each other.
constexpr Steps kBlurMm{0.5, 1.0};
// CHOSEN: the accuracy was shown up to 15 degrees; at 30 degrees a place 10 mm
// off the card's plane appears shifted by 5.8 mm.
constexpr Steps kTiltDeg{15.0, 30.0};
// CHOSEN: what lies 10 mm off the card's plane is wrong in size by 10 mm over
// the distance: 2.9 % at 0.35 m, 5 % at 0.2 m.
constexpr Steps kDistanceMm{350.0, 200.0};
// CHOSEN: how far the near heel appears lowered [mm]. It is corrected with the
// foot's half width, which is known to about a fifth: 1.7 and 3.5 mm remain.
constexpr Steps kNearHeelMm{8.0, 16.0};
// CHOSEN: as used by MeasureOptions::half_heel_width_mm.
constexpr double kHalfHeelWidthMm = 32.0;
// CHOSEN, and not yet tried on real yards: mean luma below which horn and
// shadow run into each other, and above which the light edge burns out. Of 17
// real photographs of other things none is beyond these and the next limits;
// with four stops less or more light all are, with six all are to be retaken.
constexpr Steps kDarkLuma{45.0, 20.0};
constexpr Steps kBrightLuma{215.0, 240.0};
// CHOSEN: a wall in the sun or a dark floor may fill a part of any picture.
constexpr Steps kBurnt{0.15, 0.50};
constexpr Steps kDrowned{0.35, 0.70};
// CHOSEN: below one half the finder itself thinks it more likely that this is
// not a foot; below one in ten there is nothing to measure.
constexpr Steps kFootConfidence{0.5, 0.1};
// CHOSEN: a foot that fills a third of 800 px is 250 px wide, 2 px/mm.
constexpr int kSmallPx = 800;

/// Written so that NaN is bad too.
std::optional<Grade> Above(double value, Steps steps) {
  if (!(value <= steps.retake)) return Grade::kRetake;
  if (!(value <= steps.usable)) return Grade::kUsable;
  return std::nullopt;
}

std::optional<Grade> Below(double value, Steps steps) {
  if (!(value >= steps.retake)) return Grade::kRetake;
  if (!(value >= steps.usable)) return Grade::kUsable;
  return std::nullopt;
}

class Reasons {
 public:
  void Add(std::string code,
           std::optional<Grade> grade,
           std::string words,
           std::string remedy) {
    if (!grade) return;
    quality_.reasons.push_back(
        {std::move(code), *grade, std::move(words), std::move(remedy)});
  }

  PhotoQuality Take() && {
    std::stable_sort(
        quality_.reasons.begin(),
        quality_.reasons.end(),
        [](const Reason& a, const Reason& b) { return a.grade > b.grade; });
    if (!quality_.reasons.empty()) {
      quality_.grade = quality_.reasons.front().grade;
    }
    return std::move(quality_);
  }

 private:
  PhotoQuality quality_;
};

std::string_view Seen(const std::optional<View>& view) {
  if (!view) return "the foot";
  return *view == View::kSolar ? "the sole" : "the side of the foot";
}

void JudgeScale(const PhotoFacts& facts, Reasons& reasons) {
  switch (facts.scale) {
    case geometry::ScaleSource::kCard:
      return;
    case geometry::ScaleSource::kKnownLength:
      reasons.Add("known_length",
                  Grade::kUsable,
                  "The scale comes from a length that was given, not from the "
                  "card.",
                  "Put the card into the next photo.");
      return;
    case geometry::ScaleSource::kNone:
      if (!facts.card_wanted) {
        reasons.Add("no_scale",
                    Grade::kUsable,
                    "There is no card in the photo, so it gives angles and "
                    "ratios only.",
                    "Put the card into the next photo.");
      } else if (facts.card_refusal) {
        reasons.Add(std::string(geometry::CodeName(facts.card_refusal->code)),
                    Grade::kRetake,
                    facts.card_refusal->message,
                    facts.card_refusal->remedy);
      } else {
        reasons.Add("no_card",
                    Grade::kRetake,
                    "The card isn't seen in the photo.",
                    "Hold the card flat beside the foot, all of it in the "
                    "picture and nothing over it.");
      }
      return;
  }
}

void JudgeTags(const PhotoFacts& facts, Reasons& reasons) {
  if (facts.tags_seen >= facts.tags_expected) return;
  // CHOSEN: with one of five hidden both arms of the card are still spanned.
  const bool most = facts.tags_seen >= 4;
  reasons.Add(
      "few_tags",
      most ? Grade::kGood : Grade::kUsable,
      fmt::format("Only {} of the card's {} black squares are seen.",
                  facts.tags_seen,
                  facts.tags_expected),
      "Show the whole card: no thumb, hair or mud on it, none of it outside "
      "the picture.");
}

void JudgeCard(const PhotoFacts& facts, Reasons& reasons) {
  JudgeTags(facts, reasons);
  if (facts.residual_px) {
    reasons.Add("card_not_flat",
                Above(*facts.residual_px, kResidualPx),
                "The card doesn't look flat.",
                "Glue the card to a stiff board, and clean it.");
  }
  if (facts.px_per_mm) {
    reasons.Add("too_far",
                Below(*facts.px_per_mm, kPxPerMm),
                "The foot is too small in the picture.",
                "Step nearer or zoom in, so that foot and card fill the "
                "picture.");
  }
  if (facts.blur_px && facts.px_per_mm) {
    reasons.Add("blurred",
                Above(*facts.blur_px / *facts.px_per_mm, kBlurMm),
                "The photo is blurred.",
                "Touch the foot on the screen to focus, hold the phone still, "
                "and take it again in better light.");
  }
  if (facts.tilt_deg) {
    reasons.Add("not_square",
                Above(*facts.tilt_deg, kTiltDeg),
                fmt::format("The phone looks at {} from {:.0f}° off square.",
                            Seen(facts.view),
                            *facts.tilt_deg),
                "Hold the phone squarer to the card, straight before it.");
  }
  if (facts.distance_mm) {
    reasons.Add("too_near",
                Below(*facts.distance_mm, kDistanceMm),
                fmt::format("The phone is only {:.0f} cm from the card.",
                            *facts.distance_mm / 10),
                "Step back to an arm's length and zoom in, if need be.");
  }
  if (facts.view == View::kLateral && facts.camera_height_mm &&
      facts.distance_mm) {
    const double lowered =
        kHalfHeelWidthMm * *facts.camera_height_mm / *facts.distance_mm;
    reasons.Add(
        "too_high",
        Above(lowered, kNearHeelMm),
        fmt::format("The phone looks down from {:.0f} cm above the ground, so "
                    "the near heel looks {:.0f} mm too low.",
                    *facts.camera_height_mm / 10,
                    lowered),
        "Hold the phone lower, almost on the ground, or step back.");
  }
  if (facts.focal_assumed) {
    reasons.Add("focal_assumed",
                Grade::kUsable,
                "The file doesn't say with which lens it was taken.",
                "Use the file as the phone made it, not one that a messenger "
                "has sent on.");
  }
  if (!facts.print_checked) {
    reasons.Add("print_not_checked",
                Grade::kGood,
                "Nobody has checked the card's print with a ruler.",
                "Measure once between the two crosses, and enter it with "
                "`plumbfoot card --measured-mm`.");
  }
}

void JudgeLight(const PhotoFacts& facts, Reasons& reasons) {
  if (facts.mean_luma) {
    reasons.Add("dark",
                Below(*facts.mean_luma, kDarkLuma),
                "The photo is too dark.",
                "Turn the foot to the light or use a lamp.");
    reasons.Add("bright",
                Above(*facts.mean_luma, kBrightLuma),
                "The photo is too bright.",
                "Touch the foot on the screen, so that the phone sets the "
                "light for it, or go into the shade.");
  }
  if (facts.burnt) {
    reasons.Add("burnt",
                Above(*facts.burnt, kBurnt),
                fmt::format("{:.0f} % of the photo is burnt out to white.",
                            *facts.burnt * 100),
                "Go into the shade, or keep the flash off.");
  }
  if (facts.drowned) {
    reasons.Add(
        "drowned",
        Above(*facts.drowned, kDrowned),
        fmt::format("{:.0f} % of the photo is black.", *facts.drowned * 100),
        "Turn the foot to the light or use a lamp.");
  }
}

void JudgeFrame(const PhotoFacts& facts, Reasons& reasons) {
  if (facts.foot_confidence) {
    const auto grade = Below(*facts.foot_confidence, kFootConfidence);
    if (grade == Grade::kRetake) {
      reasons.Add("no_foot",
                  grade,
                  "No foot is seen in the photo.",
                  "Take the foot and the card together, close enough to fill "
                  "the picture.");
    } else {
      reasons.Add("foot_unclear",
                  grade,
                  "The foot can't be made out with certainty.",
                  "Brush it clean and take it before a plain ground, or place "
                  "the points by hand.");
    }
  }
  if (facts.cut_off.value_or(false)) {
    reasons.Add("cut_off",
                Grade::kRetake,
                "Part of the foot is outside the picture.",
                "Step back or turn the phone, so that all of the foot is in "
                "it.");
  }
  if (std::max(facts.width_px, facts.height_px) < kSmallPx) {
    reasons.Add("small",
                Grade::kUsable,
                fmt::format("The photo is only {} × {} pixels.",
                            facts.width_px,
                            facts.height_px),
                "Use the file as the phone made it, not a copy made smaller.");
  }
}

}  // namespace

std::string_view GradeName(Grade grade) {
  switch (grade) {
    case Grade::kGood:
      return "good";
    case Grade::kUsable:
      return "usable";
    case Grade::kRetake:
      return "retake";
  }
  return "";
}

PhotoQuality JudgePhoto(const PhotoFacts& facts) {
  Reasons reasons;
  JudgeScale(facts, reasons);
  if (facts.scale == geometry::ScaleSource::kCard) JudgeCard(facts, reasons);
  JudgeLight(facts, reasons);
  JudgeFrame(facts, reasons);
  return std::move(reasons).Take();
}

}  // namespace plumbfoot::judge
