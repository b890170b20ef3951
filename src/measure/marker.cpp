// SPDX-License-Identifier: MIT
// Finds, in a recording, the markers that announce test signals, and reads the patterns of a
// verification track: which side arrives, and which way up.
#include "measure/marker.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "measure/kernels.hpp"
#include "signal/marker.hpp"

namespace railtap::measure {

// Correlation with the marker's four frequencies, preamble search, decoding.

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

// The patterns of a verification track as recorded: which side arrives, and which way up.

namespace {

using signal::pattern_bursts;
using signal::PatternBurst;

constexpr Seconds burst_edge{0.04};   // fades of a burst, and what the marker leaves open
constexpr double most_drift = 0.006;  // half a percent of clock error, and a little
// Over the mean of eight neighbours, noise alone comes out that strong once in 250 000 times,
// (1 + 30/8)^−8 [the F distribution with 2 and 16 degrees of freedom].
constexpr double least_power_ratio = 30.0;
// A clock is searched for over many frequencies, each of which could be noise.
constexpr double told_clearly = 300.0;

std::span<const double> steady_part(std::span<const double> samples, Hertz rate,
                                    const PartPlace& place, const PatternBurst& burst) {
  return stretch_of(samples, rate, place, Seconds(burst.start_s) + burst_edge,
                    Seconds(burst.start_s + burst.length_s) - burst_edge);
}

struct Clock {
  double ratio = 1.0;
  double power_ratio = 0.0;  // of the line it was measured by, over its noise
};

// The clock by one burst: by its upper frequency, or by its lower one where that is stronger.
Clock clock_by(std::span<const double> steady, Hertz rate, const PatternBurst& burst,
               double expected) {
  Clock best{expected, 0.0};
  for (const double hz : {burst.high_hz, burst.low_hz}) {
    const std::array<double, 1> one{hz};
    const double ratio = find_clock_ratio(steady, rate, one, expected, most_drift);
    const double power = std::norm(line_in(steady, rate, Hertz(hz / ratio))) / 2.0;
    const double noise = noise_around(steady, rate, Hertz(hz / ratio));
    const double power_ratio = noise > 0.0 ? power / noise : (power > 0.0 ? 1e30 : 0.0);
    if (power_ratio > best.power_ratio) best = {ratio, power_ratio};
  }
  return best;
}

void add_line(PatternLine& line, std::span<const double> steady, Hertz rate, double ratio,
              double share) {
  const Hertz there = line.frequency / ratio;
  line.mean_square += share * std::norm(line_in(steady, rate, there)) / 2.0;
  line.noise += share * noise_around(steady, rate, there);
}

}  // namespace

bool PatternLine::stands_out() const {
  return mean_square > least_power_ratio * noise;
}

PatternReading measure_channel_pattern(std::span<const double> samples, Hertz rate,
                                       const PartPlace& place) {
  PatternReading reading;
  Clock clock{place.clock_ratio, told_clearly};
  for (const PatternBurst& burst : pattern_bursts) {
    const Clock told =
        clock_by(steady_part(samples, rate, place, burst), rate, burst, place.clock_ratio);
    if (told.power_ratio > clock.power_ratio) clock = told;
  }
  reading.clock_ratio = clock.ratio;
  for (std::size_t i = 0; i < reading.lines.size(); ++i) {
    PatternLine& line = reading.lines[i];
    line.left = i < 2;
    line.low = i % 2 == 0;
    const auto side = [&](const PatternBurst& b) { return b.left == line.left; };
    const auto bursts = std::count_if(pattern_bursts.begin(), pattern_bursts.end(), side);
    for (const PatternBurst& burst : pattern_bursts) {
      if (burst.left != line.left) continue;
      line.frequency = Hertz(line.low ? burst.low_hz : burst.high_hz);
      add_line(line, steady_part(samples, rate, place, burst), rate, clock.ratio,
               1.0 / static_cast<double>(bursts));
    }
  }
  return reading;
}

namespace {

using std::numbers::pi;

constexpr Seconds pulses_edge{0.15};  // fades, and what the marker leaves open
constexpr int delays = 720;           // tried within one cycle

struct Extremes {
  double highest = -1e300, lowest = 1e300;
};

// Highest and lowest of Σ weight·cos(k·θ + phase_k).
Extremes extremes(const std::vector<double>& weights, const std::vector<double>& phases,
                  const std::vector<int>& orders) {
  Extremes found;
  for (int d = 0; d < delays; ++d) {
    const double theta = 2.0 * pi * d / delays;
    double sum = 0.0;
    for (std::size_t i = 0; i < weights.size(); ++i)
      sum += weights[i] * std::cos(orders[i] * theta + phases[i]);
    found.highest = std::max(found.highest, sum);
    found.lowest = std::min(found.lowest, sum);
  }
  return found;
}

double asymmetry(const Extremes& e) {
  const double span = e.highest - e.lowest;
  return span > 0.0 ? (e.highest + e.lowest) / span : 0.0;
}

}  // namespace

bool PolarityReading::stands_out(int index) const {
  const auto i = static_cast<std::size_t>(index);
  return std::norm(phasor[i]) / 2.0 > least_power_ratio * noise[i];
}

PolarityReading measure_polarity(std::span<const double> samples, Hertz rate,
                                 const signal::PolarityPulses& pulses, const PartPlace& place) {
  PolarityReading reading;
  reading.orders = signal::polarity_orders(pulses.fundamental.value());
  const auto steady = stretch_of(samples, rate, place, pulses_edge, pulses.length - pulses_edge);
  std::vector<double> nominal;
  for (int k = 1; k <= reading.orders; ++k) nominal.push_back(k * pulses.fundamental.value());
  reading.clock_ratio = find_clock_ratio(steady, rate, nominal, place.clock_ratio, most_drift);
  reading.fundamental = pulses.fundamental / reading.clock_ratio;
  for (int k = 0; k < reading.orders; ++k) {
    const auto i = static_cast<std::size_t>(k);
    reading.phasor[i] = line_in(steady, rate, reading.fundamental * (k + 1.0));
    reading.noise[i] = noise_around(steady, rate, reading.fundamental * (k + 1.0));
  }
  return reading;
}

PolarityFit fit_polarity(const PolarityReading& reading,
                         const std::array<double, signal::polarity_amplitudes.size()>& turns) {
  PolarityFit fit;
  std::vector<double> weights, phases;
  std::vector<int> orders;
  double sum = 0.0;
  for (int k = 0; k < reading.orders; ++k) {
    if (!reading.stands_out(k)) continue;
    const auto i = static_cast<std::size_t>(k);
    orders.push_back(k + 1);
    weights.push_back(signal::polarity_amplitudes[i]);
    phases.push_back(std::arg(reading.phasor[i]) - turns[i]);
    sum += weights.back();
  }
  fit.orders_used = static_cast<int>(orders.size());
  if (fit.orders_used < 2) return fit;
  const Extremes found = extremes(weights, phases, orders);
  const Extremes played = extremes(weights, std::vector<double>(phases.size(), 0.0), orders);
  fit.upright = found.highest / sum;
  fit.inverted = -found.lowest / sum;
  // Odd orders alone look the same upside down.
  constexpr double too_little = 0.05;
  if (asymmetry(played) > too_little) fit.margin = asymmetry(found) / asymmetry(played);
  return fit;
}

}  // namespace railtap::measure
