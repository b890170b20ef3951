// SPDX-License-Identifier: MIT
// One block measured: coarse look, least-squares fit, then the spectrum of what is left.
#include "measure/tone.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "measure/frame.hpp"
#include "measure/kernels.hpp"
#include "measure/spectrum.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;

constexpr double shortest_block_s = 0.15;
constexpr std::size_t most_fitted_orders =
    32;  // by least squares in time; higher ones from the spectrum
constexpr std::size_t most_series_orders = 100;  // kept in the series; higher ones only counted
constexpr double highest_share_of_nyquist = 0.98;
// Below this share of power explained it is not one tone (common practice: THD+N above −7 dB means
// nothing).
constexpr double least_explained = 0.8;
constexpr double least_cycles = 3.0;
constexpr std::size_t most_lines = 16;
// A line has this many times the power of the noise around it: the largest of 20 000 bins of noise
// is about ln(20 000) = 10 times the mean, so a false line comes once in thousands of blocks.
constexpr double line_over_noise = 25.0;
constexpr std::ptrdiff_t lobe = 5;  // bins to each side that belong to a line
constexpr std::ptrdiff_t neighbours =
    24;  // bins to each side in which the noise around a line is read

double power_of(std::complex<double> phasor) {
  return 0.5 * std::norm(phasor);
}

// Moves the time origin to where the fundamental crosses zero upwards.
void start_at_crossing(HarmonicSeries& series) {
  if (series.phasor.empty()) return;
  const double first_phase = std::arg(series.phasor[0]) + 0.5 * pi;  // makes the fundamental a sine
  for (std::size_t k = 0; k < series.phasor.size(); ++k) {
    series.phasor[k] *= std::polar(1.0, -first_phase * static_cast<double>(k + 1));
  }
}

}  // namespace

BlockMeter::BlockMeter(Hertz rate, Band band)
    : rate_(rate), band_(band), spectrum_(2), other_spectrum_(2) {}

std::size_t BlockMeter::shortest_block() const {
  return static_cast<std::size_t>(std::ceil(shortest_block_s * rate_.value()));
}

double BlockMeter::bin_hz() const {
  return rate_.value() / static_cast<double>(spectrum_.length());
}

std::size_t BlockMeter::band_first_bin() const {
  return static_cast<std::size_t>(std::ceil(band_.low.value() / bin_hz() - 1e-9));
}

std::size_t BlockMeter::band_last_bin() const {
  const double last = std::floor(band_.high.value() / bin_hz() + 1e-9);
  return std::min(static_cast<std::size_t>(last), spectrum_.bins() - 1);
}

void BlockMeter::look(std::span<const double> samples) {
  const std::size_t length = Spectrum::good_length(samples.size());
  if (spectrum_.length() != length) {
    std::swap(spectrum_, other_spectrum_);
    std::swap(a_weights_, other_a_weights_);
  }
  if (spectrum_.length() != length) {
    spectrum_ = Spectrum(length);
    a_weights_.assign(spectrum_.bins(), 0.0);
    for (std::size_t bin = 1; bin < spectrum_.bins(); ++bin) {
      const Hertz frequency(bin_hz() * static_cast<double>(bin));
      a_weights_[bin] = a_weight(frequency);
    }
  }
  spectrum_.transform(samples);
}

// The strongest line's frequency in hertz; none where the spectrum is empty.
std::optional<double> BlockMeter::coarse_frequency() const {
  const auto first = static_cast<std::size_t>(std::ceil(std::max(least_cycles, 5.0 / bin_hz())));
  if (first + 1 >= spectrum_.bins()) return std::nullopt;
  const std::size_t best = spectrum_.strongest(first, spectrum_.bins() - 2);
  if (spectrum_.mean_square(best) <= 0.0) return std::nullopt;
  return spectrum_.interpolate_peak(best) * bin_hz();
}

BlockMeasurement BlockMeter::measure(std::span<const double> samples, std::optional<Hertz> near) {
  BlockMeasurement block;
  block.frames = samples.size();
  residual_.resize(samples.size());

  const double mean = figures(samples).sum / static_cast<double>(samples.size());
  for (std::size_t n = 0; n < samples.size(); ++n) residual_[n] = samples[n] - mean;
  const double ac_energy = figures(residual_).sum_of_squares;
  block.dc = mean;

  std::optional<double> start;
  if (near) {
    start = near->value();
  } else {
    look(residual_);
    start = coarse_frequency();
  }
  if (start && ac_energy > 0.0) {
    const double cycles_per_sample = *start / rate_.value();
    const double top = std::floor(highest_share_of_nyquist * 0.5 / cycles_per_sample);
    const auto orders = static_cast<std::size_t>(std::clamp(top, 1.0, double{most_fitted_orders}));
    fitter_.fit(samples, cycles_per_sample, orders, fit_);
    fitter_.residual(samples, fit_, residual_);
    const double left = figures(residual_).sum_of_squares;
    block.explained = std::max(0.0, 1.0 - left / ac_energy);
    block.tone = block.explained >= least_explained;
  }
  if (block.tone) {
    block.dc = fit_.dc;
    block.fundamental = power_of(fit_.phasor[0]);
    const double cycles = fit_.cycles_per_sample * 0.5 * static_cast<double>(samples.size() - 1);
    block.start_phase = std::remainder(std::arg(fit_.phasor[0]) - 2.0 * pi * cycles, 2.0 * pi);
  } else if (near) {
    return measure(samples);  // the tone may have moved: look again without the hint
  } else {
    for (std::size_t n = 0; n < samples.size(); ++n) residual_[n] = samples[n] - mean;
  }

  look(residual_);
  if (block.tone) take_out_high_orders(block, samples.size());
  take_out_lines(block);
  add_up_noise(block);
  return block;
}

BlockMeasurement BlockMeter::measure_moving(std::span<const double> samples, Hertz near,
                                            double& rise_db) {
  constexpr std::size_t few_orders = 8;  // enough to tell the frequency
  BlockMeasurement block;
  block.frames = samples.size();
  residual_.resize(samples.size());
  rise_db = 0.0;
  const double mean = figures(samples).sum / static_cast<double>(samples.size());
  block.dc = mean;
  for (std::size_t n = 0; n < samples.size(); ++n) residual_[n] = samples[n] - mean;
  const double ac_energy = figures(residual_).sum_of_squares;
  const double start = near / rate_;
  const double top = std::floor(highest_share_of_nyquist * 0.5 / start);
  const auto orders = static_cast<std::size_t>(std::clamp(top, 1.0, double{most_fitted_orders}));
  if (ac_energy <= 0.0) return block;

  fitter_.fit(samples, start, std::min(orders, few_orders), fit_);
  moving_fitter_.fit(samples, fit_.cycles_per_sample, orders, moving_);
  moving_fitter_.residual(samples, residual_);
  block.explained = std::max(0.0, 1.0 - figures(residual_).sum_of_squares / ac_energy);
  block.tone = block.explained >= least_explained;
  if (!block.tone) return block;

  rise_db = moving_.rise_db;
  block.dc = moving_.dc;
  block.fundamental = power_of(moving_.phasor[0]);
  const double cycles = moving_.cycles_per_sample * 0.5 * static_cast<double>(samples.size() - 1);
  block.start_phase = std::remainder(std::arg(moving_.phasor[0]) - 2.0 * pi * cycles, 2.0 * pi);
  look(residual_);
  add_moving_orders(block, moving_, samples.size());
  add_up_noise(block);
  return block;
}

// The noise among the harmonics is what the envelopes left of it, over the share they leave.
void BlockMeter::add_moving_orders(BlockMeasurement& block, const MovingTone& tone,
                                   std::size_t samples) {
  const double fundamental_bin = tone.cycles_per_sample * static_cast<double>(spectrum_.length());
  block.series.fundamental = Hertz(tone.cycles_per_sample * rate_.value());
  const double first_phase = std::arg(tone.phasor[0]) + 0.5 * pi;  // makes the fundamental a sine
  for (std::size_t order = 1; order <= tone.phasor.size(); ++order) {
    const double bin = fundamental_bin * static_cast<double>(order);
    if (bin + static_cast<double>(lobe) + 1.0 >= static_cast<double>(spectrum_.bins())) break;
    const double white =
        local_noise(bin) / tone.freedom * 0.5 * static_cast<double>(spectrum_.length());
    const double variance = 2.0 * white / static_cast<double>(samples) * tone.variance_factor;
    block.series.sigma.push_back(std::sqrt(variance));
    block.series.phasor.push_back(tone.phasor[order - 1] *
                                  std::polar(1.0, -first_phase * static_cast<double>(order)));
    const double f = static_cast<double>(order) * block.series.fundamental.value();
    if (order > 1 && in_band(f)) {
      block.harmonics += std::max(0.0, power_of(tone.phasor[order - 1]) - variance);
    }
  }
}

// The powers of the bins around a line, its own main lobe left out.
std::span<double> BlockMeter::bins_around(double bin) const {
  const auto centre = static_cast<std::ptrdiff_t>(std::lround(bin));
  const auto last = static_cast<std::ptrdiff_t>(spectrum_.bins()) - 2;
  const auto powers = spectrum_.mean_squares();
  const auto part = [&](std::ptrdiff_t from, std::ptrdiff_t to) {  // both included
    const auto begin = std::max(from, lobe), end = std::min(to, last) + 1;
    if (begin < end) scratch_.insert(scratch_.end(), powers.begin() + begin, powers.begin() + end);
  };
  scratch_.clear();
  part(centre - neighbours, centre - lobe - 1);
  part(centre + lobe + 1, centre + neighbours);
  return scratch_;
}

// Mean power per bin around a line. The median of exponentially distributed bin powers is ln 2 of
// their mean; it is used because a neighbouring line does not move it.
double BlockMeter::local_noise(double bin) const {
  const auto around = bins_around(bin);
  if (around.empty()) return 0.0;
  return median_reordering(around) / std::numbers::ln2;
}

// Whether local_noise(bin) <= limit: to count takes a tenth of the time of finding the median.
bool BlockMeter::is_quieter(double bin, double limit) const {
  const auto around = bins_around(bin);
  const double median_limit = limit * std::numbers::ln2;
  std::size_t within = 0;
  for (const double power : around) within += power <= median_limit ? 1 : 0;
  return around.empty() ? limit >= 0.0 : within > around.size() / 2;
}

bool BlockMeter::in_band(double frequency_hz) const {
  return frequency_hz >= band_.low.value() - 1e-6 &&
         frequency_hz <= band_.high.value() * (1.0 + 1e-6);
}

// The fitted orders: what noise around each leaves in one of its components, 2σ²/N with σ² the
// noise density at that frequency over the whole bandwidth.
double BlockMeter::fitted_sigma(double bin, std::size_t samples) const {
  const double white = local_noise(bin) * 0.5 * static_cast<double>(spectrum_.length());
  return std::sqrt(2.0 * white / static_cast<double>(samples));
}

// An order above the fitted ones, read off the spectrum and, where it exceeds the noise, taken out
// of it. \returns its phasor, with the fit's time origin, in the middle of the block; none where
// noise alone could be it
std::optional<std::complex<double>> BlockMeter::take_out_order(std::size_t order,
                                                               BlockMeasurement& block,
                                                               std::size_t samples) {
  const double bin =
      fit_.cycles_per_sample * static_cast<double>(spectrum_.length()) * static_cast<double>(order);
  // Of one component of a line that is read off the spectrum, over the noise of a bin there.
  const double line_variance = static_cast<double>(spectrum_.length()) /
                               static_cast<double>(samples) * spectrum_.line_variance_factor();
  const auto at_start = spectrum_.line(bin);
  const double middle = 0.5 * static_cast<double>(samples - 1);
  const double angle = 2.0 * pi * fit_.cycles_per_sample * static_cast<double>(order) * middle;
  const std::complex<double> phasor = at_start * std::polar(1.0, angle);
  if (order <= most_series_orders) {
    const double noise = local_noise(bin) * line_variance;
    block.series.phasor.push_back(phasor);
    block.series.sigma.push_back(std::sqrt(noise));
    if (power_of(phasor) < line_over_noise * noise) return std::nullopt;
  } else if (!is_quieter(bin, power_of(phasor) / (line_over_noise * line_variance))) {
    return std::nullopt;
  }
  spectrum_.subtract_line(bin, at_start);
  return phasor;
}

void BlockMeter::take_out_high_orders(BlockMeasurement& block, std::size_t samples) {
  const double fundamental_bin = fit_.cycles_per_sample * static_cast<double>(spectrum_.length());
  const double top = highest_share_of_nyquist * 0.5 / fit_.cycles_per_sample;
  const auto orders = static_cast<std::size_t>(std::max(1.0, std::floor(top)));
  HarmonicSeries& series = block.series;
  series.fundamental = Hertz(fit_.cycles_per_sample * rate_.value());
  series.phasor = fit_.phasor;
  for (std::size_t order = 1; order <= orders; ++order) {
    const double bin = fundamental_bin * static_cast<double>(order);
    if (bin + static_cast<double>(lobe) + 1.0 >= static_cast<double>(spectrum_.bins())) break;
    std::optional<std::complex<double>> phasor;
    if (order <= fit_.phasor.size()) {
      phasor = fit_.phasor[order - 1];
      series.sigma.push_back(fitted_sigma(bin, samples));
    } else {
      phasor = take_out_order(order, block, samples);
    }
    if (!phasor || order == 1) continue;
    if (!in_band(static_cast<double>(order) * series.fundamental.value())) continue;
    const double sigma = series.sigma.size() >= order ? series.sigma[order - 1] : 0.0;
    block.harmonics += std::max(0.0, power_of(*phasor) - sigma * sigma);
  }
  series.phasor.resize(std::min(series.phasor.size(), series.sigma.size()));
  start_at_crossing(series);
}

void BlockMeter::take_out_lines(BlockMeasurement& block) {
  constexpr auto margin = static_cast<std::size_t>(lobe);
  if (spectrum_.bins() < 2 * (margin + 1)) return;  // a short block of a low rate
  const std::size_t first = std::max(band_first_bin(), margin);
  const std::size_t last = std::min(band_last_bin(), spectrum_.bins() - margin - 2);
  if (first > last) return;
  for (std::size_t found = 0; found < most_lines; ++found) {
    const std::size_t best = spectrum_.strongest(first, last);
    const double noise = local_noise(static_cast<double>(best));
    if (spectrum_.mean_square(best) <= line_over_noise * noise) return;
    const double bin = spectrum_.refine_line(spectrum_.interpolate_peak(best));
    const auto phasor = spectrum_.line(bin);
    const double before = spectrum_.mean_square(best);
    spectrum_.subtract_line(bin, phasor);
    // What does not vanish was no sinusoid: speech, a swept tone, a drum.
    if (spectrum_.mean_square(best) > 0.05 * before) {
      spectrum_.subtract_line(bin, -phasor);
      return;
    }
    block.lines.push_back({Hertz(bin * bin_hz()), power_of(phasor)});
  }
}

void BlockMeter::add_up_noise(BlockMeasurement& block) const {
  for (std::size_t bin = band_first_bin(); bin <= band_last_bin(); ++bin) {
    const double power = spectrum_.mean_square(bin);
    block.noise += power;
    block.noise_a += power * a_weights_[bin];
  }
  block.residual = block.noise + block.harmonics;
  for (const auto& line : block.lines) block.residual += line.mean_square;
  find_narrow_noise(block);
}

// A whine whose pitch moves is no line and no hiss: its power lies in bins far above the median of
// their half octave, which hiss of any colour reaches once in e^7 bins.
void BlockMeter::find_narrow_noise(BlockMeasurement& block) const {
  constexpr double least_share = 2.5e-6;  // of the tone, −56 dB: less is no cause of anything
  constexpr double lowest_hz = 100.0;
  constexpr double stands_out = 10.0;  // times the mean that the median tells
  if (!block.tone || block.noise < least_share * block.fundamental) return;
  const auto powers = spectrum_.mean_squares();
  const std::size_t end = band_last_bin() + 1;
  double strongest = 0.0;
  auto first = std::max(band_first_bin(), static_cast<std::size_t>(lowest_hz / bin_hz()));
  while (first < end) {
    const auto part = powers.subspan(first, std::min(end - first, first / 2 + 1));
    scratch_.assign(part.begin(), part.end());
    const double mean = median_reordering(scratch_) / std::numbers::ln2;
    for (std::size_t n = 0; n < part.size(); ++n) {
      if (part[n] <= stands_out * mean) continue;
      block.narrow_noise += part[n] - mean;
      if (part[n] <= strongest) continue;
      strongest = part[n];
      block.narrow_frequency = Hertz(static_cast<double>(first + n) * bin_hz());
    }
    first += part.size();
  }
}

}  // namespace railtap::measure
