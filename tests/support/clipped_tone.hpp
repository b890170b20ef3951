// SPDX-License-Identifier: MIT
// Tones with a known law: harmonics of a clipped sine in closed form or of any law by sampling one
// cycle, the chain behind it, and the samples a recorder would deliver.
#pragma once

#include <complex>
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "measure/tone_fit.hpp"
#include "support/random.hpp"

namespace railtap::test {

using Phasors = std::vector<std::complex<double>>;  ///< order k at index k−1, peak amplitude
using Law = std::function<double(double)>;
using Response = std::function<std::complex<double>(double hz)>;

/// Harmonics of a sine of peak 1 cut `positive_db` above and `negative_db` below (0: not cut).
/// closed form; derived, and checked against dense sampling in the reference tables (section
/// "Clipped sine").
Phasors clipped_sine(double positive_db, double negative_db, std::size_t orders);

/// Harmonics of law(sin x), by sampling one cycle; the default is dense enough for aliases below
/// 1e−7. \param points a multiple of 4, more than twice the orders
Phasors shaped_sine(const Law& law, std::size_t orders, std::size_t points = 8192);

/// Harmonics of one cycle given as samples, an even number, more than twice the orders.
Phasors harmonics_of_cycle(const std::vector<double>& cycle, std::size_t orders);

/// One cycle of a unit sine behind a slew limit, in units of the sine's own steepest slope.
std::vector<double> slew_limited_cycle(double limit);

/// What linear parts do, harmonic by harmonic.
Response coupling(double corner_hz);
Response one_pole(double corner_hz);
Response butterworth4(double corner_hz);
/// A flat, steep low-pass without phase, as decimation filters have.
Response steep(double corner_hz);
Phasors through(Phasors tone, double fundamental_hz, const Response& chain);

/// The measured series of a tone of peak `amplitude`, with white noise as a record of `seconds`
/// leaves it. \param noise_db  signal to noise of the sine over the whole band to half the rate
struct Recorded {
  double fundamental_hz = 997.0;
  double amplitude = 0.5;
  double snr_db = 60.0;
  double rate = 48000.0;
  double seconds = 1.0;
};
measure::HarmonicSeries series_of(const Phasors& tone, const Recorded& as, Random& random);

/// Adds the real part of start·step^n to sample n: a sine, one that dies away for |step| < 1.
void add_turning(std::span<double> x, std::complex<double> start, std::complex<double> step);

/// Samples of the tone: band-limited below half the rate, from a random start, with white noise,
/// rounded to `bits` with triangular dither of 2 steps (0: not rounded).
std::vector<double> samples_of(const Phasors& tone, const Recorded& as, int bits, Random& random);

}  // namespace railtap::test
