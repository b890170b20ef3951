// SPDX-License-Identifier: MIT
// Single frequencies by direct transform, and the search for a common clock ratio.
#include "measure/line_search.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace railtap::measure {
namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

// Long enough to suppress the mean frequency and its double, short enough that half a percent of
// clock error turns the fourth harmonic by less than half a cycle.
constexpr double cycles_per_block = 20.0;

double hann(double share) {
  return 0.5 - 0.5 * std::cos(2.0 * pi * share);
}

// Σ x(n)·e^(−jωn), the phase as at the first sample.
Complex plain_sum(std::span<const double> x, double cycles_per_sample) {
  const Complex turn = std::polar(1.0, -2.0 * pi * cycles_per_sample);
  Complex rotation = 1.0, sum = 0.0;
  for (const double sample : x) {
    sum += sample * rotation;
    rotation *= turn;
  }
  return sum;
}

/// One frequency as the phasors of short blocks, so that small shifts of it cost little.
class Blocks {
 public:
  Blocks(std::span<const double> x, Hertz rate, double hz) : hz_(hz) {
    const double wanted = cycles_per_block * rate.value() / hz;
    const double most = static_cast<double>(x.size()) / 8.0;
    const auto length = static_cast<std::size_t>(std::max(1.0, std::min(wanted, most)));
    const std::size_t count = x.size() / length;
    for (std::size_t b = 0; b < count; ++b) {
      const double start_s = static_cast<double>(b * length) / rate.value();
      const double weight = hann((static_cast<double>(b) + 0.5) / static_cast<double>(count));
      const Complex phase = std::polar(1.0, -2.0 * pi * std::fmod(hz * start_s, 1.0));
      phasors_.push_back(weight * phase *
                         plain_sum(x.subspan(b * length, length), hz / rate.value()));
      middles_s_.push_back(start_s + 0.5 * static_cast<double>(length) / rate.value());
    }
  }

  /// Power where the frequency is higher by `shift`, a share of itself.
  [[nodiscard]] double power(double shift) const {
    Complex sum = 0.0;
    for (std::size_t b = 0; b < phasors_.size(); ++b)
      sum += phasors_[b] * std::polar(1.0, -2.0 * pi * hz_ * shift * middles_s_[b]);
    return std::norm(sum);
  }

 private:
  double hz_;
  std::vector<Complex> phasors_;
  std::vector<double> middles_s_;
};

double power_of(const std::vector<Blocks>& lines, double shift) {
  double sum = 0.0;
  for (const Blocks& line : lines) sum += line.power(shift);
  return sum;
}

double best_shift(const std::vector<Blocks>& lines, double centre, double step, int steps) {
  double best = centre, highest = -1.0;
  for (int k = -steps; k <= steps; ++k) {
    const double power = power_of(lines, centre + k * step);
    if (power > highest) {
      highest = power;
      best = centre + k * step;
    }
  }
  return best;
}

}  // namespace

Complex line_in(std::span<const double> samples, Hertz rate, Hertz frequency) {
  if (samples.empty()) return 0.0;
  const auto length = static_cast<double>(samples.size());
  const double cycles = frequency / rate;
  const Complex turn = std::polar(1.0, -2.0 * pi * cycles);
  const Complex window_turn = std::polar(1.0, 2.0 * pi / length);
  Complex rotation = std::polar(1.0, 2.0 * pi * cycles * length / 2.0);
  Complex window = std::polar(1.0, pi / length);
  Complex sum = 0.0;
  for (const double sample : samples) {
    sum += (0.5 - 0.5 * window.real()) * sample * rotation;
    rotation *= turn;
    window *= window_turn;
  }
  return sum * (4.0 / length);  // a Hann window's mean is 1/2, a cosine's amplitude twice its share
}

double noise_around(std::span<const double> samples, Hertz rate, Hertz frequency) {
  if (samples.empty()) return 0.0;
  const double bin = rate.value() / static_cast<double>(samples.size());
  double sum = 0.0;
  int count = 0;
  for (const int away : {-7, -6, -5, -4, 4, 5, 6, 7}) {
    const double hz = frequency.value() + away * bin;
    if (hz <= 0.0) continue;
    sum += std::norm(line_in(samples, rate, Hertz(hz))) / 2.0;
    ++count;
  }
  return count > 0 ? sum / count : 0.0;
}

double find_clock_ratio(std::span<const double> samples, Hertz rate,
                        std::span<const double> frequencies_hz, double expected, double reach) {
  if (samples.empty() || frequencies_hz.empty()) return expected;
  std::vector<Blocks> lines;
  double highest_hz = 0.0;
  for (const double hz : frequencies_hz) {
    lines.emplace_back(samples, rate, hz / expected);
    highest_hz = std::max(highest_hz, hz / expected);
  }
  const double length_s = static_cast<double>(samples.size()) / rate.value();
  double step = 0.25 / (length_s * highest_hz);
  double shift = best_shift(lines, 0.0, step, static_cast<int>(std::ceil(reach / step)));
  for (int round = 0; round < 3; ++round) {
    constexpr int finer = 8;
    step /= finer;
    shift = best_shift(lines, shift, step, finer);
  }
  return expected / (1.0 + shift);
}

std::span<const double> stretch_of(std::span<const double> samples, Hertz rate,
                                   const PartPlace& place, Seconds from, Seconds to) {
  const double per_second = rate.value() * place.clock_ratio;
  const auto bound = [&](Seconds at) {
    return static_cast<std::size_t>(std::clamp(place.start_frame + at.value() * per_second, 0.0,
                                               static_cast<double>(samples.size())));
  };
  const std::size_t first = bound(from), last = bound(to);
  return last > first ? samples.subspan(first, last - first) : std::span<const double>{};
}

}  // namespace railtap::measure
