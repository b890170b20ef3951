// SPDX-License-Identifier: MIT
// The rig's analog filters, and the faults of wiring and setting that it can have switched on.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::rig {

/// One pole, in the topology-preserving form, whose state is an integrator's: it keeps its accuracy
/// with corners of 1 Hz at a rate of 1 MHz [Zavalishin: The Art of VA Filter Design, rev. 2.1.0,
/// 3.10].
struct OnePole {
  double factor = 0.0;  ///< g/(1 + g) with g = tan(π·corner/rate)
  double state = 0.0;

  [[nodiscard]] double low(double x) {
    const double v = (x - state) * factor;
    const double y = v + state;
    state = y + v;
    return y;
  }
  [[nodiscard]] double high(double x) { return x - low(x); }
};

/// \param corner where the response is 3 dB down, 0 < corner < rate/2
[[nodiscard]] OnePole one_pole(Hertz corner, Hertz rate);

/// Which side passes.
enum class Pass { low, high };

/// A crossover filter as amplifiers have them. Order 0 is a filter that is switched off.
struct FilterSetting {
  Hertz corner{0.0};  ///< 3 dB down, > 0
  int order = 0;      ///< 0, 1, 2 or 4: 0, 6, 12 or 24 dB per octave, Butterworth
};

/// Two poles in state-variable form [Zavalishin, 4.4]: g = tan(π·corner/rate), damping = 1/Q,
/// factor = 1/(1 + g·(g + damping)).
struct TwoPoles {
  double g = 0.0, damping = 0.0, factor = 0.0;
  double band = 0.0, low = 0.0;  ///< states
};

/// A Butterworth filter and its state.
struct Filter {
  Pass pass = Pass::low;
  bool has_one = false;
  OnePole one;
  std::vector<TwoPoles> two;
};

/// A filter at rest, for blocks at `rate`. \param setting its corner below rate/2; order 0 gives a
/// filter that changes nothing
[[nodiscard]] Filter make_filter(Pass pass, const FilterSetting& setting, Hertz rate);

/// Filters a block in place.
void process(Filter& filter, std::span<double> block);

/// High-passes a block in place: a coupling capacitor.
void couple(OnePole& pole, std::span<double> block);

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
