// SPDX-License-Identifier: MIT
// Single frequencies in a stretch of samples: how much of them, and by how much a clock shifts
// them.
#pragma once

#include <complex>
#include <cstddef>
#include <span>

#include "units/quantity.hpp"

namespace railtap::measure {

/// Where a recording holds one part of a verification track.
struct PartPlace {
  double start_frame = 0.0;  ///< its first sample; right within 20 ms
  double clock_ratio = 1.0;  ///< recorded duration over the nominal one; right within 0.005
};

/// Peak amplitude and phase (as a cosine, at the middle of the stretch) of a sinusoid, under a Hann
/// window: others count less the further they are, −31 dB from 2.4 reciprocal lengths on [Harris,
/// Proc. IEEE 66 (1978), p. 61]. Zero for an empty stretch.
[[nodiscard]] std::complex<double> line_in(std::span<const double> samples, Hertz rate,
                                           Hertz frequency);

/// Mean square of the noise that `line_in` sees at a frequency, as the mean of its neighbours 4 to
/// 7 reciprocal lengths away on either side.
[[nodiscard]] double noise_around(std::span<const double> samples, Hertz rate, Hertz frequency);

/// The clock ratio near an expected one at which sinusoids of these nominal frequencies together
/// have the most power; a recording that lasts longer by it has its frequencies lower by it.
/// \param reach how far the expected one may be off, for example 0.006
[[nodiscard]] double find_clock_ratio(std::span<const double> samples, Hertz rate,
                                      std::span<const double> frequencies_hz, double expected,
                                      double reach);

/// The samples between two times after a part's start, in the track's clock; what lies outside of
/// the recording is left out.
[[nodiscard]] std::span<const double> stretch_of(std::span<const double> samples, Hertz rate,
                                                 const PartPlace& place, Seconds from, Seconds to);

}  // namespace railtap::measure
