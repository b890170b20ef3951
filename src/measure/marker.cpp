// SPDX-License-Identifier: MIT
// Correlation with the marker's four frequencies, preamble search, decoding.
#include "measure/marker.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using signal::marker_preamble;
using signal::MarkerBand;
using signal::MarkerData;

constexpr std::int64_t hops_per_symbol = 4;
constexpr auto symbols = static_cast<std::int64_t>(signal::marker_symbols);

// Mean share of the right frequency from which a preamble is accepted. Noise alone has a mean of
// 0.25 with a standard deviation of 0.07; a marker at 0 dB of wide-band noise has over 0.95.
constexpr double least_share = 0.7;

// Windows behind a candidate in which a better one replaces it.
constexpr std::int64_t same_marker = 2 * hops_per_symbol;

// Windows kept: one marker, the neighbours that the interpolation looks at, and the candidate's
// waiting time.
constexpr std::int64_t windows_kept = symbols * hops_per_symbol + same_marker + 8;

std::array<std::uint8_t, signal::marker_symbols> all_symbols(const MarkerData& data) {
  std::array<std::uint8_t, signal::marker_symbols> all{};
  std::copy(marker_preamble.begin(), marker_preamble.end(), all.begin());
  std::copy(data.begin(), data.end(), all.begin() + marker_preamble.size());
  return all;
}

}  // namespace

MarkerFinder::MarkerFinder(MarkerBand band, Hertz rate)
    : wave_(signal::waveform(band)), band_(band), rate_(rate) {
  hop_length_ = static_cast<std::size_t>(hop_start(1));
  // Hops differ by a sample where a quarter of a symbol is not a whole number of them.
  const std::size_t longest = hop_length_ + 1;
  hop_.reserve(longest);
  for (std::size_t tone = 0; tone < cosine_.size(); ++tone) {
    const double step = 2.0 * std::numbers::pi * wave_.frequency_hz[tone] / rate.value();
    for (std::size_t n = 0; n < longest; ++n) {
      cosine_[tone].push_back(std::cos(step * static_cast<double>(n)));
      sine_[tone].push_back(std::sin(step * static_cast<double>(n)));
    }
  }
}

std::int64_t MarkerFinder::hop_start(std::int64_t hop) const {
  return std::llround(static_cast<double>(hop) * wave_.symbol_s * rate_.value() /
                      static_cast<double>(hops_per_symbol));
}

void MarkerFinder::add(const double* first, std::size_t stride, std::size_t count) {
  for (std::size_t n = 0; n < count; ++n) {
    hop_.push_back(first[n * stride]);
    if (hop_.size() == hop_length_) take_hop();
  }
}

void MarkerFinder::take_hop() {
  std::array<std::complex<double>, 4> sums;
  const auto start = static_cast<double>(hop_start(hops_done_));
  for (std::size_t tone = 0; tone < sums.size(); ++tone) {
    const Correlation with =
        correlate(hop_.data(), cosine_[tone].data(), sine_[tone].data(), hop_.size());
    const double cycles =
        std::fmod(wave_.frequency_hz[tone] * start, rate_.value()) / rate_.value();
    sums[tone] =
        std::complex(with.re, -with.im) * std::polar(1.0, -2.0 * std::numbers::pi * cycles);
  }
  hop_.clear();
  ++hops_done_;
  hop_length_ = static_cast<std::size_t>(hop_start(hops_done_ + 1) - hop_start(hops_done_));
  hops_.push_back(sums);
  if (static_cast<std::int64_t>(hops_.size()) < hops_per_symbol) return;
  Powers powers{};
  for (std::size_t tone = 0; tone < powers.size(); ++tone) {
    std::complex<double> sum = 0.0;
    for (const auto& hop : hops_) sum += hop[tone];
    powers[tone] = std::norm(sum);
  }
  hops_.pop_front();
  windows_.push_back(powers);
  // The last symbol's window, and one more for the interpolation.
  consider(first_window_ + static_cast<std::int64_t>(windows_.size()) - 2 -
           (symbols - 1) * hops_per_symbol);
  if (static_cast<std::int64_t>(windows_.size()) > windows_kept) {
    windows_.pop_front();
    ++first_window_;
  }
}

double MarkerFinder::share(std::int64_t window, std::uint8_t tone) const {
  const std::int64_t place = window - first_window_;
  if (place < 0 || place >= static_cast<std::int64_t>(windows_.size())) return 0.0;
  const Powers& powers = windows_[static_cast<std::size_t>(place)];
  const double sum = powers[0] + powers[1] + powers[2] + powers[3];
  return sum > 0.0 ? powers[tone] / sum : 0.0;
}

double MarkerFinder::score(std::span<const std::uint8_t> expected, std::int64_t window) const {
  double sum = 0.0;
  for (const std::uint8_t tone : expected) {
    sum += share(window, tone);
    window += hops_per_symbol;
  }
  return sum / static_cast<double>(expected.size());
}

// How far, in windows, the best fit lies from `window`: the vertex of the parabola through three
// scores, which is near enough since the score is symmetric about its top.
double MarkerFinder::offset(std::span<const std::uint8_t> expected, std::int64_t window) const {
  const double before = score(expected, window - 1);
  const double here = score(expected, window);
  const double after = score(expected, window + 1);
  const double curvature = before - 2.0 * here + after;
  return curvature < 0.0 ? std::clamp(0.5 * (before - after) / curvature, -1.0, 1.0) : 0.0;
}

MarkerData MarkerFinder::read_data(std::int64_t window) const {
  MarkerData data{};
  window += static_cast<std::int64_t>(marker_preamble.size()) * hops_per_symbol;
  for (std::uint8_t& symbol : data) {
    for (std::uint8_t tone = 1; tone < 4; ++tone)
      if (share(window, tone) > share(window, symbol)) symbol = tone;
    window += hops_per_symbol;
  }
  return data;
}

void MarkerFinder::consider(std::int64_t window) {
  if (best_.window >= 0 && window > best_.window + same_marker) keep();
  if (window < 0) return;
  const double preamble = score(marker_preamble, window);
  if (preamble < least_share || preamble <= best_.score) return;
  const MarkerData data = read_data(window);
  const auto announced = signal::announced_signal(data);
  if (!announced || score(all_symbols(data), window) < least_share) return;
  best_ = {preamble, window, data, *announced};
}

void MarkerFinder::keep() {
  const auto all = all_symbols(best_.data);
  const std::span<const std::uint8_t> whole(all);
  const std::size_t half = all.size() / 2;
  const std::int64_t second = best_.window + static_cast<std::int64_t>(half) * hops_per_symbol;
  const double early = offset(whole.first(half), best_.window);
  const double late = offset(whole.subspan(half), second);
  // The halves' middles are `half` symbols apart, the first one half of that behind the start.
  const double drift = (late - early) / static_cast<double>(second - best_.window);
  const double start = static_cast<double>(best_.window) + early -
                       drift * static_cast<double>(second - best_.window) / 2.0;
  const double window_frames = wave_.symbol_s * rate_.value() / hops_per_symbol;
  FoundMarker found;
  found.band = band_;
  found.start_frame = start * window_frames;
  found.clock_ratio = 1.0 + drift;
  found.signal_frame =
      found.start_frame + signal::marker_length(band_).value() * rate_.value() * found.clock_ratio;
  found.quality = score(all, best_.window);
  found.announced = best_.announced;
  found_.push_back(found);
  best_ = {};
}

std::vector<FoundMarker> MarkerFinder::finish() {
  // A recording may stop with the marker; silence completes the last windows.
  const std::vector<double> silence(static_cast<std::size_t>(2 * same_marker) * (hop_length_ + 1),
                                    0.0);
  add(silence.data(), 1, silence.size());
  if (best_.window >= 0) keep();
  return std::move(found_);
}

std::vector<FoundMarker> find_markers(std::span<const double> samples, Hertz rate) {
  std::vector<FoundMarker> all;
  for (const MarkerBand band : {MarkerBand::mid, MarkerBand::low}) {
    MarkerFinder finder(band, rate);
    finder.add(samples.data(), 1, samples.size());
    for (FoundMarker& found : finder.finish()) all.push_back(std::move(found));
  }
  std::sort(all.begin(), all.end(), [](const FoundMarker& a, const FoundMarker& b) {
    return a.start_frame < b.start_frame;
  });
  return all;
}

}  // namespace railtap::measure
