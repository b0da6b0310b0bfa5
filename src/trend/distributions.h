// SPDX-License-Identifier: Apache-2.0
/// @file
/// The distributions that intervals are made of.
#pragma once

#include <vector>

namespace plumbfoot::trend {

/// z with P(Z < z) = p for a standard normal Z; p in (0, 1).
double NormalQuantile(double p);
/// t with P(T < t) = p for Student's t; degrees > 0.
double StudentQuantile(double p, double degrees);

/// P(S >= s) for Kendall's S of n readings without ties and without trend,
/// exactly: S = n (n - 1) / 2 less twice the inversions of a random order (M.
/// G. Kendall, "A new measure of rank correlation", Biometrika 30, 1938,
/// 81-93).
double KendallTail(int n, int s);
/// All of them at once, which takes no longer than one: [i] is P(S >= s) for s
/// = n (n - 1) / 2 - 2 i, the chance of at most i inversions.
std::vector<double> KendallTails(int n);

}  // namespace plumbfoot::trend
