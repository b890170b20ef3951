// SPDX-License-Identifier: MIT
// The value in the middle.
#include "measure/median.hpp"

#include <algorithm>

namespace railtap::measure {

double median_reordering(std::span<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

double median(std::vector<double> values) {
  return median_reordering(values);
}

}  // namespace railtap::measure
