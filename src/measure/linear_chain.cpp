// SPDX-License-Identifier: MIT
// A recording and the track that was played, brought to one clock and read side by side; and the
// linear part of the chain between them, as an impulse response.
#include "measure/linear_chain.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <utility>

#include "measure/kernels.hpp"

namespace railtap::measure {

// A recording and a track, read side by side.

namespace {

constexpr std::size_t places = 256;
constexpr double zero_crossings = 16.0;
constexpr double kaiser_beta = 9.0;
// Of half the lower rate; the window's transition band takes the rest.
constexpr double passband = 0.93;
constexpr std::size_t frames_at_once = 4096;

double sinc(double x) {
  return x == 0.0 ? 1.0 : std::sin(std::numbers::pi * x) / (std::numbers::pi * x);
}

// Kaiser's window over 2·half input samples, for each place. A thread keeps the last two: one for
// the search of a track, one for the comparison with it.
using Window = std::shared_ptr<const std::vector<double>>;
Window window_table(std::size_t half) {
  thread_local std::array<Window, 2> kept;
  thread_local std::size_t oldest = 0;
  const std::size_t taps = 2 * half;
  for (const Window& table : kept) {
    if (table && table->size() == (places + 1) * taps) return table;
  }
  std::vector<double> window((places + 1) * taps, 0.0);
  const double scale = 1.0 / std::cyl_bessel_i(0.0, kaiser_beta);
  for (std::size_t p = 0; p <= places; ++p) {
    for (std::size_t k = 0; k < taps; ++k) {
      const double distance = static_cast<double>(k) - static_cast<double>(half - 1) -
                              static_cast<double>(p) / static_cast<double>(places);
      const double share = distance / static_cast<double>(half);
      if (std::abs(share) >= 1.0) continue;
      window[p * taps + k] =
          scale * std::cyl_bessel_i(0.0, kaiser_beta * std::sqrt(1.0 - share * share));
    }
  }
  oldest = 1 - oldest;
  return kept[oldest] = std::make_shared<const std::vector<double>>(std::move(window));
}

// Weights of input samples floor(place) − half + 1 … floor(place) + half, for each place.
std::vector<double> weight_table(double cutoff, std::size_t half) {
  const std::size_t taps = 2 * half;
  std::vector<double> weights = *window_table(half);
  for (std::size_t p = 0; p <= places; ++p) {
    for (std::size_t k = 0; k < taps; ++k) {
      const double distance = static_cast<double>(k) - static_cast<double>(half - 1) -
                              static_cast<double>(p) / static_cast<double>(places);
      weights[p * taps + k] *= cutoff * sinc(cutoff * distance);
    }
  }
  return weights;
}

RAILTAP_VECTORIZE double interpolate(const double* x, const double* low, const double* high,
                                     double share, std::size_t taps) {
  double sum_low = 0.0, sum_high = 0.0;
#pragma omp simd reduction(+ : sum_low, sum_high)
  for (std::size_t k = 0; k < taps; ++k) {
    sum_low += x[k] * low[k];
    sum_high += x[k] * high[k];
  }
  return sum_low + share * (sum_high - sum_low);
}

std::size_t second_of(const FrameStream& stream, PlayedSide side) {
  return side == PlayedSide::left || stream.channels < 2 ? 0 : 1;
}

std::size_t first_of(const FrameStream& stream, PlayedSide side) {
  return side == PlayedSide::right && stream.channels > 1 ? 1 : 0;
}

}  // namespace

ChannelReader::ChannelReader(FrameStream stream, std::size_t channel)
    : stream_(std::move(stream)), first_(channel), second_(channel) {}

ChannelReader::ChannelReader(FrameStream stream, PlayedSide side)
    : stream_(std::move(stream)),
      first_(first_of(stream_, side)),
      second_(second_of(stream_, side)) {}

std::size_t ChannelReader::read(std::span<double> samples) {
  const auto channels = static_cast<std::size_t>(stream_.channels);
  std::size_t done = 0;
  while (done < samples.size()) {
    frames_.resize(std::min(frames_at_once, samples.size() - done) * channels);
    const std::size_t got = stream_.read(frames_);
    if (got == 0) break;
    for (std::size_t n = 0; n < got; ++n) {
      const double* frame = frames_.data() + n * channels;
      samples[done + n] = 0.5 * (frame[first_] + frame[second_]);
    }
    done += got;
  }
  std::fill(samples.begin() + static_cast<std::ptrdiff_t>(done), samples.end(), 0.0);
  return done;
}

ScaledReader::ScaledReader(ChannelReader reader, double start, double step)
    : reader_(std::move(reader)), start_(start), step_(step) {
  const double cutoff = passband * std::min(1.0, 1.0 / step);
  half_ = static_cast<std::size_t>(std::ceil(zero_crossings / cutoff));
  weights_ = weight_table(cutoff, half_);
  // Silence before the start, so that the first outputs have something to their left.
  first_ = -2 * static_cast<std::int64_t>(half_);
  buffer_.assign(2 * half_, 0.0);
}

// Reads on until the buffer holds input sample `last`.
void ScaledReader::fill(std::int64_t last) {
  while (first_ + static_cast<std::int64_t>(buffer_.size()) <= last) {
    const std::size_t old = buffer_.size();
    buffer_.resize(old + frames_at_once);
    const std::int64_t place = first_ + static_cast<std::int64_t>(old);
    const std::size_t got = reader_.read(std::span(buffer_).subspan(old));
    if (got < frames_at_once && end_ < 0) end_ = place + static_cast<std::int64_t>(got);
    // What lies well before is not needed again.
    const std::int64_t keep_from = last - static_cast<std::int64_t>(2 * frames_at_once + 2 * half_);
    const std::int64_t drop =
        std::clamp<std::int64_t>(keep_from - first_, 0, static_cast<std::int64_t>(old));
    buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(drop));
    first_ += drop;
  }
}

void ScaledReader::read(std::span<double> samples) {
  const auto half = static_cast<std::int64_t>(half_);
  const std::size_t taps = 2 * half_;
  double place = 0.0;
  for (double& sample : samples) {
    place = start_ + static_cast<double>(next_++) * step_;
    const auto whole = static_cast<std::int64_t>(std::floor(place));
    if (whole < half - 1 + first_ || (end_ >= 0 && whole > end_ + half)) {
      sample = 0.0;
      continue;
    }
    fill(whole + half);
    const double position = (place - static_cast<double>(whole)) * static_cast<double>(places);
    const auto p = std::min(static_cast<std::size_t>(position), places - 1);
    const double* x = buffer_.data() + (whole - half + 1 - first_);
    sample = interpolate(x, &weights_[p * taps], &weights_[(p + 1) * taps],
                         position - static_cast<double>(p), taps);
  }
  constexpr auto margin = static_cast<std::int64_t>(frames_at_once);
  if (end_ < 0) fill(static_cast<std::int64_t>(std::floor(place)) + half + margin);
  inside_ =
      place >= 0.0 && (end_ < 0 || place + static_cast<double>(margin) < static_cast<double>(end_));
}

AlignedPair::AlignedPair(const OpenStream& recording, std::size_t channel, const OpenStream& track,
                         const TrackPlace& place, std::size_t ahead)
    : recording_(recording(), channel),
      track_(ChannelReader(track(), place.side),
             place.start + static_cast<double>(ahead) * place.step, place.step),
      recorded_(block),
      played_(block) {}

bool AlignedPair::next() {
  count_ = recording_.read(recorded_);
  if (count_ == 0) return false;
  track_.read(std::span(played_).first(count_));
  inside_ = track_.inside();
  return true;
}

// An impulse response on a basis that grows coarser with time, fitted by least squares.

namespace {

constexpr std::size_t splines = 4;  // running means: a cubic spline
constexpr std::size_t steps[] = {1, 8, 64, 512};
// Lags of a level end where those of the next begin; the next starts two knots earlier, as the
// splines at the seam overlap.
constexpr std::size_t ends[] = {96, 512, 4096, ResponseBasis::longest};
// Of the diagonal: keeps what the track does not excite at zero.
constexpr double ridge = 1e-7;
constexpr std::size_t rows_at_once = 8;

// Eight at a time, so that the matrix, which is larger than the innermost cache, is passed over
// once for eight. \param x eight vectors, one behind the other
RAILTAP_VECTORIZE void add_outer(double* matrix, const double* x, std::size_t size) {
  double* row = matrix;
  for (std::size_t i = 0; i < size; ++i) {
    double a[rows_at_once];
    for (std::size_t r = 0; r < rows_at_once; ++r) a[r] = x[r * size + i];
#pragma omp simd
    for (std::size_t j = i; j < size; ++j) {
      double sum = row[j];
      for (std::size_t r = 0; r < rows_at_once; ++r) sum += a[r] * x[r * size + j];
      row[j] = sum;
    }
    row += size;
  }
}

RAILTAP_VECTORIZE double dot(const double* a, const double* b, std::size_t size) {
  double sum = 0.0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t k = 0; k < size; ++k) sum += a[k] * b[k];
  return sum;
}

RAILTAP_VECTORIZE void add_scaled(double* sum, const double* x, double scale, std::size_t size) {
#pragma omp simd
  for (std::size_t n = 0; n < size; ++n) sum[n] += scale * x[n];
}

}  // namespace

ResponseBasis::ResponseBasis() {
  for (std::size_t lag = 0; lag < ends[0]; ++lag) taps_.push_back({0, lag});
  for (std::size_t level = 1; level < levels; ++level) {
    const std::size_t step = steps[level];
    // A spline's middle lies this far behind the newest sample that goes into it.
    const std::size_t middle = splines * (step - 1) / 2;
    for (std::size_t lag = ends[level - 1] - 2 * step; lag <= ends[level]; lag += step) {
      if (lag >= middle && lag - middle < longest) taps_.push_back({level, lag - middle});
    }
    smoothers_.push_back(
        {step, std::vector<double>(splines, 0.0), std::vector<double>(splines * step, 0.0), 0});
  }
  history_.assign(levels, std::vector<double>(longest, 0.0));
}

double ResponseBasis::Smoother::smooth(double sample) {
  double value = sample;
  for (std::size_t s = 0; s < splines; ++s) {
    double& oldest = past[s * step + next];
    sums[s] += value - oldest;
    oldest = value;
    value = sums[s] / static_cast<double>(step);
  }
  if (++next == step) next = 0;
  return value;
}

void ResponseBasis::push(std::span<const double> played) {
  for (auto& samples : history_) {
    samples.erase(samples.begin(), samples.end() - static_cast<std::ptrdiff_t>(longest));
    samples.reserve(longest + AlignedPair::block);
  }
  history_[0].insert(history_[0].end(), played.begin(), played.end());
  for (std::size_t level = 1; level < levels; ++level) {
    for (const double sample : played)
      history_[level].push_back(smoothers_[level - 1].smooth(sample));
  }
  count_ = played.size();
}

void ResponseBasis::at(std::size_t n, std::span<double> values) const {
  for (std::size_t k = 0; k < taps_.size(); ++k)
    values[k] = history_[taps_[k].level][longest + n - taps_[k].lag];
}

void ResponseBasis::predict(std::span<const double> coefficients, std::span<double> out) const {
  std::fill(out.begin(), out.end(), 0.0);
  for (std::size_t k = 0; k < taps_.size(); ++k) {
    add_scaled(out.data(), &history_[taps_[k].level][longest - taps_[k].lag], coefficients[k],
               count_);
  }
}

ResponseFit::ResponseFit(std::size_t size)
    : size_(size),
      matrix_(size * size, 0.0),
      waiting_(rows_at_once * size, 0.0),
      right_(size, 0.0) {}

void ResponseFit::add(std::span<const double> basis, double recorded) {
  double* place = &waiting_[static_cast<std::size_t>(samples_) % rows_at_once * size_];
  std::copy(basis.begin(), basis.end(), place);
  ++samples_;
  if (static_cast<std::size_t>(samples_) % rows_at_once == 0) {
    add_outer(matrix_.data(), waiting_.data(), size_);
    std::fill(waiting_.begin(), waiting_.end(), 0.0);
  }
  for (std::size_t k = 0; k < size_; ++k) right_[k] += recorded * basis[k];
  squares_ += recorded * recorded;
}

double ResponseFit::misfit(std::span<const double> coefficients) const {
  const double explained = dot(right_.data(), coefficients.data(), size_);
  return std::sqrt(std::max(0.0, squares_ - explained) / static_cast<double>(samples_));
}

double ResponseFit::residual(std::span<const double> coefficients) const {
  const double explained = dot(right_.data(), coefficients.data(), size_);
  if (!(explained > 0.0)) return 1.0;
  return std::sqrt(std::max(0.0, squares_ - explained) / explained);
}

// Cholesky: A = UᵀU.
std::vector<double> ResponseFit::solve() const {
  if (samples_ < static_cast<std::int64_t>(2 * size_)) return {};
  std::vector<double> u = matrix_;
  add_outer(u.data(), waiting_.data(), size_);
  double mean = 0.0;
  for (std::size_t k = 0; k < size_; ++k) mean += u[k * size_ + k] / static_cast<double>(size_);
  if (!(mean > 0.0)) return {};
  for (std::size_t i = 0; i < size_; ++i) {
    double* row = &u[i * size_];
    row[i] += ridge * (mean + row[i]);
    for (std::size_t k = 0; k < i; ++k) {
      const double factor = u[k * size_ + i];
      for (std::size_t j = i; j < size_; ++j) row[j] -= factor * u[k * size_ + j];
    }
    if (!(row[i] > 0.0)) return {};
    const double scale = 1.0 / std::sqrt(row[i]);
    for (std::size_t j = i; j < size_; ++j) row[j] *= scale;
  }
  std::vector<double> x = right_;
  for (std::size_t i = 0; i < size_; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= u[k * size_ + i] * x[k];
    x[i] /= u[i * size_ + i];
  }
  for (std::size_t i = size_; i-- > 0;) {
    for (std::size_t k = i + 1; k < size_; ++k) x[i] -= u[i * size_ + k] * x[k];
    x[i] /= u[i * size_ + i];
  }
  return x;
}

}  // namespace railtap::measure
