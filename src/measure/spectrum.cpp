// SPDX-License-Identifier: MIT
// Power spectra of blocks of samples, A-weighting, and the spectrum thinned out for a picture.
#include "measure/spectrum.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <kissfft/kissfft.hh>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {
namespace {

using std::numbers::pi;

constexpr std::array<double, 4> window_terms = {0.35875, 0.48829, 0.14128, 0.01168};

RAILTAP_VECTORIZE void multiply(const double* a, const double* b, double* out, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) out[n] = a[n] * b[n];
}

RAILTAP_VECTORIZE void scaled_norms(const std::complex<double>* z, double scale, double* out,
                                    std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    out[n] = (z[n].real() * z[n].real() + z[n].imag() * z[n].imag()) * scale;
  }
}

RAILTAP_VECTORIZE double highest(const double* x, std::size_t count) {
  double highest = x[0];
#pragma omp simd reduction(max : highest)
  for (std::size_t n = 0; n < count; ++n) highest = x[n] > highest ? x[n] : highest;
  return highest;
}

bool has_only_small_factors(std::size_t n) {
  for (const std::size_t factor : {2U, 3U, 5U}) {
    while (n % factor == 0) n /= factor;
  }
  return n == 1;
}

// Half of each side term of the window, alternating in sign, from −3 to 3 bins: what the transform
// of the rectangular window is multiplied with.
constexpr std::ptrdiff_t side_terms = 3;
constexpr std::array<double, 2 * side_terms + 1> shifted_terms = {
    -0.5 * window_terms[3], 0.5 * window_terms[2], -0.5 * window_terms[1], window_terms[0],
    -0.5 * window_terms[1], 0.5 * window_terms[2], -0.5 * window_terms[3]};
constexpr double sum_of_terms =
    window_terms[0] - window_terms[1] + window_terms[2] - window_terms[3];
constexpr double on_bin = 1e-12;  // bins: nearer, and the line is on the bin

// cot θ; near 0 by its series [Abramowitz and Stegun, 4.3.70], of which three terms are exact to
// rounding there and take a fraction of a tangent's time.
double cotangent_of(double angle) {
  constexpr double near_zero = 0.01;
  if (std::abs(angle) > near_zero) return 1.0 / std::tan(angle);
  return 1.0 / angle - angle * (1.0 / 3.0 + angle * angle / 45.0);
}

}  // namespace

struct Spectrum::Plan {
  explicit Plan(std::size_t length);
  kissfft<double> transform;
  std::vector<double> window;
  double sum2 = 0.0, sum4 = 0.0;  // of the window's squares and fourth powers
};

Spectrum::Plan::Plan(std::size_t length) : transform(length / 2, false), window(length) {
  for (std::size_t n = 0; n < length; ++n) {
    const double c = std::cos(2.0 * pi * static_cast<double>(n) / static_cast<double>(length));
    // cos 2φ = 2c² − 1, cos 3φ = 4c³ − 3c [Abramowitz and Stegun, 4.3.25 and 4.3.27].
    const double w = window_terms[0] - window_terms[1] * c + window_terms[2] * (2.0 * c * c - 1.0) -
                     window_terms[3] * c * (4.0 * c * c - 3.0);
    window[n] = w;
    sum2 += w * w;
    sum4 += w * w * w * w;
  }
}

// A thread keeps its last ones, as the channels of a recording and the steps of a ladder have the
// same few lengths. With other factors KissFFT would write to memory of the plan.
std::shared_ptr<const Spectrum::Plan> Spectrum::plan_of(std::size_t length) {
  if (!has_only_small_factors(length)) return std::make_shared<const Plan>(length);
  thread_local std::array<std::shared_ptr<const Plan>, 4> kept;
  thread_local std::size_t oldest = 0;
  for (const auto& plan : kept) {
    if (plan && plan->window.size() == length) return plan;
  }
  auto plan = std::make_shared<const Plan>(length);
  kept[oldest] = plan;
  oldest = (oldest + 1) % kept.size();
  return plan;
}

Spectrum::~Spectrum() = default;
Spectrum::Spectrum(Spectrum&&) noexcept = default;
Spectrum& Spectrum::operator=(Spectrum&&) noexcept = default;

Spectrum::Spectrum(std::size_t length)
    : plan_(plan_of(length)),
      windowed_(length),
      bins_(length / 2 + 1),
      mean_squares_(length / 2 + 1),
      mean_square_scale_(2.0 / (static_cast<double>(length) * plan_->sum2)),
      line_variance_factor_(static_cast<double>(length) * plan_->sum4 /
                            (plan_->sum2 * plan_->sum2)) {}

std::size_t Spectrum::good_length(std::size_t available) {
  std::size_t n = available - available % 2;
  while (n > 0 && !has_only_small_factors(n)) n -= 2;
  return n;
}

void Spectrum::transform(std::span<const double> samples) {
  multiply(samples.data(), plan_->window.data(), windowed_.data(), length());
  plan_->transform.transform_real(windowed_.data(), bins_.data());
  // KissFFT packs the real bin at half the rate into the imaginary part of bin 0.
  bins_.back() = bins_.front().imag();
  bins_.front() = bins_.front().real();
  scaled_norms(bins_.data(), mean_square_scale_, mean_squares_.data(), bins_.size());
}

std::size_t Spectrum::strongest(std::size_t first, std::size_t last) const {
  // The place is looked for in the one stretch that holds the value: one by one is slow.
  constexpr std::size_t stretch = 256;
  double power = mean_squares_[first];
  std::size_t bin = first;
  for (std::size_t start = first; start <= last; start += stretch) {
    const double here = highest(mean_squares_.data() + start, std::min(stretch, last + 1 - start));
    if (here <= power) continue;
    power = here;
    bin = start;
  }
  while (bin < last && mean_squares_[bin] != power) ++bin;
  return bin;
}

// The transform of the rectangular window, Σ_{n<N} e^{j2π·x·n/N}, is e^{jπx}·e^{−jθ}·sin(πx)/sin(θ)
// with θ = πx/N. For x = f + k, k whole, that is e^{jπf}·sin(πf)·(cot θ − j): all bins of a line
// share the factor in front [Harris, Proc. IEEE 66 (1978), section IV, for the cosine-sum windows].
Spectrum::Kernels Spectrum::kernels(double bin, std::ptrdiff_t centre, double length) {
  constexpr std::ptrdiff_t reach = main_lobe_bins + side_terms;
  const double fraction = bin - static_cast<double>(centre);
  Kernels result{};
  if (std::abs(fraction) < on_bin) {
    for (std::ptrdiff_t k = -side_terms; k <= side_terms; ++k) {
      result[static_cast<std::size_t>(main_lobe_bins + k)] =
          length * shifted_terms[static_cast<std::size_t>(side_terms + k)];
    }
    return result;
  }
  std::array<double, 2 * reach + 1> cotangent;  // of x = fraction − k
  for (std::ptrdiff_t k = -reach; k <= reach; ++k) {
    cotangent[static_cast<std::size_t>(reach + k)] =
        cotangent_of(pi * (fraction - static_cast<double>(k)) / length);
  }
  const std::complex<double> front = std::polar(std::sin(pi * fraction), pi * fraction);
  for (std::size_t b = 0; b < result.size(); ++b) {
    double real = 0.0;
    for (std::size_t s = 0; s < shifted_terms.size(); ++s) {
      real += shifted_terms[s] * cotangent[b + s];
    }
    result[b] = front * std::complex(real, -sum_of_terms);
  }
  return result;
}

Spectrum::Projection Spectrum::project(double bin, std::ptrdiff_t centre) const {
  Projection projection;
  const Kernels kernel = kernels(bin, centre, static_cast<double>(length()));
  for (std::size_t b = 0; b < kernel.size(); ++b) {
    const auto at = centre - main_lobe_bins + static_cast<std::ptrdiff_t>(b);
    projection.onto_line += bins_[static_cast<std::size_t>(at)] * std::conj(kernel[b]);
    projection.line_energy += std::norm(kernel[b]);
  }
  return projection;
}

std::complex<double> Spectrum::line(double bin) const {
  const Projection projection = project(bin, std::lround(bin));
  return 2.0 * projection.onto_line / projection.line_energy;
}

double Spectrum::refine_line(double bin) const {
  const auto centre = static_cast<std::ptrdiff_t>(std::lround(bin));
  const auto explained = [&](double at) {
    const Projection projection = project(at, centre);
    return std::norm(projection.onto_line) / projection.line_energy;
  };
  // The top of a parabola through three points, twice: the start is within 0.02 bin, and a step of
  // that size leaves the second one little to do.
  for (const double step : {0.02, 0.002}) {
    const double left = explained(bin - step);
    const double here = explained(bin);
    const double right = explained(bin + step);
    const double curvature = left - 2.0 * here + right;
    if (curvature < 0.0) bin += std::clamp(0.5 * (left - right) / curvature, -2.0, 2.0) * step;
  }
  return bin;
}

void Spectrum::subtract_line(double bin, std::complex<double> phasor) {
  const auto centre = static_cast<std::ptrdiff_t>(std::lround(bin));
  const Kernels kernel = kernels(bin, centre, static_cast<double>(length()));
  for (std::size_t b = 0; b < kernel.size(); ++b) {
    const auto at = centre - main_lobe_bins + static_cast<std::ptrdiff_t>(b);
    auto& bin_there = bins_[static_cast<std::size_t>(at)];
    bin_there -= 0.5 * phasor * kernel[b];
    mean_squares_[static_cast<std::size_t>(at)] = std::norm(bin_there) * mean_square_scale_;
  }
}

double Spectrum::interpolate_peak(std::size_t bin) const {
  if (bin == 0 || bin + 1 >= bins_.size()) return static_cast<double>(bin);
  constexpr double tiny = 1e-300;  // keeps log finite on digital silence
  const double left = std::log(std::norm(bins_[bin - 1]) + tiny);
  const double centre = std::log(std::norm(bins_[bin]) + tiny);
  const double right = std::log(std::norm(bins_[bin + 1]) + tiny);
  const double curvature = left - 2.0 * centre + right;
  if (curvature >= 0.0) return static_cast<double>(bin);
  return static_cast<double>(bin) + std::clamp(0.5 * (left - right) / curvature, -0.5, 0.5);
}

namespace {

// Pole frequencies in hertz and the level at 1 kHz that normalises the curve [IEC 61672-1:2013,
// annex E].
constexpr double pole1_hz = 20.598997;
constexpr double pole2_hz = 107.65265;
constexpr double pole3_hz = 737.86223;
constexpr double pole4_hz = 12194.217;
constexpr double normalisation_db = 2.000;

}  // namespace

double a_weight(Hertz frequency) {
  const double f2 = frequency.value() * frequency.value();
  const double numerator = pole4_hz * pole4_hz * f2 * f2;
  const double denominator = (f2 + pole1_hz * pole1_hz) *
                             std::sqrt((f2 + pole2_hz * pole2_hz) * (f2 + pole3_hz * pole3_hz)) *
                             (f2 + pole4_hz * pole4_hz);
  static const double normalisation = std::pow(10.0, normalisation_db / 10.0);
  const double ratio = numerator / denominator;
  return normalisation * ratio * ratio;
}

Decibels a_weighting(Hertz frequency) {
  return Decibels(10.0 * std::log10(a_weight(frequency)));
}

namespace {

constexpr std::size_t least_samples = 1024;
constexpr double columns_per_octave = 48.0;
// Half the stretch in bins: of a line, what lies further out in the squared window is below 1e-6.
constexpr std::size_t half_width = 5;

/// The window of `Spectrum` [Harris, Proc. IEEE 66 (1978), p. 65], put on once more.
struct Windowed {
  std::vector<double> samples;
  double power_scale = 0.0;  ///< what `Spectrum::mean_square` is to be multiplied by
};

Windowed windowed(std::span<const double> samples) {
  const double step = 2.0 * std::numbers::pi / static_cast<double>(samples.size());
  double sum_of_squares = 0.0, sum_of_fourths = 0.0;
  Windowed out;
  out.samples.reserve(samples.size());
  for (std::size_t n = 0; n < samples.size(); ++n) {
    const double angle = step * static_cast<double>(n);
    const double w = 0.35875 - 0.48829 * std::cos(angle) + 0.14128 * std::cos(2.0 * angle) -
                     0.01168 * std::cos(3.0 * angle);
    out.samples.push_back(w * samples[n]);
    sum_of_squares += w * w;
    sum_of_fourths += w * w * w * w;
  }
  out.power_scale = sum_of_squares / sum_of_fourths;
  return out;
}

/// Without its mean: DC would lie over the lowest frequencies.
std::vector<double> without_dc(std::span<const double> samples) {
  double sum = 0.0;
  for (const double sample : samples) sum += sample;
  const double mean = sum / static_cast<double>(samples.size());
  std::vector<double> out(samples.begin(), samples.end());
  for (double& sample : out) sample -= mean;
  return out;
}

/// Power in the stretch around each bin.
std::vector<double> stretches(const Spectrum& spectrum, double scale) {
  std::vector<double> out(spectrum.bins(), 0.0);
  for (std::size_t bin = half_width; bin + half_width < out.size(); ++bin) {
    for (std::size_t k = bin - half_width; k <= bin + half_width; ++k) {
      out[bin] += scale * spectrum.mean_square(k);
    }
  }
  return out;
}

int column_of(double hz) {
  return static_cast<int>(std::floor(columns_per_octave * std::log2(hz)));
}

}  // namespace

SpectrumCurve spectrum_curve(std::span<const double> samples, Hertz rate, Band band) {
  SpectrumCurve curve;
  const std::size_t length = Spectrum::good_length(samples.size());
  if (length < least_samples) return curve;
  Spectrum spectrum(length);
  const Windowed block = windowed(without_dc(samples.first(length)));
  spectrum.transform(block.samples);
  const double bin_hz = rate.value() / static_cast<double>(length);
  const std::vector<double> power = stretches(spectrum, block.power_scale);
  curve.resolution = Hertz(bin_hz * static_cast<double>(2 * half_width + 1));
  int column = -1;
  for (std::size_t bin = half_width; bin + half_width < power.size(); ++bin) {
    const double hz = bin_hz * static_cast<double>(bin);
    if (hz < band.low.value() || hz > band.high.value()) continue;
    const bool same = !curve.frequency_hz.empty() && column == column_of(hz);
    if (same && power[bin] <= curve.mean_square.back()) continue;
    if (same) {
      curve.frequency_hz.back() = hz;
      curve.mean_square.back() = power[bin];
    } else {
      curve.frequency_hz.push_back(hz);
      curve.mean_square.push_back(power[bin]);
    }
    column = column_of(hz);
  }
  return curve;
}

}  // namespace railtap::measure
