// SPDX-License-Identifier: MIT
// Preferred values of resistors and capacitors: what a shop has in its drawers.
#include "electric/preferred_values.hpp"

#include <array>
#include <cmath>

#include "units/error.hpp"
#include "units/parse.hpp"

namespace railtap::electric {
namespace {

// [IEC 60063]. Rounding 10^(i/24) would give 2.6, 2.9, 3.2 … where the standard keeps the older
// values.
constexpr std::array<double, 3> e3{1.0, 2.2, 4.7};
constexpr std::array<double, 12> e12{1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2};
constexpr std::array<double, 24> e24{1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
                                     3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1};
constexpr int values_of_e96 = 96;

// A computed value may lie a rounding error away from the preferred one that it is meant to be.
constexpr double rounding = 1e-9;

std::vector<double> e96() {
  std::vector<double> values;
  values.reserve(values_of_e96);
  for (int i = 0; i < values_of_e96; ++i) {
    values.push_back(std::round(100.0 * std::pow(10.0, i / static_cast<double>(values_of_e96))) /
                     100.0);
  }
  return values;
}

/// mantissa × 10^exponent, from the whole number that a hundred times the mantissa is: 8.2 × 100 is
/// not 820 in doubles, 820 × 1 is.
double scaled(double mantissa, int exponent) {
  const double hundredfold = std::round(100.0 * mantissa);
  const double scale = std::pow(10.0, std::abs(exponent - 2));
  return exponent < 2 ? hundredfold / scale : hundredfold * scale;
}

int decade_of(double value) {
  return static_cast<int>(std::floor(std::log10(value)));
}

}  // namespace

Series parse_series(std::string_view text, std::string_view name) {
  for (const auto series : {Series::e12, Series::e24, Series::e96}) {
    const std::string word = describe(series);
    if (text == word || (text.starts_with('e') && text.substr(1) == word.substr(1))) return series;
  }
  throw Error("\"" + std::string(text) + "\" is no series of preferred values", std::string(name),
              "give E12, E24 or E96");
}

std::string describe(Series series) {
  switch (series) {
    case Series::e3:
      return "E3";
    case Series::e12:
      return "E12";
    case Series::e24:
      return "E24";
    case Series::e96:
      break;
  }
  return "E96";
}

std::vector<double> decade(Series series) {
  switch (series) {
    case Series::e3:
      return {e3.begin(), e3.end()};
    case Series::e12:
      return {e12.begin(), e12.end()};
    case Series::e24:
      return {e24.begin(), e24.end()};
    case Series::e96:
      break;
  }
  return e96();
}

std::vector<Ohms> values_between(Series series, Ohms low, Ohms high) {
  require_positive(low, "lowest value");
  require_positive(high, "highest value");
  std::vector<Ohms> values;
  const auto mantissas = decade(series);
  for (int exponent = decade_of(low.value()) - 1; exponent <= decade_of(high.value()); ++exponent) {
    for (const double mantissa : mantissas) {
      const double value = scaled(mantissa, exponent);
      const bool fits =
          value >= low.value() * (1.0 - rounding) && value <= high.value() * (1.0 + rounding);
      if (fits) values.emplace_back(value);
    }
  }
  return values;
}

Farads at_least(Series series, Farads value) {
  const double wanted = require_positive(value, "capacitance").value() * (1.0 - rounding);
  const int exponent = decade_of(wanted);
  for (const double mantissa : decade(series)) {
    if (scaled(mantissa, exponent) >= wanted) return Farads(scaled(mantissa, exponent));
  }
  return Farads(scaled(1.0, exponent + 1));
}

}  // namespace railtap::electric
