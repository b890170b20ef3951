// SPDX-License-Identifier: MIT
// Dither, and pink noise as one long period of many sines.
#include "signal/noise.hpp"

#include <cmath>
#include <complex>
#include <cstdint>
#include <kissfft/kissfft.hh>
#include <numbers>

#include "units/error.hpp"

namespace railtap::signal {

void Dither::add(std::span<double> samples) {
  const double scale = step_ * 0x1p-32;  // a half is uniform over 2^32 values around zero
  for (double& sample : samples) {
    const std::uint64_t bits = random_.next();
    const auto high = static_cast<std::int32_t>(bits >> 32);
    const auto low = static_cast<std::int32_t>(bits & 0xFFFFFFFFU);
    sample += scale * (static_cast<double>(high) + static_cast<double>(low));
  }
}

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
