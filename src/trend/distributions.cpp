// SPDX-License-Identifier: Apache-2.0
#include "trend/distributions.h"

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cstddef>
#include <numeric>
#include <utility>

namespace plumbfoot::trend {

double NormalQuantile(double p) {
  return boost::math::quantile(boost::math::normal(), p);
}

double StudentQuantile(double p, double degrees) {
  return boost::math::quantile(boost::math::students_t(degrees), p);
}

std::vector<double> KendallTails(int n) {
  const int pairs = n * (n - 1) / 2;
  // Chances of so many inversions, one element after the other: the k-th adds
  // 0 to k - 1 of them, each as likely.
  std::vector<double> chances(static_cast<std::size_t>(pairs) + 1, 0.0);
  chances[0] = 1.0;
  for (int k = 2; k <= n; ++k) {
    std::vector<double> next(chances.size(), 0.0);
    double window = 0.0;
    for (std::size_t i = 0; i < chances.size(); ++i) {
      window += chances[i];
      const auto width = static_cast<std::size_t>(k);
      if (i >= width) window -= chances[i - width];
      next[i] = window / k;
    }
    chances = std::move(next);
  }
  std::partial_sum(chances.begin(), chances.end(), chances.begin());
  return chances;
}

double KendallTail(int n, int s) {
  const int pairs = n * (n - 1) / 2;
  if (s <= -pairs) return 1.0;
  if (s > pairs) return 0.0;
  return KendallTails(n)[static_cast<std::size_t>((pairs - s) / 2)];
}

}  // namespace plumbfoot::trend
