// SPDX-License-Identifier: MIT
// Pink noise by inverse Fourier transform.
#include "signal/pink_noise.hpp"

#include <cmath>
#include <complex>
#include <kissfft/kissfft.hh>
#include <numbers>

#include "signal/random.hpp"
#include "units/error.hpp"

namespace railtap::signal {

std::vector<double> pink_noise_period(Hertz low, Hertz high, Hertz rate) {
  constexpr std::size_t length = std::size_t{1} << 18;
  const double bin_hz = rate.value() / static_cast<double>(length);
  const auto first = static_cast<std::size_t>(std::ceil(low.value() / bin_hz));
  const auto last = static_cast<std::size_t>(std::floor(high.value() / bin_hz));
  if (first > last) {
    throw Error("the band of the noise is narrower than " + std::to_string(bin_hz) + " Hz",
                "pink noise", "give edges further apart");
  }
  std::vector<std::complex<double>> bins(length), samples(length);
  Random random(0x70696E6BULL);
  double mean_square = 0.0;
  for (std::size_t k = first; k <= last; ++k) {
    const double amplitude = 1.0 / std::sqrt(static_cast<double>(k));
    bins[k] = std::polar(amplitude, 2.0 * std::numbers::pi * random.uniform());
    mean_square += amplitude * amplitude / 2.0;
  }
  kissfft<double> inverse(length, true);
  inverse.transform(bins.data(), samples.data());
  std::vector<double> period(length);
  const double scale = 1.0 / std::sqrt(mean_square);
  for (std::size_t n = 0; n < length; ++n) period[n] = samples[n].real() * scale;
  return period;
}

}  // namespace railtap::signal
