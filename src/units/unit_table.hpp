// SPDX-License-Identifier: MIT
// How each unit is spelled, which prefixes it takes, and what an example of it looks like.
#pragma once

#include <span>
#include <string_view>

#include "units/quantity.hpp"

namespace railtap::units {

/// One unit's words. Spellings are compared without regard to case; prefixes are p n u m c k M,
/// where only m and M differ by case.
struct UnitInfo {
  std::string_view plural;                      ///< "volts"
  std::string_view symbol;                      ///< as printed: "V"
  std::string_view example;                     ///< "14.2V"
  std::span<const std::string_view> spellings;  ///< lower case
  std::string_view read_prefixes;               ///< accepted in front of the unit
  std::string_view print_prefixes;              ///< used when printing
  std::string_view lone_prefixes;               ///< accepted with the unit left out: "39k"
  double largest;  ///< read, by magnitude; what lies beyond is a typing mistake
};

/// Every unit there is, for naming the unit that was given by mistake.
[[nodiscard]] std::span<const UnitInfo> all_units();

/// The words of the unit of `Q`; defined for every quantity of units/quantity.hpp and for Dbfs.
template <class Q>
[[nodiscard]] const UnitInfo& unit_info();

/// What applies to every quantity: RAILTAP_FOR_EACH_QUANTITY(X) is X(Volts) X(Watts) …
#define RAILTAP_FOR_EACH_QUANTITY(X) \
  X(Volts)                           \
  X(Watts)                           \
  X(Ohms)                            \
  X(Amperes)                         \
  X(Farads)                          \
  X(Hertz)                           \
  X(Seconds)                         \
  X(Metres)                          \
  X(SquareMillimetres)               \
  X(Percent)                         \
  X(Decibels)                        \
  X(Dbfs)

/// The power of ten of a prefix letter: 3 for 'k'. '\0' gives 0.
[[nodiscard]] int prefix_exponent(char prefix);

}  // namespace railtap::units
