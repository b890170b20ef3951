// SPDX-License-Identifier: MIT
// Finds, in a recording, the markers that announce test signals, and reads the patterns of a
// verification track: which side arrives, and which way up.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "measure/line_search.hpp"
#include "signal/marker.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

// Finds, in a recording, the markers that announce test signals.

/// A marker that was found, and what it announces.
struct FoundMarker {
  signal::MarkerBand band = signal::MarkerBand::mid;
  double start_frame = 0.0;  ///< where the marker began; within 3 ms (mid) or 7 ms (low)
  double signal_frame =
      0.0;  ///< where the announced signal begins; within 10 ms at ±0.5 % of clock error
  double clock_ratio = 1.0;  ///< recorded duration over the nominal one, ±0.002; the frequency of
                             ///< an announced tone tells more
  double quality = 0.0;  ///< mean share of the right frequency in the power of the four, 0 … 1
  signal::Signal announced;
};

/// Looks for the markers of one frequency range in one channel, as it streams by.
///
/// The power at the four frequencies is taken over windows of one symbol, every quarter of a
/// symbol. Where the eight symbols of the preamble are each the strongest of the four, the data
/// are read; the CRC decides. Compared are only these four powers, so gain, hum, filters and
/// clipping elsewhere do not matter. Constant memory. One object per channel and range.
class MarkerFinder {
 public:
  /// \param rate samples per second, > 0
  MarkerFinder(signal::MarkerBand band, Hertz rate);

  /// \param first the channel's first sample; \param stride distance of its samples;
  /// \param count how many
  void add(const double* first, std::size_t stride, std::size_t count);

  /// Ends the stream. In order of time.
  [[nodiscard]] std::vector<FoundMarker> finish();

 private:
  using Powers = std::array<double, 4>;
  struct Candidate {
    double score = 0.0;
    std::int64_t window = -1;
    signal::MarkerData data{};
    signal::Signal announced;
  };

  void take_hop();
  void consider(std::int64_t window);
  void keep();
  [[nodiscard]] std::int64_t hop_start(std::int64_t hop) const;
  [[nodiscard]] double share(std::int64_t window, std::uint8_t tone) const;
  [[nodiscard]] signal::MarkerData read_data(std::int64_t window) const;
  [[nodiscard]] double score(std::span<const std::uint8_t> symbols, std::int64_t window) const;
  [[nodiscard]] double offset(std::span<const std::uint8_t> symbols, std::int64_t window) const;

  const signal::MarkerWaveform& wave_;
  signal::MarkerBand band_;
  Hertz rate_;
  std::vector<double> hop_;  // samples of the hop being filled
  std::size_t hop_length_ = 0;
  std::array<std::vector<double>, 4> cosine_, sine_;      // one hop of each frequency
  std::deque<std::array<std::complex<double>, 4>> hops_;  // the last few, correlated
  std::deque<Powers> windows_;     // powers of windows of one symbol, the last few
  std::int64_t first_window_ = 0;  // number of windows_.front()
  std::int64_t hops_done_ = 0;
  Candidate best_;
  std::vector<FoundMarker> found_;
};

/// All markers of both ranges in one channel of samples.
[[nodiscard]] std::vector<FoundMarker> find_markers(std::span<const double> samples, Hertz rate);

// The patterns of a verification track as recorded: which side arrives, and which way up.

/// One frequency of the pattern while its side plays. Mean squares, full scales².
struct PatternLine {
  bool left = false;
  bool low = false;      ///< of the side's two, the one that passes a bass amplifier
  Hertz frequency{0.0};  ///< nominal
  double mean_square = 0.0;
  double noise = 0.0;  ///< what noise alone would give there

  /// Whether it is 15 dB above the noise around it.
  [[nodiscard]] bool stands_out() const;
};

/// The pattern as one channel recorded it.
struct PatternReading {
  /// Recorded duration over the nominal one, by the burst that gives it most precisely; the
  /// expected one where none does.
  double clock_ratio = 1.0;
  /// Left low, left high, right low, right high.
  std::array<PatternLine, 4> lines;

  [[nodiscard]] const PatternLine& line(bool left, bool low) const {
    return lines[(left ? 0U : 2U) + (low ? 0U : 1U)];
  }
};

/// Measures a channel pattern (signal/marker.hpp). Crosstalk is one side's line in a
/// channel over the same line in the channel it belongs to.
/// \param samples full scale ±1, finite
[[nodiscard]] PatternReading measure_channel_pattern(std::span<const double> samples, Hertz rate,
                                                     const PartPlace& place);

/// The pulses' orders as recorded.
struct PolarityReading {
  int orders = 0;          ///< that were played: 2 or 4
  Hertz fundamental{0.0};  ///< as recorded
  double clock_ratio = 1.0;
  /// Peak amplitude, full scales, and phase of each order at one common time.
  std::array<std::complex<double>, signal::polarity_amplitudes.size()> phasor{};
  std::array<double, signal::polarity_amplitudes.size()> noise{};  ///< mean square at each order

  /// Whether an order is 15 dB above the noise around it; index from 0.
  [[nodiscard]] bool stands_out(int index) const;
};

/// How well the pulses fit upright and inverted, over all delays.
struct PolarityFit {
  int orders_used = 0;
  double upright = 0.0;   ///< 0 … 1: share of the orders' sum that crests together upwards
  double inverted = 0.0;  ///< the same downwards
  /// (upright − inverted)/(upright + inverted) over what it is for the pulses as they were played:
  /// 1 upright, −1 inverted, near 0 neither.
  double margin = 0.0;
};

/// Measures the orders. The clock is found from the pulses themselves.
/// \param samples full scale ±1, finite
[[nodiscard]] PolarityReading measure_polarity(std::span<const double> samples, Hertz rate,
                                               const signal::PolarityPulses& pulses,
                                               const PartPlace& place);

/// Compares the phases with the pulses' own; amplitudes do not count, beyond standing out of the
/// noise. \param turns by how much filters are known to turn each order's phase, radians; zeros
/// where nothing is known
[[nodiscard]] PolarityFit fit_polarity(
    const PolarityReading& reading,
    const std::array<double, signal::polarity_amplitudes.size()>& turns);

}  // namespace railtap::measure
