// SPDX-License-Identifier: MIT
// Filters of the virtual rig, and the change of a sampling rate.
#include "rig/filter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::rig {

// Filters in topology-preserving form, and the rig's faults: coefficients and the loops.

namespace {

double prewarped(Hertz corner, Hertz rate) {
  return std::tan(std::numbers::pi * (corner / rate));
}

TwoPoles two_poles(double g, double quality) {
  const double damping = 1.0 / quality;
  return {g, damping, 1.0 / (1.0 + g * (g + damping)), 0.0, 0.0};
}

void process(TwoPoles& poles, Pass pass, std::span<double> block) {
  for (double& x : block) {
    const double high = (x - (poles.damping + poles.g) * poles.band - poles.low) * poles.factor;
    const double band = poles.g * high + poles.band;
    const double low = poles.g * band + poles.low;
    poles.band = band + poles.g * high;
    poles.low = low + poles.g * band;
    x = pass == Pass::low ? low : high;
  }
}

}  // namespace

OnePole one_pole(Hertz corner, Hertz rate) {
  const double g = prewarped(corner, rate);
  return {g / (1.0 + g), 0.0};
}

Filter make_filter(Pass pass, const FilterSetting& setting, Hertz rate) {
  Filter filter;
  filter.pass = pass;
  if (setting.order == 0) return filter;
  const double g = prewarped(setting.corner, rate);
  if (setting.order % 2 != 0) {
    filter.has_one = true;
    filter.one = one_pole(setting.corner, rate);
  }
  // Butterworth poles lie evenly on a circle: Q = 1/(2·cos of the pair's angle to the axis).
  const int pairs = setting.order / 2;
  for (int k = 0; k < pairs; ++k) {
    const double angle = std::numbers::pi * (2 * k + 1) / (2.0 * setting.order);
    filter.two.push_back(two_poles(g, 1.0 / (2.0 * std::sin(angle))));
  }
  return filter;
}

void process(Filter& filter, std::span<double> block) {
  if (filter.has_one) {
    for (double& x : block) x = filter.pass == Pass::low ? filter.one.low(x) : filter.one.high(x);
  }
  for (TwoPoles& poles : filter.two) process(poles, filter.pass, block);
}

void couple(OnePole& pole, std::span<double> block) {
  for (double& x : block) x = pole.high(x);
}

namespace {

constexpr double boost_q = 1.0;  // as bass boosts of amplifiers are (common practice)

}  // namespace

Boost::Boost(Decibels gain, Hertz frequency, Hertz rate) : gain_(amplitude_ratio(gain)) {
  const double g = std::tan(std::numbers::pi * (frequency / rate));
  const double damping = std::sqrt(gain_) / boost_q;
  poles_ = {g, damping / gain_, 1.0 / (1.0 + g * (g + damping / gain_)), 0.0, 0.0};
}

void Boost::process(std::span<double> block) {
  if (gain_ == 1.0) return;
  for (double& x : block) {
    const double high =
        (x - (poles_.damping + poles_.g) * poles_.band - poles_.low) * poles_.factor;
    const double band = poles_.g * high + poles_.band;
    const double low = poles_.g * band + poles_.low;
    poles_.band = band + poles_.g * high;
    poles_.low = low + poles_.g * band;
    x += (gain_ - 1.0) * poles_.damping * band;
  }
}

void Tones::add(Volts rms, Hertz frequency, Hertz rate) {
  if (rms.value() <= 0.0) return;
  const double step = 2.0 * std::numbers::pi * (frequency / rate);
  tones_.push_back({std::cos(step), std::sin(step), rms.value() * std::numbers::sqrt2, 0.0});
}

void Tones::process(std::span<double> block) {
  for (Tone& tone : tones_) {
    for (double& x : block) {
      x += tone.quadrature;
      const double next = tone.in_phase * tone.cosine - tone.quadrature * tone.sine;
      tone.quadrature = tone.in_phase * tone.sine + tone.quadrature * tone.cosine;
      tone.in_phase = next;
    }
  }
}

Tones tones_of(const Faults& faults, Hertz rate) {
  constexpr double second = 0.5, third = 0.32;  // 6 and 10 dB below
  Tones tones;
  tones.add(faults.hum, faults.hum_frequency, rate);
  tones.add(faults.hum * second, faults.hum_frequency * 2.0, rate);
  tones.add(faults.hum * third, faults.hum_frequency * 3.0, rate);
  tones.add(faults.whine, faults.whine_frequency, rate);
  return tones;
}

// Windowed-sinc filters and the loops that run them.

namespace {

/// Modified Bessel function of the first kind, order 0, by its series.
double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > sum * 1e-17; ++k) {
    term *= (x / (2.0 * k)) * (x / (2.0 * k));
    sum += term;
  }
  return sum;
}

double sinc(double x) {
  return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

/// Filters a block: one dot product per output sample, of every phase in turn.
RAILTAP_VECTORIZE void filter_block(const double* history, const double* phases, std::size_t taps,
                                    std::size_t phase_count, std::size_t step,
                                    std::span<double> output) {
  for (std::size_t n = 0; n < output.size(); ++n) {
    const double* x = history + (n / phase_count) * step;
    const double* h = phases + (n % phase_count) * taps;
    double sum = 0.0;
#pragma omp simd reduction(+ : sum)
    for (std::size_t k = 0; k < taps; ++k) sum += x[k] * h[k];
    output[n] = sum;
  }
}

/// Appends a block behind the history.
void append(std::vector<double>& history, std::size_t kept, std::span<const double> block) {
  history.resize(kept + block.size());
  std::copy(block.begin(), block.end(), history.begin() + static_cast<std::ptrdiff_t>(kept));
}

/// Moves the last `kept` samples to the front.
void keep_last(std::vector<double>& history, std::size_t kept) {
  std::copy(history.end() - static_cast<std::ptrdiff_t>(kept), history.end(), history.begin());
}

}  // namespace

std::vector<double> low_pass_taps(double pass, double stop, Decibels rejection) {
  const double beta = 0.1102 * (rejection.value() - 8.7);
  const double order = (rejection.value() - 8.0) / (2.285 * 2.0 * std::numbers::pi * (stop - pass));
  const int half = static_cast<int>(std::ceil(order / 2.0));
  const double cutoff = pass + stop;  // twice the middle of the transition band
  std::vector<double> taps;
  double sum = 0.0;
  for (int n = -half; n <= half; ++n) {
    const double ratio = static_cast<double>(n) / (half + 1);
    const double window = bessel_i0(beta * std::sqrt(1.0 - ratio * ratio)) / bessel_i0(beta);
    taps.push_back(cutoff * sinc(cutoff * n) * window);
    sum += taps.back();
  }
  for (double& tap : taps) tap /= sum;
  return taps;
}

Interpolator::Interpolator(int factor, double pass) : factor_(factor) {
  const std::vector<double> taps = low_pass_taps(pass, 1.0 / factor - pass, resampler_rejection);
  taps_ = taps.size();
  const auto phases = static_cast<std::size_t>(factor);
  phase_taps_ = (taps_ + phases - 1) / phases;
  phases_.assign(phases * phase_taps_, 0.0);
  for (std::size_t n = 0; n < taps_; ++n) {
    const std::size_t reversed = phase_taps_ - 1 - n / phases;
    phases_[(n % phases) * phase_taps_ + reversed] = taps[n] * factor;
  }
  history_.assign(phase_taps_ - 1, 0.0);
}

double Interpolator::delay() const {
  return static_cast<double>(taps_ - 1) / 2.0;
}

void Interpolator::process(std::span<const double> input, std::span<double> output) {
  append(history_, phase_taps_ - 1, input);
  filter_block(history_.data(), phases_.data(), phase_taps_, static_cast<std::size_t>(factor_), 1,
               output);
  keep_last(history_, phase_taps_ - 1);
}

Decimator::Decimator(int factor, double pass)
    : factor_(factor), taps_(low_pass_taps(pass, 1.0 / factor - pass, resampler_rejection)) {
  history_.assign(taps_.size() - 1, 0.0);
}

double Decimator::delay() const {
  return static_cast<double>(taps_.size() - 1) / 2.0;
}

void Decimator::process(std::span<const double> input, std::span<double> output) {
  append(history_, taps_.size() - 1, input);
  filter_block(history_.data(), taps_.data(), taps_.size(), 1, static_cast<std::size_t>(factor_),
               output);
  keep_last(history_, taps_.size() - 1);
}

std::array<double, Lagrange::points> lagrange_weights(double fraction) {
  std::array<double, Lagrange::points> weights;
  const double x = fraction + static_cast<double>(Lagrange::points_before);
  for (std::size_t i = 0; i < weights.size(); ++i) {
    weights[i] = 1.0;
    for (std::size_t j = 0; j < weights.size(); ++j) {
      if (j == i) continue;
      weights[i] *=
          (x - static_cast<double>(j)) / (static_cast<double>(i) - static_cast<double>(j));
    }
  }
  return weights;
}

namespace {
constexpr std::size_t lagrange_places = 1024;
}

Lagrange::Lagrange() {
  for (std::size_t place = 0; place <= lagrange_places + 1; ++place) {
    const auto weights = lagrange_weights(static_cast<double>(place) / lagrange_places);
    weights_.insert(weights_.end(), weights.begin(), weights.end());
  }
}

Lagrange::Pair Lagrange::at(const double* left, const double* right, double fraction) const {
  const double place = fraction * lagrange_places;
  const auto whole = static_cast<std::size_t>(place);
  const double rest = place - static_cast<double>(whole);
  const double* near = &weights_[whole * points];
  const double* far = near + points;
  Pair sum{0.0, 0.0};
  for (std::size_t k = 0; k < points; ++k) {
    const double weight = near[k] + rest * (far[k] - near[k]);
    sum.left += weight * left[k];
    sum.right += weight * right[k];
  }
  return sum;
}

}  // namespace railtap::rig
