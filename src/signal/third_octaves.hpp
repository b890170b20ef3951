// SPDX-License-Identifier: MIT
// Third-octave frequencies as they are rounded and numbered.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::signal {

/// Band n is about 10^(n/10) Hz: 0 is 1 Hz, 13 is 20 Hz, 43 is 20 kHz.
inline constexpr int highest_third_octave = 43;

/// `count` bands from number `first` on, as ISO 266:1997, table 1, rounds them (20, 25, 31.5, 40
/// …); empty where they are none or leave 0 … highest_third_octave.
[[nodiscard]] std::vector<Hertz> third_octaves(int first, int count);

/// The number of the first band, where these are bands one after the other; else none.
[[nodiscard]] std::optional<int> first_third_octave(std::span<const Hertz> frequencies);

}  // namespace railtap::signal
