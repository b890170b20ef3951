// SPDX-License-Identifier: MIT
// Spectral division of a recorded sweep with KissFFT.
#include "measure/deconvolution.hpp"

#include <algorithm>
#include <cmath>
#include <kissfft/kissfft.hh>
#include <numbers>

namespace railtap::measure {
namespace {

using std::numbers::pi;

// Power below that of the sweep's spectrum, in its band, from which a bin counts less: 15 dB.
// Enough that noise just outside of the band is raised by no more than 9 dB, 1/(2·√share); its bias
// within the band is what `reference` takes out.
constexpr double regularisation_share = 0.03;
constexpr double shortest_fade_s = 0.01;  // as the generator's

std::size_t fast_length(std::size_t least) {
  const auto fast = [](std::size_t n) {
    for (const std::size_t factor : {2U, 3U, 5U}) {
      while (n % factor == 0) n /= factor;
    }
    return n == 1;
  };
  std::size_t n = least + least % 2;
  while (!fast(n / 2)) n += 2;
  return n;
}

double raised_cosine(double share) {
  return 0.5 - 0.5 * std::cos(pi * std::clamp(share, 0.0, 1.0));
}

// The sweep as signal/voices.cpp renders it, every time stretched by the clock ratio.
void render_sweep(const signal::LogSweep& sweep, double ratio, Hertz rate, std::size_t lead,
                  std::vector<double>& out) {
  std::fill(out.begin(), out.end(), 0.0);
  const double length_s = sweep.length.value();
  const double rise_s = length_s / std::log(sweep.high / sweep.low);
  const double fade_s =
      std::min(length_s / 2.0, std::max(shortest_fade_s, 1.0 / sweep.low.value()));
  const double amplitude = sine_peak(sweep.level);
  const double step_s = 1.0 / (rate.value() * ratio);
  const auto frames = static_cast<std::size_t>(length_s / step_s);
  for (std::size_t n = 0; n < frames && lead + n < out.size(); ++n) {
    const double t_s = static_cast<double>(n) * step_s;
    const double cycles = sweep.low.value() * rise_s * std::expm1(t_s / rise_s);
    const double edge = raised_cosine(std::min(t_s, length_s - t_s) / fade_s);
    out[lead + n] = amplitude * edge * std::sin(2.0 * pi * (cycles - std::floor(cycles)));
  }
}

}  // namespace

struct Deconvolution::Plan {
  std::size_t length;
  kissfft<double> forward, inverse;
  std::vector<double> work;

  explicit Plan(std::size_t n) : length(n), forward(n / 2, false), inverse(n, true), work(n, 0.0) {}

  void transform(std::vector<std::complex<double>>& bins) {
    bins.resize(length / 2 + 1);
    forward.transform_real(work.data(), bins.data());
    // KissFFT packs the real bin at half the rate into the imaginary part of bin 0.
    bins.back() = bins.front().imag();
    bins.front() = bins.front().real();
  }

  [[nodiscard]] ImpulseResponse analytic(const std::vector<std::complex<double>>& bins) const {
    std::vector<std::complex<double>> full(length);
    const double scale = 1.0 / static_cast<double>(length);
    for (std::size_t k = 0; k < bins.size(); ++k) full[k] = bins[k] * scale;
    ImpulseResponse response{std::vector<std::complex<double>>(length)};
    inverse.transform(full.data(), response.samples.data());
    return response;
  }
};

Deconvolution::~Deconvolution() = default;

Deconvolution::Deconvolution(std::span<const double> samples, std::size_t lead, Hertz rate,
                             const signal::LogSweep& sweep)
    : plan_(std::make_unique<Plan>(fast_length(samples.size()))),
      rate_(rate),
      sweep_(sweep),
      lead_(lead) {
  double sum = 0.0;
  for (const double x : samples) sum += x;
  const double mean = samples.empty() ? 0.0 : sum / static_cast<double>(samples.size());
  for (std::size_t n = 0; n < samples.size(); ++n) plan_->work[n] = samples[n] - mean;
  plan_->transform(recorded_);
}

void Deconvolution::render(double clock_ratio) {
  if (rendered_ratio_ == clock_ratio) return;
  render_sweep(sweep_, clock_ratio, rate_, lead_, plan_->work);
  plan_->transform(played_);
  rendered_ratio_ = clock_ratio;
}

// The sweep's power spectrum by stationary phase, A²/4·L/f, with a constant share below its band.
double Deconvolution::regularisation(std::size_t bin) const {
  const double rate_hz = rate_.value();
  const double hz = static_cast<double>(bin) * rate_hz / static_cast<double>(plan_->length);
  const double rise_s = sweep_.length.value() / std::log(sweep_.high / sweep_.low);
  const double amplitude = sine_peak(sweep_.level) / 2.0;
  return regularisation_share * amplitude * amplitude * rise_s * rate_hz * rate_hz /
         std::max(hz, sweep_.low.value() / 2.0);
}

ImpulseResponse Deconvolution::response(double clock_ratio) {
  render(clock_ratio);
  std::vector<std::complex<double>> quotient(played_.size());
  for (std::size_t k = 1; k < quotient.size(); ++k) {
    quotient[k] =
        recorded_[k] * std::conj(played_[k]) / (std::norm(played_[k]) + regularisation(k));
  }
  return plan_->analytic(quotient);
}

ImpulseResponse Deconvolution::reference(double clock_ratio) {
  render(clock_ratio);
  std::vector<std::complex<double>> quotient(played_.size());
  for (std::size_t k = 1; k < quotient.size(); ++k) {
    const double power = std::norm(played_[k]);
    quotient[k] = power / (power + regularisation(k));
  }
  return plan_->analytic(quotient);
}

}  // namespace railtap::measure
