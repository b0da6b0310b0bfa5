// SPDX-License-Identifier: Apache-2.0
/// @file
/// Either a value or a Refusal: how a room says that it won't answer.
///
/// A Refusal is for what a user, a photo or the machine's surroundings can
/// cause. A fault of ours is an exception of the std::logic_error family and
/// is caught only in `cli` and `serve`.
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

namespace plumbfoot::geometry {

/// Stable: the name (see CodeName) stands in JSON. Never renumbered.
enum class RefusalCode {
  // The command was used wrongly (exit 1).
  kUsage = 100,
  // A file of the user (exit 2).
  kFileMissing = 200,
  kFileEmpty = 201,
  kFileTooLarge = 202,
  kNotAPhoto = 203,
  kPhotoDamaged = 204,
  kPhotoTooLarge = 205,
  kNotJson = 206,
  kNotOurFormat = 207,
  kVersionUnknown = 208,
  kBadNumber = 209,
  kPointOutsidePhoto = 210,
  kUnknownPoint = 211,
  // The casebook (exit 2).
  kDamaged = 212,
  kNoSuchHorse = 213,
  kSeveralHorses = 214,
  kUnsorted = 215,  ///< A photo of unknown foot, view or stage.
  // The card in the photo (exit 2, or 3 where only a retake helps).
  kNoCard = 300,
  kCardTooFewTags = 301,
  kTwoCards = 302,
  kCardMirrored = 303,
  kCardBent = 304,
  kCardLayoutInvalid = 305,
  kLensTooFewPhotos = 306,
  kNoScale = 307,
  // Points and measures.
  kTooFewPoints = 400,
  kNoDirection = 401,
  kPointMissing = 402,
  kImplausible = 403,
  kNoFoot = 404,
  // The surroundings (exit 4).
  kCannotWrite = 500,
  kCannotRead = 501,
  kPortTaken = 502,
};

/// Why the tool will not answer, in words that the person can act on.
struct Refusal {
  RefusalCode code;     ///< Stable: also the "code" field of JSON.
  std::string message;  ///< What is wrong, in one sentence.
  std::string remedy;   ///< What to do next, in one sentence.
};

/// The stable name of a code, such as "no_card". Never empty.
std::string_view CodeName(RefusalCode code);

/// Either a value or a Refusal. Same shape as std::expected (C++23).
template <typename T>
class [[nodiscard]] Result {
 public:
  // Implicit on purpose: `return value;` and `return Refusal{...};`.
  // NOLINTNEXTLINE(google-explicit-constructor)
  Result(T value) : held_(std::in_place_index<0>, std::move(value)) {}
  // NOLINTNEXTLINE(google-explicit-constructor)
  Result(Refusal refusal) : held_(std::in_place_index<1>, std::move(refusal)) {}

  bool has_value() const { return held_.index() == 0; }
  explicit operator bool() const { return has_value(); }

  /// @throws std::logic_error if there is no value (a bug of the caller).
  const T& value() const& {
    Require();
    return std::get<0>(held_);
  }
  T& value() & {
    Require();
    return std::get<0>(held_);
  }
  T&& value() && {
    Require();
    return std::get<0>(std::move(held_));
  }
  const T& operator*() const& { return value(); }
  T& operator*() & { return value(); }
  T&& operator*() && { return std::move(*this).value(); }
  const T* operator->() const { return &value(); }
  T* operator->() { return &value(); }

  /// @throws std::logic_error if there is a value (a bug of the caller).
  const Refusal& error() const {
    if (has_value()) throw std::logic_error("Result: no refusal is held");
    return std::get<1>(held_);
  }

 private:
  void Require() const {
    if (!has_value()) throw std::logic_error("Result: " + error().message);
  }

  std::variant<T, Refusal> held_;
};

/// The value of a call that has nothing else to give than "done".
struct Done {};

}  // namespace plumbfoot::geometry

namespace plumbfoot {
// Every room speaks of these three, so they need no prefix.
using geometry::Done;
using geometry::Refusal;
using geometry::RefusalCode;
using geometry::Result;
}  // namespace plumbfoot
