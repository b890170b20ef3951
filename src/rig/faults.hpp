// SPDX-License-Identifier: MIT
// Faults of wiring and setting that a described rig can have switched on.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "rig/filter.hpp"
#include "units/quantity.hpp"

namespace railtap::rig {

/// What is wrong behind one gain control. As it is here, nothing is. Wires crossed are a minus in
/// front of an input; filters, tone controls, loudness and hiss have keys of their own.
struct Faults {
  bool swapped = false;          ///< its two inputs are exchanged
  std::array<bool, 2> silent{};  ///< channels that are not connected
  Decibels bass_boost{0.0};      ///< a peak; 0 is off
  Hertz bass_boost_frequency{45.0};
  std::optional<Decibels> crosstalk;  ///< of each channel in the other, below 0
  Volts hum{0.0};                     ///< RMS at the output, of the mains frequency itself
  Hertz hum_frequency{50.0};          ///< with its second and third harmonic, 6 and 10 dB below
  Volts whine{0.0};                   ///< RMS at the output
  Hertz whine_frequency{2160.0};
};

/// A resonant boost: 1 + (g − 1)·(s/Q)/(s² + s/Q + 1), which is g at its frequency. With g = A² it
/// is the cookbook's peaking equaliser of Q·A.
class Boost {
 public:
  Boost() = default;
  Boost(Decibels gain, Hertz frequency, Hertz rate);
  void process(std::span<double> block);

 private:
  double gain_ = 1.0;
  TwoPoles poles_;
};

/// Sines that are added to an output.
class Tones {
 public:
  void add(Volts rms, Hertz frequency, Hertz rate);
  void process(std::span<double> block);

 private:
  struct Tone {
    double cosine, sine;          // of the step
    double in_phase, quadrature;  // now
  };
  std::vector<Tone> tones_;
};

/// Hum and whine of a control.
[[nodiscard]] Tones tones_of(const Faults& faults, Hertz rate);

}  // namespace railtap::rig
