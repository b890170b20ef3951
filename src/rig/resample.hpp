// SPDX-License-Identifier: MIT
// From the track's rate up to the rig's high rate and down to the sound card's, without audible
// images.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "units/quantity.hpp"

namespace railtap::rig {

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
