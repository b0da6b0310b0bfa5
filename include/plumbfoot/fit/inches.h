// SPDX-License-Identifier: Apache-2.0
/// @file
/// Inches and eighths, which bars and shoes are cut by.
#pragma once

#include <string>

namespace plumbfoot::fit {

/// The international inch is 25.4 mm exactly (ISO 80000-3; National Bureau of
/// Standards, Federal Register 24 F.R. 5348, 1959).
inline constexpr double kMillimetresPerInch = 25.4;

constexpr double InchesOf(double mm) {
  return mm / kMillimetresPerInch;
}

/// A length as a rule shows it.
struct Eighths {
  long inches = 0;   ///< Whole inches.
  int eighths = 0;   ///< 0 to 7.
  double off = 0.0;  ///< The rounded length less the exact one [mm].
};

/// To the nearest eighth of an inch; a length midway goes up.
/// @throws std::invalid_argument if the length is below zero or not finite.
Eighths ToEighths(double mm);

/// "11 5/8 in", "3/4 in", "10 in": the fraction is in lowest terms.
std::string EighthsText(double mm);

}  // namespace plumbfoot::fit
