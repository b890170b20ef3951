// SPDX-License-Identifier: MIT
// A tone whose level moves: its least-squares fit, in which each harmonic has an envelope of its
// own; what moves it: automatic level control, a fade, a control that is turned; and what its pitch
// does: a speed that wavers, a sweep, a second tone close beside it.
#include "measure/moving_tone.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/kernels.hpp"

namespace railtap::measure {

// Least-squares fit of a tone whose level moves.

namespace {

using std::numbers::pi;

// Cycles that an envelope of degree 2, or 1, takes to be told from the next harmonic.
constexpr double cycles_for_parabola = 3.8;
constexpr double cycles_for_line = 3.0;
constexpr std::size_t most_degree = 2;

std::size_t degree_for(double cycles) {
  if (cycles >= cycles_for_parabola) return 2;
  return cycles >= cycles_for_line ? 1 : 0;
}

// Σ x[n]·u[n]^power·turn[n].
RAILTAP_VECTORIZE double weighted_sum(const double* x, const double* u, const double* turn,
                                      std::size_t power, std::size_t count) {
  double sum = 0.0;
  if (power == 0) {
#pragma omp simd reduction(+ : sum)
    for (std::size_t n = 0; n < count; ++n) sum += x[n] * turn[n];
  } else if (power == 1) {
#pragma omp simd reduction(+ : sum)
    for (std::size_t n = 0; n < count; ++n) sum += x[n] * u[n] * turn[n];
  } else {
#pragma omp simd reduction(+ : sum)
    for (std::size_t n = 0; n < count; ++n) sum += x[n] * u[n] * u[n] * turn[n];
  }
  return sum;
}

struct Moments {
  double c0 = 0.0, s1 = 0.0, c2 = 0.0, s3 = 0.0, c4 = 0.0;
};

// Over one half of the block: Σ u^m·cos for m = 0, 2, 4 and Σ u^m·sin for m = 1, 3.
RAILTAP_VECTORIZE Moments moments_of(const double* u, const double* cosine, const double* sine,
                                     std::size_t count) {
  double c0 = 0.0;
  double s1 = 0.0;
  double c2 = 0.0;
  double s3 = 0.0;
  double c4 = 0.0;
#pragma omp simd reduction(+ : c0, s1, c2, s3, c4)
  for (std::size_t n = 0; n < count; ++n) {
    const double u2 = u[n] * u[n];
    c0 += cosine[n];
    s1 += u[n] * sine[n];
    c2 += u2 * cosine[n];
    s3 += u2 * u[n] * sine[n];
    c4 += u2 * u2 * cosine[n];
  }
  return {c0, s1, c2, s3, c4};
}

// (re + j·im) *= (by_re + j·by_im), element by element.
RAILTAP_VECTORIZE void turn_on(double* re, double* im, const double* by_re, const double* by_im,
                               std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) {
    const double next = re[n] * by_re[n] - im[n] * by_im[n];
    im[n] = re[n] * by_im[n] + im[n] * by_re[n];
    re[n] = next;
  }
}

// sum += turn·(c0 + c1·u + c2·u²).
RAILTAP_VECTORIZE void add_envelope(const double* u, const double* turn, double c0, double c1,
                                    double c2, double* sum, std::size_t count) {
#pragma omp simd
  for (std::size_t n = 0; n < count; ++n) sum[n] += turn[n] * (c0 + u[n] * (c1 + u[n] * c2));
}

// Variance of the value in the middle of a polynomial of degree 2 through m equal cycles, over
// that of their mean: Savitzky and Golay, Anal. Chem. 36 (1964) 1627. Degree 1 has the mean's.
double centre_variance(double m, std::size_t degree) {
  if (degree < 2) return 1.0;
  const double cycles = std::max(m, 4.0);
  return 0.75 * (3.0 * cycles * cycles - 7.0) / (cycles * cycles - 4.0);
}

}  // namespace

void MovingToneFitter::fold(std::span<const double> samples) {
  samples_ = samples.size();
  const std::size_t half = samples_ / 2;
  const bool odd_count = samples_ % 2 != 0;
  first_t_ = odd_count ? 1.0 : 0.5;
  centre_ = odd_count ? samples[half] : 0.0;
  for (auto* array : {&even_, &odd_, &u_, &base_re_, &base_im_, &turn_re_, &turn_im_}) {
    array->resize(half);
  }
  for (std::size_t n = 0; n < half; ++n) {
    const double later = samples[samples_ - half + n];
    const double earlier = samples[half - 1 - n];
    const double t = static_cast<double>(n) + first_t_;
    const double cycles = t * cycles_per_sample_;
    const double angle = 2.0 * pi * (cycles - std::floor(cycles));
    even_[n] = later + earlier;
    odd_[n] = later - earlier;
    u_[n] = 2.0 * t / static_cast<double>(samples_);
    base_re_[n] = std::cos(angle);
    base_im_[n] = std::sin(angle);
  }
}

// A cosine with an even power of u is even about the middle, and so is a sine with an odd one.
void MovingToneFitter::set_columns(std::size_t orders, std::size_t degree) {
  even_half_.columns.clear();
  odd_half_.columns.clear();
  for (std::size_t order = 0; order <= orders; ++order) {
    for (std::size_t power = 0; power <= degree; ++power) {
      (power % 2 == 0 ? even_half_ : odd_half_).columns.push_back({false, order, power});
      if (order > 0) {
        (power % 2 == 0 ? odd_half_ : even_half_).columns.push_back({true, order, power});
      }
    }
  }
}

void MovingToneFitter::start_order(std::size_t order) {
  if (order == 0) {
    std::fill(turn_re_.begin(), turn_re_.end(), 1.0);
    std::fill(turn_im_.begin(), turn_im_.end(), 0.0);
  } else {
    turn_on(turn_re_.data(), turn_im_.data(), base_re_.data(), base_im_.data(), turn_re_.size());
  }
}

void MovingToneFitter::take_moments(std::size_t orders, std::size_t degree) {
  moments_.resize(2 * most_degree + 1);
  for (auto& moment : moments_) moment.assign(2 * orders + 1, 0.0);
  for (std::size_t order = 0; order <= 2 * orders; ++order) {
    start_order(order);
    const Moments sums = moments_of(u_.data(), turn_re_.data(), turn_im_.data(), u_.size());
    moments_[0][order] = 2.0 * sums.c0 + (samples_ % 2 != 0 ? 1.0 : 0.0);
    if (degree == 0) continue;
    moments_[1][order] = 2.0 * sums.s1;
    moments_[2][order] = 2.0 * sums.c2;
    moments_[3][order] = 2.0 * sums.s3;
    moments_[4][order] = 2.0 * sums.c4;
  }
}

// Σ over the block of two columns' product, by cos·cos = (cos(−) + cos(+))/2 and its like.
double MovingToneFitter::product(const Column& a, const Column& b) const {
  const auto& moment = moments_[a.power + b.power];
  const std::size_t sum = a.order + b.order;
  const std::size_t difference = a.order > b.order ? a.order - b.order : b.order - a.order;
  if (a.sine && b.sine) return 0.5 * (moment[difference] - moment[sum]);
  if (!a.sine && !b.sine) return 0.5 * (moment[difference] + moment[sum]);
  const std::size_t sine_order = a.sine ? a.order : b.order;
  const std::size_t cosine_order = a.sine ? b.order : a.order;
  const double sign = sine_order >= cosine_order ? 1.0 : -1.0;
  return 0.5 * (moment[sum] + sign * moment[difference]);
}

void MovingToneFitter::project(Part part) {
  Half& half = part == Part::even ? even_half_ : odd_half_;
  const std::vector<double>& x = part == Part::even ? even_ : odd_;
  half.solution.clear();
  std::size_t order = 0;
  start_order(0);
  for (const Column& column : half.columns) {
    for (; order < column.order; ++order) start_order(order + 1);
    const double* turn = column.sine ? turn_im_.data() : turn_re_.data();
    double sum = weighted_sum(x.data(), u_.data(), turn, column.power, x.size());
    const bool has_centre = part == Part::even && !column.sine && column.power == 0;
    if (has_centre) sum += centre_;
    half.solution.push_back(sum);
  }
}

void MovingToneFitter::solve(Part part) {
  // Of the diagonal: far below what rounding leaves of well separated columns, and enough to keep
  // columns that a short block cannot tell apart from making the matrix indefinite.
  constexpr double ridge = 1e-11;
  Half& half = part == Part::even ? even_half_ : odd_half_;
  const std::size_t n = half.columns.size();
  half.matrix.resize(n * n);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      half.matrix[i * n + j] = product(half.columns[i], half.columns[j]);
    }
    half.matrix[i * n + i] *= 1.0 + ridge;
  }
  solve_symmetric(half.matrix, half.solution, n);
}

double MovingToneFitter::coefficient(const Column& wanted) const {
  for (const Half* half : {&even_half_, &odd_half_}) {
    for (std::size_t i = 0; i < half->columns.size(); ++i) {
      const Column& c = half->columns[i];
      if (c.sine == wanted.sine && c.order == wanted.order && c.power == wanted.power) {
        return half->solution[i];
      }
    }
  }
  return 0.0;
}

void MovingToneFitter::fit(std::span<const double> samples, double cycles_per_sample,
                           std::size_t orders, MovingTone& tone) {
  cycles_per_sample_ = cycles_per_sample;
  fold(samples);
  const double cycles = cycles_per_sample * static_cast<double>(samples.size());
  tone.cycles_per_sample = cycles_per_sample;
  tone.degree = degree_for(cycles);
  set_columns(orders, tone.degree);
  take_moments(orders, tone.degree);
  for (const Part part : {Part::even, Part::odd}) {
    project(part);
    solve(part);
  }
  tone.dc = coefficient({false, 0, 0});
  tone.phasor.resize(orders);
  for (std::size_t k = 1; k <= orders; ++k) {
    tone.phasor[k - 1] = {coefficient({false, k, 0}), -coefficient({true, k, 0})};
  }
  const std::complex<double> change{coefficient({false, 1, 1}), -coefficient({true, 1, 1})};
  // From u = −1 to 1, of the envelope's straight part.
  tone.rise_db = 2.0 * 20.0 / std::numbers::ln10 * (change / tone.phasor[0]).real();
  tone.freedom = std::max(0.1, 1.0 - static_cast<double>(tone.degree + 1) / cycles);
  tone.variance_factor = centre_variance(cycles, tone.degree);
}

void MovingToneFitter::model_half(Part part, std::vector<double>& sum) {
  const Half& half = part == Part::even ? even_half_ : odd_half_;
  sum.assign(u_.size(), 0.0);
  std::size_t order = 0;
  start_order(0);
  for (std::size_t i = 0; i < half.columns.size();) {
    const Column& first = half.columns[i];
    for (; order < first.order; ++order) start_order(order + 1);
    double c[most_degree + 1] = {0.0, 0.0, 0.0};
    for (; i < half.columns.size() && half.columns[i].order == first.order &&
           half.columns[i].sine == first.sine;
         ++i) {
      c[half.columns[i].power] = half.solution[i];
    }
    const double* turn = first.sine ? turn_im_.data() : turn_re_.data();
    add_envelope(u_.data(), turn, c[0], c[1], c[2], sum.data(), sum.size());
  }
}

void MovingToneFitter::residual(std::span<const double> samples, std::span<double> residual) {
  model_half(Part::even, model_even_);
  model_half(Part::odd, model_odd_);
  const std::size_t half = samples.size() / 2;
  if (samples.size() % 2 != 0) {
    double model = 0.0;
    for (std::size_t i = 0; i < even_half_.columns.size(); ++i) {
      const Column& c = even_half_.columns[i];
      if (!c.sine && c.power == 0) model += even_half_.solution[i];
    }
    residual[half] = samples[half] - model;
  }
  for (std::size_t n = 0; n < half; ++n) {
    const std::size_t later = samples.size() - half + n;
    const std::size_t earlier = half - 1 - n;
    residual[later] = samples[later] - (model_even_[n] + model_odd_[n]);
    residual[earlier] = samples[earlier] - (model_even_[n] - model_odd_[n]);
  }
}

// A tone that goes on while its level moves.

namespace {

// From one frame of 0.1 s to the next. A steady tone's frames differ by less, but for the lowest
// ones, whose ripple of 0.05 dB does not add up to `least_range_db`.
constexpr double moving_db = 0.02;
constexpr double least_range_db = 0.1;
constexpr int least_frames = 5;
constexpr double same_frequency = 0.02;
constexpr double hysteresis = 0.2;
// A turn counts when the level has come back by this much.
constexpr double turn_db = 0.1;

}  // namespace

std::optional<Hertz> frequency_by_crossings(std::span<const double> samples, double peak,
                                            Hertz rate) {
  bool armed = false;
  double first = 0.0;
  double last = 0.0;
  int crossings = 0;
  for (std::size_t n = 1; n < samples.size(); ++n) {
    if (samples[n] < -hysteresis * peak) armed = true;
    if (!armed || samples[n - 1] >= 0.0 || samples[n] < 0.0) continue;
    armed = false;
    last = static_cast<double>(n) - samples[n] / (samples[n] - samples[n - 1]);
    if (crossings++ == 0) first = last;
  }
  if (crossings < 2) return std::nullopt;
  return rate * ((crossings - 1) / (last - first));
}

void MovingLevelMeter::add(std::span<const double> frame, double level_db, bool tonal,
                           double peak) {
  const std::int64_t first = position_;
  position_ += static_cast<std::int64_t>(frame.size());
  const std::optional<double> before = last_db_;
  last_db_ = tonal ? std::optional(level_db) : std::nullopt;
  const double moved = before && tonal ? level_db - *before : 0.0;
  // One still frame may be a turn.
  const bool still = std::abs(moved) < moving_db;
  still_ = still ? still_ + 1 : 0;
  if (!tonal || still_ > 1 || (still && open_.frames == 0)) {
    end_stretch();
    return;
  }
  const auto hz = frequency_by_crossings(frame, peak, rate_);
  const bool same = hz && last_hz_ && std::abs(hz->value() / *last_hz_ - 1.0) < same_frequency;
  if (!same) end_stretch();
  last_hz_ = hz ? std::optional(hz->value()) : std::nullopt;
  if (!hz) return;
  if (open_.frames == 0) {
    open_.first_frame = first;
    open_.lowest_db = open_.highest_db = level_db;
  }
  ++open_.frames;
  open_.samples += static_cast<std::int64_t>(frame.size());
  open_.hz_sum += hz->value();
  open_.lowest_db = std::min(open_.lowest_db, level_db);
  open_.highest_db = std::max(open_.highest_db, level_db);
  (moved > 0.0 ? open_.up_db : open_.down_db) += std::abs(moved);
  const bool turned = moved * open_.since_turn_db < 0.0;
  if (turned && std::abs(moved) > turn_db) ++open_.turns;
  open_.since_turn_db = turned ? moved : open_.since_turn_db + moved;
}

void MovingLevelMeter::end_stretch() {
  const Stretch s = open_;
  open_ = {};
  last_hz_.reset();
  if (s.frames < least_frames || s.highest_db - s.lowest_db < least_range_db) return;
  const bool first = result_.frames == 0;
  if (first) result_.first_frame = s.first_frame;
  result_.lowest_db = first ? s.lowest_db : std::min(result_.lowest_db, s.lowest_db);
  result_.highest_db = first ? s.highest_db : std::max(result_.highest_db, s.highest_db);
  result_.frames += s.samples;
  result_.end_frame = s.first_frame + s.samples;
  result_.up_db += s.up_db;
  result_.down_db += s.down_db;
  result_.turns += s.turns;
  result_.frequency = Hertz(s.hz_sum / s.frames);
}

MovingLevel MovingLevelMeter::finish() {
  end_stretch();
  return result_;
}

// What a tone's pitch does.

namespace {

constexpr double least_slice_s = 0.025;
// From one slice to the next: an exponential sweep over ten octaves in 10 s moves by 3.5 % in a
// cycle of 20 Hz (derived).
constexpr double most_pitch_step = 0.05;
constexpr double most_level_step = 0.115;  // 1 dB, as a relative amplitude
// The pitch turns where it has come back by a fifth of its range, and more than the noise makes.
constexpr double turn_share = 0.2;
constexpr double least_turn = 1e-4;

// Variance of y about its mean, from sums over n.
double variance(double sum, double squares, double n) {
  return std::max(0.0, squares / n - sum / n * (sum / n));
}

double covariance(double sum_x, double sum_y, double products, double n) {
  return products / n - sum_x / n * (sum_y / n);
}

}  // namespace

void ToneFollower::skip(std::size_t count) {
  end_stretch();
  armed_ = false;
  before_ = 0.0;
  position_ += static_cast<std::int64_t>(count);
}

void ToneFollower::add(std::span<const double> samples, double peak) {
  const double arming = -hysteresis * peak;
  for (std::size_t n = 0; n < samples.size(); ++n) {
    const double x = samples[n];
    if (x < arming) armed_ = true;
    if (armed_ && before_ < 0.0 && x >= 0.0) {
      armed_ = false;
      cross(static_cast<double>(position_) + static_cast<double>(n) - x / (x - before_));
    }
    slice_squares_ += x * x;
    before_ = x;
  }
  position_ += static_cast<std::int64_t>(samples.size());
}

void ToneFollower::cross(double at) {
  if (slice_from_) {
    ++slice_cycles_;
    if (at - *slice_from_ < least_slice_s * rate_.value()) return;
    take_slice(at);
  }
  slice_from_ = at;
  slice_cycles_ = 0;
  slice_squares_ = 0.0;
}

void ToneFollower::take_slice(double at) {
  const double length = at - *slice_from_;
  const double hz = slice_cycles_ * rate_.value() / length;
  const double level = 0.5 * std::log(slice_squares_ / length);
  const bool goes_on = open_.slices == 0 || (std::abs(hz / open_.last_hz - 1.0) < most_pitch_step &&
                                             std::abs(level - open_.last_level) < most_level_step);
  if (!goes_on) {
    end_stretch();
    return;
  }
  Stretch& s = open_;
  if (s.slices == 0) {
    s.start = *slice_from_;
    s.first_hz = hz;
    s.first_level = level;
  }
  ++s.slices;
  s.end = at;
  s.last_hz = hz;
  s.last_level = level;
  s.cycles += slice_cycles_;
  const double u = hz / s.first_hz - 1.0;
  const double l = level - s.first_level;
  const double t = (at - s.start) / rate_.value();
  const double p = s.cycles - s.first_hz * t;
  s.u += u;
  s.uu += u * u;
  s.l += l;
  s.ll += l * l;
  s.ul += u * l;
  s.t += t;
  s.tt += t * t;
  s.p += p;
  s.pp += p * p;
  s.tp += t * p;
  take_turn(u);
}

void ToneFollower::take_turn(double u) {
  Stretch& s = open_;
  s.low = std::min(s.low, u);
  s.high = std::max(s.high, u);
  s.low_since_turn = std::min(s.low_since_turn, u);
  s.high_since_turn = std::max(s.high_since_turn, u);
  const double enough = std::max(least_turn, turn_share * (s.high - s.low));
  const bool rose = s.direction <= 0 && u - s.low_since_turn > enough;
  const bool fell = s.direction >= 0 && s.high_since_turn - u > enough;
  if (!rose && !fell) return;
  if (s.direction != 0) ++s.turns;
  s.direction = rose ? 1 : -1;
  s.low_since_turn = s.high_since_turn = u;
}

void ToneFollower::end_stretch() {
  constexpr int least_slices = 4;
  const Stretch s = open_;
  open_ = {};
  slice_from_.reset();
  const auto frames = static_cast<std::int64_t>(s.end - s.start);
  if (s.slices < least_slices || frames <= result_.frames) return;
  const auto n = static_cast<double>(s.slices);
  FollowedTone& r = result_;
  r = {};
  r.frames = frames;
  const double mean = 1.0 + s.u / n;
  r.frequency = Hertz(s.first_hz * mean);
  r.first = Hertz(s.first_hz);
  r.last = Hertz(s.last_hz);
  r.turns = s.turns;
  const double speed = variance(s.u, s.uu, n);
  const double amplitude = variance(s.l, s.ll, n);
  r.speed = std::sqrt(speed) / mean;
  r.amplitude = std::sqrt(amplitude);
  const double slope = covariance(s.t, s.p, s.tp, n) / variance(s.t, s.tt, n);
  const double phase = variance(s.p, s.pp, n) - slope * covariance(s.t, s.p, s.tp, n);
  r.phase = 2.0 * pi * std::sqrt(std::max(0.0, phase));
  if (!(amplitude > 0.0) || !(speed > 0.0)) return;
  const double both = covariance(s.u, s.l, s.ul, n);
  r.pull = Hertz(s.first_hz * both / amplitude);
  const double unexplained = std::max(speed - both * both / amplitude, 1e-9 * speed);
  r.pull_significance = std::abs(both) / std::sqrt(unexplained * amplitude / n);
}

FollowedTone ToneFollower::finish() {
  end_stretch();
  return result_;
}

std::optional<BesideTone> tone_beside(const FollowedTone& tone) {
  // The straight line that is taken out of the phase takes a quarter of the power of one and a half
  // cycles of it (derived: 6/(π·1.5)² at most).
  constexpr double least_equal = 0.6;
  constexpr double most_equal = 1.5;
  constexpr double least_significance = 6.0;
  const double ratio = tone.phase * tone.phase / (tone.amplitude * tone.amplitude);
  if (!(ratio > least_equal && ratio < most_equal)) return std::nullopt;
  if (tone.pull_significance < least_significance) return std::nullopt;
  return BesideTone{tone.frequency + tone.pull, tone.amplitude * std::numbers::sqrt2};
}

Hertz wavering_rate(const FollowedTone& tone) {
  // The phase is the integral of the speed.
  return tone.frequency * (tone.speed / tone.phase);
}

}  // namespace railtap::measure
