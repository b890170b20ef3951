// SPDX-License-Identifier: MIT
// Filters of the virtual rig, and the change of a sampling rate.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::rig {

// The rig's analog filters, and the faults of wiring and setting that it can have switched on.

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

// From the track's rate up to the rig's high rate and down to the sound card's, without audible
// images.

/// How far images and aliases are held down by every filter here.
inline constexpr Decibels resampler_rejection{140.0};

/// Passband of the filter at a sampling rate, as a share of it: what converters have, 0.4535 of the
/// rate (20 kHz at 44.1 kHz), with the stop band as far above half the rate as this is below
/// (common practice). Aliases of what lies between fall above the passband.
inline constexpr double converter_passband = 0.4535;

/// A linear-phase low-pass: sinc times a Kaiser window [Oppenheim, Schafer: Discrete-Time Signal
/// Processing, 2nd ed., eqs. 7.62, 7.63].
/// \param pass, stop  band edges in cycles per sample, 0 < pass < stop <= 0.5
/// \returns an odd number of taps that add up to 1
[[nodiscard]] std::vector<double> low_pass_taps(double pass, double stop, Decibels rejection);

/// Raises the rate of one channel by a whole number.
class Interpolator {
 public:
  /// \param pass passband edge, in cycles per sample of the output; the stop band starts where the
  /// first image of the passband does
  Interpolator(int factor, double pass);

  /// \param output factor × input.size() samples
  void process(std::span<const double> input, std::span<double> output);

  /// Delay in output samples.
  [[nodiscard]] double delay() const;

 private:
  int factor_;
  std::size_t phase_taps_;
  std::size_t taps_;
  std::vector<double> phases_;   // factor_ filters of phase_taps_, each reversed
  std::vector<double> history_;  // phase_taps_ − 1 past samples, then the block
};

/// Lowers the rate of one channel by a whole number.
class Decimator {
 public:
  /// \param pass passband edge, in cycles per sample of the input; the stop band starts where its
  /// first alias would fall on it
  Decimator(int factor, double pass);

  /// \param input factor × output.size() samples
  void process(std::span<const double> input, std::span<double> output);

  /// Delay in input samples.
  [[nodiscard]] double delay() const;

 private:
  int factor_;
  std::vector<double> taps_;
  std::vector<double> history_;
};

/// Interpolation between equally spaced samples: Lagrange's polynomial through 8 of them, from a
/// table of weights at 1024 places between two samples. Between the places the weights are
/// interpolated in a straight line, which at an eighth of the sampling rate errs by less than 1e-7.
class Lagrange {
 public:
  static constexpr std::size_t points = 8;
  static constexpr std::size_t points_before =
      3;  ///< of them lie before the one at or left of the place

  Lagrange();

  /// \param samples  the 8 of each channel: places −3 … 4
  /// \param fraction of the way from place 0 to place 1, 0 … 1
  struct Pair {
    double left, right;
  };
  [[nodiscard]] Pair at(const double* left, const double* right, double fraction) const;

 private:
  std::vector<double> weights_;  // `points` per place
};

/// Weights of the Lagrange interpolation through 8 equally spaced points, between the 4th and the
/// 5th. \param fraction 0 … 1 from the 4th point to the 5th
[[nodiscard]] std::array<double, Lagrange::points> lagrange_weights(double fraction);

}  // namespace railtap::rig
