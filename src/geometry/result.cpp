// SPDX-License-Identifier: Apache-2.0
#include "plumbfoot/geometry/result.h"

namespace plumbfoot::geometry {

std::string_view CodeName(RefusalCode code) {
  switch (code) {
    case RefusalCode::kUsage:
      return "usage";
    case RefusalCode::kFileMissing:
      return "file_missing";
    case RefusalCode::kFileEmpty:
      return "file_empty";
    case RefusalCode::kFileTooLarge:
      return "file_too_large";
    case RefusalCode::kNotAPhoto:
      return "not_a_photo";
    case RefusalCode::kPhotoDamaged:
      return "photo_damaged";
    case RefusalCode::kPhotoTooLarge:
      return "photo_too_large";
    case RefusalCode::kNotJson:
      return "not_json";
    case RefusalCode::kNotOurFormat:
      return "not_our_format";
    case RefusalCode::kVersionUnknown:
      return "version_unknown";
    case RefusalCode::kBadNumber:
      return "bad_number";
    case RefusalCode::kPointOutsidePhoto:
      return "point_outside_photo";
    case RefusalCode::kUnknownPoint:
      return "unknown_point";
    case RefusalCode::kDamaged:
      return "damaged";
    case RefusalCode::kNoSuchHorse:
      return "no_such_horse";
    case RefusalCode::kSeveralHorses:
      return "several_horses";
    case RefusalCode::kUnsorted:
      return "unsorted";
    case RefusalCode::kNoCard:
      return "no_card";
    case RefusalCode::kCardTooFewTags:
      return "card_too_few_tags";
    case RefusalCode::kTwoCards:
      return "two_cards";
    case RefusalCode::kCardMirrored:
      return "card_mirrored";
    case RefusalCode::kCardBent:
      return "card_bent";
    case RefusalCode::kCardLayoutInvalid:
      return "card_layout_invalid";
    case RefusalCode::kLensTooFewPhotos:
      return "lens_too_few_photos";
    case RefusalCode::kNoScale:
      return "no_scale";
    case RefusalCode::kTooFewPoints:
      return "too_few_points";
    case RefusalCode::kNoDirection:
      return "no_direction";
    case RefusalCode::kPointMissing:
      return "point_missing";
    case RefusalCode::kImplausible:
      return "implausible";
    case RefusalCode::kNoFoot:
      return "no_foot";
    case RefusalCode::kCannotWrite:
      return "cannot_write";
    case RefusalCode::kCannotRead:
      return "cannot_read";
    case RefusalCode::kPortTaken:
      return "port_taken";
  }
  throw std::invalid_argument("CodeName: not a RefusalCode");
}

}  // namespace plumbfoot::geometry
