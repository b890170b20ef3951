// SPDX-License-Identifier: MIT
// Finds, in a recording, the markers that announce test signals.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <span>
#include <vector>

#include "signal/marker.hpp"
#include "signal/tone.hpp"
#include "units/quantity.hpp"

namespace railtap::measure {

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

}  // namespace railtap::measure
