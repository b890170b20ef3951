// SPDX-License-Identifier: MIT
// The response of a chain from a recorded sweep: its impulse response by division of spectra, and
// the corner of its coupling.
#include "measure/swept_response.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>

#include <kissfft/kissfft.hh>

#include "measure/kernels.hpp"

namespace railtap::measure {

// Spectral division of a recorded sweep with KissFFT.

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

// The sweep as signal/generator.cpp renders it, every time stretched by the clock ratio.
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

// Clock refinement, and the reading of an impulse response frequency by frequency.

namespace {

using std::numbers::pi;
using Complex = std::complex<double>;

constexpr int points_per_octave = 24;
constexpr int harmonic_points_per_octave = 3;
constexpr int highest_order = 5;
constexpr Seconds lead{0.2}, tail{0.2};
constexpr double highest_share_of_rate = 0.45;  // anti-alias filters begin there

/// The window of a frequency, in its cycles around the arrival: raised-cosine flanks. A low-pass
/// filter delays the arrival, which is that of what it passes, by up to 2 cycles of what it stops.
struct Window {
  double begin, full, falls, end;
};
// A resonance of Q rings for Q/π cycles, so one of 10 has gone by 3e-3 where the window begins to
// fall.
constexpr Window long_window{-8.0, -5.0, 20.0, 32.0};
// Half the noise power. For where that counts more than a sharp resonance does: one of 5 has gone
// by 2e-3.
constexpr Window short_window{-7.0, -5.0, 10.0, 16.0};
constexpr Decibels counts_more{0.02};
// Where noise is read: that many window lengths later, and not before the band's edges have rung.
constexpr int noise_windows = 4;
constexpr double noise_distance = 1.2;
constexpr Seconds edge_ringing{0.05};

/// Standard uncertainty of a level in decibels over that of the amplitude, 20/ln 10.
constexpr double decibels_per_neper = 8.685889638;

struct Sweep {
  Hertz rate;
  signal::LogSweep played;
  double rise_s;  // L of the recorded sweep
};

double flank(double share) {
  return 0.5 - 0.5 * std::cos(pi * std::clamp(share, 0.0, 1.0));
}

// A unit vector that turns by the same angle from sample to sample, several samples at once: one
// alone would wait for the one before. Rounding grows with the turns, to 1e−12 over a window.
constexpr std::size_t lanes = 8;
struct Turning {
  double re[lanes], im[lanes];
  Complex step;

  Turning(double first, double angle) : step(std::polar(1.0, angle * static_cast<double>(lanes))) {
    for (std::size_t k = 0; k < lanes; ++k) {
      re[k] = std::cos(first + angle * static_cast<double>(k));
      im[k] = std::sin(first + angle * static_cast<double>(k));
    }
  }
};

// Samples over which a window's weight is constant + share·cos(angle + step·n).
struct Stretch {
  std::ptrdiff_t first, end;
  double constant, share;
  double angle, step;
};

// Σ weight·phase·h over `blocks` times as many samples as there are lanes; each lane has its sum.
RAILTAP_VECTORIZE void add_blocks(const double* h, std::size_t blocks, const Stretch& stretch,
                                  Turning& phase, Turning& flank, double* re, double* im) {
  const double constant = stretch.constant, share = stretch.share;
  const double turn_re = phase.step.real(), turn_im = phase.step.imag();
  const double flank_re = flank.step.real(), flank_im = flank.step.imag();
  for (std::size_t block = 0; block < blocks; ++block, h += 2 * lanes) {
#pragma omp simd
    for (std::size_t k = 0; k < lanes; ++k) {
      const double weight = constant + share * flank.re[k];
      const double c = phase.re[k], s = phase.im[k];
      const double fc = flank.re[k], fs = flank.im[k];
      const double x = weight * h[2 * k], y = weight * h[2 * k + 1];
      re[k] += c * x - s * y;
      im[k] += c * y + s * x;
      phase.re[k] = c * turn_re - s * turn_im;
      phase.im[k] = c * turn_im + s * turn_re;
      flank.re[k] = fc * flank_re - fs * flank_im;
      flank.im[k] = fc * flank_im + fs * flank_re;
    }
  }
}

// The same of samples in a row. \param phase of the first, \param turn from one to the next
Complex sum_in_a_row(std::span<const Complex> h, const Stretch& stretch, double first,
                     double turn) {
  Turning phase(first, turn), flank(stretch.angle, stretch.step);
  double re[lanes] = {}, im[lanes] = {};
  const std::size_t blocks = h.size() / lanes;
  // An array of complex numbers is one of their parts [ISO/IEC 14882:2020, 26.4].
  add_blocks(reinterpret_cast<const double*>(h.data()), blocks, stretch, phase, flank, re, im);
  Complex sum = 0.0;
  for (std::size_t k = 0; k < lanes; ++k) sum += Complex(re[k], im[k]);
  for (std::size_t k = 0; k < h.size() - blocks * lanes; ++k) {
    sum += (stretch.constant + stretch.share * flank.re[k]) * Complex(phase.re[k], phase.im[k]) *
           h[blocks * lanes + k];
  }
  return sum;
}

// The same of a stretch, which may go on past the end at the beginning. \param centre where the
// phase is 0
Complex sum_over(const ImpulseResponse& response, Stretch stretch, double centre, double turn) {
  const std::span<const Complex> samples(response.samples);
  Complex sum = 0.0;
  while (stretch.first < stretch.end) {
    const std::size_t place = response.index(stretch.first);
    const std::size_t count =
        std::min(samples.size() - place, static_cast<std::size_t>(stretch.end - stretch.first));
    sum += sum_in_a_row(samples.subspan(place, count), stretch,
                        turn * (static_cast<double>(stretch.first) - centre), turn);
    stretch.angle += stretch.step * static_cast<double>(count);
    stretch.first += static_cast<std::ptrdiff_t>(count);
  }
  return sum;
}

// Spectrum at one frequency through its window, with the phase of an arrival at `centre` taken out.
Complex read(const ImpulseResponse& response, const Window& window, double centre,
             double cycles_per_sample) {
  const auto from = [&](double cycles) {
    return static_cast<std::ptrdiff_t>(std::ceil(centre + cycles / cycles_per_sample));
  };
  const auto flank = [&](std::ptrdiff_t first, std::ptrdiff_t end, double zero, double one) {
    const double cycles = (static_cast<double>(first) - centre) * cycles_per_sample;
    return Stretch{first,
                   end,
                   0.5,
                   -0.5,
                   pi * (cycles - zero) / (one - zero),
                   pi * cycles_per_sample / (one - zero)};
  };
  const std::ptrdiff_t full = from(window.full), falls = from(window.falls);
  const double turn = -2.0 * pi * cycles_per_sample;
  return sum_over(response, flank(from(window.begin), full, window.begin, window.full), centre,
                  turn) +
         sum_over(response, {full, falls, 1.0, 0.0, 0.0, 0.0}, centre, turn) +
         sum_over(response, flank(falls, from(window.end), window.end, window.falls), centre, turn);
}

double noise_power(const ImpulseResponse& response, const Window& window, double centre,
                   double cycles_per_sample, Hertz rate) {
  const double step = std::max(noise_distance * (window.end - window.begin) / cycles_per_sample,
                               edge_ringing.value() * rate.value());
  double sum = 0.0;
  for (int m = 1; m <= noise_windows; ++m)
    sum += std::norm(read(response, window, centre + m * step, cycles_per_sample));
  return sum / noise_windows;
}

std::vector<Hertz> frequencies(const signal::LogSweep& sweep, Hertz rate, int per_octave) {
  const double highest = std::min(sweep.high.value(), highest_share_of_rate * rate.value());
  const double octaves = std::log2(highest / sweep.low.value());
  std::vector<Hertz> list;
  for (int k = 0; k <= static_cast<int>(octaves * per_octave + 1e-9); ++k)
    list.emplace_back(sweep.low.value() * std::exp2(static_cast<double>(k) / per_octave));
  return list;
}

// --- Arrival times of octaves ------------------------------------------------------------------

struct Arrival {
  double log_frequency = 0.0;
  double place = 0.0;   // samples
  double weight = 0.0;  // 1/variance
  double energy = 0.0;
};

/// The part of an impulse response around time 0, ready to be looked at octave by octave.
class Neighbourhood {
 public:
  Neighbourhood(const ImpulseResponse& response, std::ptrdiff_t reach)
      : reach_(reach),
        length_(static_cast<std::size_t>(2 * reach)),
        inverse_(length_, true),
        spectrum_(length_),
        work_(length_),
        band_(length_) {
    std::vector<Complex> part(length_);
    for (std::size_t n = 0; n < length_; ++n)
      part[n] = response.at(static_cast<std::ptrdiff_t>(n) - reach);
    kissfft<double>(length_, false).transform(part.data(), spectrum_.data());
  }

  /// An octave's arrival: the centroid of what exceeds its envelope.
  [[nodiscard]] Arrival arrival(Hertz centre, Hertz rate) {
    const double bin = rate.value() / static_cast<double>(length_);
    for (std::size_t k = 0; k < length_; ++k) {
      const double hz = static_cast<double>(k) * bin;
      const double octaves = hz > 0.0 ? std::abs(std::log2(hz / centre.value())) : 1.0;
      work_[k] = octaves < 1.0 ? spectrum_[k] * flank(1.0 - octaves) : 0.0;
    }
    inverse_.transform(work_.data(), band_.data());
    return centroid(centre, rate);
  }

 private:
  [[nodiscard]] Arrival centroid(Hertz centre, Hertz rate) const {
    double highest = 0.0, total = 0.0;
    for (const Complex& x : band_) {
      highest = std::max(highest, std::norm(x));
      total += std::norm(x);
    }
    const double mean = total / static_cast<double>(length_);
    Arrival arrival{std::log(centre.value()), 0.0, 0.0, highest};
    constexpr double stands_out = 30.0;  // noise alone reaches 15 times its mean power
    if (!(highest > stands_out * mean)) return arrival;
    double weight = 0.0, sum = 0.0;
    for (std::size_t n = 0; n < length_; ++n) {
      const double power = std::norm(band_[n]) - 0.25 * highest;
      if (power <= 0.0) continue;
      weight += power;
      sum += power * static_cast<double>(static_cast<std::ptrdiff_t>(n) - reach_);
    }
    arrival.place = sum / weight;
    // Filters delay by up to a cycle, converters by parts of a millisecond.
    constexpr Seconds converter{1e-4};
    const double deviation = rate.value() * (1.0 / centre.value() + converter.value());
    arrival.weight = 1.0 / (deviation * deviation);
    return arrival;
  }

  std::ptrdiff_t reach_;
  std::size_t length_;
  kissfft<double> inverse_;
  std::vector<Complex> spectrum_, work_, band_;
};

struct Line {
  double slope = 0.0;  // samples per unit of ln f
  double place = 0.0;  // of the strongest octave
  int octaves = 0;
};

Line fit_arrivals(const std::vector<Arrival>& arrivals) {
  double s = 0.0, sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0;
  Line line;
  const Arrival* strongest = nullptr;
  for (const Arrival& a : arrivals) {
    if (a.weight == 0.0) continue;
    ++line.octaves;
    s += a.weight;
    sx += a.weight * a.log_frequency;
    sy += a.weight * a.place;
    sxx += a.weight * a.log_frequency * a.log_frequency;
    sxy += a.weight * a.log_frequency * a.place;
    if (strongest == nullptr || a.energy * a.weight > strongest->energy * strongest->weight)
      strongest = &a;
  }
  const double determinant = s * sxx - sx * sx;
  if (line.octaves >= 2 && determinant > 0.0) line.slope = (s * sxy - sx * sy) / determinant;
  if (strongest != nullptr) line.place = strongest->place;
  return line;
}

Line arrival_line(const ImpulseResponse& response, const Sweep& sweep, std::ptrdiff_t reach) {
  Neighbourhood neighbourhood(response, reach);
  std::vector<Arrival> arrivals;
  const double top =
      std::min(sweep.played.high.value(), highest_share_of_rate * sweep.rate.value());
  const auto octaves = static_cast<int>(std::log2(top / sweep.played.low.value()));
  for (int k = 1; k < octaves; ++k)
    arrivals.push_back(neighbourhood.arrival(Hertz(std::ldexp(top, -k)), sweep.rate));
  return fit_arrivals(arrivals);
}

// An even number with small factors only, so that the transform is fast.
std::ptrdiff_t fast_reach(double least) {
  std::ptrdiff_t reach = 1024;
  while (static_cast<double>(reach) < least) reach *= 2;
  return reach;
}

struct Placed {
  ImpulseResponse response;
  double clock_ratio = 1.0;
  double arrival = 0.0;  // samples after the expected start
  bool found = false;
};

// A clock ratio that is off by δ makes the arrival move by L·δ per unit of ln f.
Placed place_response(Deconvolution& deconvolution, const Sweep& sweep, const SweepPlace& place) {
  constexpr int most_rounds = 5;
  constexpr double settled = 2e-7;
  constexpr double most_drift = 0.006;
  constexpr Seconds slack{0.12};
  Placed placed{{}, place.clock_ratio, 0.0, false};
  const double length_s = sweep.played.length.value();
  for (int round = 0; round < most_rounds; ++round) {
    placed.response = deconvolution.response(placed.clock_ratio);
    const double drift_s = place.clock_is_known || round > 1 ? 0.0 : most_drift * length_s;
    const Line line = arrival_line(placed.response, sweep,
                                   fast_reach((slack.value() + drift_s) * sweep.rate.value()));
    placed.found = line.octaves > 0;
    placed.arrival = line.place;
    if (!placed.found || place.clock_is_known) break;
    const double change = line.slope / (sweep.rise_s * sweep.rate.value());
    if (std::abs(change) < settled) break;
    placed.clock_ratio = std::clamp(placed.clock_ratio + change, place.clock_ratio - most_drift,
                                    place.clock_ratio + most_drift);
  }
  return placed;
}

// --- Points ------------------------------------------------------------------------------------

struct Readings {
  const Placed& placed;
  const ImpulseResponse& reference;
  const Sweep& sweep;

  [[nodiscard]] double cycles(Hertz frequency) const { return frequency / sweep.rate; }

  /// What the sweep itself would give at `frequency`: amplitude and noise are over it.
  [[nodiscard]] double own(const Window& window, Hertz frequency) const {
    return std::abs(read(reference, window, 0.0, cycles(frequency)));
  }
  /// Amplitude at `frequency` around a place.
  [[nodiscard]] Complex amplitude(const Window& window, Hertz frequency, double place) const {
    return read(placed.response, window, place, cycles(frequency));
  }
  [[nodiscard]] double noise(const Window& window, Hertz frequency, double place) const {
    return std::sqrt(noise_power(placed.response, window, place, cycles(frequency), sweep.rate));
  }
};

// Four windows give the noise within 3 dB; with the neighbours it is known better.
std::vector<double> smoothed(const std::vector<double>& noise) {
  constexpr std::size_t neighbours = 3;
  std::vector<double> smooth(noise.size());
  for (std::size_t i = 0; i < noise.size(); ++i) {
    const std::size_t first = i >= neighbours ? i - neighbours : 0;
    const std::size_t last = std::min(i + neighbours, noise.size() - 1);
    double sum = 0.0;
    for (std::size_t k = first; k <= last; ++k) sum += noise[k] * noise[k];
    smooth[i] = std::sqrt(sum / static_cast<double>(last - first + 1));
  }
  return smooth;
}

/// Every frequency through one window.
struct Pass {
  std::vector<Complex> amplitudes;
  std::vector<double> noise;

  Pass(const Readings& readings, const Window& window, const std::vector<Hertz>& list) {
    std::vector<double> raw;
    for (const Hertz frequency : list) {
      const double own = readings.own(window, frequency);
      amplitudes.push_back(readings.amplitude(window, frequency, readings.placed.arrival) / own);
      raw.push_back(readings.noise(window, frequency, readings.placed.arrival) / own);
    }
    noise = smoothed(raw);
  }
  [[nodiscard]] Decibels uncertainty(std::size_t i) const {
    return Decibels(decibels_per_neper * noise[i] / std::abs(amplitudes[i]) / std::numbers::sqrt2);
  }
};

void add_points(SweptResponse& result, const Readings& readings) {
  const auto list = frequencies(readings.sweep.played, readings.sweep.rate, points_per_octave);
  const Pass sharp(readings, long_window, list);
  const Pass calm(readings, short_window, list);
  constexpr double above_noise = 2.0;
  for (std::size_t i = 0; i < list.size(); ++i) {
    const Pass& pass = sharp.uncertainty(i) > counts_more ? calm : sharp;
    const double amplitude = std::abs(pass.amplitudes[i]);
    if (!(amplitude > above_noise * pass.noise[i])) continue;
    result.points.push_back({list[i], decibels_from_amplitude_ratio(amplitude),
                             std::arg(pass.amplitudes[i]) * 180.0 / pi, pass.uncertainty(i)});
  }
}

/// Whether a harmonic's window ends before that of the order below it begins, which arrives
/// L·ln(k/(k−1)) later: at low frequencies the windows are long.
bool stands_apart(const Sweep& sweep, int order, Hertz there) {
  const double later_s = sweep.rise_s * std::log(order / (order - 1.0));
  return later_s * there.value() > short_window.end - short_window.begin;
}

void add_harmonics(SweptResponse& result, const Readings& readings) {
  const Sweep& sweep = readings.sweep;
  const double arrival = readings.placed.arrival;
  const double top =
      std::min(sweep.played.high.value(), highest_share_of_rate * sweep.rate.value());
  for (const Hertz frequency : frequencies(sweep.played, sweep.rate, harmonic_points_per_octave)) {
    // The fade at the sweep's start is a harmonic of nothing.
    if (frequency < sweep.played.low * 1.5) continue;
    const double linear = std::abs(readings.amplitude(short_window, frequency, arrival) /
                                   readings.own(short_window, frequency));
    for (int order = 2; order <= highest_order && linear > 0.0; ++order) {
      const Hertz there = frequency * order;
      if (there.value() > top) break;
      if (!stands_apart(sweep, order, there)) continue;
      const double place = arrival - sweep.rise_s * sweep.rate.value() * std::log(order);
      const double own = readings.own(short_window, there);
      const double amplitude = std::abs(readings.amplitude(short_window, there, place) / own);
      if (!(amplitude > 0.0)) continue;
      constexpr double above_noise = 3.0;
      const bool clear =
          amplitude > above_noise * (readings.noise(short_window, there, arrival) / own);
      result.harmonics.push_back(
          {order, frequency, decibels_from_amplitude_ratio(amplitude / linear), clear});
    }
  }
}

// The recording around the sweep; silence where it does not reach.
std::vector<double> cut(std::span<const double> samples, std::ptrdiff_t first, std::size_t count) {
  std::vector<double> part(count, 0.0);
  for (std::size_t n = 0; n < count; ++n) {
    const std::ptrdiff_t place = first + static_cast<std::ptrdiff_t>(n);
    if (place >= 0 && place < static_cast<std::ptrdiff_t>(samples.size()))
      part[n] = samples[static_cast<std::size_t>(place)];
  }
  return part;
}

}  // namespace

SweptResponse measure_sweep(std::span<const double> samples, Hertz rate,
                            const signal::LogSweep& sweep, const SweepPlace& place) {
  const auto lead_frames = static_cast<std::size_t>(lead.value() * rate.value());
  const auto start = static_cast<std::ptrdiff_t>(std::lround(place.start_frame));
  const double longest_s = sweep.length.value() * (place.clock_ratio + 0.006) + tail.value();
  const auto count = lead_frames + static_cast<std::size_t>(longest_s * rate.value());
  Deconvolution deconvolution(cut(samples, start - static_cast<std::ptrdiff_t>(lead_frames), count),
                              lead_frames, rate, sweep);
  Sweep recorded{rate, sweep, sweep.length.value() / std::log(sweep.high / sweep.low)};
  const Placed placed = place_response(deconvolution, recorded, place);
  SweptResponse result;
  result.clock_ratio = placed.clock_ratio;
  result.start_frame = static_cast<double>(start) + placed.arrival;
  if (!placed.found) return result;
  recorded.rise_s *= placed.clock_ratio;
  const ImpulseResponse reference = deconvolution.reference(placed.clock_ratio);
  const Readings readings{placed, reference, recorded};
  add_points(result, readings);
  add_harmonics(result, readings);
  return result;
}

}  // namespace railtap::measure
