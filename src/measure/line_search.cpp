// SPDX-License-Identifier: MIT
// Single frequencies by direct transform, and the search for a common clock ratio.
#include "measure/line_search.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "measure/kernels.hpp"

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

// Phasors of so many samples that follow each other: a single one would wait for each product.
constexpr std::size_t at_once = 8;
struct Phasors {
  double re[at_once], im[at_once];
  double step_re, step_im;  // from one row to the next

  Phasors(Complex first, Complex turn) {
    for (std::size_t k = 0; k < at_once; ++k) {
      re[k] = first.real();
      im[k] = first.imag();
      first *= turn;
    }
    const Complex step = std::pow(turn, static_cast<double>(at_once));
    step_re = step.real();
    step_im = step.imag();
  }
};

// Σ x(n)·(1 − Re window(n))·turned(n) over whole rows; both phasors go on to what is left.
RAILTAP_VECTORIZE Complex sum_of_rows(const double* x, std::size_t rows, Phasors& turned,
                                      Phasors& window) {
  double sum_re[at_once] = {}, sum_im[at_once] = {};
  for (std::size_t row = 0; row < rows; ++row) {
#pragma omp simd
    for (std::size_t k = 0; k < at_once; ++k) {
      const double value = (1.0 - window.re[k]) * x[row * at_once + k];
      sum_re[k] += value * turned.re[k];
      sum_im[k] += value * turned.im[k];
      const double next_turned = turned.re[k] * turned.step_re - turned.im[k] * turned.step_im;
      turned.im[k] = turned.re[k] * turned.step_im + turned.im[k] * turned.step_re;
      turned.re[k] = next_turned;
      const double next_window = window.re[k] * window.step_re - window.im[k] * window.step_im;
      window.im[k] = window.re[k] * window.step_im + window.im[k] * window.step_re;
      window.re[k] = next_window;
    }
  }
  Complex sum = 0.0;
  for (std::size_t k = 0; k < at_once; ++k) sum += Complex(sum_re[k], sum_im[k]);
  return sum;
}

Complex sum_of(std::span<const double> x, Phasors turned, Phasors window) {
  const std::size_t rows = x.size() / at_once;
  Complex sum = sum_of_rows(x.data(), rows, turned, window);
  for (std::size_t n = rows * at_once, k = 0; n < x.size(); ++n, ++k)
    sum += (1.0 - window.re[k]) * x[n] * Complex(turned.re[k], turned.im[k]);
  return sum;
}

// Σ x(n)·e^(−jωn), the phase as at the first sample.
Complex plain_sum(std::span<const double> x, double cycles_per_sample) {
  return sum_of(x, Phasors(1.0, std::polar(1.0, -2.0 * pi * cycles_per_sample)), Phasors(0.0, 1.0));
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
  const Phasors rotation(std::polar(1.0, 2.0 * pi * cycles * length / 2.0),
                         std::polar(1.0, -2.0 * pi * cycles));
  const Phasors window(std::polar(1.0, pi / length), std::polar(1.0, 2.0 * pi / length));
  const Complex sum = 0.5 * sum_of(samples, rotation, window);
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
