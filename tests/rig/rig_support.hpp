// SPDX-License-Identifier: MIT
// What the rig's tests share: plain rigs, tones, and a Fourier transform of their own.
#pragma once

#include <cmath>
#include <complex>
#include <memory>
#include <numbers>
#include <vector>

#include "audio/stream.hpp"
#include "rig/description.hpp"
#include "rig/instruments.hpp"

namespace railtap::test {

/// A rig without any fault: 10 V peak rails, a sound card with 32 bits and no noise, and the head
/// unit's highest step at 10 V RMS for full scale.
inline rig::Rig faultless_rig() {
  rig::Rig rig;
  rig.name = "faultless";
  rig.supply.voltage = Volts(14.4);
  rig.head_unit.drop = Volts(4.4);
  rig.head_unit.full_output = Volts(10.0);
  rig.head_unit.output.rail = Volts(10.0);
  rig.tap.nominal_attenuation = 40.0;
  rig.sound_card.noise = Dbfs(-300.0);
  rig.sound_card.bits = 32;
  rig.sound_card.dither = false;
  rig::Amplifier amplifier;
  amplifier.name = "amplifier";
  amplifier.rated_power = Watts(50.0);
  amplifier.rated_load = Ohms(4.0);
  amplifier.output.rail = Volts(22.0);
  rig::Control control;
  control.name = "front";
  control.inputs = {{false, 1.0, 0.0}, {false, 0.0, 1.0}};
  control.input_names = {"front left", "front right"};
  control.speaker_power = Watts(60.0);
  amplifier.controls = {control};
  rig.amplifiers = {amplifier};
  return rig;
}

/// A sine on both channels, peak in full scales, without fades.
inline audio::Source sine(Hertz rate, Hertz frequency, double peak, Seconds length) {
  audio::StreamFormat format;
  format.rate = rate;
  format.channels = 2;
  format.frames = std::llround(rate.value() * length.value());
  auto frame = std::make_shared<std::int64_t>(0);
  return {format, [=](std::span<double> out) {
            std::size_t done = 0;
            for (; done < out.size() / 2 && *frame < *format.frames; ++done, ++*frame) {
              const double cycles = frequency / rate * static_cast<double>(*frame);
              const double x =
                  peak * std::sin(2.0 * std::numbers::pi * (cycles - std::floor(cycles)));
              out[2 * done] = x;
              out[2 * done + 1] = x;
            }
            return done;
          }};
}

/// One channel of a whole stream.
inline std::vector<double> channel_of(const audio::Source& source, std::size_t channel,
                                      std::size_t block = 1000) {
  const auto channels = static_cast<std::size_t>(source.format.channels);
  std::vector<double> interleaved(block * channels), result;
  while (const std::size_t frames = source.read(interleaved)) {
    for (std::size_t n = 0; n < frames; ++n) result.push_back(interleaved[n * channels + channel]);
  }
  return result;
}

/// Peak amplitude and phase at each of size/2 + 1 frequencies; size a power of two, signal periodic
/// in it.
inline std::vector<std::complex<double>> spectrum(std::span<const double> samples) {
  const std::size_t size = samples.size();
  std::vector<std::complex<double>> x(samples.begin(), samples.end());
  for (std::size_t i = 1, j = 0; i < size; ++i) {
    std::size_t bit = size / 2;
    for (; (j & bit) != 0; bit /= 2) j ^= bit;
    j ^= bit;
    if (i < j) std::swap(x[i], x[j]);
  }
  for (std::size_t length = 2; length <= size; length *= 2) {
    for (std::size_t k = 0; k < length / 2; ++k) {
      const auto turn = std::polar(
          1.0, -2.0 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(length));
      for (std::size_t start = k; start < size; start += length) {
        const auto odd = x[start + length / 2] * turn;
        x[start + length / 2] = x[start] - odd;
        x[start] += odd;
      }
    }
  }
  x.resize(size / 2 + 1);
  for (auto& value : x) value *= 2.0 / static_cast<double>(size);
  return x;
}

/// Amplitude of one frequency by correlation with it over whole cycles.
inline double amplitude_at(std::span<const double> samples, double cycles_per_sample) {
  std::complex<double> sum = 0.0;
  for (std::size_t n = 0; n < samples.size(); ++n) {
    sum += samples[n] *
           std::polar(1.0, -2.0 * std::numbers::pi * cycles_per_sample * static_cast<double>(n));
  }
  return 2.0 * std::abs(sum) / static_cast<double>(samples.size());
}

}  // namespace railtap::test
