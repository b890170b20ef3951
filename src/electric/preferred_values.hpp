// SPDX-License-Identifier: MIT
// Preferred values of resistors and capacitors: what a shop has in its drawers.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::electric {

/// Series of preferred values per decade [IEC 60063]: E3, E12 and E24 rounded by hand in the 1940s,
/// E96 is round(100·10^(i/96)).
enum class Series { e3, e12, e24, e96 };

/// "E24", in either case. \throws Error with `name` as its place
[[nodiscard]] Series parse_series(std::string_view text, std::string_view name);
[[nodiscard]] std::string describe(Series series);

/// One decade of the series, from 1 up to below 10.
[[nodiscard]] std::vector<double> decade(Series series);

/// Every value of the series from `low` to `high`, both included, in ascending order; both > 0.
[[nodiscard]] std::vector<Ohms> values_between(Series series, Ohms low, Ohms high);

/// The smallest value of the series that is not below `value` (> 0).
[[nodiscard]] Farads at_least(Series series, Farads value);

}  // namespace railtap::electric
