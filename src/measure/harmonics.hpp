// SPDX-License-Identifier: MIT
// The Fourier series of one steady tone, found by least squares, so that nothing leaks.
#pragma once

#include <complex>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::measure {

/// A periodic waveform as complex harmonics, in full scales (digital full scale = ±1):
///   x(t) = Re( Σ_k phasor[k−1] · e^{j·k·ω·t} ),  k = 1 … phasor.size(), without DC.
/// The time origin is where the fundamental crosses zero upwards, so phasor[0] = −j·A (a sine of
/// peak A), whatever the start of the record was. In this convention a sine clipped on its positive
/// rail has harmonics that do not depend on when the recording began.
struct HarmonicSeries {
  Hertz fundamental{0.0};
  std::vector<std::complex<double>> phasor;  ///< order k at index k−1, peak amplitude
  std::vector<double>
      sigma;  ///< standard deviation of the real part, and of the imaginary part, of each
              ///< phasor, from the noise measured around that frequency; same length
};

}  // namespace railtap::measure
